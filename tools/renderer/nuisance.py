"""More that is in the way: cobwebs, rust, a strip of felt, and cracks and streaks as large as strokes of figures.

Everything changes a Surface in place. Amounts run from 0 (none) to 1 (very much).
"""

from __future__ import annotations

import math

import cv2
import numpy as np

from tools.renderer.ground import Box
from tools.renderer.light import Surface
from tools.renderer.noise import Rng, blur, fractal, smoothstep, value_noise
from tools.renderer.spec import Floats
from tools.renderer.wood import linear

FELTS = {"red": (120, 34, 32), "green": (52, 74, 46), "brown": (96, 74, 52), "gray": (128, 122, 112)}
"""sRGB colors of felts under strings and keys; set by eye."""
FELT_MM, FELT_UP_MM = (9.0, 18.0), 2.5
"""Half width and thickness of a strip of felt (common practice: 3 to 4 mm new, less pressed)."""
WEB_GRAY = (196, 190, 178)


def false_strokes(surface: Surface, amount: float, quads: list[Floats], grain_deg: float, rng: Rng) -> None:
    """Add what may be read as a 1 or a 7: cracks and resin streaks along the grain, slips of a tool across it."""
    if amount <= 0:
        return
    dark, deep = np.zeros(surface.shape, np.float32), np.zeros(surface.shape, np.float32)
    points = np.vstack(quads)
    low, high = points.min(0), points.max(0)
    tall = float(min(np.linalg.norm(q[3] - q[0]) for q in quads))
    for _ in range(round(4 + 16 * amount)):
        near = rng.random() < 0.6
        place = rng.uniform(low - 1.6 * tall, high + 1.6 * tall) if near else rng.random(2) * surface.shape[::-1]
        crack = rng.random() < 0.55
        length = tall * float(rng.uniform(0.35, 1.3) if not crack else rng.uniform(0.5, 3.0))
        heading = math.radians(grain_deg) + float(rng.normal(0, 0.03)) if crack else float(rng.uniform(0, math.pi))
        bend = heading + np.cumsum(rng.normal(0, 0.03 if crack else 0.02, 12))
        steps = np.cumsum(np.stack([np.cos(bend), np.sin(bend)], 1) * length / 12, 0) + place
        thick = max(1, round(tall * float(rng.uniform(0.008, 0.03))))
        strength = float(rng.uniform(0.3, 1.0))
        for k in range(11):  # thinner toward both ends
            width = max(1, round(thick * math.sin(math.pi * (k + 1) / 12)))
            piece = [(steps[k : k + 2] * 16).astype(np.int32)]
            cv2.polylines(dark, piece, False, strength if crack else 0.4 * strength, width, cv2.LINE_AA, 4)
            cv2.polylines(deep, piece, False, strength, width, cv2.LINE_AA, 4)
    soft = 0.6 * surface.scale
    surface.albedo *= (1 - np.float32(0.7) * blur(dark, soft))[..., None]
    surface.height -= blur(deep, soft) * np.float32(0.02 * tall)


