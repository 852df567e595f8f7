"""Techniques that change a surface's height: punched into it, scratched through varnish, cast with it.

Each is one function that changes the patch of the surface around one character, in place.
"""

from __future__ import annotations

import numpy as np

from tools.renderer.light import Surface
from tools.renderer.noise import Rng, blur, smoothstep
from tools.renderer.strokes import Patch
from tools.renderer.stroking import Stroking, cut_noise, lean, paint_over, window


def punch(surface: Surface, patch: Patch, s: Stroking, rng: Rng) -> None:
    """A steel punch driven into wood: sloped walls, uneven depth, torn fibers, a crushed and lifted rim, old grime."""
    at = window(surface, patch)
    ground = surface.height[at]
    grain = ground - blur(ground, 2.5 * surface.scale)
    tear = np.clip(grain * 3.0, -1, 1) + 0.35 * cut_noise(patch, s.mottle, 1.7)
    inside = patch.inside + tear * np.float32(0.030 * s.height_px * (0.4 + s.wear) * surface.soft)
    wall = np.maximum(patch.half * 0.75, 0.8)
    blow = s.depth_px * float(np.exp(0.16 * s.mark.haste * patch.unevenness[2])) * lean(patch, 0.22)
    floor = smoothstep(0, 1, inside / wall) * (1 + 0.10 * cut_noise(patch, s.mottle, 3.0))
    rim = np.exp(-np.square((np.minimum(inside, 0) + 0.035 * s.height_px) / np.float32(0.04 * s.height_px))) * (
        inside < 0
    )
    cut = floor * blow
    # the fibers are pressed flat in the cut and pushed up beside it
    surface.height[at] = (
        ground
        - cut
        - 0.75 * grain * smoothstep(0, 1, inside / wall)
        + rim
        * blow
        * np.float32(0.07 * (0.4 + 0.6 * surface.soft))
        * np.clip(0.8 + cut_noise(patch, s.mottle, 1.2), 0, 2.2)
    )
    bruise = smoothstep(-0.05 * s.height_px, 0.04 * s.height_px, inside) * np.clip(blow / (0.07 * s.height_px), 0, 1)
    grime = np.clip(smoothstep(-0.3, 1.0, inside) * (0.85 + 0.25 * cut_noise(patch, s.mottle, 2.0)), 0, 1)
    dark = np.clip(1 - 0.20 * bruise - np.float32(0.62 * max(0.0, 0.95 - s.wear)) * grime * (blow > 0), 0.1, 1)
    surface.albedo[at] *= dark[..., None]
    surface.gloss[at] *= 1 - 0.6 * grime


def scratch(surface: Surface, patch: Patch, s: Stroking, rng: Rng) -> None:
    """A point drawn by hand through varnish: V grooves with a burr on one side, pale wood where varnish chipped off."""
    at = window(surface, patch)
    jag = cut_noise(patch, s.mottle, 4.0)
    inside = patch.inside + np.clip(jag, -1.5, 1.5) * np.float32(0.012 * s.height_px if patch.pressure is None else 0.3)
    groove = np.clip(inside / np.maximum(patch.half, 0.6), 0, 1)
    burr = np.exp(-np.square((inside + 0.02 * s.height_px) / np.float32(0.018 * s.height_px))) * (patch.across > 0)
    if patch.pressure is None:
        along = 0.7 + 0.3 * np.sin(patch.along / np.float32(0.31 * s.height_px) + patch.unevenness[3] * 2)
        pressure = np.clip(along + 0.25 * patch.unevenness[0], 0.25, 1.3)
        deep = np.full_like(patch.half, s.depth_px * 0.8)
    else:  # a knife's cut is about as deep as wide
        pressure = patch.pressure * np.clip(1 + 0.3 * cut_noise(patch, s.mottle, 2.5), 0.4, 1.6)
        deep = np.maximum(patch.half, 0.7) * np.float32(0.55 + 6 * s.depth_px / s.height_px)
        burr *= np.clip(0.6 + cut_noise(patch, s.mottle, 3.1), 0, 1.6)
    surface.height[at] += (0.45 * burr - groove) * pressure * deep
    chip = smoothstep(-0.2, 1.0, inside + 1.2 * np.clip(jag - 0.8, 0, 2)) * np.clip(pressure, 0, 1)
    raw = s.color * np.clip(1 + 0.15 * jag, 0.5, 1.4)[..., None]
    paint_over(surface, at, chip * np.float32(max(0.1, 1.0 - 0.9 * s.wear)), raw, 0.03)
    # dirt gathers at the bottom of the groove
    surface.albedo[at] *= (1 - np.float32(0.35 + 0.4 * s.wear) * smoothstep(0.45, 1, groove))[..., None]


def cast(surface: Surface, patch: Patch, s: Stroking, rng: Rng) -> None:
    """Raised figures from a wooden pattern: drafted sides, rounded shoulders, the skin of the sand, rubbed tops."""
    at = window(surface, patch)
    sand = surface.height[at] - blur(surface.height[at], 3 * surface.scale)
    inside = patch.inside + 0.02 * np.float32(s.height_px) * cut_noise(patch, s.mottle, 0.8) * 0.5
    flank = np.maximum(patch.half * 0.9, 1.0)
    raised = np.sqrt(smoothstep(-0.35, 1.0, inside / flank))
    raised = blur(raised, 0.014 * s.height_px) * (1 + 0.05 * cut_noise(patch, s.mottle, 1.0))
    surface.height[at] += raised * np.float32(s.depth_px) * lean(patch, 0.06) - 0.3 * sand * raised
    top = smoothstep(0.7, 1.0, raised) * np.clip(0.8 + 0.5 * cut_noise(patch, s.mottle, 1.3), 0, 1)
    surface.albedo[at] += (top * np.float32(0.55 * (1 - s.wear)))[..., None] * (s.color - surface.albedo[at])
    surface.gloss[at] += top * np.float32(0.25 * (1 - s.wear))
    foot = np.exp(-np.square((patch.inside + 0.03 * s.height_px) / np.float32(0.05 * s.height_px)))
    surface.albedo[at] *= (1 - np.float32(0.35) * foot * (1 - top))[..., None]
