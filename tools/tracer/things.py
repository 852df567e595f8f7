"""The things that stand on and around a board: strings, tuning pins, screws and bolts, felt, rails, a rim, a hand."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from tools.renderer.noise import Rng, fractal
from tools.renderer.spec import Floats
from tools.tracer import blender
from tools.tracer.pinhole import Matrix
from tools.tracer.places import EDGE_MM, PIN_MM, PIN_RADIUS_MM, Edge
from tools.tracer.plan import Plan, to_world

STEEL, COPPER, BRASS, BLUED = (0.55, 0.54, 0.52), (0.62, 0.30, 0.17), (0.60, 0.42, 0.18), (0.16, 0.17, 0.20)
"""Linear colors of metals; steel and copper after optical tables, dulled by eye."""
FELTS = {"felt": (0.24, 0.03, 0.03), "green-felt": (0.03, 0.11, 0.05)}
RAIL, IRON = (0.13, 0.07, 0.035), (0.30, 0.20, 0.08)
BOARD_MM = 35.0
"""Where the dark ground lies below a board that ends."""
HEAD_CELLS = 40
"""Vertices along a screw's head."""


def add_things(plan: Plan, rng: Rng) -> None:
    """Add everything in the plan's things but the torch."""
    things = plan.things
    tarnish = float(rng.uniform(0.22, 0.5))
    steel = blender.plain_material("steel", STEEL, tarnish, 1.0)
    copper = blender.plain_material("copper", COPPER, tarnish, 1.0, bump="winding")
    for number, string in enumerate(things.strings):
        metal = copper if string.wound else steel
        blender.add_tube(f"string{number}", string.start, string.end, string.radius_mm, metal)
    if len(things.pins):
        blued = blender.plain_material("pin", BLUED if rng.random() < 0.6 else STEEL, 0.35, 1.0)
        away = 1.0 if things.pins[:, 1].mean() > things.aim[1] else -1.0
        for number, place in enumerate(things.pins):
            far = away * _reach(plan)
            _drive_pin(f"pin{number}", np.asarray(place, np.float64), far, blued, steel, rng=rng)
    _add_screws(plan, rng)
    if things.edge is not None:
        _add_edge(things.edge, _reach(plan), rng)
    if plan.spec.kind == "cast-iron" and plan.lines and rng.random() < 0.6:
        _add_rim(plan, rng)
    skin = blender.plain_material("hand", (0.4, 0.25, 0.18), 0.6)
    for number in range(0, len(things.hand), 2):
        finger = blender.add_tube(
            f"finger{number}", things.hand[number], things.hand[number + 1], 8.5, skin, rounded=True
        )
        finger.visible_camera = False


def _drive_pin(name: str, place: Matrix, far_mm: float, metal: Any, wire: Any, *, rng: Rng) -> None:
    """Stand a pin, leaning a little, with a square head, three turns of wire and the string that leaves it."""
    lean = np.array([*rng.normal(0, 0.6, 2), 0.0])
    lean[1] += math.copysign(1.2, far_mm)
    foot, top = np.append(place, -3.0), np.append(place, PIN_MM - 7) + lean
    blender.add_tube(name, foot, top, PIN_RADIUS_MM, metal)
    blender.add_tube(name + "head", top, top + (top - foot) * 0.4, PIN_RADIUS_MM * 0.86, metal, sides=4)
    blender.add_tube(name + "eye", top, top + (top - foot) * 0.06, PIN_RADIUS_MM * 1.02, metal)
    for turn in range(3):
        at = foot + (top - foot) * (0.42 + 0.06 * turn)
        blender.add_tube(f"{name}turn{turn}", at, at + (top - foot) * 0.045, PIN_RADIUS_MM + 0.9, wire)
    start = foot + (top - foot) * 0.42 + np.array([PIN_RADIUS_MM + 0.4, 0, 0])
    end = start + np.array([float(rng.normal(0, 0.015)) * far_mm, far_mm, -2.0])
    blender.add_tube(name + "string", start, end, 0.5, wire, sides=12)


def _add_screws(plan: Plan, rng: Rng) -> None:
    """Set slotted screws in wood and on plates, or hexagonal bolts on cast ones."""
    if not len(plan.things.screws):
        return
    bolts = plan.spec.kind == "cast-iron" and rng.random() < 0.6
    brass = rng.random() < 0.35 and not bolts
    metal = blender.plain_material("screw", BRASS if brass else STEEL, float(rng.uniform(0.3, 0.5)), 1.0)
    for number, place in enumerate(plan.things.screws):
        radius = float(rng.uniform(3.8, 6.0))
        vertices = _bolt(radius * 1.25, rng) if bolts else _slotted(radius, rng)
        vertices[:, :2] += place
        blender.add_mesh(f"screw{number}", vertices, blender.grid_faces(HEAD_CELLS, HEAD_CELLS), metal)


def _disc(radius: float) -> tuple[Floats, Floats, Floats]:
    """Return x, y (N,) of a square grid bent into a disc (elliptical mapping), and the share of the radius there."""
    u, v = np.meshgrid(np.linspace(-1, 1, HEAD_CELLS), np.linspace(1, -1, HEAD_CELLS))
    x, y = u * np.sqrt(1 - v * v / 2), v * np.sqrt(1 - u * u / 2)
    share = np.hypot(x, y).ravel().astype(np.float32)
    return (x.ravel() * radius).astype(np.float32), (y.ravel() * radius).astype(np.float32), share


