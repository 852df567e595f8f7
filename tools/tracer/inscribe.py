"""Puts strings on the maps: driven, scratched or cast as true relief, or laid on as paint, ink and chalk.

Figures are the strokes of tools.renderer.alphabet, set by tools.renderer.lettering. The profiles of cuts and castings
and the behavior of chalk, paint and ink are this renderer's own. Every function changes a window of a Ground in place.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tools.renderer.camera import Frame
from tools.renderer.lettering import Shake, place_mask, print_boxes, print_mask, set_string
from tools.renderer.marks import BRIDGED, SHAKES, pick_color
from tools.renderer.noise import Rng, blur, fractal, smoothstep
from tools.renderer.spec import Floats, MarkSpec, SceneSpec
from tools.renderer.strokes import Character, Patch, move_strings, stroke_patch
from tools.tracer.grounds import Ground

BRIDGE_HALF = 0.035
"""Half width of a stencil's bridge over figure height."""


@dataclass(frozen=True)
class Line:
    """One string as set on the canvas: its characters (none if printed from a mask), its quad and theirs."""

    mark: MarkSpec
    characters: tuple[Character, ...]
    quad: Floats
    boxes: tuple[tuple[str, Floats], ...]
    height_px: float
    center_xy: tuple[float, float]


@dataclass(frozen=True)
class Tool:
    """Figure height in pixels and mm, relief in mm, wear 0 to 1, linear color, wrapping noise."""

    height_px: float
    height_mm: float
    depth_mm: float
    wear: float
    color: Floats
    noise: Floats
    strength: float


def set_lines(spec: SceneSpec, frame: Frame, seed: int) -> list[Line]:
    """Set every string of a spec on the canvas; the same seed sets it the same way."""
    lines = []
    for number, mark in enumerate(spec.marks):
        rng = np.random.default_rng([seed, 41, number])
        height_px = mark.height * frame.scale
        center = frame.place(mark.x, mark.y)
        if mark.technique == "print":
            _, quad = place_mask(print_mask(mark.text, height_px), center, mark.turn_deg, frame.shape)
            angle = np.radians(mark.turn_deg)
            turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
            printed = print_boxes(mark.text, height_px)
            boxes = tuple((text, (box @ turn + np.array(center)).astype(np.float32)) for text, box in printed)
            lines.append(Line(mark, (), quad, boxes, height_px, center))
            continue
        still = SHAKES[mark.technique]
        shake = Shake(still.turn_deg * mark.haste, still.shift * mark.haste, still.size)
        set_out = set_string(mark.text, mark.style, height_px, rng, shake, technique=mark.technique)
        characters, quad, own = move_strings(set_out, center, mark.turn_deg)
        boxes = tuple((c.text, box) for c, box in zip(characters, own, strict=True))
        lines.append(Line(mark, tuple(characters), quad, boxes, height_px, center))
    return lines


def depth_mm(spec: SceneSpec, mark: MarkSpec) -> float:
    """Return how far a mark's figures stand out (cast, positive) or go in (cut, negative); 0 for paint and ink."""
    share = {"cast": 0.8, "punch": -0.85, "scratch": -0.3}.get(mark.technique, 0.0)
    return share * spec.relief * mark.height / spec.px_per_mm * mark.strength


def inscribe(ground: Ground, spec: SceneSpec, lines: list[Line], rng: Rng) -> None:
    """Put all strings on the ground; strings of one technique share one tin, pad or stick."""
    noise = fractal((768, 1024), 60, 6, rng, 0.68)
    colors: dict[str, Floats] = {}
    for line in lines:
        mark = line.mark
        color = colors.setdefault(mark.technique, pick_color(mark.technique, rng))
        height_mm = mark.height / spec.px_per_mm
        wear = float(np.clip(spec.wear + 0.25 * (1 - mark.strength), 0, 1))
        tool = Tool(line.height_px, height_mm, abs(depth_mm(spec, mark)), wear, color, noise, mark.strength)
        if mark.technique == "print":
            mask = print_mask(mark.text, line.height_px)
            patch, _ = place_mask(mask, line.center_xy, mark.turn_deg, ground.shape)
            if patch is not None:
                _print(ground, patch, tool, rng)
            continue
        for character in line.characters:
            patch = stroke_patch(character, 0.3 * line.height_px + 3, ground.shape)
            if patch is not None:
                if mark.technique == "stencil" and character.text in BRIDGED:
                    patch = _bridge(patch, character, line)
                HOW[mark.technique](ground, patch, tool, rng)


