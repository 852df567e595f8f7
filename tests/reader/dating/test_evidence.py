"""Clues: forms and features, patents, medals, a person's own bounds."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reader.dating.evidence import (
    SOFT_FLOOR,
    Clue,
    bound_clue,
    feature_clue,
    form_clue,
    founding_clue,
    medal_clue,
    patent_clue,
)
from reader.dating.forms import load_features
from reader.dating.patents import find_patent_year, read_patent
from reader.dating.series import FORMS
from reader.errors import SettingsError

YEARS = np.arange(1700, 2101, dtype=np.int64)
BOUNDS = st.one_of(st.none(), st.integers(1700, 2100))


def clue(low: int | None, high: int | None, firm: bool) -> Clue:
    return Clue("test", "something", "a test", firm, low, high)


@given(BOUNDS, BOUNDS, st.booleans())
def test_a_likelihood_is_one_inside_and_never_more(low: int | None, high: int | None, firm: bool) -> None:
    likelihood = clue(low, high, firm).likelihood(YEARS)
    inside = clue(low, high, firm).allows(YEARS)
    assert np.all(likelihood[inside] == 1)
    assert np.all(likelihood[~inside] == 0) if firm else np.all(likelihood[~inside] >= SOFT_FLOOR)
    assert np.all(likelihood[~inside] < 1)


def test_a_soft_bound_fades_year_by_year() -> None:
    likelihood = clue(1850, None, False).likelihood(YEARS)
    before = likelihood[YEARS < 1850]
    assert np.all(np.diff(before) >= 0) and before[-1] > 0.8 and before[0] == SOFT_FLOOR


# Forms and features


def test_every_row_has_a_source_and_makes_a_clue() -> None:
    for feature in load_features().values():
        made = feature_clue(feature.id)
        assert made.source and made.says and made.firm == feature.firm
        assert feature.family in ("", *FORMS)
        assert ("from memory" in made.source) == (feature.found != "yes"), feature.id
        if feature.not_before and feature.not_after:
            assert feature.not_before < feature.not_after


def test_a_form_names_its_family_and_years() -> None:
    made = form_clue("Square Grand")
    assert (made.family, made.not_before, made.not_after, made.firm) == ("square", 1850, 1900, False)
    assert feature_clue("country-of-origin").not_before == 1891 and feature_clue("country-of-origin").firm


@pytest.mark.parametrize("name", ["squre-grand", "", "x" * 500, "88-notes"])
def test_an_unknown_form_is_refused_with_close_ones(name: str) -> None:
    with pytest.raises(SettingsError, match="--list") as caught:
        form_clue(name)
    assert str(caught.value).isprintable() and len(str(caught.value)) < 300
    if name == "squre-grand":
        assert "square-grand" in str(caught.value)


# Patents


@pytest.mark.parametrize(
    ("text", "year"),
    [
        ("MAY 14 1872", 1872),
        ("PAT. AUG. 27, 1878", 1878),
        ("Patented Dec. 20th, 1859", 1859),
        ("14 May 1872", 1872),
        ("PAT. AUG. 1871", 1871),
        ("PATENTED 1876", 1876),
        ("1,234,567", 1917),
        ("PAT. NO. 26532", 1859),
        ("No 443,987", 1891),
        ("D 4321", 1870),
        ("DES. 30,000", 1899),
    ],
)
def test_a_patent_bounds_from_below(text: str, year: int) -> None:
    made = patent_clue(text)
    assert (made.not_before, made.not_after, made.firm) == (year, None, True)
    assert made.source and not made.doubts


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "neither"),
        ("FEB 30 1872", "no day of the calendar"),
        ("something", "neither"),
        ("0", "there is no"),
        ("MAY 14 1702", "before the first US patent"),
        ("RE 0", "there is no"),
        ("No. A", "neither"),
    ],
)
def test_what_is_no_patent_is_refused(text: str, says: str) -> None:
    with pytest.raises(SettingsError, match=says):
        patent_clue(text)


def test_a_day_that_is_no_tuesday_is_told() -> None:
    assert read_patent("MAY 14 1872").doubts == ()
    (doubt,) = read_patent("MAY 15 1872").doubts
    assert "Wednesday" in doubt
    assert read_patent("DEC 26 1846").doubts == ()  # before 1850 other days occur


def test_a_number_beyond_the_table_bounds_at_its_end() -> None:
    made = patent_clue("8,000,000")
    assert made.not_before == 2000 and "or later" in made.says
    with pytest.raises(SettingsError, match="kind of patent"):
        find_patent_year(5, "plant")


@given(st.text(max_size=25))
def test_any_text_is_a_patent_or_refused(text: str) -> None:
    try:
        made = patent_clue(text)
    except SettingsError as error:
        assert str(error).isprintable()
        return
    assert made.not_before is not None and 1790 <= made.not_before <= 2100


# Medals, founding years, own bounds


def test_a_medal_and_a_founding_year_bound_from_below_alone() -> None:
    assert medal_clue("1876").not_before == 1876 and medal_clue("1876").not_after is None
    assert medal_clue("1876").doubts == () and "No large exhibition" in medal_clue("1872").doubts[0]
    assert founding_clue("1853").not_before == 1853 and "never the year" in founding_clue("1853").doubts[0]
    for text in ("", "76", "187?", "1876.", "18760", "9" * 5000):
        with pytest.raises(SettingsError, match="is no year"):
            medal_clue(text)


@pytest.mark.parametrize(
    ("text", "before", "year", "firm"),
    [
        ("1872", True, 1872, True),
        ("1872~", True, 1872, False),
        ("1872?", False, 1872, False),
        ("187X", True, 1870, True),
        ("187X", False, 1879, True),
        ("[1872..1876]", True, 1872, True),
        ("[1872..1876]", False, 1876, True),
        ("1872-05-14", True, 1872, True),
        ("[..1876]", False, 1876, True),
        ("1872/1876", False, 1876, True),
        ("1872/..", True, 1872, True),
    ],
)
def test_an_own_bound_is_an_edtf_date(text: str, before: bool, year: int, firm: bool) -> None:
    made = bound_clue(text, before=before)
    assert (made.not_before if before else made.not_after) == year and made.firm == firm
    assert (made.not_after if before else made.not_before) is None


@pytest.mark.parametrize(
    ("text", "before"),
    [("[..1876]", True), ("1872/..", False), ("1872 ?", True), ("c. 1872", True), ("1876/1872", True), ("0900", True)],
)
def test_an_open_or_malformed_bound_is_refused(text: str, before: bool) -> None:
    with pytest.raises(SettingsError):
        bound_clue(text, before=before)
