"""Short ways to make series, makers and readings for the dating tests."""

from __future__ import annotations

from reader.dating.readings import Readings, parse_number
from reader.dating.series import Basis, BreakPoint, MakerTable, Series, YearKind
from reader.results import Candidate, Maker

Point = tuple[int, int] | tuple[int, int, Basis] | tuple[int, int, Basis, YearKind]


def make_series(*points: Point, name: str = "any") -> Series:
    """Return a series of (serial, year), basis SEEN and kind BUILT unless they are given."""
    return Series.from_points(name, [make_point(*point) for point in points])


def make_point(
    serial: int, year: int, basis: Basis = Basis.SEEN, kind: YearKind = YearKind.BUILT, form: str = ""
) -> BreakPoint:
    return BreakPoint(serial, year, kind, basis, "made for a test", "invented", form=form)


def make_table(*series: Series, first: int | None = None, last: int | None = None) -> MakerTable:
    return MakerTable(Maker("anyone", "Anyone"), (), first, last, "made for a test", tuple(series))


def typed(text: str) -> Readings:
    return parse_number(text)


def read_as(*strings: tuple[str, float], accepted: bool = False) -> Readings:
    """Return readings of a photo, likeliest first."""
    return Readings(tuple(Candidate(*string) for string in strings), strings[0][0], accepted)
