"""Readings made from plain strings, so that a test says only what stands on the instrument and where."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import pytest

from reader.geometry import box_quad, rotated_quad
from reader.results import Candidate, Character, Reading, Region, Rival

WIDTH = 0.6
"""Width of a character as a share of its height."""


@pytest.fixture(scope="session")
def make_reading() -> Callable[..., Reading]:
    """Return a function that makes a reading: upright from a first corner, or turned around a center."""
    return _make_reading


def _make_reading(
    text: str,
    *,
    probability: float = 0.95,
    at: tuple[float, float] = (0.0, 0.0),
    height: float = 20.0,
    turn_deg: float = 0.0,
    others: Sequence[tuple[str, float]] = (),
    rivals: Mapping[int, Sequence[tuple[str, float]]] = {},
) -> Reading:
    signs = sum(not sign.isspace() for sign in text)
    own = probability ** (1 / max(signs, 1))
    characters = tuple(
        Character(
            sign,
            1.0 if sign.isspace() else own,
            tuple(Rival(*rival) for rival in rivals.get(place, ())),
            (place / len(text), (place + 1) / len(text)),
        )
        for place, sign in enumerate(text)
    )
    length = max(len(text), 1) * WIDTH * height
    quad = box_quad(at[0], at[1], at[0] + length, at[1] + height)
    if turn_deg:
        quad = rotated_quad(at, length, height, turn_deg)
    candidates = (Candidate(text, probability), *(Candidate(*other) for other in others))
    return Reading(Region(quad, 1.0, "wood-stamp"), characters, candidates, "test")