def _at(patch: Patch) -> tuple[slice, slice]:
    rows, columns = patch.inside.shape
    return slice(patch.y0, patch.y0 + rows), slice(patch.x0, patch.x0 + columns)


def _noise(patch: Patch, tool: Tool, step: float) -> Floats:
    """Return the wrapping noise under a patch, `step` entries to a pixel, elsewhere for every character."""
    jump = round(float(abs(patch.unevenness[3])) * 211)
    rows = ((np.arange(patch.inside.shape[0]) + patch.y0) * step + jump).astype(int) % tool.noise.shape[0]
    columns = ((np.arange(patch.inside.shape[1]) + patch.x0) * step).astype(int) % tool.noise.shape[1]
    return tool.noise[np.ix_(rows, columns)]


def _askew(patch: Patch, amount: float) -> Floats:
    """Return a plane around 1: a punch held askew, a pattern let in unevenly."""
    h, w = patch.inside.shape
    x, y = np.linspace(-1, 1, w, dtype=np.float32)[None, :], np.linspace(-1, 1, h, dtype=np.float32)[:, None]
    return np.asarray(np.clip(1 + amount * (patch.unevenness[0] * x + patch.unevenness[1] * y), 0.2, 1.8), np.float32)


def _cover(ground: Ground, at: tuple[slice, slice], share: Floats, color: Floats, rough: float) -> None:
    ground.albedo[at] += share[..., None] * (color - ground.albedo[at])
    ground.rough[at] += share * (np.float32(rough) - ground.rough[at])
    ground.metal[at] *= 1 - share


def _punch(ground: Ground, patch: Patch, tool: Tool, rng: Rng) -> None:
    """A chisel-edged punch: walls at the tool's angle down to a narrow floor, fibers dragged in, a lip pushed up."""
    at = _at(patch)
    px_per_mm = ground.unit
    torn = 0.06 * tool.height_mm * (0.12 + 0.25 * tool.wear) * _noise(patch, tool, 2.3)
    inside = patch.inside / np.float32(px_per_mm) + torn
    blow = tool.depth_mm * float(np.exp(0.18 * patch.unevenness[2])) * _askew(patch, 0.25)
    wall = np.maximum(patch.half / np.float32(px_per_mm), 0.05) * 0.7
    cut = blow * np.sqrt(smoothstep(-0.05, 1.0, inside / wall))
    lip = 0.05 * blow * np.exp(-np.square((inside + 0.03 * tool.height_mm) / np.float32(0.03 * tool.height_mm)))
    ground.relief[at] += lip * (inside < 0) * (1 + 0.5 * _noise(patch, tool, 1.5)) - cut
    pressed = smoothstep(0, 1, inside / wall)
    ground.skin[at] *= 1 - 0.5 * pressed
    # a century of grime lies in the cut; a late or a worn one is cleaner
    dirt = pressed * np.clip(0.75 + 0.3 * _noise(patch, tool, 2.0), 0, 1) * np.float32(0.62 * (1 - 0.7 * tool.wear))
    ground.albedo[at] *= (1 - dirt)[..., None]
    ground.rough[at] += pressed * (np.float32(0.85) - ground.rough[at])


def _scratch(ground: Ground, patch: Patch, tool: Tool, rng: Rng) -> None:
    """An awl drawn by hand: a V groove, a burr thrown to one side, varnish flaked off beside it."""
    at = _at(patch)
    jag = _noise(patch, tool, 4.5)
    inside = (patch.inside + 0.25 * jag) / np.float32(ground.unit)
    half = np.maximum(patch.half / np.float32(ground.unit), 0.08)
    press = np.clip(
        0.75 + 0.3 * np.sin(patch.along / np.float32(0.37 * tool.height_px) + 2 * patch.unevenness[3]) + 0.2 * jag,
        0.2,
        1.4,
    )
    groove = np.clip(inside / half, 0, 1) * press * np.float32(max(tool.depth_mm, 0.12))
    burr = np.exp(-np.square((inside + 0.12) / np.float32(0.10))) * (patch.across > 0) * press * np.float32(0.07)
    ground.relief[at] += burr - groove
    bare = smoothstep(-0.1, 0.12, inside + 0.25 * np.clip(jag - 0.9, 0, 1)) * np.float32(
        max(0.12, 0.95 - 0.9 * tool.wear)
    )
    raw = tool.color * np.clip(1 + 0.2 * jag, 0.5, 1.4)[..., None]
    _cover(ground, at, np.asarray(bare * np.clip(press, 0, 1), np.float32), raw, 0.8)
    # dirt settles at the bottom of old grooves
    ground.albedo[at] *= (1 - np.float32(0.25 + 0.5 * tool.wear) * smoothstep(0.45, 1, inside / half))[..., None]


