"""Drafts: one line of a reading split into the parts that the rules judge.

In comes a Reading; out come its parts with their forms (patterns.py) and places on the photo. rules.py judges them
among all drafts of the photo, figures.py looks at their figures, layout.py at how they lie, doubt.py at how surely each
is read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from reader.geometry import part_quad, quad_size
from reader.results import Character, Quad, Reading
from reader.sort.patterns import SERIAL_FIGURES, Piece, split_line


@dataclass(frozen=True)
class Draft:
    """A part of a line before judgement. `line` and `place` say which line and which part of it; `alone`: all of it."""

    reading: Reading
    piece: Piece
    quad: Quad
    line: int
    place: int
    alone: bool

    @property
    def is_number(self) -> bool:
        """Whether it is figures only."""
        return self.piece.form == "figures"

    @property
    def may_be_serial(self) -> bool:
        """Whether it is a number as long as a serial."""
        return self.is_number and SERIAL_FIGURES[0] <= len(self.piece.text) <= SERIAL_FIGURES[1]

    @cached_property
    def height(self) -> float:
        """Height in pixels, never 0."""
        return max(quad_size(self.quad)[1], 1e-6)


Scene = Sequence[Draft]
"""All drafts of one photo."""


def draft_line(line: int, reading: Reading) -> list[Draft]:
    """Return a reading's parts, left to right, as drafts of the line of this number; none without characters."""
    characters = _single_signs(reading.characters)
    reading = replace(reading, characters=characters)
    pieces = split_line("".join(character.text for character in characters))
    return [
        Draft(reading, piece, _piece_quad(reading, piece), line, place, len(pieces) == 1)
        for place, piece in enumerate(pieces)
    ]


def _single_signs(characters: Sequence[Character]) -> tuple[Character, ...]:
    """Return characters of one code point each; one of several (a ligature) becomes several that share its doubt."""
    result: list[Character] = []
    for character in characters:
        count = len(character.text)
        if count == 1:
            result.append(character)
        else:
            share = max(character.probability, 0.0) ** (1 / max(count, 1))
            result += [replace(character, text=sign, probability=share, rivals=()) for sign in character.text]
    return tuple(result)


def _piece_quad(reading: Reading, piece: Piece) -> Quad:
    spans = [reading.characters[place].span for place in piece.places]
    start, end = min(span[0] for span in spans), max(span[1] for span in spans)
    return part_quad(reading.region.quad, start, end) if end > start else reading.region.quad
