"""From a serial and a maker to a year, by the maker's table alone.

The frame for the weighing of all evidence: `estimate_year` gives what a series says of a number, `date_serial` makes
a dating of it with reasons and warnings. Tables come from tables.py, the maker from makers.py, the result goes into
the answer.

The method. Production is cumulative, so the date of a number lies between the dates of the break points around it.
With break points (N0, d0) and (N1, d1), N0 <= N <= N1 and u = (N - N0) / (N1 - N0):

    date      t = d0 + (d1 - d0) u                   even production between the two (piecewise linear interpolation)
    earliest  e = e0 + (e1 - e0) (1 - sqrt(1 - u))   production that fell evenly to nothing at the second point
    latest    l = l0 + (l1 - l0) sqrt(u)             production that rose evenly from nothing at the first point

where e0, l0, e1, l1 bound the break points' own dates (tables.py: basis and kind of year). If output rises in a
straight line from nothing, the share made after the share s of the time is s squared, so the share u is reached at
sqrt(u); falling output is its mirror image. So the interval is tight beside a point and widest halfway, where it is
0.41 of the points' distance. ORDER_YEARS is then added to both sides, and the maker's own first and last year cut
what lies beyond them. All three curves rise with N, so a higher number is never dated earlier.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from reader.dating.edtf import write_dating
from reader.dating.tables import Basis, BreakPoint, MakerTable, Series, Tables, YearKind
from reader.errors import MakerError, SettingsError, one_line
from reader.results import Dating, Evidence, Maker, Serial

ORDER_YEARS = 0.5
"""Out-of-order allowance, in years to either side. Common practice: numbers are drawn in blocks when a stock order is
written and put on at the end of the work, so neighbors may be months apart."""

INTERVAL_LEVEL = 0.9
"""Probability that the year lies in the interval when the number is read right. Assumed, not yet measured on a table of
real numbers; to be replaced by a measured value when published tables are added."""

PROOF_WARNING = (
    "An estimate from the maker's numbers, not a proof of age: numbers were drawn in blocks, "
    "and neighbors may be months apart."
)

_FIGURES_SHOWN = 20
"""Figures of a number that a warning repeats; beyond this it is cut."""

_PLACES = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth")

_BASIS_WORDS = {
    Basis.FIRST_OF_YEAR: "the first number of",
    Basis.LAST_OF_YEAR: "the last number of",
    Basis.SEEN: "seen with the year",
}
_KIND_WORDS = {
    YearKind.BUILT: "built",
    YearKind.SHIPPED: "shipped",
    YearKind.REGISTERED: "entered in the works' book",
    YearKind.APPROX: "about the year",
}
_KIND_WARNINGS = {
    YearKind.SHIPPED: "The table's year here is that of shipping; the instrument may have been built earlier.",
    YearKind.REGISTERED: "The table's year here is that of the entry in the works' book; it may have been built later.",
    YearKind.APPROX: "The table's year here is itself only about right.",
}


@dataclass(frozen=True)
class Lookup:
    """What a maker's table says of a serial. `dating` is None where no year may be given; the warnings say why.

    Where there is a dating it carries the same warnings.
    """

    dating: Dating | None
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class Estimate:
    """What one series says of one number.

    `year` is the most likely year, `interval` the first and last year. `points` are the break points it lies between,
    or the one that it meets exactly. `share` is how far it lies from the first to the second, 0 to 1.
    """

    year: int
    interval: tuple[int, int]
    points: tuple[BreakPoint, ...]
    share: float


def date_serial(serial: Serial, maker: Maker, tables: Tables, series: str | None = None) -> Lookup:
    """Date a serial by its maker's table.

    Parameters: `serial`, with figures 0 to 9 only (leading zeros do no harm); `maker`, as makers.find_maker gives it;
    `series`, the name of one of the maker's series, needed only when the number fits several.

    The dating's probability is INTERVAL_LEVEL times the serial's probability: the year is in the interval if the
    number is read right and the table holds. Rivals of the reading that would give a year outside the interval are
    named in the warnings. No year is given outside the table's ends, or where several series of the maker hold the
    number.

    Raises SettingsError for a serial with anything but figures and for an unknown series, MakerError for a maker that
    the tables do not have. Cost: about 0.1 ms.
    """
    number = read_number(serial.text)
    if maker.id not in tables.makers:
        raise MakerError(f"the tables have no maker {one_line(maker.id)!r}; take the maker from find_maker")
    table = tables.makers[maker.id]
    candidates = _choose_series(table, series)
    found = [(entry, estimate) for entry in candidates if (estimate := estimate_year(entry, number, table))]
    if len(found) != 1:
        reasons = _say_several(serial, found) if found else _say_outside(serial, number, candidates, table)
        warnings = (*reasons, *_say_number(serial), *_say_rivals(serial, candidates, table, None), *_say_maker(maker))
        return Lookup(None, warnings)
    dating = _make_dating(serial, found[0][1], found[0][0], candidates, table)
    return Lookup(dating, dating.warnings)


def read_number(text: str) -> int | None:
    """Return the serial as a number, None for one with more figures than any table can have.

    Raises SettingsError where anything but the figures 0 to 9 stands in it.
    """
    if not (text.isascii() and text.isdigit()):
        shown = one_line(text[:_FIGURES_SHOWN])
        raise SettingsError(f"the serial {shown!r} is not all figures; give figures 0 to 9 only, with none left open")
    figures = text.lstrip("0")
    return int(figures or "0") if len(figures) <= 18 else None


def estimate_year(series: Series, number: int | None, table: MakerTable) -> Estimate | None:
    """Return what the series says of the number, None outside its ends. For the formula see the module's text."""
    if number is None or not series.first.serial <= number <= series.last.serial:
        return None
    low = min(int(np.searchsorted(series.serials, number, side="right")) - 1, len(series.points) - 2)
    start, end = int(series.serials[low]), int(series.serials[low + 1])
    share = (number - start) / (end - start)
    date = float(np.interp(number, series.serials, series.dates))
    earliest = _between(series.earliest[low], series.earliest[low + 1], 1.0 - math.sqrt(1.0 - share)) - ORDER_YEARS
    latest = _between(series.latest[low], series.latest[low + 1], math.sqrt(share)) + ORDER_YEARS
    year = math.floor(date)
    first = max(math.floor(earliest), table.first_year or 1)
    last = min(math.floor(latest), table.last_year or 9999)
    points = series.points[low : low + 2]
    if share in (0.0, 1.0):
        points = (points[int(share)],)
    return Estimate(year, (first, last), points, share)