def _cast(ground: Ground, patch: Patch, tool: Tool, rng: Rng) -> None:
    """Raised from a pattern: drafted flanks, rounded shoulders, a fillet at the foot, tops rubbed bright."""
    at = _at(patch)
    inside = (patch.inside + 0.6 * _noise(patch, tool, 1.2)) / np.float32(ground.unit)
    half = np.maximum(patch.half / np.float32(ground.unit), 0.2)
    rise = smoothstep(-0.55, 0.75, inside / np.minimum(half, 0.11 * tool.height_mm))
    rise = blur(rise, 0.012 * tool.height_px) * _askew(patch, 0.07) * (1 + 0.04 * _noise(patch, tool, 0.8))
    ground.relief[at] += rise * np.float32(tool.depth_mm)
    top = smoothstep(0.75, 1.0, rise) * np.clip(0.85 + 0.4 * _noise(patch, tool, 1.7), 0, 1)
    gilt = np.asarray(top * np.float32(0.7 * (1 - tool.wear)), np.float32)
    ground.albedo[at] += gilt[..., None] * (tool.color - ground.albedo[at])
    ground.metal[at] += gilt * (np.float32(0.8) - ground.metal[at])
    ground.rough[at] += gilt * (np.float32(0.38) - ground.rough[at])
    foot = np.exp(-np.square((inside + 0.05 * tool.height_mm) / np.float32(0.06 * tool.height_mm))) * (1 - rise)
    ground.albedo[at] *= (1 - np.float32(0.4) * np.clip(foot, 0, 1))[..., None]


def _bridge(patch: Patch, character: Character, line: Line) -> Patch:
    """Leave the stencil's bridges: an upright gap through the middle of a closed figure."""
    points = np.vstack([stroke.points for stroke in character.strokes])
    middle = (points.max(0) + points.min(0)) / 2
    angle = np.radians(line.mark.turn_deg)
    x = np.arange(patch.inside.shape[1], dtype=np.float32)[None, :] + patch.x0 - middle[0]
    y = np.arange(patch.inside.shape[0], dtype=np.float32)[:, None] + patch.y0 - middle[1]
    gap = np.abs(x * np.cos(angle) + y * np.sin(angle)) - np.float32(BRIDGE_HALF * line.height_px)
    if character.text == "4":  # the upright is the bridge; only the slanting stroke is parted
        gap = np.maximum(gap, y * np.cos(angle) - x * np.sin(angle) - np.float32(0.1 * line.height_px))
    inside = np.minimum(patch.inside, gap).astype(np.float32)
    return Patch(patch.x0, patch.y0, inside, patch.along, patch.across, patch.half, patch.unevenness)


def _stencil(ground: Ground, patch: Patch, tool: Tool, rng: Rng) -> None:
    """Paint dabbed through a plate: crept edges, uneven thickness with a slight ridge, flaked with wear."""
    at = _at(patch)
    creep = _noise(patch, tool, 2.1)
    inside = patch.inside + 0.018 * np.float32(tool.height_px) * creep
    cover = smoothstep(-0.7, 0.9, inside / np.float32(max(0.7, 0.02 * tool.height_px)))
    flaked = smoothstep(
        1.9 - 2.0 * tool.wear, 2.3 - 2.0 * tool.wear, _noise(patch, tool, 3.1) + 0.6 * _noise(patch, tool, 0.6)
    )
    cover = np.asarray(cover * (1 - flaked) * np.clip(0.95 - 0.25 * tool.wear + 0.05 * creep, 0, 1), np.float32)
    _cover(ground, at, cover, tool.color, 0.5)
    ground.skin[at] += 0.03 * cover


