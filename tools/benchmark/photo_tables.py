"""The tables on whole photos, each figure beside its goal, from gathered answers."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from reader.sort.choose import ACCEPT_PROBABILITY
from tools.benchmark import report
from tools.benchmark.contestants import FIND, OWN, named
from tools.benchmark.measure import Result, difference, kindest, result_of
from tools.benchmark.photo_risk import false_table, risk_table
from tools.benchmark.photo_sets import OWN_FOUND, Gathered
from tools.benchmark.regions import DRAWN_IN, SURE, Tally, add_photo, contains_truth, found_in, true_marks
from tools.benchmark.report import share, table, verdict
from tools.benchmark.speed import Speed
from tools.benchmark.timing import Timing

GOAL_GONE = 0.5
"""Share of the best peers' errors on real photos that ours must not make."""

GOAL_FASTER = 2.0
"""How many times as fast as the fastest peer of comparable recall ours must be."""

COMPARABLE = 0.8
"""A peer has comparable recall from this share of ours on: photos whose truth is among all strings. Judgement."""

GOAL_DECODINGS, GOAL_SECONDS, GOAL_MB = 3.0, 0.35, 500.0
"""A 12-megapixel JPEG takes at most so many times its decoding, so many seconds more, and so much memory."""


def section(gathered: Gathered, times: Sequence[Timing], speed: Speed | None) -> list[str]:
    """Return the lines of the section on whole photos."""
    results = serial_results(gathered)
    lines = ["## Whole photos and their goals", "", *report.conditions(), ""]
    lines += ["### The serial, exact match", "", *exact_table(gathered, results)]
    lines += ["### The truth among all strings", "", *among_table(gathered, results)]
    lines += ["### Regions against true quads", "", *region_table(gathered)]
    lines += [
        "### The truth contained in what our recognizer reads inside a region, no quads",
        "",
        *inside_table(gathered),
    ]
    lines += ["### False serials, of 100 photos without a serial", "", *false_table(gathered)]
    lines += [f"### Serials accepted at {ACCEPT_PROBABILITY:g}: are they right?", "", *risk_table(gathered)]
    lines += ["### Speed", "", *speed_table(results, times)] if times else []
    lines += large_lines(speed) if speed else []
    lines += ["### How each peer's one string was taken", "", *report.ways_list(results)]
    return lines


def serial_results(gathered: Gathered) -> report.Results:
    """Return the judged results of all readers on the photos that hold something to read."""
    results: report.Results = {}
    for one in gathered.sets:
        for reader in gathered.readers:
            items = [item for item in one.items if item.texts and item.id in gathered.of(reader, one)]
            if items:
                results[reader, FIND, one.name] = result_of(
                    named(reader), FIND, one.name, items, gathered.of(reader, one)
                )
    return results


def exact_table(gathered: Gathered, results: report.Results) -> list[str]:
    """Return exact match of the serial: ours alone, ours with a peer's choice, peers, and the goals."""
    rows = []
    errors: list[tuple[int, int, int]] = []
    peers = [reader for reader in gathered.readers if reader != OWN]
    for one in [one for one in gathered.sets if (OWN, FIND, one.name) in results]:
        own, best = results[OWN, FIND, one.name], report.best_peer(results, FIND, one.name)
        kind = kindest(own, gathered.of(OWN, one), SURE)
        low, high = own.exact_interval
        cells = [report.exact_cell(results.get((reader, FIND, one.name)), len(own.scored)) for reader in peers]
        goals, shown = (
            [verdict(own.exact, one.goal, share(one.goal)), verdict(kind.exact, one.goal, share(one.goal))],
            "",
        )
        if best:
            gap, gap_low, gap_high = difference(own, best)
            shown = f"{gap:+.3f} ({gap_low:+.3f} to {gap_high:+.3f})"
        if one.group == "real" and best:
            goals = [ahead(results, one.name, mine.exact, best.exact) for mine in (own, kind)]
            errors.append((_wrong(own), _wrong(kind), _wrong(best)))
        ours = f"**{share(own.exact)}** ({share(low)} to {share(high)})"
        rows.append([one.name, str(len(own.scored)), ours, goals[0], share(kind.exact), goals[1], *cells, shown])
    head = ["set", "n", "ours (95 %)", "goal", "ours, a peer's choice", "goal", *peers, "ours − best peer (95 %)"]
    lines = table(head, rows)
    if errors:
        alone, chosen, best_peers = (sum(column) for column in zip(*errors, strict=True))
        lines += report.wrapped(
            "Real photos, errors of each set's best peer that are gone over all: ours "
            f"{gone(alone, best_peers)}; with a peer's choice {gone(chosen, best_peers)}."
        )
    return [*lines, ""]


