"""Quiet what is smaller than a stroke: dust, pores, sensor noise.

Takes gray pixels and the character height in pixels; returns gray pixels of the same shape, strokes kept.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Gray = NDArray[np.uint8]

SPECK_CHAR_HEIGHTS = 0.07
"""Diameter of the largest speck that is removed: half a usual stroke, so that no stroke goes with the dust."""


def suppress_dust(gray: Gray, char_height: float) -> Gray:
    """Remove specks by opening and closing by reconstruction-free area at speck scale, then smooth within edges.

    Open-close and close-open averaged (an alternating filter, Serra 1988), so that neither dark nor bright specks win.
    """
    side = max(1, round(SPECK_CHAR_HEIGHTS * char_height)) | 1
    if side < 3:
        return np.asarray(cv2.medianBlur(gray, 3), np.uint8)
    element = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    first = cv2.morphologyEx(cv2.morphologyEx(gray, cv2.MORPH_OPEN, element), cv2.MORPH_CLOSE, element)
    second = cv2.morphologyEx(cv2.morphologyEx(gray, cv2.MORPH_CLOSE, element), cv2.MORPH_OPEN, element)
    return np.asarray(cv2.addWeighted(first, 0.5, second, 0.5, 0), np.uint8)
