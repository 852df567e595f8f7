"""The pictures of the invented shop's technician and archivist; see samples.py."""

from __future__ import annotations

from dataclasses import replace

from tools.renderer.sample_parts import HARROW, OSTRAVA, PELLWICK, Sample, at, mark
from tools.renderer.spec import CameraSpec, ClutterSpec, LightSpec, SceneSpec
from tools.renderer.styles import CLARENDON, GOTHIC, HAND, NARROW, OLD_STYLE, TYPEWRITER


def technician_samples() -> list[Sample]:
    """Return the technician's pictures."""
    dim = SceneSpec(
        "wood-stamp",
        at(0, 0, [mark("64150", "serial", 78, "punch", NARROW)]),
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
        at(0.03, -0.03, [mark("D", "model", 84, "punch", CLARENDON), mark("31296", "serial", 84, "punch", CLARENDON)]),
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
        at(-0.03, 0.02, [mark("3", "part-position", 150, "punch", OLD_STYLE, turn_deg=4)]),
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
        at(
            0,
            0,
            [mark("PELLWICK BROTHERS", "word", 56, "cast", GOTHIC)],
            [mark("A", "model", 104, "cast", CLARENDON), mark("48116", "serial", 104, "cast", CLARENDON)],
            [mark("PATENTED NOV 3 1885", "patent", 44, "cast", GOTHIC)],
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
    punched = mark("12763", "serial", 74, "punch", GOTHIC)
    twice = SceneSpec(
        "wood-stamp",
        (*at(-0.17, -0.06, [punched]), *at(0.2, 0.12, [mark("12763", "serial", 92, "pencil", HAND, turn_deg=-5)])),
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
        at(0.02, 0.02, [mark("3356", "serial", 140, "scratch", replace(HAND, wobble=0.9, weight=0.05))]),
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


def archivist_samples() -> list[Sample]:
    """Return the archivist's pictures."""
    old = SceneSpec(
        "stencil-iron",
        at(
            0.02,
            0.04,
            [mark("PELLWICK BROTHERS", "word", 60, "stencil", CLARENDON)],
            [mark("27418", "serial", 110, "stencil", CLARENDON)],
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
        at(
            0,
            0,
            [mark("QUILLFEATHER KEYBOARD RESTORATION", "word", 36, "print")],
            [mark("HARROW & THISTLE", "word", 40, "type", TYPEWRITER)],
            [mark("No.", "word", 56, "type", TYPEWRITER), mark("30512", "serial", 56, "type", TYPEWRITER)],
            [
                mark("SQUARE GRAND", "word", 34, "type", TYPEWRITER),
                mark("1869", "calendar-year", 34, "type", TYPEWRITER),
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
        at(0, 0, [mark("No.", "word", 84, "write", HAND), mark("6620", "serial", 110, "write", HAND)]),
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
