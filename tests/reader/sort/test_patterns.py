"""Checks how a line splits, by own examples and against outside tables."""

from __future__ import annotations

import calendar
import time
import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reader.sort.patterns import SERIAL_FIGURES, figure_of, fold, split_line

LIKELY_SIGNS = "0123456789OIl|BSZGM NoPATYx.,'-/#°½&\""
WORDS = "No. N° # M XR PAT. MAY 14 1872 41873 4 1/3 13½ III | & - STYLE ESTD PARIS ST. MAIN , OCT cm F1019 41,873"
MONTHS = (
    "Januar Februar März April Mai Juni Juli August September Oktober November Dezember janvier février mars avril mai "
    "juin juillet août septembre octobre novembre décembre"
)
"""Unicode CLDR, months in wide format, German and French; from memory."""

LINES = st.one_of(
    st.text(max_size=40),
    st.text(LIKELY_SIGNS, max_size=40),
    st.lists(st.sampled_from(WORDS.split()), max_size=8).map(" ".join),
)


def forms(text: str) -> list[tuple[str, str]]:
    return [(piece.form, piece.text) for piece in split_line(text)]


@settings(max_examples=500)
@given(LINES)
def test_no_sign_is_lost_and_no_two_pieces_share_one(text: str) -> None:
    pieces = split_line(text)
    owners = [sum(piece.start <= place < piece.end for piece in pieces) for place in range(len(text))]
    assert all(count == 1 for count, sign in zip(owners, text, strict=True) if not sign.isspace())
    assert all(count <= 1 for count in owners)


@settings(max_examples=500)
@given(LINES)
def test_pieces_stand_in_order_and_own_their_places(text: str) -> None:
    pieces = split_line(text)
    assert [piece.start for piece in pieces] == sorted(piece.start for piece in pieces)
    for piece in pieces:
        assert piece.places
        assert all(piece.start <= place < piece.end for place in piece.places)


@settings(max_examples=500)
@given(LINES)
def test_figures_are_figures_one_for_each_place(text: str) -> None:
    for piece in split_line(text):
        if piece.form == "figures":
            assert piece.text.isascii()
            assert piece.text.isdigit()
            assert len(piece.places) == len(piece.text)
            assert all(SERIAL_FIGURES[0] <= len(other) <= SERIAL_FIGURES[1] for other in piece.variants)


@given(st.text(max_size=40))
def test_fold_keeps_the_length_and_is_stable(text: str) -> None:
    assert len(fold(text)) == len(text)
    assert fold(fold(text)) == fold(text)


def test_fold_agrees_with_unicode_decomposition() -> None:
    """Unicode Standard, canonical decompositions (UnicodeData.txt, through the standard library)."""
    for code in range(0xC0, 0x180):
        parts = unicodedata.normalize("NFD", chr(code))
        if len(parts) == 2 and parts[0].isascii():
            assert fold(chr(code)) == parts[0].upper()


@pytest.mark.parametrize("name", [*calendar.month_name[1:], *calendar.month_abbr[1:]])
def test_english_months(name: str) -> None:
    """Month names of the standard library's calendar (the C locale: POSIX, LC_TIME)."""
    assert forms(f"{name.upper()} 14 1872") == [("date", f"{name.upper()} 14 1872")]
    assert forms(f"Pat. {name} 14, 1872 No. 41873") == [("patent", f"Pat. {name} 14, 1872"), ("figures", "41873")]


@pytest.mark.parametrize("name", MONTHS.split())
def test_german_and_french_months(name: str) -> None:
    assert forms(f"22. {name} 1855") == [("date", f"22. {name} 1855")]


@pytest.mark.parametrize("first_number", [122_304, 443_987, 980_178, 1_000_000])
def test_patent_numbers_of_the_published_table(first_number: int) -> None:
    """First US patents of 1872, 1891 and 1911 (copies of the USPTO issue-years table), and the millionth (USPTO)."""
    for written in (f"{first_number:,}", str(first_number)):
        assert forms(f"PAT. {written}") == [("patent", f"PAT. {written}")]
        assert forms(f"U.S. PATENT No. {written}")[-1] == ("patent", f"PATENT No. {written}")


@pytest.mark.parametrize(
    ("text", "number", "variants"),
    [
        ("4I873", "41873", ()),
        ("4l8O3", "41803", ()),
        ("4|873", "41873", ()),
        ("41B73", "41873", ()),
        ("22S31", "22531", ()),
        ("2Z531", "22531", ()),
        ("4G873", "46873", ()),
        ("4187O", "41870", ("4187",)),
        ("I41873", "141873", ("41873",)),
        ("B41873", "41873", ("841873",)),
        ("41873S", "41873", ("418735",)),
        ("S4187", "4187", ("54187",)),
        ("|41873", "41873", ("141873",)),
        ("M41873", "41873", ()),
        ("NO41873", "41873", ()),
        ("B4187312", "4187312", ()),  # eight figures would be too many
    ],
)
def test_look_alikes(text: str, number: str, variants: tuple[str, ...]) -> None:
    (piece,) = [piece for piece in split_line(text) if piece.form == "figures"]
    assert (piece.text, piece.variants) == (number, variants)


@pytest.mark.parametrize("text", ["SOLO", "BIG", "OIL", "B8", "S5O", "GOLD", "7OCT", "IS", "4OIOI87"])
def test_words_with_look_alikes_stay_words(text: str) -> None:
    assert all(not piece.repaired for piece in split_line(text))


def test_figure_of() -> None:
    assert [figure_of(sign) for sign in "0OIl|BSZGQD"] == list("00111852600")
    assert [figure_of(sign) for sign in ("A", "", "M", "½", "OO")] == [None] * 5


@settings(max_examples=30)
@given(st.text("PAT. N0123,&'", min_size=200, max_size=400))
def test_long_lines_stay_quick(text: str) -> None:
    started = time.perf_counter()
    split_line(text)
    assert time.perf_counter() - started < 1.0


@pytest.mark.parametrize("repeated", ["PAT ", "U.S.", "1 ", "1,111", "MAY 1 ", "NO", "A. ", "GOLD ", "200 MAIN ", " "])
def test_repeated_words_stay_quick(repeated: str) -> None:
    started = time.perf_counter()
    split_line(repeated * 200)
    assert time.perf_counter() - started < 2.0
