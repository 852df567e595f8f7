"""What a scene is made of, and the truth about it: plain frozen dataclasses, no drawing.

Lengths: places are shares of the photo's long side from its center (x -0.5 to 0.5, y -0.375 to 0.375 in a 4:3 photo),
heights of figures are pixels in a photo 1600 pixels long; both grow with the photo. Angles are degrees, clockwise as
seen in the picture. Places and the light's azimuth are those of the surface before the camera is tilted or turned.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
"""Any float32 array; the docstrings give shapes."""

BASE_WIDTH_PX = 1600
"""Long side of the photo for which the pixel sizes of a spec are given."""

KINDS = ("wood-stamp", "wood-etched", "cast-iron", "stencil-iron", "ink-soundboard", "chalk", "pencil", "card")
"""The surfaces that can be rendered."""

PRINTS = ("toned", "faded", "halftone")
"""The kinds of old picture that a photo can be a copy of."""

TECHNIQUES = (
    "punch",
    "scratch",
    "cast",
    "stencil",
    "brush",
    "ink",
    "chalk",
    "pencil",
    "print",
    "type",
    "write",
    "numbering",
)
"""The ways in which a string can be put on a surface."""


@dataclass(frozen=True)
class FigureStyle:
    """The shape of the figures of one set of punches, one stencil, or one hand.

    `weight` is stroke width over figure height. `contrast` 0 is one width throughout, 1 makes level strokes hairlines.
    `wobble` 0 is cut by machine, 1 is a hasty hand. `spacing` is the gap between figures over figure height.
    `text_figures` lets 3, 4, 5, 7 and 9 hang below the line and keeps 0, 1 and 2 low. `hand` above 0 is the number of
    a person whose own forms and movements draw the strokes (see hand.py); the other shapes then do not count.
    """

    one: str = "foot"
    three: str = "round"
    four: str = "closed"
    six: str = "curled"
    seven: str = "straight"
    serif: bool = False
    weight: float = 0.12
    contrast: float = 0.0
    slant: float = 0.0
    stretch: float = 1.0
    spacing: float = 0.2
    wobble: float = 0.0
    fixed_pitch: bool = False
    text_figures: bool = False
    hand: int = 0


@dataclass(frozen=True)
class MarkSpec:
    """One string to draw. `kind` is a reader.results.MarkKind value; `height` in pixels of a 1600-pixel photo.

    `haste` 1 is a steady worker, 3 one whose punches stand crooked, off the line and uneven. `double_strike` is how far
    beside the first blow a second one landed, over figure height; 0 is none.
    """

    text: str
    kind: str
    x: float
    y: float
    height: float
    technique: str
    style: FigureStyle = field(default_factory=FigureStyle)
    turn_deg: float = 0.0
    strength: float = 1.0
    haste: float = 1.0
    double_strike: float = 0.0


@dataclass(frozen=True)
class LightSpec:
    """A torch near the surface.

    `azimuth_deg` is where the light comes from (0 = from the right, 90 = from below), `elevation_deg` its height over
    the surface seen from the aim, `distance` from the aim over the photo's width, `aim` the hot spot's place,
    `beam_deg` the half width of the beam's core, `ambient` the room's light over the torch's at the aim, `warmth` 0
    for a white LED to 1 for a tired incandescent bulb, `power` the light at its aim where there are several lights.
    """

    azimuth_deg: float = 225.0
    elevation_deg: float = 25.0
    distance: float = 0.9
    aim: tuple[float, float] = (0.0, 0.0)
    beam_deg: float = 30.0
    ambient: float = 0.12
    warmth: float = 0.5
    power: float = 1.0


@dataclass(frozen=True)
class CameraSpec:
    """A phone's camera. Blurs in pixels of a 1600-pixel photo; `noise` 1 is a bright room, 4 a dark corner."""

    defocus_px: float = 0.8
    motion_px: float = 0.0
    motion_deg: float = 0.0
    noise: float = 1.0
    exposure: float = 1.0
    sharpen: float = 0.6
    vignette: float = 0.25
    jpeg_quality: int = 88
    smoothing: float = 0.0


