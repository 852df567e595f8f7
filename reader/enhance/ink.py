"""Separate ink, paint and print from their ground by a local threshold.

Takes gray pixels and the character height in pixels; returns black strokes on white.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Gray = NDArray[np.uint8]

WINDOW_CHAR_HEIGHTS = 1.2
"""Side of the threshold's window: it must hold ground on both sides of a stroke."""

SAUVOLA_K = 0.2
"""Weight of the local deviation; the authors' own value is 0.5 for clean scans, 0.2 keeps faded strokes."""


def threshold_ink(gray: Gray, char_height: float) -> Gray:
    """Binarize with a threshold that follows local mean and deviation (Sauvola and Pietikäinen 2000)."""
    from skimage.filters import threshold_sauvola

    window = max(3, round(WINDOW_CHAR_HEIGHTS * char_height)) | 1
    threshold = threshold_sauvola(gray, window_size=window, k=SAUVOLA_K)
    return np.where(gray > threshold, 255, 0).astype(np.uint8)
