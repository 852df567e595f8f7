"""Boxes, and where a mark lies in the stored picture.

Outside check of the turns: Pillow's own exif_transpose, pixel by pixel (tests/published/test_exif_orientation.py checks
the reader's turning against the standard's table).
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageOps

from pipelines.export.boxes import (
    Box,
    as_quad,
    counter_clockwise_deg,
    outer_box,
    stored_quad,
    stored_size,
    word_quads,
)
from reader.geometry import box_quad, quad_size, rotated_quad


@pytest.mark.parametrize("orientation", range(1, 9))
def test_stored_places_hold_the_pixels_that_are_shown(orientation: int) -> None:
    stored = np.arange(5 * 7, dtype=np.uint8).reshape(5, 7)
    image = Image.fromarray(stored)
    exif = image.getexif()
    exif[0x0112] = orientation
    shown = np.asarray(ImageOps.exif_transpose(image))
    height, width = shown.shape

    assert stored_size(width, height, orientation) == (7, 5)
    for y in range(height):
        for x in range(width):
            (sx, sy), *_ = stored_quad(box_quad(x, y, x, y), width, height, orientation).astype(int).tolist()
            assert stored[sy, sx] == shown[y, x]


@given(
    corners=st.lists(st.tuples(st.floats(-50, 400), st.floats(-50, 400)), min_size=4, max_size=4),
    orientation=st.integers(1, 8),
)
def test_a_box_lies_in_the_picture_or_is_none(corners: list[tuple[float, float]], orientation: int) -> None:
    size = stored_size(320, 200, orientation)
    box = outer_box(stored_quad(as_quad(corners), 320, 200, orientation), *size)
    if box is not None:
        assert 0 <= box.left < box.right <= size[0]
        assert 0 <= box.top < box.bottom <= size[1]


def test_a_box_covers_whole_pixels_counted_from_the_edge() -> None:
    # Pixel centers 10 to 69 and 20 to 39 are the pixels of a rectangle of 60 x 20.
    assert outer_box(box_quad(10, 20, 69, 39), 320, 200) == Box(10, 20, 70, 40)
    assert outer_box(box_quad(-0.5, -0.5, 319.5, 199.5), 320, 200) == Box(0, 0, 320, 200)
    assert outer_box(box_quad(400, 20, 469, 39), 320, 200) is None


@pytest.mark.parametrize(
    ("clockwise", "expected"), [(0, 0), (90, 270), (180, 180), (-90, 90), (-7.3, 7.3), (7.3, 352.7)]
)
def test_angles_run_counter_clockwise(clockwise: float, expected: float) -> None:
    quad = rotated_quad((100, 100), 60, 20, clockwise)
    assert counter_clockwise_deg(quad) == pytest.approx(expected, abs=0.05)


def test_words_share_out_the_quad() -> None:
    words = word_quads(box_quad(0, 0, 140, 20), "PAT.  AUG. 1871")
    assert [word for word, _ in words] == ["PAT.", "AUG.", "1871"]
    assert [round(quad_size(quad)[0]) for _, quad in words] == [37, 37, 37]
    assert words[1][1][0, 0] == pytest.approx(140 * 6 / 15, abs=0.1)
    assert word_quads(box_quad(0, 0, 10, 10), "") == word_quads(box_quad(0, 0, 10, 10), "  ") == []
