"""Techniques that color a surface: paint, ink, chalk, pencil, pen.

Each is one function that changes the patch of the surface around one character, in place.
"""

from __future__ import annotations

import math

import cv2
import numpy as np

from tools.renderer.light import Surface
from tools.renderer.noise import Rng, blur, smoothstep
from tools.renderer.spec import Floats
from tools.renderer.strokes import Character, Patch
from tools.renderer.stroking import Stroking, cut_noise, paint_over, window


def bridge(patch: Patch, character: Character, s: Stroking) -> Patch:
    """Leave the bars that hold a stencil's islands: a gap down the middle of the character."""
    points = np.vstack([stroke.points for stroke in character.strokes])
    middle = (points.max(0) + points.min(0)) / 2
    angle = math.radians(s.mark.turn_deg)
    x = np.arange(patch.inside.shape[1], dtype=np.float32)[None, :] + patch.x0 - middle[0]
    y = np.arange(patch.inside.shape[0], dtype=np.float32)[:, None] + patch.y0 - middle[1]
    from_bar = np.abs(x * math.cos(angle) + y * math.sin(angle)) - np.float32(0.034 * s.height_px)
    down = y * math.cos(angle) - x * math.sin(angle)
    if character.text == "4":  # only the slanting stroke is cut, or the bar would fall apart
        from_bar = np.maximum(from_bar, down - np.float32(0.1 * s.height_px))
    inside = np.minimum(patch.inside, from_bar)
    return Patch(patch.x0, patch.y0, inside, patch.along, patch.across, patch.half, patch.unevenness)


def stencil(surface: Surface, patch: Patch, s: Stroking, rng: Rng) -> None:
    """Paint dabbed through a stencil: crept edges, brush bloom, chips and rubbing with wear."""
    at = window(surface, patch)
    creep = cut_noise(patch, s.mottle, 1.5)
    edge = np.float32(0.02 * s.height_px)
    cover = smoothstep(-0.8, 0.8, (patch.inside + 0.45 * edge * creep) / np.float32(max(0.6, 0.022 * s.height_px)))
    mist = np.exp(np.minimum(patch.inside, 0) / (3 * edge)) * np.float32(0.14)
    worn = smoothstep(
        2.2 - 2.3 * s.wear,
        2.7 - 2.3 * s.wear,
        cut_noise(patch, s.mottle, 2.2) + 0.35 * rng.standard_normal(cover.shape, dtype=np.float32),
    )
    thin = np.clip(0.93 - 0.3 * s.wear + 0.06 * creep, 0, 1)
    paint_over(surface, at, np.maximum(cover * thin, mist) * (1 - worn), s.color, 0.10)


def brush(surface: Surface, patch: Patch, s: Stroking, rng: Rng) -> None:
    """Paint laid on with a flat brush by hand: bristle tracks, thin where the brush ran dry, fat at the start."""
    at = window(surface, patch)
    pressure = patch.pressure if patch.pressure is not None else np.ones_like(patch.inside)
    place = patch.across / np.maximum(patch.half, 0.8)
    bristles = s.tile[
        (place * 14 + 250).astype(int) % 512,
        (patch.along * np.float32(6.0 / s.height_px) + 60 * patch.unevenness[3]).astype(int) % 512,
    ]
    full = np.clip(1.9 * pressure - 0.35, 0, 1.4) - 0.4 * s.wear
    dry = smoothstep(-0.6, 0.4, full + 0.35 * bristles + 0.15 * cut_noise(patch, s.mottle, 2.0))
    edge = patch.inside + np.float32(0.012 * s.height_px) * (bristles * (1.2 - np.clip(full, 0, 1)))
    cover = smoothstep(-0.8 * surface.scale, 0.8 * surface.scale, edge) * dry
    speck = cut_noise(patch, s.mottle, 2.6) + 0.3 * rng.standard_normal(cover.shape, dtype=np.float32)
    worn = smoothstep(2.2 - 2.0 * s.wear, 2.8 - 2.0 * s.wear, speck)
    cover = cover * (1 - worn) * np.float32(0.97 * s.mark.strength)
    paint_over(surface, at, np.clip(cover, 0, 1), s.color, 0.22)
    surface.height[at] += cover * np.float32(0.12 * surface.scale) * (1 + 0.5 * bristles)


