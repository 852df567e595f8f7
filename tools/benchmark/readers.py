"""The readers side by side: `python -m tools.benchmark.readers --work WORK [--real DATA] [--crops FILE] [--photos ..]`.

Every reader reads the same pictures, each in a process of its own held to one core. Answers are kept in WORK, so that
an interrupted run goes on; environments of peers are made there when they are missing. The tables go into RESULTS.md.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

import cv2

from reader.sort.choose import ACCEPT_PROBABILITY
from tools.benchmark import report
from tools.benchmark.contestants import CONTESTANTS, FIND, LINE, OWN, OWN_REGION, Contestant, answers
from tools.benchmark.failures import worst, write_failures, write_sheet
from tools.benchmark.measure import result_of
from tools.benchmark.pictures import RENDERED_CROPS, TASKS, Item, real_items, rendered_crops, rendered_photos
from tools.benchmark.timing import Timing, measure_times

RESULTS_FILE = Path(__file__).with_name("RESULTS.md")
WORST_RENDERS = Path(__file__).with_name("worst_renders.jpg")
WORST_RENDERS_MOST = 16

TIMED_LINES, TIMED_PHOTOS = 60, 10

VOTERS = ("RapidOCR 3.10", "Tesseract, Sauvola")
FIND_VOTERS = ("RapidOCR 3.10", "Tesseract, plain")
CERTAIN = (OWN, OWN_REGION, "RapidOCR 3.10")
"""Readers whose confidence is shown."""


def main() -> None:
    """Measure from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--work", type=Path, required=True, help="folder for environments, pictures and answers")
    parser.add_argument("--real", type=Path, help="folder that holds the real sets")
    parser.add_argument("--crops", type=Path, help="held-out rendered crops (.npz)")
    parser.add_argument("--photos", type=Path, nargs="*", default=[], help="folders of rendered photographs")
    parser.add_argument("--most", type=int, help="most pictures of a set (the first of a fixed random order)")
    parser.add_argument("--find-most", type=int, help="most pictures of a set in which lines are looked for")
    parser.add_argument("--ask", help="readers to ask, names separated by '|'; the others show what is kept of them")
    parser.add_argument("--failures", type=Path, help="folder for sheets of failures; never commit real photographs")
    parser.add_argument("--results", type=Path, default=RESULTS_FILE)
    parser.add_argument("--no-times", action="store_true", help="leave out the timing run")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    asked = CONTESTANTS if options.ask is None else [c for c in CONTESTANTS if c.name in options.ask.split("|")]
    sets = load_sets(options)
    results = ask_all(asked, sets, options)
    times = [] if options.no_times else time_all(CONTESTANTS, sets, options.work)
    if options.failures:
        write_failures([result for (name, _, _), result in results.items() if name == OWN], options.failures)
    rendered = [r for (reader, job, _), r in results.items() if reader == OWN and job == FIND and r.items[0].rendered]
    write_sheet(WORST_RENDERS, worst(rendered, WORST_RENDERS_MOST))
    report.write_section(options.results, section(results, times, bool(rendered)))
    print(f"written: {options.results}", file=sys.stderr)


def load_sets(options: argparse.Namespace) -> dict[str, list[Item]]:
    """Return all sets that were asked for, by name."""
    sets: dict[str, list[Item]] = {}
    if options.real:
        sets |= {task.name: real_items(options.real, task, options.work) for task in TASKS}
    if options.crops:
        sets |= rendered_crops(options.crops, options.work)
    for folder in options.photos:
        sets |= rendered_photos(folder)
    return {name: items[: options.most] for name, items in sets.items() if items}


def jobs_of(items: Sequence[Item], find_most: int | None) -> dict[str, list[Item]]:
    """Return the jobs that a set is given to, with the pictures for each."""
    if items[0].whole:
        return {FIND: list(items[:find_most])}
    jobs = {LINE: list(items)}
    if items[0].texts and not items[0].rendered:
        jobs[FIND] = list(items[:find_most])
    return jobs


def ask_all(asked: Sequence[Contestant], sets: dict[str, list[Item]], options: argparse.Namespace) -> report.Results:
    """Ask the readers `asked` about every set and return the results of all readers by reader, job and set."""
    results: report.Results = {}
    for name, items in sets.items():
        for job, part in jobs_of(items, options.find_most).items():
            for contestant in CONTESTANTS:
                if job not in contestant.jobs:
                    continue
                own_part = part[: contestant.most(job, part[0].whole)]
                try:
                    given = answers(contestant, job, name, own_part, options.work, ask=contestant in asked)
                except RuntimeError as error:
                    print(error, file=sys.stderr)
                    continue
                if given:
                    results[contestant.name, job, name] = result_of(contestant, job, name, own_part, given)
    return results


def time_all(contestants: Sequence[Contestant], sets: dict[str, list[Item]], work: Path) -> list[Timing]:
    """Time all readers on lines and on whole photos mixed from all sets."""
    times = []
    for job, count in ((LINE, TIMED_LINES), (FIND, TIMED_PHOTOS)):
        pool = [items for items in sets.values() if items[0].whole == (job == FIND)]
        mixed = [items[k] for k in range(max(map(len, pool), default=0)) for items in pool if k < len(items)]
        able = [contestant for contestant in contestants if job in contestant.jobs]
        if mixed:
            times += measure_times(able, job, mixed[: count + 1], work)
    return times


def section(results: report.Results, times: Sequence[Timing], pictured: bool) -> list[str]:
    """Return the lines of the section of readers side by side."""
    same = report.align(results)
    certain = list(CERTAIN)
    lines = ["## Readers side by side", "", *report.conditions(), ""]
    lines += ["### One line given: exact match", "", *report.exact_table(results, LINE)]
    lines += ["### One line given: character error rate", "", *report.value_table(same, LINE, "error_rate")]
    lines += ["### Lines to be found: exact match of the one string", "", *report.exact_table(results, FIND)]
    lines += ["### Lines to be found: truth among all strings", "", *report.value_table(same, FIND, "among")]
    lines += ["### One line given: who knows when it is right", ""]
    lines += report.certainty_table(same, LINE, certain, ACCEPT_PROBABILITY)
    lines += ["### Lines to be found: who knows when it is right", ""]
    lines += report.certainty_table(same, FIND, certain, ACCEPT_PROBABILITY)
    kinds = report.kind_table(same, LINE, RENDERED_CROPS) + report.kind_table(same, FIND, "rendered photos")
    lines += ["### Rendered pictures by kind: exact match", "", *kinds] if kinds else []
    lines += ["### A second reader's vote, one line given", "", *report.vote_table(same, LINE, VOTERS)]
    lines += ["### A second reader's vote, lines to be found", "", *report.vote_table(same, FIND, FIND_VOTERS)]
    lines += ["### Time and memory", "", *report.timing_table(times)] if times else []
    lines += ["### How each peer's one string was taken", "", *report.ways_list(results)]
    if pictured:
        lines += [f"Surest errors of ours on whole rendered photos: ![worst renders]({WORST_RENDERS.name})", ""]
    return lines


if __name__ == "__main__":
    main()
