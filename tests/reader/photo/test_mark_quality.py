"""Measures of one mark and the advice that follows from them: drawn cases with known values, and rendered scenes."""

from __future__ import annotations

import re
import time
from dataclasses import replace

import cv2
import numpy as np
import pytest

from reader.geometry import box_quad
from reader.photo.mark_quality import EDGE_SPREAD_MAX, MarkQuality, advise_mark, measure_mark
from tools.renderer.scene import Scene, build, light_and_take
from tools.renderer.sets import torch_spec

FINE = MarkQuality(figure_height_px=60, bright_level=180, glare_share=0.0, edge_spread=0.01, upright_share=0.6)
QUAD = box_quad(40, 40, 296, 104)
"""256 px long and 64 px high: measured at its own size, pixel by pixel."""


def plain(level: int) -> np.ndarray:
    return np.full((144, 336), level, np.uint8)


def figures(thickness: int = 8, ground: int = 90, ink: int = 180) -> np.ndarray:
    """Return a picture whose QUAD holds figures of OpenCV's own strokes."""
    pixels = plain(ground)
    cv2.putText(pixels, "40827", (44, 101), cv2.FONT_HERSHEY_SIMPLEX, 2.7, ink, thickness, cv2.LINE_AA)
    return pixels


def codes(quality: MarkQuality) -> list[str]:
    return [advice.code for advice in advise_mark(quality)]


def test_glare_over_a_quarter_of_the_mark_is_a_quarter() -> None:
    """64 of 256 columns: a burnt-out square as high as the figures, which holds the disk up to the mark's edge."""
    pixels = plain(120)
    pixels[:, 40:104] = 255

    assert measure_mark(pixels, QUAD).glare_share == pytest.approx(0.25, abs=1e-9)


def test_what_shines_beside_the_mark_does_not_count() -> None:
    pixels = plain(120)
    pixels[:38], pixels[:, :38] = 255, 255

    assert measure_mark(pixels, QUAD).glare_share == 0


def test_bright_strokes_and_paper_between_dark_ones_are_no_glare() -> None:
    chalk, print_ = figures(ink=255), figures(ground=255, ink=30)

    assert np.mean(chalk[40:104, 40:296] >= 250) > 0.1
    assert measure_mark(chalk, QUAD).glare_share == 0
    assert measure_mark(print_, QUAD).glare_share < 0.1


def test_bright_level_is_a_quantile_of_the_mark_alone() -> None:
    """A tenth of the mark at 200 lies above the 95th percentile, a fiftieth does not."""
    pixels = np.full((144, 336), 250, np.uint8)
    pixels[40:104, 40:296] = 20
    pixels[40:104, 40:66] = 200
    few = pixels.copy()
    few[40:104, 45:66] = 20

    assert measure_mark(pixels, QUAD).bright_level == 200
    assert measure_mark(few, QUAD).bright_level == 20


@pytest.mark.parametrize("spread_px", [1.0, 2.0, 3.0])
def test_edge_spread_is_that_of_the_blur_over_the_height(spread_px: float) -> None:
    """A step in the middle of a pixel has a variance of 1/4, which the blur's is added to (see test_quality.py)."""
    pixels = plain(60).astype(np.float32)
    pixels[:, 168], pixels[:, 169:] = 120, 180
    blurred = np.rint(cv2.GaussianBlur(pixels, (0, 0), spread_px)).astype(np.uint8)

    assert measure_mark(blurred, QUAD).edge_spread == pytest.approx(np.sqrt(0.25 + spread_px**2) / 64, rel=0.1)


def test_edge_spread_grows_with_blur_until_there_is_advice() -> None:
    spreads = [
        measure_mark(cv2.GaussianBlur(figures(), (0, 0), px) if px else figures(), QUAD).edge_spread
        for px in (0, 1, 2, 3, 4, 5)
    ]

    assert spreads == sorted(spreads)
    assert spreads[0] < EDGE_SPREAD_MAX / 2
    assert spreads[-1] > EDGE_SPREAD_MAX


def test_blur_is_judged_alike_from_near_and_far() -> None:
    blurred = cv2.GaussianBlur(figures(), (0, 0), 3)
    near = cv2.resize(blurred, None, fx=3, fy=3, interpolation=cv2.INTER_CUBIC)

    far = measure_mark(blurred, QUAD)
    assert measure_mark(near, QUAD * 3).edge_spread == pytest.approx(far.edge_spread, rel=0.1)
    assert measure_mark(near, QUAD * 3).figure_height_px == pytest.approx(3 * 64)


@pytest.mark.parametrize(("angle", "share"), [(0, 1.0), (90, 0.0), (45, 0.5), (30, 0.75), (60, 0.25)])
def test_upright_share_of_one_direction_is_its_squared_cosine(angle: float, share: float) -> None:
    """A wave whose crests lie `angle` off the upright has its gradient along (cos, sin): the share is cos squared."""
    y, x = np.mgrid[:144, :336]
    along = x * np.cos(np.radians(angle)) + y * np.sin(np.radians(angle))
    wave = np.rint(128 + 60 * np.sin(2 * np.pi * along / 16)).astype(np.uint8)

    assert measure_mark(wave, QUAD).upright_share == pytest.approx(share, abs=0.03)


