"""How well one mark can be read from its own pixels, and what to do for a better photo of it.

In come the photo's gray pixels and the mark's quad; out go a few measures of it and advice in plain words, which
answer.py puts into the answer where the serial is not accepted. Measured on an upright copy of the mark with figures at
most 64 px high, so that near and far photos are judged alike; lengths are shares of the figures' height.

The thresholds were set on photographs of tools/renderer whose truth is known, spoiled step by step and read again with
our network from the true quads (each constant says how it went), and only looked at on real ones. Not judged, since one
photo does not show it honestly: how obliquely the camera looked. The quad is a turned rectangle without perspective,
and punches differ in width by more than a tilt of 40 degrees squeezes them (by cos 40 = 0.77).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.geometry import crop_quad, quad_size
from reader.photo.quality import CAMERA_STEADY, CLIPPED_LEVEL, above, below, edge_spread_px, measure_sharpness
from reader.results import Advice, Quad

COPY_HEIGHT_PX = 64
"""Height of the figures in the copy that is measured; smaller ones are measured as they are."""

MARGIN = 0.15
"""What the copy shows around the quad, as a share of its height: outer edges of strokes lie on the quad's own edge.
Brightness and glare are counted inside the quad only."""

BRIGHT_QUANTILE = 0.95
"""The mark's bright level is the one that so many of its pixels do not surpass: painted strokes and lit edges reach
it, single pixels of noise do not."""

BRIGHT_LEVEL_MIN = 40.0
"""A mark of a lower bright level is too dark. 17 easy scenes taken with less and less light, down to 1/125, by a noisy
camera: 30 % of 46 photos were read below 40, 73 % of 11 from 40 to 45, 91 % of 67 from 60 on."""

GLARE_SPOT = 0.6
"""Diameter, over the figures' height, of the smallest burnt-out spot that counts as glare."""

GLARE_SHARE_MAX = 0.1
"""A mark of a larger share of glare has lost figures. 29 easy marks: none was read under a spot of 0.3 figure heights
radius or more, all of which surpass this. Exposed three times too long, with 17 % of their pixels burnt out in the
median, 97 % were read, and none surpasses it."""

EDGE_SPREAD_MAX = 0.06
"""A mark whose edges spread wider is blurred. 28 easy marks blurred step by step: 93 % were read at a measured spread
of 0.046 in the median, 79 % at 0.059, 61 % at 0.076, 25 % at 0.092."""

FIGURE_HEIGHT_MIN_PX = 40.0
"""A lower figure is too small to be read surely: 40 to 60 px for reading by machine, 100 and more for an archive (own
arithmetic from 3.5-mm figures scanned at 300 to 600 per inch). Sharp easy renders are still read at 13 px; real photos
have noise and soft lenses."""

UPRIGHT_SHARE_MIN = 0.36
"""A mark of a lower share is lit along its upright strokes. Reliefs lit low from eight sides, light within 22 degrees
of the strokes' direction and other light: of 20 hard ones 38 % and none of the photos fall below, of 15 medium ones 27
and 0 %, of 18 easy ones 11 and 4 %. At 0.40, the first choice, 50 and 57 % of the hard and medium ones would, but also
3 of 53 easy marks, all pencil along the grain, which is why it was lowered. Of marks not used for the choice 1 of 23
easy and 2 of 61 medium ones fall below, pencil and fine cuts in grain. It does not say why a reading failed: below it
11 of 15 hard photos were read, 4 of 8 medium, 0 of 8 easy ones (of two scenes that no light made readable); above it
59, 78 and 93 %. It says which light was not tried yet."""

UPRIGHT_SMOOTHING = 0.02
"""Smoothing before edges are compared, as a share of the figures' height: less than a stroke, more than a pixel."""


@dataclass(frozen=True)
class MarkQuality:
    """What was measured on one mark.

    `figure_height_px` is the quad's height in photo pixels. `bright_level` is the luminance, 0 to 255, that 95 of 100
    pixels of the mark do not surpass. `glare_share`, 0 to 1, is the share of the mark that lies in burnt-out spots
    wider than most gaps between strokes. `edge_spread` is the standard deviation of the blur of its steepest edges
    over the figures' height, 0 where there are no edges. `upright_share`, 0 to 1, is the share of gradient energy
    that points along the line of reading, which upright strokes give; 0.5 where there is no gradient.
    """

    figure_height_px: float
    bright_level: float
    glare_share: float
    edge_spread: float
    upright_share: float


