"""The makers' tables: which serial number a maker had reached in which year.

Read from reader/dating/data/ (two CSV files and their Table Schema descriptor) or from a folder of the same form.
makers.py finds a maker in them, lookup.py interpolates between their break points.

A break point as a date. Dates are years with a fraction, 1874.0 being the start of 1874. Number N as the first of the
year Y is made at Y, as the last of Y at Y + 1 less one day, and when only seen with the year Y at Y + 0.5, give or take
half a year. What the year means widens that: see YEAR_KIND_YEARS.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from reader.dating.schema import Row, Table, read_package
from reader.errors import TableError
from reader.results import Maker

DATA_FOLDER = Path(__file__).parent / "data"
"""The built-in tables."""

DAY_YEARS = 1 / 365.25
"""One day in years: the last number of a year is made on its last day."""

SEEN_YEARS = 0.5
"""A number seen with a year may be of any day in it: half a year either way from its middle."""


class YearKind(StrEnum):
    """What happened in a break point's year."""

    BUILT = "built"
    SHIPPED = "shipped"
    REGISTERED = "registered"
    APPROX = "approx"


class Basis(StrEnum):
    """What a break point states about its number and year."""

    FIRST_OF_YEAR = "first-of-year"
    LAST_OF_YEAR = "last-of-year"
    SEEN = "seen"


YEAR_KIND_YEARS: Mapping[YearKind, tuple[float, float]] = MappingProxyType(
    {
        YearKind.BUILT: (0.0, 0.0),
        YearKind.SHIPPED: (1.0, 0.0),
        YearKind.REGISTERED: (0.0, 1.0),
        YearKind.APPROX: (2.0, 2.0),
    }
)
"""By how many years the building may lie before and after a year of that kind. Origin, common practice: a finished
instrument may stand in store for about a year before it is shipped; a number is entered in the works' book when the
order is written, up to about a year before the work is done; 'about 1880' is commonly meant as two years either way."""


@dataclass(frozen=True)
class BreakPoint:
    """One number of a series with the year that a source gives for it."""

    serial: int
    year: int
    year_kind: YearKind
    basis: Basis
    source: str
    found: str
    note: str = ""

    @property
    def date(self) -> float:
        """When the number was reached, in years with a fraction; always inside the point's own year."""
        inside = {Basis.FIRST_OF_YEAR: 0.0, Basis.LAST_OF_YEAR: 1.0 - DAY_YEARS, Basis.SEEN: 0.5}
        return self.year + inside[self.basis]

    @property
    def margins(self) -> tuple[float, float]:
        """How many years before and after `date` the number may really have been built."""
        before, after = YEAR_KIND_YEARS[self.year_kind]
        own = SEEN_YEARS if self.basis is Basis.SEEN else 0.0
        return before + own, after + own


@dataclass(frozen=True, eq=False)
class Series:
    """One running series of numbers of a maker, at least two break points, numbers rising and dates never falling.

    `serials` is (N,) int64. `dates`, `earliest` and `latest` are (N,) float64 in years, none ever falling:
    `earliest` and `latest` bound when each break point's number was really built. A number is never earlier than a
    lower number may be and never later than a higher one may be, so a sure point also narrows its unsure neighbors.
    """

    name: str
    points: tuple[BreakPoint, ...]
    serials: NDArray[np.int64]
    dates: NDArray[np.float64]
    earliest: NDArray[np.float64]
    latest: NDArray[np.float64]

    @classmethod
    def from_points(cls, name: str, points: Sequence[BreakPoint]) -> Series:
        """Return the series of points that are already in order."""
        dates = np.array([point.date for point in points], np.float64)
        margins = np.array([point.margins for point in points], np.float64)
        earliest = np.maximum.accumulate(dates - margins[:, 0])
        latest = np.minimum.accumulate((dates + margins[:, 1])[::-1])[::-1].copy()
        serials = np.array([point.serial for point in points], np.int64)
        for array in (serials, dates, earliest, latest):
            array.setflags(write=False)
        return cls(name, tuple(points), serials, dates, earliest, latest)

    @property
    def first(self) -> BreakPoint:
        """The break point with the lowest number."""
        return self.points[0]

    @property
    def last(self) -> BreakPoint:
        """The break point with the highest number."""
        return self.points[-1]


@dataclass(frozen=True)
class MakerTable:
    """What the tables say of one maker. A maker may have several series, or none yet."""

    maker: Maker
    aliases: tuple[str, ...]
    first_year: int | None
    last_year: int | None
    source: str
    series: tuple[Series, ...]


@dataclass(frozen=True)
class Tables:
    """All makers by id, in the file's order."""

    makers: Mapping[str, MakerTable]


