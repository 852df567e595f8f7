"""The benchmark's tables in Markdown, and RESULTS.md with its section of readers side by side."""

from __future__ import annotations

import math
import os
import platform
import textwrap
from collections.abc import Sequence
from datetime import date
from importlib.metadata import version
from pathlib import Path

from reader.recognize.network import load_card
from tools.benchmark.contestants import CONTESTANTS, FIND, LINE, OWN
from tools.benchmark.measure import PRECISION, Certainty, Result, certainty, difference, vote
from tools.benchmark.timing import Timing

SECTION_MARKS = "<!-- {}: begin -->", "<!-- {}: end -->"
"""What lies between these lines of RESULTS.md is written anew; a section has a name."""

LINE_LENGTH = 119
"""Longest line of running text in RESULTS.md."""

WITH_FINDING = ", finding too"
"""What a column is called in which a peer looked for lines in a picture of one line."""

ALL_SETS = "all real sets but the loose ones"

VOTE_SETS = ("specimen cards, photos", "handwritten amounts", "rendered crops, readable")
"""Sets for which a second vote is shown apart: words and cards, handwriting, and what this project is about."""

Results = dict[tuple[str, str, str], Result]
"""Results by reader, job and set."""


def share(value: float) -> str:
    """Return a share with three digits, without the leading zero, or a dash."""
    if math.isnan(value):
        return "–"
    return f"{value:.3f}".replace("0.", ".", 1)


def verdict(value: float, goal: float, shown: str, *, most: bool = False) -> str:
    """Return a goal with whether it is met; `most` says that less is better."""
    if math.isnan(value) or math.isnan(goal):
        return shown if not math.isnan(goal) else "–"
    return f"{shown}: {'met' if (value <= goal if most else value >= goal) else 'missed'}"


