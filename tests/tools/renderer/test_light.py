"""Light obeys the laws that the renderer claims, on surfaces whose answer is worked out by hand.

Cosine law: J. H. Lambert, Photometria, 1760. Fall-off with the square of the distance: the same, and every textbook.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from tools.renderer.light import Surface, Torch, shade, torch_at
from tools.renderer.screens import HandShadow, PinShadow, StepShadow, drop, free_mask

SIDE = 200


def flat_surface(size: int = SIDE) -> Surface:
    zero = np.zeros((size, size), np.float32)
    return Surface(zero.copy(), np.ones((size, size, 3), np.float32), zero.copy(), zero.copy(), zero.copy(), 5.0, 1.0)


def torch_of(surface: Surface, azimuth_deg: float, elevation_deg: float = 25, distance: float = 5000) -> Torch:
    middle = (surface.shape[1] / 2, surface.shape[0] / 2)
    return Torch(torch_at(middle, azimuth_deg, elevation_deg, distance), middle, 60.0, 0.0, (1, 1, 1))


def lit(surface: Surface, *torches: Torch) -> np.ndarray:
    return shade(surface, torches, (surface.shape[1] / 2, surface.shape[0] / 2, 3000.0))[..., 0]


def test_light_from_the_left_brightens_the_right_hand_wall_of_a_cut() -> None:
    surface = flat_surface()
    x = np.arange(SIDE, dtype=np.float32)
    surface.height -= (6 * np.exp(-(((x - 100) / 6) ** 2)))[None, :].astype(np.float32)
    from_right, from_left = lit(surface, torch_of(surface, 0)), lit(surface, torch_of(surface, 180))
    assert from_left[100, 106] > 1.5 * from_left[100, 94]
    assert from_right[100, 94] > 1.5 * from_right[100, 106]
    assert from_left[100, 106] > from_left[100, 30]  # brighter than the flat, too: it faces the light


def test_a_raised_bar_throws_its_shadow_away_from_the_light() -> None:
    surface = flat_surface()
    surface.height[:, 90:110] = 12
    for azimuth, dark, bright, beyond in ((0, 80, 120, 60), (180, 120, 80, 140)):
        light = lit(surface, torch_of(surface, azimuth, 30))
        assert light[100, dark] < 0.3 * light[100, bright]
        assert light[100, beyond] == pytest.approx(light[100, bright], rel=0.05)  # 12 / tan 30 = 21 pixels of shadow


def test_a_slope_is_lit_by_lamberts_cosine() -> None:
    surface = flat_surface()
    torch = torch_of(surface, 0, 40)
    flat = lit(surface, torch)[100, 100]
    surface.height += np.arange(SIDE, dtype=np.float32)[None, :] * -math.tan(math.radians(20))
    tilted = lit(surface, torch)[100, 100]  # leaning 20 degrees toward the light, which then stands at 60
    assert tilted / flat == pytest.approx(math.sin(math.radians(60)) / math.sin(math.radians(40)), rel=0.01)


def test_doubled_distance_gives_a_quarter() -> None:
    surface = flat_surface(1001)
    middle = (500.0, 500.0)
    # a beam so wide that it is even; straight below: distance 250, cosine 1
    torch = Torch((*middle, 250.0), middle, 1e6, 0.0, (1, 1, 1))
    light = lit(surface, torch)
    beside = round(250 * math.sqrt(3))  # distance 500, cosine 1/2
    assert light[500, 500 + beside] / light[500, 500] == pytest.approx(0.25 * 0.5, rel=0.01)


def test_brightness_falls_with_the_inverse_square_and_the_beam() -> None:
    surface = flat_surface(801)
    light = lit(surface, torch_of(surface, 0, 90, 400))
    # straight below: 1. At 300 beside, distance 500: (400 / 500)^2 for the distance, 400 / 500 for the cosine;
    # the beam's own profile, 0.62 exp(-(a/60)^4 / 2) + 0.38 exp(-(a/132)^2 / 2), at a = 36.87 degrees
    angle = math.degrees(math.atan2(300, 400))
    beam = 0.62 * math.exp(-0.5 * (angle / 60) ** 4) + 0.38 * math.exp(-0.5 * (angle / 132) ** 2)
    assert light[400, 700] / light[400, 400] == pytest.approx(0.8**3 * beam, rel=0.01)


def test_lights_add_up_each_with_its_power_and_shadow() -> None:
    surface = flat_surface()
    surface.height[:, 90:110] = 12
    right, left = torch_of(surface, 0, 30), torch_of(surface, 180, 30)
    weak = Torch(left.position, left.aim_xy, left.beam_deg, 0.0, (1, 1, 1), power=0.5)
    assert np.allclose(lit(surface, right, weak), lit(surface, right) + 0.5 * lit(surface, left), atol=1e-5)
    with pytest.raises(ValueError, match="at least one torch"):
        lit(surface)


def test_a_pin_in_front_throws_its_shadow_away_from_every_light() -> None:
    surface = flat_surface()
    surface.screens.append(PinShadow((100.0, 100.0), 40.0, 5.0, 5.0, free_mask(surface.front)))
    torch = torch_of(surface, 0, 45)
    light = lit(surface, torch)
    assert light[100, 75] < 0.3 * light[100, 125]
    x, y = drop(torch, 100.0, 100.0, 40.0)
    assert (x, y) == pytest.approx((60.0, 100.0), abs=1.0)  # 40 high under 45 degrees: 40 long
    assert lit(surface, torch_of(surface, 90, 45))[75, 100] < 0.3  # light from below, shadow above


def test_a_step_shades_its_low_side_and_a_hand_shades_alike_from_everywhere() -> None:
    beyond = np.broadcast_to(np.arange(SIDE, dtype=np.float32)[None, :] - 150, (SIDE, SIDE))
    step = StepShadow(beyond, 1.0, (1.0, 0.0), 5.0)  # what lies beyond, on the right, is higher
    hand = HandShadow(np.full((SIDE, SIDE), 0.5, np.float32))
    surface = flat_surface()
    for azimuth, shaded in ((0, True), (180, False)):
        block = np.zeros((SIDE, SIDE), np.float32)
        step.dim(block, torch_of(surface, azimuth))
        assert (block[100, 145] > 0.5) == shaded
        block[...] = 0
        hand.dim(block, torch_of(surface, azimuth))
        assert np.all(block == 0.5)
