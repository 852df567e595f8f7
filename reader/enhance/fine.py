"""Keep strokes that are much finer than their figures: pencil, scratches, hairlines of ink.

A recognizer scales a line to figures of a few dozen pixels. A pencil line two pixels wide on figures a hundred high
is then averaged away with its ground. Here such strokes are lifted off the ground and widened before that scaling, at
the photo's own resolution. Each function takes gray pixels and the character height in pixels, and returns a picture
of the same shape with strokes dark on bright.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Gray = NDArray[np.uint8]

HAT_CHAR_HEIGHTS = 0.25
"""Side of the hat transform's element: nothing wider than a quarter of the figure's height is a fine stroke."""

REDUCED_PX = 40
"""Figure height that the picture is expected to be reduced to. A stroke is widened by as much as that reduction
narrows it, so that it is about a pixel wide or more afterwards."""

NOISE_SIGMA_PX = 0.7
"""Blur against the noise of single pixels, which the hat transform would keep as well."""

BRIGHTEST_PERCENTILE = 99.5
"""What is taken as the strongest stroke; a few glints beyond it are cut."""

CONTRAST_MIN = 8.0
"""Strokes weaker than this (of 255) are not stretched to full contrast, or noise would be."""


def keep_fine_dark(gray: Gray, char_height: float) -> Gray:
    """Lift fine dark strokes: black-hat, then widening by dilation (Serra 1982)."""
    return _keep(gray, char_height, cv2.MORPH_BLACKHAT)


def keep_fine_bright(gray: Gray, char_height: float) -> Gray:
    """Lift fine bright strokes: top-hat, then widening by dilation (Serra 1982)."""
    return _keep(gray, char_height, cv2.MORPH_TOPHAT)


def _keep(gray: Gray, char_height: float, hat: int) -> Gray:
    smooth = cv2.GaussianBlur(gray, (0, 0), NOISE_SIGMA_PX)
    side = int(HAT_CHAR_HEIGHTS * char_height) | 1
    strokes = cv2.morphologyEx(smooth, hat, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)))
    widening = round(char_height / REDUCED_PX)
    if widening >= 2:
        strokes = cv2.dilate(strokes, np.ones((widening, widening), np.uint8))
    full = max(float(np.percentile(strokes, BRIGHTEST_PERCENTILE)), CONTRAST_MIN)
    return np.asarray(255 - np.clip(strokes.astype(np.float32) * (255 / full), 0, 255), np.uint8)
