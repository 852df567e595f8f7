"""Small pictures made from an original: crops of marks, and thumbnails with the serial outlined.

In: a Photo's upright pixels and the answer's quads. Out: bytes of PNG or JPEG in sRGB, without any metadata.
"""

from __future__ import annotations

import io
import math

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from reader.geometry import crop_quad, grow_quad, quad_size
from reader.results import Quad

CROP_HEIGHT_MAX_PX = 400
"""Larger marks are reduced to this height; smaller ones keep the photo's own pixels."""

CROP_LENGTH_MAX_PX = 4000
"""No crop is longer, whatever shape a quad has."""

CROP_MARGIN = 0.25
"""Surroundings kept on every side, as a share of the mark's height."""

THUMBNAIL_PX = 480
"""Longest side of a thumbnail: 8 cm at 150 dots to the inch."""

STRIP_HEIGHT_PX = 72
"""Height of a mark, without its surroundings, on the contact sheet."""

JPEG_QUALITY = 82

OUTLINE_AWAY_PX = 6
"""Distance of the outline from the mark, in pixels of the thumbnail."""

LINE_COLOR, CASING_COLOR = "#0072B2", "#FFFFFF"
"""Blue of Okabe and Ito ("Color Universal Design", 2008) on white: seen by all eyes and in black and white."""

Pixels = NDArray[np.uint8]


def cut_mark(pixels: Pixels, quad: Quad, height_px: int | None = None) -> Pixels | None:
    """Return a mark cut out upright, read from left to right, with its surroundings; None where it has no area.

    Parameters: `pixels` (H, W, 3) uint8; `height_px`, the mark's height in the crop, without it the photo's own up to
    CROP_HEIGHT_MAX_PX.
    """
    length, height = quad_size(quad)
    if min(length, height) < 1 or not np.isfinite(quad).all():
        return None
    wanted = height_px or min(math.ceil(height), CROP_HEIGHT_MAX_PX)
    wanted = max(1, min(wanted, int(CROP_LENGTH_MAX_PX * height / length)))
    crop, _ = crop_quad(pixels, quad, wanted, CROP_MARGIN)
    return crop


def thumbnail(pixels: Pixels, quad: Quad | None) -> Image.Image:
    """Return the photo made small, with a quad outlined."""
    height, width = pixels.shape[:2]
    scale = min(1.0, THUMBNAIL_PX / max(width, height))
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    image = Image.fromarray(pixels).resize(size, Image.Resampling.BOX, reducing_gap=None)
    if quad is not None:
        away = OUTLINE_AWAY_PX / scale  # clear of the figures, which are small here
        corners = [(float(x) * scale, float(y) * scale) for x, y in grow_quad(quad, away, away)]
        around = [*corners, *corners[:2]]
        draw = ImageDraw.Draw(image)
        draw.line(around, fill=CASING_COLOR, width=7, joint="curve")
        draw.line(around, fill=LINE_COLOR, width=3, joint="curve")
    return image


def png_bytes(pixels: Pixels) -> bytes:
    """Return pixels as PNG."""
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, "PNG", optimize=False, compress_level=6)
    return buffer.getvalue()


def jpeg_bytes(image: Image.Image) -> bytes:
    """Return a picture as JPEG."""
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=JPEG_QUALITY, optimize=True)
    return buffer.getvalue()
