"""Strings and tuning pins in front of the surface, with their shadows. Everything changes a Surface in place."""

from __future__ import annotations

import math

import cv2
import numpy as np

from tools.renderer.light import Surface
from tools.renderer.noise import Rng, blur, smoothstep
from tools.renderer.screens import Body, PinShadow, StringShadows, WireShadow, around, capsule, free_mask
from tools.renderer.spec import Floats
from tools.renderer.wood import linear

Place = tuple[float, float, float]
"""A place in canvas pixels, z up."""

STRING_UP_MM = 9.0
"""How high strings run over the surface (common practice: 8 to 15 mm at the pin block)."""
PIN_RADIUS_MM, PIN_UP_MM, WIRE_MM = 3.4, 19.0, 1.0
"""A tuning pin is about 7 mm thick and stands about 20 mm proud; plain wire is about 1 mm thick (common practice)."""


def lean(eye: Place, x: float, y: float, up: float) -> tuple[float, float]:
    """Return where the eye sees a point `up` over (x, y), in the surface's plane."""
    share = up / max(eye[2] - up, 1.0)
    return x + (x - eye[0]) * share, y + (y - eye[1]) * share


def run_strings(
    surface: Surface, count: int, turn_deg: float, over_marks: bool, quads: list[Floats], *, rng: Rng
) -> None:
    """Run `count` parallel strings across the canvas, in twos; plain steel, or thick and wound with copper."""
    if count <= 0:
        return
    angle = math.radians(turn_deg + float(rng.normal(0, 1.5)))
    sin, cos = math.sin(angle), math.cos(angle)
    corners = np.array([[x, y] for x in (0, surface.shape[1]) for y in (0, surface.shape[0])], np.float32)
    span = corners @ np.array([-sin, cos])
    wound = bool(rng.random() < 0.35)
    radius = surface.unit * (1.5 if wound else WIRE_MM / 2)
    places = _string_places(count, (float(span.min()), float(span.max())), surface.unit, rng)
    if not over_marks:
        taken = [q @ np.array([-sin, cos]) for q in quads]
        margin = radius + 3 * surface.unit
        places = [p for p in places if not any(t.min() - margin < p < t.max() + margin for t in taken)]
    if places:
        height = STRING_UP_MM * surface.unit
        surface.screens.append(StringShadows(tuple(places), radius, (sin, cos), height, surface.unit))
        _string_bodies(surface, places, radius, (sin, cos), wound)