def load_tables(folder: Path | None = None) -> Tables:
    """Load and check the tables of a folder, or the built-in ones, which are read once and kept.

    Raises TableError with file, row (row 1 is the first below the header) and column for anything that breaks the
    descriptor or the rules of this module: in a series numbers rise from row to row, their dates never fall, years
    stay within the maker's, and there are two points at least. Rows of different series may be mixed; within a series
    a row out of order is refused, because it is most often a slip of the pen that sorting would hide.
    """
    return _built_in() if folder is None else _load(folder)


@functools.cache
def _built_in() -> Tables:
    return _load(DATA_FOLDER)


def _load(folder: Path) -> Tables:
    package = read_package(folder)
    for name in ("makers", "break-points"):
        if name not in package:
            raise TableError(folder / "datapackage.json", f"describes no resource {name!r}; add it")
    series = _read_series(package["break-points"])
    makers: dict[str, MakerTable] = {}
    for number, row in enumerate(package["makers"].rows, start=1):
        maker = _read_maker(row, number, package["makers"], series.get(_text(row, "id"), ()))
        makers[maker.maker.id] = maker
    _check_years(package["break-points"], makers)
    return Tables(MappingProxyType(makers))


def _text(row: Row, column: str) -> str:
    value = row[column]
    return "" if value is None else str(value)


def _year(row: Row, column: str) -> int | None:
    value = row[column]
    return None if value is None else int(value)


def _read_maker(row: Row, number: int, table: Table, series: tuple[Series, ...]) -> MakerTable:
    first, last = _year(row, "from"), _year(row, "to")
    if first is not None and last is not None and last < first:
        raise TableError(table.path, f"{last} lies before the first year {first}; correct one", row=number, column="to")
    maker = Maker(_text(row, "id"), _text(row, "name"), _text(row, "place"), bool(row["invented"]))
    aliases = tuple(alias.strip() for alias in _text(row, "aliases").split("|") if alias.strip())
    return MakerTable(maker, aliases, first, last, _text(row, "source"), series)


def _read_series(table: Table) -> dict[str, tuple[Series, ...]]:
    """Return every maker's series, by the maker's id."""
    groups: dict[str, dict[str, list[tuple[int, BreakPoint]]]] = {}
    for number, row in enumerate(table.rows, start=1):
        group = groups.setdefault(_text(row, "maker"), {}).setdefault(_text(row, "series"), [])
        point = _read_point(row)
        if group:
            _check_step(group[-1], (number, point), table.path)
        group.append((number, point))
    return {
        maker: tuple(_build_series(name, points, table.path) for name, points in series.items())
        for maker, series in groups.items()
    }


def _read_point(row: Row) -> BreakPoint:
    serial, year = row["serial"], row["year"]
    assert isinstance(serial, int) and isinstance(year, int)  # the descriptor requires both, as integer and year
    return BreakPoint(
        serial,
        year,
        YearKind(_text(row, "year_kind")),
        Basis(_text(row, "basis")),
        _text(row, "source"),
        _text(row, "found"),
        _text(row, "note"),
    )


def _check_step(before: tuple[int, BreakPoint], after: tuple[int, BreakPoint], path: Path) -> None:
    """Refuse a point whose number does not rise above the series' last point, or whose date falls below it."""
    (row_before, low), (row, high) = before, after
    if high.serial <= low.serial:
        problem = f"{high.serial} does not rise above {low.serial} in row {row_before}; correct it or move the row"
        raise TableError(path, problem, row=row, column="serial")
    if high.date < low.date:
        problem = f"{_state(high)} falls before {_state(low)} in row {row_before}; numbers and dates must rise together"
        raise TableError(path, problem, row=row, column="year")


def _state(point: BreakPoint) -> str:
    return f"{point.serial} {point.basis} {point.year}"


def _build_series(name: str, points: list[tuple[int, BreakPoint]], path: Path) -> Series:
    if len(points) < 2:
        problem = f"the only break point of series {name!r}; a series needs two at least"
        raise TableError(path, problem, row=points[0][0], column="series")
    return Series.from_points(name, [point for _, point in points])


def _check_years(table: Table, makers: Mapping[str, MakerTable]) -> None:
    """Refuse a break point whose year lies outside its maker's years."""
    for number, row in enumerate(table.rows, start=1):
        maker, year = makers[_text(row, "maker")], _year(row, "year")
        assert year is not None
        first, last = maker.first_year, maker.last_year
        if (first is not None and year < first) or (last is not None and year > last):
            problem = f"{year} lies outside the maker's years {first or ''} to {last or ''}; correct one of them"
            raise TableError(table.path, problem, row=number, column="year")
