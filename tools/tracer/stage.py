"""Builds a Plan in Blender and takes the photo: `render(spec, seed)`.

The board is one mesh whose grid is as fine as the photo's pixels under the marks and coarser elsewhere; cuts and
castings are displaced vertices, so they shade and shadow each other truly. things.py adds what stands around.
"""

from __future__ import annotations

import math
import os
from dataclasses import replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.renderer import camera as cameras
from tools.renderer.camera import Frame
from tools.renderer.noise import fractal
from tools.renderer.spec import Floats, SceneSpec, Truth, truth_of
from tools.tracer import blender, things
from tools.tracer.grounds import Ground
from tools.tracer.inscribe import Line
from tools.tracer.places import beyond
from tools.tracer.plan import Plan, Sheet, mark_truths, plan_scene, to_world

SAMPLES = 3
"""Paths to a pixel; a small torch is nearly free of noise, and the denoiser and the phone's own noise hide the rest."""
COARSE_PX, FINE_PX = 6.0, 1.0
"""Spacing of the board's vertices in canvas pixels, away from the marks and under them."""
STEPS_A_FIGURE = 70
"""Vertices over a figure's height where that is coarser than FINE_PX."""
MOST_VERTICES = 300_000
PUPIL_MM = 2.4
"""The lens opening of a phone's main camera (common practice: 4 to 6 mm focal length at f/1.8 to f/2.2)."""
TORCH_RADIUS_MM = 4.0
LEAST_LIFT_MM = 0.12
"""Thickness of a card and its paste."""


def render(spec: SceneSpec, seed: int, samples: int = SAMPLES) -> tuple[NDArray[np.uint8], Truth]:
    """Return the photo, (H, W, 3) uint8 RGB, and the truth about it.

    The same spec, seed and samples give the same pixels on one machine and build of bpy. Raises KeyError for a material
    or character that does not exist.
    """
    plan = plan_scene(spec, seed)
    build(plan, seed)
    light = blender.render(samples, seed, os.cpu_count() or 1)
    marks = mark_truths(spec, plan.frame, plan.lines, plan.sheet)
    return take_photo(light, plan, seed), truth_of(spec, marks)


def build(plan: Plan, seed: int) -> None:
    """Make the scene in Blender."""
    rng = np.random.default_rng([seed, 48])
    blender.clear()
    _add_board(plan)
    if plan.sheet is not None and plan.paper is not None:
        _add_sheet(plan, plan.sheet, plan.paper, rng)
    things.add_things(plan, rng)
    _light(plan, rng)
    _aim_camera(plan, rng)


def take_photo(light: Floats, plan: Plan, seed: int) -> NDArray[np.uint8]:
    """Return what the phone makes of the light: shake, exposure, noise, tone, JPEG (tools.renderer.camera)."""
    spec, rng = plan.spec, np.random.default_rng([seed, 49])
    height, width = light.shape[:2]
    flat = Frame(np.eye(3), (height, width), (0.0, 0.0), plan.frame.scale, (width, height), plan.frame.eye)
    sharp = replace(spec.camera, defocus_px=0.0)  # the lens has blurred already
    pixels = cameras.take(light, flat, sharp, spec.light.warmth, rng)
    return cameras.open_jpeg(cameras.jpeg(pixels, spec.camera.jpeg_quality))


def grid_lines(length: int, fine: list[tuple[float, float, float]]) -> Floats:
    """Return rising places from 0 to `length` - 1: within fine ranges (from, to, step) a step apart, else COARSE_PX."""
    places = [np.arange(0, length - 1, COARSE_PX)]
    for low, high, step in fine:
        places.append(np.arange(max(low, 0), min(high, length - 1), step))
    merged = np.unique(np.r_[np.concatenate(places), length - 1])
    keep = np.r_[True, np.diff(merged) > 0.35 * min([FINE_PX, *(step for _, _, step in fine)])]
    return np.asarray(merged[keep], np.float32)


def _add_board(plan: Plan) -> None:
    """Add the board with everything cut into it; beyond an edge it falls away."""
    board = plan.board
    marked = plan.lines if plan.paper is None else []
    xs, ys = (_beyond_sight(places) for places in _grid(marked, board.shape))
    vertices, uv = _sample(board, xs, ys, plan)
    material = _material("board", board)
    edge = plan.things.edge
    if edge is not None:
        gone = np.array([beyond(edge, np.asarray(v), 0.0) for v in vertices[:, :2]])
        vertices[gone, 2] -= things.BOARD_MM
    blender.add_mesh("board", vertices, blender.grid_faces(len(ys), len(xs)), material, uv)


def _grid(lines: list[Line], shape: tuple[int, int]) -> tuple[Floats, Floats]:
    """Return the places of the mesh's columns and rows, fine under the lines of marks."""
    margin, coarser = 6.0, 1.0
    while True:
        fine: list[list[tuple[float, float, float]]] = [[], []]
        for line in lines:
            step = coarser * max(FINE_PX, line.height_px / STEPS_A_FIGURE)
            low, high = line.quad.min(0) - margin, line.quad.max(0) + margin
            for axis in (0, 1):
                fine[axis].append((float(low[axis]), float(high[axis]), step))
        xs, ys = grid_lines(shape[1], fine[0]), grid_lines(shape[0], fine[1])
        if len(xs) * len(ys) <= MOST_VERTICES or coarser > COARSE_PX:
            return xs, ys
        coarser *= 1.2


def _beyond_sight(places: Floats) -> Floats:
    """Return the places with one more at either end, so that nothing tall can look over the board's rim."""
    far = np.float32(places[-1])
    return np.concatenate([[-far], places, [2 * far]]).astype(np.float32)


