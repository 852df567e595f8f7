"""Bare boards, plates and papers as maps for the path tracer: relief for the mesh, skin for bumps, color, roughness.

Wood is cut from a solid: growth rings are cylinders around a pith that lies below the board at a slight slant, so that
the cut shows straight lines or arches as it falls. All lengths are millimeters, all colors linear. The noise is that of
tools.renderer.noise; colors of woods, paints and papers are shared with the fast renderer, everything else is not.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.renderer.iron import PAINTS
from tools.renderer.noise import Rng, blur, fractal, smoothstep, value_noise
from tools.renderer.paper import PAPERS
from tools.renderer.spec import Floats
from tools.renderer.wood import WOODS, Wood, linear

Shape = tuple[int, int]
Field = NDArray[np.floating]

PLAIN_PAINTS = ("black-iron", "green-paint", "red-brown-paint")
"""Paints of tools.renderer.iron that hold no bronze powder."""


@dataclass
class Ground:
    """Maps of one surface on the canvas, (H, W) float32 each, row 0 at the top; `unit` is canvas pixels to a mm.

    `relief` (mm) becomes true geometry, `skin` (mm) only bends the normals, `albedo` (H, W, 3) is linear 0 to 1,
    `rough` and `metal` are 0 to 1.
    """

    relief: Floats
    skin: Floats
    albedo: Floats
    rough: Floats
    metal: Floats
    unit: float

    @property
    def shape(self) -> Shape:
        """Rows and columns."""
        return int(self.relief.shape[0]), int(self.relief.shape[1])


def make_wood(shape: Shape, unit: float, material: str, grain_deg: float, rng: Rng) -> Ground:
    """Return a board of a kind in tools.renderer.wood.WOODS; KeyError for another."""
    wood = WOODS[material]
    along, across = _grain_axes(shape, unit, grain_deg)
    across = across + 0.9 * fractal(shape, 130 * unit, 2, rng, 0.3)
    ring = _rings(along, across, wood, rng)
    fiber = _drawn_out(along, across, (0.13, 9.0), unit, rng)
    strand = _drawn_out(along, across, (0.7, 60.0), unit, rng)
    pores = smoothstep(1.35, 2.1, _drawn_out(along, across, (0.16, 1.6), unit, rng)) * np.float32(min(wood.pores, 1.0))
    tone = np.clip(0.62 * ring + 0.13 * fiber * wood.fiber + 0.12 * strand + 0.06, 0, 1.15)
    albedo = linear(wood.early) + tone[..., None] * (linear(wood.late) - linear(wood.early))
    albedo *= (1 + 0.07 * wood.fiber * fiber)[..., None] * (1 - 0.55 * pores)[..., None]
    albedo *= _years(shape, unit, wood.age, rng)[..., None]
    skin = wood.rough * (0.014 * ring + 0.008 * fiber + 0.006 * strand) - 0.04 * pores
    planed = 0.05 * np.sin(along * np.float32(0.35) + fractal(shape, 90 * unit, 2, rng))
    relief = planed * wood.rough + 0.12 * fractal(shape, 60 * unit, 3, rng) + _dents(shape, unit, rng)
    rough = np.clip(0.78 - 0.9 * wood.gloss + 0.10 * pores + 0.05 * fractal(shape, 20 * unit, 4, rng), 0.16, 0.95)
    zero = np.zeros(shape, np.float32)
    return _ground(relief, skin, np.clip(albedo, 0.003, 0.9), rough, metal=zero, unit=unit)


def _ground(relief: Field, skin: Field, albedo: Field, rough: Field, *, metal: Field, unit: float) -> Ground:
    """Return the maps as float32."""
    maps = [np.asarray(values, np.float32) for values in (relief, skin, albedo, rough, metal)]
    return Ground(maps[0], maps[1], maps[2], maps[3], maps[4], unit)


def _grain_axes(shape: Shape, unit: float, grain_deg: float) -> tuple[Floats, Floats]:
    """Return places along and across the fibers in mm from the canvas's middle."""
    x = (np.arange(shape[1], dtype=np.float32)[None, :] - shape[1] / 2) / np.float32(unit)
    y = (np.arange(shape[0], dtype=np.float32)[:, None] - shape[0] / 2) / np.float32(unit)
    angle = math.radians(grain_deg)
    cos, sin = np.float32(math.cos(angle)), np.float32(math.sin(angle))
    return x * cos + y * sin, y * cos - x * sin


