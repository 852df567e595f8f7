"""The types of the makers' tables: break points, series of numbers, makers.

Built by table_rows.py from checked rows, kept together by tables.py; the model of the years reads them.

A break point as a date. Dates are years with a fraction, 1874.0 being the start of 1874. Number N as the first of the
year Y is made at Y, as the last of Y at Y + 1 less one day. When only seen with the year Y, or when the source does not
say whether it is the first or the last, it is made at Y + 0.5, give or take half a year. What the year means widens
that (YEAR_KIND_YEARS), and a span that the source itself states takes the place of the allowance for 'about'.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from reader.results import Maker

DAY_YEARS = 1 / 365.25
"""One day in years: the last number of a year is made on its last day."""

SEEN_YEARS = 0.5
"""A number seen with a year may be of any day in it: half a year either way from its middle."""

_ENOUGH_YEARS = 1.0 - 2 * DAY_YEARS
"""Two points agree when their bounds leave them a year, less the day by which the last number of a year falls short."""

PAIRS_MAX = 1000
"""Most contradicting pairs of a series that are named."""

FORMS = ("square", "grand", "upright", "reed-organ", "melodeon")
"""What a break point's instrument may be. 'square' is the English square and the American square grand."""


class YearKind(StrEnum):
    """What happened in a break point's year."""

    BUILT = "built"
    SHIPPED = "shipped"
    SOLD = "sold"
    REGISTERED = "registered"
    APPROX = "approx"


class Basis(StrEnum):
    """What a break point states about its number and year."""

    FIRST_OF_YEAR = "first-of-year"
    LAST_OF_YEAR = "last-of-year"
    FIRST_OR_LAST = "first-or-last-of-year"
    SEEN = "seen"
    NOT_BEFORE = "not-before"
    NOT_AFTER = "not-after"


WORKS_LIST = frozenset({Basis.FIRST_OF_YEAR, Basis.LAST_OF_YEAR})
"""What only somebody with the works' books can state. Such points may not contradict one another."""

LIMITS = frozenset({Basis.NOT_BEFORE, Basis.NOT_AFTER})
"""What bounds the year on one side only; such a point is no place to interpolate from."""

YEAR_KIND_YEARS: Mapping[YearKind, tuple[float, float]] = MappingProxyType(
    {
        YearKind.BUILT: (0.0, 0.0),
        YearKind.SHIPPED: (1.0, 0.0),
        YearKind.SOLD: (3.0, 0.0),
        YearKind.REGISTERED: (0.0, 1.0),
        YearKind.APPROX: (2.0, 2.0),
    }
)
"""By how many years the building may lie before and after a year of that kind. Origin, common practice: a finished
instrument may stand in store for about a year before it is shipped; a number is entered in the works' book when the
order is written, up to about a year before the work is done; 'about 1880' is commonly meant as two years either way.
Sold: three published instruments were sold 0.3, 2.2 and 2.8 years after they were made (Érard 18650, Pleyel 5612,
Broadwood 47847; sources in data/published)."""


@dataclass(frozen=True)
class BreakPoint:
    """One number of a series with the year that a source gives for it.

    `found` is 'yes' (seen in the source), 'from-memory' or 'invented'. `form` is one of FORMS or empty, `place` the
    town, `instrument` the source's own words. `year_from` and `year_to` are the span where the source states one.
    """

    serial: int
    year: int
    year_kind: YearKind
    basis: Basis
    source: str
    found: str
    note: str = ""
    form: str = ""
    place: str = ""
    instrument: str = ""
    year_from: int | None = None
    year_to: int | None = None

    @property
    def date(self) -> float:
        """When the number was reached, in years with a fraction; always inside the point's own year."""
        if self.basis in (Basis.FIRST_OF_YEAR, Basis.NOT_BEFORE):
            return float(self.year)
        if self.basis in (Basis.LAST_OF_YEAR, Basis.NOT_AFTER):
            return self.year + 1.0 - DAY_YEARS
        return self.year + 0.5

    @property
    def margins(self) -> tuple[float, float]:
        """How many years before and after `date` the number may really have been built; infinite on an open side."""
        if self.basis is Basis.NOT_BEFORE:
            return 0.0, math.inf
        if self.basis is Basis.NOT_AFTER:
            return math.inf, 0.0
        spanned = self.year_from is not None or self.year_to is not None
        before, after = (0.0, 0.0) if self.year_kind is YearKind.APPROX and spanned else YEAR_KIND_YEARS[self.year_kind]
        own = 0.0 if self.basis in WORKS_LIST else SEEN_YEARS
        start = self.year if self.year_from is None else self.year_from
        end = self.year if self.year_to is None else self.year_to
        return before + own + (self.year - start), after + own + (end - self.year)


