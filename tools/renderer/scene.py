"""Builds a SceneSpec, and lights and photographs what was built, as often as wanted and from anywhere.

scene = build(spec, seed)                          # height, albedo, gloss, frame, marks; not yet lit
pixels, truth = light_and_take(scene)              # by the spec's own torch and camera
pixels, truth = light_and_take(scene, [LightSpec(azimuth_deg=0)])      # the same scene, lit from the right
pixels, truth = render(spec, seed)                 # both at once; (H, W, 3) uint8 RGB, Truth in photo pixels
"""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.geometry import map_points
from tools.renderer import camera as cameras
from tools.renderer import clutter, nuisance, strings
from tools.renderer.camera import Frame, frame_of
from tools.renderer.ground import box_of, make_ground, middle_box, seen_box
from tools.renderer.iron import PAINTS, raise_rim
from tools.renderer.layout import rough_quad
from tools.renderer.light import Surface, Torch, shade, torch_at
from tools.renderer.marks import Drawn, draw_mark, pick_color
from tools.renderer.noise import Rng
from tools.renderer.prints import copy_print
from tools.renderer.random_scenes import random_spec
from tools.renderer.spec import (
    CameraSpec,
    CharacterTruth,
    Floats,
    LightSpec,
    MarkSpec,
    MarkTruth,
    SceneSpec,
    Truth,
    truth_of,
)

__all__ = ["MarkTruth", "Scene", "SceneSpec", "Truth", "build", "light_and_take", "random_spec", "render"]

STREAM, EXTRA_STREAM, TAKE_STREAM = 20, 31, 21
"""Second numbers of the seeds: of the scene, of what was added to the renderer later, of a photo taken again."""


@dataclass(frozen=True)
class Scene:
    """A scene that can be lit again. Arrays are those of the canvas, which lies flat before the camera.

    `surface` has height (pixels of the canvas, which are photo pixels in the picture's middle), albedo and gloss;
    `relief` (H, W) float32 is what the marks alone did to the height: below 0 cut, above 0 raised. `rng` is where
    drawing random numbers stopped. Lighting a scene changes nothing in it.
    """

    spec: SceneSpec
    frame: Frame
    surface: Surface
    relief: Floats
    truth: Truth
    rng: Rng

    @property
    def height(self) -> Floats:
        """The height field (H, W) in canvas pixels, up toward the camera; strings and pins are not in it."""
        return self.surface.height

    @property
    def albedo(self) -> Floats:
        """Linear RGB (H, W, 3), 0 to 1."""
        return self.surface.albedo

    @property
    def gloss(self) -> Floats:
        """Strength of the highlights (H, W)."""
        return self.surface.gloss

    @property
    def marks(self) -> tuple[MarkTruth, ...]:
        """The strings, in photo pixels."""
        return self.truth.marks

    def in_photo(self, field: Floats) -> Floats:
        """Return a field of the canvas (H, W) as the photo sees it: float32, `spec.size` = (W, H), values unchanged."""
        return np.asarray(
            cv2.warpPerspective(
                field, self.frame.to_photo, self.frame.size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
            ),
            np.float32,
        )


def build(spec: SceneSpec, seed: int) -> Scene:
    """Make the surface, the strings on it and the clutter. Raises KeyError for an unknown material or character."""
    rng = np.random.default_rng([seed, STREAM])
    extra = np.random.default_rng([seed, EXTRA_STREAM])
    frame = frame_of(spec)
    rough = [rough_quad(mark, frame) for mark in spec.marks]
    surface = make_ground(spec, frame, rough, rng)
    clutter.stain(surface, spec.clutter.stains, rng)
    bare = surface.height.copy()
    if spec.rim and rough:
        tall = max(mark.height for mark in spec.marks) * frame.scale
        raise_rim(surface, box_of(rough), spec.rim, spec.relief * tall, tall, rng=extra)
    drawn = _draw_marks(surface, spec, frame, rng)
    relief = surface.height - bare
    quads = [string.quad for string in drawn]
    _add_clutter(surface, spec, frame, quads or [middle_box(frame)], rng=rng, extra=extra)
    return Scene(spec, frame, surface, relief, truth_of(spec, _truths(spec, frame, drawn)), rng)


def light_and_take(
    scene: Scene, lights: Sequence[LightSpec] | None = None, camera: CameraSpec | None = None, seed: int | None = None
) -> tuple[NDArray[np.uint8], Truth]:
    """Return a photo of the scene, (H, W, 3) uint8 RGB, and the truth, which no light changes.

    `lights` shine together and default to the spec's torch, `camera` to the spec's; `seed` draws the photo's noise and
    None goes on where the scene was drawn, as `render` does. Raises ValueError for no light.
    """
    spec = scene.spec
    chosen = [spec.light] if lights is None else list(lights)
    torches = torches_of(scene.frame, chosen)
    rng = copy.deepcopy(scene.rng) if seed is None else np.random.default_rng([seed, TAKE_STREAM])
    light = shade(scene.surface, torches, scene.frame.eye)
    taken = camera or spec.camera
    pixels = cameras.take(light, scene.frame, taken, _warmth(chosen), rng)
    if spec.print_age > 0:
        pixels = copy_print(pixels, spec.print_kind, spec.print_age, rng)
    # encoded and decoded, so that the pixels carry what JPEG does to them
    return cameras.open_jpeg(cameras.jpeg(pixels, taken.jpeg_quality)), scene.truth


