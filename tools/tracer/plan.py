"""What a traced scene holds, before Blender is asked for anything: spec, maps, truth, and where things stand.

`trace_spec(seed, difficulty)` draws a scene of tools.renderer and fits it to this renderer's photo; `truth(spec, seed)`
gives every string's quad by the exact projection; `plan_scene` makes the maps and the places. No bpy in here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tools.renderer.camera import Frame, frame_of
from tools.renderer.noise import Rng
from tools.renderer.random_scenes import LEVELS, random_spec
from tools.renderer.spec import CharacterTruth, Floats, MarkTruth, SceneSpec, Truth, truth_of
from tools.tracer.grounds import Ground, make_iron, make_paper, make_wood, scratch, settle_dust, stain
from tools.tracer.inscribe import Line, depth_mm, inscribe, set_lines
from tools.tracer.pinhole import Pinhole, camera_of, project
from tools.tracer.places import Things, place_things

SIZE = (1152, 864)
"""The photo's width and height in pixels."""
FRONTAL_SHARE = 1 / 6
"""Share of scenes lit from the lens, as a phone's own flash does."""
SEED_BASE = 7_000_000_000
"""Added to all seeds, so that no scene is one of the fast renderer's sets."""

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Sheet:
    """A card or label: its box on the canvas (left, top, right, bottom, pixels) and its bow, in mm at the ends."""

    box: Box
    lift_mm: float
    bow_mm: float
    turn: float
    torn: bool

    def height_mm(self, points: Floats) -> Floats:
        """Return the sheet's height (N,) at canvas points (N, 2)."""
        left, top, right, bottom = self.box
        x = (points[:, 0] - (left + right) / 2) / max(right - left, 1)
        y = (points[:, 1] - (top + bottom) / 2) / max(bottom - top, 1)
        return np.asarray(self.lift_mm + self.bow_mm * 4 * np.square(x + self.turn * y), np.float32)


@dataclass(frozen=True)
class Plan:
    """Everything that Blender needs. `sheet` and `paper` are None without a card."""

    spec: SceneSpec
    camera: Pinhole
    frame: Frame
    board: Ground
    sheet: Sheet | None
    paper: Ground | None
    lines: list[Line]
    things: Things

    @property
    def unit(self) -> float:
        """Canvas pixels to a millimeter."""
        return self.spec.px_per_mm * self.frame.scale


def trace_spec(seed: int, difficulty: str) -> SceneSpec:
    """Return the scene of a seed at 'easy', 'medium' or 'hard'; ValueError for another word.

    About 15 % hold no serial. Every FRONTAL_SHARE-th scene is lit from beside the lens instead of at a low angle.
    """
    spec = replace(random_spec(SEED_BASE + seed, difficulty), size=SIZE, print_age=0.0)
    rng = np.random.default_rng([seed, 43, list(LEVELS).index(difficulty)])
    if rng.random() < FRONTAL_SHARE:
        light = replace(
            spec.light, elevation_deg=float(rng.uniform(74, 86)), distance=float(rng.uniform(1.0, 1.3)), aim=(0.0, 0.0)
        )
        spec = replace(spec, light=light)
    return spec


def to_world(frame: Frame, unit: float, points: Floats, z_mm: Floats | float) -> Floats:
    """Return world points (N, 3) in mm of canvas points (N, 2)."""
    xy = (points - np.array(frame.origin_xy, np.float32)) / np.float32(unit)
    z = np.broadcast_to(np.asarray(z_mm, np.float32), (len(points),))
    return np.stack([xy[:, 0], -xy[:, 1], z], 1).astype(np.float32)