def table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Return a Markdown table."""
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    return [*lines, *("| " + " | ".join(row) + " |" for row in rows), ""]


def readers_of(results: Results, job: str) -> list[str]:
    """Return the readers that have results of a job, in their order."""
    return list(dict.fromkeys(name for name, own_job, _ in results if own_job == job))


def sets_of(results: Results, job: str) -> list[str]:
    """Return the sets that our reader was measured on, in their order."""
    return list(dict.fromkeys(name for reader, own_job, name in results if own_job == job and reader == OWN))


def is_framed(name: str) -> bool:
    """Whether a set is real and shows no picture that another framing of the same set shows better."""
    return not name.startswith("rendered") and "loose" not in name


def common(results: Results, job: str, name: str) -> int:
    """Return how many pictures of a set our reader was asked."""
    return len(results[OWN, job, name].scored)


def align(results: Results) -> Results:
    """Return the results on the pictures that ours was asked; a reader that was asked none of them is left out."""
    aligned = {}
    for (reader, job, name), result in results.items():
        if (OWN, job, name) in results:
            part = result.only({item.id for item in results[OWN, job, name].items})
            if part.items:
                aligned[reader, job, name] = part
    return aligned


def peers_of(results: Results, job: str, name: str) -> dict[str, Result]:
    """Return the other readers' results on a set by the heading of their column.

    Only the pictures that ours was asked count. A peer that was given a line may still have looked for lines in it;
    where it did so for every picture of the set, that counts as another try.
    """
    same = align(results)
    found = {reader: same[reader, job, name] for reader in readers_of(same, job) if (reader, job, name) in same}
    own = found.pop(OWN)
    if job == LINE:
        for reader in readers_of(results, FIND):
            tried = results.get((reader, FIND, name))
            if reader != OWN and tried is not None and len(tried.scored) == len(own.scored):
                found[reader + WITH_FINDING] = tried
    return found


def best_peer(results: Results, job: str, name: str) -> Result | None:
    """Return the peer with the most right among those asked as many pictures as ours, or None where there is none."""
    count = common(results, job, name)
    found = peers_of(results, job, name).values()
    peers = [peer for peer in found if len(peer.scored) == count and not peer.contestant.own]
    return max(peers, key=lambda result: result.exact, default=None)


def exact_table(results: Results, job: str) -> list[str]:
    """Return the table of exact match: all readers, our interval, the difference to the best peer."""
    names = sets_of(results, job)
    columns = list(dict.fromkeys(column for name in names for column in peers_of(results, job, name)))
    columns.sort(key=lambda column: column.endswith(WITH_FINDING))
    rows = []
    for name in names:
        own, peer = results[OWN, job, name], best_peer(results, job, name)
        low, high = own.exact_interval
        row = [name, str(len(own.scored)), f"**{share(own.exact)}** ({share(low)} to {share(high)})"]
        peers = peers_of(results, job, name)
        row += [exact_cell(peers.get(column), len(own.scored)) for column in columns]
        if peer is None:
            row += ["", ""]
        else:
            gap, gap_low, gap_high = difference(own, peer)
            mine, theirs = own.exact, peer.exact
            gone = (mine - theirs) / (1 - theirs) if theirs < 1 else math.nan
            row += [f"{gap:+.3f} ({gap_low:+.3f} to {gap_high:+.3f})", "–" if math.isnan(gone) else f"{gone:+.0%}"]
        rows.append(row)
    head = ["set", "n", "ours (95 %)", *columns, "ours − best peer (95 %)", "of its errors gone"]
    return table(head, rows)


def exact_cell(result: Result | None, count: int) -> str:
    """Return exact match, with a note where another number of pictures was asked than `count`; empty for no result."""
    return "" if result is None else share(result.exact) + fewer(result, count)


def fewer(result: Result, count: int) -> str:
    """Return a note where a reader was asked another number of pictures than ours."""
    return f" (n {len(result.scored)})" if len(result.scored) != count else ""


def value_table(results: Results, job: str, what: str) -> list[str]:
    """Return a plain table of one property of Result for every reader and set."""
    readers = readers_of(results, job)
    rows = []
    for name in sets_of(results, job):
        found = [results.get((reader, job, name)) for reader in readers]
        count = common(results, job, name)
        values = ["" if r is None else share(float(getattr(r, what))) + fewer(r, count) for r in found]
        if any(value and not value.startswith("–") for value in values):
            rows.append([name, *values])
    return table(["set", *readers], rows)


def certainty_table(results: Results, job: str, readers: Sequence[str], threshold: float) -> list[str]:
    """Return how well the readers know when they are right, set by set and for all sets together."""
    rows = []
    names = sets_of(results, job)
    groups = [(name, [name]) for name in names]
    groups += [(ALL_SETS, [name for name in names if is_framed(name)])]
    for shown, members in groups:
        for reader in readers:
            found = [results[reader, job, name] for name in members if (reader, job, name) in results]
            if found:
                rows.append([shown, reader, *certainty_cells(certainty(found, threshold))])
    head = ["set", "reader", *certainty_head(threshold)]
    return table(head, rows)


def certainty_head(threshold: float) -> list[str]:
    """Return the headings that go with certainty_cells."""
    return [
        "to read",
        f"accepted at {threshold:g}: right of all",
        "share accepted",
        f"coverage at {PRECISION:.0%} right",
        "AURC",
        "ECE",
    ]


def certainty_cells(values: Certainty) -> list[str]:
    """Return one row's cells."""
    share_accepted = values.accepted / values.count if values.count else math.nan
    return [
        str(values.count),
        f"{values.accepted_right} of {values.accepted}",
        share(share_accepted),
        share(values.coverage),
        share(values.area),
        share(values.calibration),
    ]


def kind_table(results: Results, job: str, prefix: str) -> list[str]:
    """Return exact match by kind of mark in rendered sets, those whose names begin with `prefix` taken together."""
    readers = readers_of(results, job)
    names = [name for name in sets_of(results, job) if name.startswith(prefix)]
    rows = []
    for kind in sorted({item.kind for name in names for item in results[OWN, job, name].items}):
        cells = []
        for reader in readers:
            found = [results[reader, job, name].of_kind(kind) for name in names if (reader, job, name) in results]
            scored = [one for result in found if result is not None for one in result.scored]
            cells.append((len(scored), share(sum(one.right for one in scored) / len(scored)) if scored else ""))
        count = cells[0][0]
        shown = [cell + f" (n {number})" * (number != count and bool(cell)) for number, cell in cells]
        rows.append([f"{prefix}: {kind}", str(count), *shown])
    return table(["kind", "n", *readers], rows) if rows else []


def vote_table(results: Results, job: str, voters: Sequence[str]) -> list[str]:
    """Return what a second reader would add to ours: exact match, truth among the strings of either, coverage.

    Sets whose names are in VOTE_SETS have a row of their own, all real sets but the loose ones have one together.
    """
    rows = []
    for voter in voters:
        together = []
        for name in sets_of(results, job):
            if (voter, job, name) in results and results[OWN, job, name].items[0].texts:
                ways = vote(results[OWN, job, name], results[voter, job, name])
                if name in VOTE_SETS:
                    rows.append([name, voter, *_vote_cells([(way,) for way in ways])])
                if is_framed(name):
                    together.append(ways)
        if together:
            rows.append([ALL_SETS, voter, *_vote_cells(list(zip(*together, strict=True)))])
    head = ["set", "voter", "n", "exact: ours", "the surer of both", "among: ours", "either"]
    head += [f"coverage at {PRECISION:.0%}: {way}" for way in ("ours", "voter confirms", "the surer of both")]
    return table(head, rows)