def render(spec: SceneSpec, seed: int) -> tuple[NDArray[np.uint8], Truth]:
    """Return the photo, (H, W, 3) uint8 RGB with `spec.size` = (W, H), and the truth about it.

    The same spec and seed give the same pixels (on one machine and OpenCV build). About 1.5 s for 1600 x 1200 on one
    core. Raises KeyError for a material or character that does not exist.
    """
    return light_and_take(build(spec, seed))


def torches_of(frame: Frame, lights: Sequence[LightSpec]) -> list[Torch]:
    """Return the lights in canvas pixels; their colors are relative to the mean, which the camera's balance follows."""
    mean = cameras.balance(_warmth(lights))
    torches = []
    for light in lights:
        aim = frame.place(*light.aim)
        position = torch_at(aim, light.azimuth_deg, light.elevation_deg, light.distance * max(frame.size))
        red, green, blue = (cameras.balance(light.warmth) / mean).tolist()
        torches.append(Torch(position, aim, light.beam_deg, light.ambient, (red, green, blue), light.power))
    return torches


def _warmth(lights: Sequence[LightSpec]) -> float:
    """Return the mean warmth of lights, each by its power."""
    if len(lights) == 1:
        return lights[0].warmth
    power = sum(light.power for light in lights)
    return sum(light.warmth * light.power for light in lights) / max(power, 1e-6)


def _draw_marks(surface: Surface, spec: SceneSpec, frame: Frame, rng: Rng) -> list[Drawn]:
    """Draw every string; marks of one technique share one tin of paint. Returns where they stand on the canvas."""
    paints: dict[str, Floats] = {}
    drawn = []
    for mark in spec.marks:
        color = paints.setdefault(mark.technique, pick_color(mark.technique, rng))
        place, wear = frame.place(mark.x, mark.y), _wear(spec, mark)
        drawn.append(draw_mark(surface, mark, place, spec.relief, wear, color=color, rng=rng))
    return drawn


def _wear(spec: SceneSpec, mark: MarkSpec) -> float:
    """Return a mark's own wear: the scene's, less for strong ones."""
    return float(np.clip(spec.wear + 0.25 * (1 - mark.strength), 0, 1))


def _truths(spec: SceneSpec, frame: Frame, drawn: list[Drawn]) -> tuple[MarkTruth, ...]:
    """Return the truth about every string in photo pixels."""
    truths = []
    for mark, string in zip(spec.marks, drawn, strict=True):
        characters = tuple(CharacterTruth(t, map_points(frame.to_photo, quad)) for t, quad in string.characters)
        truths.append(MarkTruth(mark.text, mark.kind, map_points(frame.to_photo, string.quad), characters))
    return tuple(truths)


def _add_clutter(surface: Surface, spec: SceneSpec, frame: Frame, quads: list[Floats], *, rng: Rng, extra: Rng) -> None:
    """Add dirt, the surface's edge, screws, strings, pins and a hand's shadow, in that order."""
    wanted, view = spec.clutter, seen_box(frame)
    nuisance.false_strokes(surface, wanted.false_strokes, quads, spec.grain_deg, extra)
    nuisance.rust(surface, wanted.rust, extra)
    clutter.scratch(surface, wanted.scratches, rng)
    clutter.settle_dust(surface, wanted.dust, rng, clouds=spec.clouds)
    beyond = clutter.end_surface(surface, wanted.edge, box_of(quads), view, rng)
    brass = spec.material in PAINTS or rng.random() < 0.4
    for x, y in clutter.free_places(wanted.screws, 5.5 * surface.unit, quads, view, rng):
        if beyond[round(y), round(x)] < -6.0 * surface.unit:
            clutter.drive_screw(surface, (x, y), brass, rng)
    nuisance.lay_felt(surface, wanted.felt, quads, view, extra)
    over, turn, eye = wanted.strings_over_marks, wanted.string_turn_deg, frame.eye
    strings.run_strings(surface, wanted.strings, turn, over, quads, rng=rng)
    for place in strings.pin_places(wanted.pins, quads, view, surface.unit, eye, rng=rng):
        away = -10.0 if place[1] < box_of(quads)[1] else float(surface.shape[0] + 10)
        strings.drive_pin(surface, place, away, eye, rng)
    nuisance.spin_cobweb(surface, wanted.cobweb, quads, view, extra)
    clutter.cast_hand(surface, wanted.hand_shadow, view, rng)
