"""Preparation of a picture for Tesseract: the steps that people try first, as named variants.

Each variant takes (H, W) uint8 gray and gives (H, W) uint8 with dark strokes on a bright ground, lines enlarged to
LINE_HEIGHT_PX with a white border. Only OpenCV and numpy are used.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Gray = NDArray[np.uint8]

VARIANTS = ("enlarged", "contrast", "otsu", "sauvola", "contrast-otsu", "contrast-sauvola")
"""Enlarged only; local contrast; one threshold; a local threshold; contrast before either threshold."""

LINE_HEIGHT_PX = 64
"""Height of a line picture before its border. Tesseract reads best at capitals of 20 to 50 px (its documentation)."""

BORDER_PX = 12
"""White border; without one Tesseract drops outer characters (its own documentation)."""

CLAHE_LIMIT, CLAHE_TILE_PX = 2.0, 32
"""Local contrast (CLAHE, Zuiderveld 1994): a mild limit, and tiles of half a line, so that a stroke fills no tile."""

SAUVOLA_K, SAUVOLA_RANGE = 0.2, 128.0
"""Sauvola and Pietikainen 2000: k, and the dynamic range of the standard deviation for 8 bits, from the paper (k 0.5)
and its usual implementations (0.2)."""

WINDOW_SHARE = 1.0
"""Window of the local threshold as a share of the line's height, or FIND_WINDOW_PX in whole photos."""

FIND_WINDOW_PX = 41


def prepare(gray: Gray, variant: str, job: str) -> Gray:
    """Prepare a picture by a named variant; lines ('line') are enlarged and bordered, whole photos are not."""
    line = job == "line"
    pixels = _enlarge(gray) if line else gray
    window = max(15, int(LINE_HEIGHT_PX * WINDOW_SHARE) | 1) if line else FIND_WINDOW_PX
    if "contrast" in variant:
        tiles = (max(1, pixels.shape[1] // CLAHE_TILE_PX), max(1, pixels.shape[0] // CLAHE_TILE_PX))
        pixels = np.asarray(cv2.createCLAHE(CLAHE_LIMIT, tiles).apply(pixels), np.uint8)
    pixels = dark_on_bright(pixels)
    if "otsu" in variant:
        pixels = np.asarray(cv2.threshold(pixels, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)[1], np.uint8)
    elif "sauvola" in variant:
        pixels = sauvola(pixels, window)
    return np.pad(pixels, BORDER_PX, constant_values=255) if line else pixels


def dark_on_bright(gray: Gray) -> Gray:
    """Return the picture with its rarer side of Otsu's threshold dark: strokes cover less than their ground."""
    level, _ = cv2.threshold(gray, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    return np.asarray(255 - gray if float((gray <= level).mean()) > 0.5 else gray, np.uint8)


def sauvola(gray: Gray, window: int) -> Gray:
    """Return the picture in black and white by the local threshold m * (1 + k * (s / R - 1)) (Sauvola 2000)."""
    values = gray.astype(np.float32)
    mean = cv2.blur(values, (window, window))
    deviation = np.sqrt(np.maximum(cv2.blur(values**2, (window, window)) - mean**2, 0))
    threshold = mean * (1 + SAUVOLA_K * (deviation / SAUVOLA_RANGE - 1))
    return np.where(values > threshold, 255, 0).astype(np.uint8)


def _enlarge(gray: Gray) -> Gray:
    scale = LINE_HEIGHT_PX / gray.shape[0]
    way = cv2.INTER_CUBIC if scale > 1 else cv2.INTER_AREA
    return np.asarray(
        cv2.resize(gray, (max(8, round(gray.shape[1] * scale)), LINE_HEIGHT_PX), interpolation=way), np.uint8
    )
