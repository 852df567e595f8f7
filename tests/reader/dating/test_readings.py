"""Typed numbers, serials with their rivals, and several readings of one number."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reader.dating.readings import STRINGS_KEPT, STRINGS_MAX, combine, parse_number, read_serial
from reader.errors import SettingsError
from reader.results import Candidate, Character, Rival, Serial
from tests.reader.dating.made import read_as


@pytest.mark.parametrize(
    ("text", "strings"),
    [
        ("41873", ["41873"]),
        (" 41873 ", ["41873"]),
        ("100,009", ["100009"]),
        ("1 234 567", ["1234567"]),
        ("418[17]3", ["41813", "41873"]),
        ("418[77]3", ["41873"]),
        ("4187?", [f"4187{figure}" for figure in "0123456789"]),
        ("007", ["007"]),
    ],
)
def test_a_typed_number_is_all_strings_that_fit(text: str, strings: list[str]) -> None:
    readings = parse_number(text)
    assert [string.text for string in readings.strings] == strings
    assert {string.probability for string in readings.strings} == {1 / len(strings)}
    assert readings.accepted == (len(strings) == 1) and readings.typed


@pytest.mark.parametrize(
    "text", ["", " ", "A41873", "4187O", "41-873", "4187[", "4187[]", "418[1]3", "418[1a]3", "+1", "1.5", "٤١", "4\n1"]
)
def test_anything_else_is_refused_in_one_line(text: str) -> None:
    with pytest.raises(SettingsError) as caught:
        parse_number(text)
    assert str(caught.value).isprintable()


@pytest.mark.parametrize("text", ["????", "[0123456789]" * 4, "1" * 19, "9" * 10_000])
def test_too_open_or_too_long_a_number_is_refused(text: str) -> None:
    with pytest.raises(SettingsError, match="too long or has too many open"):
        parse_number(text)
    assert len(parse_number("???").strings) == STRINGS_MAX


@given(st.text(max_size=12))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        readings = parse_number(text)
    except SettingsError:
        return
    assert all(string.text.isdigit() for string in readings.strings)


def characters(text: str, *rivals: tuple[int, str, float]) -> tuple[Character, ...]:
    given = {place: (figure, p) for place, figure, p in rivals}
    return tuple(
        Character(own, 1 - given[k][1], (Rival(*given[k]),)) if k in given else Character(own, 0.999)
        for k, own in enumerate(text)
    )


def test_rival_figures_make_strings_that_share_what_is_left() -> None:
    serial = Serial("41873", 0.7, False, 0, (Candidate("41878", 0.1),))
    readings = read_serial(serial, characters("41873", (3, "1", 0.2), (4, "8", 0.3)))
    found = {string.text: string.probability for string in readings.strings}
    assert found["41873"] == 0.7 and found["41878"] == 0.1
    assert found["41813"] == pytest.approx(0.14, abs=0.01) and found["41818"] == pytest.approx(0.06, abs=0.01)
    assert sum(found.values()) == pytest.approx(1)
    assert readings.best == "41873" and not readings.accepted and not readings.typed


def test_characters_that_do_not_spell_the_serial_are_left_out() -> None:
    serial = Serial("41873", 0.7, False, 0)
    assert len(read_serial(serial, characters("941873", (0, "1", 0.3))).strings) == 1


def test_alternatives_that_are_no_numbers_are_left_out() -> None:
    serial = Serial("41873", 0.7, False, 0, (Candidate("4187B", 0.2), Candidate("", 0.05)))
    assert [string.text for string in read_serial(serial).strings] == ["41873"]
    with pytest.raises(SettingsError, match="not all figures"):
        read_serial(Serial("41?73", 0.7, False, 0))


@given(st.text("0123456789", min_size=1, max_size=7), st.floats(0.01, 1), st.lists(st.floats(0, 0.5), max_size=7))
def test_probabilities_stay_in_bounds_and_in_order(text: str, probability: float, doubts: list[float]) -> None:
    rivals = [(k, "7" if text[k] != "7" else "1", p) for k, p in enumerate(doubts[: len(text)]) if p > 0]
    readings = read_serial(Serial(text, probability, False, 0), characters(text, *rivals))
    values = [string.probability for string in readings.strings]
    assert sum(values) <= 1 + 1e-9 and values == sorted(values, reverse=True) and len(values) <= STRINGS_KEPT


def test_two_places_that_agree_are_surer_than_one() -> None:
    one = read_as(("41873", 0.7), ("41878", 0.2))
    two = read_as(("41873", 0.6), ("71873", 0.3))
    both = combine([one, two])
    assert both.best == "41873" and both.strings[0].probability > 0.95
    assert both.strings[0].probability < 1
    assert combine([one]) == one


def test_places_that_differ_leave_both_in_doubt() -> None:
    both = combine([read_as(("41873", 0.8), ("41878", 0.1)), read_as(("41878", 0.8), ("41873", 0.1))])
    assert [string.text for string in both.strings] == ["41873", "41878"]
    assert both.strings[0].probability == pytest.approx(0.5, abs=0.01)


def test_the_order_of_the_places_changes_nothing() -> None:
    three = [read_as(("41873", 0.7)), read_as(("41878", 0.6), ("41873", 0.3)), read_as(("1873", 0.4), ("41873", 0.3))]
    results = {combine(order) for order in itertools.permutations(three)}
    assert len(results) == 1
    with pytest.raises(SettingsError):
        combine([])
