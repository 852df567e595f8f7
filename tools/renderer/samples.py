"""The pictures of sample_images/: three users of an invented shop, Quillfeather Keyboard Restoration.

Each entry is a file name, the user, what it shows, a seed and a scene. Makers, shop and numbers are invented.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from tools.renderer.layout import stack_lines
from tools.renderer.spec import CameraSpec, ClutterSpec, FigureStyle, LightSpec, MarkSpec, SceneSpec
from tools.renderer.styles import CHALK_HAND, CLARENDON, GOTHIC, HAND, NARROW, OLD_STYLE, TYPEWRITER

SHOP = "Quillfeather Keyboard Restoration"
HARROW, OSTRAVA, PELLWICK = "Harrow & Thistle", "Ostrava Lane Organ Works", "Pellwick Brothers"
PLAIN = FigureStyle()


@dataclass(frozen=True)
class Sample:
    """One picture: its file in sample_images/, whose it is, what it shows, and how it is made."""

    file: str
    user: str
    shows: str
    seed: int
    spec: SceneSpec


def _mark(
    text: str, kind: str, height: float, technique: str, style: FigureStyle = PLAIN, *, turn_deg: float = 0.0
) -> MarkSpec:
    return MarkSpec(text, kind, 0, 0, height, technique, style, turn_deg)


def _at(x: float, y: float, *lines: list[MarkSpec], gap: float = 0.6) -> tuple[MarkSpec, ...]:
    """Stack lines and put their middle at (x, y)."""
    return tuple(replace(m, x=m.x + x, y=m.y + y) for m in stack_lines(list(lines), gap))


def _customer() -> list[Sample]:
    pin_block = SceneSpec(
        "wood-stamp",
        _at(-0.02, 0.09, [_mark("23417", "serial", 96, "punch", CLARENDON)]),
        tilt_deg=-4,
        pitch_deg=12,
        material="maple",
        px_per_mm=9.5,
        relief=0.11,
        wear=0.1,
        grain_deg=2,
        light=LightSpec(208, 26, 0.8, (-0.03, 0.05), 24, 0.12, 0.45),
        camera=CameraSpec(0.6, noise=0.9),
        clutter=ClutterSpec(pins=17, screws=1, dust=0.16, stains=0.4, scratches=0.4, edge="green-felt-bottom"),
        maker=HARROW,
    )
    stencil = SceneSpec(
        "stencil-iron",
        _at(0.04, 0.05, [_mark("86254", "serial", 118, "stencil", replace(CLARENDON, stretch=0.9))]),
        tilt_deg=3,
        pitch_deg=-8,
        yaw_deg=6,
        material="old-gold",
        px_per_mm=5.2,
        wear=0.12,
        light=LightSpec(310, 38, 1.0, (0.0, 0.0), 26, 0.16, 0.5),
        camera=CameraSpec(0.6),
        clutter=ClutterSpec(strings=6, string_turn_deg=78, screws=2, dust=0.12, stains=0.2, edge="gap-bottom"),
        maker=PELLWICK,
    )
    label = SceneSpec(
        "card",
        _at(
            0,
            0,
            [_mark("OSTRAVA LANE ORGAN WORKS", "word", 40, "print")],
            [_mark("No.", "word", 54, "print"), _mark("8074", "serial", 72, "numbering", TYPEWRITER)],
            [_mark("STYLE", "word", 30, "print"), _mark("14", "model", 30, "print")],
        ),
        tilt_deg=2.5,
        pitch_deg=6,
        material="cream/double/walnut-varnished",
        px_per_mm=12,
        wear=0.12,
        grain_deg=3,
        light=LightSpec(240, 48, 1.1, (0, 0), 30, 0.25, 0.5),
        camera=CameraSpec(0.5),
        clutter=ClutterSpec(dust=0.1, stains=0.5, scratches=0.5),
        maker=OSTRAVA,
    )
    return [
        Sample(
            "customer_square_grand_pin_block.jpg",
            "customer",
            "stamp in the pin block of a square grand, by flashlight",
            101,
            pin_block,
        ),
        Sample(
            "customer_upright_plate_stencil.jpg",
            "customer",
            "number stenciled on an upright's gilt plate",
            102,
            stencil,
        ),
        Sample("customer_melodeon_label.jpg", "customer", "printed paper label inside a melodeon", 103, label),
        *_customer_more(),
    ]


def _customer_more() -> list[Sample]:
    ink = SceneSpec(
        "ink-soundboard",
        _at(
            0.05, 0.02, [_mark("154309", "serial", 92, "ink", GOTHIC)], [_mark("WARRANTED", "word", 36, "ink", GOTHIC)]
        ),
        tilt_deg=-6,
        material="spruce",
        px_per_mm=7.5,
        wear=0.15,
        grain_deg=38,
        light=LightSpec(140, 40, 1.1, (0.03, 0), 30, 0.2, 0.5),
        camera=CameraSpec(0.6),
        clutter=ClutterSpec(strings=8, string_turn_deg=64, dust=0.25, stains=0.5),
        maker=PELLWICK,
    )
    chalk = SceneSpec(
        "chalk",
        _at(
            -0.04,
            -0.02,
            [_mark("21936", "serial", 150, "chalk", CHALK_HAND)],
            [_mark("TOP", "word", 84, "chalk", CHALK_HAND)],
        ),
        tilt_deg=2,
        yaw_deg=-7,
        material="dark-pine",
        px_per_mm=3.2,
        wear=0.18,
        grain_deg=1,
        light=LightSpec(300, 34, 0.9, (-0.02, 0), 28, 0.12, 0.5),
        camera=CameraSpec(0.7, noise=1.1),
        clutter=ClutterSpec(screws=2, dust=0.2, stains=0.4, edge="gap-top"),
        maker=OSTRAVA,
    )
    dark = SceneSpec(
        "wood-stamp",
        _at(0.1, 0.06, [_mark("41873", "serial", 46, "punch", OLD_STYLE)]),
        tilt_deg=9,
        pitch_deg=-16,
        material="beech",
        px_per_mm=5.5,
        relief=0.035,
        wear=0.65,
        grain_deg=-3,
        light=LightSpec(80, 58, 1.2, (-0.28, -0.2), 20, 0.1, 0.9),
        camera=CameraSpec(1.5, 3.0, 20, 3.0, 0.42, 0.9, 0.4, 84, 0.8),
        clutter=ClutterSpec(pins=12, dust=0.7, stains=0.5, hand_shadow=0.8, edge="felt-bottom"),
        maker=HARROW,
        notes="too dark and blurred: not sure is the right answer",
    )
    patent = SceneSpec(
        "cast-iron",
        _at(
            0,
            0.01,
            [_mark("PELLWICK BROTHERS", "word", 74, "cast", CLARENDON)],
            [_mark("PATENTED MAY 14 1872", "patent", 52, "cast", GOTHIC)],
        ),
        tilt_deg=-2,
        pitch_deg=8,
        material="bronze",
        px_per_mm=4.2,
        relief=0.11,
        wear=0.15,
        light=LightSpec(225, 30, 1.0, (0, 0), 30, 0.14, 0.5),
        camera=CameraSpec(0.6),
        clutter=ClutterSpec(screws=3, dust=0.2, edge="gap-right"),
        maker=PELLWICK,
        notes="patent date only, no serial",
    )
    return [
        Sample("customer_soundboard_ink.jpg", "customer", "number stamped in ink on a grand's soundboard", 104, ink),
        Sample("customer_organ_back_chalk.jpg", "customer", "chalked number on the back of a reed organ", 105, chalk),
        Sample(
            "customer_too_dark.jpg",
            "customer",
            "a stamp photographed badly: dark, shaken, a hand in the light",
            106,
            dark,
        ),
        Sample(
            "customer_patent_plate.jpg",
            "customer",
            "cast plate with the maker and a patent date, no serial",
            107,
            patent,
        ),
    ]


def _technician() -> list[Sample]:
    dim = SceneSpec(
        "wood-stamp",
        _at(0, 0, [_mark("64150", "serial", 78, "punch", NARROW)]),
        tilt_deg=3,
        material="pine",
        px_per_mm=8.0,
        relief=0.022,
        wear=0.68,
        grain_deg=1,
        light=LightSpec(180, 21, 0.8, (0, 0), 26, 0.06, 0.4),
        camera=CameraSpec(0.9, noise=2.2, exposure=0.7, smoothing=0.5),
        clutter=ClutterSpec(dust=0.4, stains=0.4, scratches=0.4),
        maker=HARROW,
        notes="same stamp as technician_dim_stamp_right.jpg, torch from the left",
    )
    right = replace(
        dim,
        light=replace(dim.light, azimuth_deg=5),
        notes="same stamp as technician_dim_stamp_left.jpg, torch from the right",
    )
    turned = SceneSpec(
        "wood-stamp",
        _at(
            0.03, -0.03, [_mark("D", "model", 84, "punch", CLARENDON), _mark("31296", "serial", 84, "punch", CLARENDON)]
        ),
        tilt_deg=5,
        quarter_turns=2,
        material="spruce",
        px_per_mm=8.5,
        relief=0.085,
        wear=0.28,
        grain_deg=88,
        light=LightSpec(60, 26, 0.9, (0, 0), 26, 0.12, 0.4),
        camera=CameraSpec(0.7, noise=1.2),
        clutter=ClutterSpec(dust=0.3, stains=0.5, screws=1, edge="rail-top"),
        maker=HARROW,
        notes="upside down",
    )
    leg = SceneSpec(
        "wood-stamp",
        _at(-0.03, 0.02, [_mark("3", "part-position", 150, "punch", OLD_STYLE, turn_deg=4)]),
        tilt_deg=-7,
        material="beech",
        px_per_mm=9,
        relief=0.1,
        wear=0.2,
        grain_deg=91,
        light=LightSpec(200, 26, 0.9, (0, 0), 26, 0.14, 0.4),
        camera=CameraSpec(0.7),
        clutter=ClutterSpec(screws=2, dust=0.3, stains=0.5, edge="gap-right"),
        maker=HARROW,
        notes="position mark of a leg, no serial",
    )
    return [
        Sample("technician_dim_stamp_left.jpg", "technician", "a low, dusty stamp, torch from the left", 108, dim),
        Sample("technician_dim_stamp_right.jpg", "technician", "the same stamp, torch from the right", 108, right),
        Sample(
            "technician_upside_down.jpg", "technician", "model letter and serial, photographed upside down", 110, turned
        ),
        Sample("technician_leg_position.jpg", "technician", "top of a leg with its position mark, no serial", 111, leg),
        *_technician_more(),
    ]


def _technician_more() -> list[Sample]:
    cast = SceneSpec(
        "cast-iron",
        _at(
            0,
            0,
            [_mark("PELLWICK BROTHERS", "word", 56, "cast", GOTHIC)],
            [_mark("A", "model", 104, "cast", CLARENDON), _mark("48116", "serial", 104, "cast", CLARENDON)],
            [_mark("PATENTED NOV 3 1885", "patent", 44, "cast", GOTHIC)],
        ),
        tilt_deg=2,
        pitch_deg=-6,
        yaw_deg=5,
        material="brown-bronze",
        px_per_mm=4.6,
        relief=0.12,
        wear=0.12,
        light=LightSpec(235, 28, 1.0, (0, 0), 30, 0.14, 0.4),
        camera=CameraSpec(0.6),
        clutter=ClutterSpec(screws=2, dust=0.15, edge="felt-top"),
        maker=PELLWICK,
    )
    punched = _mark("12763", "serial", 74, "punch", GOTHIC)
    twice = SceneSpec(
        "wood-stamp",
        (*_at(-0.17, -0.06, [punched]), *_at(0.2, 0.12, [_mark("12763", "serial", 92, "pencil", HAND, turn_deg=-5)])),
        tilt_deg=-3,
        material="spruce",
        px_per_mm=7.5,
        relief=0.09,
        wear=0.2,
        grain_deg=2,
        light=LightSpec(215, 28, 1.1, (0, 0), 34, 0.16, 0.4),
        camera=CameraSpec(0.6),
        clutter=ClutterSpec(dust=0.2, stains=0.4, scratches=0.3, edge="iron-top"),
        maker=HARROW,
        notes="same number twice: punched and in pencil",
    )
    scratched = SceneSpec(
        "wood-etched",
        _at(0.02, 0.02, [_mark("3356", "serial", 140, "scratch", replace(HAND, wobble=0.9, weight=0.05))]),
        tilt_deg=4,
        pitch_deg=10,
        material="walnut-varnished",
        px_per_mm=8,
        relief=0.07,
        wear=0.25,
        grain_deg=2,
        light=LightSpec(205, 30, 1.0, (0.05, 0), 28, 0.12, 0.4),
        camera=CameraSpec(0.7),
        clutter=ClutterSpec(dust=0.25, stains=0.3, scratches=0.8, edge="key-slip-bottom"),
        maker=OSTRAVA,
    )
    return [
        Sample(
            "technician_cast_plate.jpg", "technician", "cast plate: maker, model letter, serial, patent date", 112, cast
        ),
        Sample("technician_same_number_twice.jpg", "technician", "one number punched and again in pencil", 113, twice),
        Sample(
            "technician_scratched_number.jpg",
            "technician",
            "number scratched through the varnish of a reed organ",
            114,
            scratched,
        ),
    ]


def _archivist() -> list[Sample]:
    old = SceneSpec(
        "stencil-iron",
        _at(
            0.02,
            0.04,
            [_mark("PELLWICK BROTHERS", "word", 60, "stencil", CLARENDON)],
            [_mark("27418", "serial", 110, "stencil", CLARENDON)],
        ),
        tilt_deg=-1.5,
        material="pale-gilt",
        px_per_mm=4.2,
        wear=0.04,
        light=LightSpec(250, 50, 1.6, (0, 0), 40, 0.5, 0.0),
        camera=CameraSpec(1.1, noise=1.0, sharpen=0.2),
        clutter=ClutterSpec(strings=10, string_turn_deg=82, pins=18, screws=1, dust=0.1),
        print_age=0.6,
        maker=PELLWICK,
        notes="copy of a faded toned print",
    )
    card = SceneSpec(
        "card",
        _at(
            0,
            0,
            [_mark("QUILLFEATHER KEYBOARD RESTORATION", "word", 36, "print")],
            [_mark("HARROW & THISTLE", "word", 40, "type", TYPEWRITER)],
            [_mark("No.", "word", 56, "type", TYPEWRITER), _mark("30512", "serial", 56, "type", TYPEWRITER)],
            [
                _mark("SQUARE GRAND", "word", 34, "type", TYPEWRITER),
                _mark("1869", "calendar-year", 34, "type", TYPEWRITER),
            ],
        ),
        tilt_deg=0.8,
        material="white/single/dark-oak",
        px_per_mm=11,
        wear=0.08,
        light=LightSpec(260, 62, 1.8, (0, 0), 45, 0.5, 0.2),
        camera=CameraSpec(0.4, noise=0.7),
        clutter=ClutterSpec(dust=0.03, stains=0.2),
        maker=HARROW,
    )
    tag = SceneSpec(
        "card",
        _at(0, 0, [_mark("No.", "word", 84, "write", HAND), _mark("6620", "serial", 110, "write", HAND)]),
        tilt_deg=-5,
        yaw_deg=8,
        material="buff/torn/pine",
        px_per_mm=9,
        wear=0.5,
        light=LightSpec(120, 40, 1.3, (0, 0), 34, 0.3, 0.5),
        camera=CameraSpec(0.9, noise=1.4),
        clutter=ClutterSpec(dust=0.15, stains=0.6),
        maker=OSTRAVA,
        notes="faded ink",
    )
    return [
        Sample(
            "archivist_old_shop_photograph.jpg", "archivist", "faded toned print of a plate with its number", 118, old
        ),
        Sample("archivist_record_card.jpg", "archivist", "typed record card of the shop", 116, card),
        Sample("archivist_faded_tag.jpg", "archivist", "torn tag with a number in faded ink", 117, tag),
    ]


def all_samples() -> list[Sample]:
    """Return every sample, customer's first."""
    return [*_customer(), *_technician(), *_archivist()]


def large_spec() -> SceneSpec:
    """Return the pin block scene as a 12-megapixel phone picture (4032 x 3024), for speed measurements."""
    return replace(_customer()[0].spec, size=(4032, 3024))