def _ink(ground: Ground, patch: Patch, tool: Tool, rng: Rng) -> None:
    """A rubber stamp or numbering head: ink soaks along the fibers, stays thin in the middle, misses hollows."""
    at = _at(patch)
    fibers = ground.skin[at] / (float(ground.skin[at].std()) + 1e-6)
    inside = patch.inside + 0.012 * np.float32(tool.height_px) * (_noise(patch, tool, 2.6) + 0.7 * fibers)
    cover = smoothstep(-0.8, 0.8, inside / np.float32(max(0.6, 0.012 * tool.height_px)))
    rim = 0.78 + 0.22 * np.exp(-np.maximum(inside, 0) / np.float32(0.03 * tool.height_px))
    missed = smoothstep(1.6 - 1.5 * tool.wear, 2.6 - 1.2 * tool.wear, _noise(patch, tool, 1.3) - 0.45 * fibers)
    amount = cover * rim * (1 - 0.85 * missed) * np.float32(0.95 - 0.6 * tool.wear) * np.float32(tool.strength)
    ground.albedo[at] *= 1 - np.clip(amount, 0, 0.96)[..., None] * (1 - tool.color)


def _print(ground: Ground, patch: Patch, tool: Tool, rng: Rng) -> None:
    """Type or a press on paper."""
    at = _at(patch)
    amount = (patch.inside + 1) / 2 * np.float32((0.95 - 0.5 * tool.wear) * tool.strength)
    amount = amount * np.clip(0.95 + 0.12 * _noise(patch, tool, 2.0), 0.3, 1)
    ground.albedo[at] *= 1 - np.clip(amount, 0, 0.96)[..., None] * (1 - tool.color)


def _chalk(ground: Ground, patch: Patch, tool: Tool, rng: Rng) -> None:
    """A stick of chalk dragged over rough wood: it bites on the tops of fibers, skips, and leaves powder beside."""
    at = _at(patch)
    skin = ground.skin[at]
    tops = np.clip(skin / (float(skin.std()) + 1e-6), -2.5, 2.5)
    across = np.clip(patch.across / np.maximum(patch.half, 1), -3, 3)
    skip = np.sin(patch.along / np.float32(0.21 * tool.height_px) + 4 * patch.unevenness[0])
    lean = np.float32(0.35 * np.sign(patch.unevenness[1]))
    hand = patch.pressure if patch.pressure is not None else np.ones_like(skin)
    press = (
        0.75 * hand
        - 0.55 * np.square(across - lean * 0.4)
        + 0.18 * skip
        + 0.35 * _noise(patch, tool, 0.9)
        - 0.75 * tool.wear
    )
    crumbs = blur(rng.standard_normal(skin.shape, dtype=np.float32), 0.7) * np.float32(1.6)
    bite = smoothstep(-0.25, 0.9, press + 0.42 * tops + 0.4 * crumbs)
    body = smoothstep(-0.3, 0.25, patch.inside / np.maximum(patch.half, 1) + 0.15 * crumbs)
    share = bite * body * np.float32(0.86 - 0.3 * tool.wear)
    powder = blur(np.asarray(share, np.float32), 0.06 * tool.height_px) * np.float32(0.12 + 0.3 * tool.wear)
    share = np.asarray(np.clip(np.maximum(share, powder), 0, 1) * tool.strength, np.float32)
    _cover(ground, at, share, tool.color, 0.95)
    ground.skin[at] += 0.04 * share


def _write(ground: Ground, patch: Patch, tool: Tool, rng: Rng) -> None:
    """A nib or a pencil: width and darkness follow the hand's speed."""
    at = _at(patch)
    speed = 0.5 + 0.5 * np.sin(patch.along / np.float32(0.5 * tool.height_px) + 3 * patch.unevenness[2])
    inside = patch.inside - 0.3 * speed * patch.half * 0.6 + 0.25 * _noise(patch, tool, 3.3)
    cover = smoothstep(-0.7, 0.8, inside) * (0.95 - 0.25 * speed)
    amount = cover * np.float32((0.97 - 0.6 * tool.wear) * tool.strength)
    ground.albedo[at] *= 1 - np.clip(amount, 0, 0.96)[..., None] * (1 - tool.color)


HOW: dict[str, Callable[[Ground, Patch, Tool, Rng], None]] = {
    "punch": _punch,
    "scratch": _scratch,
    "cast": _cast,
    "stencil": _stencil,
    "brush": _stencil,
    "ink": _ink,
    "numbering": _ink,
    "type": _ink,
    "chalk": _chalk,
    "pencil": _write,
    "write": _write,
}
"""The function of each technique but printing, which has masks instead of strokes."""
