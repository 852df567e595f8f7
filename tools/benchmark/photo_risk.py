"""Serials given to photos: false ones on photos without a serial, and whether accepted ones are right."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace

from reader.sort.choose import ACCEPT_PROBABILITY
from reader.sort.patterns import SERIAL_FIGURES
from tools.benchmark.contestants import FIND, OWN, named
from tools.benchmark.figures import share_interval
from tools.benchmark.photo_sets import GROUPS, Gathered, PhotoSet
from tools.benchmark.regions import true_marks
from tools.benchmark.report import share, table, verdict
from tools.benchmark.scoring import Way, judge, plain, ways_of

GOAL_FALSE = 1.0
"""Most accepted false serials in 100 photos without one."""

GOAL_RIGHT = 0.99
"""Least share of accepted serials that are right."""


@dataclass(frozen=True)
class Given:
    """A serial that a reader gave to one photo.

    Whether it was accepted; whether it is right, a piece of a right string, or another mark that stands there.
    """

    accepted: bool
    right: bool
    piece: bool
    other: bool


def given_serials(gathered: Gathered, reader: str, one: PhotoSet, way: Way) -> list[Given]:
    """Return the serials that a reader gave to a set's photos: strings of as many figures as a serial has.

    Ours says itself what it accepts; a peer's score is held to the same number.
    """
    replies = gathered.of(reader, one)
    items = [item for item in one.items if item.id in replies]
    marks = true_marks(one.folder) if one.folder else {}
    given = []
    for item, scored in zip(items, judge(items, replies, way), strict=True):
        if scored.text and (reader == OWN or is_serial_like(scored.text)):
            said = replies[item.id].get("accepted", scored.confidence >= ACCEPT_PROBABILITY)
            truths = [plain(truth, item.figures) for truth in item.texts]
            others = [plain(mark.text, item.figures) for mark in marks.get(item.id, ())]
            piece = any(scored.text in truth for truth in truths)
            given.append(Given(bool(said), scored.right, piece, not scored.right and scored.text in others))
    return given


def is_serial_like(text: str) -> bool:
    """Whether a string is figures only, as many as a serial has."""
    least, most = SERIAL_FIGURES
    return bool(re.fullmatch(f"[0-9]{{{least},{most}}}", text))


def serial_way(gathered: Gathered, reader: str) -> Way:
    """Return the way that reads most serials of all rendered sets, the way a user of that reader would settle on."""
    contestant = named(reader)
    ways = ways_of(own=contestant.own, figures=False, job=FIND, limit=contestant.limit, serials=True)
    sets = [one for one in gathered.sets if one.group in ("rendered", "seen")]

    def right(way: Way) -> int:
        judged = [
            scored
            for one in sets
            for scored in judge([item for item in one.items if item.texts], gathered.of(reader, one), way)
        ]
        return sum(scored.right for scored in judged)

    return max(ways, key=right)


def false_table(gathered: Gathered) -> list[str]:
    """Return how many photos without a serial were given one, and how many of those were accepted."""
    rows = []
    ways = {reader: serial_way(gathered, reader) for reader in gathered.readers}
    for name, sets in _without_serial(gathered):
        for reader, way in ways.items():
            count = sum(len(set(gathered.of(reader, one)) & {item.id for item in one.items}) for one in sets)
            given = [serial for one in sets for serial in given_serials(gathered, reader, one, way)]
            if not count:
                continue
            accepted = 100 * sum(serial.accepted for serial in given) / count
            _, high = share_interval(sum(serial.accepted for serial in given), count)
            goal = verdict(accepted, GOAL_FALSE, f"{GOAL_FALSE:g}", most=True) if reader == OWN else ""
            cells = [str(count), f"{100 * len(given) / count:.1f}", f"{accepted:.1f} (to {100 * high:.1f})", goal]
            rows.append([name, reader, *cells, str(sum(serial.other for serial in given)), str(way)])
    head = [
        "photos",
        "reader",
        "n",
        "given",
        "accepted (95 % bound)",
        "goal",
        "given: a year or the like that stands there",
    ]
    return table([*head, "way"], rows)


def _without_serial(gathered: Gathered) -> list[tuple[str, list[PhotoSet]]]:
    """Return the sets without a serial, and the photos without one among the rendered sets, by what they are."""
    parts = [replace(one, items=tuple(item for item in one.items if not item.texts)) for one in gathered.sets]
    parts = [one for one in parts if one.items and one.group != "seen"]
    names = GROUPS | {"rendered": f"{GROUPS['rendered']}, those without a serial"}
    groups = [(name, [one for one in parts if one.group == group]) for group, name in names.items()]
    return [*((name, sets) for name, sets in groups if sets), ("all", parts)]


def risk_table(gathered: Gathered) -> list[str]:
    """Return how many accepted serials were right, set by set and over all, with an exact interval."""
    way = ways_of(own=True, figures=False, job=FIND, limit=0.0, serials=True)[0]
    rows = [_risk_row(gathered, one.name, [one], way) for one in gathered.sets]
    for group, name in GROUPS.items():
        sets = [one for one in gathered.sets if one.group == group]
        rows += [_risk_row(gathered, f"**{name}**", sets, way)] if len(sets) > 1 else []
    held_out = [one for one in gathered.sets if one.group != "seen"]
    rows.append(_risk_row(gathered, "**all that is held out**", held_out, way, GOAL_RIGHT))
    head = ["set", "photos", "to read", "accepted: right of all", "share right (95 %)", "goal", "of those to read"]
    return table([*head, "wrong: a piece of the right string"], rows)


def _risk_row(gathered: Gathered, name: str, sets: Iterable[PhotoSet], way: Way, goal: float = math.nan) -> list[str]:
    asked = [(one, item) for one in sets for item in one.items if item.id in gathered.of(OWN, one)]
    sets = list({one.name: one for one, _ in asked}.values())
    accepted = [given for one in sets for given in given_serials(gathered, OWN, one, way) if given.accepted]
    right, readable = sum(given.right for given in accepted), sum(bool(item.texts) for _, item in asked)
    low, high = share_interval(right, len(accepted))
    value = right / len(accepted) if accepted else math.nan
    return [
        name,
        str(len(asked)),
        str(readable),
        f"{right} of {len(accepted)}",
        f"{share(value)} ({share(low)} to {share(high)})" if accepted else "–",
        verdict(value, goal, share(goal)) if not math.isnan(goal) else "",
        share(right / readable if readable else math.nan),
        str(sum(given.piece and not given.right for given in accepted)),
    ]