def _slotted(radius: float, rng: Rng) -> Floats:
    """Return a round-headed screw's vertices with a slot at a random turn."""
    x, y, share = _disc(radius)
    z = 0.42 * radius * np.sqrt(np.maximum(1.02 - share * share, 0)) - 0.05 * radius
    turn = float(rng.uniform(0, math.pi))
    across = np.abs(x * math.cos(turn) + y * math.sin(turn))
    z[across < 0.13 * radius] = -0.02 * radius
    z[share > 0.985] = -0.8
    return np.stack([x, y, z], 1).astype(np.float32)


def _bolt(radius: float, rng: Rng) -> Floats:
    """Return a hexagonal bolt's vertices, its corners rounded off above."""
    x, y, share = _disc(radius)
    turn = float(rng.uniform(0, math.pi / 3))
    angle = np.mod(np.arctan2(y, x) + turn, math.pi / 3) - math.pi / 6
    flat = (math.cos(math.pi / 6) / np.cos(angle)).astype(np.float32)
    x, y = x * flat, y * flat
    z = np.where(share < 0.96, 0.75 * radius - 0.12 * radius * share**4, -0.8)
    return np.stack([x, y, z], 1).astype(np.float32)


def _reach(plan: Plan) -> float:
    """Return a length in mm that surely leads out of the photo."""
    return 2.0 * max(plan.board.shape) / plan.unit


def _add_edge(edge: Edge, reach_mm: float, rng: Rng) -> None:
    """Add what lies beyond the surface's end: felt, a rail, an iron bar, or nothing but the dark below."""
    up = EDGE_MM[edge.what]
    sign = 1.0 if edge.side in ("top", "right") else -1.0
    if edge.what == "gap":
        dark = blender.plain_material("dark", (0.006, 0.005, 0.004), 0.9)
        floor = np.array([[-1, 1], [1, 1], [-1, -1], [1, -1]]) * 2 * reach_mm
        vertices = np.hstack([floor, np.full((4, 1), 1 - BOARD_MM)])
        blender.add_mesh("floor", vertices.astype(np.float32), blender.grid_faces(2, 2), dark)
        return
    if edge.what.endswith("felt"):
        material = blender.plain_material("felt", FELTS[edge.what], 1.0, bump="fuzz")
    elif edge.what == "rail":
        material = blender.plain_material("rail", RAIL, 0.4)
    else:
        material = blender.plain_material("bar", IRON, 0.45, 0.7)
    # out from the edge and up
    profile = np.array([[0.6, -20], [0.3, 0.2], [0.5, up - 0.8], [1.6, up], [8, up + 0.2], [30, up], [reach_mm, up]])
    count = 120
    wave = 0.25 * fractal((1, count), 30, 3, rng)[0] if edge.what.endswith("felt") else np.zeros(count)
    along = np.linspace(-reach_mm, reach_mm, count)
    rows = []
    for out, z in profile:
        place = edge.at_mm + sign * (out + wave)
        pair = (along, place) if edge.side in ("top", "bottom") else (place, along)
        rows.append(np.stack([*pair, np.full(count, z) + (wave if z > 0 else 0)], 1))
    blender.add_mesh("edge", np.vstack(rows).astype(np.float32), blender.grid_faces(len(rows), count), material)


def _add_rim(plan: Plan, rng: Rng) -> None:
    """Add the raised rim that frames cast lettering, in the plate's own paint."""
    points = np.vstack([line.quad for line in plan.lines])
    low, high = points.min(0), points.max(0)
    margin = float(rng.uniform(0.12, 0.3)) * (high[1] - low[1]) + 4 * plan.unit
    corners = np.array([[low[0] - margin, high[1] + margin], [high[0] + margin, low[1] - margin]], np.float32)
    (left, bottom, _), (right, top, _) = to_world(plan.frame, plan.unit, corners, 0.0).tolist()
    width, height, radius = (right - left) / 2, (top - bottom) / 2, 1.2 + float(rng.uniform(0, 1.2))
    corner = min(width, height) * float(rng.uniform(0.2, 0.9))
    # not from 0, where the sign of the sine has no side
    angle = np.linspace(0.01, 0.01 + 2 * math.pi, 160)[:, None]
    center = np.array([(left + right) / 2, (top + bottom) / 2])
    turn = np.hstack([np.cos(angle), np.sin(angle)])
    path = center + np.sign(turn) * [width - corner, height - corner] + corner * turn
    albedo = np.median(plan.board.albedo.reshape(-1, 3)[::97], axis=0)
    paint = blender.plain_material("rim", albedo, 0.45, float(np.median(plan.board.metal)))
    profile = np.array([[1.6, -0.3], [1.1, 0.15], [0.75, 0.75], [0, 1], [-0.75, 0.75], [-1.1, 0.15], [-1.6, -0.3]])
    rows = [np.hstack([path + turn * radius * out, np.full((160, 1), radius * up)]) for out, up in profile]
    blender.add_mesh("rim", np.vstack(rows).astype(np.float32), blender.grid_faces(len(rows), 160), paint)