@dataclass(frozen=True, eq=False)
class Series:
    """One running series of numbers of a maker, numbers rising.

    `points` are the N break points to interpolate between, most often two or more; a published series may have one,
    or none but `limits`, the points that bound the year on one side. `serials` is (N,) int64. production.py makes the
    curve of the years of them.

    `contradicting` are pairs of points, lower number first, whose own bounds leave no year, or less than one, in which
    both can be true. Nothing is dropped for it: see find_contradictions.
    """

    name: str
    points: tuple[BreakPoint, ...]
    limits: tuple[BreakPoint, ...]
    contradicting: tuple[tuple[BreakPoint, BreakPoint], ...]
    serials: NDArray[np.int64]

    @classmethod
    def from_points(cls, name: str, points: Sequence[BreakPoint]) -> Series:
        """Return the series of points whose numbers are already in order."""
        knots = tuple(point for point in points if point.basis not in LIMITS)
        serials = np.array([point.serial for point in knots], np.int64)
        serials.setflags(write=False)
        return cls(
            name,
            knots,
            tuple(point for point in points if point.basis in LIMITS),
            tuple((points[low], points[high]) for low, high in find_contradictions(points)),
            serials,
        )

    @property
    def first(self) -> BreakPoint:
        """The break point with the lowest number."""
        return self.points[0]

    @property
    def last(self) -> BreakPoint:
        """The break point with the highest number."""
        return self.points[-1]

    @property
    def sparse(self) -> bool:
        """Whether the series is only a scatter of single numbers, with nothing from the works' own list."""
        return not any(point.basis in WORKS_LIST for point in self.points)

    @property
    def forms(self) -> frozenset[str]:
        """The forms of instrument that its points name; empty where none does, and then no form is excluded."""
        return frozenset(point.form for point in (*self.points, *self.limits) if point.form)

    @property
    def places(self) -> frozenset[str]:
        """The towns that its points name."""
        return frozenset(point.place for point in (*self.points, *self.limits) if point.place)


@dataclass(frozen=True)
class MakerTable:
    """What the tables say of one maker. A maker may have several series, or none yet.

    `former` and `later` are names of the same business before and after. `origin` names the user's table that the
    maker is from, empty for what comes with Rakelight; `instead_of` says that it takes the place of such a one.
    """

    maker: Maker
    aliases: tuple[str, ...]
    first_year: int | None
    last_year: int | None
    source: str
    series: tuple[Series, ...]
    former: tuple[str, ...] = ()
    later: tuple[str, ...] = ()
    origin: str = ""
    instead_of: bool = False

    @property
    def sparse(self) -> bool:
        """Whether the maker has numbers, but in no series anything from the works' own list."""
        return bool(self.series) and all(series.sparse for series in self.series)

    @property
    def names(self) -> tuple[str, ...]:
        """Every name of the maker: its own, other spellings, former and later ones."""
        return (self.maker.name, *self.aliases, *self.former, *self.later)


@dataclass(frozen=True)
class Tables:
    """All makers by id: the built-in ones in the files' order, then the user's."""

    makers: Mapping[str, MakerTable]


def find_contradictions(points: Sequence[BreakPoint]) -> list[tuple[int, int]]:
    """Return the pairs of places, lower number first, of points that contradict one another; PAIRS_MAX at most.

    The lower number of a pair should be built first. Where its earliest date lies after the latest of the higher
    number, or the two bounds leave less than a year, a source is wrong or the numbers are out of order (common
    practice), and nothing says which. Two points of the works' own list are left alone.
    """
    dates = np.array([point.date for point in points], np.float64)
    margins = np.array([point.margins for point in points], np.float64).reshape(-1, 2)
    fixed = np.array([point.basis in WORKS_LIST for point in points], bool)
    before, after = dates - margins[:, 0], dates + margins[:, 1]
    pairs: list[tuple[int, int]] = []
    latest_start = np.maximum.accumulate(before[:-1])
    latest_loose_start = np.maximum.accumulate(np.where(fixed, -np.inf, before)[:-1])
    limits = np.where(fixed[1:], latest_loose_start, latest_start)
    for high in (np.flatnonzero(after[1:] - limits < _ENOUGH_YEARS) + 1).tolist():
        against = after[high] - before[:high] < _ENOUGH_YEARS
        lows = np.flatnonzero(against & ~fixed[:high] if fixed[high] else against)
        pairs += [(low, high) for low in lows[: PAIRS_MAX - len(pairs)].tolist()]
    return pairs