def rust(surface: Surface, amount: float, rng: Rng) -> None:
    """Let rust bloom through: orange at its edges, brown and scaly inside, running down where damp stood."""
    if amount <= 0:
        return
    shape, scale = surface.shape, surface.scale
    field = fractal(shape, 150 * scale, 6, rng, 0.66) + 0.6 * value_noise(shape, (220 * scale, 220 * scale), rng)
    bloom = smoothstep(1.9 - 1.5 * amount, 3.3 - 1.5 * amount, field)
    run = np.zeros((2 * round(60 * scale) + 1, 1), np.float32)
    run[len(run) // 2 :, 0] = np.exp(
        -np.linspace(0, 3, len(run) - len(run) // 2)
    )  # correlation: runs down from the spot
    streak = cv2.filter2D(smoothstep(0.35, 0.7, bloom), -1, run[::-1].copy() / run.sum()) * np.float32(0.45)
    streak *= np.clip(0.6 + 0.5 * value_noise(shape, (300 * scale, 5 * scale), rng), 0, 1)
    scale_up = value_noise(shape, (1.6 * scale, 1.6 * scale), rng)
    cover = np.clip(np.maximum(0.9 * bloom, streak), 0, 0.95)
    inner = smoothstep(0.45, 0.95, bloom)[..., None]
    color = linear((146, 84, 42)) + inner * (linear((82, 48, 32)) - linear((146, 84, 42)))
    surface.albedo += cover[..., None] * (color * np.clip(1 + 0.22 * scale_up, 0.4, 1.7)[..., None] - surface.albedo)
    surface.gloss *= 1 - 0.9 * cover
    surface.metal *= 1 - cover
    surface.height += bloom * np.clip(scale_up, -1.5, 1.5) * np.float32(0.45 * scale)


def lay_felt(surface: Surface, color: str, quads: list[Floats], view: Box, rng: Rng) -> None:
    """Lay a strip of felt across the picture, above or below the marks, where there is room. KeyError for a color."""
    if not color:
        return
    points = np.vstack(quads)
    low, high = float(points[:, 1].min()), float(points[:, 1].max())
    above = low - view[1] > view[3] - high
    room = low - view[1] if above else view[3] - high
    half = min(float(rng.uniform(*FELT_MM)) * surface.unit, 0.3 * room)
    if half < 4 * surface.scale:
        return
    middle = low - 0.55 * room if above else high + 0.55 * room
    x = np.arange(surface.shape[1], dtype=np.float32)[None, :]
    y = np.arange(surface.shape[0], dtype=np.float32)[:, None]
    slope = np.float32(rng.normal(0, 0.02))
    ragged = fractal(surface.shape, 8 * surface.unit, 3, rng) * np.float32(0.15 * surface.unit)
    edge = np.float32(half) - np.abs(y - np.float32(middle) + slope * (x - surface.shape[1] / 2)) + ragged
    moth = smoothstep(3.0, 4.2, value_noise(surface.shape, (2.2 * surface.unit, 2.8 * surface.unit), rng))
    wool = blur(rng.standard_normal(surface.shape, dtype=np.float32), 0.9 * surface.scale) * np.float32(2.0)
    hairy = np.float32(0.35 * surface.unit)
    cover = smoothstep(-1, 1, (edge - moth * np.float32(half)) / hairy + 0.5 * wool)
    tone = np.clip(1 + 0.14 * wool + 0.16 * fractal(surface.shape, 30 * surface.unit, 4, rng), 0.3, 1.8)
    surface.albedo += cover[..., None] * (linear(FELTS[color]) * tone[..., None] - surface.albedo)
    surface.gloss *= 1 - cover
    surface.metal *= 1 - cover
    # rounded at its edges
    body = np.sqrt(np.clip(edge / np.float32(1.5 * surface.unit), 0, 1)) * np.float32(FELT_UP_MM * surface.unit)
    surface.height += cover * (body + wool * np.float32(0.08 * surface.unit))


def spin_cobweb(surface: Surface, amount: float, quads: list[Floats], view: Box, rng: Rng) -> None:
    """Hang an old house spider's tangle into a corner of the view, threads thick with dust; it may reach the marks."""
    if amount <= 0:
        return
    cover = np.zeros(surface.shape, np.float32)
    side = np.array([1.0 if rng.random() < 0.5 else -1.0, 1.0 if rng.random() < 0.5 else -1.0])
    size = np.array([view[2] - view[0], view[3] - view[1]])
    corner = np.array([view[0] if side[0] > 0 else view[2], view[1] if side[1] > 0 else view[3]]) - 0.08 * size * side
    knots = []
    for _ in range(8 + round(22 * amount)):  # from one side of the corner to the other
        along, down = (0.15 + 0.75 * amount) * rng.beta(1.2, 2.0, 2) * size
        a, b = corner + np.array([along * side[0], 0]), corner + np.array([0, down * side[1]])
        _thread(cover, a, b, float(rng.uniform(-0.02, 0.10)), float(rng.uniform(0.08, 0.5)))
        knots.append(a + float(rng.uniform(0.2, 0.8)) * (b - a))
    for _ in range(round(30 * amount)):  # and between those threads
        a, b = (knots[int(k)] for k in rng.integers(0, len(knots), 2))
        _thread(cover, a, b, float(rng.uniform(0, 0.2)), float(rng.uniform(0.05, 0.3)))
    for _ in range(round(5 * amount)):  # single ones anywhere
        a = rng.random(2) * surface.shape[::-1]
        b = a + rng.normal(0, 0.12, 2) * size
        _thread(cover, a, b, float(rng.uniform(0.02, 0.3)), float(rng.uniform(0.1, 0.4)))
    clots = smoothstep(0.6, 2.4, fractal(surface.shape, 60 * surface.scale, 5, rng, 0.75))
    fuzz = blur(cover, 1.6 * surface.scale) * (0.3 + 3.5 * clots) + blur(cover, 9 * surface.scale) * (0.4 + 1.6 * clots)
    web = np.clip(blur(cover, 0.5 * surface.scale) * (0.5 + clots) + fuzz, 0, 0.8)
    surface.albedo += web[..., None] * (linear(WEB_GRAY) - surface.albedo)
    surface.gloss *= 1 - web


def _thread(cover: Floats, a: Floats, b: Floats, sag: float, strength: float) -> None:
    """Draw a thread from a to b that sags down the picture, by a share of its length."""
    t = np.linspace(0, 1, 14)[:, None]
    points = a + t * (b - a) + np.array([0.0, sag * float(np.linalg.norm(b - a))]) * 4 * t * (1 - t)
    cv2.polylines(cover, [(points * 16).clip(-(2**20), 2**20).astype(np.int32)], False, strength, 1, cv2.LINE_AA, 4)
