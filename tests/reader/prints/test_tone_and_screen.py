"""Negatives and printers' screens: measured where they are made, not in the samples as they are."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from reader.prints.screen import measure_screen, merge_dots
from reader.prints.tone import invert_tones, measure_tone
from tools.trials.old_prints import load_samples, make_negative, screen_print


@pytest.fixture(scope="module")
def samples() -> dict[str, NDArray[np.uint8]]:
    return load_samples(800)


def test_negatives_of_the_samples_are_told(samples: dict[str, NDArray[np.uint8]]) -> None:
    gray = [invert_tones(make_negative(picture)) for picture in samples.values()]
    assert sum(measure_tone(make_negative(picture)).negative for picture in samples.values()) >= 17
    assert sum(measure_tone(picture).negative for picture in gray) == 0


def test_a_picture_in_color_is_no_negative(samples: dict[str, NDArray[np.uint8]]) -> None:
    colored = np.asarray(255 - samples["customer_square_grand_pin_block.jpg"], np.uint8)
    tone = measure_tone(colored)
    assert tone.color_spread > 4
    assert not tone.negative


def test_an_even_picture_has_no_tones() -> None:
    tone = measure_tone(np.full((100, 100, 3), 90, np.uint8))
    assert (tone.correlation, tone.skew, tone.negative) == (0.0, 0.0, False)


def test_inverting_twice_gives_the_gray_picture_back(samples: dict[str, NDArray[np.uint8]]) -> None:
    negative = make_negative(samples["archivist_record_card.jpg"])
    assert np.array_equal(invert_tones(invert_tones(negative)), negative)


@pytest.mark.parametrize(("period", "angle"), [(4.0, 45.0), (7.0, 15.0), (12.0, 75.0)])
def test_a_screen_is_measured_and_merged(samples: dict[str, NDArray[np.uint8]], period: float, angle: float) -> None:
    print_ = screen_print(samples["archivist_record_card.jpg"], period, angle)
    screen = measure_screen(print_)
    assert screen is not None
    assert screen.period_px == pytest.approx(period, rel=0.06)
    assert screen.angle_deg == pytest.approx(angle, abs=3)
    dots = [
        float(np.std(one - cv2.blur(one, (31, 31)))) for one in map(np.float32, (print_, merge_dots(print_, screen)))
    ]
    assert dots[1] < 0.35 * dots[0]


def test_the_samples_have_no_screen(samples: dict[str, NDArray[np.uint8]]) -> None:
    assert [name for name, picture in samples.items() if measure_screen(picture) is not None] == []


def test_a_small_or_even_picture_has_no_screen() -> None:
    assert measure_screen(np.zeros((100, 100, 3), np.uint8)) is None
    assert measure_screen(np.full((600, 600, 3), 200, np.uint8)) is None


def test_blocks_of_a_jpeg_are_no_screen() -> None:
    levels = np.random.default_rng(1).integers(100, 140, (80, 80))
    blocks = np.kron(levels, np.ones((8, 8))).astype(np.uint8)
    assert measure_screen(np.repeat(blocks[..., None], 3, axis=2)) is None
