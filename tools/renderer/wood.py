"""Wood: growth rings, fibers, pores and age, as height, color and gloss.

Rings are a run of widths looked up by the distance from the pith, which makes straight lines on a quarter-sawn board
and arches on a flat-sawn one; the grain's coordinates are bent by slow noise so that every fiber follows the rings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np

from tools.renderer.light import Surface
from tools.renderer.noise import Rng, blur, fractal, smoothstep, streaks, value_noise
from tools.renderer.spec import Floats

LUT_PER_MM = 24
"""Ring table entries to a millimeter."""
TILE = 1024
"""Edge of the wrapping fiber texture in pixels."""


@dataclass(frozen=True)
class Wood:
    """One kind of board. Colors are sRGB 0 to 255; `ring_mm` the mean ring; `arch` 0 quarter-sawn, 1 flat-sawn.

    `soft` is how far fibers tear and lift under a punch, 1 for softwood.
    """

    early: tuple[int, int, int]
    late: tuple[int, int, int]
    ring_mm: float
    arch: float
    fiber: float
    pores: float
    rough: float
    gloss: float
    age: float
    soft: float = 1.0


WOODS = {
    "spruce": Wood((198, 164, 118), (150, 106, 66), 1.5, 0.0, 0.9, 0.0, 0.5, 0.05, 0.5),
    "spruce-varnished": Wood((184, 136, 80), (130, 84, 42), 1.6, 0.0, 0.7, 0.0, 0.3, 0.25, 0.5),
    "pine": Wood((186, 146, 102), (130, 86, 50), 3.6, 0.7, 1.0, 0.0, 0.8, 0.05, 0.7),
    "maple": Wood((178, 144, 108), (152, 114, 80), 3.0, 0.3, 0.6, 0.5, 0.4, 0.08, 0.6),
    "beech": Wood((176, 124, 80), (150, 96, 58), 3.2, 0.4, 0.6, 0.8, 0.4, 0.07, 0.6),
    "dark-pine": Wood((92, 68, 48), (58, 41, 29), 3.4, 0.6, 1.2, 0.1, 1.1, 0.03, 1.0),
    "dark-oak": Wood((82, 61, 44), (52, 37, 27), 2.6, 0.2, 1.0, 1.6, 1.0, 0.04, 1.0),
    "old-pine": Wood((112, 84, 60), (72, 51, 36), 3.4, 0.6, 1.3, 0.1, 1.1, 0.03, 0.45),
    "sooted-pine": Wood((70, 54, 42), (46, 35, 27), 3.8, 0.5, 1.3, 0.1, 1.1, 0.03, 0.6),
    "old-oak": Wood((96, 70, 48), (60, 42, 29), 2.6, 0.2, 1.1, 1.6, 1.0, 0.04, 0.45, 0.4),
    "walnut-varnished": Wood((104, 60, 32), (62, 32, 17), 3.4, 0.8, 0.6, 1.0, 0.25, 0.4, 0.6),
    "oak": Wood((160, 118, 72), (122, 82, 46), 2.4, 0.15, 0.8, 1.7, 0.7, 0.06, 0.7, 0.4),
    "walnut": Wood((112, 76, 50), (78, 50, 32), 3.0, 0.5, 0.7, 1.2, 0.5, 0.07, 0.7, 0.4),
    "birch": Wood((196, 158, 112), (172, 130, 86), 3.4, 0.4, 0.5, 0.5, 0.35, 0.08, 0.7, 0.4),
    "rosewood": Wood((86, 40, 24), (38, 18, 14), 2.4, 0.9, 0.5, 1.0, 0.2, 0.45, 0.5),
}
"""Boards found in old instruments (common practice); colors set by eye."""


def linear(color: tuple[int, int, int] | tuple[float, float, float]) -> Floats:
    """Return linear light 0 to 1 for an sRGB color 0 to 255 (IEC 61966-2-1)."""
    share = np.array(color, np.float32) / 255
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4).astype(np.float32)


def make_wood(
    shape: tuple[int, int], unit: float, scale: float, material: str, grain_deg: float, *, clouds: float, rng: Rng
) -> Surface:
    """Return a board. `unit` is pixels to a millimeter, `grain_deg` the fibers' direction.

    `clouds` is how blotchy age lies, 1 as usual. Raises KeyError.
    """
    wood = WOODS[material]
    wood = replace(wood, age=wood.age * clouds)
    u, v = _grain_place(shape, unit, grain_deg, rng)
    ring = _rings(u, v, unit, wood, rng)
    fine, coarse = _fibers(u, v, unit, rng)
    pores = _pores(u, v, unit, rng) * np.float32(wood.pores) if wood.pores > 0 else np.zeros(shape, np.float32)
    age = fractal(shape, 60 * unit, 5, rng, 0.6)
    shade = (
        1 + np.float32(0.07 * wood.fiber) * fine + np.float32(0.05 * wood.fiber) * coarse - 0.4 * np.minimum(pores, 1)
    )
    shade *= 1 + np.float32(0.13 * wood.age) * age
    shade *= _grime(u, v, unit, np.float32(wood.age), rng)
    mix = np.clip(ring * 0.85 + 0.06 * coarse, 0, 1)
    early, late = linear(wood.early), linear(wood.late)
    albedo = (early + mix[..., None] * (late - early)) * np.clip(shade, 0.15, 1.6)[..., None]
    height = _height(shape, unit, wood, ring, fine, coarse=coarse, rng=rng) - pores * np.float32(0.05 * unit)
    gloss = np.float32(wood.gloss) * np.clip(1 + 0.25 * age - 0.5 * pores, 0, 2)
    zero = np.zeros(shape, np.float32)
    metal = np.full(shape, 0.15, np.float32)
    shininess = 40.0 if wood.gloss > 0.2 else 9.0
    return Surface(
        height, albedo.astype(np.float32), gloss.astype(np.float32), metal, zero, unit, scale, shininess, wood.soft
    )


def _grain_place(shape: tuple[int, int], unit: float, grain_deg: float, rng: Rng) -> tuple[Floats, Floats]:
    """Return places along and across the grain in pixels, the grain wavering slowly."""
    angle = math.radians(grain_deg)
    x = np.arange(shape[1], dtype=np.float32)[None, :]
    y = np.arange(shape[0], dtype=np.float32)[:, None]
    along = x * math.cos(angle) + y * math.sin(angle)
    across = y * math.cos(angle) - x * math.sin(angle)
    bend = (
        value_noise(shape, (90 * unit, 160 * unit), rng) * 2.2 + value_noise(shape, (25 * unit, 50 * unit), rng) * 0.35
    )
    return along.astype(np.float32), (across + bend * np.float32(unit)).astype(np.float32)


def _rings(u: Floats, v: Floats, unit: float, wood: Wood, rng: Rng) -> Floats:
    """Return late wood, 0 (soft, pale) to 1 (hard, dark): slow rise and sharp fall in every ring."""
    place = v / np.float32(unit)
    if wood.arch > 0:
        middle = float(rng.uniform(0.2, 0.8)) * float(place.max() - place.min()) + float(place.min())
        tilt = float(rng.uniform(0.06, 0.16)) * (1 if rng.random() < 0.5 else -1)
        depth = float(rng.uniform(20, 60)) * (1.3 - wood.arch) + u * np.float32(tilt / unit)
        place = np.sqrt((place - middle) ** 2 + depth * depth)
    place -= float(place.min())
    count = int(float(place.max()) / wood.ring_mm * 2) + 12
    widths = wood.ring_mm * np.exp(rng.normal(0, 0.28, count) + np.cumsum(rng.normal(0, 0.05, count)).clip(-0.4, 0.4))
    edges = np.r_[0, np.cumsum(widths)]
    at = np.arange(int((float(place.max()) + 2) * LUT_PER_MM)) / LUT_PER_MM
    index = np.clip(np.searchsorted(edges, at, side="right") - 1, 0, count - 1)
    phase = (at - edges[index]) / widths[index]
    strength = rng.uniform(0.45, 1.0, count)[index]
    table = np.clip((phase - 0.35) / 0.55, 0, 1) ** 1.8 * (1 - np.clip((phase - 0.93) / 0.07, 0, 1)) * strength
    table = cv2.GaussianBlur(table.astype(np.float32)[None], (0, 0), max(0.8, 0.5 * LUT_PER_MM / unit))[0]
    return np.asarray(table[(place * LUT_PER_MM).astype(np.int32)], np.float32)


def _fibers(u: Floats, v: Floats, unit: float, rng: Rng) -> tuple[Floats, Floats]:
    """Return a fine and a coarse run of streaks that follow the grain."""
    texture = streaks(TILE, rng, 46)
    size = np.float32(max(0.12 * unit, 0.8))
    fine = cv2.remap(texture, np.mod(u / (size * 3), TILE - 1), np.mod(v / size, TILE - 1), cv2.INTER_LINEAR)
    second = np.float32(max(0.5 * unit, 2.6))
    coarse = cv2.remap(
        texture, np.mod(u / (second * 4), TILE - 1), np.mod(v / second + 311, TILE - 1), cv2.INTER_LINEAR
    )
    return np.asarray(fine, np.float32), np.asarray(coarse, np.float32)


def _pores(u: Floats, v: Floats, unit: float, rng: Rng) -> Floats:
    """Return short dark vessel lines, 0 to about 1."""
    texture = streaks(TILE, rng, 22)
    size = np.float32(max(0.16 * unit, 1.0))
    found = cv2.remap(texture, np.mod(u / (size * 1.6), TILE - 1), np.mod(v / size, TILE - 1), cv2.INTER_LINEAR)
    return smoothstep(1.5, 2.4, np.asarray(found, np.float32))


def _grime(u: Floats, v: Floats, unit: float, age: np.float32, rng: Rng) -> Floats:
    """Return what a century of hands and soot takes: broad streaks along the grain, blotches, fly specks."""
    texture = streaks(TILE, rng, 30)
    wide = np.float32(1.9 * unit)
    streak = cv2.remap(texture, np.mod(u / (wide * 5), TILE - 1), np.mod(v / wide, TILE - 1), cv2.INTER_LINEAR)
    blotch = smoothstep(0.2, 2.4, fractal(u.shape, 48 * unit, 6, rng, 0.68))
    specks = smoothstep(2.9, 3.5, value_noise(u.shape, (0.5 * unit, 0.6 * unit), rng))
    dark = 0.07 * streak + 0.32 * blotch + 0.35 * specks
    return np.asarray(np.clip(1 - age * dark, 0.25, 1.25), np.float32)


def _height(
    shape: tuple[int, int], unit: float, wood: Wood, ring: Floats, fine: Floats, *, coarse: Floats, rng: Rng
) -> Floats:
    """Return the board's relief in pixels: proud late wood, fibers, plane marks, dents."""
    relief = 0.032 * ring + 0.009 * fine + 0.02 * coarse
    waves = fractal(shape, 35 * unit, 3, rng) * 0.12
    knocks = value_noise(shape, (2.6 * unit, 5.5 * unit), rng) + 0.7 * fractal(shape, 30 * unit, 4, rng)
    dents = smoothstep(2.7, 4.6, knocks) * 0.20
    grit = blur(rng.standard_normal(shape, dtype=np.float32), 0.7) * np.float32(0.05 / max(unit, 1))
    return np.asarray((wood.rough * relief + waves - dents + grit) * np.float32(unit), np.float32)
