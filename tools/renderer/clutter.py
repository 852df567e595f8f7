"""What is in the way: dirt on the surface, the surface's edge, screw heads, a hand's shadow.

Strings and tuning pins, which stand in front, are in strings.py. Everything changes a Surface in place.
"""

from __future__ import annotations

import math

import cv2
import numpy as np

from tools.renderer.light import Surface, scatter
from tools.renderer.noise import Rng, blur, fractal, smoothstep
from tools.renderer.screens import HandShadow, StepShadow
from tools.renderer.spec import Floats
from tools.renderer.wood import linear

Box = tuple[float, float, float, float]
"""Left, top, right, bottom in canvas pixels."""

DUST_COLOR = (158, 148, 132)
"""sRGB color of gray household dust under a warm light."""

BEYOND: dict[str, tuple[tuple[int, int, int], float]] = {
    "felt": ((78, 27, 25), 0.0),
    "green-felt": ((40, 54, 38), 0.0),
    "gap": ((14, 11, 9), -1.0),
    "rail": ((82, 52, 32), 1.0),
    "iron": ((140, 104, 54), 1.0),
    "key-slip": ((28, 22, 20), 1.0),
}
"""What may lie beyond the surface's edge: its sRGB color, and whether it lies lower (-1), level (0) or higher (1)."""


def settle_dust(surface: Surface, amount: float, rng: Rng, *, clouds: float = 1.0) -> None:
    """Let dust fall: a film that is thicker in hollows and fills them, specks, lint. `amount` 0 to 1.

    `clouds` is how unevenly the film lies.
    """
    if amount <= 0:
        return
    shape, scale = surface.shape, surface.scale
    smooth = blur(surface.height, 3.5 * scale)
    hollow = np.clip((smooth - surface.height) / np.float32(1.6 * scale), 0, 1)
    film = 0.30 + np.float32(0.07 * clouds) * fractal(shape, 260 * scale, 8, rng, 0.72) + 0.75 * hollow
    film = (
        np.clip(film, 0, 1)
        * np.float32(amount)
        * np.clip(0.8 + 0.25 * blur(_white(shape, rng), 0.8 * scale) * 2, 0, 1.4)
    )
    surface.height += np.float32(0.55 * amount) * hollow * (smooth - surface.height)
    specks = smoothstep(3.3 - 0.9 * amount, 3.9 - 0.9 * amount, blur(_white(shape, rng), 0.9 * scale) * np.float32(3.2))
    cover = np.clip(0.75 * film + 0.7 * specks, 0, 0.92)
    _lint(cover, round(26 * amount), scale, rng)
    surface.albedo += cover[..., None] * (linear(DUST_COLOR) - surface.albedo)
    surface.gloss *= 1 - 0.9 * cover
    surface.metal *= 1 - cover
    surface.height += specks * np.float32(0.5 * scale)


def _white(shape: tuple[int, int], rng: Rng) -> Floats:
    return rng.standard_normal(shape, dtype=np.float32)


def _lint(cover: Floats, count: int, scale: float, rng: Rng) -> None:
    """Draw short curled fibers into the cover."""
    for place in scatter(rng, count, (cover.shape[0], cover.shape[1])):
        heading = rng.uniform(0, 2 * math.pi) + np.cumsum(rng.normal(0, 0.28, 26))
        steps = np.stack([np.cos(heading), np.sin(heading)], 1) * 2.2 * scale
        points = (np.cumsum(steps, 0) + place) * 16
        cv2.polylines(cover, [points.astype(np.int32)], False, float(rng.uniform(0.35, 0.7)), 1, cv2.LINE_AA, 4)


def stain(surface: Surface, amount: float, rng: Rng) -> None:
    """Add water stains with dark rims, spots of old glue or oil, and a general darkening toward one side."""
    if amount <= 0:
        return
    shape, scale = surface.shape, surface.scale
    field = fractal(shape, 380 * scale, 5, rng, 0.55)
    level = 1.5 - 0.9 * amount
    pool = smoothstep(level - 0.05, level + 0.12, field) * np.float32(0.28)
    rim = np.exp(-np.square((field - level) / np.float32(0.07))) * np.float32(0.30)
    spots = smoothstep(2.0, 3.2, fractal(shape, 34 * scale, 5, rng, 0.65)) * np.float32(0.35)
    angle = rng.uniform(0, 2 * math.pi)
    x = np.linspace(-1, 1, shape[1], dtype=np.float32)[None, :]
    y = np.linspace(-1, 1, shape[0], dtype=np.float32)[:, None]
    slant = np.clip(x * math.cos(angle) + y * math.sin(angle), 0, 1) * np.float32(0.25)
    dark = np.clip(1 - np.float32(amount) * (pool + rim + spots + slant), 0.2, 1)
    surface.albedo *= np.stack([dark**0.85, dark, dark**1.1], 2)


