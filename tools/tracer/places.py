"""Where the things in front of and around the marks stand: strings, tuning pins, screws, an edge, a hand.

Nothing but strings that are wanted over the marks may hide a mark, as the camera sees it. Places are world millimeters
(pinhole.py). Sizes of strings and pins are common practice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.renderer.camera import Frame
from tools.renderer.light import torch_at
from tools.renderer.noise import Rng
from tools.renderer.spec import BASE_WIDTH_PX, Floats, SceneSpec
from tools.tracer.pinhole import Pinhole, on_plane, project

Point = NDArray[np.float64]

STRINGS_UP_MM = (7.0, 16.0)
"""How high strings run over the surface."""
PIN_MM, PIN_RADIUS_MM = 21.0, 3.4
"""A tuning pin above the wood, and its radius."""
EDGE_MM = {"felt": 3.5, "green-felt": 3.5, "rail": 14.0, "iron": 8.0, "gap": 0.0}
"""How high the thing beyond an edge stands over the surface."""


@dataclass(frozen=True)
class String:
    """A wire from `start` to `end`, (3,) each; `wound` with copper or plain steel."""

    start: Point
    end: Point
    radius_mm: float
    wound: bool


@dataclass(frozen=True)
class Edge:
    """The end of the surface: what lies beyond, on which side, and the place along that side's axis in mm."""

    what: str
    side: str
    at_mm: float


@dataclass(frozen=True)
class Things:
    """All of them. `torch` and `aim` (3,) are the light's place and aim; `screws` and `pins` are (N, 2)."""

    torch: Point
    aim: Point
    strings: tuple[String, ...]
    screws: Floats
    pins: Floats
    edge: Edge | None
    hand: tuple[Point, ...]


def place_things(
    spec: SceneSpec, camera: Pinhole, quads: list[Floats], on_canvas: list[Floats], frame: Frame, *, rng: Rng
) -> Things:
    """Find places for everything in the spec's clutter; what finds none is left out."""
    aim, torch = torch_place(spec)
    unit = spec.px_per_mm * frame.scale
    origin = np.array(frame.origin_xy)
    marks = [(quad - origin) / unit * [1, -1] for quad in on_canvas] or [np.array([[-20, -10], [20, 10]])]
    box = np.vstack(marks)
    low, high = box.min(0), box.max(0)
    width, height = spec.size
    view = on_plane(camera, np.array([[0, 0], [width, 0], [width, height], [0, height]]))[:, :2]
    edge = _edge(spec, camera, quads, (low, high), view, torch=torch, rng=rng)
    screws = _screws(spec, quads, camera, view, edge, rng=rng)
    pins = _pins(spec, quads, camera, (low, high), view, torch=torch, rng=rng)
    strings = _strings(spec, quads, camera, view, rng)
    return Things(torch, aim, strings, screws, pins, edge, _hand(spec, aim, torch, view, rng))


def torch_place(spec: SceneSpec) -> tuple[Point, Point]:
    """Return the aim and the torch in mm, for the light's azimuth, elevation and distance."""
    light, per_share = spec.light, BASE_WIDTH_PX / spec.px_per_mm
    aim = np.array([light.aim[0] * per_share, -light.aim[1] * per_share, 0.0])
    x, y, z = torch_at((0.0, 0.0), light.azimuth_deg, light.elevation_deg, light.distance * per_share)
    return aim, aim + np.array([x, -y, z])


def hidden(camera: Pinhole, points: Point, quads: list[Floats], reach_px: float) -> bool:
    """Return whether any of the points is seen within `reach_px` of a mark."""
    before = points[(points - camera.eye) @ camera.turn[2] > 1]
    for x, y in project(camera, before).tolist():
        for quad in quads:
            if cv2.pointPolygonTest(quad.reshape(-1, 1, 2), (x, y), True) > -reach_px:
                return True
    return False


def shadow(points: Point, torch: Point) -> Point:
    """Return where points (N, 3) below the torch throw their shadows on the board, at most 120 mm away."""
    below = points[points[:, 2] < 0.9 * torch[2]]
    ray = below - torch
    fallen = below + ray * (below[:, 2:] / np.maximum(-ray[:, 2:], 1e-6))
    way = fallen - below
    length = np.linalg.norm(way, axis=1, keepdims=True)
    return np.asarray(below + way * np.minimum(1.0, 120.0 / np.maximum(length, 1e-6)), np.float64)


def _strings(spec: SceneSpec, quads: list[Floats], camera: Pinhole, view: Point, rng: Rng) -> tuple[String, ...]:
    """Run strings in ones, twos or threes of one note, side by side."""
    count = spec.clutter.strings
    if not count:
        return ()
    angle = math.radians(-spec.clutter.string_turn_deg)
    along, aside = np.array([math.cos(angle), math.sin(angle)]), np.array([-math.sin(angle), math.cos(angle)])
    reach = float(np.linalg.norm(view.max(0) - view.min(0)))
    middle = view.mean(0)
    up = float(rng.uniform(*STRINGS_UP_MM))
    wound = bool(rng.random() < 0.4)
    radius = float(rng.uniform(1.0, 1.9)) if wound else float(rng.uniform(0.4, 0.6))
    unison = int(rng.integers(1, 3)) if wound else int(rng.integers(2, 4))
    pitch, gap = (2.4 * radius + 1.2, 15.0) if wound else (2.9, 12.5)
    across = (view - middle) @ aside
    low, high = float(across.min()), float(across.max())
    places = np.arange(low + float(rng.uniform(0, gap)), high, gap)
    rng.shuffle(places)
    found: list[String] = []
    for place in places:
        for number in range(unison):
            offset = middle + aside * (place + number * pitch)
            ends = [np.append(offset + along * reach * sign, up) for sign in (-1, 1)]
            dots = np.linspace(ends[0], ends[1], 160)
            free = spec.clutter.strings_over_marks or not hidden(camera, dots, quads, 4 + 2 * radius * spec.px_per_mm)
            if len(found) < count and free:
                found.append(String(ends[0], ends[1], radius, wound))
    return tuple(found)


