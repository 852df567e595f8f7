"""How good a photo is for reading small marks, and what to do for a better one.

In comes a Photo; out go a few measures of it and advice in plain words, which answer.py puts into the answer; what can
be judged on a mark's own pixels is in mark_quality.py. Measured on a copy of 1000 px along the longer side, so that a
phone's photo and a small one are judged alike. The thresholds are ours: set between synthetically spoiled pictures and
681 open photographs of plates, coins, stones, cards and counters that a person can read, each seen by us. The advice is
common practice of conservation photography, in our words.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.results import Advice, Photo

LONG_SIDE_PX = 1000
"""Longer side of the copy that is measured. Smaller photos are measured as they are."""

DARK_LEVEL = 40
"""Luminance, of 255, under which phone cameras' noise hides shallow relief."""

CLIPPED_LEVEL = 250
"""Luminance, of 255, from which nothing can be told apart (JPEG rounding leaves a few levels below white)."""

DARK_SHARE_MAX = 0.95
"""A photo with a larger dark share is too dark. Seen: black plates up to 0.93 that are still read with ease."""

CLIPPED_SHARE_MAX = 0.15
"""A photo with a larger clipped share is blown out. Seen: 675 of 681 below; above are coins on white, cars before a
bright sky or wall and one plate whose metal is burnt out (up to 0.36). Windows and lamps in view make up to 0.14."""

SHARPNESS_MIN = 0.2
"""A photo of lower sharpness is blurred: its edges spread over more than 2 px of the copy. Seen: 18 of 681 below, all
soft close-ups of counters. scikit-image's pictures have 0.44 to 1, blurred by 3 px 0.06 to 0.19, and those again with
noise at a third of their brightness 0.11 to 0.27."""

CONTRAST_MIN = 12.0
"""A photo of lower contrast, in levels of 255, is flat. Seen: gray counters and a foggy yard down to 19, read
with ease."""

EDGES_SHARE = 0.02
"""Share of the copy's pixels, those of the steepest edges, that sharpness is measured on."""

EDGE_STEEPNESS_MIN = 1.0
"""Least steepness of these edges, in levels per pixel; flatter ones are noise."""

TILES_LONG_SIDE = 32
"""Tiles along the longer side in which contrast is measured: a number stamped small fills one or two."""

SPREAD_MAX_PX = 10.0
"""A wider spread cannot be told from this one: the two smoothings that are compared are 1 and 2 px."""

_FINE_PX, _COARSE_PX = 1.0, 2.0
_DIFFERENCE_VARIANCE = 1 / 3
"""What taking the difference of two pixels' neighbors adds to an edge's spread: the variance of a box 2 px wide."""

Gray = NDArray[np.float32]


@dataclass(frozen=True)
class Quality:
    """What was measured on a photo's luminance (ITU-R BT.601).

    `mean_brightness` is 0 to 255. `dark_share` and `clipped_share` are the shares, 0 to 1, of pixels under DARK_LEVEL
    and from CLIPPED_LEVEL up. `sharpness` is 1 / (1 + s * s), where s is the spread in px of the steepest edges (the
    standard deviation of a Gaussian blur; an edge that falls between two pixels spreads by 0.5); 1 where the photo
    has no edges to judge by. `contrast` is the standard deviation of luminance within a tile, in levels of 255, that
    95 of 100 tiles do not surpass.
    """

    mean_brightness: float
    dark_share: float
    clipped_share: float
    sharpness: float
    contrast: float


def measure_quality(photo: Photo) -> Quality:
    """Measure a photo. 35 to 60 ms for 12 megapixels."""
    gray = _small_gray(photo.pixels)
    levels = gray.astype(np.float32)
    return Quality(
        mean_brightness=float(gray.mean()),
        dark_share=float(np.mean(gray < DARK_LEVEL)),
        clipped_share=float(np.mean(gray >= CLIPPED_LEVEL)),
        sharpness=measure_sharpness(levels),
        contrast=_measure_contrast(levels),
    )


