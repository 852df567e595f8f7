"""What a number's figures say by themselves: how like a serial's or a year's they are, and how to put it in words.

rules.py multiplies what is said here into a verdict's sureness. The numbers are judgement, to be checked by benchmark.
"""

from __future__ import annotations

from reader.sort.drafts import Draft
from reader.sort.patterns import SERIAL_FIGURES, Piece, is_year

SURE_ALONE = {3: 0.5, 4: 0.8, 5: 0.95, 6: 0.95, 7: 0.75}
SURE_WITH_LETTER = {3: 0.7, 4: 0.92, 5: 0.98, 6: 0.98, 7: 0.85}
SURE_ANNOUNCED = {1: 0.2, 2: 0.35, 3: 0.9, 4: 0.97, 5: 0.99, 6: 0.99, 7: 0.95}
"""How sure a number of so many figures is a serial: bare, with a model letter, after 'No.'. Judgement."""

YEAR_LIKE, CASE_LIKE, WIDE, MANY_THOUSANDS, BROKEN = 0.55, 0.6, 0.85, 0.6, 0.6
"""Factors on it: reads like a year; letter joined to four figures; blanks between figures; written in millions; a gap
that may hide a figure, so that it is never accepted by itself."""

ALIKE_SHARE, ALIKE_SURE, ALIKE = 2 / 3, 0.9, 0.3
"""Where so large a share of the figures is one and the same and the reading is less sure than ALIKE_SURE, the factor
ALIKE: tuning pins, screws and strings in a row read as 00000 or 1111. On 180 rendered photos 17 such readings were none
of them the serial; of sure ones 6 of 6 were."""

ZERO_FIRST = 0.4
"""Factor for a number that begins with zero: makers rarely put zeros first (common practice). Judgement."""

_COUNT = ("no figures", "one figure", "two figures", "three figures", "four figures", "five figures", "six figures")


def reads_like_year(draft: Draft) -> bool:
    """Whether it is a number of four figures that may be a year."""
    return draft.is_number and is_year(draft.piece.text)


def form_factor(piece: Piece) -> float:
    """Return the factor (0 to 1) on a serial's sureness for the form of its figures."""
    factor = CASE_LIKE if piece.case_like else 1.0
    if piece.broken:
        factor *= BROKEN
    elif " " in piece.dropped:
        factor *= WIDE
    if piece.dropped.strip() and len(piece.text) == SERIAL_FIGURES[1]:
        factor *= MANY_THOUSANDS
    return factor


def pattern_factor(draft: Draft) -> float:
    """Return the factor (0 to 1) on a serial's sureness for figures that rows of pins, screws and strings give."""
    text = draft.piece.text
    factor = ZERO_FIRST if text.startswith("0") else 1.0
    alike = max(text.count(figure) for figure in set(text)) >= ALIKE_SHARE * len(text)
    return factor * ALIKE if alike and draft.reading.probability < ALIKE_SURE else factor


def year_factor(draft: Draft) -> float:
    """Return the factor (0 to 1) on a serial's sureness for a number that reads like a year."""
    return YEAR_LIKE if reads_like_year(draft) else 1.0


def year_doubt(draft: Draft) -> str:
    """Return the end of a reason that tells of a likeness to a year, empty where there is none."""
    return ", though it may be a year" if reads_like_year(draft) else ""


def count_figures(draft: Draft) -> str:
    """Return in words how many figures a number has."""
    count = len(draft.piece.text)
    return _COUNT[count] if count < len(_COUNT) else f"{count} figures"


def add_form(why: str, piece: Piece) -> str:
    """Return a reason with what was done to the figures added."""
    if piece.broken:
        why += ", in two groups that are one number if nothing in the gap hides a figure"
    elif piece.dropped:
        why += ", blanks left out" if piece.dropped == " " else ", the thousands mark left out"
    if piece.repaired:
        why += ", a letter among them read as the figure it looks like"
    if piece.variants:
        why += f", or {' or '.join(piece.variants)} by a look-alike at the end"
    return f"{why}; common practice"