def _vote_cells(ways: Sequence[Sequence[Result]]) -> list[str]:
    """Return the cells of one row from the results alone, confirmed and chosen, of one or several sets."""
    alone, confirming, choosing = ([one for result in way for one in result.scored] for way in ways)
    exact = [sum(one.right for one in scored) / len(scored) for scored in (alone, choosing)]
    among = [sum(one.among for one in scored) / len(scored) for scored in (alone, confirming)]
    coverage = [certainty(way, 0.0).coverage for way in ways]
    return [str(len(alone)), *(share(value) for value in (*exact, *among, *coverage))]


def ways_list(results: Results) -> list[str]:
    """Return how each peer's one string was taken on each set, one line a peer and job."""
    lines = []
    for job in (LINE, FIND):
        for reader in [name for name in readers_of(results, job) if not name.startswith(OWN)]:
            found = {
                name: results[reader, job, name] for name in sets_of(results, job) if (reader, job, name) in results
            }
            taken: dict[str, list[str]] = {}
            for name, result in found.items():
                taken.setdefault(str(result.way), []).append(name)
            usual = max(taken, key=lambda way: len(taken[way]))
            others = [f"; {way}: {' / '.join(names)}" for way, names in taken.items() if way != usual]
            errors = sum(result.failed for result in found.values())
            job_name = "one line given" if job == LINE else "lines to be found"
            lines.append(f"- {reader}, {job_name}: {usual}{''.join(others)}.")
            if errors:
                lines.append(f"  It ended {errors} pictures with an error of its own.")
    return [*lines, ""]


def timing_table(timings: Sequence[Timing]) -> list[str]:
    """Return the times of all readers on the same pictures, asked in turn."""
    rows = []
    for timing in timings:
        rows.append(
            [
                timing.reader,
                "one line" if timing.job == LINE else "whole photos",
                str(timing.count),
                f"{timing.median * 1000:.1f}",
                f"{timing.late * 1000:.1f}",
                f"{timing.to_own:.1f}",
                f"{timing.to_decoding:.0f}",
                f"{timing.peak_mb:.0f}",
            ]
        )
    head = ["reader", "job", "n", "ms, median", "ms, p95", "times ours", "times decoding the file", "peak MB"]
    return table(head, rows)


def wrapped(text: str) -> list[str]:
    """Return running text as lines."""
    return textwrap.wrap(text, LINE_LENGTH, break_on_hyphens=False)


def conditions() -> list[str]:
    """Return date, versions and machine, in general words."""
    card = load_card()
    versions = ", ".join(f"{name} {version(name)}" for name in ("rakelight", "opencv-python-headless", "numpy"))
    peers = "; ".join(f"{c.name}: {', '.join(c.packages) or 'system'}" for c in CONTESTANTS if not c.own)
    flags = Path("/proc/cpuinfo").read_text(encoding="utf-8") if Path("/proc/cpuinfo").exists() else ""
    vector = next((name for name in ("avx512f", "avx2", "asimd") if name in flags), "no known vector unit")
    text = (
        f"{date.today().isoformat()}; {versions}; weights {card.sha256[:8]}; Python {platform.python_version()}; "
        f"{platform.machine()}, {os.cpu_count()} cores, {vector}; one core a reader. Peers: {peers}. README.md says "
        "how a string is compared, how a peer's one string is taken, and what the columns mean."
    )
    return wrapped(text)


def write_section(file: Path, lines: Sequence[str], name: str = "readers") -> None:
    """Put a section between its marks in RESULTS.md, before everything else under the title where it is new."""
    old = file.read_text(encoding="utf-8") if file.exists() else "# Measured results\n"
    begin, end = (mark.format(name) for mark in SECTION_MARKS)
    section = "\n".join([begin, *lines, end])
    if begin in old and end in old:
        before, rest = old.split(begin, 1)
        new = before + section + rest.split(end, 1)[1]
    else:
        place = min([at for at in (old.find("\n## "), old.find("\n<!-- ")) if at >= 0], default=len(old))
        new = f"{old[:place].rstrip()}\n\n{section}\n{old[place:]}"
    file.write_text(new, encoding="utf-8")
