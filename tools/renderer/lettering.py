"""Sets a string in a style and turns its strokes into fields that a surface can be cut or painted with.

A string is laid out in its own frame (x along reading, y down, pixels), shaken as its technique shakes it, turned and
moved onto the canvas. Each character then becomes a small patch with the signed distance to the stroke's edge.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np

from tools.renderer.alphabet import Glyph, glyph
from tools.renderer.noise import Rng
from tools.renderer.spec import FigureStyle, Floats

BLANK_WIDTH = 0.42
"""A blank's width over figure height."""


@dataclass(frozen=True)
class Shake:
    """How far characters stray: `turn_deg` and `shift` (over figure height) are standard deviations."""

    turn_deg: float = 0.0
    shift: float = 0.0
    size: float = 0.0


@dataclass(frozen=True)
class Stroke:
    """One center line in pixels, (N, 2), and the full width at each point, (N,)."""

    points: Floats
    widths: Floats


@dataclass(frozen=True)
class Character:
    """The strokes of one character in pixels, with its own random number for unevenness between punches."""

    text: str
    strokes: tuple[Stroke, ...]
    unevenness: Floats


@dataclass(frozen=True)
class Patch:
    """Fields around one character on the canvas; (h, w) float32 each, first pixel at (`x0`, `y0`).

    `inside` is the distance to the stroke's edge in pixels, positive inside. `along` and `across` are places along
    the stroke from its start and across it from its center line, in pixels; `half` is half the stroke's width there.
    """

    x0: int
    y0: int
    inside: Floats
    along: Floats
    across: Floats
    half: Floats
    unevenness: Floats


def set_string(text: str, style: FigureStyle, height_px: float, rng: Rng, shake: Shake) -> list[Character]:
    """Lay out a string with its first character's top left at (0, 0)."""
    characters: list[Character] = []
    pen = 0.0
    for letter in text:
        if letter == " ":
            pen += (1.0 if style.fixed_pitch else BLANK_WIDTH) * height_px * (0.62 if style.fixed_pitch else 1.0)
            continue
        shape = glyph(letter, style)
        fitted = style
        if style.fixed_pitch:  # a typewriter squeezes its wide letters
            fitted = replace(style, stretch=style.stretch * min(1.0, 0.68 / shape.width))
        wide = shape.width * fitted.stretch
        advance = 0.62 * style.stretch if style.fixed_pitch else wide
        strokes = _place(shape, fitted, height_px, rng, shake)
        left = pen + (advance - wide) * height_px / 2
        moved = tuple(replace(s, points=s.points + np.array([left, 0], np.float32)) for s in strokes)
        characters.append(Character(letter, moved, rng.standard_normal(4, dtype=np.float32)))
        pen += (
            advance + style.spacing + (0.6 * style.weight + abs(style.slant) * 0.2 if style.wobble else 0.0)
        ) * height_px
    return characters


def _place(shape: Glyph, style: FigureStyle, height_px: float, rng: Rng, shake: Shake) -> tuple[Stroke, ...]:
    """Scale, slant, shake and thicken one glyph."""
    angle = math.radians(float(rng.normal(0, shake.turn_deg)))
    size = height_px * (1 + float(np.clip(rng.normal(0, shake.size), -0.3, 0.3)))
    shift = rng.normal(0, shake.shift * height_px, 2)
    center = np.array([shape.width / 2, 0.5])
    cos, sin = math.cos(angle), math.sin(angle)
    matrix = np.array([[style.stretch, -style.slant], [0, 1]])
    matrix = np.array([[cos, -sin], [sin, cos]]) @ matrix * size
    offset = np.array([shape.width * style.stretch, 1.0]) * height_px / 2 + shift
    lines = list(shape.strokes) + [np.array([[x, y], [x + 0.01, y]], np.float32) for x, y in shape.balls]
    strokes = []
    for number, points in enumerate(lines):
        wobbly = _wobble(points, style.wobble, rng)
        placed = ((wobbly - center) @ matrix.T + offset).astype(np.float32)
        ball = number >= len(shape.strokes)
        widths = _widths(wobbly, style) * height_px * (1.0 if not ball else 1.35)
        strokes.append(Stroke(placed, widths.astype(np.float32)))
    return tuple(strokes)


