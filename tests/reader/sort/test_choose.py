"""Checks the choice among serials: confirmation by a second place, contradiction, and independence of order."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reader.geometry import box_quad
from reader.results import Candidate, Mark, MarkKind, Reading
from reader.sort.choose import ACCEPT_PROBABILITY, SERIAL_MIN, SHARED_ERROR, WEIGHT_MAX, choose_serial
from reader.sort.rules import sort_readings


def mark(
    number: int,
    text: str,
    probability: float,
    *,
    sure: float = 1.0,
    x: float | None = None,
    kind: MarkKind = MarkKind.SERIAL,
    others: tuple[tuple[str, float], ...] = (),
) -> Mark:
    """Return a mark in a place of its own (or at x)."""
    left = number * 200.0 if x is None else x
    quad = box_quad(left, 0, left + 60, 20)
    alternatives = tuple(Candidate(*other) for other in others)
    return Mark(number, text, kind, "test", "test", probability, sure, quad, alternatives=alternatives)


def test_no_serial_among_the_marks() -> None:
    assert choose_serial([]) is None
    assert (
        choose_serial([mark(0, "M", 0.99, kind=MarkKind.MODEL), mark(1, "1851", 1.0, kind=MarkKind.CALENDAR_YEAR)])
        is None
    )


def test_one_serial_weighs_reading_times_kind() -> None:
    serial = choose_serial([mark(0, "M", 0.99, kind=MarkKind.MODEL), mark(1, "41873", 0.9, sure=0.8)])
    assert serial is not None
    assert (serial.text, serial.mark, serial.confirmed_by) == ("41873", 1, ())
    assert serial.probability == pytest.approx(0.72)
    assert not serial.accepted


@pytest.mark.parametrize(
    ("probability", "accepted"), [(ACCEPT_PROBABILITY - 0.01, False), (ACCEPT_PROBABILITY + 0.01, True)]
)
def test_accepted_from_the_named_probability_on(probability: float, accepted: bool) -> None:
    serial = choose_serial([mark(0, "41873", probability)])
    assert serial is not None
    assert serial.accepted is accepted


def test_second_place_confirms_less_than_independence_would() -> None:
    serial = choose_serial([mark(0, "41873", 0.9), mark(1, "41873", 0.8)])
    assert serial is not None
    assert (serial.mark, serial.confirmed_by) == (0, (1,))
    assert 0.9 < serial.probability < 1 - 0.1 * 0.2
    assert serial.probability == pytest.approx(1 - 0.1 * (1 - 0.8 * (1 - SHARED_ERROR)))


def test_same_place_read_twice_confirms_nothing() -> None:
    serial = choose_serial([mark(0, "41873", 0.9), mark(1, "41873", 0.8, x=10)])
    assert serial is not None
    assert serial.confirmed_by == ()
    assert serial.probability == pytest.approx(0.9)


def test_two_likely_numbers_are_never_accepted() -> None:
    serial = choose_serial([mark(0, "198409", 0.998), mark(1, "53257", 0.995)])
    assert serial is not None
    assert (serial.text, serial.accepted) == ("198409", False)
    assert [other.text for other in serial.alternatives] == ["53257"]
    assert serial.probability + serial.alternatives[0].probability <= 1


def test_number_of_half_the_weight_contradicts_even_the_surest() -> None:
    contradicted = choose_serial([mark(0, "198409", 1.0), mark(1, "53257", 0.55)])
    clear = choose_serial([mark(0, "198409", 1.0), mark(1, "53257", 0.45)])
    assert contradicted is not None and clear is not None
    assert contradicted.probability > ACCEPT_PROBABILITY
    assert (contradicted.accepted, clear.accepted) == (False, True)


def test_unlikely_other_number_takes_little() -> None:
    alone = choose_serial([mark(0, "198409", 0.99)])
    beside = choose_serial([mark(0, "198409", 0.99), mark(1, "53257", 0.1, sure=0.5)])
    assert alone is not None and beside is not None
    assert alone.probability - 0.01 < beside.probability < alone.probability


def test_confirmed_number_beats_a_clearer_lone_one() -> None:
    serial = choose_serial(
        [mark(0, "53257", 0.9), mark(1, "198409", 0.85), mark(2, "198409", 0.85), mark(3, "198409", 0.85)]
    )
    assert serial is not None
    assert (serial.text, serial.confirmed_by) == ("198409", (2, 3))


def test_alternative_in_another_place_supports() -> None:
    plain = choose_serial([mark(0, "41873", 0.8), mark(1, "41878", 0.4)])
    supported = choose_serial([mark(0, "41873", 0.8), mark(1, "41878", 0.4, others=(("41873", 0.35),))])
    assert plain is not None and supported is not None
    assert supported.probability > plain.probability
    assert supported.confirmed_by == ()


def test_cut_reading_of_the_same_place_is_no_rival() -> None:
    cut = choose_serial([mark(0, "41873", 0.98), mark(1, "4187", 0.9, x=5)])
    apart = choose_serial([mark(0, "41873", 0.98), mark(1, "4187", 0.9)])
    assert cut is not None and apart is not None
    assert (cut.accepted, apart.accepted) == (True, False)


@pytest.mark.parametrize(("down", "confirmed"), [(18.0, ()), (26.0, ()), (40.0, (1,))])
def test_a_second_place_has_room_of_its_own(down: float, confirmed: tuple[int, ...]) -> None:
    """Figures are 20 px high: two quads that overlap by 2 px, or are 6 px apart, may be one place read twice."""
    first, second = mark(0, "41873", 0.8), mark(1, "41873", 0.7, x=0)
    serial = choose_serial([first, replace(second, quad=second.quad + np.float32([10, down]))])
    assert serial is not None
    assert serial.confirmed_by == confirmed
    assert (serial.probability > 0.8 + 1e-9) is bool(confirmed)


def test_grain_is_no_serial() -> None:
    assert choose_serial([mark(0, "00000", 0.05), mark(1, "1620", 0.04)]) is None
    assert choose_serial([mark(0, "41873", SERIAL_MIN + 0.01)]) is not None


def test_own_alternatives_are_passed_on() -> None:
    serial = choose_serial([mark(0, "41873", 0.9, sure=0.9, others=(("41878", 0.06), ("11873", 0.01)))])
    assert serial is not None
    assert [(a.text, pytest.approx(a.probability)) for a in serial.alternatives] == [("41878", 0.054), ("11873", 0.009)]


def test_from_lines_to_the_serial(make_reading: Callable[..., Reading]) -> None:
    """A plate with everything that is not the serial, in own examples after common practice."""
    lines = ["ESTD 1851", "PAT. MAY 14 1872", "STYLE 14", "WELLOW & DENE", "1867", "M 41873", "73", "3", "5'8\""]
    readings = [make_reading(line, at=(0, 100.0 * number)) for number, line in enumerate(lines)]
    serial = choose_serial(sort_readings(readings))
    assert serial is not None
    assert serial.text == "41873"


NUMBERS = st.sampled_from(["41873", "41878", "4187", "22031", "3321"])
SHARES = st.floats(0.0, 1.0)
MARKS = st.lists(
    st.tuples(NUMBERS, SHARES, SHARES, st.integers(0, 300), st.tuples(NUMBERS, SHARES)), min_size=1, max_size=6
)


def _marks(photo: list[tuple[str, float, float, int, tuple[str, float]]]) -> list[Mark]:
    return [
        mark(number, text, p, sure=sure, x=x, others=((other, (1 - p) * q),) if other != text else ())
        for number, (text, p, sure, x, (other, q)) in enumerate(photo)
    ]


@settings(max_examples=300, deadline=None)
@given(photo=MARKS)
def test_probabilities_are_bounded(photo: list[tuple[str, float, float, int, tuple[str, float]]]) -> None:
    serial = choose_serial(_marks(photo))
    if serial is None:
        assert all(p * sure < SERIAL_MIN for _, p, sure, _, _ in photo)
        return
    assert 0 <= serial.probability <= WEIGHT_MAX
    assert serial.probability + sum(other.probability for other in serial.alternatives) <= 1 + 1e-9
    assert serial.text not in {other.text for other in serial.alternatives}
    assert photo[serial.mark][0] == serial.text
    assert all(photo[number][0] == serial.text and number != serial.mark for number in serial.confirmed_by)


@settings(max_examples=300, deadline=None)
@given(photo=MARKS, data=st.data())
def test_order_of_marks_does_not_matter(
    photo: list[tuple[str, float, float, int, tuple[str, float]]], data: st.DataObject
) -> None:
    marks = _marks(photo)
    straight = choose_serial(marks)
    shuffled = choose_serial(data.draw(st.permutations(marks)))
    if straight is None or shuffled is None:
        assert straight is shuffled
        return
    assert (straight.text, straight.accepted) == (shuffled.text, shuffled.accepted)
    assert straight.probability == pytest.approx(shuffled.probability)
    assert [other.text for other in straight.alternatives] == [other.text for other in shuffled.alternatives]


@settings(max_examples=200, deadline=None)
@given(first=st.floats(SERIAL_MIN + 0.01, 1.0), second=SHARES)
def test_confirmation_never_lowers(first: float, second: float) -> None:
    alone = choose_serial([mark(0, "41873", first)])
    both = choose_serial([mark(0, "41873", first), mark(1, "41873", second)])
    assert alone is not None and both is not None
    assert both.probability >= alone.probability - 1e-12
    assert both.probability <= 1 - (1 - first) * (1 - second) + 1e-12