def mark_truths(spec: SceneSpec, frame: Frame, lines: list[Line], sheet: Sheet | None) -> tuple[MarkTruth, ...]:
    """Return each string with its quads in photo pixels: at cast figures' tops, on the sheet, else on the board."""
    camera, unit = camera_of(spec), spec.px_per_mm * frame.scale

    def seen(line: Line, quad: Floats) -> Floats:
        z = sheet.height_mm(quad) if sheet else max(depth_mm(spec, line.mark), 0.0)
        return project(camera, to_world(frame, unit, quad, z))

    truths = []
    for line in lines:
        characters = tuple(CharacterTruth(text, seen(line, box)) for text, box in line.boxes)
        truths.append(MarkTruth(line.mark.text, line.mark.kind, seen(line, line.quad), characters))
    return tuple(truths)


def truth(spec: SceneSpec, seed: int) -> Truth:
    """Return what is in the photo of a spec and seed, without rendering it."""
    frame = frame_of(spec)
    lines = set_lines(spec, frame, seed)
    return truth_of(spec, mark_truths(spec, frame, lines, lay_sheet(spec, frame, lines, seed)))


def lay_sheet(spec: SceneSpec, frame: Frame, lines: list[Line], seed: int) -> Sheet | None:
    """Return the card or label of a scene, or None where the surface is no card."""
    if spec.kind != "card":
        return None
    rng = np.random.default_rng([seed, 47])
    unit = spec.px_per_mm * frame.scale
    if lines:
        points = np.vstack([line.quad for line in lines])
        low, high = points.min(0), points.max(0)
    else:
        low, high = (np.array(frame.place(sign * 0.15, sign * 0.08), np.float32) for sign in (-1, 1))
    margin = np.array([0.10 * (high[0] - low[0]), 0.22 * (high[1] - low[1])]) + float(rng.uniform(3, 7)) * unit
    left, top = (low - margin).tolist()
    right, bottom = (high + margin).tolist()
    pasted = "torn" in spec.material or rng.random() < 0.5
    bow = 0.0 if pasted else float(rng.uniform(0.01, 0.05)) * (right - left) / unit
    lift = 0.15 if pasted else float(rng.uniform(0.3, 0.6))
    return Sheet((left, top, right, bottom), lift, bow, float(rng.uniform(-0.4, 0.4)), "torn" in spec.material)


def plan_scene(spec: SceneSpec, seed: int) -> Plan:
    """Make the maps of a scene and find places for everything else. KeyError for an unknown material or character."""
    frame = frame_of(spec)
    unit = spec.px_per_mm * frame.scale
    rng = np.random.default_rng([seed, 44])
    lines = set_lines(spec, frame, seed)
    sheet = lay_sheet(spec, frame, lines, seed)
    board, paper = _grounds(spec, frame, unit, sheet, rng)
    marked = board if paper is None else paper
    stain(marked, spec.clutter.stains, rng)
    inscribe(marked, spec, lines, np.random.default_rng([seed, 45]))
    scratch(board, spec.clutter.scratches, rng)
    for ground in (board,) if paper is None else (board, paper):
        settle_dust(ground, spec.clutter.dust * (0.4 if ground is paper else 1.0), rng)
    quads = [mark.quad for mark in mark_truths(spec, frame, lines, sheet)]
    camera = camera_of(spec)
    things = place_things(
        spec, camera, quads, [line.quad for line in lines], frame, rng=np.random.default_rng([seed, 46])
    )
    return Plan(spec, camera, frame, board, sheet, paper, lines, things)


def _grounds(spec: SceneSpec, frame: Frame, unit: float, sheet: Sheet | None, rng: Rng) -> tuple[Ground, Ground | None]:
    """Return the board or plate, and the paper on it where there is one."""
    shape = frame.shape
    if "iron" in spec.kind:
        cast = spec.kind == "cast-iron"
        return make_iron(shape, unit, spec.material or "bronze", cast=cast, wear=spec.wear, rng=rng), None
    if sheet is None:
        return make_wood(shape, unit, spec.material or "pine", spec.grain_deg, rng), None
    paper, _, rest = (spec.material or "cream").partition("/")
    board = make_wood(shape, unit, rest.partition("/")[2] or "walnut-varnished", spec.grain_deg, rng)
    return board, make_paper(shape, unit, paper, box=sheet.box, wear=spec.wear, rng=rng)