def _sample(ground: Ground, xs: Floats, ys: Floats, plan: Plan) -> tuple[Floats, Floats]:
    """Return world vertices (N, 3) and uv (N, 2) of a grid over a ground."""
    grid_x, grid_y = np.meshgrid(xs, ys)
    edge = cv2.BORDER_REPLICATE
    relief = np.asarray(cv2.remap(ground.relief, grid_x, grid_y, cv2.INTER_LINEAR, borderMode=edge), np.float32)
    points = np.stack([grid_x.ravel(), grid_y.ravel()], 1)
    rows, columns = ground.shape
    uv = np.stack([(points[:, 0] + 0.5) / columns, 1 - (points[:, 1] + 0.5) / rows], 1)
    return to_world(plan.frame, plan.unit, points, relief.ravel()), uv.astype(np.float32)


def _material(name: str, ground: Ground) -> Any:
    """Return the material of a ground's maps."""
    across = np.gradient(ground.skin, axis=1) * ground.unit
    upward = -np.gradient(ground.skin, axis=0) * ground.unit
    slopes = np.dstack([across, upward]).astype(np.float32)
    return blender.mapped_material(name, ground.albedo, ground.metal, ground.rough, slopes)


def _add_sheet(plan: Plan, sheet: Sheet, paper: Ground, rng: np.random.Generator) -> None:
    """Add the card or label as a thin bowed sheet, cut straight or torn."""
    points, rows, columns = _sheet_points(sheet, plan.unit, rng)
    # it lies on the board and follows it
    under = np.asarray(
        cv2.remap(
            plan.board.relief + np.maximum(paper.relief, -LEAST_LIFT_MM),
            points[:, :1],
            points[:, 1:],
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        ),
        np.float32,
    ).ravel()
    z = sheet.height_mm(points) + under + np.float32(LEAST_LIFT_MM)
    uv = np.stack([(points[:, 0] + 0.5) / paper.shape[1], 1 - (points[:, 1] + 0.5) / paper.shape[0]], 1)
    material = _material("paper", paper)
    vertices = to_world(plan.frame, plan.unit, points, z)
    blender.add_mesh("paper", vertices, blender.grid_faces(rows, columns), material, uv.astype(np.float32))


def _sheet_points(sheet: Sheet, unit: float, rng: np.random.Generator) -> tuple[Floats, int, int]:
    """Return a sheet's vertices on the canvas (N, 2) by rows, and the number of rows and columns; its rim is ragged."""
    left, top, right, bottom = sheet.box
    reach = (1.1 if sheet.torn else 0.12) * unit
    inset = 2 * reach
    xs = np.r_[left, np.linspace(left + inset, right - inset, max(20, round((right - left) / 3))), right]
    ys = np.r_[top, np.linspace(top + inset, bottom - inset, max(20, round((bottom - top) / 3))), bottom]
    x, y = np.meshgrid(xs, ys)

    def ragged(count: int) -> Floats:
        return np.asarray(
            np.clip(reach * fractal((1, count), count / 6, 6, rng, 0.65)[0], -1.6 * reach, 1.6 * reach), np.float32
        )

    x[:, 0] += ragged(len(ys))
    x[:, -1] += ragged(len(ys))
    y[0] += ragged(len(xs))
    y[-1] += ragged(len(xs))
    return np.stack([x.ravel(), y.ravel()], 1).astype(np.float32), len(ys), len(xs)


def _light(plan: Plan, rng: np.random.Generator) -> None:
    """Add the torch, and a dim room with a window, a ceiling and dark corners."""
    light, held = plan.spec.light, plan.things
    cone = 4.4 * light.beam_deg
    blender.add_torch(held.torch, held.aim, cone, TORCH_RADIUS_MM, 1.0)
    facing = max(math.sin(math.radians(light.elevation_deg)), 0.2)
    rows, columns = 32, 64
    sky = 0.5 + 0.25 * fractal((rows, columns), 14, 4, rng)
    column = int(rng.integers(columns))
    window = np.zeros((rows, columns), np.float32)
    window[9:15, :7] = 9.0
    sky = np.clip(sky, 0.1, 2) + np.roll(window, column, 1)
    elevation = np.linspace(math.pi / 2, -math.pi / 2, rows, dtype=np.float32)[:, None]
    # the mean over the upper half, weighted as a level surface sees it
    weight = np.maximum(np.sin(elevation), 0) * np.cos(elevation) * np.ones((1, columns), np.float32)
    sky *= light.ambient * facing / float((sky * weight).sum() / weight.sum())
    tint = np.array([0.94, 1.0, 1.08], np.float32)
    blender.set_room(np.asarray(sky[..., None] * tint, np.float32))


def _aim_camera(plan: Plan, rng: np.random.Generator) -> None:
    """Focus on the marks, off by as much as the spec's defocus says, by a phone's lens opening."""
    camera, spec = plan.camera, plan.spec
    middle = np.mean([line.quad.mean(0) for line in plan.lines] or [plan.frame.origin_xy], axis=0)
    point = to_world(plan.frame, plan.unit, middle[None].astype(np.float32), 0.0)[0]
    depth = float((camera.turn @ (point - camera.eye))[2])
    radius_px = spec.camera.defocus_px * plan.frame.scale
    # a disc of radius r pixels: r = aperture / 2 * focal * |1 / depth - 1 / focus|
    shift = 2 * radius_px / (PUPIL_MM * camera.focal_px)
    sign = 1.0 if rng.random() < 0.5 else -1.0
    focus = 1.0 / max(1.0 / depth + sign * shift, 1e-4)
    blender.set_camera(camera, focus, PUPIL_MM)
