"""The pictures of sample_images/: three users of an invented shop, Quillfeather Keyboard Restoration.

Each entry is a file name, the user, what it shows, a seed and a scene. Makers, shop and numbers are invented. The
customer's pictures are here, the shop's own in samples_shop.py.
"""

from __future__ import annotations

from dataclasses import replace

from tools.renderer.sample_parts import HARROW, OSTRAVA, PELLWICK, Sample, at, mark
from tools.renderer.samples_shop import archivist_samples, technician_samples
from tools.renderer.spec import CameraSpec, ClutterSpec, LightSpec, SceneSpec
from tools.renderer.styles import CHALK_HAND, CLARENDON, GOTHIC, OLD_STYLE, TYPEWRITER


def _customer() -> list[Sample]:
    pin_block = SceneSpec(
        "wood-stamp",
        at(-0.02, 0.09, [mark("23417", "serial", 96, "punch", CLARENDON)]),
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
        at(0.04, 0.05, [mark("86254", "serial", 118, "stencil", replace(CLARENDON, stretch=0.9))]),
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
        at(
            0,
            0,
            [mark("OSTRAVA LANE ORGAN WORKS", "word", 40, "print")],
            [mark("No.", "word", 54, "print"), mark("8074", "serial", 72, "numbering", TYPEWRITER)],
            [mark("STYLE", "word", 30, "print"), mark("14", "model", 30, "print")],
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
        at(0.05, 0.02, [mark("154309", "serial", 92, "ink", GOTHIC)], [mark("WARRANTED", "word", 36, "ink", GOTHIC)]),
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
        at(
            -0.04,
            -0.02,
            [mark("21936", "serial", 150, "chalk", CHALK_HAND)],
            [mark("TOP", "word", 84, "chalk", CHALK_HAND)],
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
        at(0.1, 0.06, [mark("41873", "serial", 46, "punch", OLD_STYLE)]),
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
        at(
            0,
            0.01,
            [mark("PELLWICK BROTHERS", "word", 74, "cast", CLARENDON)],
            [mark("PATENTED MAY 14 1872", "patent", 52, "cast", GOTHIC)],
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


def all_samples() -> list[Sample]:
    """Return every sample, customer's first."""
    return [*_customer(), *technician_samples(), *archivist_samples()]


def large_spec() -> SceneSpec:
    """Return the pin block scene as a 12-megapixel phone picture (4032 x 3024), for speed measurements."""
    return replace(_customer()[0].spec, size=(4032, 3024))
