"""Defaults that a caller may change, each with its unit and reason.

Constants of one method stand beside that method.
"""

from __future__ import annotations

PIXEL_LIMIT = 200_000_000
"""Largest photo that is decoded, in pixels. A 200-megapixel phone photo passes; a picture file made to fill the memory
(a 'decompression bomb') does not. 200 megapixels are 600 MB decoded."""

REGIONS_MAX = 40
"""Most regions of one photo that are read, best first. Bounds the time that a cluttered photo may cost."""
