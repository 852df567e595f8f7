"""Rules that look at a number among its neighbors: parts of one number, readings of one place, rows, dates in pieces.

In comes a draft with all drafts of the photo; out comes a verdict, or None where the rule has nothing to say. RULES
(rules.py) gives their order. The numbers are judgement, to be checked by benchmark; the rules are common practice.
"""

from __future__ import annotations

from dataclasses import replace

from reader.geometry import quad_overlap
from reader.results import MarkKind
from reader.sort.doubt import weigh_texts
from reader.sort.drafts import Draft, Scene
from reader.sort.figures import BROKEN, count_figures, reads_like_year
from reader.sort.layout import ABOVE_REACH, evenly_apart, gap_in_line, offset
from reader.sort.patterns import SERIAL_FIGURES, is_day
from reader.sort.verdict import Verdict

LIKELY, LIKELY_ALONE = 0.3, 0.8
"""A number read with less than this does not change what is said of another; the second value is for a single figure,
since screws, knots and pins are read as single figures and hardly ever as more."""

WHOLE_SURE = 0.6
"""A string read with this probability shows the whole of what another reading of its place cut short. combine.py has
the same value for readings of one region, with its measurement (13 of 14 were the whole)."""

NESTED = 0.3
"""Two quads that share more than this of the smaller one may be two readings of one place."""

PART_GAP = 1.2
"""Widest gap between parts of one number, in heights of the figures: one figure and a blank on both sides of it."""

DATE_REACH = 6.0
"""Farthest that a year stands right of the patent word or month of its date, in heights of the figures: a day and
commas lie between."""

KEYS = range(1, 89)
"""Key, hammer and damper numbers (common practice: 88 keys at most)."""

_TELLING = ("patent", "date", "service-date", "year", "model", "series", "size", "address", "place", "inventory")
"""Forms in which a word says what the figures are."""


def _well_read(draft: Draft) -> bool:
    least = LIKELY_ALONE if len(draft.piece.text) == 1 else LIKELY
    return weigh_texts(draft)[0] >= least


def cut_short(draft: Draft, scene: Scene) -> Verdict | None:
    """A number that another reading of the same place shows with more figures, or with the word it belongs to.

    A region that ends too early reads its part of a number as surely as the whole.
    """
    if not draft.is_number:
        return None
    wholes = [d.piece.text for d in scene if d.line != draft.line and _shows_more(d, draft)]
    if not wholes:
        return None
    why = f"part of '{min(wholes)}', as another reading of the same place shows it; common practice"
    return Verdict(MarkKind.OTHER, "cut-short", why, 0.9)


def _shows_more(whole: Draft, part: Draft) -> bool:
    telling = whole.piece.form in _TELLING
    figures = "".join(sign for sign in whole.piece.text if sign.isdigit())
    if not (whole.is_number or telling) or part.piece.text not in figures:
        return False
    if len(figures) < len(part.piece.text) + (not telling):
        return False
    return quad_overlap(whole.quad, part.quad)[1] > NESTED and weigh_texts(whole)[0] >= WHOLE_SURE


def doubt_part(draft: Draft, scene: Scene, verdict: Verdict) -> Verdict:
    """Return a serial's verdict with doubt where a second number stands a figure's width beside it on its line.

    Both may be parts of one number with a string across it; they are not joined, since the gap may hide a figure.
    """
    if verdict.kind is not MarkKind.SERIAL:
        return verdict
    room = SERIAL_FIGURES[1] - len(draft.piece.text)
    beside = [d.piece.text for d in scene if d is not draft and _may_continue(d, draft) and len(d.piece.text) <= room]
    if not beside:
        return verdict
    why = verdict.why.replace("; common", f", but {min(beside)} close beside it may belong to it; common")
    return replace(verdict, why=why, kind_probability=verdict.kind_probability * BROKEN)


def _may_continue(other: Draft, draft: Draft) -> bool:
    gap = gap_in_line(draft, other) if other.is_number else None
    return gap is not None and 0 < abs(gap) < PART_GAP and _well_read(other)


