"""Renders a SceneSpec to a photograph and its truth: the ground, the strings on it, clutter, light, camera.

pixels, truth = render(spec, seed)     # (H, W, 3) uint8 RGB, Truth with quads in photo pixels
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from reader.geometry import map_points
from tools.renderer import camera as cameras
from tools.renderer import clutter, strings
from tools.renderer.camera import Frame, frame_of
from tools.renderer.iron import PAINTS, make_iron
from tools.renderer.layout import rough_quad
from tools.renderer.light import Surface, Torch, shade, torch_at
from tools.renderer.marks import draw_mark, pick_color
from tools.renderer.noise import Rng
from tools.renderer.paper import lay_paper, rule_lines
from tools.renderer.random_scenes import random_spec
from tools.renderer.spec import ClutterSpec, Floats, MarkSpec, MarkTruth, SceneSpec, Truth, truth_of
from tools.renderer.wood import make_wood

__all__ = ["MarkTruth", "SceneSpec", "Truth", "random_spec", "render"]

Box = tuple[float, float, float, float]

DEFAULT_WOOD = {"chalk": "dark-pine", "ink-soundboard": "spruce", "wood-etched": "walnut-varnished"}
"""Board of a spec without a material; pine for the other kinds."""


def render(spec: SceneSpec, seed: int) -> tuple[NDArray[np.uint8], Truth]:
    """Return the photo, (H, W, 3) uint8 RGB with `spec.size` = (W, H), and the truth about it.

    The same spec and seed give the same pixels (on one machine and OpenCV build). About 1.5 s for 1600 x 1200 on one
    core. Raises KeyError for a material or character that does not exist.
    """
    rng = np.random.default_rng([seed, 20])
    frame = frame_of(spec)
    torch = _torch(spec, frame)
    rough = [rough_quad(mark, frame) for mark in spec.marks]
    surface = _ground(spec, frame, rough, rng)
    clutter.stain(surface, spec.clutter.stains, rng)
    quads = _draw_marks(surface, spec, frame, rng)
    _add_clutter(surface, spec, frame, torch, quads or [_middle(frame)], rng=rng)
    light = shade(surface, torch, frame.eye)
    pixels = cameras.take(light, frame, spec.camera, spec.light.warmth, rng)
    if spec.print_age > 0:
        pixels = cameras.age_print(pixels, spec.print_age, rng)
    # encoded and decoded, so that the pixels carry what JPEG does to them
    pixels = cameras.open_jpeg(cameras.jpeg(pixels, spec.camera.jpeg_quality))
    return pixels, truth_of(spec, [map_points(frame.to_photo, quad) for quad in quads])


def _torch(spec: SceneSpec, frame: Frame) -> Torch:
    """Return the torch of a spec in canvas pixels."""
    light = spec.light
    aim = frame.place(*light.aim)
    distance = light.distance * max(spec.size)
    position = torch_at(aim, light.azimuth_deg, light.elevation_deg, distance)
    return Torch(position, aim, light.beam_deg, light.ambient, (1.0, 1.0, 1.0))


def _ground(spec: SceneSpec, frame: Frame, quads: list[Floats], rng: Rng) -> Surface:
    """Return the bare surface that the marks go on."""
    unit = spec.px_per_mm * frame.scale
    if spec.kind in ("cast-iron", "stencil-iron"):
        paint = spec.material or "bronze"
        rough = 1.0 if spec.kind == "cast-iron" else 0.35
        return make_iron(frame.shape, unit, frame.scale, paint, rough, wear=spec.wear * 0.8, rng=rng)
    if spec.kind != "card":
        return make_wood(
            frame.shape,
            unit,
            frame.scale,
            spec.material or DEFAULT_WOOD.get(spec.kind, "pine"),
            spec.grain_deg,
            rng=rng,
        )
    paper, _, rest = (spec.material or "cream").partition("/")
    border, _, wood = rest.partition("/")
    surface = make_wood(frame.shape, unit, frame.scale, wood or "walnut-varnished", spec.grain_deg, rng=rng)
    box = _paper_box(quads or [_middle(frame)], unit)
    torn = 0.8 if border == "torn" else 0.08
    lay_paper(surface, box, paper, torn, spec.wear, toward_light_deg=spec.light.azimuth_deg, rng=rng)
    rule_lines(surface, box, "" if border == "torn" else border)
    return surface


def _paper_box(quads: list[Floats], unit: float) -> Box:
    """Return a sheet around all marks with a margin."""
    box = _box(quads)
    x, y = 0.14 * (box[2] - box[0]) + 5 * unit, 0.25 * (box[3] - box[1]) + 5 * unit
    return box[0] - x, box[1] - y, box[2] + x, box[3] + y


def _box(quads: list[Floats]) -> Box:
    points = np.vstack(quads)
    (left, top), (right, bottom) = points.min(0).tolist(), points.max(0).tolist()
    return left, top, right, bottom


def _middle(frame: Frame) -> Floats:
    """Return a box in the middle of the view, for scenes without a mark."""
    (left, top), (right, bottom) = frame.place(-0.15, -0.08), frame.place(0.15, 0.08)
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]], np.float32)


def _view(frame: Frame) -> Box:
    """Return the upright box on the canvas that the photo surely sees."""
    width, height = frame.size
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    seen = np.sort(map_points(np.asarray(np.linalg.inv(frame.to_photo), np.float64), corners), axis=0)
    return float(seen[1, 0]), float(seen[1, 1]), float(seen[2, 0]), float(seen[2, 1])


def _draw_marks(surface: Surface, spec: SceneSpec, frame: Frame, rng: Rng) -> list[Floats]:
    """Draw every string; marks of one technique share one tin of paint. Returns their quads on the canvas."""
    paints: dict[str, Floats] = {}
    quads = []
    for mark in spec.marks:
        color = paints.setdefault(mark.technique, pick_color(mark.technique, rng))
        quads.append(
            draw_mark(surface, mark, frame.place(mark.x, mark.y), spec.relief, _wear(spec, mark), color=color, rng=rng)
        )
    return quads


def _wear(spec: SceneSpec, mark: MarkSpec) -> float:
    """Return a mark's own wear: the scene's, less for strong ones."""
    return float(np.clip(spec.wear + 0.25 * (1 - mark.strength), 0, 1))


def _add_clutter(
    surface: Surface, spec: SceneSpec, frame: Frame, torch: Torch, quads: list[Floats], *, rng: Rng
) -> None:
    """Add dirt, the surface's edge, screws, strings, pins and a hand's shadow, in that order."""
    wanted, view = spec.clutter, _view(frame)
    clutter.scratch(surface, wanted.scratches, rng)
    clutter.settle_dust(surface, wanted.dust, rng)
    flat = np.array(torch.position[:2]) - np.array(torch.aim_xy)
    toward = flat / max(float(np.linalg.norm(flat)), 1e-6)
    light_xy = (float(toward[0]), float(toward[1]))
    beyond = clutter.end_surface(surface, wanted.edge, _box(quads), view, light_xy, rng=rng)
    brass = spec.material in PAINTS or rng.random() < 0.4
    for x, y in clutter.free_places(wanted.screws, 5.5 * surface.unit, quads, view, rng):
        if beyond[round(y), round(x)] < -6.0 * surface.unit:
            clutter.drive_screw(surface, (x, y), brass, rng)
    _add_strings(surface, wanted, view, strings.Aloft(torch.position, frame.eye), quads, rng=rng)
    clutter.cast_hand(surface, wanted.hand_shadow, view, rng)


def _add_strings(
    surface: Surface, wanted: ClutterSpec, view: Box, aloft: strings.Aloft, quads: list[Floats], *, rng: Rng
) -> None:
    """Add strings and tuning pins in front."""
    over, turn = wanted.strings_over_marks, wanted.string_turn_deg
    strings.run_strings(surface, wanted.strings, turn, over, quads, aloft=aloft, rng=rng)
    for place in strings.pin_places(wanted.pins, quads, view, surface.unit, aloft, rng=rng):
        away = -10.0 if place[1] < _box(quads)[1] else float(surface.shape[0] + 10)
        strings.drive_pin(surface, place, away, aloft, rng)
