"""Random scenes for test sets, easy to hard: `random_spec(seed, difficulty)`.

Easy is what a person reads at a glance; hard is dim, dusty, low and small, and some of it nobody can read.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tools.renderer.layout import fit_marks, mark_size, stack_lines
from tools.renderer.noise import Rng
from tools.renderer.nuisance import FELTS
from tools.renderer.spec import (
    BASE_WIDTH_PX,
    KINDS,
    PRINTS,
    CameraSpec,
    ClutterSpec,
    FigureStyle,
    LightSpec,
    MarkSpec,
    SceneSpec,
)
from tools.renderer.styles import random_style

Range = tuple[float, float]


@dataclass(frozen=True)
class Level:
    """What a difficulty means: ranges of uniform draws, and shares of photos that have a nuisance."""

    height: Range
    tilt: float
    slope: float
    relief: Range
    wear: Range
    dust: Range
    elevation: Range
    ambient: Range
    defocus: Range
    motion: Range
    noise: Range
    exposure: Range
    things: float
    over_marks: float


LEVELS = {
    "easy": Level(
        (70, 160),
        10,
        8,
        (0.08, 0.14),
        (0.0, 0.22),
        (0.0, 0.22),
        (18, 42),
        (0.08, 0.25),
        (0.3, 0.9),
        (0, 0),
        (0.6, 1.2),
        (0.85, 1.15),
        0.35,
        0.0,
    ),
    "medium": Level(
        (40, 130),
        18,
        16,
        (0.05, 0.09),
        (0.15, 0.45),
        (0.15, 0.5),
        (14, 50),
        (0.05, 0.3),
        (0.5, 1.5),
        (0, 2.5),
        (1, 2.4),
        (0.6, 1.2),
        0.6,
        0.12,
    ),
    "hard": Level(
        (24, 90),
        25,
        24,
        (0.02, 0.05),
        (0.4, 0.75),
        (0.4, 0.9),
        (10, 65),
        (0.04, 0.5),
        (0.9, 2.6),
        (0, 5),
        (2, 4.5),
        (0.3, 0.85),
        0.8,
        0.3,
    ),
}
"""The three difficulties; figure heights in pixels of a 1600-pixel photo."""

MAKERS = (
    ("Harrow & Thistle", 1200, 98000),
    ("Ostrava Lane Organ Works", 400, 41000),
    ("Pellwick Brothers", 20000, 310000),
)
"""The invented makers and their serial numbers."""

FIGURE_MM = {
    "wood-stamp": (7, 13),
    "wood-etched": (9, 18),
    "cast-iron": (14, 30),
    "stencil-iron": (12, 26),
    "ink-soundboard": (8, 16),
    "chalk": (25, 60),
    "pencil": (9, 30),
    "card": (3.5, 9),
}
"""Real figure heights in millimeters (common practice); they set how coarse the grain looks."""

MATERIALS = {
    "wood-stamp": ("maple", "beech", "oak", "walnut", "birch", "spruce", "pine", "pine"),
    "wood-etched": ("walnut-varnished", "rosewood", "spruce-varnished"),
    "cast-iron": ("bronze", "old-gold", "brown-bronze", "black-iron", "green-paint", "red-brown-paint"),
    "stencil-iron": ("bronze", "old-gold", "pale-gilt"),
    "ink-soundboard": ("spruce", "spruce", "spruce-varnished"),
    "chalk": ("old-pine", "sooted-pine", "old-oak", "dark-pine"),
    "pencil": ("spruce", "maple", "pine", "birch", "beech"),
    "card": ("cream", "white", "buff", "blue-gray", "brown"),
}

TECHNIQUES_OF = {
    "wood-stamp": ("punch",),
    "wood-etched": ("scratch",),
    "cast-iron": ("cast",),
    "stencil-iron": ("stencil", "stencil", "brush"),
    "ink-soundboard": ("ink", "ink", "stencil"),
    "chalk": ("chalk",),
    "pencil": ("pencil",),
    "card": ("print", "type", "write", "numbering", "pencil"),
}
"""How marks are put on each kind of surface; one of them is drawn."""

BY_HAND = ("scratch", "chalk", "write", "pencil")
"""Techniques that nobody uses for a maker's name or a patent."""