def scratch(surface: Surface, amount: float, rng: Rng) -> None:
    """Add long handling scratches and short nicks, as shallow grooves that catch the light."""
    groove = np.zeros(surface.shape, np.float32)
    for place in scatter(rng, round(34 * amount), surface.shape):
        long = float(np.exp(rng.normal(4.2, 0.8))) * surface.scale
        angle = rng.normal(0.5, 0.9)
        bow = rng.normal(0, 0.06, 8)
        heading = angle + np.cumsum(bow)
        points = (np.cumsum(np.stack([np.cos(heading), np.sin(heading)], 1) * long / 8, 0) + place) * 16
        cv2.polylines(groove, [points.astype(np.int32)], False, float(rng.uniform(0.3, 1.0)), 1, cv2.LINE_AA, 4)
    groove = blur(groove, 0.6 * surface.scale)
    surface.height -= groove * np.float32(0.9 * surface.scale)
    surface.albedo *= (1 + 0.35 * groove)[..., None]


def end_surface(surface: Surface, edge: str, extent: Box, view: Box, rng: Rng) -> Floats:
    """End the surface at one side, 'felt-top' say: BEYOND's name, then top, bottom, left or right.

    `extent` is the box of all marks and `view` the box that the photo sees, both left, top, right, bottom on the
    canvas; the edge lies between them. Returns the distance beyond the edge (H, W) in pixels, negative on the surface.
    """
    if not edge:
        return np.full(surface.shape, -1e6, np.float32)
    what, side = edge.rsplit("-", 1)
    beyond = _beyond(surface, side, extent, view, rng)
    unit = np.float32(surface.unit)
    # the arris of the board is worn round, and a darker joint shows beside it
    surface.height -= np.square(np.clip(1 + beyond / (1.6 * unit), 0, 1)) * unit * np.float32(0.5)
    _cover_beyond(surface, what, beyond, rng)
    surface.albedo *= (1 - 0.75 * np.exp(-np.square(beyond / (0.5 * unit))))[..., None]
    normal = {"top": (0.0, -1.0), "bottom": (0.0, 1.0), "left": (-1.0, 0.0), "right": (1.0, 0.0)}[side]
    surface.screens.append(StepShadow(beyond, BEYOND[what][1], normal, surface.unit))
    return beyond


def _cover_beyond(surface: Surface, what: str, beyond: Floats, rng: Rng) -> None:
    """Put felt, iron, another board or darkness beyond the edge."""
    color, level = BEYOND[what]
    felt = "felt" in what
    unit = np.float32(surface.unit)
    rough = fractal(surface.shape, 3 * surface.unit, 4, rng, 0.7)
    cover = smoothstep(-0.6 * surface.scale, 0.6 * surface.scale, beyond)
    other = linear(color) * np.clip(1 + (0.14 if felt else 0.10) * rough, 0.2, 1.8)[..., None]
    surface.albedo += cover[..., None] * (other - surface.albedo)
    surface.gloss += cover * (np.float32(0.3 if what in ("iron", "key-slip") else 0.02) - surface.gloss)
    level_px = level * unit * np.float32(0.5) + rough * unit * np.float32(0.10 if felt else 0.03)
    step = smoothstep(-2.5 * surface.scale, 2.5 * surface.scale, beyond)
    surface.height += step * (level_px - surface.height)


def _beyond(
    surface: Surface,
    side: str,
    extent: Box,
    view: Box,
    rng: Rng,
) -> Floats:
    """Return the signed distance beyond the edge in pixels, positive outside the surface."""
    index = {"left": 0, "top": 1, "right": 2, "bottom": 3}[side]
    place = extent[index] + (view[index] - extent[index]) * float(rng.uniform(0.45, 0.72))
    sign = -1.0 if side in ("top", "left") else 1.0
    x = np.arange(surface.shape[1], dtype=np.float32)[None, :]
    y = np.arange(surface.shape[0], dtype=np.float32)[:, None]
    slope = math.tan(math.radians(float(rng.normal(0, 1.2))))
    main, other = (y, x) if side in ("top", "bottom") else (x, y)
    middle = (view[0] + view[2]) / 2 if side in ("top", "bottom") else (view[1] + view[3]) / 2
    return np.asarray(
        np.float32(sign) * (main - np.float32(place) + np.float32(slope) * (other - np.float32(middle))), np.float32
    )