def _small_gray(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the copy that is measured, (h, w) uint8."""
    gray = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)  # first: shrinking three channels takes twice as long
    height, width = gray.shape
    scale = LONG_SIDE_PX / max(height, width)
    if scale < 1:
        size = max(1, round(width * scale)), max(1, round(height * scale))
        gray = cv2.resize(gray, size, interpolation=cv2.INTER_AREA)
    return np.asarray(gray, np.uint8)


def measure_sharpness(levels: Gray) -> float:
    """Return 1 / (1 + s * s) for edges spread by s px; `levels` is (H, W), 0 to 255, of any size.

    The peak gradient of an edge spread by s and smoothed by a is proportional to 1 / sqrt(s * s + a * a), so the ratio
    of the peaks at two smoothings gives s (the re-blur ratio, as in Zhuo and Sim 2011). The ratio is the regression of
    the fine gradient on the coarse one over the peaks that are steepest at the coarse smoothing: there noise, which
    has no common direction, mostly cancels, where the variance of the Laplacian would take it for detail.
    """
    fine, coarse = _gradient(levels, _FINE_PX), _gradient(levels, _COARSE_PX)
    energy = np.einsum("cij,cij->ij", coarse, coarse)
    peaks = energy == cv2.dilate(energy, np.ones((3, 3), np.uint8))
    peaks &= energy >= max(float(np.quantile(energy[::2, ::2], 1 - EDGES_SHARE)), EDGE_STEEPNESS_MIN**2)
    if not peaks.any():
        return 1.0
    ratio = float(np.einsum("cij,cij->ij", fine, coarse)[peaks].sum() / energy[peaks].sum())
    gain = max(ratio, 0.0) ** 2 - 1
    return float(np.clip(gain / (_COARSE_PX**2 - _FINE_PX**2 - _DIFFERENCE_VARIANCE * gain), 0.0, 1.0))


def edge_spread_px(sharpness: float) -> float:
    """Return the spread s in px that a sharpness stands for, at most SPREAD_MAX_PX."""
    return min(math.sqrt(1 / max(sharpness, 1e-6) - 1), SPREAD_MAX_PX)


def _gradient(levels: Gray, smoothing_px: float) -> Gray:
    """Return the gradient after Gaussian smoothing, (2, H, W), in levels per pixel."""
    smooth = cv2.GaussianBlur(levels, (0, 0), smoothing_px)
    return np.stack([cv2.Scharr(smooth, cv2.CV_32F, 1, 0), cv2.Scharr(smooth, cv2.CV_32F, 0, 1)]) / np.float32(32)


def _measure_contrast(levels: Gray) -> float:
    """Return the 95th percentile of the standard deviation within square tiles."""
    side = max(2, round(max(levels.shape) / TILES_LONG_SIDE))
    mean = cv2.blur(levels, (side, side))
    square = cv2.blur(levels * levels, (side, side))
    step = max(1, side // 4)
    variance = np.maximum(square - mean * mean, 0)[::step, ::step]
    return float(np.sqrt(np.quantile(variance, 0.95)))


def advise_capture(quality: Quality, *, mark_found: bool = False) -> tuple[Advice, ...]:
    """Return what to do for a better photo, most pressing first; nothing where the photo is fine.

    In a photo that is too dark, blur and contrast say nothing and are not judged. Where a mark was found, darkness and
    blur are left to mark_quality.py, which judges them on the mark's own pixels.
    """
    too_dark = quality.dark_share > DARK_SHARE_MAX
    judged = (
        ("too-dark", not mark_found and too_dark),
        ("blown-out", quality.clipped_share > CLIPPED_SHARE_MAX),
        ("blurred", not mark_found and not too_dark and quality.sharpness < SHARPNESS_MIN),
        ("low-contrast", not too_dark and quality.contrast < CONTRAST_MIN),
    )
    values = {
        "too-dark": (above(100 * quality.dark_share), 100 * DARK_SHARE_MAX),
        "blown-out": (above(100 * quality.clipped_share), 100 * CLIPPED_SHARE_MAX),
        "blurred": (above(edge_spread_px(quality.sharpness)), edge_spread_px(SHARPNESS_MIN)),
        "low-contrast": (below(quality.contrast), CONTRAST_MIN),
    }
    return tuple(Advice(code, _TEXTS[code].format(*values[code])) for code, applies in judged if applies)


def above(value: float) -> float:
    """Round a value that surpasses a limit up to one decimal, so that it does so in print as well."""
    return math.ceil(10 * value) / 10


def below(value: float) -> float:
    """Round a value that falls short of a limit down to one decimal."""
    return math.floor(10 * value) / 10


def no_serial_advice() -> tuple[Advice, ...]:
    """Return what to do where no serial number was found: a caution, then the photo to take next."""
    return (Advice("no-serial-found", f"{_CAUTION} {_TEXTS['no-serial-found']}"),)


def not_sure_advice() -> tuple[Advice, ...]:
    """Return what to do where a number was read but not surely: a caution, then the photo to take next."""
    return (Advice("not-sure", f"{_CAUTION} {_TEXTS['not-sure']}"),)


_CAUTION = "Do not scrape, wet, chalk or ink a stamp, and do not lift or move anything heavy alone."

CAMERA_STEADY = (
    "Rest the phone on a box or a book, tap on the mark to focus, keep still, and let the self-timer take the picture."
)

_TEXTS = {
    "too-dark": "The photo is too dark to show the mark: {:g} % of it is nearly black, and it should be {:g} % at the "
    "most. Hold a second lamp or a flashlight to the side of it, about 30 cm away, and tap on the mark so that the "
    "camera sets itself for that spot.",
    "blown-out": "{:g} % of the photo is burnt out to plain white, and it should be {:g} % at the most. Turn the "
    "camera's flash off, move the light further away or to one side, and set the exposure a little darker.",
    "blurred": "The photo is blurred: on a copy of 1000 px its edges spread over {:g} px, and it should be {:g} px at "
    f"the most. {CAMERA_STEADY}",
    "low-contrast": "The mark hardly stands out: brightness changes by {:g} of 255 levels, and it should be {:g} or "
    "more. Darken the room and hold a flashlight low beside it, 10 to 20 degrees above the surface; keep the camera "
    "still and take one photo each with the light from four sides.",
    "no-serial-found": "Then photograph one place at a time, straight on and from 15 to 30 cm, with a flashlight held "
    "low at the side, and add one photo from further back that shows where on the instrument the place is.",
    "not-sure": "Then photograph this number again from 15 to 30 cm with a flashlight 10 to 20 degrees above the "
    "surface; keep the camera still and move only the light, to above, below, left and right of it.",
}
