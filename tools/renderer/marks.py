"""Puts strings on a surface: sets a string, turns and moves it, and lets its technique draw each character.

The techniques themselves are in relief_marks.py (punch, scratch, cast) and paint_marks.py (all that colors).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from tools.renderer import paint_marks, relief_marks
from tools.renderer.lettering import Shake, place_mask, print_boxes, print_mask, set_string
from tools.renderer.light import Surface
from tools.renderer.noise import Rng, fractal, streaks
from tools.renderer.spec import Floats, MarkSpec
from tools.renderer.strokes import Character, Patch, move_strings, stroke_patch
from tools.renderer.stroking import Stroking
from tools.renderer.wood import linear

SHAKES = {
    "punch": Shake(2.2, 0.035, 0.0),
    "scratch": Shake(3.0, 0.05, 0.07),
    "cast": Shake(0.5, 0.008, 0.0),
    "stencil": Shake(0.8, 0.012, 0.0),
    "brush": Shake(2.0, 0.03, 0.05),
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

SECOND_BLOW = 0.6
"""How deep the second blow of a double strike goes over the first; the punch bounced (set by eye)."""


@dataclass(frozen=True)
class Drawn:
    """A string on the canvas: its quad (4, 2) and each character's, blanks left out."""

    quad: Floats
    characters: tuple[tuple[str, Floats], ...]


def draw_mark(
    surface: Surface,
    mark: MarkSpec,
    center_xy: tuple[float, float],
    depth: float,
    wear: float,
    *,
    color: Floats,
    rng: Rng,
) -> Drawn:
    """Put one string on the surface, in place; return where it stands on the canvas.

    `depth` is the relief over figure height, `wear` 0 to 1, `color` linear RGB of paint or ink.
    """
    height_px = mark.height * surface.scale
    mottle = fractal((512, 1024), 90, 5, rng, 0.65)
    stroking = Stroking(mark, height_px, depth * height_px * mark.strength, wear, mottle, streaks(512, rng, 30), color)
    if mark.technique == "print":
        return _draw_print(surface, stroking, center_xy, rng)
    still = SHAKES[mark.technique]
    shake = Shake(still.turn_deg * mark.haste, still.shift * mark.haste, still.size)
    characters = set_string(mark.text, mark.style, height_px, rng, shake, technique=mark.technique)
    characters, quad, boxes = move_strings(characters, center_xy, mark.turn_deg)
    for character in characters:
        _draw_character(surface, character, stroking, rng)
    return Drawn(quad, tuple((c.text, box) for c, box in zip(characters, boxes, strict=True)))


def _draw_print(surface: Surface, stroking: Stroking, center_xy: tuple[float, float], rng: Rng) -> Drawn:
    """Print a string."""
    mark, height_px = stroking.mark, stroking.height_px
    patch, quad = place_mask(print_mask(mark.text, height_px), center_xy, mark.turn_deg, surface.shape)
    if patch is not None:
        paint_marks.ink(surface, patch, stroking, rng)
    angle = np.radians(mark.turn_deg)
    matrix = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    boxes = print_boxes(mark.text, height_px)
    return Drawn(quad, tuple((t, (b @ matrix + np.array(center_xy)).astype(np.float32)) for t, b in boxes))


def _draw_character(surface: Surface, character: Character, stroking: Stroking, rng: Rng) -> None:
    """Cut or paint one character."""
    patch = stroke_patch(character, 0.22 * stroking.height_px + 3 * surface.scale, surface.shape)
    if patch is None:
        return
    if stroking.mark.technique == "stencil" and character.text in BRIDGED:
        patch = paint_marks.bridge(patch, character, stroking)
    draw = HOW[stroking.mark.technique]
    if stroking.mark.technique == "punch" and stroking.mark.double_strike > 0:
        _strike_twice(surface, character, patch, stroking, rng)
    else:
        draw(surface, patch, stroking, rng)


def _strike_twice(surface: Surface, character: Character, patch: Patch, stroking: Stroking, rng: Rng) -> None:
    """Punch a character, and again beside it: wood that is pressed down does not go down twice."""
    away = stroking.mark.double_strike * stroking.height_px
    shift = (rng.normal(0, 1, 2) * away * 0.4 + rng.choice([-1, 1]) * np.array([away, 0])).astype(np.float32)
    ghost = replace(character, strokes=tuple(replace(s, points=s.points + shift) for s in character.strokes))
    second = stroke_patch(ghost, 0.22 * stroking.height_px + 3 * surface.scale, surface.shape)
    if second is None:
        return
    before = [np.array(field) for field in (surface.height, surface.albedo, surface.gloss)]
    relief_marks.punch(surface, patch, stroking, rng)
    first = [np.array(field) for field in (surface.height, surface.albedo, surface.gloss)]
    for field, old in zip((surface.height, surface.albedo, surface.gloss), before, strict=True):
        field[...] = old
    relief_marks.punch(surface, second, replace(stroking, depth_px=stroking.depth_px * SECOND_BLOW), rng)
    deep = np.minimum(first[0], surface.height)
    surface.height[...] = np.where(
        deep < before[0] - 0.02 * stroking.depth_px, deep, np.maximum(first[0], surface.height)
    )
    np.minimum(surface.albedo, first[1], out=surface.albedo)
    np.minimum(surface.gloss, first[2], out=surface.gloss)


HOW: dict[str, Callable[[Surface, Patch, Stroking, Rng], None]] = {
    "punch": relief_marks.punch,
    "scratch": relief_marks.scratch,
    "cast": relief_marks.cast,
    "stencil": paint_marks.stencil,
    "brush": paint_marks.brush,
    "ink": paint_marks.ink,
    "chalk": paint_marks.chalk,
    "pencil": paint_marks.pencil,
    "write": paint_marks.write,
    "type": paint_marks.ink,
    "numbering": paint_marks.ink,
    "print": paint_marks.ink,
}
"""The function of each technique."""

COLORS: dict[str, tuple[tuple[int, int, int], ...]] = {
    "punch": ((0, 0, 0),),
    "scratch": ((206, 164, 108), (186, 140, 88)),
    "cast": ((214, 180, 104), (226, 198, 132), (176, 140, 76)),
    "stencil": ((24, 22, 22), (34, 26, 22), (20, 22, 30)),
    "brush": ((26, 22, 20), (190, 158, 84), (204, 192, 164), (112, 34, 26)),
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