def _rings(along: Floats, across: Floats, wood: Wood, rng: Rng) -> Floats:
    """Return 0 in early wood to 1 at the end of late wood, cut through the cylinders of the rings."""
    flat = wood.arch * float(rng.uniform(0.6, 1.2))
    below = 12.0 + 140.0 * (1 - min(flat, 1.0))
    aside = float(rng.uniform(-0.6, 0.6)) * below + (180.0 if flat < 0.25 else 0.0)
    slant = math.tan(math.radians(float(rng.uniform(0.5, 3.5))))
    radius = np.hypot(across - np.float32(aside), np.float32(below) + np.float32(slant) * along)
    low, high = float(radius.min()), float(radius.max())
    widths = wood.ring_mm * np.exp(rng.normal(0, 0.28, math.ceil((high - low) / wood.ring_mm * 1.5) + 8))
    edges = low - 1 + np.cumsum(widths)
    turn = np.interp(radius.ravel(), edges, np.arange(len(edges))).reshape(radius.shape)
    phase = turn - np.floor(turn)
    strength = rng.uniform(0.55, 1.0, len(edges) + 1)[np.floor(turn).astype(int)]
    return np.asarray(smoothstep(0.25, 0.86, phase) * (1 - smoothstep(0.93, 1.0, phase)) * strength, np.float32)


def _drawn_out(along: Floats, across: Floats, cell_mm: tuple[float, float], unit: float, rng: Rng) -> Floats:
    """Return noise whose blobs are `cell_mm` across and along the grain, at least a pixel across."""
    thin, long = max(cell_mm[0], 1.0 / unit), cell_mm[1]
    tile = rng.standard_normal((512, 512), dtype=np.float32)
    columns = np.mod(along / np.float32(long), 512).astype(np.float32)
    rows = np.mod(across / np.float32(thin), 512).astype(np.float32)
    drawn = cv2.remap(tile, columns, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)
    return np.asarray(drawn * np.float32(1.4), np.float32)


def _years(shape: Shape, unit: float, age: float, rng: Rng) -> Floats:
    """Return what hands, soot and light took in a century, as a factor."""
    cloud = fractal(shape, 55 * unit, 5, rng, 0.62)
    spots = smoothstep(2.3, 3.2, fractal(shape, 4 * unit, 4, rng, 0.7))
    return np.asarray(np.clip(1 - age * (0.16 * cloud + 0.3 * spots + 0.1), 0.3, 1.15), np.float32)


def _dents(shape: Shape, unit: float, rng: Rng) -> Floats:
    """Return knocks, up to 0.3 mm deep, in the places where a case is handled."""
    knocks = value_noise(shape, (2.2 * unit, 3 * unit), rng) + 0.8 * fractal(shape, 60 * unit, 3, rng)
    return np.asarray(-0.3 * smoothstep(3.1, 4.8, knocks), np.float32)


def make_iron(shape: Shape, unit: float, material: str, *, cast: bool, wear: float, rng: Rng) -> Ground:
    """Return a painted plate; `cast` leaves the sand's skin, else it is filled and rubbed. KeyError for a material."""
    sand = fractal(shape, 1.7 * unit, 4, rng, 0.65)
    swell = fractal(shape, 30 * unit, 4, rng, 0.55)
    pits = smoothstep(1.9, 2.7, value_noise(shape, (unit, unit), rng))
    rough_cast = 1.0 if cast else 0.22
    relief = rough_cast * (0.10 * swell - 0.22 * pits)
    skin = rough_cast * 0.045 * sand
    tone = fractal(shape, 40 * unit, 6, rng, 0.6)
    albedo = linear(PAINTS[material]) * np.clip(1 + 0.16 * tone, 0.4, 1.6)[..., None]
    knocks = fractal(shape, 8 * unit, 5, rng, 0.7) + 0.8 * value_noise(shape, (60 * unit, 60 * unit), rng)
    chips = smoothstep(3.3 - 1.4 * wear, 3.45 - 1.4 * wear, knocks)
    rust = linear((96, 58, 38)) * np.clip(1 + 0.35 * fractal(shape, 3 * unit, 3, rng), 0.3, 2)[..., None]
    albedo += chips[..., None] * (rust - albedo)
    hollow = np.clip((blur(skin + relief, 1.5 * unit) - skin - relief) * 6, 0, 1)
    grime = np.clip(0.7 * hollow + 0.2 * smoothstep(0.3, 3.0, fractal(shape, 80 * unit, 6, rng, 0.6)), 0, 0.9)
    albedo *= (1 - (0.25 + 0.4 * wear) * grime)[..., None]
    metal = (0.0 if material in PLAIN_PAINTS else 0.72) * (1 - chips) * (1 - 0.6 * grime)
    rough = np.clip(0.47 + 0.015 * tone + 0.4 * chips + 0.3 * grime, 0.2, 0.95)
    relief = relief - 0.06 * chips
    return _ground(relief, skin, np.clip(albedo, 0.003, 0.9), rough, metal=metal, unit=unit)


