"""Whole photos against their goals: `python -m tools.benchmark.photos --work WORK [--real REAL] [--photos FOLDER...]`.

Everything that the goals for whole photographs name, side by side with the peers: serials end to end, regions, false
serials on photos without one, the risk at the threshold of acceptance, speed. Answers are kept in WORK, so that an
interrupted run goes on; the peers' are asked once for ever. Writes its own section of RESULTS.md.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import cv2

from tools.benchmark import photo_tables, report
from tools.benchmark.contestants import (
    CONTESTANTS,
    FIND,
    INSIDE,
    INSIDE_READER,
    OWN,
    ROOT,
    Contestant,
    answers,
    named,
    stamp,
)
from tools.benchmark.photo_sets import OWN_FOUND, Gathered, PhotoSet, Replies
from tools.benchmark.pictures import TASKS, Item, real_items, rendered_photos
from tools.benchmark.speed import Speed
from tools.benchmark.timing import Timing, measure_times

RESULTS_FILE = Path(__file__).with_name("RESULTS.md")
SECTION = "photos"

REAL_MOST, TEXTURES_MOST = 60, 100
"""Most photos of a real set, and most textures: the first of the fixed random order."""

INSIDE_MOST = 20
"""Most regions of a photo in which our recognizer reads, the best of each reader by its own score."""

NOT_READ_INSIDE = ("Tesseract, Otsu", "Tesseract, Sauvola")
"""Readers that give some fifty specks a photo as words; to read in all of them takes longer than all the rest."""

TIMED = 24
"""Photos of the timing run."""

LARGE = "large.jpg"


@dataclass(frozen=True)
class Asked:
    """One reader's answers to one set."""

    reader: str
    name: str
    replies: Replies