def _wobble(points: Floats, wobble: float, rng: Rng) -> Floats:
    """Return the points as a hand would draw them: resampled, bent smoothly, over- or undershot at the ends."""
    if wobble <= 0 or len(points) < 2:
        return points
    steps = np.r_[0, np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))]
    count = max(4, math.ceil(steps[-1] / 0.07))
    at = np.linspace(0, steps[-1], count)
    dense = np.stack([np.interp(at, steps, points[:, axis]) for axis in (0, 1)], 1)
    knots = max(3, round(steps[-1] / 0.35))
    for axis in (0, 1):
        bend = np.interp(at, np.linspace(0, steps[-1], knots), rng.normal(0, 0.045 * wobble, knots))
        smooth = np.convolve(np.pad(bend, 2, mode="edge"), np.ones(5) / 5, mode="valid")
        dense[:, axis] += smooth + rng.normal(0, 0.02 * wobble)
    dense[-1] += (dense[-1] - dense[-2]) * rng.normal(0.2, 0.6) * wobble
    return dense.astype(np.float32)


def _widths(points: Floats, style: FigureStyle) -> Floats:
    """Return each point's stroke width over figure height: level pieces thin, upright ones full, by contrast."""
    steps = np.diff(points, axis=0)
    length = np.linalg.norm(steps, axis=1) + 1e-6
    upright = (np.abs(steps[:, 1]) / length) ** 1.3
    upright[length < 0.02] = 1.0
    share = 1 - 0.72 * style.contrast * (1 - upright)
    at_points = (np.r_[share[:1], share] + np.r_[share, share[-1:]]) / 2
    return np.asarray(style.weight * at_points, np.float32)