def _between(start: float, end: float, share: float) -> float:
    return float(start + (end - start) * share)


def _choose_series(table: MakerTable, name: str | None) -> tuple[Series, ...]:
    if name is None:
        return table.series
    chosen = tuple(series for series in table.series if series.name == name)
    if not chosen:
        known = ", ".join(series.name for series in table.series) or "none"
        raise SettingsError(f"{table.maker.name} has no series {one_line(name)!r}; its series: {known}")
    return chosen


def _make_dating(
    serial: Serial, estimate: Estimate, series: Series, candidates: tuple[Series, ...], table: MakerTable
) -> Dating:
    warnings = (
        PROOF_WARNING,
        *_say_maker(table.maker),
        *_say_number(serial),
        *_say_year_kinds(estimate),
        *_say_rivals(serial, candidates, table, estimate.interval),
    )
    return Dating(
        edtf=write_dating(estimate.year, estimate.interval, doubtful=not serial.accepted),
        year=estimate.year,
        interval=estimate.interval,
        probability=INTERVAL_LEVEL * serial.probability,
        evidence=_give_evidence(serial, estimate, series, table.maker),
        warnings=warnings,
    )


def _give_evidence(serial: Serial, estimate: Estimate, series: Series, maker: Maker) -> tuple[Evidence, ...]:
    """Return the break points that the estimate rests on and, between two of them, the interpolation."""
    evidence = [Evidence("break-point", _say_point(point, maker), point.source) for point in estimate.points]
    if len(estimate.points) == 2:
        low, high = estimate.points
        says = (
            f"{serial.text} lies {estimate.share:.0%} of the way from {low.serial} to {high.serial} in the series "
            f"'{series.name}': {_years(estimate)}"
        )
        source = "even production between break points, with an allowance for numbers out of order (common practice)"
        evidence.append(Evidence("interpolation", says, source))
    return tuple(evidence)


def _say_point(point: BreakPoint, maker: Maker) -> str:
    note = f"; {point.note}" if point.note else ""
    words = f"{_BASIS_WORDS[point.basis]} {point.year}"
    return f"{maker.name} no. {point.serial}: {words} ({_KIND_WORDS[point.year_kind]}{note})"


