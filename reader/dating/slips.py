"""What a slip of reading or stamping would mean: doubtful figures, missing figures, swapped figures.

weigh.py asks; nothing here ever becomes the answer. All of it looks up neighbors of one number in production curves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from reader.dating.evidence import Clue
from reader.dating.production import Production, run_of_years
from reader.dating.readings import FIGURES_MAX, Readings
from reader.dating.statements import Floats
from reader.results import DoubtfulFigure, FigureRival, NamedAlternative

SPAN_LEVEL = 0.9
"""Probability that the years beside a rival or an alternative hold."""

DOUBT_FROM = 0.01
"""A figure counts as doubtful where its rivals have this much together."""

FITS_FROM = 0.5
"""A number fits a clue where the clue allows this share of its years."""

FITTING_MAX = 3
"""Most changed figures that are offered where a number and a clue contradict each other."""

ALIKE = ("17", "38", "56", "68", "06", "08", "09", "89", "49", "14", "27", "35", "69", "23")
"""Figures that are taken for each other in worn marks, likest first (common practice)."""


@dataclass(frozen=True)
class Change:
    """One figure read otherwise: `place` from 1, of `count`; and the year it would give."""

    place: int
    count: int
    own: str
    other: str
    year: int


def doubtful_figures(readings: Readings, production: Production, clues: Sequence[Clue]) -> tuple[DoubtfulFigure, ...]:
    """Return every figure of the best string that the strings of the same length read differently.

    Each rival has the year of the best string with that figure changed, all clues weighed.
    """
    best = readings.best
    alike = [string for string in readings.strings if len(string.text) == len(best)]
    figures = []
    for place, own in enumerate(best):
        weights: dict[str, float] = {own: 0.0}
        for string in alike:
            weights[string.text[place]] = weights.get(string.text[place], 0.0) + string.probability
        if sum(weights.values()) - weights[own] < DOUBT_FROM:
            continue
        order = sorted(weights, key=lambda figure: (-weights[figure], figure != own, figure))
        texts = [best[:place] + figure + best[place + 1 :] for figure in order]
        spans = _spans(production, texts, clues)
        rivals = [
            FigureRival(figure, weights[figure], span[0] if span else None, span[1:] if span else None)
            for figure, span in zip(order, spans, strict=True)
        ]
        figures.append(DoubtfulFigure(place + 1, tuple(rivals)))
    return tuple(figures)


def fitting_figures(text: str, production: Production, clue: Clue) -> tuple[Change, ...]:
    """Return the changes of one figure with which a number would fit a clue, figures that look alike first."""
    changes: list[tuple[int, Change, str]] = []
    for place, own in enumerate(text):
        for other in "0123456789":
            if other != own and not (place == 0 and other == "0"):
                rank = _alike(own, other)
                changed = text[:place] + other + text[place + 1 :]
                changes.append((rank, Change(place + 1, len(text), own, other, 0), changed))
    changes.sort(key=lambda entry: (entry[0], -entry[1].place))
    fitting: list[Change] = []
    curves = production.curves(_numbers([changed for *_, changed in changes]))
    allowed = clue.allows(production.years)
    for (_, change, _changed), curve in zip(changes, curves, strict=True):
        if curve.sum() > 0 and curve[allowed].sum() >= FITS_FROM * curve.sum() and len(fitting) < FITTING_MAX:
            year = int(production.years[curve.argmax()])
            fitting.append(Change(change.place, change.count, change.own, change.other, year))
    return tuple(fitting)


def _alike(own: str, other: str) -> int:
    pair = "".join(sorted((own, other)))
    return ALIKE.index(pair) if pair in ALIKE else len(ALIKE)


def name_alternatives(
    text: str, productions: Sequence[Production], clues: Sequence[Clue]
) -> tuple[NamedAlternative, ...]:
    """Return the numbers that a missing first or last figure or one swapped pair would explain, with their years.

    A missing last figure is written '?' and spans all ten. Alternatives that the clues exclude are left out, and so are
    numbers that no series has.
    """
    firsts = [figure + text for figure in "123456789"] if not text.startswith("0") else []
    lasts = [text + figure for figure in "0123456789"]
    swaps = [
        text[:place] + text[place + 1] + text[place] + text[place + 2 :]
        for place in range(len(text) - 1)
        if text[place] != text[place + 1] and not (place == 0 and text[1] == "0")
    ]
    if len(text) + 1 > FIGURES_MAX:
        return ()
    found: dict[tuple[str, str], NamedAlternative] = {}
    for production in productions:
        spans = _spans(production, [*firsts, *swaps, *lasts], clues)
        slips = ["the first figure is missing"] * len(firsts) + ["two figures are swapped"] * len(swaps)
        for other, slip, span in zip([*firsts, *swaps], slips, spans, strict=False):
            if span is not None:
                found.setdefault((slip, other), NamedAlternative(other, slip, span[0], span[1:]))
        ends = [span for span in spans[len(slips) :] if span is not None]
        if ends:
            year = sorted(span[0] for span in ends)[len(ends) // 2]
            hull = (min(span[1] for span in ends), max(span[2] for span in ends))
            slip = "the last figure is missing"
            found.setdefault((slip, text), NamedAlternative(text + "?", slip, year, hull))
    return tuple(found.values())


def _spans(production: Production, texts: Sequence[str], clues: Sequence[Clue]) -> list[tuple[int, int, int] | None]:
    """Return each number's likeliest year and the first and last year that hold it, None where there is no year."""
    likelihood: Floats = np.ones(len(production.years))
    for clue in clues:
        likelihood = likelihood * clue.likelihood(production.years)
    spans: list[tuple[int, int, int] | None] = []
    for curve in production.curves(_numbers(texts)):
        weighed = curve * likelihood
        if weighed.sum() <= 1e-3 * max(curve.sum(), 1e-12):
            spans.append(None)
            continue
        first, last = run_of_years(weighed, SPAN_LEVEL)
        years = production.years
        spans.append((int(years[weighed.argmax()]), int(years[first]), int(years[last])))
    return spans


def _numbers(texts: Sequence[str]) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    return np.array([int(text) for text in texts], np.int64)