HAND_WORDS = ("TOP", "BASS", "TREBLE", "FRONT", "BACK", "LEFT")

EDGES = {
    "wood": (
        "felt-top",
        "gap-bottom",
        "rail-top",
        "iron-top",
        "green-felt-bottom",
        "gap-top",
        "iron-left",
        "rail-right",
    ),
    "iron": ("gap-bottom", "felt-top", "gap-right", "rail-bottom", "green-felt-top"),
}


def random_spec(seed: int, difficulty: str = "medium", kind: str = "") -> SceneSpec:
    """Return a random scene of 'easy', 'medium' or 'hard', of one kind if named; ValueError for another word.

    One kind in eight each; no serial in 15 %; serials of 3 to 7 figures; a quarter turn in 20 %; a copy of an old
    picture in 8 %.
    """
    if difficulty not in LEVELS:
        raise ValueError(f"difficulty {difficulty!r} is not easy, medium or hard")
    level = LEVELS[difficulty]
    rng = np.random.default_rng([seed, 11, list(LEVELS).index(difficulty)])
    drawn = str(rng.choice(KINDS))
    kind = kind or drawn
    if kind not in KINDS:
        raise ValueError(f"kind {kind!r} is not one of {', '.join(KINDS)}")
    height = float(rng.uniform(*level.height))
    marks, maker = _marks(kind, height, rng)
    px_per_mm = height / float(rng.uniform(*FIGURE_MM[kind]))
    spec = SceneSpec(
        kind,
        marks,
        tilt_deg=_tilt(level.tilt, rng),
        quarter_turns=int(rng.integers(1, 4)) if rng.random() < 0.2 else 0,
        pitch_deg=float(rng.uniform(-1, 1) * level.slope),
        yaw_deg=float(rng.uniform(-1, 1) * level.slope),
        material=_material(kind, rng),
        px_per_mm=float(np.clip(px_per_mm, 1.5, 24)),
        grain_deg=float(rng.normal(0, 4)) + (90.0 if rng.random() < 0.25 else 0.0),
        relief=float(rng.uniform(*level.relief)),
        wear=float(rng.uniform(*level.wear)),
        light=_light(level, rng),
        camera=_camera(level, rng),
        clutter=_clutter(kind, level, rng),
        clouds=float(rng.uniform(0.1, 0.7)),
        print_age=float(rng.uniform(0.2, 0.8)) if rng.random() < 0.08 else 0.0,
        print_kind=str(rng.choice(PRINTS)),
        rim=str(rng.choice(["", "", "box", "oval"])) if kind == "cast-iron" else "",
        maker=maker,
        notes=difficulty,
    )
    return fit_marks(spec, rng)


def _tilt(limit: float, rng: Rng) -> float:
    return float(np.clip(rng.normal(0, limit / 2), -min(limit, 25), min(limit, 25)))


def _material(kind: str, rng: Rng) -> str:
    material = str(rng.choice(MATERIALS[kind]))
    if kind != "card":
        return material
    border = str(rng.choice(["", "double", "single", "ruled", "torn"]))
    return f"{material}/{border}/{rng.choice(['walnut-varnished', 'dark-pine', 'pine', 'rosewood', 'maple'])}"


def _light(level: Level, rng: Rng) -> LightSpec:
    aim = (float(rng.normal(0, 0.12)), float(rng.normal(0, 0.09)))
    return LightSpec(
        float(rng.uniform(0, 360)),
        float(rng.uniform(*level.elevation)),
        float(rng.uniform(0.55, 1.5)),
        aim,
        float(rng.uniform(16, 40)),
        float(rng.uniform(*level.ambient)),
        float(rng.uniform(0, 1)),
    )


def _camera(level: Level, rng: Rng) -> CameraSpec:
    noise = float(rng.uniform(*level.noise))
    return CameraSpec(
        float(rng.uniform(*level.defocus)),
        float(rng.uniform(*level.motion)),
        float(rng.uniform(0, 180)),
        noise,
        float(rng.uniform(*level.exposure)),
        float(rng.uniform(0.2, 1.1)),
        float(rng.uniform(0.1, 0.5)),
        int(rng.integers(72, 95)),
        float(rng.uniform(0, 0.35 * noise)),
    )