def _pins(
    spec: SceneSpec,
    quads: list[Floats],
    camera: Pinhole,
    marks: tuple[Point, Point],
    view: Point,
    *,
    torch: Point,
    rng: Rng,
) -> Floats:
    """Drive rows of tuning pins, staggered, above or below the marks, where they neither hide nor shade one."""
    count = spec.clutter.pins
    low, high = view.min(0), view.max(0)
    above = bool(rng.random() < 0.6)
    first = float(marks[1][1]) + 10 if above else float(marks[0][1]) - 10
    found: list[tuple[float, float]] = []
    for row in range(4):
        y = first + (13.0 if above else -13.0) * row
        for x in np.arange(low[0] - 5 + 6.5 * (row % 2) + float(rng.uniform(0, 2)), high[0] + 5, 13.0):
            place = (float(x + rng.normal(0, 0.5)), float(y + rng.normal(0, 0.4)))
            dots = np.array([[*place, z] for z in np.linspace(0, PIN_MM, 6)])
            dots = np.vstack([dots, shadow(dots, torch)])
            if len(found) < count and not hidden(camera, dots, quads, 6 * spec.px_per_mm):
                found.append(place)
    return np.array(found, np.float32).reshape(-1, 2)


def _screws(
    spec: SceneSpec, quads: list[Floats], camera: Pinhole, view: Point, edge: Edge | None, *, rng: Rng
) -> Floats:
    """Scatter screws or bolts clear of the marks, of each other and of the edge."""
    found: list[Point] = []
    low, high = view.min(0), view.max(0)
    for _ in range(spec.clutter.screws * 30):
        place = rng.uniform(low + 6, np.maximum(high - 6, low + 7))
        clear = not hidden(camera, np.array([[*place, 0.0], [*place, 4.0]]), quads, 7 * spec.px_per_mm)
        apart = all(float(np.linalg.norm(place - other)) > 25 for other in found)
        if len(found) < spec.clutter.screws and clear and apart and not (edge and beyond(edge, place, 9.0)):
            found.append(place)
    return np.array(found, np.float32).reshape(-1, 2)


def beyond(edge: Edge, place: Point, margin_mm: float) -> bool:
    """Return whether a place lies beyond an edge or within a margin of it."""
    value = float(place[1 if edge.side in ("top", "bottom") else 0])
    sign = 1.0 if edge.side in ("top", "right") else -1.0
    return sign * value > sign * edge.at_mm - margin_mm


def _edge(
    spec: SceneSpec,
    camera: Pinhole,
    quads: list[Floats],
    marks: tuple[Point, Point],
    view: Point,
    *,
    torch: Point,
    rng: Rng,
) -> Edge | None:
    """Find a place between the marks and the photo's rim that neither hides nor shades a mark."""
    what, _, side = spec.clutter.edge.rpartition("-")
    if not what:
        return None
    axis, sign = (1 if side in ("top", "bottom") else 0), (1 if side in ("top", "right") else -1)
    mark = float(marks[1][axis] if sign > 0 else marks[0][axis])
    rim = float(np.sort(sign * view[:, axis])[-2])
    room = rim - sign * mark
    if room < 8:
        return None
    at = mark + sign * (3 + (room - 3) * float(rng.uniform(0.3, 0.85)))
    up = EDGE_MM[what]
    dots = np.zeros((80, 3))
    dots[:, 1 - axis] = np.linspace(float(view[:, 1 - axis].min()), float(view[:, 1 - axis].max()), 80)
    dots[:, axis], dots[:, 2] = at, up
    # light from behind the edge must come over it
    share = (at - mark) / (torch[axis] - mark) if torch[axis] != mark else -1.0
    shaded = 0 < share < 1 and share * torch[2] < up + 1.0
    return None if shaded or hidden(camera, dots, quads, 3) else Edge(what, side, float(at))


def _hand(spec: SceneSpec, aim: Point, torch: Point, view: Point, rng: Rng) -> tuple[Point, ...]:
    """Return the finger ends (start, end, start, end, ...) of a hand that dims one corner of the light."""
    if spec.clutter.hand_shadow <= 0:
        return ()
    corner = np.append(view[int(rng.integers(4))] * 0.75, 0.0)
    near = corner + (torch - corner) * 0.35
    toward = near - np.append(aim[:2], near[2])
    toward = toward / max(float(np.linalg.norm(toward)), 1e-6)
    aside = np.array([-toward[1], toward[0], 0.0])
    reach = 30 + 25 * spec.clutter.hand_shadow
    ends: list[Point] = []
    for number in range(4):
        base = near + aside * (number - 1.5) * 19 + toward * 60
        ends += [base, base - toward * (reach + 12 * math.sin(number * 1.1 + 0.4))]
    return tuple(ends)