def ink(surface: Surface, patch: Patch, s: Stroking, rng: Rng) -> None:
    """Ink pressed by rubber, type or a numbering machine: squeezed rims, starved patches, fibers that took less."""
    at = window(surface, patch)
    fine = surface.height[at] - blur(surface.height[at], 2 * surface.scale)
    fibers = np.clip(fine / (float(fine.std()) + 1e-6), -2, 2)
    bleed = 0.5 * cut_noise(patch, s.mottle, 3.0) + 0.2 * fibers
    soft = np.float32(max(0.55 * surface.scale, 0.015 * s.height_px))
    # a printed mask is a share of cover already
    cover = (
        smoothstep(-1, 1, (patch.inside + 0.5 * soft * bleed) / soft)
        if s.mark.technique != "print"
        else (patch.inside + 1) / 2
    )
    rim = 0.80 + 0.20 * np.exp(-np.maximum(patch.inside, 0) / np.float32(0.025 * s.height_px))
    if s.mark.technique in ("print", "type"):
        rim = np.ones_like(cover)
    # a press inks evenly, a hand stamp does not
    even = 0.9 if s.mark.technique in ("print", "type") else 0.0
    starved = smoothstep(
        1.5 + even - 1.5 * s.wear, 2.8 + even - 1.5 * s.wear, cut_noise(patch, s.mottle, 1.1) + 0.5 * fibers
    )
    amount = (
        cover
        * rim
        * (1 - 0.8 * starved)
        * np.float32(1 - 0.68 * s.wear)
        * np.clip(1 + 0.06 * patch.unevenness[2], 0, 1.1)
    )
    amount *= np.float32(s.mark.strength)
    surface.albedo[at] *= 1 - np.clip(amount, 0, 0.97)[..., None] * (1 - s.color)
    surface.gloss[at] *= 1 - 0.5 * cover


def chalk(surface: Surface, patch: Patch, s: Stroking, rng: Rng) -> None:
    """Chalk rubbed off on the high fibers of rough wood: streaks along the stroke, lifts, a smear."""
    at = window(surface, patch)
    ground = surface.height[at]
    peaks = ground - blur(ground, 3.5 * surface.scale)
    peaks = np.clip(peaks / (float(peaks.std()) + 1e-6), -2.5, 2.5)
    grip = s.tile[
        (patch.across * np.float32(1.1 / surface.scale) + 200).astype(int) % 512,
        (patch.along * np.float32(0.55 / surface.scale)).astype(int) % 512,
    ]
    crumbs = blur(rng.standard_normal(ground.shape, dtype=np.float32), 0.75 * surface.scale) * 1.9
    inside = patch.inside / np.maximum(patch.half, 1)
    if patch.pressure is not None:
        total = _chalk_by_hand(patch, s, peaks, crumbs, surface.scale)
    else:
        across = np.clip(np.abs(patch.across) / np.maximum(patch.half, 1), 0, 3)
        # a worn stick touches with one side more than with the other
        side = 1 - 0.3 * np.clip(patch.across / np.maximum(patch.half, 1) * np.sign(patch.unevenness[1] + 0.1), -1, 1)
        lift = 0.35 * np.sin(patch.along / np.float32(0.6 * s.height_px) + 3 * patch.unevenness[3])
        pressure = 0.95 * side - 0.6 * across**2 + lift - 1.0 * s.wear + 0.5 * cut_noise(patch, s.mottle, 0.7)
        bite = smoothstep(-0.5, 1.5, pressure + 0.6 * peaks + 0.5 * grip + 0.75 * crumbs - 0.2)
        cover = bite * smoothstep(-0.35, 0.25, inside + 0.12 * crumbs + 0.12 * grip) * np.float32(0.84 - 0.35 * s.wear)
        bloom = blur(cover, 0.05 * s.height_px) * np.float32(0.16 + 0.35 * s.wear)
        total = np.maximum(cover, bloom)
    crumbed = smoothstep(2.3, 2.9, crumbs - 0.9 * np.clip(-inside - 0.3, 0, 4)) * np.float32(0.5)
    total = np.clip(np.maximum(total, crumbed * (inside > -2)), 0, 1) * np.float32(s.mark.strength)
    paint_over(surface, at, total, s.color, 0.0)
    surface.height[at] += total * np.float32(0.25 * surface.scale) * (0.5 + 0.5 * crumbs)


