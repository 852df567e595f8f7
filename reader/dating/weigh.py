"""Weighs everything that bears on the year: from a doubtful number, a maker and clues to a probability for each year.

Takes Readings (readings.py), the maker's tables and clues (evidence.py); gives a Dating with its reasons. The only way
to date: `read` and `date` both come here.

The rule of Bayes over the pairs (number n, series s), the rows, and the years y:

    P(y) ~ sum over n, s of  p(n) w(n, s) P(y | n, s)  times  the product over the clues of L(y)

p(n) is the reading's calibrated probability, P(y | n, s) the series' production curve (production.py), L the clues'
likelihoods. w is the prior: the maker's series share it evenly, and a number that the maker could hardly have stamped
has little of it (rows.py). Such a number has no year; it stays among the candidates and takes its part of the
probability.
Clues are put in one order and counted once, so that neither their order nor a repetition changes anything.

A firm clue that the number's years hardly allow (AGREES_FROM) is not averaged into them: there is no year then, and the
contradiction is told in words. A soft one is told too, and weighs little.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from reader.dating import say
from reader.dating.edtf import write_dating
from reader.dating.evidence import Clue
from reader.dating.production import Production, Reach, run_of_years
from reader.dating.readings import Readings
from reader.dating.rows import Row, Years, make_rows
from reader.dating.series import MakerTable
from reader.dating.slips import doubtful_figures, fitting_figures, name_alternatives
from reader.dating.statements import Floats
from reader.results import DatedNumber, Dating, NamedAlternative

INTERVAL_LEVEL, HALF_LEVEL = 0.9, 0.5
"""What the two intervals hold of the curve, at least."""

AGREES_FROM = 0.05
"""A clue that allows less than this of the number's years contradicts it."""

SHOWN_FROM = 0.001
"""Years at both ends of the curve with less than this are not listed."""

TELLS_FROM, TOLD_MAX = 0.1, 3
"""From which probability on another number is listed with its break points, and how many numbers at most."""

RUNS_MAX = 6
"""Most runs of years that an EDTF set lists; beyond that the whole interval is written."""

CANDIDATES_MAX = 12
"""Most candidate rows that are listed."""


@dataclass(frozen=True)
class Lookup:
    """What is known of the year. `dating` is None where no year may be given; the warnings say why.

    Where there is a dating it carries the same warnings, candidates and alternatives.
    """

    dating: Dating | None
    warnings: tuple[str, ...]
    candidates: tuple[DatedNumber, ...] = ()
    alternatives: tuple[NamedAlternative, ...] = ()


@dataclass(frozen=True)
class _Case:
    """Everything about one number while it is weighed.

    `likelihood` is that of all clues together and `curve` the rows' curves with it, both (Y,), the curve unscaled.
    `weights` are the rows' probabilities by id, `dated` that of all rows with a year together, `rest` that of the
    strings that the readings leave unlisted.
    """

    readings: Readings
    makers: Sequence[tuple[MakerTable, float]]
    clues: tuple[Clue, ...]
    years: Years
    rows: list[Row]
    likelihood: Floats
    curve: Floats
    weights: dict[int, float]
    dated: float
    rest: float


def date_number(
    readings: Readings,
    makers: Sequence[tuple[MakerTable, float]],
    clues: Sequence[Clue] = (),
    series: str | None = None,
) -> Lookup:
    """Date a number.

    Parameters: `readings`, as readings.py makes them; `makers`, who may have made it with a probability each (one with
    1 where it is known, none where it is not); `clues`, whatever else bears on the year; `series`, the name of one of
    the maker's series, where it is known.

    Without a maker no number means a year; then only the clues' bounds are told. Raises SettingsError for a series that
    none of the makers has. Cost: about 1 ms after the series' first number.
    """
    ordered = tuple(sorted(set(clues), key=lambda clue: clue.order))
    doubts = [doubt for clue in ordered for doubt in clue.doubts]
    if not makers:
        return Lookup(None, (*say.no_maker(ordered), *doubts))
    years, rows, notes = make_rows(readings, makers, _family(ordered), series)
    likelihood = np.ones(len(years))
    for clue in ordered:
        likelihood = likelihood * clue.likelihood(years)
    case = _Case(
        readings, makers, ordered, years, rows, likelihood, _mix(rows, likelihood), *_weigh(rows, likelihood, readings)
    )
    prior = _mix(rows, np.ones(len(years)))
    against = [clue for clue in ordered if prior.sum() > 0 and _agreement(clue, years, prior) < AGREES_FROM]
    warnings = [*notes, *_contradictions(case, against), *doubts]
    alternatives = name_alternatives(readings.best, _productions(rows), ordered)
    if case.curve.sum() <= 0 or any(clue.firm for clue in against):
        reasons = say.no_year_for_contradiction() if prior.sum() > 0 else say.no_year(readings, rows)
        told = (*reasons, *warnings, *say.number_notes(readings), *say.slips(alternatives), *say.makers(makers))
        return Lookup(None, told, _list_candidates(case), alternatives)
    doubtful = bool(against) or not readings.accepted
    dating = _make_dating(case, warnings, alternatives, tell_slips=doubtful)
    return Lookup(dating, dating.warnings, dating.candidates, alternatives)


