"""Which way up lines are read: OpenCV as PyTorch, cuts of any quad, turned strings, strings alike both ways, damage."""

from __future__ import annotations

import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from reader.errors import TableError
from reader.geometry import box_quad, quad_angle_deg, turn_quad
from reader.locate.card import load_card
from reader.locate.network import SURE, find_regions
from reader.locate.turns import BORDER_PX, CARD_FILE, FIGURE_PX, WIDTH, TurnNetwork, cut_line
from reader.results import Quad
from reader.weights import load_weights

ROWS = FIGURE_PX + 2 * BORDER_PX


def _figures(text: str) -> tuple[NDArray[np.uint8], Quad]:
    """Return a picture of figures on even ground, and their quad."""
    (width, height), _ = cv2.getTextSize(text, cv2.FONT_HERSHEY_DUPLEX, 2.0, 4)
    picture = np.full((300, width + 200), 170, np.uint8)
    cv2.putText(picture, text, (100, 150 + height // 2), cv2.FONT_HERSHEY_DUPLEX, 2.0, 60, 4, cv2.LINE_AA)
    quad = box_quad(100, 150 - height / 2, 100 + width, 150 + height / 2)
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), 1.0), np.uint8), quad


def test_opencv_gives_what_pytorch_gave() -> None:
    card = load_card(CARD_FILE)
    network = load_weights(card.file, card.sha256)
    with np.load(CARD_FILE.with_name("turns_check.npz")) as answers:
        assert len(answers.files) >= 2
        for name in answers.files:
            number, batch, height, width = (int(v) for v in name.split("_"))
            noise = np.random.default_rng(number).standard_normal((batch, 2, height, width), dtype=np.float32)
            network.setInput(noise)
            assert np.abs(network.forward() - answers[name]).max() < 2e-3


@pytest.mark.parametrize("text", ["41873", "52347", "24", "PATENT", "No. 47325 STYLE K 1887"])
def test_a_turned_string_is_told_from_an_upright_one(text: str) -> None:
    picture, quad = _figures(text)
    upright, turned = TurnNetwork().logits(picture, [quad, turn_quad(quad, 2)])
    assert upright > SURE and turned < -SURE


@pytest.mark.parametrize("text", ["0", "8", "69", "96", "808", "I"])
def test_a_string_alike_both_ways_stays_open(text: str) -> None:
    """The fonts of OpenCV 4 and 5 differ in how alike their figures are, so each lies over itself turned by half."""
    picture, quad = _figures(text)
    both = np.minimum(picture, np.rot90(picture, 2))
    logits = TurnNetwork().logits(np.ascontiguousarray(both), [quad, turn_quad(quad, 2)])
    assert np.abs(logits).max() < SURE


@pytest.mark.parametrize("quarters", [0, 1, 2, 3])
def test_a_photo_held_in_any_way_gives_the_direction_of_reading(quarters: int) -> None:
    picture, _ = _figures("52347")
    region = find_regions(np.ascontiguousarray(np.rot90(picture, -quarters)), 5)[0]
    off = quad_angle_deg(region.quad) - 90 * quarters
    assert not region.half_turn_open
    assert abs((off + 180) % 360 - 180) < 10


def test_cuts_have_one_size_and_tell_the_columns_of_the_line() -> None:
    picture, quad = _figures("41873")
    x, y = quad.min(axis=0)
    for length, height in ((20.0, 40.0), (90.0, 40.0), (400.0, 20.0), (3.0, 90.0), (60.0, 2.0)):
        crop, columns = cut_line(picture, box_quad(x, y, x + length, y + height))
        assert crop.shape == (ROWS, WIDTH)
        assert columns == min(WIDTH, max(1, round(length * FIGURE_PX / height)) + 2 * BORDER_PX)
    assert TurnNetwork().logits(picture, []).shape == (0,)


def test_what_lies_beyond_a_short_line_does_not_count() -> None:
    picture, quad = _figures("47")
    right = int(quad[:, 0].max()) + 30
    other = picture.copy()
    other[:, right:] = np.random.default_rng(1).integers(0, 255, other[:, right:].shape)
    logits = [TurnNetwork().logits(p, [quad])[0] for p in (picture, other)]
    assert abs(logits[0] - logits[1]) < 0.5 * abs(logits[0])


def test_damaged_weights_are_noticed(tmp_path: Path) -> None:
    for name in ("turns.json", "turns.onnx"):
        shutil.copy(CARD_FILE.with_name(name), tmp_path / name)
    content = bytearray((tmp_path / "turns.onnx").read_bytes())
    content[5000] ^= 1
    (tmp_path / "turns.onnx").write_bytes(content)
    picture, quad = _figures("47")
    with pytest.raises(TableError, match=r"turns\.onnx.*damaged"):
        TurnNetwork(tmp_path / "turns.json").logits(picture, [quad])