def _chalk_by_hand(patch: Patch, s: Stroking, peaks: Floats, crumbs: Floats, scale: float) -> Floats:
    """Return the cover of chalk where a hand pressed: its worn end leaves tracks, it skips when quick, sleeves rub it.

    The end of the stick has high places that draw lines along the stroke, so what is missing runs with the movement;
    the wood's fibers take what the pressure brings them.
    """
    pressure = patch.pressure if patch.pressure is not None else np.float32(1)
    place = patch.across / np.maximum(patch.half, 0.8)
    # tracks of the stick's end: they keep their place across the stroke and change slowly along it
    tracks = s.tile[
        (place * 9 + 13 * patch.unevenness[1] + 250).astype(int) % 512,
        (patch.along * np.float32(4.0 / s.height_px) + 90 * patch.unevenness[3]).astype(int) % 512,
    ]
    rim = 1 - np.clip(np.abs(place), 0, 1.6) ** 4
    skip = cut_noise(patch, s.mottle, 1.6)
    push = 1.5 * (pressure - 0.62) + 0.55 * rim + 0.42 * tracks + 0.3 * skip - 0.9 * s.wear
    bite = smoothstep(-0.75, 1.05, push + 0.42 * peaks + 0.42 * crumbs)
    edge = patch.inside + np.float32(0.5 * scale) * (crumbs + 0.8 * tracks)
    cover = bite * smoothstep(-0.8 * scale, 0.9 * scale, edge) * np.float32(0.9 - 0.2 * s.wear)
    return np.asarray(np.maximum(_rubbed(cover, s, patch), 0.12 * blur(cover, 0.035 * s.height_px)), np.float32)


def _rubbed(cover: Floats, s: Stroking, patch: Patch) -> Floats:
    """Drag part of the chalk along, as a sleeve does: here it is lost, beside it a veil appears."""
    if s.wear <= 0.1:
        return cover
    size = max(3, int(0.42 * s.height_px * s.wear) | 1)
    kernel = np.zeros((size, size), np.float32)
    turn = 3.0 * float(s.mottle[0, 0])  # one direction for the whole string
    reach = size / 2 * np.array([math.cos(turn), math.sin(turn)])
    ends = [tuple(int(v) for v in np.round(size / 2 + side * reach)) for side in (-1, 1)]
    cv2.line(kernel, ends[0], ends[1], 1.0, 1)
    veil = cv2.filter2D(cover, -1, kernel / max(float(kernel.sum()), 1))
    where = smoothstep(0.9 - 1.6 * s.wear, 2.0 - 1.6 * s.wear, cut_noise(patch, s.mottle, 0.45)) * np.float32(0.75)
    return np.asarray(cover * (1 - 0.8 * where) + 0.8 * where * veil, np.float32)


def pencil(surface: Surface, patch: Patch, s: Stroking, rng: Rng) -> None:
    """Graphite on paper or wood: gray, grainy, with a slight shine; a hand's pressure darkens and dents it."""
    at = window(surface, patch)
    grain = blur(rng.standard_normal(patch.inside.shape, dtype=np.float32), 0.6 * surface.scale)
    if patch.pressure is None:
        cover = smoothstep(-0.8, 0.9, patch.inside / np.float32(surface.scale)) * np.clip(0.62 + 0.5 * grain, 0, 1)
    else:
        ground = surface.height[at]
        peaks = ground - blur(ground, 1.6 * surface.scale)
        peaks = np.clip(peaks / (float(peaks.std()) + 1e-6), -2, 2)
        taken = np.clip(0.42 + 0.5 * patch.pressure + 0.16 * peaks + 0.4 * grain, 0, 1)
        soft = smoothstep(-0.9, 0.9, patch.inside / np.float32(0.9 * surface.scale))
        cover = soft * taken
        surface.height[at] -= soft * patch.pressure * np.float32(0.25 * surface.scale)
    cover *= np.float32(((0.85 if patch.pressure is None else 1.0) - 0.6 * s.wear) * s.mark.strength)
    paint_over(surface, at, np.clip(cover, 0, 1), s.color, 0.12)


def write(surface: Surface, patch: Patch, s: Stroking, rng: Rng) -> None:
    """A steel nib: ink pools at turns and ends, thins in quick strokes, feathers a little."""
    at = window(surface, patch)
    if patch.pressure is None:
        flow = 0.78 + 0.22 * np.sin(patch.along / np.float32(0.45 * s.height_px) + 2 * patch.unevenness[3])
    else:  # a quick stroke leaves little ink, a slow one much
        flow = np.clip(0.45 + 0.5 * patch.pressure + 0.1 * cut_noise(patch, s.mottle, 1.3), 0.25, 1.0)
    feather = 0.3 * cut_noise(patch, s.mottle, 4.0)
    soft = np.float32(max(0.7 * surface.scale, 0.5))
    cover = smoothstep(-1, 1, (patch.inside + (flow - 0.85) * patch.half * 0.8 + feather) / soft)
    pool = 1 - 0.25 * smoothstep(0.2, 1.5, patch.inside / np.maximum(patch.half, 0.8)) * (1 - flow)
    amount = cover * flow * pool * np.float32((0.97 - 0.6 * s.wear) * s.mark.strength)
    surface.albedo[at] *= 1 - np.clip(amount, 0, 0.97)[..., None] * (1 - s.color)