def _family(clues: Sequence[Clue]) -> str:
    """Return the family of the form that the clues name, empty where they name none or several."""
    families = {clue.family for clue in clues if clue.family}
    return families.pop() if len(families) == 1 else ""


def _mix(rows: Sequence[Row], likelihood: Floats) -> Floats:
    mixed = np.zeros(len(likelihood))
    for row in rows:
        if row.curve is not None:
            mixed += row.weight * row.curve
    return np.asarray(mixed * likelihood)


def _agreement(clue: Clue, years: Years, curve: Floats) -> float:
    """Return what share of a curve lies inside a clue's bounds."""
    return float(curve[clue.allows(years)].sum() / curve.sum())


def _weigh(rows: Sequence[Row], likelihood: Floats, readings: Readings) -> tuple[dict[int, float], float, float]:
    """Return each row's probability by its id, all clues weighed, that of all with a year, and that of no row at all.

    A number without a year cannot be judged by the clues: it keeps what the best row with a year keeps. So does what
    the readings leave unlisted.
    """
    kept = {id(row): float((row.curve * likelihood).sum()) for row in rows if row.curve is not None}
    level = max(kept.values(), default=1.0) or 1.0
    raw = {id(row): row.weight * kept.get(id(row), level) for row in rows}
    rest = max(1.0 - sum(string.probability for string in readings.strings), 0.0) * level
    total = sum(raw.values()) + rest
    if total <= 0:
        return dict.fromkeys(raw, 0.0), 0.0, 0.0
    weights = {key: value / total for key, value in raw.items()}
    return weights, sum(weights[key] for key in kept), rest / total


def _list_candidates(case: _Case) -> tuple[DatedNumber, ...]:
    """Return the rows as candidates, likeliest first."""
    several = len({row.table.maker.id for row in case.rows}) > 1
    listed = []
    for row in sorted(case.rows, key=lambda row: (-case.weights[id(row)], row.text, row.series.name))[:CANDIDATES_MAX]:
        name = f"{row.table.maker.name}: {row.series.name}" if several else row.series.name
        weight = case.weights[id(row)]
        curve = None if row.curve is None else row.curve * case.likelihood
        if curve is None or curve.sum() <= 0:
            why = say.outside(row.text, row.series) if row.curve is None else "the evidence excludes its years"
            listed.append(DatedNumber(row.text, name, weight, why=why))
            continue
        year, first, last = _span(case.years, curve)
        why = "just beyond the known numbers" if row.reach is Reach.STEP else ""
        listed.append(DatedNumber(row.text, name, weight, year, (first, last), why))
    return tuple(listed)


def _span(years: Years, curve: Floats) -> tuple[int, int, int]:
    """Return the likeliest year of a curve and the first and last year that hold it."""
    first, last = run_of_years(curve, INTERVAL_LEVEL)
    return int(years[curve.argmax()]), int(years[first]), int(years[last])


def _contradictions(case: _Case, against: Sequence[Clue]) -> list[str]:
    """Say what the number and the clues, and two clues, say against each other."""
    told = [
        say.clues_clash(early, late)
        for early, late in itertools.permutations(case.clues, 2)
        if early.not_after is not None and late.not_before is not None and early.not_after < late.not_before
    ]
    dated = [row for row in case.rows if row.curve is not None]
    if not (against and dated):
        return told
    row = max(dated, key=lambda row: row.weight)
    assert row.curve is not None
    year, first, last = _span(case.years, row.curve)
    for clue in against:
        fitting = fitting_figures(row.text, row.production, clue)
        told.append(say.contradiction(clue, row.text, year, (first, last), fitting))
        told += say.wrong_length(clue, row.text, row.production)
    return told


