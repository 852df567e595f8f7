"""The cast-iron plate: foundry skin under bronze paint, or smooth gilding, chipped and rusty in places."""

from __future__ import annotations

import numpy as np

from tools.renderer.light import Surface
from tools.renderer.noise import Rng, blur, fractal, smoothstep, value_noise
from tools.renderer.wood import linear

PAINTS = {
    "bronze": (158, 122, 72),
    "old-gold": (170, 142, 86),
    "pale-gilt": (190, 166, 108),
    "brown-bronze": (122, 86, 46),
    "black-iron": (46, 43, 42),
    "green-paint": (46, 62, 46),
    "red-brown-paint": (92, 46, 32),
}
"""sRGB colors of plates, set by eye."""


def make_iron(
    shape: tuple[int, int],
    unit: float,
    scale: float,
    material: str,
    rough: float,
    *,
    wear: float,
    clouds: float,
    rng: Rng,
) -> Surface:
    """Return a plate. `rough` 1 is raw sand casting, 0.2 filled and rubbed smooth; `wear` 0 to 1 chips and rust.

    `clouds` is how blotchy the grime lies, 1 as usual.
    """
    skin = fractal(shape, 2.6 * unit, 4, rng, 0.62) * 0.045 + fractal(shape, 40 * unit, 3, rng) * 0.2
    pits = smoothstep(1.7, 2.8, value_noise(shape, (0.9 * unit, 0.9 * unit), rng)) * 0.16
    bumps = smoothstep(2.1, 3.0, value_noise(shape, (1.5 * unit, 1.5 * unit), rng)) * 0.14
    height = (skin - pits + bumps) * np.float32(rough * unit)
    tone = fractal(shape, 45 * unit, 6, rng, 0.62)
    albedo = linear(PAINTS[material]) * np.clip(1 + 0.13 * clouds * tone, 0.4, 1.6)[..., None]
    flakes = blur(rng.standard_normal(shape, dtype=np.float32), 0.6 * scale)
    gloss = np.clip(0.34 + 0.05 * tone + 0.22 * flakes, 0.03, 1.2).astype(np.float32)
    # chips come in clusters, where something knocked or damp sat
    knocked = fractal(shape, 9 * unit, 5, rng, 0.7) + 0.9 * value_noise(shape, (80 * unit, 80 * unit), rng)
    chips = smoothstep(3.5 - 1.6 * wear, 3.7 - 1.6 * wear, knocked)
    rust = linear((84, 56, 40)) * np.clip(1 + 0.3 * value_noise(shape, (unit, unit), rng), 0.3, 2)[..., None]
    albedo += chips[..., None] * (rust * np.float32(0.8) - albedo)
    gloss *= 1 - 0.85 * chips
    height -= chips * np.float32(0.06 * unit)
    grime = smoothstep(0.2, 3.0, fractal(shape, 110 * unit, 7, rng, 0.72)) * np.float32(0.42 * clouds)
    albedo *= 1 - grime[..., None]
    gloss *= 1 - grime
    zero = np.zeros(shape, np.float32)
    metal = np.full(shape, 0.85, np.float32) * (1 - chips)
    return Surface(height, albedo.astype(np.float32), gloss, metal, zero, unit, scale, 11.0)


def raise_rim(
    surface: Surface,
    box: tuple[float, float, float, float],
    form: str,
    depth_px: float,
    figure_px: float,
    *,
    rng: Rng,
) -> None:
    """Cast a raised border ('box' or 'oval') around a box on the canvas, in place; rubbed bright along its top."""
    left, top, right, bottom = box
    x = np.abs(np.arange(surface.shape[1], dtype=np.float32)[None, :] - (left + right) / 2)
    y = np.abs(np.arange(surface.shape[0], dtype=np.float32)[:, None] - (top + bottom) / 2)
    wide, tall = (right - left) / 2 + 0.75 * figure_px, (bottom - top) / 2 + 0.6 * figure_px
    if form == "oval":  # a box's corners lie on an ellipse of 1.25 times its sides
        wide, tall = wide * 1.25, tall * 1.5
        away = (np.hypot(x / wide, y / tall) - 1) * np.minimum(wide, tall)
    else:
        round_px = 0.5 * figure_px
        dx, dy = x - (wide - round_px), y - (tall - round_px)
        away = np.hypot(np.maximum(dx, 0), np.maximum(dy, 0)) + np.minimum(np.maximum(dx, dy), 0) - round_px
    half = np.float32(0.11 * figure_px)
    uneven = fractal(surface.shape, 0.8 * figure_px, 3, rng) * np.float32(0.015 * figure_px)
    ridge = np.sqrt(smoothstep(-0.3, 1.0, (half - np.abs(away + uneven)) / half))
    surface.height += ridge * np.float32(0.9 * depth_px)
    rubbed = smoothstep(0.7, 1.0, ridge) * np.clip(0.5 + 0.4 * fractal(surface.shape, 0.5 * figure_px, 4, rng), 0, 1)
    surface.albedo += (rubbed * np.float32(0.35))[..., None] * (linear((206, 174, 104)) - surface.albedo)
    surface.gloss += rubbed * np.float32(0.15)