def _clutter(kind: str, level: Level, rng: Rng) -> ClutterSpec:
    """Return what is in the way: strings and pins only where an instrument has them."""
    inside = kind in ("wood-stamp", "cast-iron", "stencil-iron", "ink-soundboard")

    def some(share: float) -> bool:
        return bool(rng.random() < share * level.things)

    over = bool(inside and rng.random() < level.over_marks)
    return ClutterSpec(
        strings=int(rng.integers(2, 13)) if over or (inside and some(0.5)) else 0,
        string_turn_deg=float(rng.choice([90, 80, 100, 65])),
        strings_over_marks=over,
        pins=int(rng.integers(3, 22)) if inside and some(0.5) else 0,
        screws=int(rng.integers(1, 4)) if kind != "card" and some(0.6) else 0,
        edge=str(rng.choice(EDGES["iron" if "iron" in kind else "wood"])) if kind != "card" and some(0.9) else "",
        hand_shadow=float(rng.uniform(0.3, 1)) if some(0.35) else 0.0,
        dust=float(rng.uniform(*level.dust)) * (0.4 if kind == "card" else 1.0),
        stains=0.9 * float(rng.random() ** 2) * (0.4 + 0.6 * level.wear[1]),
        scratches=float(rng.uniform(0, 0.8)),
        cobweb=float(rng.uniform(0.1, 0.8)) if kind != "card" and some(0.25) else 0.0,
        rust=float(rng.uniform(0.1, 0.8)) if "iron" in kind and some(0.5) else 0.0,
        false_strokes=float(rng.uniform(0.1, 0.9)) if kind != "card" and some(0.4) else 0.0,
        felt=str(rng.choice(list(FELTS))) if inside and some(0.3) else "",
    )


def _serial(rng: Rng) -> tuple[str, str]:
    """Return a serial number and the maker it would suit; now and then one of any length."""
    name, low, high = MAKERS[int(rng.integers(len(MAKERS)))]
    if rng.random() < 0.6:
        return str(int(rng.integers(low, high))), name
    figures = int(rng.integers(3, 8))
    return str(int(rng.integers(10 ** (figures - 1), 10**figures))), name


def _marks(kind: str, height: float, rng: Rng) -> tuple[tuple[MarkSpec, ...], str]:
    """Return the strings of a scene, laid out around the serial at the center, and the maker if it is named."""
    serial, maker = _serial(rng)
    technique = str(rng.choice(TECHNIQUES_OF[kind]))
    style = random_style(technique, rng)
    lines: list[list[MarkSpec]] = []
    if rng.random() < 0.15:
        lines.append(_without_serial(technique, style, height, rng))
    else:
        height = _fit_height(serial, style, technique, height)
        lines.append(_serial_line(serial, technique, style, height, rng))
    named = _neighbors(lines, kind, technique, maker, height, rng=rng)
    marks = stack_lines(lines)
    if technique == "punch":
        marks = _unsteady(marks, rng)
    return marks, maker if named else ""


def _unsteady(marks: tuple[MarkSpec, ...], rng: Rng) -> tuple[MarkSpec, ...]:
    """Return punched marks as workers of different care set them, some struck twice."""
    haste = float(rng.choice([0.6, 1.0, 1.8, 2.8]))
    return tuple(
        replace(m, haste=haste, double_strike=float(rng.uniform(0.03, 0.12)) if rng.random() < 0.12 else 0.0)
        for m in marks
    )


def _fit_height(serial: str, style: FigureStyle, technique: str, height: float) -> float:
    """Return the height, changed so that the number takes 5 to 40 % of the photo's width."""
    share = mark_size(MarkSpec(serial, "serial", 0, 0, height, technique, style))[0] / BASE_WIDTH_PX
    return float(np.clip(height * np.clip(share, 0.05, 0.38) / share, 24, 160))


