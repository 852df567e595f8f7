"""Decode a large TIFF page strip by strip into the pixels that are wanted, so that no second copy of it is held.

In comes a page of tifffile; out come (H, W, 3) uint8 pixels, or None for a kind of page that this does not know.
Pillow would need 4 bytes a pixel beside the 3 that are returned: 2.0 GB for 200 megapixels, 1.3 GB this way (measured).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

LARGE_PX = 40_000_000
"""Pages of more pixels are decoded this way: a 600-dpi scan of an A4 page has 35 megapixels."""

UNCOMPRESSED_OR_DEFLATE = (1, 8, 32946)
"""TIFF compressions (tag 259) that tifffile decodes by itself."""

BUFFER_BYTES = 1 << 24
"""Bytes of stored strips that are taken from the file at a time."""


def decode_large(page: Any) -> NDArray[np.uint8] | None:
    """Return a gray or RGB page of 8 or 16 bits as (H, W, 3) uint8, deep ones by their high byte; None for others."""
    if page.imagewidth * page.imagelength <= LARGE_PX or page.compression not in UNCOMPRESSED_OR_DEFLATE:
        return None
    channels = {0: 1, 1: 1, 2: 3}.get(int(page.photometric))
    if page.samplesperpixel != channels or page.planarconfig != 1 or page.bitspersample not in (8, 16):
        return None
    if page.imagedepth != 1 or page.dtype not in (np.uint8, np.uint16):
        return None
    pixels = np.zeros((page.imagelength, page.imagewidth, 3), np.uint8)
    for segment, place, _ in page.segments(maxworkers=1, buffersize=BUFFER_BYTES):
        if segment is None:
            continue
        top, left = place[2], place[3]
        part = segment[0, : page.imagelength - top, : page.imagewidth - left]
        part = (part >> 8).astype(np.uint8) if part.dtype == np.uint16 else part
        pixels[top : top + part.shape[0], left : left + part.shape[1]] = 255 - part if page.photometric == 0 else part
    return pixels
