"""Times of all readers side by side: each picture is given to every reader in turn, in one run, on one core each.

Times are processor seconds (they hold on a machine that also does other work), the ratio is made picture by picture and
its median taken. The first picture of each reader, which also loads its models, is not counted.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tools.benchmark.contestants import OWN, Contestant, Worker
from tools.benchmark.pictures import Item


@dataclass(frozen=True)
class Timing:
    """Processor seconds of one reader: median and 95th percentile, medians of its ratios, largest memory in MB."""

    reader: str
    job: str
    count: int
    median: float
    late: float
    to_own: float
    to_decoding: float
    peak_mb: float


def measure_times(contestants: Sequence[Contestant], job: str, items: Sequence[Item], work: Path) -> list[Timing]:
    """Give every item to every contestant in turn and return the times; the first item only warms up."""
    workers: dict[str, Worker] = {}
    for contestant in contestants:
        try:
            workers[contestant.name] = Worker(contestant, work)
        except RuntimeError as error:
            print(error, file=sys.stderr)
    replies: dict[str, list[dict[str, float]]] = {name: [] for name in workers}
    for number, item in enumerate(items):
        for name, worker in list(workers.items()):
            try:
                replies[name].append(worker.ask(item, job))
            except RuntimeError as error:
                print(error, file=sys.stderr)
                del workers[name], replies[name]
        print(f"\rtimes, {job}: {number + 1} of {len(items)}", end="", file=sys.stderr)
    print(file=sys.stderr)
    for worker in workers.values():
        worker.close()
    return summarize(replies, job)


def summarize(replies: dict[str, list[dict[str, float]]], job: str) -> list[Timing]:
    """Return the times of each reader from its replies to the same pictures, first picture left out."""
    own = np.array([reply["seconds"] for reply in replies[OWN][1:]])
    decoding = np.median([reply["decode"] for name in replies for reply in replies[name][1:]])
    timings = []
    for name, all_replies in replies.items():
        seconds = np.array([reply["seconds"] for reply in all_replies[1:]])
        timings.append(
            Timing(
                name,
                job,
                len(seconds),
                float(np.median(seconds)),
                float(np.percentile(seconds, 95)),
                float(np.median(seconds / own)),
                float(np.median(seconds) / decoding),
                max(reply["peak_mb"] for reply in all_replies),
            )
        )
    return timings
