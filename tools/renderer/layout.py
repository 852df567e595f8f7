"""Where strings stand: their sizes, lines under each other, and a place where the photo sees them all."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from reader.geometry import map_points
from tools.renderer.camera import Frame, frame_of
from tools.renderer.lettering import print_mask, string_size
from tools.renderer.noise import Rng
from tools.renderer.spec import BASE_WIDTH_PX, Floats, MarkSpec, SceneSpec


def mark_size(mark: MarkSpec) -> tuple[float, float]:
    """Return a mark's width and height in pixels of a 1600-pixel photo, before shaking."""
    if mark.technique == "print":
        height, width = print_mask(mark.text, mark.height).shape
        return float(width), float(height)
    return string_size(mark.text, mark.style, mark.height, mark.technique)


def rough_quad(mark: MarkSpec, frame: Frame) -> Floats:
    """Return the quad (4, 2) on the canvas that a mark will about fill."""
    width, height = mark_size(mark)
    angle = np.radians(mark.turn_deg)
    matrix = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]]) * frame.scale / 2
    corners = np.array([[-width, -height], [width, -height], [width, height], [-width, height]]) @ matrix.T
    return np.asarray(corners + np.array(frame.place(mark.x, mark.y)), np.float32)


def stack_lines(lines: list[list[MarkSpec]], gap: float = 0.6) -> tuple[MarkSpec, ...]:
    """Place lines under each other, each centered, the whole centered at (0, 0). `gap` is over line height."""
    placed: list[MarkSpec] = []
    top = 0.0
    for line in (entry for entry in lines if entry):
        sizes = [mark_size(m) for m in line]
        tall = max(m.height for m in line)
        between = 0.5 * tall
        left = -(sum(w for w, _ in sizes) + between * (len(line) - 1)) / 2
        for mark, (wide, _) in zip(line, sizes, strict=True):
            y = top + tall - mark.height / 2
            placed.append(replace(mark, x=(left + wide / 2) / BASE_WIDTH_PX, y=y / BASE_WIDTH_PX))
            left += wide + between
        top += tall * (1 + gap)
    if not placed:
        return ()
    middle = (top - gap * placed[-1].height) / 2 / BASE_WIDTH_PX
    return tuple(replace(m, y=m.y - middle) for m in placed)


def fit_marks(spec: SceneSpec, rng: Rng) -> SceneSpec:
    """Move the marks to a random place where the photo sees them all; while there is none, drop the widest neighbor."""
    marks = spec.marks
    while marks:
        for attempt in range(25):
            reach = 0.26 * (1 - attempt / 24)
            dx, dy = float(rng.uniform(-1, 1)) * reach, float(rng.uniform(-1, 1)) * reach * 0.75
            moved = tuple(replace(m, x=m.x + dx, y=m.y + dy) for m in marks)
            if _all_seen(replace(spec, marks=moved)):
                aim = (spec.light.aim[0] + dx, spec.light.aim[1] + dy)
                return replace(spec, marks=moved, light=replace(spec.light, aim=aim))
        widest = max(marks, key=lambda m: (m.kind != "serial", mark_size(m)[0]))
        marks = tuple(m for m in marks if m is not widest)
    return replace(spec, marks=())


def _all_seen(spec: SceneSpec) -> bool:
    """Return whether every mark lies inside the photo with a margin."""
    frame = frame_of(spec)
    width, height = spec.size
    margin = 0.02 * max(width, height)
    for mark in spec.marks:
        quad = map_points(frame.to_photo, rough_quad(mark, frame))
        low, high = quad.min(0) - margin, quad.max(0) + margin
        if low.min() < 0 or high[0] > width or high[1] > height:
            return False
    return True