def bounds(characters: list[Character]) -> tuple[float, float, float, float]:
    """Return left, top, right, bottom of all strokes with their width."""
    low = np.min([(s.points - s.widths[:, None] / 2).min(0) for c in characters for s in c.strokes], axis=0)
    high = np.max([(s.points + s.widths[:, None] / 2).max(0) for c in characters for s in c.strokes], axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def string_size(text: str, style: FigureStyle, height_px: float) -> tuple[float, float]:
    """Return the width and height of a string before it is shaken."""
    still = replace(style, wobble=0.0)
    left, top, right, bottom = bounds(set_string(text, still, height_px, np.random.default_rng(0), Shake()))
    return right - left, bottom - top


def move_strings(
    characters: list[Character], center_xy: tuple[float, float], turn_deg: float
) -> tuple[list[Character], Floats]:
    """Turn the string, put its middle at `center_xy`; return it and its quad (4, 2) on the canvas."""
    left, top, right, bottom = bounds(characters)
    angle = math.radians(turn_deg)
    matrix = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    middle = np.array([(left + right) / 2, (top + bottom) / 2])

    def move(points: Floats) -> Floats:
        return np.asarray((points - middle) @ matrix.T + np.array(center_xy), np.float32)

    moved = [replace(c, strokes=tuple(replace(s, points=move(s.points)) for s in c.strokes)) for c in characters]
    return moved, move(np.array([[left, top], [right, top], [right, bottom], [left, bottom]], np.float32))


def stroke_patch(character: Character, margin_px: float, shape: tuple[int, int]) -> Patch | None:
    """Return the fields around a character, or None where it lies wholly off the (H, W) canvas."""
    left, top, right, bottom = bounds([character])
    x0, y0 = max(0, math.floor(left - margin_px)), max(0, math.floor(top - margin_px))
    x1, y1 = min(shape[1], math.ceil(right + margin_px)), min(shape[0], math.ceil(bottom + margin_px))
    if x1 - x0 < 2 or y1 - y0 < 2:
        return None
    ys, xs = np.mgrid[y0:y1, x0:x1].astype(np.float32)
    best = [np.full(xs.shape, v, np.float32) for v in (-1e6, 0.0, 0.0, 1.0)]
    offset = 0.0
    for stroke in character.strokes:
        for k in range(len(stroke.points) - 1):
            offset = _keep_nearer(best, (xs, ys), stroke, k, offset)
        offset += 50.0
    return Patch(x0, y0, best[0], best[1], best[2], best[3], character.unevenness)


def _keep_nearer(best: list[Floats], xy: tuple[Floats, Floats], stroke: Stroke, k: int, offset: float) -> float:
    """Write one straight piece into the fields where it is the nearest; return the length so far."""
    xs, ys = xy
    (ax, ay), (bx, by) = stroke.points[k].tolist(), stroke.points[k + 1].tolist()
    wa, wb = stroke.widths[k : k + 2].tolist()
    length = math.hypot(bx - ax, by - ay) + 1e-6
    ux, uy = (bx - ax) / length, (by - ay) / length
    # only pixels near enough to matter are touched
    reach = max(wa, wb) / 2 + max(6.0, 1.5 * max(wa, wb))
    c0, c1 = np.searchsorted(xs[0], [min(ax, bx) - reach, max(ax, bx) + reach])
    r0, r1 = np.searchsorted(ys[:, 0], [min(ay, by) - reach, max(ay, by) + reach])
    if c1 <= c0 or r1 <= r0:
        return offset + length
    px, py = xs[r0:r1, c0:c1] - np.float32(ax), ys[r0:r1, c0:c1] - np.float32(ay)
    across = py * np.float32(ux) - px * np.float32(uy)
    at = px * np.float32(ux) + py * np.float32(uy)
    t = np.clip(at, 0, length)
    half = np.float32(wa / 2) + t * np.float32((wb - wa) / 2 / length)
    inside = half - np.hypot(across, at - t)
    view = [b[r0:r1, c0:c1] for b in best]
    nearer = inside > view[0]
    for old, new in zip(view, (inside, t + np.float32(offset), across, half), strict=True):
        np.copyto(old, np.broadcast_to(new, old.shape), where=nearer)
    return offset + length


def print_mask(text: str, height_px: float) -> Floats:
    """Return a printed string's ink cover (h, w), 0 to 1, in Pillow's own scalable face; cropped to the ink."""
    from PIL import Image, ImageDraw, ImageFont

    font = ImageFont.load_default(max(8.0, height_px / 0.72))
    box = font.getbbox(text)
    image = Image.new("L", (math.ceil(box[2]) + 8, math.ceil(box[3]) + 8), 0)
    ImageDraw.Draw(image).text((4, 4), text, fill=255, font=font)
    ink = np.asarray(image, np.float32) / 255
    rows, columns = np.flatnonzero(ink.max(1) > 0.1), np.flatnonzero(ink.max(0) > 0.1)
    return np.ascontiguousarray(ink[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1])


def place_mask(
    mask: Floats, center_xy: tuple[float, float], turn_deg: float, shape: tuple[int, int]
) -> tuple[Patch | None, Floats]:
    """Turn a printed mask and put it on the canvas; `inside` is then cover minus a half, over a pixel or so."""
    height, width = mask.shape
    angle = math.radians(turn_deg)
    cos, sin = math.cos(angle), math.sin(angle)
    corners = np.array([[-width, -height], [width, -height], [width, height], [-width, height]]) / 2
    quad = (corners @ np.array([[cos, sin], [-sin, cos]]) + np.array(center_xy)).astype(np.float32)
    x0, y0 = np.maximum(np.floor(quad.min(0)).astype(int) - 2, 0).tolist()
    x1, y1 = np.minimum(np.ceil(quad.max(0)).astype(int) + 3, np.array(shape)[::-1]).tolist()
    if x1 - x0 < 2 or y1 - y0 < 2:
        return None, quad
    source = np.array([[-0.5, -0.5], [width - 0.5, -0.5], [-0.5, height - 0.5]], np.float32)
    target = quad[[0, 1, 3]] - np.array([x0, y0], np.float32)
    cover = cv2.warpAffine(mask, cv2.getAffineTransform(source, target), (x1 - x0, y1 - y0), flags=cv2.INTER_LINEAR)
    flat = np.zeros(cover.shape, np.float32)
    return Patch(x0, y0, (cover * 2 - 1).astype(np.float32), flat, flat, flat + 1, np.zeros(4, np.float32)), quad