def make_paper(
    shape: Shape, unit: float, material: str, *, box: tuple[float, float, float, float], wear: float, rng: Rng
) -> Ground:
    """Return a sheet's maps; `box` (left, top, right, bottom, canvas pixels) is where it browns at the edges."""
    x = np.arange(shape[1], dtype=np.float32)[None, :]
    y = np.arange(shape[0], dtype=np.float32)[:, None]
    edge = np.minimum(np.minimum(x - box[0], box[2] - x), np.minimum(y - box[1], box[3] - y)) / np.float32(unit)
    color = linear(PAPERS[material]) * (1 + 0.05 * fractal(shape, 25 * unit, 6, rng, 0.7))[..., None]
    rim = np.exp(-np.maximum(edge, 0) / 6) * np.float32(0.25 + 0.5 * wear)
    fox = smoothstep(2.1 - 0.5 * wear, 3.0, fractal(shape, 2.6 * unit, 3, rng, 0.6)) * np.float32(0.7)
    cloud = smoothstep(0.5, 2.3, fractal(shape, 45 * unit, 4, rng)) * np.float32(0.7 * wear)
    brown = np.clip(np.maximum(np.maximum(rim, fox), cloud), 0, 1)[..., None]
    color = color * (1 - brown + brown * linear((184, 134, 82)) / linear((236, 226, 206)))
    skin = 0.006 * value_noise(shape, (0.2 * unit, 0.25 * unit), rng) + 0.01 * fractal(shape, 3 * unit, 3, rng)
    relief = 0.10 * fractal(shape, 40 * unit, 2, rng)
    flat = np.zeros(shape, np.float32)
    return _ground(relief, skin, np.clip(color, 0.01, 0.9), flat + 0.85, metal=flat, unit=unit)


def settle_dust(ground: Ground, amount: float, rng: Rng) -> None:
    """Lay dust in hollows and over all, in place: dull gray, it fills fine skin. `amount` 0 to 1."""
    shape, unit = ground.shape, ground.unit
    shape_mm = ground.relief + ground.skin
    hollow = np.clip((blur(shape_mm, 1.2 * unit) - shape_mm) * 4, 0, 1)
    drift = fractal(shape, 50 * unit, 5, rng, 0.6)
    crumbs = smoothstep(2.0, 2.8, value_noise(shape, (max(0.35 * unit, 1.2), max(0.4 * unit, 1.2)), rng))
    cover = np.clip(amount * (0.36 + 0.08 * drift + 0.6 * hollow + 0.6 * crumbs), 0, 0.92)
    ground.albedo += cover[..., None] * (linear((150, 142, 130)) - ground.albedo)
    ground.rough += cover * (np.float32(0.95) - ground.rough)
    ground.metal *= 1 - cover
    ground.skin += 0.05 * crumbs * np.float32(amount)


def stain(ground: Ground, amount: float, rng: Rng) -> None:
    """Add water stains with a dark rim and old drips of glue, in place. `amount` 0 to 1."""
    shape, unit = ground.shape, ground.unit
    pool = fractal(shape, 50 * unit, 4, rng, 0.5)
    inside = smoothstep(1.0, 1.15, pool)
    rim = np.exp(-np.square((pool - 1.05) / np.float32(0.07)))
    ground.albedo *= (1 - np.float32(0.28 * amount) * inside - np.float32(0.3 * amount) * rim)[..., None]
    glue = smoothstep(2.3, 2.35, fractal(shape, 9 * unit, 3, rng)) * np.float32(amount)
    ground.albedo *= (1 - 0.35 * glue)[..., None] * np.array([1, 0.93, 0.8], np.float32)[None, None] ** glue[..., None]
    ground.rough += glue * (np.float32(0.25) - ground.rough)
    np.clip(ground.albedo, 0.003, 0.9, out=ground.albedo)


def scratch(ground: Ground, amount: float, rng: Rng) -> None:
    """Draw handling scratches, in place: fine grooves, a little paler. `amount` 0 to 1."""
    cover = np.zeros(ground.shape, np.float32)
    for _ in range(round(24 * amount)):
        start = rng.random(2) * [ground.shape[1], ground.shape[0]]
        step = rng.normal(0, 12 * ground.unit, 2)
        bend = rng.normal(0, 0.06, 2) * np.linalg.norm(step)
        t = np.linspace(0, 1, 12)[:, None]
        points = start + step * t + bend * 4 * t * (1 - t)
        cv2.polylines(
            cover, [np.round(points * 16).astype(np.int32)], False, float(rng.uniform(0.3, 1)), 1, cv2.LINE_AA, 4
        )
    ground.skin -= cover * np.float32(0.06)
    ground.albedo *= (1 + 0.3 * cover)[..., None]
