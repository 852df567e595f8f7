"""What counts as right: one rule for all readers, and for peers the choice of string that serves them best.

Strings are compared by letters and figures only, in capitals; in sets of figures by figures only. A peer gives several
strings a picture and does not say which is the number, so every way in which a user might take one string is tried
(ways_of) and on each set the one that is right most often counts. Ours has no such choice: its first string counts. The
truth is among the strings where it is a whole box, a word of one, or a line: our marks are parts of lines.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Any

from tools.benchmark.pictures import Item
from tools.benchmark.workers.serve import Box, bounds

LOOKALIKES = str.maketrans("OQDILZSGTB", "0001125678")
"""Letters that figures are often drawn as, the same as in our own reading of figures only."""

FIRST, FIRST_OR_SUREST = "first", "first or surest"
"""Ways of ours: its answer alone, or where it gives none the surest string that holds a figure."""

CHOICES = ("joined", "best score", "most figures", "tallest")
SPELLINGS = ("as read", "look-alikes as figures")


@dataclass(frozen=True)
class Way:
    """One way to take one string of several.

    Which strings count (by score, whole boxes or their words), which is chosen, how it is spelled.
    """

    choice: str
    spelling: str = SPELLINGS[0]
    least_score: float = 0.0
    words: bool = False

    def __str__(self) -> str:
        limited = f", score {self.least_score:g} and more" if self.least_score else ""
        spelled = "" if self.spelling == SPELLINGS[0] else f", {self.spelling}"
        return self.choice + (" of words" if self.words else "") + spelled + limited


@dataclass(frozen=True)
class Scored:
    """One answer judged: its plain string, whether it is right, whether the truth is among all strings, confidence."""

    id: str
    text: str
    right: bool
    among: bool
    confidence: float


def plain(text: str, figures: bool, lookalikes: bool = False) -> str:
    """Return a text's letters A-Z and figures in capitals, or its figures alone; full-width forms count as plain."""
    capitals = unicodedata.normalize("NFKC", text).upper()
    if figures and lookalikes:
        capitals = capitals.translate(LOOKALIKES)
    return "".join(c for c in capitals if c.isascii() and (c.isdigit() if figures else c.isalnum()))


def ways_of(*, own: bool, figures: bool, job: str, limit: float, serials: bool = False) -> list[Way]:
    """Return the ways to take a reader's one string: one for ours, all that make sense for a peer.

    `serials` tells that a set's numbers are serials of instruments, or that it holds none: then ours answers with a
    serial or not at all. In other sets (coins, plates) the number need not look like a serial.
    """
    if own:
        return [Way(FIRST if serials or job == "line" else FIRST_OR_SUREST)]
    choices = CHOICES if job == "find" else CHOICES[:1]
    spellings = SPELLINGS if figures else SPELLINGS[:1]
    scores = (0.0, limit) if limit else (0.0,)
    ways = [Way(choice, spelling, score) for choice, spelling, score in product(choices, spellings, scores)]
    return ways + [replace(way, words=True) for way in ways if job == "find" and way.choice != CHOICES[0]]


def words_of(boxes: Sequence[Box]) -> list[Box]:
    """Return each box's words, runs of letters and figures, with the box's own score and place."""
    return [(word, score, place) for text, score, place in boxes for word in re.findall(r"\w+", text)]


def lines_of(reply: dict[str, Any]) -> list[Box]:
    """Return the regions of an answer as boxes; none where it has no regions."""
    return [(text, score, bounds(points)) for text, score, points in reply.get("regions", ())]


def take(boxes: Sequence[Box], way: Way, figures: bool) -> tuple[str, float]:
    """Return the one string, plain, and its score; an empty string and 0 where there is none.

    Joined strings have the least of their scores. Of single strings only those that hold a figure are candidates.
    """
    lookalikes = way.spelling != SPELLINGS[0]
    strings = words_of(boxes) if way.words else boxes
    kept = [(plain(text, figures, lookalikes), score, box) for text, score, box in strings if score >= way.least_score]
    kept = [entry for entry in kept if entry[0]]
    if way.choice == "joined":
        ordered = sorted(kept, key=lambda entry: entry[2][0])
        return "".join(text for text, _, _ in ordered), min((score for _, score, _ in kept), default=0.0)
    if boxes and way.choice in (FIRST, FIRST_OR_SUREST):
        answer = plain(boxes[0][0], figures)
        if answer or way.choice == FIRST:
            return answer, boxes[0][1] if answer else 0.0
    kept = [entry for entry in kept if any(c.isdigit() for c in entry[0])]
    if not kept:
        return "", 0.0
    best = max(kept, key=lambda entry: _rank(way.choice, *entry))
    return best[0], best[1]


def _rank(choice: str, text: str, score: float, box: tuple[float, float, float, float]) -> tuple[float, float]:
    if choice == "most figures":
        return sum(c.isdigit() for c in text), score
    return (box[3], score) if choice == "tallest" else (score, len(text))


def judge(items: Sequence[Item], answers: dict[str, dict[str, Any]], way: Way) -> list[Scored]:
    """Judge the answers to the items that were asked, in the items' order."""
    judged = []
    for item in items:
        if item.id in answers:
            boxes: list[Box] = [(b[0], b[1], (b[2][0], b[2][1], b[2][2], b[2][3])) for b in answers[item.id]["boxes"]]
            text, confidence = take(boxes, way, item.figures)
            truths = {plain(truth, item.figures) for truth in item.texts}
            lines = lines_of(answers[item.id])
            given = [*boxes, *words_of(boxes), *lines, *words_of(lines)]
            strings = {plain(string, item.figures) for string, _, _ in given} | {text}
            right = text in truths if truths else not text
            judged.append(Scored(item.id, text, right, bool(truths & strings) if truths else not text, confidence))
    return judged


def best_way(
    items: Sequence[Item], answers: dict[str, dict[str, Any]], ways: Sequence[Way]
) -> tuple[Way, list[Scored]]:
    """Return the way that is right most often on these items, and its judgments."""
    judged = [(way, judge(items, answers, way)) for way in ways]
    return max(judged, key=lambda entry: sum(scored.right for scored in entry[1]))
