"""Sets a string in a style: punches, patterns, stencils and type by their glyphs, hands by their own movements.

A string is laid out in its own frame (x along reading, y down, pixels) and shaken as its technique shakes it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np

from tools.renderer.alphabet import Glyph, glyph
from tools.renderer.hand import write_string
from tools.renderer.noise import Rng
from tools.renderer.spec import FigureStyle, Floats
from tools.renderer.strokes import Character, Patch, Stroke, bounds, corners

BLANK_WIDTH = 0.42
"""A blank's width over figure height."""


@dataclass(frozen=True)
class Shake:
    """How far characters stray: `turn_deg` and `shift` (over figure height) are standard deviations."""

    turn_deg: float = 0.0
    shift: float = 0.0
    size: float = 0.0


def set_string(
    text: str, style: FigureStyle, height_px: float, rng: Rng, shake: Shake, *, technique: str = ""
) -> list[Character]:
    """Lay out a string with its first character's top left at (0, 0). `technique` is the tool in a style's hand."""
    if style.hand:
        return write_string(text, style, height_px, technique, rng)
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


def string_size(text: str, style: FigureStyle, height_px: float, technique: str = "") -> tuple[float, float]:
    """Return the width and height of a string before it is shaken; of a hand's, about."""
    still, rng = replace(style, wobble=0.0), np.random.default_rng(0)
    left, top, right, bottom = bounds(set_string(text, still, height_px, rng, Shake(), technique=technique))
    return right - left, bottom - top


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


def print_boxes(text: str, height_px: float) -> list[tuple[str, Floats]]:
    """Return each character of a printed string but blanks with its quad (4, 2), in pixels from the mask's middle."""
    from PIL import ImageFont

    font = ImageFont.load_default(max(8.0, height_px / 0.72))
    whole = font.getbbox(text)
    middle = np.array([(whole[0] + whole[2]) / 2, (whole[1] + whole[3]) / 2], np.float32)
    boxes = []
    for k, letter in enumerate(text):
        if letter != " ":
            # kerning moves a letter by what its pair is shorter than the two alone
            pen = font.getlength(text[: k + 1]) - font.getlength(letter)
            left, top, right, bottom = font.getbbox(letter)
            boxes.append((letter, np.asarray(corners((pen + left, top, pen + right, bottom)) - middle, np.float32)))
    return boxes


def place_mask(
    mask: Floats, center_xy: tuple[float, float], turn_deg: float, shape: tuple[int, int]
) -> tuple[Patch | None, Floats]:
    """Turn a printed mask and put it on the canvas; `inside` is then cover minus a half, over a pixel or so."""
    height, width = mask.shape
    angle = math.radians(turn_deg)
    cos, sin = math.cos(angle), math.sin(angle)
    ends = np.array([[-width, -height], [width, -height], [width, height], [-width, height]]) / 2
    quad = (ends @ np.array([[cos, sin], [-sin, cos]]) + np.array(center_xy)).astype(np.float32)
    x0, y0 = np.maximum(np.floor(quad.min(0)).astype(int) - 2, 0).tolist()
    x1, y1 = np.minimum(np.ceil(quad.max(0)).astype(int) + 3, np.array(shape)[::-1]).tolist()
    if x1 - x0 < 2 or y1 - y0 < 2:
        return None, quad
    source = np.array([[-0.5, -0.5], [width - 0.5, -0.5], [-0.5, height - 0.5]], np.float32)
    target = quad[[0, 1, 3]] - np.array([x0, y0], np.float32)
    cover = cv2.warpAffine(mask, cv2.getAffineTransform(source, target), (x1 - x0, y1 - y0), flags=cv2.INTER_LINEAR)
    flat = np.zeros(cover.shape, np.float32)
    return Patch(x0, y0, (cover * 2 - 1).astype(np.float32), flat, flat, flat + 1, np.zeros(4, np.float32)), quad
