"""Rows of characters are found at every quarter turn and tilt, and on the outside's own pictures of print."""

import cv2
import numpy as np
import pytest
from skimage import data

from reader.enhance.views import make_locating_views
from reader.geometry import quad_angle_deg, quad_overlap, quad_size, rotated_quad
from reader.locate.strokes import locate_regions

CENTER = (640, 480)


def photo_with_number(angle_deg: float, dark: bool, height_px: int = 40) -> tuple[np.ndarray, np.ndarray]:
    """Return gray pixels (960, 1280) with '41873' around the center, and its true quad."""
    rng = np.random.default_rng(1)
    gray = rng.normal(150 if dark else 80, 5, (960, 1280))
    label = np.zeros((960, 1280), np.uint8)
    thickness = max(1, height_px // 9)
    scale = height_px / 21  # the face's figures are 21 px high at scale 1
    (width, height), _ = cv2.getTextSize("41873", cv2.FONT_HERSHEY_SIMPLEX, scale, thickness)
    origin = (CENTER[0] - width // 2, CENTER[1] + height // 2)
    cv2.putText(label, "41873", origin, cv2.FONT_HERSHEY_SIMPLEX, scale, 255, thickness, cv2.LINE_AA)
    left, top, width, height = cv2.boundingRect(label)
    turn = cv2.getRotationMatrix2D(CENTER, -angle_deg, 1)
    label = cv2.warpAffine(label, turn, (1280, 960))
    gray += label / 255.0 * (-70 if dark else 70)
    middle = turn @ np.array([left + width / 2, top + height / 2, 1.0])
    quad = rotated_quad((float(middle[0]), float(middle[1])), width, height, angle_deg)
    return np.clip(gray, 0, 255).astype(np.uint8), quad


@pytest.mark.parametrize("quarter", [0, 90, 180, 270])
@pytest.mark.parametrize("tilt", [-25, -12, 0, 12, 25])
@pytest.mark.parametrize("dark", [True, False])
def test_a_number_is_found_at_every_quarter_turn_and_tilt(quarter, tilt, dark):
    gray, truth = photo_with_number(quarter + tilt, dark)
    regions = locate_regions(make_locating_views(gray), 10)
    best = max(regions, key=lambda region: quad_overlap(region.quad, truth)[0])
    assert quad_overlap(best.quad, truth)[0] > 0.6
    off = abs((quad_angle_deg(best.quad) - quarter - tilt + 90) % 180 - 90)
    assert off < 6, "the direction of reading is right up to the half turn that a reader decides"


@pytest.mark.parametrize("height_px", [14, 30, 80, 180])
def test_sizes_from_one_to_fifteen_percent_of_the_width_are_found(height_px):
    gray, truth = photo_with_number(5, True, height_px)
    regions = locate_regions(make_locating_views(gray), 10)
    assert max(quad_overlap(region.quad, truth)[0] for region in regions) > 0.6


def test_lines_of_print_are_found_on_an_outside_picture():
    """Source: the picture of a printed page that scikit-image carries; six full lines, counted by eye."""
    page = cv2.resize(data.page(), None, fx=3, fy=3, interpolation=cv2.INTER_CUBIC)  # its letters are 8 px high
    regions = locate_regions(make_locating_views(page), 40)
    level = [r for r in regions if abs(quad_angle_deg(r.quad)) < 10 and quad_size(r.quad)[0] > 180]
    rows = sorted(float(r.quad[:, 1].mean()) for r in level)
    assert sum(b - a > 24 for a, b in zip([-100.0, *rows], rows, strict=False)) >= 6


@pytest.mark.parametrize("picture", ["brick", "grass", "gravel"])
def test_texture_costs_no_more_than_the_bound_and_gives_weak_regions(picture):
    """Source: scikit-image's texture pictures, which hold no figures."""
    texture = getattr(data, picture)()
    regions = locate_regions(make_locating_views(texture), 20)
    gray, truth = photo_with_number(0, True)
    strong = max(locate_regions(make_locating_views(gray), 5), key=lambda r: quad_overlap(r.quad, truth)[0])
    assert len(regions) <= 20
    assert all(region.score < strong.score for region in regions)


def test_nothing_is_found_on_nothing():
    for value in (0, 128, 255):
        assert locate_regions(make_locating_views(np.full((500, 700), value, np.uint8)), 10) == ()
    assert locate_regions(make_locating_views(np.zeros((1, 1), np.uint8)), 10) == ()