@dataclass(frozen=True)
class ClutterSpec:
    """What is in the way. Counts are numbers of things; shares are 0 (none) to 1 (very much).

    `false_strokes` are cracks, resin streaks and tool marks as large as strokes of figures; `felt` names a strip of
    felt's color (see nuisance.FELTS).
    """

    strings: int = 0
    string_turn_deg: float = 90.0
    strings_over_marks: bool = False
    pins: int = 0
    screws: int = 0
    edge: str = ""
    hand_shadow: float = 0.0
    dust: float = 0.2
    stains: float = 0.2
    scratches: float = 0.2
    cobweb: float = 0.0
    rust: float = 0.0
    false_strokes: float = 0.0
    felt: str = ""


@dataclass(frozen=True)
class SceneSpec:
    """A whole photograph. `relief` is the depth of punched or cast figures over their height.

    `material` names the wood, metal or paper (see wood.py, iron.py, paper.py). `px_per_mm` sets the grain's scale, for
    a 1600-pixel photo. `wear` is how faded, rubbed or filled up the strokes are. `rim` is a raised border around cast
    figures: '', 'box' or 'oval'. `clouds` is how blotchy dirt and dust lie, 1 as in the first samples. `print_age`
    above 0 makes it a copy of an old picture, and `print_kind` says of which (see PRINTS).
    """

    kind: str
    marks: tuple[MarkSpec, ...]
    size: tuple[int, int] = (1600, 1200)
    tilt_deg: float = 0.0
    quarter_turns: int = 0
    pitch_deg: float = 0.0
    yaw_deg: float = 0.0
    material: str = ""
    px_per_mm: float = 7.0
    grain_deg: float = 0.0
    relief: float = 0.08
    wear: float = 0.2
    light: LightSpec = field(default_factory=LightSpec)
    camera: CameraSpec = field(default_factory=CameraSpec)
    clutter: ClutterSpec = field(default_factory=ClutterSpec)
    clouds: float = 1.0
    print_age: float = 0.0
    print_kind: str = "toned"
    rim: str = ""
    maker: str = ""
    notes: str = ""

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"kind {self.kind!r} is not one of {', '.join(KINDS)}")
        if self.print_kind not in PRINTS:
            raise ValueError(f"print kind {self.print_kind!r} is not one of {', '.join(PRINTS)}")
        for mark in self.marks:
            if mark.technique not in TECHNIQUES:
                raise ValueError(f"technique {mark.technique!r} is not one of {', '.join(TECHNIQUES)}")


@dataclass(frozen=True)
class CharacterTruth:
    """One character as drawn. `quad` (4, 2) float32 as in MarkTruth; it holds the stroke with its width."""

    text: str
    quad: Floats


@dataclass(frozen=True)
class MarkTruth:
    """One string as drawn. `quad` (4, 2) float32 in photo pixels, first corner where reading starts, then clockwise."""

    text: str
    kind: str
    quad: Floats
    characters: tuple[CharacterTruth, ...] = ()


@dataclass(frozen=True)
class Truth:
    """What is really in the picture. `text` is the serial, empty where there is none; `kind` is the surface."""

    text: str
    model: str
    part_mark: str
    kind: str
    maker: str
    notes: str
    marks: tuple[MarkTruth, ...]


def truth_of(spec: SceneSpec, marks: tuple[MarkTruth, ...]) -> Truth:
    """Join a spec and the truth about its marks, in the same order."""

    def first(kind: str) -> str:
        return next((m.text for m in spec.marks if m.kind == kind), "")

    return Truth(first("serial"), first("model"), first("part-position"), spec.kind, spec.maker, spec.notes, marks)