def free_places(count: int, radius: float, quads: list[Floats], view: Box, rng: Rng) -> list[tuple[float, float]]:
    """Return up to `count` places inside the view, `radius` clear of all quads and two radii of each other."""
    found: list[tuple[float, float]] = []
    for _ in range(40 * count):
        if len(found) == count:
            break
        x = float(rng.uniform(view[0] + radius, view[2] - radius))
        y = float(rng.uniform(view[1] + radius, view[3] - radius))
        clear = all(cv2.pointPolygonTest(q, (x, y), True) < -1.3 * radius for q in quads)
        if clear and all(math.hypot(x - a, y - b) > 2.5 * radius for a, b in found):
            found.append((x, y))
    return found


def drive_screw(surface: Surface, place: tuple[float, float], brass: bool, rng: Rng) -> None:
    """Set a slotted screw head, 9 mm across, sunk a little, in place."""
    radius = 4.6 * surface.unit
    reach = math.ceil(radius * 1.35)
    x0, y0 = max(0, round(place[0]) - reach), max(0, round(place[1]) - reach)
    at = (slice(y0, y0 + 2 * reach), slice(x0, x0 + 2 * reach))
    if surface.height[at].size == 0:
        return
    rows, columns = surface.height[at].shape
    y, x = np.mgrid[:rows, :columns].astype(np.float32)
    x, y = x + np.float32(x0 - place[0]), y + np.float32(y0 - place[1])
    away = np.hypot(x, y)
    cover = smoothstep(-0.8, 0.8, np.float32(radius) - away)
    turn = rng.uniform(0, math.pi)
    slot = (
        smoothstep(-0.6, 0.6, np.float32(0.6 * surface.unit) - np.abs(x * math.sin(turn) - y * math.cos(turn))) * cover
    )
    dome = np.sqrt(np.clip(1 - np.square(away / np.float32(radius * 1.12)), 0, 1)) * np.float32(1.6 * surface.unit)
    bore = np.exp(-np.square((away - np.float32(radius)) / np.float32(0.5 * surface.unit)))
    scuffs = blur(rng.standard_normal(away.shape, dtype=np.float32), 0.9) * np.float32(0.04 * surface.unit)
    base = float(surface.height[at].mean())
    surface.height[at] += cover * (base + dome + scuffs - np.float32(0.9 * surface.unit) * slot - surface.height[at])
    color = linear((166, 132, 72) if brass else (96, 90, 84)) * np.float32(rng.uniform(0.6, 1.0))
    surface.albedo[at] += cover[..., None] * (color - surface.albedo[at])
    surface.albedo[at] *= (1 - 0.65 * np.maximum(bore * 0.8, slot))[..., None]
    surface.gloss[at] += cover * (0.55 - surface.gloss[at])
    surface.metal[at] += cover * (0.9 - surface.metal[at])


def cast_hand(surface: Surface, amount: float, view: Box, rng: Rng) -> None:
    """Let a hand or the phone stand in the torch's light at a corner: a soft shadow with finger ends."""
    if amount <= 0:
        return
    corner = (view[0] if rng.random() < 0.5 else view[2], view[1] if rng.random() < 0.5 else view[3])
    wide = (view[2] - view[0]) * (0.22 + 0.2 * amount)
    cover = np.zeros(surface.shape, np.float32)
    cv2.circle(cover, (round(corner[0]), round(corner[1])), round(wide * 0.8), 1.0, -1)
    inward = math.atan2((view[1] + view[3]) / 2 - corner[1], (view[0] + view[2]) / 2 - corner[0])
    for finger in range(3):
        angle = inward + (finger - 1) * 0.5 + rng.normal(0, 0.08)
        tip = (round(corner[0] + wide * 1.25 * math.cos(angle)), round(corner[1] + wide * 1.25 * math.sin(angle)))
        cv2.line(cover, (round(corner[0]), round(corner[1])), tip, 1.0, max(2, round(wide * 0.28)))
    surface.screens.append(HandShadow(blur(cover, wide * 0.10) * np.float32(0.55 + 0.35 * amount)))
