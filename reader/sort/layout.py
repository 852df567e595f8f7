"""How drafts lie on the photo: beside, above, within reach, evenly in a row.

Only places and sizes are looked at here, but for the form that says which drafts are letters; what follows from a place
is for rules.py to say. Lengths are in heights of the figures, so that nothing depends on the photo's scale.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from reader.sort.drafts import Draft, Scene

LETTER_REACH = 3.0
"""Farthest that a model letter stands from its number, in heights of the figures. Judgement."""

ABOVE_REACH = 1.5
"""Farthest that a word stands above the number it announces, in heights of the figures. Judgement."""

LETTER_SIZE = (0.4, 4.0)
"""A model letter's height as a share of the figures'; it is often a large stencil (common practice)."""

SAME_HEIGHT, OFF_LINE = 1.6, 0.5
"""Figures of one height differ by less than this ratio; figures of one line lie less than this many heights off its
middle. Stamped by hand they dance (common practice). Judgement."""


def offset(of: Draft, other: Draft) -> tuple[float, float]:
    """Return how far the other draft lies along and below, in heights of the first; 0 where they overlap.

    Negative: the other ends before this one begins, or above it. Measured in the first one's direction of reading.
    """
    along = (of.quad[1] - of.quad[0]) + (of.quad[2] - of.quad[3])
    length = max(math.hypot(float(along[0]), float(along[1])), 1e-6)
    x, y = float(along[0]) / length, float(along[1]) / length
    mine, theirs = of.quad.tolist(), other.quad.tolist()
    return (
        _gap([px * x + py * y for px, py in mine], [px * x + py * y for px, py in theirs]) / of.height,
        _gap([py * x - px * y for px, py in mine], [py * x - px * y for px, py in theirs]) / of.height,
    )


def _gap(mine: Sequence[float], theirs: Sequence[float]) -> float:
    if min(theirs) > max(mine):
        return min(theirs) - max(mine)
    return min(max(theirs) - min(mine), 0.0)


def accompanies(letter: Draft, number: Draft) -> bool:
    """Whether a letter stands next to a number in its line, or beside or above it within reach and of fitting size."""
    if letter.line == number.line:
        return abs(letter.place - number.place) == 1
    if not LETTER_SIZE[0] <= letter.height / number.height <= LETTER_SIZE[1]:
        return False
    along, below = offset(number, letter)
    beside = below == 0 and abs(along) < LETTER_REACH
    return beside or (along == 0 and -LETTER_REACH < below < 0)


def letter_of(number: Draft, scene: Scene) -> Draft | None:
    """Return the model letter that accompanies a number, of several the first by the alphabet, or None."""
    found = [draft for draft in scene if draft.piece.form == "letters" and accompanies(draft, number)]
    return min(found, key=lambda draft: draft.piece.text, default=None)


def evenly_apart(row: Sequence[Draft]) -> bool:
    """Whether three drafts are of one height and the middle one lies near the middle of the other two."""
    heights = [draft.height for draft in row]
    a, b, c = (draft.quad.mean(axis=0) for draft in row)
    reach = math.hypot(*(c - a).tolist())
    aside = math.hypot(*(b - (a + c) / 2).tolist())
    return max(heights) < SAME_HEIGHT * min(heights) and reach > 0 and aside < 0.2 * reach


def gap_in_line(of: Draft, other: Draft) -> float | None:
    """Return how far another draft of one height stands from the first on its line, in heights; negative: before it.

    0 where they overlap; None where it is of another height or off the line.
    """
    if max(of.height, other.height) > SAME_HEIGHT * min(of.height, other.height):
        return None
    along, below = offset(of, other)
    down = (of.quad[3] - of.quad[0]) + (of.quad[2] - of.quad[1])
    aside = (other.quad.mean(axis=0) - of.quad.mean(axis=0)) @ down / max(float(down @ down) ** 0.5, 1e-6)
    return along if below == 0 and abs(float(aside)) < OFF_LINE * of.height else None