def _say_maker(maker: Maker) -> tuple[str, ...]:
    return (f"{maker.name} is an invented maker of the demo; the year means nothing.",) if maker.invented else ()


def _say_number(serial: Serial) -> tuple[str, ...]:
    """Warn of a doubtful reading and of leading zeros."""
    warnings = []
    if not serial.accepted:
        warnings.append(f"The reading {_shown(serial.text)} is doubtful (probability {serial.probability:.2f}).")
    if serial.text.startswith("0"):
        warnings.append(
            f"{_shown(serial.text)} begins with zero and is dated as {_shown(serial.text.lstrip('0') or '0')}; "
            "makers rarely put zeros first, so look at it again."
        )
    return tuple(warnings)


def _say_year_kinds(estimate: Estimate) -> tuple[str, ...]:
    kinds = dict.fromkeys(point.year_kind for point in estimate.points)
    return tuple(_KIND_WARNINGS[kind] for kind in kinds if kind in _KIND_WARNINGS)


def _say_several(serial: Serial, found: list[tuple[Series, Estimate]]) -> tuple[str, ...]:
    years = "; ".join(f"'{series.name}' gives {_years(estimate)}" for series, estimate in found)
    return (f"No year: {serial.text} fits several series of the maker ({years}); say which series it is of.",)


def _say_outside(
    serial: Serial, number: int | None, candidates: tuple[Series, ...], table: MakerTable
) -> tuple[str, ...]:
    """Say that the number lies outside the table, what the table spans, and whether its length is out of the way."""
    name = table.maker.name
    if not candidates:
        return (f"No year: the tables know {name} but have no numbers of that maker.",)
    spans = "; ".join(
        f"'{s.name}' from {s.first.serial} ({s.first.year}) to {s.last.serial} ({s.last.year})" for s in candidates
    )
    warnings = [f"No year: {_shown(serial.text)} lies outside the numbers known of {name}: {spans}."]
    lengths = [len(str(point.serial)) for series in candidates for point in (series.first, series.last)]
    shortest, longest = min(lengths), max(lengths)
    count = len(serial.text.lstrip("0") or "0") if number is None else len(str(number))
    usual = f"{shortest} to {longest}" if shortest < longest else f"{shortest}"
    if count < shortest:
        warnings.append(
            f"Too few figures: {count}, where the maker's numbers have {usual}; one may be worn away or hidden, or it "
            "is not the serial."
        )
    if count > longest:
        warnings.append(
            f"Too many figures: {count}, where the maker's numbers have {usual}; a second mark may be read along, or "
            "it is not the serial."
        )
    return tuple(warnings)


def _say_rivals(
    serial: Serial, candidates: tuple[Series, ...], table: MakerTable, interval: tuple[int, int] | None
) -> tuple[str, ...]:
    """Name the rival readings that give a year outside the interval, or any year where the reading itself gives none.

    Rivals with anything but figures and rivals outside the table give no year and are passed over.
    """
    warnings = []
    for rival in serial.alternatives:
        if rival.text == serial.text or not (rival.text.isascii() and rival.text.isdigit()):
            continue
        for series in candidates:
            estimate = estimate_year(series, read_number(rival.text), table)
            if estimate and (interval is None or not interval[0] <= estimate.year <= interval[1]):
                place = "" if len(candidates) == 1 else f" in the series '{series.name}'"
                warnings.append(
                    f"If {_say_difference(serial.text, rival.text)} (probability {rival.probability:.2f}), "
                    f"the year is {_years(estimate)}{place}."
                )
    return tuple(dict.fromkeys(warnings))


def _say_difference(text: str, rival: str) -> str:
    """Say in words how the rival differs: 'the third figure is 8 rather than 3', or the whole number."""
    places = [i for i, (own, other) in enumerate(zip(text, rival, strict=False)) if own != other]
    if len(text) == len(rival) and len(places) == 1 and places[0] < len(_PLACES):
        place = places[0]
        return f"the {_PLACES[place]} figure is {rival[place]} rather than {text[place]}"
    return f"the number is {_shown(rival)} rather than {_shown(text)}"


def _years(estimate: Estimate) -> str:
    first, last = estimate.interval
    return f"{estimate.year}" if first == last else f"{estimate.year} ({first} to {last})"


def _shown(text: str) -> str:
    return text if len(text) <= _FIGURES_SHOWN else f"{text[:_FIGURES_SHOWN]}... ({len(text)} figures)"
