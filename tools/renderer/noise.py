"""Random fields: the raw stuff of grain, roughness, stains and dust. All float32, zero mean, about unit deviation.

Octave sums of smoothly enlarged white noise (value noise; Perlin, "An image synthesizer", SIGGRAPH 1985).
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.renderer.spec import Floats

Rng = np.random.Generator

REDUCED = 4
"""Octaves whose blobs are wide are summed on a copy reduced so many times, which saves a third of the time."""


def value_noise(shape: tuple[int, int], cell_yx: tuple[float, float], rng: Rng) -> Floats:
    """Return an (H, W) field whose blobs are about `cell_yx` pixels high and wide."""
    height, width = shape
    rows = max(2, math.ceil(height / max(cell_yx[0], 1.0)) + 1)
    columns = max(2, math.ceil(width / max(cell_yx[1], 1.0)) + 1)
    coarse = rng.standard_normal((rows, columns), dtype=np.float32)
    if (rows, columns) == shape:
        return coarse
    return np.asarray(cv2.resize(coarse, (width, height), interpolation=cv2.INTER_CUBIC), np.float32) * np.float32(1.35)


def fractal(shape: tuple[int, int], cell_px: float, octaves: int, rng: Rng, persistence: float = 0.5) -> Floats:
    """Return an octave sum starting at blobs of `cell_px`, each octave half as wide, `persistence` times as strong."""
    small = (math.ceil(shape[0] / REDUCED), math.ceil(shape[1] / REDUCED))
    coarse, total = np.zeros(small, np.float32), np.zeros(shape, np.float32)
    weight, power = 1.0, 0.0
    for octave in range(octaves):
        cell = cell_px / 2**octave
        if cell < 0.9:
            break
        if cell >= 3 * REDUCED:
            coarse += np.float32(weight) * value_noise(small, (cell / REDUCED, cell / REDUCED), rng)
        else:
            total += np.float32(weight) * value_noise(shape, (cell, cell), rng)
        power += weight**2
        weight *= persistence
    total += cv2.resize(coarse, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return total / np.float32(math.sqrt(max(power, 1e-9)))


def streaks(size: int, rng: Rng, length: float) -> Floats:
    """Return a (size, size) texture of streaks along x, `length` times longer than thick, that wraps around."""
    noise = rng.standard_normal((size, size), dtype=np.float32)
    kernel = cv2.getGaussianKernel(int(length * 3) | 1, length / 2)
    wrapped = np.hstack([noise[:, -kernel.size :], noise, noise[:, : kernel.size]])
    long = cv2.sepFilter2D(wrapped, cv2.CV_32F, kernel, np.ones(1))[:, kernel.size : -kernel.size]
    return np.asarray((long - long.mean()) / (long.std() + 1e-9), np.float32)


def smoothstep(low: float, high: float, values: NDArray[np.floating]) -> Floats:
    """Return 0 below `low`, 1 above `high`, a smooth step between (Hermite cubic)."""
    share = np.clip((values - np.float32(low)) / np.float32(high - low), 0, 1)
    return np.asarray(share * share * (3 - 2 * share), np.float32)


def blur(values: NDArray[np.floating], sigma_px: float) -> Floats:
    """Gaussian blur; wide ones are done on a reduced copy to save time."""
    if sigma_px < 0.3:
        return np.asarray(values, np.float32)
    if sigma_px < 6:
        return np.asarray(cv2.GaussianBlur(values, (0, 0), sigma_px), np.float32)
    factor = min(sigma_px / 3, 16.0)
    height, width = values.shape[:2]
    size = (max(1, round(width / factor)), max(1, round(height / factor)))
    small = cv2.GaussianBlur(cv2.resize(values, size, interpolation=cv2.INTER_AREA), (0, 0), sigma_px / factor)
    return np.asarray(cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC), np.float32)
