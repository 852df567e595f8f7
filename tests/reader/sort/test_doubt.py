"""How surely a part of a line is read: doubt that lies beside a number can be doubt about the number."""

from __future__ import annotations

import pytest

from reader.geometry import box_quad
from reader.results import Candidate, Character, Reading, Region
from reader.sort.rules import sort_readings


def reading(*candidates: tuple[str, float], sure: float = 0.999) -> Reading:
    """Return a reading whose first candidate is spelled out; all its doubt lies in the last character."""
    text, probability = candidates[0]
    count = len(text)
    characters = tuple(
        Character(sign, sure if number < count - 1 else probability, (), (number / count, (number + 1) / count))
        for number, sign in enumerate(text)
    )
    listed = tuple(Candidate(string, share) for string, share in candidates)
    return Reading(Region(box_quad(0, 0, 40 * count, 50), 1.0), characters, listed, "test")


def test_a_letter_that_may_be_a_figure_takes_from_the_number() -> None:
    (number, letter) = sort_readings([reading(("360839L", 0.85), ("3608391", 0.12))])
    assert (number.text, letter.text) == ("360839", "L")
    assert number.probability <= 0.88
    assert number.alternatives[0].text == "3608391"
    assert number.alternatives[0].probability == pytest.approx(0.12, abs=0.02)


def test_a_letter_that_may_be_another_letter_does_not() -> None:
    (letter, number) = sort_readings([reading(("B 360839", 0.85), ("E 360839", 0.12))])
    assert (letter.text, number.text) == ("B", "360839")
    assert number.probability > 0.95
