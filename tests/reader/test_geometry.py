"""Quads and crops: against OpenCV's rotated rectangles and by round trips."""

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reader.geometry import (
    box_quad,
    crop_quad,
    grow_quad,
    map_points,
    part_quad,
    quad_angle_deg,
    quad_overlap,
    quad_size,
    rotated_quad,
    turn_quad,
)

sides = st.floats(4, 400)
angles = st.floats(-179, 179)


@given(sides, sides, angles)
def test_rotated_quad_has_the_area_and_angle_of_opencvs_rotated_rectangle(length, height, angle):
    """Reference: cv2.boxPoints, whose angle is clockwise in picture coordinates too."""
    quad = rotated_quad((500, 400), length, height, angle)
    reference = cv2.boxPoints(((500, 400), (length, height), angle))
    nearest = np.linalg.norm(quad[:, None] - reference[None], axis=2).min(axis=1)
    assert nearest.max() < 0.01
    assert quad_size(quad) == pytest.approx((length, height), abs=0.01)
    assert abs((quad_angle_deg(quad) - angle + 180) % 360 - 180) < 0.5


def test_turning_a_quad_moves_the_start_and_keeps_the_place():
    quad = box_quad(10, 20, 110, 60)
    assert quad_angle_deg(turn_quad(quad, 2)) == pytest.approx(180)
    assert quad_size(turn_quad(quad, 1)) == (40, 100)
    assert np.array_equal(turn_quad(turn_quad(quad, 3), 1), quad)


@pytest.mark.parametrize("angle", [0, 17, 90, 180, -90, -140])
@pytest.mark.parametrize("height_px", [20, 80])
def test_a_crop_shows_what_the_quad_holds_upright_and_in_reading_direction(angle, height_px):
    photo = np.full((400, 400, 3), 200, np.uint8)
    quad = rotated_quad((200, 200), 120, 40, angle)
    first_third = part_quad(quad, 0, 1 / 3)
    cv2.fillConvexPoly(photo, first_third.round().astype(np.int32), (0, 0, 0))
    crop, _ = crop_quad(photo, quad, height_px)
    assert crop.shape == (height_px, 3 * height_px, 3)
    third = crop.shape[1] // 3
    assert crop[:, : third - 4].mean() < 30
    assert crop[:, third + 4 :].mean() > 170


@given(angles, st.floats(0, 1), st.floats(0, 0.5))
def test_the_way_back_from_a_crop_leads_to_the_quad(angle, share, margin):
    photo = np.zeros((300, 300), np.uint8)
    quad = rotated_quad((150, 150), 100, 30, angle)
    crop, to_photo = crop_quad(photo, quad, 48, margin)
    border = round(margin * 48)
    x = border + share * (crop.shape[1] - 2 * border)
    back = map_points(to_photo, np.array([[x, border], [x, border + 48]]))
    edge = part_quad(quad, share, share)
    assert np.abs(back - edge[[0, 3]]).max() < 0.05


def test_growing_adds_pixels_on_all_sides():
    assert np.allclose(grow_quad(box_quad(10, 10, 50, 30), 5, 3), box_quad(5, 7, 55, 33))


def test_overlap_of_boxes_by_hand():
    union, smaller = quad_overlap(box_quad(0, 0, 10, 10), box_quad(5, 0, 25, 10))
    assert union == pytest.approx(50 / 250)
    assert smaller == pytest.approx(50 / 100)
    assert quad_overlap(box_quad(0, 0, 10, 10), box_quad(20, 0, 30, 10)) == (0.0, 0.0)


def test_a_crop_beyond_the_picture_repeats_its_edge():
    crop, _ = crop_quad(np.full((20, 20), 77, np.uint8), box_quad(-30, -30, -10, -20), 24)
    assert (crop == 77).all()
