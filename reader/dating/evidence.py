"""What bears on the year besides the number, each as a clue: bounds, a likelihood over years, words and a source.

A firm clue excludes the years outside its bounds: its likelihood there is 0. A soft one makes them rare: d years
beyond the bound its likelihood is max(SOFT_FLOOR, exp(-d / softness)). A clue never says more inside its bounds:
a patent of 1872 makes no year after it likelier than another. weigh.py multiplies the clues into the number's curve.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reader.dating.edtf import read_bounds
from reader.dating.forms import Feature, find_feature, find_form
from reader.dating.patents import read_patent
from reader.errors import SettingsError, one_line

SOFT_YEARS = 6.0
"""How fast a soft bound fades, in years. Common practice: forms linger for some years at makers who changed late."""

SOFT_MATERIAL_YEARS = 15.0
"""The same for coverings and glue, which are often replaced; the sources differ by about 20 years."""

SOFT_FLOOR = 0.02
"""Likelihood far outside a soft bound: one instrument in fifty is an exception or has been altered."""

FAIR_YEARS = frozenset({1851, 1853, 1855, 1862, 1867, 1873, 1876, 1878, 1879, 1880, 1881, 1883, 1884, 1885, 1888, 1889})
FAIR_YEARS |= frozenset({1893, 1894, 1895, 1897, 1898, 1900, 1901, 1904, 1905, 1915, 1926, 1933, 1939})
"""Years of large exhibitions whose medals stand on instruments (1851 London, 1855 Paris, 1862 London, 1867 Paris, 1873
Vienna, 1876 Philadelphia, 1878 Paris, 1881 Milan, 1884-85 New Orleans, 1889 Paris, 1893 Chicago, 1900 Paris, 1901
Buffalo, 1904 St Louis, 1915 San Francisco, seen on instruments or from memory; the others from memory)."""

FIRST_YEAR, LAST_YEAR = 1700, 2100
"""Years that a clue may name."""


@dataclass(frozen=True)
class Clue:
    """One thing that bears on the year. `not_before` and `not_after` are years, None where open.

    `says` is a phrase that may begin a sentence. `family` is the form's family (tables.FORMS), empty for any.
    `doubts` are warnings that the clue itself raises.
    """

    kind: str
    says: str
    source: str
    firm: bool
    not_before: int | None = None
    not_after: int | None = None
    softness: float = SOFT_YEARS
    family: str = ""
    doubts: tuple[str, ...] = ()

    @property
    def order(self) -> tuple[str, str, str, bool, int, int, float, str, tuple[str, ...]]:
        """What clues are sorted by, so that the order they are given in does not matter."""
        bounds = (self.not_before or 0, self.not_after or 0)
        return (self.kind, self.says, self.source, self.firm, *bounds, self.softness, self.family, self.doubts)

    def likelihood(self, years: NDArray[np.int64]) -> NDArray[np.float64]:
        """Return (Y,) values from 0 to 1, 1 inside the bounds."""
        outside = np.zeros(len(years))
        if self.not_before is not None:
            outside = np.maximum(outside, self.not_before - years)
        if self.not_after is not None:
            outside = np.maximum(outside, years - self.not_after)
        if self.firm:
            return np.where(outside > 0, 0.0, 1.0)
        return np.where(outside > 0, np.maximum(np.exp(-outside / self.softness), SOFT_FLOOR), 1.0)

    def allows(self, years: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Return (Y,): which years lie inside the bounds."""
        inside = np.ones(len(years), bool)
        if self.not_before is not None:
            inside &= years >= self.not_before
        if self.not_after is not None:
            inside &= years <= self.not_after
        return inside

    def say_bounds(self) -> str:
        """Return the bounds in words: 'not before 1872'."""
        if self.not_before is not None and self.not_after is not None:
            return f"{self.not_before} to {self.not_after}"
        if self.not_before is not None:
            return f"not before {self.not_before}"
        return f"not after {self.not_after}" if self.not_after is not None else "no years"


def form_clue(name: str) -> Clue:
    """Return the clue of an instrument's form ('square-grand'). Raises SettingsError for an unknown one."""
    return _feature_clue(find_form(name))


def feature_clue(name: str) -> Clue:
    """Return the clue of a construction feature, compass, material or mark ('88-notes')."""
    return _feature_clue(find_feature(name))


def _feature_clue(feature: Feature) -> Clue:
    softness = SOFT_MATERIAL_YEARS if feature.kind == "material" else SOFT_YEARS
    where = "" if feature.region == "all" else f" ({feature.region})"
    memory = {"from-memory": "; the years are from memory", "partly": "; partly from memory"}.get(feature.found, "")
    source = feature.source if "memory" in feature.source else feature.source + memory
    return Clue(
        feature.kind,
        f"{feature.name}{where}",
        source,
        feature.firm,
        feature.not_before,
        feature.not_after,
        softness,
        feature.family,
    )


def patent_clue(text: str) -> Clue:
    """Return the clue of a patent date or number: not before its year, firm. Raises SettingsError (patents.py)."""
    patent = read_patent(text)
    later = " or later" if patent.or_later else ""
    return Clue(
        "patent", f"{patent.says} (issued {patent.year}{later})", patent.source, True, patent.year, doubts=patent.doubts
    )


def medal_clue(text: str) -> Clue:
    """Return the clue of an exhibition medal's year: not before it, firm. Raises SettingsError for no such year."""
    year = _read_year(text, "medal")
    doubts: tuple[str, ...] = ()
    if year not in FAIR_YEARS:
        doubts = (f"No large exhibition of {year} is known to the table; look at the medal's year again.",)
    return Clue("medal", f"a medal of {year}", "the year on the medal", True, year, doubts=doubts)


def founding_clue(text: str) -> Clue:
    """Return the clue of a firm's founding year ('Established 1853'): a firm lower limit, never the year itself."""
    year = _read_year(text, "founding")
    doubts = (f"{year} is the firm's founding year, never the year of the instrument.",)
    return Clue("founding", f"a firm founded in {year}", "the year on the instrument", True, year, doubts=doubts)


def bound_clue(text: str, *, before: bool) -> Clue:
    """Return the clue of a person's own bound, an EDTF date; `before` makes it 'not before', else 'not after'.

    An exact date is firm; a doubtful or approximate one ('1872~', '1872?') is soft. Of an unspecified date or a set
    the outer end counts: not before '187X' is not before 1870. Raises SettingsError for anything but valid EDTF and for
    a date that is open on the side asked for.
    """
    first, last, sure = read_bounds(text)
    year = first if before else last
    side = "before" if before else "after"
    if year is None:
        raise SettingsError(f"the date {text!r} is open where 'not {side}' needs a year; give a date with that end")
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise SettingsError(f"'not {side} {text}' lies outside {FIRST_YEAR} to {LAST_YEAR}; look at the year again")
    says = f"your own date {text}"
    source = "told by the user"
    return Clue("user", says, source, sure, year if before else None, None if before else year)


def _read_year(text: str, what: str) -> int:
    plain = text.strip()
    if not (plain.isascii() and plain.isdigit() and FIRST_YEAR <= int(plain[:6]) <= LAST_YEAR):
        raise SettingsError(f"the {what} year {one_line(text[:20])!r} is no year; write four figures, as 1876")
    return int(plain)
