"""Even out the light of a torch: background division and local contrast.

Takes gray pixels of a photo or crop, returns gray pixels of the same shape. Every size is given in character heights,
so that one setting serves a near and a far photo.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Gray = NDArray[np.uint8]

BACKGROUND_CHAR_HEIGHTS = 1.5
"""Standard deviation of the background estimate. Wide enough to pass over a character, narrower than a torch's spot."""

CLAHE_TILE_CHAR_HEIGHTS = 4.0
"""Side of one equalization tile: a tile must hold both strokes and ground."""

CLAHE_CLIP = 2.5
"""Clip limit as a multiple of the flat histogram. Above 4, noise in dark corners grows as strong as strokes."""


def flatten_illumination(gray: Gray, char_height: float) -> Gray:
    """Divide by the local mean, so that equal surface gives equal gray under a falling-off light.

    Single-scale retinex (Jobson, Rahman and Woodell 1997) in its quotient form. `gray` is (H, W) uint8; `char_height`
    in pixels. Returns (H, W) uint8 with the ground near 128. Fails where the picture is clipped: nothing is left there.
    """
    sigma = BACKGROUND_CHAR_HEIGHTS * char_height
    background = blur_coarsely(gray, sigma)
    quotient = 128.0 * gray.astype(np.float32) / (background + 4.0)  # 4: keeps sensor noise of black corners down
    return np.asarray(np.clip(quotient, 0, 255), np.uint8)


def equalize_locally(gray: Gray, char_height: float) -> Gray:
    """Stretch contrast tile by tile with a limit: CLAHE (Zuiderveld 1994). (H, W) uint8 in and out."""
    tile = max(8.0, CLAHE_TILE_CHAR_HEIGHTS * char_height)
    tiles = (max(1, round(gray.shape[1] / tile)), max(1, round(gray.shape[0] / tile)))
    return np.asarray(cv2.createCLAHE(CLAHE_CLIP, tiles).apply(gray), np.uint8)


def blur_coarsely(gray: Gray, sigma: float) -> NDArray[np.float32]:
    """Gaussian blur by way of a reduced copy: same result to a gray level, cost independent of sigma."""
    reduce = max(1, int(sigma / 4))
    if reduce == 1:
        return np.asarray(cv2.GaussianBlur(gray.astype(np.float32), (0, 0), sigma), np.float32)
    small_size = (max(1, gray.shape[1] // reduce), max(1, gray.shape[0] // reduce))
    reduced = cv2.resize(gray, small_size, interpolation=cv2.INTER_AREA).astype(np.float32)
    small = cv2.GaussianBlur(reduced, (0, 0), sigma / reduce)
    size = (gray.shape[1], gray.shape[0])
    return np.asarray(cv2.resize(small, size, interpolation=cv2.INTER_LINEAR), np.float32)
