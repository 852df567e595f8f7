"""What every technique needs to put one character on a surface: the mark, its noise, and small helpers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tools.renderer.light import Surface
from tools.renderer.spec import Floats, MarkSpec
from tools.renderer.strokes import Patch


@dataclass(frozen=True)
class Stroking:
    """What a technique needs besides the patch: the mark, the scene's depth and wear, wide noise, a tile of streaks."""

    mark: MarkSpec
    height_px: float
    depth_px: float
    wear: float
    mottle: Floats
    tile: Floats
    color: Floats


def window(surface: Surface, patch: Patch) -> tuple[slice, slice]:
    """Return where a patch lies on the surface."""
    return slice(patch.y0, patch.y0 + patch.inside.shape[0]), slice(patch.x0, patch.x0 + patch.inside.shape[1])


def cut_noise(patch: Patch, field: Floats, step: float = 1.0) -> Floats:
    """Return the part of a wrapping noise field under a patch, `step` entries to a pixel."""
    rows = (np.arange(patch.inside.shape[0]) * step + patch.y0 * step).astype(int) % field.shape[0]
    columns = (np.arange(patch.inside.shape[1]) * step + patch.x0 * step).astype(int) % field.shape[1]
    return field[np.ix_(rows, columns)]


def lean(patch: Patch, amount: float) -> Floats:
    """Return a plane around 1 across the patch: a punch held askew goes deeper at one side."""
    h, w = patch.inside.shape
    x, y = np.linspace(-1, 1, w, dtype=np.float32)[None, :], np.linspace(-1, 1, h, dtype=np.float32)[:, None]
    return np.asarray(np.clip(1 + amount * (patch.unevenness[0] * x + patch.unevenness[1] * y), 0.15, 1.7), np.float32)


def paint_over(surface: Surface, at: tuple[slice, slice], cover: Floats, color: Floats, gloss: float) -> None:
    """Lay an opaque color over a window."""
    surface.albedo[at] += cover[..., None] * (color - surface.albedo[at])
    surface.gloss[at] += cover * (np.float32(gloss) - surface.gloss[at])
    surface.metal[at] *= 1 - cover
