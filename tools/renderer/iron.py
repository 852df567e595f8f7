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
}
"""sRGB colors of plates, set by eye."""


def make_iron(
    shape: tuple[int, int], unit: float, scale: float, material: str, rough: float, *, wear: float, rng: Rng
) -> Surface:
    """Return a plate. `rough` 1 is raw sand casting, 0.2 filled and rubbed smooth; `wear` 0 to 1 chips and rust."""
    skin = fractal(shape, 2.6 * unit, 4, rng, 0.62) * 0.045 + fractal(shape, 40 * unit, 3, rng) * 0.2
    pits = smoothstep(1.7, 2.8, value_noise(shape, (0.9 * unit, 0.9 * unit), rng)) * 0.16
    bumps = smoothstep(2.1, 3.0, value_noise(shape, (1.5 * unit, 1.5 * unit), rng)) * 0.14
    height = (skin - pits + bumps) * np.float32(rough * unit)
    tone = fractal(shape, 45 * unit, 6, rng, 0.62)
    albedo = linear(PAINTS[material]) * np.clip(1 + 0.13 * tone, 0.4, 1.6)[..., None]
    flakes = blur(rng.standard_normal(shape, dtype=np.float32), 0.6 * scale)
    gloss = np.clip(0.34 + 0.05 * tone + 0.22 * flakes, 0.03, 1.2).astype(np.float32)
    # chips come in clusters, where something knocked or damp sat
    knocked = fractal(shape, 9 * unit, 5, rng, 0.7) + 0.9 * value_noise(shape, (80 * unit, 80 * unit), rng)
    chips = smoothstep(3.5 - 1.6 * wear, 3.7 - 1.6 * wear, knocked)
    rust = linear((84, 56, 40)) * np.clip(1 + 0.3 * value_noise(shape, (unit, unit), rng), 0.3, 2)[..., None]
    albedo += chips[..., None] * (rust * np.float32(0.8) - albedo)
    gloss *= 1 - 0.85 * chips
    height -= chips * np.float32(0.06 * unit)
    grime = smoothstep(0.2, 3.0, fractal(shape, 110 * unit, 7, rng, 0.72)) * np.float32(0.42)
    albedo *= 1 - grime[..., None]
    gloss *= 1 - grime
    zero = np.zeros(shape, np.float32)
    metal = np.full(shape, 0.85, np.float32) * (1 - chips)
    return Surface(height, albedo.astype(np.float32), gloss, metal, zero, zero.copy(), unit, scale, 11.0)
