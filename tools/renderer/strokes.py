"""Strokes of characters on the canvas, and the distance fields around them that a surface is cut or painted with."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from tools.renderer.spec import Floats


@dataclass(frozen=True)
class Stroke:
    """One center line in pixels, (N, 2), and the full width at each point, (N,).

    `pressures` (N,), about 1, tells how hard a hand pressed there; None where no hand drew it.
    """

    points: Floats
    widths: Floats
    pressures: Floats | None = None


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
    `pressure` is the hand's, None where no hand drew it.
    """

    x0: int
    y0: int
    inside: Floats
    along: Floats
    across: Floats
    half: Floats
    unevenness: Floats
    pressure: Floats | None = None


def bounds(characters: list[Character]) -> tuple[float, float, float, float]:
    """Return left, top, right, bottom of all strokes with their width."""
    low = np.min([(s.points - s.widths[:, None] / 2).min(0) for c in characters for s in c.strokes], axis=0)
    high = np.max([(s.points + s.widths[:, None] / 2).max(0) for c in characters for s in c.strokes], axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def move_strings(
    characters: list[Character], center_xy: tuple[float, float], turn_deg: float
) -> tuple[list[Character], Floats, list[Floats]]:
    """Turn the string, put its middle at `center_xy`; return it, its quad (4, 2) and each character's on the canvas."""
    box = bounds(characters)
    left, top, right, bottom = box
    angle = math.radians(turn_deg)
    matrix = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    middle = np.array([(left + right) / 2, (top + bottom) / 2])

    def move(points: Floats) -> Floats:
        return np.asarray((points - middle) @ matrix.T + np.array(center_xy), np.float32)

    moved = [replace(c, strokes=tuple(replace(s, points=move(s.points)) for s in c.strokes)) for c in characters]
    return moved, move(corners(box)), [move(corners(bounds([c]))) for c in characters]


def corners(box: tuple[float, float, float, float]) -> Floats:
    """Return the quad (4, 2) of an upright box: left, top, right, bottom."""
    left, top, right, bottom = box
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]], np.float32)


def stroke_patch(character: Character, margin_px: float, shape: tuple[int, int]) -> Patch | None:
    """Return the fields around a character, or None where it lies wholly off the (H, W) canvas."""
    left, top, right, bottom = bounds([character])
    x0, y0 = max(0, math.floor(left - margin_px)), max(0, math.floor(top - margin_px))
    x1, y1 = min(shape[1], math.ceil(right + margin_px)), min(shape[0], math.ceil(bottom + margin_px))
    if x1 - x0 < 2 or y1 - y0 < 2:
        return None
    ys, xs = np.mgrid[y0:y1, x0:x1].astype(np.float32)
    pressed = any(stroke.pressures is not None for stroke in character.strokes)
    best = [np.full(xs.shape, v, np.float32) for v in (-1e6, 0.0, 0.0, 1.0, 1.0)[: 5 if pressed else 4]]
    offset = 0.0
    for stroke in character.strokes:
        for k in range(len(stroke.points) - 1):
            offset = _keep_nearer(best, (xs, ys), stroke, k, offset)
        offset += 50.0
    inside, along, across, half = best[:4]
    return Patch(x0, y0, inside, along, across, half, character.unevenness, best[4] if pressed else None)


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
    fields = [inside, t + np.float32(offset), across, half]
    if stroke.pressures is not None:
        pa, pb = stroke.pressures[k : k + 2].tolist()
        fields.append(np.float32(pa) + t * np.float32((pb - pa) / length))
    for old, new in zip(view, fields, strict=False):
        np.copyto(old, np.broadcast_to(new, old.shape), where=nearer)
    return offset + length
