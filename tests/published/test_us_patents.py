"""US patents of known date against the table of first numbers.

Sources, beside each: found in November 2026 as stored pages, not the live ones. The table's own sources stand in
reader/dating/data/evidence/sources.csv.
"""

from __future__ import annotations

import csv
import datetime
import itertools

import pytest

from reader.dating.patents import EVIDENCE_FOLDER, TUESDAYS_FROM, find_patent_year, read_patent
from reader.errors import SettingsError

DATED = [
    (26532, 1859, "overstrung grand plate, 20 December 1859; archive.constantcontact.com dealer newsletter"),
    (223898, 1880, "lamp, 27 January 1880; rfcafe.com patents timeline 12-27-2022"),
    (821393, 1906, "flying machine, 22 May 1906; rfcafe.com patents timeline"),
    (1000000, 1911, "vehicle tire, 8 August 1911; uspto.gov ip-motion/millions-patents"),
    (1941448, 1933, "last number of 1933; worked example of the US Patent Office's chart"),
    (2000000, 1935, "rail-car wheel, 30 April 1935; uspto.gov ip-motion/millions-patents"),
    (2153321, 1939, "not made before 1939; rosessundries.com/article/patent-numbers-determine-age"),
    (2524035, 1950, "transistor, 3 October 1950; rfcafe.com patents timeline"),
    (4000000, 1976, "asphalt recycling, 28 December 1976; natlawreview.com millions of US patents"),
    (4136359, 1979, "microcomputer, 23 January 1979; rfcafe.com prints 1989, which the table disproves"),
    (
        4912,
        1846,
        "improved melodeon, 28 December 1846; makers' labels (National Music Museum 8184), number from memory",
    ),
    (109, 1836, "last number of 1836; the table's rule"),
    (110, 1837, "first number of 1837; the table's rule"),
    (443986, 1890, "last number of 1890; the table's rule"),
    (443987, 1891, "first number of 1891; the table's rule"),
    (291015, 1883, "last number of 1883; uspat.com, mwtca.org (biddingtons.com misprints the next as 291,916)"),
    (291016, 1884, "first number of 1884; the same"),
]
BEYOND = [
    (6574628, 2003, "3 June 2003; rfcafe.com patents timeline"),
    (8000000, 2011, "16 August 2011; uspto.gov ip-motion/millions-patents"),
]


@pytest.mark.parametrize(("number", "year", "source"), DATED, ids=lambda value: str(value)[:12])
def test_a_dated_patent_is_of_its_year(number: int, year: int, source: str) -> None:
    assert find_patent_year(number) == year, source
    assert read_patent(f"{number:,}").year == year


@pytest.mark.parametrize(("number", "year", "source"), BEYOND)
def test_a_patent_beyond_the_table_is_refused_a_year_and_bounds_below(number: int, year: int, source: str) -> None:
    with pytest.raises(SettingsError, match="2000 or later"):
        find_patent_year(number)
    assert read_patent(str(number)).year == 2000 <= year, source


def test_zero_is_no_patent() -> None:
    with pytest.raises(SettingsError, match="no US utility patent 0"):
        find_patent_year(0)


def test_the_ranges_join_without_a_gap() -> None:
    with (EVIDENCE_FOLDER / "patents.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    for kind in ("utility", "design", "reissue"):
        own = [(int(row["year"]), int(row["first_number"])) for row in rows if row["kind"] == kind]
        assert [year for year, _ in own] == list(range(own[0][0], own[-1][0] + 1))
        for (year, first), (later, after) in itertools.pairwise(own):
            assert first < after
            assert find_patent_year(after - 1, kind) == year
            if (later, after) != own[-1]:
                assert find_patent_year(after, kind) == later


@pytest.mark.parametrize(
    "date", ["1859-12-20", "1880-01-27", "1906-05-22", "1911-08-08", "1935-04-30", "1950-10-03", "1976-12-28"]
)
def test_dated_patents_since_1850_are_of_tuesdays(date: str) -> None:
    """The rule behind the doubt about a patent's day; the dates are those of DATED."""
    day = datetime.date.fromisoformat(date)
    assert day.year >= TUESDAYS_FROM and day.weekday() == 1
    assert read_patent(f"{day:%B} {day.day}, {day.year}").doubts == ()
    other = day + datetime.timedelta(days=1)
    assert read_patent(f"{other:%B} {other.day}, {other.year}").doubts