def _without_serial(technique: str, style: FigureStyle, height: float, rng: Rng) -> list[MarkSpec]:
    """Return a line that holds no serial: a part's position, a model letter, a patent date, a word, or nothing."""
    choices = [(str(int(rng.integers(1, 9))), "part-position"), (_letter(rng), "model"), ("", "")]
    if technique in BY_HAND:
        choices += [(str(rng.choice(HAND_WORDS)), "word"), (str(int(rng.integers(1858, 1915))), "calendar-year")]
    else:
        choices += [("PATENTED MAY 14 1872", "patent"), ("WARRANTED", "word")]
    text, mark_kind = choices[int(rng.integers(len(choices)))]
    small = height * (0.55 if len(text) > 6 else 1.0)
    return [MarkSpec(text, mark_kind, 0, 0, max(24, small), technique, style)] if text else []


def _serial_line(serial: str, technique: str, style: FigureStyle, height: float, rng: Rng) -> list[MarkSpec]:
    """Return the serial, perhaps after 'No.' or a model letter."""
    line = [MarkSpec(serial, "serial", 0, 0, height, technique, style)]
    draw = rng.random()
    if draw < 0.25:
        line.insert(0, MarkSpec("No.", "word", 0, 0, height * float(rng.uniform(0.7, 1)), technique, style))
    elif draw < 0.37:
        line.insert(0, MarkSpec(_letter(rng), "model", 0, 0, height, technique, style))
    return line


def _neighbors(lines: list[list[MarkSpec]], kind: str, technique: str, maker: str, height: float, *, rng: Rng) -> bool:
    """Add lines above and below, in place; return whether the maker's name is among them."""
    named = False
    busy = 0.75 if kind in ("cast-iron", "card") else 0.3
    style = random_style(technique, rng)
    small = max(18.0, height * float(rng.uniform(0.32, 0.6)))
    if technique in BY_HAND:
        if rng.random() < 0.3:
            year = rng.random() < 0.5
            text = str(int(rng.integers(1858, 1915))) if year else str(rng.choice(HAND_WORDS))
            lines.append([MarkSpec(text, "calendar-year" if year else "word", 0, 0, small, technique, style)])
        return named
    if rng.random() < busy * 0.6:
        lines.insert(
            0, [MarkSpec(maker.upper(), "word", 0, 0, small, technique, replace(style, wobble=style.wobble * 0.7))]
        )
        named = True
    if rng.random() < busy * 0.5:
        lines.append([MarkSpec(_patent(rng), "patent", 0, 0, small * 0.85, technique, style)])
    if rng.random() < 0.2:  # a part's own number, or a size, close by
        number, number_kind = _other_number(rng)
        lines.append([MarkSpec(number, number_kind, 0, 0, small, technique, style)])
    has_model = any(m.kind == "model" for line in lines for m in line)
    if rng.random() < busy * 0.5 and not has_model:
        style_line = [MarkSpec("STYLE", "word", 0, 0, small, technique, style)]
        lines.append(
            [*style_line, MarkSpec(str(rng.choice(["7", "14", "A", "H", "2"])), "model", 0, 0, small, technique, style)]
        )
    return named


def _other_number(rng: Rng) -> tuple[str, str]:
    """Return a number that is no serial, with its kind."""
    draw = int(rng.integers(4))
    if draw == 0:
        return str(int(rng.integers(1, 89))), "key-number"
    if draw == 1:
        return f"{int(rng.integers(5, 10))} {rng.choice(['1/4', '1/2', '3/4'])}", "size"
    if draw == 2:
        return str(int(rng.integers(1, 10))), "part-position"
    return str(int(rng.integers(1858, 1915))), "calendar-year"


def _letter(rng: Rng) -> str:
    return str(rng.choice(list("ABCDEFH")))


def _patent(rng: Rng) -> str:
    month = str(rng.choice(["JAN", "MAY", "AUG", "NOV", "MARCH", "DEC"]))
    return (
        f"{rng.choice(['PATENTED', 'PAT.', 'PATD'])} {month} {int(rng.integers(1, 29))} {int(rng.integers(1855, 1899))}"
    )
