"""The strings that we write, and the errors that a wrong date gets."""

from __future__ import annotations

import contextlib

import edtf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reader.dating.edtf import ABOUT_YEARS, TEXT_LENGTH_MAX, check_edtf, read_bounds, write_dating
from reader.errors import SettingsError

YEARS = st.lists(st.integers(1, 9999), min_size=3, max_size=3).map(sorted)
CLOSE_YEARS = st.tuples(st.integers(10, 9000), st.integers(0, 4), st.integers(0, 4)).map(
    lambda t: [t[0] - t[1], t[0], t[0] + t[2]]
)


@pytest.mark.parametrize(
    ("year", "interval", "doubtful", "certain", "written"),
    [
        (1874, (1874, 1874), False, True, "1874"),
        (1874, (1874, 1874), True, True, "1874?"),
        (1874, (1874, 1874), False, False, "1874~"),
        (1874, (1873, 1876), False, False, "1874~"),
        (1874, (1873, 1876), True, False, "1874%"),
        (1874, (1873, 1876), False, True, "1874~"),
        (1874, (1872, 1876), False, False, "1874~"),
        (1874, (1871, 1876), False, False, "[1871..1876]"),
        (1874, (1872, 1877), False, False, "[1872..1877]"),
        (1874, (1871, 1876), True, False, "[1871..1876]"),
        (800, (790, 810), False, False, "[0790..0810]"),
    ],
)
def test_rule(year: int, interval: tuple[int, int], doubtful: bool, certain: bool, written: str) -> None:
    assert write_dating(year, [interval], doubtful=doubtful, certain=certain) == written


@settings(deadline=None)  # the parser is slow, and slower on its first call
@given(st.one_of(YEARS, CLOSE_YEARS), st.booleans(), st.booleans())
def test_every_written_string_is_read_back_with_the_same_years(years: list[int], doubtful: bool, certain: bool) -> None:
    first, year, last = years
    text = write_dating(year, [(first, last)], doubtful=doubtful, certain=certain)
    check_edtf(text)
    read = edtf.parse_edtf(text)
    span = (read.lower_strict().tm_year, read.upper_strict().tm_year)
    wide = max(year - first, last - year) > ABOUT_YEARS
    assert span == ((first, last) if wide else (year, year))
    assert "/" not in text  # a slash would say that the making lasted that long


@pytest.mark.parametrize(
    ("year", "interval"),
    [(1870, (1873, 1876)), (1877, (1873, 1876)), (1874, (1876, 1873)), (0, (0, 0)), (9999, (9999, 10000))],
)
def test_years_out_of_order_are_refused(year: int, interval: tuple[int, int]) -> None:
    with pytest.raises(SettingsError, match="in order"):
        write_dating(year, [interval], doubtful=False)


@settings(deadline=None)
@given(st.text(max_size=12))
def test_any_text_is_accepted_or_refused_with_one_line(text: str) -> None:
    try:
        check_edtf(text)
    except SettingsError as error:
        assert str(error).isprintable()


@settings(deadline=None)
@given(st.text(alphabet="0189X?~%-/.[]{},YEST:Z+", max_size=14))
def test_any_text_of_edtf_signs_is_accepted_or_refused_with_one_line(text: str) -> None:
    try:
        check_edtf(text)
    except SettingsError as error:
        assert str(error).isprintable()


@pytest.mark.parametrize("text", ["1984-1X", "1891-02-3X", "189"])
def test_the_library_cannot_print_through_us(text: str, capsys: pytest.CaptureFixture[str]) -> None:
    with contextlib.suppress(SettingsError):
        check_edtf(text)
    assert capsys.readouterr() == ("", "")


def test_a_backwards_date_is_told_the_right_order() -> None:
    with pytest.raises(SettingsError, match="write 1891 before 1893"):
        check_edtf("1893/1891")


def test_a_long_text_is_refused_without_reading_it() -> None:
    with pytest.raises(SettingsError, match="longer than") as caught:
        check_edtf("1" * 1_000_000)
    assert len(str(caught.value)) < 3 * TEXT_LENGTH_MAX


@pytest.mark.parametrize(
    ("year", "runs", "written"),
    [
        (1878, [(1878, 1878), (1891, 1891)], "[1878,1891]"),
        (1874, [(1873, 1876), (1891, 1891)], "[1873..1876,1891]"),
        (1850, [(1811, 1813), (1830, 1830), (1848, 1850)], "[1811..1813,1830,1848..1850]"),
    ],
)
@pytest.mark.parametrize("doubtful", [False, True])
def test_several_runs_are_one_set(year: int, runs: list[tuple[int, int]], written: str, doubtful: bool) -> None:
    assert write_dating(year, runs, doubtful=doubtful) == written
    check_edtf(written)
    read = edtf.parse_edtf(written)
    assert (read.lower_strict().tm_year, read.upper_strict().tm_year) == (runs[0][0], runs[-1][1])


@pytest.mark.parametrize("runs", [[], [(1880, 1885), (1870, 1875)], [(1870, 1875), (1875, 1880)], [(1870, 1873)]])
def test_runs_out_of_order_or_without_the_year_are_refused(runs: list[tuple[int, int]]) -> None:
    with pytest.raises(SettingsError, match="in order"):
        write_dating(1874, runs, doubtful=False)


@pytest.mark.parametrize(
    ("text", "bounds"),
    [
        ("1872", (1872, 1872, True)),
        ("1872~", (1872, 1872, False)),
        ("18XX", (1800, 1899, True)),
        ("[1943..1945]", (1943, 1945, True)),
        ("[1667,1668,1670..1672]", (1667, 1672, True)),
        ("[..1943]", (None, 1943, True)),
        ("[1943..]", (1943, None, True)),
        ("1885/..", (1885, None, True)),
        ("../1885", (None, 1885, True)),
        ("1871~/1872~", (1871, 1872, False)),
        ("1891-05", (1891, 1891, True)),
    ],
)
def test_bounds_of_a_date(text: str, bounds: tuple[int | None, int | None, bool]) -> None:
    assert read_bounds(text) == bounds


@settings(deadline=None)
@given(st.text(alphabet="0189X?~%-/.[]{},Y", max_size=12))
def test_any_text_has_bounds_or_is_refused(text: str) -> None:
    try:
        first, last, _ = read_bounds(text)
    except SettingsError:
        return
    assert first is None or last is None or first <= last
