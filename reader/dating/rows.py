"""The rows that are weighed: every number that it may be, in every series that it may be of.

Made of readings and the makers' tables for weigh.py; say.py puts them into words.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reader.dating.production import Production, Reach, production_of
from reader.dating.readings import Readings
from reader.dating.series import MakerTable, Series
from reader.dating.statements import Floats
from reader.errors import SettingsError, one_line

REACH_WEIGHT = {Reach.POINT: 1.0, Reach.INSIDE: 1.0, Reach.STEP: 0.5, Reach.OUTSIDE: 0.02}
"""What a number keeps of its prior by where it lies in the series. Assumed: a works' list leaves little room beyond its
ends, and a wrongly read figure is far more common than a number beyond them."""

SPARSE_OUTSIDE_WEIGHT = 0.3
"""The same outside a series of scattered sightings, whose ends are not the maker's."""

Years = NDArray[np.int64]


@dataclass(frozen=True)
class Row:
    """One number in one series: its weight before the clues, and its curve over the common years, None without one."""

    text: str
    table: MakerTable
    series: Series
    production: Production
    reach: Reach
    weight: float
    curve: Floats | None


def make_rows(
    readings: Readings, makers: Sequence[tuple[MakerTable, float]], family: str, name: str | None
) -> tuple[Years, list[Row], list[str]]:
    """Return the common years, a row for every number in every series that it may be of, and notes on the series."""
    chosen: list[tuple[MakerTable, Series, float]] = []
    notes: list[str] = []
    for table, probability in makers:
        fitting, note = _choose_series(table, family, name)
        notes += note
        chosen += [(table, series, probability / len(fitting)) for series in fitting]
    if name is not None and not chosen:
        known = ", ".join(series.name for table, _ in makers for series in table.series) or "none"
        names = ", ".join(table.maker.name for table, _ in makers)
        raise SettingsError(f"{names} has no series {one_line(name)!r}; its series: {known}")
    built = [(t, s, p, production_of(s, t.first_year, t.last_year)) for t, s, p in chosen]
    start = min((int(production.years[0]) for *_, production in built), default=1800)
    end = max((int(production.years[-1]) for *_, production in built), default=1800)
    years = np.arange(start, end + 1, dtype=np.int64)
    rows = []
    for table, series, share, production in built:
        offset = int(production.years[0]) - start
        numbers = np.array([int(string.text) for string in readings.strings], np.int64)
        for string, own in zip(readings.strings, production.curves(numbers), strict=True):
            curve = None
            if own.sum() > 0:
                curve = np.zeros(len(years))
                curve[offset : offset + len(own)] = own
            reach = production.reach(int(string.text)) if curve is not None else Reach.OUTSIDE
            fit = SPARSE_OUTSIDE_WEIGHT if reach is Reach.OUTSIDE and series.sparse else REACH_WEIGHT[reach]
            rows.append(Row(string.text, table, series, production, reach, string.probability * share * fit, curve))
    return years, rows, notes


def _choose_series(table: MakerTable, family: str, name: str | None) -> tuple[list[Series], list[str]]:
    """Return the series that a number of this form may be of, and a note where none of them is of the form."""
    if name is not None:
        return [series for series in table.series if series.name == name], []
    fitting = [series for series in table.series if not family or not series.forms or family in series.forms]
    if table.series and not fitting:
        known = ", ".join(f"'{series.name}'" for series in table.series)
        return list(table.series), [f"No series of {table.maker.name} is known to be of this form; used: {known}."]
    return fitting, []
