"""Measure a printer's screen (halftone, newsprint) and take it out.

In comes a picture; out goes the screen's period and angle, or None, and a picture in which the dots are merged back
into tones. A screen is a lattice: its spectrum has two sharp peaks of one frequency at a right angle, at the same
place in every part of the picture, which no subject has. Plain Fourier analysis; the dots are merged by a Gaussian
(low-pass filtering as the common descreening step). Fine strokes of less than about a period are lost with the dots,
hence the descreened picture is offered beside the picture as it is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]

TILE_PX = 256
"""Side of the tiles whose spectra are measured, in pixels."""

TILES_MAX = 16
"""Most tiles, spread evenly."""

PERIOD_MIN_PX, PERIOD_MAX_PX = 2.5, 20.0
"""Screens looked for, in pixels. 85 lines an inch (newsprint) at 600 dots an inch is 7."""

PEAK_RATIO_MIN = 20.0
"""Least height of a screen's peaks over the median of the ring of the same frequency, in the tiles' mean spectrum.
Made halftones stand at 60 to 540, the worst of 474 other pictures at 18."""

TILES_AGREE_MIN = 0.5
"""Share of the tiles in which both peaks must stand out on their own, by half of that: a subject fills few tiles."""

ANGLE_TOLERANCE_DEG = 4.0
"""How far the two directions may be from a right angle."""

FREQUENCY_TOLERANCE = 0.06
"""How far the frequencies of the two directions may lie apart, as a share."""

AXIS_DEG = 4.0
"""Lattices within this angle of the pixels' own rows are not looked for: JPEG blocks, sensors and upright edges make
peaks there. Black screens stand at 45 degrees (common practice)."""

MERGE_PERIODS = 0.42
"""Spread of the Gaussian that merges the dots, in periods: it leaves 3 % of the screen's own frequency."""


@dataclass(frozen=True)
class Screen:
    """A screen: the distance of its lines in pixels, their direction in degrees (0 to 90), its peaks' height."""

    period_px: float
    angle_deg: float
    peak_ratio: float


def measure_screen(pixels: Pixels) -> Screen | None:
    """Return the screen of a picture, (H, W, 3) uint8, or None where none stands out or the picture is too small."""
    spectra = [_spectrum(tile) for tile in _tiles(pixels)]
    if not spectra:
        return None
    whole = _whiten(np.mean(spectra, axis=0))
    peak = _strongest(whole)
    if peak is None:
        return None
    second = _at_right_angle(whole, peak)
    if second is None:
        return None
    agree = np.mean(
        [min(_near(each, peak), _near(each, second)) >= PEAK_RATIO_MIN / 2 for each in map(_whiten, spectra)]
    )
    if agree < TILES_AGREE_MIN:
        return None
    ratio = min(_near(whole, peak), _near(whole, second))
    return Screen(TILE_PX / math.hypot(*peak), math.degrees(math.atan2(peak[0], peak[1])) % 90, float(ratio))


def merge_dots(pixels: Pixels, screen: Screen) -> Pixels:
    """Return the picture, (H, W, 3) uint8, with the screen's dots merged into tones."""
    return np.asarray(cv2.GaussianBlur(pixels, (0, 0), MERGE_PERIODS * screen.period_px), np.uint8)


def _tiles(pixels: Pixels) -> list[NDArray[np.float32]]:
    """Return up to TILES_MAX gray tiles, without those that hold one flat tone."""
    rows, columns = pixels.shape[0] // TILE_PX, pixels.shape[1] // TILE_PX
    places = [(row, column) for row in range(rows) for column in range(columns)]
    step = max(1, math.ceil(len(places) / TILES_MAX))
    cut = [pixels[r * TILE_PX : (r + 1) * TILE_PX, c * TILE_PX : (c + 1) * TILE_PX] for r, c in places[::step]]
    gray = [np.asarray(cv2.cvtColor(tile, cv2.COLOR_RGB2GRAY), np.float32) for tile in cut]
    return [tile for tile in gray if tile.std() > 2]


def _spectrum(tile: NDArray[np.float32]) -> NDArray[np.float64]:
    """Return the magnitude spectrum, (TILE_PX, TILE_PX), frequency 0 in the middle, of a tile under a Hann window."""
    window = np.outer(np.hanning(TILE_PX), np.hanning(TILE_PX))
    magnitude = np.abs(np.fft.fftshift(np.fft.fft2((tile - tile.mean()) * window)))
    return np.asarray(magnitude / (magnitude.mean() + 1e-9), np.float64)


def _frequency() -> NDArray[np.float64]:
    axis = np.arange(TILE_PX) - TILE_PX // 2
    return np.asarray(np.hypot(axis[:, None], axis[None, :]), np.float64)


def _whiten(spectrum: NDArray[np.float64]) -> NDArray[np.float64]:
    """Divide by the median of the ring of the same frequency, and drop what is outside the periods looked for."""
    frequency = _frequency()
    ring = frequency.astype(int)
    order = np.argsort(ring, axis=None)
    edges = np.searchsorted(ring.ravel()[order], np.arange(ring.max() + 2))
    values = spectrum.ravel()[order]
    medians = np.array([np.median(values[a:b]) for a, b in pairwise(edges)])
    white = spectrum / (medians[ring] + 1e-9)
    white[(frequency < TILE_PX / PERIOD_MAX_PX) | (frequency > TILE_PX / PERIOD_MIN_PX)] = 0
    axis = np.abs(np.arange(TILE_PX) - TILE_PX // 2)
    smaller = np.minimum(axis[:, None], axis[None, :])
    white[smaller < np.maximum(2.0, frequency * math.sin(math.radians(AXIS_DEG)))] = 0
    return np.asarray(white, np.float64)


def _strongest(white: NDArray[np.float64]) -> tuple[int, int] | None:
    """Return the strongest peak as (down, across) from the middle, or None where it does not stand out."""
    row, column = np.unravel_index(int(np.argmax(white)), white.shape)
    if white[row, column] < PEAK_RATIO_MIN:
        return None
    return int(row) - TILE_PX // 2, int(column) - TILE_PX // 2


def _at_right_angle(white: NDArray[np.float64], peak: tuple[int, int]) -> tuple[int, int] | None:
    """Return the strongest peak of the same frequency at a right angle to another, or None."""
    axis = np.arange(TILE_PX) - TILE_PX // 2
    down, across = axis[:, None] + 0.0 * axis[None, :], axis[None, :] + 0.0 * axis[:, None]
    frequency = np.hypot(down, across) + 1e-9
    cosine = np.abs(down * peak[0] + across * peak[1]) / (frequency * math.hypot(*peak))
    square = cosine <= math.sin(math.radians(ANGLE_TOLERANCE_DEG))
    alike = np.abs(frequency / math.hypot(*peak) - 1) <= FREQUENCY_TOLERANCE
    return _strongest(np.where(square & alike, white, 0))


def _near(white: NDArray[np.float64], peak: tuple[int, int]) -> float:
    """Return the highest value within one step of a place."""
    row, column = peak[0] + TILE_PX // 2, peak[1] + TILE_PX // 2
    return float(white[max(row - 1, 0) : row + 2, max(column - 1, 0) : column + 2].max())
