"""The bare surface of a scene, before anything is marked on it, and boxes on its canvas."""

from __future__ import annotations

import numpy as np

from reader.geometry import map_points
from tools.renderer.camera import Frame
from tools.renderer.iron import make_iron
from tools.renderer.light import Surface
from tools.renderer.noise import Rng
from tools.renderer.paper import lay_paper, rule_lines
from tools.renderer.spec import Floats, SceneSpec
from tools.renderer.wood import make_wood

Box = tuple[float, float, float, float]
"""Left, top, right, bottom in canvas pixels."""

DEFAULT_WOOD = {"chalk": "dark-pine", "ink-soundboard": "spruce", "wood-etched": "walnut-varnished"}
"""Board of a spec without a material; pine for the other kinds."""


def make_ground(spec: SceneSpec, frame: Frame, quads: list[Floats], rng: Rng) -> Surface:
    """Return the bare surface that the marks go on."""
    unit = spec.px_per_mm * frame.scale
    if spec.kind in ("cast-iron", "stencil-iron"):
        paint = spec.material or "bronze"
        rough = 1.0 if spec.kind == "cast-iron" else 0.35
        return make_iron(
            frame.shape, unit, frame.scale, paint, rough, wear=spec.wear * 0.8, clouds=spec.clouds, rng=rng
        )
    if spec.kind != "card":
        return make_wood(
            frame.shape,
            unit,
            frame.scale,
            spec.material or DEFAULT_WOOD.get(spec.kind, "pine"),
            spec.grain_deg,
            clouds=spec.clouds,
            rng=rng,
        )
    paper, _, rest = (spec.material or "cream").partition("/")
    border, _, wood = rest.partition("/")
    surface = make_wood(
        frame.shape, unit, frame.scale, wood or "walnut-varnished", spec.grain_deg, clouds=spec.clouds, rng=rng
    )
    box = _paper_box(quads or [middle_box(frame)], unit)
    torn = 0.8 if border == "torn" else 0.08
    lay_paper(surface, box, paper, torn, spec.wear, rng=rng)
    rule_lines(surface, box, "" if border == "torn" else border)
    return surface


def _paper_box(quads: list[Floats], unit: float) -> Box:
    """Return a sheet around all marks with a margin."""
    box = box_of(quads)
    x, y = 0.14 * (box[2] - box[0]) + 5 * unit, 0.25 * (box[3] - box[1]) + 5 * unit
    return box[0] - x, box[1] - y, box[2] + x, box[3] + y


def box_of(quads: list[Floats]) -> Box:
    """Return the upright box around quads."""
    points = np.vstack(quads)
    (left, top), (right, bottom) = points.min(0).tolist(), points.max(0).tolist()
    return left, top, right, bottom


def middle_box(frame: Frame) -> Floats:
    """Return a box in the middle of the view, for scenes without a mark."""
    (left, top), (right, bottom) = frame.place(-0.15, -0.08), frame.place(0.15, 0.08)
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]], np.float32)


def seen_box(frame: Frame) -> Box:
    """Return the upright box on the canvas that the photo surely sees."""
    width, height = frame.size
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    seen = np.sort(map_points(np.asarray(np.linalg.inv(frame.to_photo), np.float64), corners), axis=0)
    return float(seen[1, 0]), float(seen[1, 1]), float(seen[2, 0]), float(seen[2, 1])
