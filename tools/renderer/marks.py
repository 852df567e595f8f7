"""Puts strings on a surface: cut into it, raised from it, or painted, inked, chalked and written on it.

Each technique is one function that changes a patch of the surface around one character, in place.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tools.renderer.lettering import (
    Character,
    Patch,
    Shake,
    move_strings,
    place_mask,
    print_mask,
    set_string,
    stroke_patch,
)
from tools.renderer.light import Surface
from tools.renderer.noise import Rng, blur, fractal, smoothstep, streaks
from tools.renderer.spec import Floats, MarkSpec
from tools.renderer.wood import linear

SHAKES = {
    "punch": Shake(2.2, 0.035, 0.0),
    "scratch": Shake(3.0, 0.05, 0.07),
    "cast": Shake(0.5, 0.008, 0.0),
    "stencil": Shake(0.8, 0.012, 0.0),
    "ink": Shake(0.6, 0.01, 0.0),
    "chalk": Shake(4.0, 0.06, 0.1),
    "pencil": Shake(3.0, 0.05, 0.08),
    "type": Shake(0.6, 0.014, 0.0),
    "write": Shake(2.5, 0.035, 0.06),
    "numbering": Shake(0.7, 0.02, 0.0),
}
"""How far characters stray, by technique; set by eye."""

BRIDGED = set("04689ABDOPQR&")
"""Characters whose insides would fall out of a stencil without a bridge."""


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


def draw_mark(
    surface: Surface,
    mark: MarkSpec,
    center_xy: tuple[float, float],
    depth: float,
    wear: float,
    *,
    color: Floats,
    rng: Rng,
) -> Floats:
    """Put one string on the surface, in place; return its quad (4, 2) on the canvas.

    `depth` is the relief over figure height, `wear` 0 to 1, `color` linear RGB of paint or ink.
    """
    height_px = mark.height * surface.scale
    mottle = fractal((512, 1024), 90, 5, rng, 0.65)
    stroking = Stroking(mark, height_px, depth * height_px * mark.strength, wear, mottle, streaks(512, rng, 30), color)
    if mark.technique == "print":
        patch, quad = place_mask(print_mask(mark.text, height_px), center_xy, mark.turn_deg, surface.shape)
        if patch is not None:
            _ink(surface, patch, stroking, rng)
        return quad
    characters = set_string(mark.text, mark.style, height_px, rng, SHAKES[mark.technique])
    characters, quad = move_strings(characters, center_xy, mark.turn_deg)
    for character in characters:
        _draw_character(surface, character, stroking, rng)
    return quad


def _draw_character(surface: Surface, character: Character, stroking: Stroking, rng: Rng) -> None:
    """Cut or paint one character."""
    patch = stroke_patch(character, 0.22 * stroking.height_px + 3 * surface.scale, surface.shape)
    if patch is None:
        return
    if stroking.mark.technique == "stencil" and character.text in BRIDGED:
        patch = _bridge(patch, character, stroking)
    HOW[stroking.mark.technique](surface, patch, stroking, rng)


def _window(surface: Surface, patch: Patch) -> tuple[slice, slice]:
    return slice(patch.y0, patch.y0 + patch.inside.shape[0]), slice(patch.x0, patch.x0 + patch.inside.shape[1])


def _cut_noise(patch: Patch, field: Floats, step: float = 1.0) -> Floats:
    """Return the part of a wrapping noise field under a patch, `step` entries to a pixel."""
    rows = (np.arange(patch.inside.shape[0]) * step + patch.y0 * step).astype(int) % field.shape[0]
    columns = (np.arange(patch.inside.shape[1]) * step + patch.x0 * step).astype(int) % field.shape[1]
    return field[np.ix_(rows, columns)]


def _lean(patch: Patch, amount: float) -> Floats:
    """Return a plane around 1 across the patch: a punch held askew goes deeper at one side."""
    h, w = patch.inside.shape
    x, y = np.linspace(-1, 1, w, dtype=np.float32)[None, :], np.linspace(-1, 1, h, dtype=np.float32)[:, None]
    return np.asarray(np.clip(1 + amount * (patch.unevenness[0] * x + patch.unevenness[1] * y), 0.15, 1.7), np.float32)


def _paint(surface: Surface, at: tuple[slice, slice], cover: Floats, color: Floats, gloss: float) -> None:
    """Lay an opaque color over a window."""
    surface.albedo[at] += cover[..., None] * (color - surface.albedo[at])
    surface.gloss[at] += cover * (np.float32(gloss) - surface.gloss[at])
    surface.metal[at] *= 1 - cover


def _punch(surface: Surface, patch: Patch, s: Stroking, rng: Rng) -> None:
    """A steel punch driven into wood: sloped walls, uneven depth, torn fibers, a crushed and lifted rim, old grime."""
    at = _window(surface, patch)
    ground = surface.height[at]
    grain = ground - blur(ground, 2.5 * surface.scale)
    tear = np.clip(grain * 3.0, -1, 1) + 0.35 * _cut_noise(patch, s.mottle, 1.7)
    inside = patch.inside + tear * np.float32(0.030 * s.height_px * (0.4 + s.wear))
    wall = np.maximum(patch.half * 0.75, 0.8)
    blow = s.depth_px * float(np.exp(0.16 * patch.unevenness[2])) * _lean(patch, 0.22)
    floor = smoothstep(0, 1, inside / wall) * (1 + 0.10 * _cut_noise(patch, s.mottle, 3.0))
    rim = np.exp(-np.square((np.minimum(inside, 0) + 0.035 * s.height_px) / np.float32(0.04 * s.height_px))) * (
        inside < 0
    )
    cut = floor * blow
    # the fibers are pressed flat in the cut and pushed up beside it
    surface.height[at] = (
        ground
        - cut
        - 0.75 * grain * smoothstep(0, 1, inside / wall)
        + rim * blow * np.float32(0.07) * np.clip(0.8 + _cut_noise(patch, s.mottle, 1.2), 0, 2.2)
    )
    bruise = smoothstep(-0.05 * s.height_px, 0.04 * s.height_px, inside) * np.clip(blow / (0.07 * s.height_px), 0, 1)
    grime = np.clip(smoothstep(-0.3, 1.0, inside) * (0.85 + 0.25 * _cut_noise(patch, s.mottle, 2.0)), 0, 1)
    dark = np.clip(1 - 0.20 * bruise - np.float32(0.62 * max(0.0, 0.95 - s.wear)) * grime * (blow > 0), 0.1, 1)
    surface.albedo[at] *= dark[..., None]
    surface.gloss[at] *= 1 - 0.6 * grime


def _scratch(surface: Surface, patch: Patch, s: Stroking, rng: Rng) -> None:
    """A point drawn by hand through varnish: V grooves with a burr on one side, pale wood where varnish chipped off."""
    at = _window(surface, patch)
    jag = _cut_noise(patch, s.mottle, 4.0)
    along = 0.7 + 0.3 * np.sin(patch.along / np.float32(0.31 * s.height_px) + patch.unevenness[3] * 2)
    inside = patch.inside + np.clip(jag, -1.5, 1.5) * np.float32(0.012 * s.height_px)
    groove = np.clip(inside / np.maximum(patch.half, 0.6), 0, 1)
    pressure = np.clip(along + 0.25 * patch.unevenness[0], 0.25, 1.3)
    burr = np.exp(-np.square((inside + 0.02 * s.height_px) / np.float32(0.018 * s.height_px))) * (patch.across > 0)
    surface.height[at] += (0.45 * burr - groove) * pressure * np.float32(s.depth_px * 0.8)
    chip = smoothstep(-0.2, 1.0, inside + 1.2 * np.clip(jag - 0.8, 0, 2)) * np.clip(pressure, 0, 1)
    raw = s.color * np.clip(1 + 0.15 * jag, 0.5, 1.4)[..., None]
    _paint(surface, at, chip * np.float32(max(0.1, 1.0 - 0.9 * s.wear)), raw, 0.03)
    # dirt gathers at the bottom of the groove
    surface.albedo[at] *= (1 - np.float32(0.35 + 0.4 * s.wear) * smoothstep(0.45, 1, groove))[..., None]


def _cast(surface: Surface, patch: Patch, s: Stroking, rng: Rng) -> None:
    """Raised figures from a wooden pattern: drafted sides, rounded shoulders, the skin of the sand, rubbed tops."""
    at = _window(surface, patch)
    sand = surface.height[at] - blur(surface.height[at], 3 * surface.scale)
    inside = patch.inside + 0.02 * np.float32(s.height_px) * _cut_noise(patch, s.mottle, 0.8) * 0.5
    flank = np.maximum(patch.half * 0.9, 1.0)
    raised = np.sqrt(smoothstep(-0.35, 1.0, inside / flank))
    raised = blur(raised, 0.014 * s.height_px) * (1 + 0.05 * _cut_noise(patch, s.mottle, 1.0))
    surface.height[at] += raised * np.float32(s.depth_px) * _lean(patch, 0.06) - 0.3 * sand * raised
    top = smoothstep(0.7, 1.0, raised) * np.clip(0.8 + 0.5 * _cut_noise(patch, s.mottle, 1.3), 0, 1)
    surface.albedo[at] += (top * np.float32(0.55 * (1 - s.wear)))[..., None] * (s.color - surface.albedo[at])
    surface.gloss[at] += top * np.float32(0.25 * (1 - s.wear))
    foot = np.exp(-np.square((patch.inside + 0.03 * s.height_px) / np.float32(0.05 * s.height_px)))
    surface.albedo[at] *= (1 - np.float32(0.35) * foot * (1 - top))[..., None]


def _bridge(patch: Patch, character: Character, s: Stroking) -> Patch:
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


def _stencil(surface: Surface, patch: Patch, s: Stroking, rng: Rng) -> None:
    """Paint dabbed through a stencil: crept edges, brush bloom, chips and rubbing with wear."""
    at = _window(surface, patch)
    creep = _cut_noise(patch, s.mottle, 1.5)
    edge = np.float32(0.02 * s.height_px)
    cover = smoothstep(-0.8, 0.8, (patch.inside + 0.45 * edge * creep) / np.float32(max(0.6, 0.022 * s.height_px)))
    mist = np.exp(np.minimum(patch.inside, 0) / (3 * edge)) * np.float32(0.14)
    worn = smoothstep(
        2.2 - 2.3 * s.wear,
        2.7 - 2.3 * s.wear,
        _cut_noise(patch, s.mottle, 2.2) + 0.35 * rng.standard_normal(cover.shape, dtype=np.float32),
    )
    thin = np.clip(0.93 - 0.3 * s.wear + 0.06 * creep, 0, 1)
    _paint(surface, at, np.maximum(cover * thin, mist) * (1 - worn), s.color, 0.10)


def _ink(surface: Surface, patch: Patch, s: Stroking, rng: Rng) -> None:
    """Ink pressed by rubber, type or a numbering machine: squeezed rims, starved patches, fibers that took less."""
    at = _window(surface, patch)
    fine = surface.height[at] - blur(surface.height[at], 2 * surface.scale)
    fibers = np.clip(fine / (float(fine.std()) + 1e-6), -2, 2)
    bleed = 0.5 * _cut_noise(patch, s.mottle, 3.0) + 0.2 * fibers
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
        1.5 + even - 1.5 * s.wear, 2.8 + even - 1.5 * s.wear, _cut_noise(patch, s.mottle, 1.1) + 0.5 * fibers
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


def _chalk(surface: Surface, patch: Patch, s: Stroking, rng: Rng) -> None:
    """Chalk rubbed off on the high fibers of rough wood: streaks along the stroke, lifts, a smear."""
    at = _window(surface, patch)
    ground = surface.height[at]
    peaks = ground - blur(ground, 3.5 * surface.scale)
    peaks = np.clip(peaks / (float(peaks.std()) + 1e-6), -2.5, 2.5)
    grip = s.tile[
        (patch.across * np.float32(1.1 / surface.scale) + 200).astype(int) % 512,
        (patch.along * np.float32(0.55 / surface.scale)).astype(int) % 512,
    ]
    crumbs = blur(rng.standard_normal(ground.shape, dtype=np.float32), 0.75 * surface.scale) * 1.9
    across = np.clip(np.abs(patch.across) / np.maximum(patch.half, 1), 0, 3)
    inside = patch.inside / np.maximum(patch.half, 1)
    # a worn stick touches with one side more than with the other
    side = 1 - 0.3 * np.clip(patch.across / np.maximum(patch.half, 1) * np.sign(patch.unevenness[1] + 0.1), -1, 1)
    lift = 0.35 * np.sin(patch.along / np.float32(0.6 * s.height_px) + 3 * patch.unevenness[3])
    pressure = 0.95 * side - 0.6 * across**2 + lift - 1.0 * s.wear + 0.5 * _cut_noise(patch, s.mottle, 0.7)
    bite = smoothstep(-0.5, 1.5, pressure + 0.6 * peaks + 0.5 * grip + 0.75 * crumbs - 0.2)
    cover = bite * smoothstep(-0.35, 0.25, inside + 0.12 * crumbs + 0.12 * grip) * np.float32(0.84 - 0.35 * s.wear)
    bloom = blur(cover, 0.05 * s.height_px) * np.float32(0.16 + 0.35 * s.wear)
    crumbed = smoothstep(2.3, 2.9, crumbs - 0.9 * np.clip(-inside - 0.3, 0, 4)) * np.float32(0.5)
    total = np.clip(np.maximum(np.maximum(cover, bloom), crumbed * (inside > -2)), 0, 1) * np.float32(s.mark.strength)
    _paint(surface, at, total, s.color, 0.0)
    surface.height[at] += total * np.float32(0.25 * surface.scale) * (0.5 + 0.5 * crumbs)


def _pencil(surface: Surface, patch: Patch, s: Stroking, rng: Rng) -> None:
    """Graphite on paper or wood: gray, grainy, with a slight shine."""
    at = _window(surface, patch)
    grain = blur(rng.standard_normal(patch.inside.shape, dtype=np.float32), 0.6 * surface.scale)
    cover = smoothstep(-0.8, 0.9, patch.inside / np.float32(surface.scale)) * np.clip(0.62 + 0.5 * grain, 0, 1)
    cover *= np.float32((0.85 - 0.6 * s.wear) * s.mark.strength)
    _paint(surface, at, cover, s.color, 0.12)


def _write(surface: Surface, patch: Patch, s: Stroking, rng: Rng) -> None:
    """A steel nib: ink pools at turns and ends, thins in quick strokes, feathers a little."""
    at = _window(surface, patch)
    flow = 0.78 + 0.22 * np.sin(patch.along / np.float32(0.45 * s.height_px) + 2 * patch.unevenness[3])
    feather = 0.3 * _cut_noise(patch, s.mottle, 4.0)
    soft = np.float32(max(0.7 * surface.scale, 0.5))
    cover = smoothstep(-1, 1, (patch.inside + (flow - 0.85) * patch.half * 0.8 + feather) / soft)
    pool = 1 - 0.25 * smoothstep(0.2, 1.5, patch.inside / np.maximum(patch.half, 0.8)) * (1 - flow)
    amount = cover * flow * pool * np.float32((0.97 - 0.6 * s.wear) * s.mark.strength)
    surface.albedo[at] *= 1 - np.clip(amount, 0, 0.97)[..., None] * (1 - s.color)


HOW: dict[str, Callable[[Surface, Patch, Stroking, Rng], None]] = {
    "punch": _punch,
    "scratch": _scratch,
    "cast": _cast,
    "stencil": _stencil,
    "ink": _ink,
    "chalk": _chalk,
    "pencil": _pencil,
    "write": _write,
    "type": _ink,
    "numbering": _ink,
    "print": _ink,
}
"""The function of each technique."""

COLORS: dict[str, tuple[tuple[int, int, int], ...]] = {
    "punch": ((0, 0, 0),),
    "scratch": ((206, 164, 108), (186, 140, 88)),
    "cast": ((214, 180, 104), (226, 198, 132), (176, 140, 76)),
    "stencil": ((24, 22, 22), (34, 26, 22), (20, 22, 30)),
    "ink": ((28, 24, 44), (20, 20, 22), (62, 30, 74), (30, 40, 84)),
    "chalk": ((224, 222, 212), (206, 204, 198), (214, 198, 160)),
    "pencil": ((66, 64, 64),),
    "print": ((30, 26, 24), (46, 28, 22)),
    "type": ((34, 32, 40), (40, 34, 60)),
    "write": ((44, 34, 30), (62, 40, 24), (30, 34, 60)),
    "numbering": ((44, 34, 96), (24, 24, 30), (130, 34, 34)),
}
"""sRGB colors of paints, inks and chalks; set by eye. Scratched strokes show bare wood."""


def pick_color(technique: str, rng: Rng) -> Floats:
    """Return the linear color of one tin, pad or stick."""
    choices = COLORS[technique]
    return linear(choices[int(rng.integers(len(choices)))])