def main() -> None:
    """Measure from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--work", type=Path, required=True, help="folder for environments and answers")
    parser.add_argument("--real", type=Path, help="folder that holds the real sets")
    parser.add_argument("--photos", type=Path, nargs="*", default=[], help="rendered sets used for nothing else")
    parser.add_argument("--seen", type=Path, nargs="*", default=[], help="rendered sets that a setting was chosen on")
    parser.add_argument("--empty", type=Path, nargs="*", default=[], help="rendered sets without any serial")
    parser.add_argument("--ask", help="readers to ask, names separated by '|'; the others show what is kept of them")
    parser.add_argument("--most", type=int, help="most photos of a set, for a quick look")
    parser.add_argument("--jobs", type=int, default=os.cpu_count(), help="readers asked at a time, a core each")
    parser.add_argument("--results", type=Path, default=RESULTS_FILE)
    parser.add_argument("--no-times", action="store_true", help="leave out the timing run")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    sets = load_sets(options)
    asked = {c.name for c in CONTESTANTS} if options.ask is None else set(options.ask.split("|"))
    gathered = gather(sets, options.work, asked, options.jobs)
    times = [] if options.no_times else time_readers(sets, options.work)
    speed = None if options.no_times else time_large(options.work)
    lines = photo_tables.section(gathered, times, speed)
    report.write_section(options.results, lines, SECTION)
    print(f"written: {options.results}", file=sys.stderr)


def load_sets(options: argparse.Namespace) -> list[PhotoSet]:
    """Return all sets that were asked for."""
    sets = []
    for group, folders in (("rendered", options.photos), ("seen", options.seen), ("empty", options.empty)):
        for folder in folders:
            sets += [PhotoSet(name, group, tuple(items), folder) for name, items in rendered_photos(folder).items()]
    for task in TASKS if options.real else ():
        if task.whole:
            items = real_items(options.real, task, options.work)
            empty = not any(item.texts for item in items)
            kept = tuple(items[: TEXTURES_MOST if empty else REAL_MOST])
            sets.append(PhotoSet(task.name, "real empty" if empty else "real", kept))
    return [replace(one, items=one.items[: options.most]) for one in sets if one.items]


def gather(sets: Sequence[PhotoSet], work: Path, asked: set[str], jobs: int) -> Gathered:
    """Ask the readers `asked`, several at a time, and return all answers; then read inside the regions of all."""
    readers = [contestant for contestant in CONTESTANTS if FIND in contestant.jobs]

    def ask(task: tuple[Contestant, PhotoSet]) -> Asked:
        return ask_reader(task[0], task[1], work, task[0].name in asked)

    def read(task: tuple[Contestant, bool]) -> list[Asked]:
        return read_inside(task[0], task[1], judged, replies, work)

    with ThreadPoolExecutor(jobs) as pool:
        tasks = [(contestant, one) for contestant in readers for one in sets]
        replies = {(one.reader, one.name): one.replies for one in pool.map(ask, tasks) if one.replies}
        judged = [one for one in sets if not one.empty]
        inside = [(named(OWN), True)] + [(one, False) for one in readers if one.name not in NOT_READ_INSIDE]
        texts = [one for own in pool.map(read, inside) for one in own]
    return Gathered(tuple(sets), replies, {(one.reader, one.name): one.replies for one in texts if one.replies})


def ask_reader(contestant: Contestant, one: PhotoSet, work: Path, ask: bool) -> Asked:
    """Return one reader's answers to a set; a slow one is asked fewer photos. A peer that fails has no answers.

    Raises RuntimeError where our own reader fails.
    """
    items = one.items if contestant.quick else one.items[: contestant.find_photos_most]
    try:
        replies = answers(contestant, FIND, one.name, items, work, ask=ask, regions=True)
    except RuntimeError as error:
        if contestant.own:
            raise
        print(error, file=sys.stderr)
        replies = {}
    return Asked(contestant.name, one.name, replies)


def read_inside(
    contestant: Contestant,
    before_reading: bool,
    sets: Sequence[PhotoSet],
    replies: dict[tuple[str, str], Replies],
    work: Path,
) -> list[Asked]:
    """Return what our recognizer reads inside a reader's regions, or inside all that our finder found.

    One process reads all sets; there its photos bear the set's name before their own.
    """
    items: list[Item] = []
    quads = {}
    for one in sets:
        own = replies.get((contestant.name, one.name), {})
        for item in [item for item in one.items if item.id in own]:
            reply, name = own[item.id], f"{one.name}/{item.id}"
            items.append(replace(item, id=name))
            best = sorted(reply["regions"], key=lambda region: -region[1])
            corners = reply["found"] if before_reading else [region[2] for region in best]
            quads[name] = {"quads": corners[:INSIDE_MOST]}
    kept = stamp(contestant, FIND) + " found" * before_reading
    texts = answers(INSIDE_READER, INSIDE, kept, items, work, more=quads)
    reader = OWN_FOUND if before_reading else contestant.name
    return [
        Asked(
            reader,
            one.name,
            {i.id: texts[f"{one.name}/{i.id}"] for i in one.items if f"{one.name}/{i.id}" in texts},
        )
        for one in sets
    ]


def time_readers(sets: Sequence[PhotoSet], work: Path) -> list[Timing]:
    """Time the quick readers on photos mixed from all sets, in turn, one core each."""
    longest = max((len(one.items) for one in sets), default=0)
    mixed = [one.items[k] for k in range(longest) for one in sets if k < len(one.items)]
    quick = [contestant for contestant in CONTESTANTS if FIND in contestant.jobs and contestant.quick]
    return measure_times(quick, FIND, mixed[: TIMED + 1], work) if mixed else []


def time_large(work: Path) -> Speed:
    """Time our path on a rendered 12-megapixel JPEG, in a process of its own, on all cores."""
    file = (work / LARGE).resolve()
    if not file.exists():
        subprocess.run([sys.executable, "-m", "tools.renderer", "large", str(file)], cwd=ROOT, check=True)
    command = [sys.executable, "-m", "tools.benchmark.speed", str(file), "--json"]
    done = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True, encoding="utf-8")
    return Speed(**json.loads(done.stdout))


if __name__ == "__main__":
    main()
