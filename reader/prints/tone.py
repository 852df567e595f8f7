"""Tell a negative from a positive by its tones: glass plates and film that were scanned as they are.

In comes a picture; out goes what was measured, with `negative` where an inverted reading is worth offering. In a
positive, bright parts carry more contrast than shadows do, since light multiplies what surfaces reflect; in a negative
it is the other way round. No more than a hint: a page of dark writing on white paper, gravel and coins break the rule,
hence it is offered beside the picture as it is and never replaces it. Own method.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]

WORK_PX = 400
"""Longer side of the copy that is measured, in pixels."""

BLUR_PX = 4.0
"""Spread of the neighborhood whose mean and contrast are compared, in pixels of that copy."""

CONTRAST_FLOOR = 0.003
"""Contrast, as a share of the picture's range, below which grain hides it."""

COLOR_SPREAD_MAX = 4.0
"""Largest spread of the colors (Lab a and b, standard deviation) of a one-colored picture; an even tone is one."""

CORRELATION_MAX = -0.1
"""From this correlation of brightness and contrast downward a picture may be a negative. Of 139 rendered pictures made
gray 6 are taken for negatives, of their negatives 113 (measured; positives stand at 0.32 to 0.42 in the median)."""

PAPER_SKEW = -1.5
"""Tones skewed further than this are a page of paper, mostly bright with a little dark."""


@dataclass(frozen=True)
class Tone:
    """What was measured of a picture's tones.

    `correlation` (-1 to 1) is that of brightness with the logarithm of contrast, `skew` the skewness of the tones,
    `color_spread` the larger standard deviation of Lab a and b. `negative`: an inverted reading is worth offering.
    """

    correlation: float
    skew: float
    color_spread: float

    @property
    def negative(self) -> bool:
        """Whether the picture may be a negative: one-colored, no page of paper, contrast in its dark parts."""
        one_colored = self.color_spread <= COLOR_SPREAD_MAX
        return one_colored and self.correlation <= CORRELATION_MAX and self.skew > PAPER_SKEW


def measure_tone(pixels: Pixels) -> Tone:
    """Measure the tones of a picture, (H, W, 3) uint8 sRGB."""
    scale = min(1.0, WORK_PX / max(pixels.shape[:2]))
    small = cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else pixels
    lab = cv2.cvtColor(small.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    light = np.asarray(lab[..., 0], np.float64)
    low, high = np.percentile(light, [1, 99])
    tones = np.clip((light - low) / max(high - low, 1.0), 0, 1)
    mean = cv2.GaussianBlur(tones, (0, 0), BLUR_PX)
    square = cv2.GaussianBlur(tones * tones, (0, 0), BLUR_PX)
    contrast = np.log(np.sqrt(np.maximum(square - mean * mean, 0)) + CONTRAST_FLOOR)
    flat = mean.std() < 1e-6 or contrast.std() < 1e-6
    correlation = 0.0 if flat else float(np.corrcoef(mean.ravel(), contrast.ravel())[0, 1])
    spread = tones.std()
    skew = 0.0 if spread < 1e-6 else float(((tones - tones.mean()) ** 3).mean() / spread**3)
    return Tone(correlation, skew, float(max(lab[..., 1].std(), lab[..., 2].std())))


def invert_tones(pixels: Pixels) -> Pixels:
    """Return the negative's positive, (H, W, 3) uint8, as gray: the plate's own tint would become its opposite."""
    gray = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)
    return np.asarray(cv2.cvtColor(np.asarray(255 - gray, np.uint8), cv2.COLOR_GRAY2RGB), np.uint8)