def _string_places(count: int, span: tuple[float, float], unit: float, rng: Rng) -> list[float]:
    """Return places across the strings: pairs a few millimeters apart, pairs spread evenly over the span."""
    pairs = max(1, count // 2)
    centers = span[0] + (np.arange(pairs) + rng.uniform(0.2, 0.8, pairs)) * (span[1] - span[0]) / pairs
    return [float(c + side * 2.2 * unit) for c in centers for side in (-1, 1)][:count]


def _string_bodies(
    surface: Surface, places: list[float], radius: float, direction: tuple[float, float], wound: bool
) -> None:
    """Draw round wires: a row of cylinders, with winding turns if wound."""
    sin, cos = direction
    x = np.arange(surface.shape[1], dtype=np.float32)[None, :]
    y = np.arange(surface.shape[0], dtype=np.float32)[:, None]
    across = y * np.float32(cos) - x * np.float32(sin)
    nearest = np.full(surface.shape, 1e6, np.float32)
    for place in places:
        np.minimum(nearest, np.abs(across - np.float32(place)), out=nearest)
    cover = smoothstep(-0.6, 0.6, np.float32(radius) - nearest)
    front = np.sqrt(np.clip(radius**2 - nearest * nearest, 0, None))
    if wound:
        along = x * np.float32(cos) + y * np.float32(sin)
        turn = np.float32(2 * math.pi / max(1.3 * surface.unit, 3.0))
        front += np.float32(0.14 * surface.unit) * np.sin((along + 0.3 * across) * turn) * cover
    color = linear((150, 92, 58)) if wound else linear((112, 104, 96))
    _put(surface, (slice(None), slice(None)), cover, front, color, gloss=0.5)


def _put(
    surface: Surface,
    at: tuple[slice, slice],
    cover: Floats,
    front: Floats,
    color: Floats,
    *,
    gloss: float,
    metal: float = 0.8,
) -> None:
    """Cover a window with a thing that stands in front: it hides the ground's relief and shadows."""
    surface.albedo[at] += cover[..., None] * (color - surface.albedo[at])
    surface.gloss[at] += cover * (np.float32(gloss) - surface.gloss[at])
    surface.metal[at] += cover * (np.float32(metal) - surface.metal[at])
    surface.front[at] += cover * (front - surface.height[at] - surface.front[at])
    surface.screens.append(Body(at, cover))


def pin_places(
    count: int, quads: list[Floats], view: tuple[float, float, float, float], unit: float, eye: Place, *, rng: Rng
) -> list[tuple[float, float]]:
    """Return places of staggered rows of tuning pins above or below the marks, none in front of a mark."""
    if count <= 0:
        return []
    gap = 15.0 * unit
    low, high = np.vstack(quads).min(0), np.vstack(quads).max(0)
    above = (low[1] - view[1]) > (view[3] - high[1])
    start = float(low[1]) - 1.6 * gap if above else float(high[1]) + 1.6 * gap
    found: list[tuple[float, float]] = []
    for row in range(5):
        y = start + row * 1.1 * gap * (-1 if above else 1)
        for k in range(int((view[2] - view[0]) / gap) + 1):
            x = view[0] + (k + 0.5 * (row % 2)) * gap
            found.append((x + float(rng.normal(0, 0.08 * gap)), y + float(rng.normal(0, 0.08 * gap))))
    clear = [p for p in found if _clear(p, quads, unit, eye) and view[0] < p[0] < view[2] and view[1] < p[1] < view[3]]
    clear.sort(key=lambda p: (abs(p[1] - start) > 0.6 * gap, abs(p[0] - (view[0] + view[2]) / 2)))
    return clear[:count]


def _clear(place: tuple[float, float], quads: list[Floats], unit: float, eye: Place) -> bool:
    """Return whether a pin here hides no mark, seen from its foot to its top."""
    tops = [lean(eye, *place, up * unit) for up in (0.0, PIN_UP_MM / 2, PIN_UP_MM)]
    return all(cv2.pointPolygonTest(q, t, True) < -1.8 * PIN_RADIUS_MM * unit for q in quads for t in tops)


def drive_pin(surface: Surface, place: tuple[float, float], away: float, eye: Place, rng: Rng) -> None:
    """Stand a tuning pin with its coil of wire on the surface, and throw its shadow.

    `away` is the end of its string up or down the canvas: a y far from the marks.
    """
    unit = surface.unit
    _lead_off(surface, place, away, rng)
    up = PIN_UP_MM * unit * float(rng.normal(1, 0.06))
    radius = PIN_RADIUS_MM * unit
    top = lean(eye, *place, up)
    x0, y0, x, y = around(surface.shape, [place, top], 2.2 * radius)
    if x.size:
        at = (slice(y0, y0 + x.shape[0]), slice(x0, x0 + x.shape[1]))
        _coil(surface, at, x - np.float32(place[0]), y - np.float32(place[1]), radius)
        _shaft(surface, at, x, y, place, top=top, radius=radius)
        _head(surface, at, x - np.float32(top[0]), y - np.float32(top[1]), radius, rng=rng)
    surface.screens.append(PinShadow(place, up, radius, surface.unit, free_mask(surface.front)))


def _lead_off(surface: Surface, place: tuple[float, float], away: float, rng: Rng) -> None:
    """Run the string from a pin's coil to the edge of the canvas, with its shadow."""
    radius = max(WIRE_MM / 2 * surface.unit, 0.7)
    start = (place[0] + PIN_RADIUS_MM * surface.unit, place[1])
    end = (start[0] + (away - place[1]) * float(rng.normal(0.03, 0.02)), away)
    heights = (4 * surface.unit, STRING_UP_MM * surface.unit)
    surface.screens.append(WireShadow((start, end), heights, radius, free_mask(surface.front)))
    x0, y0, x, y = around(surface.shape, [start, end], 3 * radius)
    if x.size:
        at = (slice(y0, y0 + x.shape[0]), slice(x0, x0 + x.shape[1]))
        off = capsule(x, y, start, end)[1]
        front = np.sqrt(np.clip(radius**2 - off * off, 0, None))
        _put(surface, at, smoothstep(-0.6, 0.6, np.float32(radius) - off), front, linear((112, 104, 96)), gloss=0.5)


def _coil(surface: Surface, at: tuple[slice, slice], x: Floats, y: Floats, radius: float) -> None:
    """Three turns of wire around the foot, seen as a ring."""
    thick = WIRE_MM * surface.unit * 0.7
    off = np.abs(np.hypot(x, y) - np.float32(radius + thick * 0.6))
    cover = smoothstep(-0.6, 0.6, np.float32(thick) - off)
    _put(surface, at, cover, np.sqrt(np.clip(thick**2 - off * off, 0, None)), linear((104, 96, 88)), gloss=0.5)


def _shaft(
    surface: Surface,
    at: tuple[slice, slice],
    x: Floats,
    y: Floats,
    foot: tuple[float, float],
    *,
    top: tuple[float, float],
    radius: float,
) -> None:
    """The side of the pin between foot and top."""
    along, away = capsule(x, y, foot, top)
    cover = smoothstep(-0.7, 0.7, np.float32(radius) - away)
    front = np.sqrt(np.clip(radius**2 - away * away, 0, None))
    wire = np.clip(1 - along * 2.6, 0, 1)
    ridge = np.sin(along * np.float32(2 * math.pi * 7)) * np.float32(0.25 * surface.unit)
    front += ridge * (wire > 0)
    _put(surface, at, cover, front, linear((58, 54, 52)), gloss=0.55, metal=0.6)


def _head(surface: Surface, at: tuple[slice, slice], x: Floats, y: Floats, radius: float, *, rng: Rng) -> None:
    """The square top for the tuning lever, with worn corners."""
    turn = float(rng.uniform(0, math.pi / 2))
    a = np.abs(x * math.cos(turn) + y * math.sin(turn))
    b = np.abs(y * math.cos(turn) - x * math.sin(turn))
    inside = np.minimum(np.float32(radius * 0.82) - np.maximum(a, b), np.float32(radius * 0.98) - np.hypot(x, y))
    cover = smoothstep(-0.6, 0.6, inside.astype(np.float32))
    bevel = np.minimum(inside, np.float32(0.7 * surface.unit)).astype(np.float32)
    scuffs = blur(rng.standard_normal(x.shape, dtype=np.float32), 1.2) * np.float32(0.02 * surface.unit)
    _put(surface, at, cover, bevel + scuffs, linear((104, 97, 90)) * np.float32(rng.uniform(0.5, 1.1)), gloss=0.6)
