"""Our own alphabet: every character as center lines of strokes, with the variants found on old instruments.

A glyph lives in a box one unit high, x to the right and y down, the base line at y = 1. Lines are polylines, curves
are Catmull-Rom splines through points (Catmull and Rom 1974), ellipses are given by center, radii and two angles.
The variants (flagged or plain 1, open or closed 4, flat or round 3, hooked 7, text figures) are common practice of
punch cutters.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tools.renderer.spec import FigureStyle, Floats

Point = tuple[float, float]
CURVE_STEPS = 7
"""Straight pieces between two points of a spline."""
SERIF_HALF = 0.115
"""Half length of a serif over figure height."""

TEXT_LOW = 0.72
"""Height of the low text figures (0, 1, 2) over that of 6 and 8; common practice of old-style type is 0.65 to 0.75."""


@dataclass(frozen=True)
class Glyph:
    """Center lines, (N, 2) float32 each, and the width of the box over its height. `balls` are round terminals."""

    strokes: tuple[Floats, ...]
    width: float
    balls: tuple[Point, ...] = ()


def line(*points: Point) -> Floats:
    """Return a polyline."""
    return np.array(points, np.float32)


def curve(*points: Point) -> Floats:
    """Return a Catmull-Rom spline through the points."""
    p = np.array([points[0], *points, points[-1]], np.float64)
    t = np.linspace(0, 1, CURVE_STEPS, endpoint=False)[:, None]
    pieces = []
    for a, b, c, d in zip(p[:-3], p[1:-2], p[2:-1], p[3:], strict=True):
        pieces.append(0.5 * (2 * b + (c - a) * t + (2 * a - 5 * b + 4 * c - d) * t**2 + (3 * b - a - 3 * c + d) * t**3))
    return np.vstack([*pieces, p[-1:]]).astype(np.float32)


def ellipse(cx: float, cy: float, rx: float, ry: float, sweep_deg: Point = (-90, 270)) -> Floats:
    """Return an elliptic arc between two angles; 0 degrees is rightward, 90 downward."""
    start_deg, end_deg = sweep_deg
    steps = max(4, math.ceil(abs(end_deg - start_deg) / 14))
    angle = np.radians(np.linspace(start_deg, end_deg, steps + 1))
    return np.stack([cx + rx * np.cos(angle), cy + ry * np.sin(angle)], 1).astype(np.float32)


def _one(style: FigureStyle) -> Glyph:
    if style.one == "bar":
        return Glyph((line((0.1, 0), (0.1, 1)),), 0.2)
    if style.one == "flag":
        return Glyph((line((0.28, 1), (0.28, 0), (0.04, 0.24)),), 0.4)
    flag = curve((0.06, 0.2), (0.17, 0.13), (0.25, 0))
    return Glyph((line((0.25, 0), (0.25, 1)), flag, line((0.03, 1), (0.47, 1))), 0.5)


def _three(style: FigureStyle) -> Glyph:
    if style.three == "flat":
        lower = curve(
            (0.25, 0.4), (0.42, 0.41), (0.56, 0.54), (0.58, 0.74), (0.46, 0.94), (0.27, 1), (0.1, 0.96), (0.02, 0.86)
        )
        return Glyph((line((0.05, 0.0), (0.55, 0.0), (0.25, 0.4)), lower), 0.6)
    upper = curve((0.06, 0.2), (0.14, 0.05), (0.3, 0), (0.46, 0.05), (0.53, 0.22), (0.45, 0.4), (0.25, 0.47))
    lower = curve((0.25, 0.47), (0.46, 0.52), (0.58, 0.72), (0.48, 0.93), (0.28, 1), (0.1, 0.95), (0.02, 0.8))
    return Glyph((upper, lower), 0.6, ((0.07, 0.19), (0.04, 0.8)))


def _four(style: FigureStyle) -> Glyph:
    if style.four == "open":
        return Glyph((line((0.18, 0), (0.04, 0.64), (0.64, 0.64)), line((0.47, 0.28), (0.47, 1))), 0.66)
    return Glyph((line((0.46, 1), (0.46, 0), (0.0, 0.71), (0.64, 0.71)),), 0.66)


def _six(style: FigureStyle) -> Glyph:
    bowl = ellipse(0.31, 0.69, 0.28, 0.31)
    if style.six == "straight":
        return Glyph((bowl, curve((0.46, 0.0), (0.25, 0.26), (0.06, 0.53), (0.03, 0.69))), 0.62)
    tail = curve((0.54, 0.15), (0.47, 0.04), (0.35, 0.0), (0.16, 0.12), (0.05, 0.38), (0.03, 0.69))
    return Glyph((bowl, tail), 0.62, ((0.53, 0.17),))


def _seven(style: FigureStyle) -> Glyph:
    if style.seven == "hooked":
        stem = curve((0.58, 0.0), (0.45, 0.3), (0.31, 0.58), (0.25, 1))
        return Glyph((line((0.03, 0.2), (0.05, 0.0), (0.58, 0.0)), stem), 0.6)
    if style.seven == "curved":
        top = curve((0.02, 0.17), (0.08, 0.03), (0.2, 0.0), (0.36, 0.07), (0.48, 0.07), (0.58, 0))
        return Glyph((top, curve((0.58, 0), (0.42, 0.3), (0.3, 0.62), (0.27, 1))), 0.6)
    return Glyph((line((0.0, 0.0), (0.58, 0.0), (0.2, 1)),), 0.6)


def _two() -> Glyph:
    bow = curve((0.05, 0.26), (0.1, 0.07), (0.3, 0), (0.5, 0.07), (0.56, 0.27), (0.47, 0.47), (0.25, 0.72), (0.03, 1))
    return Glyph((bow, line((0.03, 1), (0.6, 1))), 0.62, ((0.07, 0.24),))


def _five() -> Glyph:
    bowl = ((0.08, 0.45), (0.28, 0.36), (0.5, 0.45), (0.57, 0.67), (0.48, 0.92), (0.27, 1), (0.09, 0.95), (0.02, 0.82))
    return Glyph((line((0.53, 0), (0.13, 0), (0.08, 0.45)), curve(*bowl)), 0.6, ((0.04, 0.82),))


def _nine(style: FigureStyle) -> Glyph:
    six = _six(style)
    turned = tuple((np.array([0.62, 1.0], np.float32) - s).astype(np.float32) for s in six.strokes)
    return Glyph(turned, 0.62, tuple((0.62 - x, 1 - y) for x, y in six.balls))


_STEM = line((0.06, 0), (0.06, 1))
_ROUND_P = (line((0.06, 0), (0.3, 0)), ellipse(0.3, 0.27, 0.26, 0.27, (-90, 90)), line((0.3, 0.54), (0.06, 0.54)))
_S = ((0.54, 0.15), (0.43, 0.02), (0.28, 0), (0.1, 0.07), (0.05, 0.24), (0.14, 0.4), (0.3, 0.48), (0.48, 0.58))
_AND = ((0.66, 1), (0.2, 0.36), (0.15, 0.18), (0.26, 0.01), (0.4, 0.12), (0.34, 0.3), (0.12, 0.52), (0.03, 0.76))

PLAIN: dict[str, Glyph] = {
    "0": Glyph((ellipse(0.31, 0.5, 0.29, 0.5),), 0.62),
    "8": Glyph((ellipse(0.31, 0.24, 0.24, 0.24), ellipse(0.31, 0.74, 0.29, 0.26)), 0.62),
    "A": Glyph((line((0, 1), (0.34, 0), (0.68, 1)), line((0.13, 0.66), (0.55, 0.66))), 0.68),
    "B": Glyph(
        (
            _STEM,
            line((0.06, 0), (0.3, 0)),
            ellipse(0.3, 0.235, 0.24, 0.235, (-90, 90)),
            line((0.06, 0.47), (0.32, 0.47)),
            ellipse(0.32, 0.735, 0.27, 0.265, (-90, 90)),
            line((0.32, 1), (0.06, 1)),
        ),
        0.6,
    ),
    "C": Glyph((ellipse(0.37, 0.5, 0.35, 0.5, (-48, -312)),), 0.66),
    "D": Glyph(
        (_STEM, line((0.06, 0), (0.26, 0)), ellipse(0.26, 0.5, 0.37, 0.5, (-90, 90)), line((0.26, 1), (0.06, 1))), 0.66
    ),
    "E": Glyph((_STEM, line((0.54, 0), (0.06, 0)), line((0.06, 1), (0.56, 1)), line((0.06, 0.48), (0.44, 0.48))), 0.58),
    "F": Glyph((_STEM, line((0.54, 0), (0.06, 0)), line((0.06, 0.48), (0.44, 0.48))), 0.56),
    "G": Glyph((ellipse(0.37, 0.5, 0.35, 0.5, (-48, -330)), line((0.42, 0.56), (0.68, 0.56), (0.68, 0.94))), 0.72),
    "H": Glyph((_STEM, line((0.6, 0), (0.6, 1)), line((0.06, 0.49), (0.6, 0.49))), 0.66),
    "I": Glyph((line((0.1, 0), (0.1, 1)),), 0.2),
    "J": Glyph((line((0.42, 0), (0.42, 0.72)), ellipse(0.22, 0.72, 0.2, 0.28, (0, 170))), 0.48),
    "K": Glyph((_STEM, line((0.58, 0), (0.06, 0.6)), line((0.22, 0.42), (0.62, 1))), 0.64),
    "L": Glyph((_STEM, line((0.06, 1), (0.54, 1))), 0.56),
    "M": Glyph((line((0.06, 1), (0.06, 0)), line((0.06, 0), (0.4, 0.82), (0.74, 0)), line((0.74, 0), (0.74, 1))), 0.8),
    "N": Glyph((line((0.06, 1), (0.06, 0)), line((0.06, 0), (0.6, 1)), line((0.6, 1), (0.6, 0))), 0.66),
    "O": Glyph((ellipse(0.38, 0.5, 0.36, 0.5),), 0.76),
    "P": Glyph((_STEM, *_ROUND_P), 0.58),
    "Q": Glyph((ellipse(0.38, 0.5, 0.36, 0.5), line((0.44, 0.74), (0.74, 1.06))), 0.78),
    "R": Glyph((_STEM, *_ROUND_P, line((0.3, 0.54), (0.6, 1))), 0.62),
    "S": Glyph((curve(*_S, (0.56, 0.76), (0.47, 0.94), (0.28, 1), (0.1, 0.96), (0.02, 0.83)),), 0.6),
    "T": Glyph((line((0.0, 0), (0.62, 0)), line((0.31, 0), (0.31, 1))), 0.62),
    "U": Glyph(
        (line((0.06, 0), (0.06, 0.68)), ellipse(0.32, 0.68, 0.26, 0.32, (180, 0)), line((0.58, 0.68), (0.58, 0))), 0.64
    ),
    "V": Glyph((line((0, 0), (0.32, 1), (0.64, 0)),), 0.64),
    "W": Glyph((line((0, 0), (0.24, 1), (0.46, 0.1), (0.68, 1), (0.92, 0)),), 0.92),
    "X": Glyph((line((0, 0), (0.6, 1)), line((0.6, 0), (0, 1))), 0.6),
    "Y": Glyph((line((0, 0), (0.31, 0.5), (0.62, 0)), line((0.31, 0.5), (0.31, 1))), 0.62),
    "Z": Glyph((line((0.02, 0), (0.58, 0), (0.0, 1), (0.6, 1)),), 0.6),
    "o": Glyph((ellipse(0.24, 0.72, 0.22, 0.28),), 0.48),
    "&": Glyph((curve(*_AND, (0.14, 0.97), (0.32, 1), (0.52, 0.84), (0.64, 0.58)),), 0.7),
    ".": Glyph((line((0.07, 0.98), (0.075, 0.98)),), 0.14, ((0.07, 0.97),)),
    ",": Glyph((line((0.08, 0.98), (0.04, 1.14)),), 0.14),
    "'": Glyph((line((0.08, 0.0), (0.06, 0.18)),), 0.14),
    "-": Glyph((line((0.04, 0.54), (0.36, 0.54)),), 0.4),
    "/": Glyph((line((0.4, -0.04), (0.0, 1.04)),), 0.4),
    "°": Glyph((ellipse(0.13, 0.13, 0.13, 0.13),), 0.28),
}
"""Characters without variants."""

_VARIED = {"1": _one, "3": _three, "4": _four, "6": _six, "7": _seven, "9": _nine}


def glyph(character: str, style: FigureStyle) -> Glyph:
    """Return the strokes of one character in a style, serifs and ball terminals included.

    Raises KeyError for a character that the alphabet does not have (lower-case letters fall back to capitals).
    """
    if character in _VARIED:
        found = _VARIED[character](style)
    elif character in "25":
        found = _two() if character == "2" else _five()
    else:
        found = PLAIN[character] if character in PLAIN else PLAIN[character.upper()]
    balls = found.balls if style.serif or character == "." else ()
    serifs = _serifs(found) if style.serif and (character.isalpha() or character == "4") else ()
    whole = Glyph((*found.strokes, *serifs), found.width, balls)
    return _as_text_figure(whole, character) if style.text_figures and character.isdigit() else whole


def _as_text_figure(found: Glyph, character: str) -> Glyph:
    """Return the figure as text figures stand: 0 1 2 low, 3 4 5 7 9 hanging below the line, 6 and 8 full height."""
    if character in "68":
        return found
    low = character in "012"
    scale = np.array([0.9, TEXT_LOW] if low else [1.0, 1.0], np.float32)
    shift = np.array([0.0, 1 - TEXT_LOW], np.float32)
    strokes = tuple((s * scale + shift).astype(np.float32) for s in found.strokes)
    balls = tuple((x * float(scale[0]), y * float(scale[1]) + 1 - TEXT_LOW) for x, y in found.balls)
    return Glyph(strokes, found.width * float(scale[0]), balls)


def _serifs(found: Glyph) -> tuple[Floats, ...]:
    """Return level bars at the free ends of upright strokes on the base line and at the top."""
    bars = []
    for stroke in found.strokes:
        for end, before in ((stroke[0], stroke[1]), (stroke[-1], stroke[-2])):
            dx, dy = abs(float(end[0] - before[0])), abs(float(end[1] - before[1]))
            if dy > 0.3 and dx < 0.75 * dy and min(abs(float(end[1])), abs(float(end[1]) - 1)) < 0.01:
                bars.append(
                    line((float(end[0]) - SERIF_HALF, float(end[1])), (float(end[0]) + SERIF_HALF, float(end[1])))
                )
    return tuple(bars)