def among_table(gathered: Gathered, results: report.Results) -> list[str]:
    """Return the share of photos whose truth is among all strings: any that a reader returned counts, for all alike."""
    rows = []
    errors: list[tuple[float, float]] = []
    for one in [one for one in gathered.sets if (OWN, FIND, one.name) in results]:
        own = results[OWN, FIND, one.name]
        found = {reader: results.get((reader, FIND, one.name)) for reader in gathered.readers}
        full = [r.among for r in found.values() if r and r is not own and len(r.scored) == len(own.scored)]
        cells = [share(r.among) + report.fewer(r, len(own.scored)) if r else "" for r in found.values()]
        goal = ""
        if one.group == "real" and full:
            goal = ahead(results, one.name, own.among, max(full))
            errors.append((len(own.scored) * (1 - own.among), len(own.scored) * (1 - max(full))))
        rows.append([one.name, str(len(own.scored)), cells[0], goal, *cells[1:]])
    lines = table(["set", "n", OWN, "goal", *gathered.readers[1:]], rows)
    if errors:
        ours, best_peers = (sum(column) for column in zip(*errors, strict=True))
        lines.append(f"Real photos, errors of each set's best peer that are gone over all: {gone(ours, best_peers)}.")
    return [*lines, ""]


def _wrong(result: Result) -> int:
    return sum(not one.right for one in result.scored)


def gone(ours: float, best_peers: float) -> str:
    """Return the share of the best peers' errors that ours does not make on balance, beside its goal."""
    value = 1 - ours / best_peers if best_peers else math.nan
    shown = "–" if math.isnan(value) else f"{value:+.0%}"
    return f"{shown} (goal {verdict(value, GOAL_GONE, f'{GOAL_GONE:.0%}')})"


def ahead(results: report.Results, name: str, ours: float, best_peer: float) -> str:
    """Return whether ours is ahead of the best peer of a real set, once all quick peers were asked the same photos."""
    if not complete(results, name):
        return "peers unfinished"
    return f"ahead: {'met' if ours > best_peer else 'missed'}"


def complete(results: report.Results, name: str) -> bool:
    """Whether all quick readers were asked as many photos of a set as ours."""
    found = [result for (reader, _, own_name), result in results.items() if own_name == name and named(reader).quick]
    return len({len(result.scored) for result in found}) == 1


def region_table(gathered: Gathered) -> list[str]:
    """Return recall and precision of regions on sets with quads, all readers."""
    readers = [OWN, OWN_FOUND, *(reader for reader in gathered.readers if reader != OWN)]
    tried = {reader: {by: tallies(gathered, reader, by) for by in DRAWN_IN} for reader in readers}
    best = {
        reader: max(found, key=lambda by: (sum(tally.marks_grouped for tally in found[by].values()), -abs(by)))
        for reader, found in tried.items()
    }
    rows = [
        [
            one.name,
            reader,
            *_region_cells(tried[reader][best[reader]][one.name], (reader, one.name) in gathered.inside),
        ]
        for one in gathered.sets
        for reader in readers
        if one.name in tried[reader][best[reader]]
    ]
    head = ["set", "reader", "photos", "marks", "regions a photo", "recall", "precision", "recall, grouped"]
    head += ["precision, grouped", f"the same, score {SURE:g} and more", "serials found, grouped"]
    drawn = ", ".join(f"{reader} {by:g}" for reader, by in best.items())
    lines = report.wrapped(f"Regions are drawn in at each side, in shares of their shorter side: {drawn}.")
    return [*table([*head, "serials readable", "marks readable"], rows), *lines, ""]


