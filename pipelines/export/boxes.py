"""From a mark's quad to what the formats want: boxes of whole pixels, corners, angles, places in the stored picture.

In: the answer's quads, corners [x, y] in pixels of the upright photo, the center of the first pixel at (0, 0). Out:
boxes and polygons counted from the picture's outer edge, as ALTO, hOCR, Media Fragments and XMP count, so half a
pixel more.

A photo may be stored turned, with an EXIF orientation (EXIF 2.3, tag 0x0112) that tells viewers how to show it. ALTO,
hOCR and the contact sheet speak of the picture as it is shown. Media fragments and XMP regions count in the stored
pixels, so `stored_quad` turns a quad back first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from reader.geometry import part_quad, quad_angle_deg
from reader.results import Quad

PIXEL_CENTER = 0.5
"""Distance of a pixel's center from its outer edge, in pixels."""

TURNED_SIDEWAYS = (5, 6, 7, 8)
"""EXIF orientations whose stored picture has width and height exchanged."""


@dataclass(frozen=True)
class Box:
    """An upright box of whole pixels: left, top and what lies just right of and below it."""

    left: int
    top: int
    right: int
    bottom: int

    @property
    def width(self) -> int:
        """Pixels across."""
        return self.right - self.left

    @property
    def height(self) -> int:
        """Pixels down."""
        return self.bottom - self.top


def as_quad(corners: Sequence[Sequence[float]]) -> Quad:
    """Return the answer's four corners as a (4, 2) float32 quad."""
    return np.array(corners, np.float32)


def outer_box(quad: Quad, width: int, height: int) -> Box | None:
    """Return the smallest box of whole pixels around a quad, cut at the picture's edge; None wholly outside it."""
    low, high = quad.min(axis=0) + PIXEL_CENTER, quad.max(axis=0) + PIXEL_CENTER
    left, top = (max(0, math.floor(value)) for value in low.tolist())
    right, bottom = (min(limit, math.ceil(value)) for limit, value in zip((width, height), high.tolist(), strict=True))
    return Box(left, top, right, bottom) if left < right and top < bottom else None


def polygon(quad: Quad) -> list[tuple[float, float]]:
    """Return a quad's corners counted from the picture's edge, to 0.1 pixel."""
    return [(round(x + PIXEL_CENTER, 1), round(y + PIXEL_CENTER, 1)) for x, y in quad.tolist()]


def counter_clockwise_deg(quad: Quad) -> float:
    """Return how far a string is turned from lying level, counter-clockwise, 0 to 360, to 0.1 degree."""
    return round(-quad_angle_deg(quad) % 360, 1) % 360


def stored_size(width: int, height: int, orientation: int) -> tuple[int, int]:
    """Return the stored picture's width and height for the upright one's."""
    return (height, width) if orientation in TURNED_SIDEWAYS else (width, height)


def stored_quad(quad: Quad, width: int, height: int, orientation: int) -> Quad:
    """Return where a quad of the upright photo lies in the stored picture.

    Parameters: `width` and `height` of the upright photo; `orientation`, the EXIF value 1 to 8. Corners keep their
    order, so the first is still where reading begins; in a mirrored picture they then run the other way round.
    """
    x, y = quad[:, 0], quad[:, 1]
    from_right, from_bottom = width - 1 - x, height - 1 - y
    stored = {
        1: (x, y),
        2: (from_right, y),
        3: (from_right, from_bottom),
        4: (x, from_bottom),
        5: (y, x),
        6: (y, from_right),
        7: (from_bottom, from_right),
        8: (from_bottom, x),
    }[orientation]
    return np.stack(stored, axis=1).astype(np.float32)


def word_quads(quad: Quad, text: str) -> list[tuple[str, Quad]]:
    """Return a mark's words, each with its part of the quad.

    The answer says where the string lies, not where each word does: the quad is shared out by numbers of characters.
    """
    words, place, length = [], 0, len(text)
    for word in text.split(" "):
        if word:
            words.append((word, part_quad(quad, place / length, (place + len(word)) / length)))
        place += len(word) + 1
    return words
