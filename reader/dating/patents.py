"""US patent numbers and dates on a plate: in which year a number was issued, and whether a day can be right.

Takes what a person typed or a mark says; evidence.py makes lower limits of it. The table (data/evidence/patents.csv)
gives the first number of each year; its sources stand beside it. Only US patents are known.
"""

from __future__ import annotations

import bisect
import datetime
import functools
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from reader.dating.schema import read_package
from reader.errors import SettingsError, one_line

EVIDENCE_FOLDER = Path(__file__).parent / "data" / "evidence"
"""Tables of forms, features and patents."""

TUESDAYS_FROM = 1850
"""From this year on US patents bear a Tuesday's date (from memory; all dated patents of the published check from 1859
to 2011 do)."""

FIRST_PATENT_YEAR, LAST_PATENT_YEAR = 1790, 2100
"""Years that a patent date may name; the first US patent is of 1790."""

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_MONTH_WORD = re.compile(r"\b(jan|feb|mar|apr|may|june?|july?|aug|sept?|oct|nov|dec)[a-z]*\b\.?", re.IGNORECASE)
_YEAR = re.compile(r"(?<!\d)(1[789]\d\d|20\d\d)(?!\d)")
_DAY = re.compile(r"(?<!\d)(\d{1,2})(?:st|nd|rd|th|d)?(?!\d)", re.IGNORECASE)
_LEAD = r"(?:(?:us|u\.s\.|pat(?:ent)?(?:ed)?|no|number|des|design|re|reissue|d)\b\.?\s*)*"
_NUMBER = re.compile(rf"\s*(?P<lead>{_LEAD}|(?:d|re)(?=\d))(?P<figures>\d{{1,3}}(?:[,. ]\d{{3}})+|\d+)\s*\.?\s*", re.I)
_DESIGN, _REISSUE = re.compile(r"\bdes|\bd\b|^d$", re.IGNORECASE), re.compile(r"\bre(?!\w)|reissue", re.IGNORECASE)


@dataclass(frozen=True)
class Patent:
    """A patent as it bears on the year: issued in `year`, or later where `or_later`; `doubts` are in words."""

    says: str
    year: int
    source: str
    or_later: bool = False
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Issues:
    """The first numbers of the years of one kind of patent, rising, with each year's source."""

    firsts: tuple[int, ...]
    years: tuple[int, ...]
    sources: tuple[str, ...]


def find_patent_year(number: int, kind: str = "utility") -> int:
    """Return the year in which a US patent was issued. `kind` is utility, design or reissue.

    Raises SettingsError for 0, which is no patent, for an unknown kind, and for a number from the table's last year on:
    where that year ends the table does not say.
    """
    issues = _issues_of(kind)
    if number < issues.firsts[0]:
        raise SettingsError(f"there is no US {kind} patent {number}; look at the number again")
    place = bisect.bisect_right(issues.firsts, number) - 1
    if place == len(issues.firsts) - 1:
        raise SettingsError(f"US {kind} patent {number} lies beyond the table: it is of {issues.years[-1]} or later")
    return issues.years[place]


def read_patent(text: str) -> Patent:
    """Return what a patent date ('MAY 14 1872', 'Pat. Aug. 1871') or number ('1,234,567', 'D 4321') says.

    Raises SettingsError for a text that is neither, for a day that no calendar has, and for a number that is none.
    """
    shown = one_line(text.strip()[:60])
    number = _NUMBER.fullmatch(text)
    if number and not (year := _YEAR.fullmatch(number["figures"])):
        return _read_number(number)
    month, year = _MONTH_WORD.search(text), _YEAR.search(text)
    if year is None:
        raise SettingsError(f"the patent {shown!r} has neither a year nor a number; write MAY 14 1872 or 1,234,567")
    if month is None:
        return Patent(f"a patent of {year[0]}", _checked_year(int(year[0]), shown), "the date on the instrument")
    rest = text[: month.start()] + " " + text[month.end() :].replace(year[0], " ", 1)
    day = _DAY.search(rest)
    return _read_date(shown, int(year[0]), month[0], int(day[1]) if day else None)


def _read_number(match: re.Match[str]) -> Patent:
    number = int(re.sub(r"\D", "", match["figures"])[:12])
    lead = match["lead"].strip()
    kind = "design" if _DESIGN.search(lead) else "reissue" if _REISSUE.search(lead) else "utility"
    issues = _issues_of(kind)
    if number >= issues.firsts[-1]:
        return Patent(f"US {kind} patent {number}", issues.years[-1], issues.sources[-1], or_later=True)
    year = find_patent_year(number, kind)
    return Patent(f"US {kind} patent {number}", year, issues.sources[issues.years.index(year)])


def _read_date(shown: str, year: int, month_word: str, day: int | None) -> Patent:
    _checked_year(year, shown)
    month = _MONTHS.index(month_word[:3].lower()) + 1
    if day is None:
        return Patent(f"a patent of {month_word.title().rstrip('.')} {year}", year, "the date on the instrument")
    try:
        date = datetime.date(year, month, day)
    except ValueError as problem:
        raise SettingsError(f"the patent date {shown!r} is no day of the calendar; look at the day again") from problem
    doubts: tuple[str, ...] = ()
    if year >= TUESDAYS_FROM and date.weekday() != 1:
        doubts = (
            f"{date:%B} {date.day}, {year} was a {date:%A}; US patents bear Tuesdays from {TUESDAYS_FROM} on (from "
            "memory): look at the patent's day and year again.",
        )
    return Patent(f"a patent of {date:%B} {date.day}, {year}", year, "the date on the instrument", doubts=doubts)


def _checked_year(year: int, shown: str) -> int:
    if not FIRST_PATENT_YEAR <= year <= LAST_PATENT_YEAR:
        raise SettingsError(f"the patent date {shown!r} lies before the first US patent of {FIRST_PATENT_YEAR}")
    return year


def _issues_of(kind: str) -> _Issues:
    known = _load_issues()
    if kind not in known:
        raise SettingsError(f"there is no kind of patent {one_line(kind)!r}; use one of {', '.join(known)}")
    return known[kind]


@functools.cache
def _load_issues() -> Mapping[str, _Issues]:
    package = read_package(EVIDENCE_FOLDER, ("patents", "sources"))
    texts = {str(row["id"]): str(row["source"]) for row in package["sources"].rows}
    grouped: dict[str, list[tuple[int, int, str]]] = {}
    for row in package["patents"].rows:
        source = "; ".join(texts[key] for key in str(row["sources"]).split("|"))
        grouped.setdefault(str(row["kind"]), []).append((int(str(row["first_number"])), int(str(row["year"])), source))
    issues = {}
    for kind, rows in grouped.items():
        firsts, years, sources = zip(*sorted(rows), strict=True)
        issues[kind] = _Issues(firsts, years, sources)
    return issues