def tallies(gathered: Gathered, reader: str, drawn_in: float) -> dict[str, Tally]:
    """Return one reader's sums over the photos of each set with quads, its regions drawn in."""
    counted = {}
    for one in gathered.sets:
        replies = gathered.of(OWN if reader == OWN_FOUND else reader, one)
        if one.folder is None or one.empty or not replies:
            continue
        truth, inside = true_marks(one.folder), gathered.inside.get((reader, one.name), {})
        tally = counted[one.name] = Tally()
        for item in [item for item in one.items if item.id in replies]:
            reply = replies[item.id]
            if reader == OWN_FOUND:
                reply = {"regions": [["", 0.0, corners] for corners in reply["found"]]}
            regions = found_in(reply, inside.get(item.id), drawn_in)
            add_photo(tally, truth[item.id], regions, upright=bool(reply.get("upright")))
    return counted


def _region_cells(tally: Tally, read: bool) -> list[str]:
    def part(hits: int, count: int) -> str:
        return share(hits / count if count else math.nan)

    return [
        str(tally.photos),
        str(tally.marks),
        f"{tally.regions / tally.photos:.1f}",
        part(tally.matched, tally.marks),
        part(tally.matched, tally.regions),
        part(tally.marks_grouped, tally.marks),
        part(tally.regions_grouped, tally.regions),
        part(tally.sure_grouped, tally.sure),
        part(tally.serials_grouped, tally.serials),
        part(tally.serials_readable, tally.serials * read),
        part(tally.marks_readable, tally.marks * read),
    ]


def inside_table(gathered: Gathered) -> list[str]:
    """Return, for real sets, the share of photos whose truth is contained in what is read in a region."""
    readers = [OWN, OWN_FOUND, *(reader for reader in gathered.readers if reader != OWN)]
    rows = []
    for one in [one for one in gathered.sets if one.group == "real"]:
        cells = []
        for reader in readers:
            inside = gathered.inside.get((reader, one.name), {})
            hits = [
                contains_truth(item, inside[item.id]["texts"]) for item in one.items if item.id in inside and item.texts
            ]
            fewer = f" (n {len(hits)})" if len(hits) < len(one.items) else ""
            cells.append(share(float(np.mean(hits))) + fewer if hits else "")
        rows.append([one.name, str(len(one.items)), *cells])
    return table(["set", "n", *readers], rows)


def speed_table(results: report.Results, times: Sequence[Timing]) -> list[str]:
    """Return times beside the share of photos whose truth is among all strings, and the goal at the peer it names."""
    recall = {timing.reader: among_all(results, timing.reader) for timing in times}
    comparable = [t for t in times if t.reader != OWN and recall[t.reader] >= COMPARABLE * recall[OWN]]
    fastest = min(comparable, key=lambda timing: timing.to_own, default=None)
    rows = [
        [
            timing.reader,
            share(recall[timing.reader]),
            f"{timing.median * 1000:.0f}",
            f"{timing.late * 1000:.0f}",
            f"{timing.to_own:.2f}",
            verdict(timing.to_own, GOAL_FASTER, f"{GOAL_FASTER:g}") if timing is fastest else "",
            f"{timing.peak_mb:.0f}",
        ]
        for timing in times
    ]
    head = ["reader", "truth among strings", "ms, median", "ms, p95", "times ours", "goal (fastest comparable)"]
    return table([*head, "peak MB"], rows)


def among_all(results: report.Results, reader: str) -> float:
    """Return the share of all photos with something to read whose truth is among a reader's strings."""
    scored = [one.among for (name, _, _), result in results.items() if name == reader for one in result.scored]
    return float(np.mean(scored)) if scored else math.nan


def large_lines(speed: Speed) -> list[str]:
    """Return what a 12-megapixel JPEG takes, against its decoding."""
    limit = GOAL_DECODINGS * speed.decoding + GOAL_SECONDS
    memory = speed.peak_mb + speed.helper_mb
    took = verdict(
        speed.answer, limit, f"{limit:.2f} s, {GOAL_DECODINGS:g} decodings and {GOAL_SECONDS:g} s", most=True
    )
    held = verdict(memory, GOAL_MB, f"{GOAL_MB:.0f} MB", most=True)
    text = (
        f"A JPEG of {speed.width} x {speed.height}, by the clock: decoding alone {speed.decoding:.3f} s, file to "
        f"answer {speed.answer:.2f} s (goal {took}), the first photo of a process {speed.first:.2f} s; peak memory "
        f"{speed.peak_mb:.0f} MB and {speed.helper_mb:.0f} MB of a helper (goal {held})."
    )
    return [*report.wrapped(text), ""]