def test_upright_share_goes_with_the_line_of_reading() -> None:
    """The same picture with its quad, a quarter turn further: measured in the mark's frame, nothing changes."""
    turned = np.ascontiguousarray(np.rot90(figures(), -1))
    corners = np.array([[143 - y, x] for x, y in QUAD], np.float32)

    first, second = measure_mark(figures(), QUAD), measure_mark(turned, corners)
    assert second.upright_share == pytest.approx(first.upright_share, abs=0.02)
    assert second.edge_spread == pytest.approx(first.edge_spread, abs=0.005)


def test_a_flat_mark_and_tiny_ones_can_be_measured() -> None:
    assert measure_mark(plain(100), QUAD) == MarkQuality(64.0, 100.0, 0.0, 0.0, 0.5)
    for quad in (box_quad(5, 5, 6, 6), box_quad(0, 0, 300, 1), box_quad(-50, -50, -40, -45)):
        measure_mark(figures(), quad)


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({}, []),
        ({"bright_level": 39.9}, ["too-dark"]),
        ({"bright_level": 40.0}, []),
        ({"bright_level": 20.0, "edge_spread": 0.2, "upright_share": 0.1}, ["too-dark"]),
        ({"glare_share": 0.101}, ["glare"]),
        ({"glare_share": 0.1}, []),
        ({"glare_share": 0.5, "upright_share": 0.1}, ["glare"]),
        ({"edge_spread": 0.061}, ["blurred"]),
        ({"edge_spread": 0.06}, []),
        ({"upright_share": 0.359}, ["light-along-strokes"]),
        ({"upright_share": 0.36}, []),
        ({"figure_height_px": 39.9}, ["too-small"]),
        ({"figure_height_px": 40.0}, []),
        ({"edge_spread": 0.1, "figure_height_px": 12.0}, ["blurred", "too-small"]),
    ],
)
def test_each_fault_has_its_advice(change: dict[str, float], expected: list[str]) -> None:
    assert codes(replace(FINE, **change)) == expected


@pytest.mark.parametrize(
    ("change", "value", "limit"),
    [
        ({"bright_level": 20.04}, "level 20 of 255", "40 or more"),
        ({"glare_share": 0.1001}, "10.1 %", "10 % at the most"),
        ({"edge_spread": 0.0825}, "8.3 %", "6 % at the most"),
        ({"upright_share": 0.3599}, "35.9 %", "36 % or more"),
        ({"figure_height_px": 22.0}, "22 px high", "40 and more"),
        ({"figure_height_px": 39.99}, "39.9 px high", "40 and more"),
    ],
)
def test_advice_tells_what_was_measured_and_the_limit(change: dict[str, float], value: str, limit: str) -> None:
    """Values are rounded away from the limit, so that none reads as if it were kept."""
    (advice,) = advise_mark(replace(FINE, **change))

    assert value in advice.text
    assert limit in advice.text
    assert 1 <= len(re.findall(r"[.!?](?:\s|$)", advice.text)) <= 2
    assert len(advice.text) <= 320


def relit(scene: Scene, azimuth_deg: float) -> MarkQuality:
    light = replace(scene.spec.light, azimuth_deg=azimuth_deg, elevation_deg=15, distance=0.9, ambient=0.05)
    pixels, truth = light_and_take(scene, [light], seed=1)
    (quad,) = [mark.quad for mark in truth.marks if mark.kind == "serial"]
    return measure_mark(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), np.asarray(quad, np.float32))


@pytest.mark.parametrize(("seed", "kind"), [(9209, "wood-stamp"), (9205, "cast-iron")])
def test_light_along_the_upright_strokes_is_found_by_relighting(seed: int, kind: str) -> None:
    """Eight sides: the two along the upright strokes have the lowest shares and the advice, no other has it."""
    scene = build(replace(torch_spec(seed, "hard", kind), size=(1000, 750)), seed)
    (turn_deg,) = [mark.turn_deg for mark in scene.spec.marks if mark.kind == "serial"]
    sides = {off: relit(scene, turn_deg + off) for off in range(0, 360, 45)}

    assert sorted(sorted(sides, key=lambda off: sides[off].upright_share)[:2]) == [90, 270]
    assert [off for off in sides if "light-along-strokes" in codes(sides[off])] == [90, 270]


def test_a_good_render_needs_no_advice() -> None:
    spec = replace(torch_spec(9103, "easy", "cast-iron"), size=(1000, 750))

    assert codes(relit(build(spec, 9103), 0)) == []


def test_a_mark_takes_a_few_milliseconds() -> None:
    """2 to 5 ms of one processor measured for a line across a 12-megapixel photo; machines that test are busy."""
    gray = np.random.default_rng(0).integers(0, 255, (3024, 4032), np.uint8)
    quad = box_quad(200, 1000, 3800, 1400)
    measure_mark(gray, quad)

    begun = time.thread_time()
    for _ in range(5):
        measure_mark(gray, quad)
    assert (time.thread_time() - begun) / 5 < 0.05
