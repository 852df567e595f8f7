"""What every recognizer offers, and what goes into it.

A recognizer takes line pictures (one string each, upright) and gives one raw line for each: its characters with scores
and, where it has them, its best whole strings. It knows nothing of the trade and does not calibrate; combine.py makes
readings of raw lines.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reader.results import Region, View


@dataclass(frozen=True)
class LinePicture:
    """One string cut out of the photo for reading: the region it came from and the enhanced crop.

    `half_turn` says that the crop was turned by 180 degrees against the region's own direction of reading.
    `char_height` is the height of its figures in pixels.
    """

    region: Region
    view: View
    char_height: float
    half_turn: bool = False

    @property
    def pixels(self) -> NDArray[np.uint8]:
        """(H, W) uint8; strokes dark on bright in every view but the plain one."""
        return self.view.pixels


@dataclass(frozen=True)
class RawCharacter:
    """A character as the recognizer gives it; scores are in 0 to 1 and not calibrated.

    `rivals` are (text, score), best first, without the character itself. `span` is its begin and end as shares of the
    line picture's width.
    """

    text: str
    score: float
    rivals: tuple[tuple[str, float], ...] = ()
    span: tuple[float, float] = (0.0, 1.0)


@dataclass(frozen=True)
class RawLine:
    """What a recognizer saw in one line picture; empty where nothing could be read.

    `candidates` are its best whole strings, best first, each with the probability (0 to 1, by the recognizer's own
    lights, not calibrated) that exactly this stands there; none where it does not offer them. `nothing` is its
    probability that the picture holds nothing that can be read. `recognizer` is its name.
    """

    picture: LinePicture
    characters: tuple[RawCharacter, ...]
    candidates: tuple[tuple[str, float], ...] = ()
    nothing: float = 0.0
    recognizer: str = ""

    @property
    def text(self) -> str:
        """The string, blanks included."""
        return "".join(character.text for character in self.characters)

    @property
    def score(self) -> float:
        """Geometric mean of the characters' scores, blanks left out; 0 for an empty line."""
        scores = [character.score for character in self.characters if character.text != " "]
        return float(np.exp(np.mean(np.log(np.clip(scores, 1e-4, 1.0))))) if scores else 0.0


class Recognizer(ABC):
    """Reads line pictures. An implementation must keep order and count: one raw line for each picture."""

    name: str
    any_polarity: bool = False
    """Whether it reads bright strokes on dark as well as dark on bright, and so takes the photo's own gray pixels."""

    @abstractmethod
    def read_lines(self, pictures: Sequence[LinePicture]) -> list[RawLine]:
        """Read all pictures. Never raises for a picture that cannot be read: that line is empty."""
