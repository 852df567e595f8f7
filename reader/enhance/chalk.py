"""Join the grains of a chalk stroke into one stroke.

Chalk touches only the high places of a rough board, so its stroke is a row of specks. Takes gray pixels and the
character height in pixels; returns strokes dark on bright.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.enhance.relief import Gray, invert_stretched

LINK_CHAR_HEIGHTS = 0.22
"""Longest gap that is bridged along a stroke. Longer than this would close a 3 into an 8."""

CHALK_HAT_CHAR_HEIGHTS = 0.6
"""Side of the top-hat's element: chalk strokes are wider than punched ones, up to a quarter of the height."""

DIRECTIONS = 8
"""Directions in which grains are linked, 22.5 degrees apart."""


def link_chalk_strokes(gray: Gray, char_height: float) -> Gray:
    """Bright strokes by top-hat, then linked along the direction in which each place has most company.

    A closing by line segments in several directions, of which the smallest answer that still passes an opening by a
    line of the same direction is kept: grains in a row are joined, lone grains fall away (after the directional
    morphology of Soille and Talbot 2001).
    """
    side = max(3, round(CHALK_HAT_CHAR_HEIGHTS * char_height)) | 1
    element = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    bright = cv2.morphologyEx(cv2.GaussianBlur(gray, (0, 0), 0.03 * char_height + 0.5), cv2.MORPH_TOPHAT, element)
    linked = np.zeros_like(bright)
    for line in _line_elements(LINK_CHAR_HEIGHTS * char_height):
        joined = cv2.morphologyEx(bright, cv2.MORPH_CLOSE, line)
        np.maximum(linked, cv2.morphologyEx(joined, cv2.MORPH_OPEN, line), out=linked)
    return invert_stretched(linked)


def _line_elements(length: float) -> list[NDArray[np.uint8]]:
    """Return line-shaped structuring elements of about `length` pixels, one a direction."""
    radius = max(1, round(length / 2))
    elements = []
    for step in range(DIRECTIONS):
        angle = math.pi * step / DIRECTIONS
        element = np.zeros((2 * radius + 1, 2 * radius + 1), np.uint8)
        dx, dy = round(radius * math.cos(angle)), round(radius * math.sin(angle))
        cv2.line(element, (radius - dx, radius - dy), (radius + dx, radius + dy), 1)
        elements.append(element)
    return elements