def measure_mark(gray: NDArray[np.uint8], quad: Quad) -> MarkQuality:
    """Measure one mark of a photo, `gray` (H, W) uint8, `quad` (4, 2) in its pixels, at least 1 px long and high."""
    height = quad_size(quad)[1]
    copy_height = max(1, min(COPY_HEIGHT_PX, round(height)))
    copy, _ = crop_quad(gray, quad, copy_height, MARGIN)
    border = round(MARGIN * copy_height)
    inside = copy[border : copy.shape[0] - border, border : copy.shape[1] - border]
    levels = copy.astype(np.float32)
    return MarkQuality(
        figure_height_px=height,
        bright_level=float(np.quantile(inside, BRIGHT_QUANTILE)),
        glare_share=_measure_glare(inside),
        edge_spread=edge_spread_px(measure_sharpness(levels)) / copy_height,
        upright_share=_measure_upright(levels, copy_height),
    )


def _measure_glare(inside: NDArray[np.uint8]) -> float:
    """Return the share of clipped pixels in spots that hold a disk of GLARE_SPOT figure heights (an opening).

    Chalk strokes, and paper between the strokes of well exposed ink, clip too, but in narrower places.
    """
    clipped = (inside >= CLIPPED_LEVEL).astype(np.uint8)
    across = max(1, round(GLARE_SPOT * inside.shape[0]))
    across |= 1  # an even disk would shift what it opens by a pixel
    disk = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (across, across))
    return float(cv2.morphologyEx(clipped, cv2.MORPH_OPEN, disk).mean())


def _measure_upright(levels: NDArray[np.float32], height: int) -> float:
    """Return the share of gradient energy along x: the structure tensor's first diagonal element over its trace.

    The structure tensor as in Bigün and Granlund 1987, summed over the whole copy. A groove's wall is as bright as it
    faces the light, so strokes along a low light show neither a bright nor a dark wall.
    """
    smooth = cv2.GaussianBlur(levels, (0, 0), max(UPRIGHT_SMOOTHING * height, 0.5))
    along = float(np.square(cv2.Scharr(smooth, cv2.CV_32F, 1, 0)).sum())
    across = float(np.square(cv2.Scharr(smooth, cv2.CV_32F, 0, 1)).sum())
    return along / (along + across) if along + across > 0 else 0.5


def advise_mark(quality: MarkQuality) -> tuple[Advice, ...]:
    """Return what to do for a better photo of the mark, most pressing first; nothing where it is fine.

    In a mark that is too dark nothing but its size is judged further, and under glare the light's side is not.
    """
    too_dark = quality.bright_level < BRIGHT_LEVEL_MIN
    glare = quality.glare_share > GLARE_SHARE_MAX
    blurred = quality.edge_spread > EDGE_SPREAD_MAX
    lit_along = quality.upright_share < UPRIGHT_SHARE_MIN and not too_dark and not glare
    judged = (
        ("too-dark", too_dark, below(quality.bright_level), BRIGHT_LEVEL_MIN),
        ("glare", glare, above(100 * quality.glare_share), 100 * GLARE_SHARE_MAX),
        ("blurred", not too_dark and blurred, above(100 * quality.edge_spread), 100 * EDGE_SPREAD_MAX),
        ("light-along-strokes", lit_along, below(100 * quality.upright_share), 100 * UPRIGHT_SHARE_MIN),
        (
            "too-small",
            quality.figure_height_px < FIGURE_HEIGHT_MIN_PX,
            below(quality.figure_height_px),
            FIGURE_HEIGHT_MIN_PX,
        ),
    )
    return tuple(Advice(code, _TEXTS[code].format(value, limit)) for code, applies, value, limit in judged if applies)


_TEXTS = {
    "too-dark": "The mark is too dark: its brightest parts reach level {:g} of 255, and it should be {:g} or more. "
    "Hold a second lamp or a flashlight to the side of it, about 30 cm away, and tap on the mark so that the camera "
    "sets itself for that spot.",
    "glare": "A reflection burns out {:g} % of the mark to plain white, and it should be {:g} % at the most. Turn the "
    "flash off and move the light or the camera to one side until the shine lies beside the mark.",
    "blurred": "The figures are out of focus or moved: their edges spread over {:g} % of the figures' height, and it "
    f"should be {{:g}} % at the most. {CAMERA_STEADY}",
    "light-along-strokes": "The light seems to come from above or below the number, where upright strokes vanish: they "
    "make {:g} % of all edges, and it should be {:g} % or more. Keep the camera still and take another photo with the "
    "flashlight low at the left or right of the number.",
    "too-small": "The figures are {:g} px high; {:g} and more are needed to read them surely. Step closer, to 15 to 30 "
    "cm, or zoom to 2x, until the number fills at least a quarter of the picture's width.",
}
