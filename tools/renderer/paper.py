"""A card or paper label lying or pasted on wood: bent, browned at the edges, foxed, with a printed border."""

from __future__ import annotations

import math

import cv2
import numpy as np

from tools.renderer.light import Surface
from tools.renderer.noise import Rng, blur, fractal, smoothstep, value_noise
from tools.renderer.screens import SheetShadow
from tools.renderer.spec import Floats
from tools.renderer.wood import linear

PAPERS = {
    "cream": (222, 209, 180),
    "white": (226, 222, 211),
    "buff": (200, 174, 132),
    "blue-gray": (172, 180, 178),
    "brown": (176, 140, 92),
}
"""sRGB colors of papers, set by eye."""


def lay_paper(
    ground: Surface,
    box: tuple[float, float, float, float],
    material: str,
    torn: float,
    wear: float,
    *,
    rng: Rng,
) -> None:
    """Lay a sheet with the upright box (left, top, right, bottom, canvas pixels) on the ground, in place.

    `torn` 0 is a cut edge, 1 a ragged one. `wear` browns and foxes it. The sheet throws a narrow shadow.
    """
    shape, unit = ground.shape, ground.unit
    edge = _inside_box(shape, box, rng)
    edge += np.float32(torn * 0.5 * unit) * fractal(shape, 14 * unit, 6, rng, 0.55)
    sheet = smoothstep(-0.7 * ground.scale, 0.7 * ground.scale, edge)
    ground.screens.append(SheetShadow(sheet, ground.unit))
    color = _paper_color(shape, unit, material, wear, edge=edge, rng=rng)
    ground.albedo += sheet[..., None] * (color - ground.albedo)
    ground.gloss *= 1 - 0.9 * sheet
    ground.metal *= 1 - sheet
    ground.height += sheet * (_bend(shape, box, unit, torn, rng) - ground.height)


def _inside_box(shape: tuple[int, int], box: tuple[float, float, float, float], rng: Rng) -> Floats:
    """Return the distance to the box's edge in pixels, positive inside; the box is turned a little."""
    left, top, right, bottom = box
    angle = math.radians(float(rng.normal(0, 0.6)))
    x = np.arange(shape[1], dtype=np.float32)[None, :] - (left + right) / 2
    y = np.arange(shape[0], dtype=np.float32)[:, None] - (top + bottom) / 2
    along, down = x * math.cos(angle) + y * math.sin(angle), y * math.cos(angle) - x * math.sin(angle)
    return np.minimum((right - left) / 2 - np.abs(along), (bottom - top) / 2 - np.abs(down)).astype(np.float32)


def _paper_color(shape: tuple[int, int], unit: float, material: str, wear: float, *, edge: Floats, rng: Rng) -> Floats:
    """Return the sheet's linear color: mottled, brown toward the edge, with foxing and a tide line."""
    color = linear(PAPERS[material]) * (1 + 0.035 * fractal(shape, 30 * unit, 6, rng, 0.7))[..., None]
    rim = np.exp(-np.maximum(edge, 0) / np.float32(5 * unit)) * np.float32(0.3 + 0.5 * wear)
    spots = smoothstep(2.0 - 0.6 * wear, 3.1, fractal(shape, 3.2 * unit, 3, rng, 0.6)) * np.float32(0.75)
    cloud = smoothstep(0.4, 2.5, fractal(shape, 55 * unit, 4, rng)) * np.float32(wear)
    tide = np.exp(-(((fractal(shape, 60 * unit, 4, rng) - 1.0) / 0.035) ** 2)) * np.float32(0.35 * wear)
    brown = np.clip(np.maximum(np.maximum(rim, spots), cloud * 0.7 + tide), 0, 1)[..., None]
    return np.asarray(color * (1 - brown + brown * linear((186, 138, 84)) / linear((235, 225, 205))), np.float32)


def _bend(shape: tuple[int, int], box: tuple[float, float, float, float], unit: float, torn: float, rng: Rng) -> Floats:
    """Return the sheet's height in pixels: bowed if loose, wrinkled if pasted, fibrous."""
    x = (np.arange(shape[1], dtype=np.float32)[None, :] - (box[0] + box[2]) / 2) / (box[2] - box[0])
    y = (np.arange(shape[0], dtype=np.float32)[:, None] - (box[1] + box[3]) / 2) / (box[3] - box[1])
    turn = float(rng.uniform(-0.5, 0.5))
    bow = np.square(x + turn * y) * np.float32((1 - torn) * rng.uniform(0.02, 0.07) * (box[2] - box[0]))
    wrinkle = np.abs(fractal(shape, 45 * unit, 3, rng)) * np.float32(-0.10 * unit * (0.25 + torn))
    fiber = value_noise(shape, (0.18 * unit, 0.22 * unit), rng) * np.float32(min(0.003 * unit, 0.035))
    return np.asarray(bow + wrinkle + fiber + np.float32(0.3 * unit), np.float32)


def rule_lines(ground: Surface, box: tuple[float, float, float, float], style: str) -> None:
    """Print a border inside the box: 'double', 'single', 'ruled' (writing lines) or '' for none."""
    if not style:
        return
    cover = np.zeros(ground.shape, np.float32)
    thick = max(1, round(0.22 * ground.unit))
    left, top, right, bottom = (round(v) for v in box)
    inset = round(2.2 * ground.unit)
    if style == "ruled":
        for y in range(top + 4 * inset, bottom - inset, max(4, round(8 * ground.unit))):
            cv2.line(cover, (left + inset, y), (right - inset, y), 0.45, max(1, thick // 2), cv2.LINE_AA)
    else:
        cv2.rectangle(cover, (left + inset, top + inset), (right - inset, bottom - inset), 0.85, thick * 2, cv2.LINE_AA)
    if style == "double":
        more = round(1.6 * inset)
        cv2.rectangle(cover, (left + more, top + more), (right - more, bottom - more), 0.8, thick, cv2.LINE_AA)
    ground.albedo *= 1 - 0.9 * blur(cover, 0.5)[..., None]