def _productions(rows: Sequence[Row]) -> list[Production]:
    return list({id(row.production): row.production for row in rows}.values())


def _make_dating(
    case: _Case, warnings: Sequence[str], alternatives: tuple[NamedAlternative, ...], *, tell_slips: bool
) -> Dating:
    """Return the dating of a number that has years left, with all that is to be said of it."""
    readings, years, curve = case.readings, case.years, case.curve / case.curve.sum()
    leading = max((row for row in case.rows if row.curve is not None), key=lambda row: case.weights[id(row)])
    candidates = _list_candidates(case)
    figures = doubtful_figures(readings, leading.production, case.clues)
    year = int(years[curve.argmax()])
    runs = _likeliest_runs(years, curve)
    first, last = runs[0][0], runs[-1][1]
    inside = (years >= first) & (years <= last)
    shown = np.flatnonzero(curve >= SHOWN_FROM)
    # Looked for inside the wider one only, which may have left out a year at its end that a short run would take in.
    half = np.clip(run_of_years(curve * inside, HALF_LEVEL / float(curve[inside].sum())), shown[0], shown[-1])
    span = slice(int(shown[0]), int(shown[-1]) + 1)
    number = int(leading.text)
    exact = leading.reach is Reach.POINT and say.states_the_year(leading.production.neighbors(number), year)
    evidence = [
        piece
        for row in _telling_rows(case)
        for piece in say.point_evidence(row.production, row.text, row.table.maker.name, row.reach)
    ]
    told = (
        *say.series_choice(case.rows, candidates),
        *warnings,
        say.PROOF_WARNING,
        *say.makers(case.makers),
        *say.number_notes(readings),
        *say.another_reading(readings, leading.text),
        *say.table_notes(leading.production, number, leading.reach),
        *say.figures(figures, readings),
        *(say.slips(alternatives, (first, last)) if tell_slips else ()),
    )
    return Dating(
        edtf=write_dating(
            year, runs if len(runs) <= RUNS_MAX else [(first, last)], doubtful=not readings.accepted, certain=exact
        ),
        year=year,
        interval=(first, last),
        probability=float(curve[inside].sum()) * case.dated + case.rest * _held_by_slips(case, leading, (first, last)),
        evidence=(*dict.fromkeys(evidence), *map(say.clue_evidence, case.clues)),
        warnings=tuple(dict.fromkeys(told)),
        interval_50=(int(years[half[0]]), int(years[half[1]])),
        years=tuple(years[span].tolist()),
        probabilities=tuple((curve[span] / curve[span].sum()).tolist()),
        candidates=candidates,
        figures=figures,
        alternatives=alternatives,
    )


def _held_by_slips(case: _Case, leading: Row, interval: tuple[int, int]) -> float:
    """Return which share of the unlisted strings has its year in the interval too.

    They are taken for the leading number with one figure wrong, all such numbers alike; those without a year count as
    outside. A wrong last figure seldom changes the year.
    """
    if case.rest <= 0:
        return 0.0
    texts = [
        leading.text[:place] + figure + leading.text[place + 1 :]
        for place, own in enumerate(leading.text)
        for figure in "0123456789"
        if figure != own
    ]
    production = leading.production
    curves = production.curves(np.array([int(text) for text in texts], np.int64))
    for clue in case.clues:
        curves = curves * clue.likelihood(production.years)
    inside = (production.years >= interval[0]) & (production.years <= interval[1])
    return float(curves[:, inside].sum() / len(texts))


def _telling_rows(case: _Case) -> list[Row]:
    """Return the rows whose break points are evidence: the likeliest, and others that have TELLS_FROM at least."""
    dated = sorted((row for row in case.rows if row.curve is not None), key=lambda row: -case.weights[id(row)])
    return [row for place, row in enumerate(dated[:TOLD_MAX]) if not place or case.weights[id(row)] >= TELLS_FROM]


def _likeliest_runs(years: Years, curve: Floats) -> list[tuple[int, int]]:
    """Return the runs of the fewest years that hold INTERVAL_LEVEL of the curve; gaps of one year are closed."""
    order = np.argsort(-curve, kind="stable")
    count = int(np.searchsorted(np.cumsum(curve[order]), INTERVAL_LEVEL - 1e-9)) + 1
    runs: list[tuple[int, int]] = []
    for year in sorted(years[order[:count]].tolist()):
        if runs and year - runs[-1][1] <= 2:
            runs[-1] = (runs[-1][0], year)
        else:
            runs.append((year, year))
    return runs