def date_in_pieces(draft: Draft, scene: Scene) -> Verdict | None:
    """A year whose month, day or patent word is a string of its own, before it in the line or on the line above."""
    if not reads_like_year(draft) or draft.piece.announced:
        return None
    words = [d.piece.text for d in scene if d is not draft and _begins_date(d) and _leads_to(d, draft)]
    if words:
        why = f"a year after '{min(words)}': a patent's date in pieces; common practice"
        return Verdict(MarkKind.PATENT, "date-in-pieces", why, 0.85)
    days = [d.piece.text for d in scene if d is not draft and _is_day_of(d, draft)]
    if days:
        why = f"a year after a day's number ({min(days)}), as in dates; common practice"
        return Verdict(MarkKind.CALENDAR_YEAR, "date-in-pieces", why, 0.7)
    return None


def _begins_date(draft: Draft) -> bool:
    """Whether it is a patent word or a month without a year or a patent's number."""
    known = draft.piece.form in ("patent", "month", "date")
    return known and sum(sign.isdigit() for sign in draft.piece.text) <= 2


def _leads_to(first: Draft, year: Draft) -> bool:
    along, below = offset(year, first)
    return (along == 0 and -ABOVE_REACH < below < 0) or (below == 0 and -DATE_REACH < along < 0)


def _is_day_of(day: Draft, year: Draft) -> bool:
    if not day.is_number or day.piece.announced or not is_day(day.piece.text):
        return False
    gap = gap_in_line(year, day)
    return gap is not None and -PART_GAP < gap < 0 and _well_read(day)


def row_across_lines(draft: Draft, scene: Scene) -> Verdict | None:
    """Three or more small numbers of one height, evenly apart, that count by one; one above 4, or they mark legs."""
    number = small_number(draft)
    if number is None:
        return None
    others = [(d, n) for d in scene if d.line != draft.line and (n := small_number(d)) is not None]
    for first, a in others:
        for second, b in others:
            row = sorted([(number, draft), (a, first), (b, second)], key=lambda pair: pair[0])
            values = [value for value, _ in row]
            if values == list(range(values[0], values[0] + 3)) and values[2] > 4 and evenly_apart([d for _, d in row]):
                why = "stands in a row of small numbers that count by one; common practice"
                return Verdict(MarkKind.KEY_NUMBER, "key-row", why, 0.9)
    return None


def small_number(draft: Draft) -> int | None:
    """Return a bare number that may be a key's, else None."""
    if not draft.is_number or draft.piece.announced or len(draft.piece.text) > 2:
        return None
    return int(draft.piece.text) if int(draft.piece.text) in KEYS else None


def serial_suffix(draft: Draft, scene: Scene) -> Verdict | None:
    """The last two to four figures of a longer number elsewhere: supports it, proves nothing."""
    text = draft.piece.text
    if not draft.is_number or draft.piece.announced or not 2 <= len(text) <= 4:
        return None
    likely = [d for d in scene if d.line != draft.line and d.may_be_serial and d.reading.probability >= LIKELY]
    longer = [d.piece.text for d in likely if len(d.piece.text) > max(len(text), 3)]
    whole = min((number for number in longer if number.endswith(text)), default=None)
    if whole is None:
        return None
    count = count_figures(draft)
    why = f"the last {count} of {whole}, as loose parts carry them: supports it, proves nothing; common practice"
    return Verdict(MarkKind.OTHER, "serial-suffix", why, 0.75)


def doubtful_figure(draft: Draft, scene: Scene) -> Verdict | None:
    """A lone figure that is not read surely: more likely a screw, a knot or a pin."""
    if not draft.is_number or len(draft.piece.text) > 1 or not draft.alone or _well_read(draft):
        return None
    why = "one figure alone, read with doubt, as screws, knots and pins are; common practice"
    return Verdict(MarkKind.OTHER, "doubtful-figure", why, 0.7)
