"""Makes makers and series of the rows of two tables, and says what in them cannot be.

Rows come from cells.py already cast to their types; the makers go to tables.py. Everything that is wrong is added to a
list with its file, row and column, so that a person can mend all of it at once.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path

from reader.dating.cells import Row, Table
from reader.dating.schema import check_package
from reader.dating.series import WORKS_LIST, Basis, BreakPoint, MakerTable, Series, YearKind
from reader.errors import TableError
from reader.results import Maker

RESOURCES = ("makers", "break-points")
"""The two tables that a package of makers has."""

Numbered = tuple[int, BreakPoint]
"""A break point with the number of its row."""


def check_makers(descriptor: Path) -> tuple[dict[str, MakerTable], list[TableError]]:
    """Return the makers of the package that a descriptor file describes, by id, and everything that is wrong.

    Raises TableError for a broken descriptor, with which no row can be judged.
    """
    tables, problems = check_package(descriptor, RESOURCES)
    for name in RESOURCES:
        if name not in tables:
            raise TableError(descriptor, f"describes no resource {name!r}; add it")
    return read_makers(tables["makers"], tables["break-points"], problems), problems


def load_makers(descriptor: Path) -> dict[str, MakerTable]:
    """Return the makers of a package by id. Raises TableError for the first thing that is wrong."""
    makers, problems = check_makers(descriptor)
    if problems:
        raise problems[0]
    return makers


def read_makers(makers: Table, points: Table, problems: list[TableError]) -> dict[str, MakerTable]:
    """Return the makers by id, in the file's order, with their series.

    In a series numbers rise from row to row. Rows of different series may be mixed; within a series a row out of
    order is refused, because it is most often a slip of the pen that sorting would hide. The dates of a works' list
    (first and last numbers of years) never fall, and it has two points at least. Sightings may contradict it and one
    another; production.py widens its curve there. Years stay within the maker's.
    """
    series = _read_series(points, problems)
    found: dict[str, MakerTable] = {}
    for number, row in zip(makers.numbers, makers.rows, strict=True):
        maker = _read_maker(row, number, makers.path, series.get(_text(row, "id"), ()), problems)
        found[maker.maker.id] = maker
    _check_years(points, found, problems)
    return found


def _text(row: Row, column: str) -> str:
    value = row.get(column)
    return "" if value is None else str(value)


def _year(row: Row, column: str) -> int | None:
    value = row.get(column)
    return None if value is None else int(value)


def _names(row: Row, column: str) -> tuple[str, ...]:
    return tuple(name.strip() for name in _text(row, column).split("|") if name.strip())


def _read_maker(
    row: Row, number: int, path: Path, series: tuple[Series, ...], problems: list[TableError]
) -> MakerTable:
    first, last = _year(row, "from"), _year(row, "to")
    if first is not None and last is not None and last < first:
        problem = f"{last} lies before the first year {first}; correct one"
        problems.append(TableError(path, problem, row=number, column="to"))
    return MakerTable(
        Maker(_text(row, "id"), _text(row, "name"), _text(row, "place"), bool(row.get("invented"))),
        _names(row, "aliases"),
        first,
        last,
        _text(row, "source"),
        series,
        _names(row, "former"),
        _names(row, "later"),
    )


def _read_series(table: Table, problems: list[TableError]) -> dict[str, tuple[Series, ...]]:
    """Return every maker's series, by the maker's id."""
    complete = not problems
    groups: dict[str, dict[str, list[Numbered]]] = {}
    for number, row in zip(table.numbers, table.rows, strict=True):
        point = _read_point(row)
        _check_span(point, number, table.path, problems)
        groups.setdefault(_text(row, "maker"), {}).setdefault(_text(row, "series"), []).append((number, point))
    for series in groups.values():
        for name, points in series.items():
            _check_order(points, table.path, problems)
            if complete and len(points) == 1 and points[0][1].basis in WORKS_LIST:
                problem = f"the only break point of series {name!r}; a works' list needs two at least"
                problems.append(TableError(table.path, problem, row=points[0][0], column="series"))
    if problems:  # the arrays of a series may be made of sound points only
        return {}
    return {
        maker: tuple(Series.from_points(name, [point for _, point in points]) for name, points in series.items())
        for maker, series in groups.items()
    }


def _read_point(row: Row) -> BreakPoint:
    serial, year = row["serial"], row["year"]
    assert isinstance(serial, int) and isinstance(year, int)  # the descriptor requires both, as integer and year
    return BreakPoint(
        serial,
        year,
        YearKind(_text(row, "year_kind")),
        Basis(_text(row, "basis") or Basis.SEEN),
        _text(row, "source"),
        _text(row, "found") or "yes",
        _text(row, "note"),
        _text(row, "form"),
        _text(row, "place"),
        _text(row, "instrument"),
        _year(row, "year_from"),
        _year(row, "year_to"),
    )


def _check_span(point: BreakPoint, number: int, path: Path, problems: list[TableError]) -> None:
    """Report a span that does not hold the point's own year."""
    if point.year_from is not None and point.year_from > point.year:
        problem = f"{point.year_from} lies after the year {point.year}; correct one"
        problems.append(TableError(path, problem, row=number, column="year_from"))
    if point.year_to is not None and point.year_to < point.year:
        problem = f"{point.year_to} lies before the year {point.year}; correct one"
        problems.append(TableError(path, problem, row=number, column="year_to"))


def _check_order(points: list[Numbered], path: Path, problems: list[TableError]) -> None:
    """Report numbers that do not rise, and a works' list whose dates fall."""
    for (row_before, low), (row, high) in pairwise(points):
        if high.serial <= low.serial:
            problem = f"{high.serial} does not rise above {low.serial} in row {row_before}; correct it or move the row"
            problems.append(TableError(path, problem, row=row, column="serial"))
    listed = [(row, point) for row, point in points if point.basis in WORKS_LIST]
    for (row_before, low), (row, high) in pairwise(listed):
        if high.date < low.date:
            problem = (
                f"{_state(high)} falls before {_state(low)} in row {row_before}; numbers and dates of a works' list "
                "must rise together"
            )
            problems.append(TableError(path, problem, row=row, column="year"))


def _state(point: BreakPoint) -> str:
    return f"{point.serial} {point.basis} {point.year}"


def _check_years(table: Table, makers: Mapping[str, MakerTable], problems: list[TableError]) -> None:
    """Report a break point whose year lies outside its maker's years."""
    for number, row in zip(table.numbers, table.rows, strict=True):
        maker, year = makers.get(_text(row, "maker")), _year(row, "year")
        if maker is None or year is None:
            continue
        first, last = maker.first_year, maker.last_year
        if (first is not None and year < first) or (last is not None and year > last):
            problem = f"{year} lies outside the maker's years {first or ''} to {last or ''}; correct one of them"
            problems.append(TableError(table.path, problem, row=number, column="year"))
