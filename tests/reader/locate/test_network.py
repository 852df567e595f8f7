"""Finding lines: maps to quads, joining, doubles, any size, OpenCV as PyTorch, rendered scenes, damage noticed."""

from __future__ import annotations

import math
import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from reader.errors import TableError
from reader.geometry import crop_quad, grow_quad, quad_angle_deg, quad_overlap, quad_size, rotated_quad, turn_quad
from reader.locate.card import load_card
from reader.locate.network import (
    BAND,
    CARD_FILE,
    CELL,
    DRAWN_IN,
    Line,
    RegionNetwork,
    drop_doubles,
    find_regions,
    join_lines,
    trace_lines,
)
from reader.recognize.network import NetworkRecognizer
from reader.results import Quad

SAMPLES = Path(__file__).parents[3] / "sample_images"

UNIT = 32.0


def _planes(quads: list[Quad], side: int = 512) -> NDArray[np.float32]:
    """Return the planes that a perfect network would give for lines."""
    cells = side // CELL
    planes = np.zeros((5, cells, cells), np.float32)
    planes[0] = -8
    x, y = np.meshgrid(np.arange(cells) * CELL + 1.5, np.arange(cells) * CELL + 1.5)
    for quad in quads:
        length, height = quad_size(quad)
        angle = math.radians(quad_angle_deg(quad))
        center = quad.mean(axis=0)
        u = (x - center[0]) * math.cos(angle) + (y - center[1]) * math.sin(angle)
        v = (y - center[1]) * math.cos(angle) - (x - center[0]) * math.sin(angle)
        inside = (np.abs(u) < length / 2 - DRAWN_IN * height) & (np.abs(v) < BAND * height)
        axis = (math.cos(2 * angle), math.sin(2 * angle))
        for plane, value in zip(planes, (8.0, *axis, math.log(height / UNIT), 4.0), strict=True):
            plane[inside] = value
    return planes


def _line(center: tuple[float, float], length: float, height: float, angle: float = 0.0, score: float = 0.9) -> Line:
    return Line(rotated_quad(center, length, height, angle), score, 1.0)


@pytest.mark.parametrize("angle", [0, 17, 45, 90, 133, 180, -60, -90])
@pytest.mark.parametrize("height", [16, 40, 90])
def test_a_line_comes_back_from_its_map(angle: float, height: float) -> None:
    quad = rotated_quad((250, 262), 3.5 * height, height, angle)
    lines = trace_lines(_planes([quad]), UNIT)
    assert len(lines) == 1
    assert max(quad_overlap(lines[0].quad, q)[0] for q in (quad, turn_quad(quad, 2))) > 0.75
    assert -46 < quad_angle_deg(lines[0].quad) < 136  # rightward or downward
    off = quad_angle_deg(lines[0].quad) - angle
    assert abs((off + 90) % 180 - 90) < 4
    assert lines[0].score > 0.9


@pytest.mark.parametrize("sweep", [60, 150, 350])
def test_a_curved_line_comes_back_in_straight_pieces_along_it(sweep: float) -> None:
    cells, radius, height = 128, 170.0, 32.0
    x, y = np.meshgrid(np.arange(cells) * CELL + 1.5 - 256, np.arange(cells) * CELL + 1.5 - 256)
    clockwise = np.arctan2(x, -y)  # 0 at the top of the rim
    inside = (np.abs(np.hypot(x, y) - radius) < BAND * height) & (np.abs(clockwise) < math.radians(sweep / 2))
    planes = np.zeros((5, cells, cells), np.float32)
    planes[0] = np.where(inside, 8, -8)
    planes[1], planes[2], planes[4] = np.cos(2 * clockwise), np.sin(2 * clockwise), 4
    lines = trace_lines(planes, UNIT)
    assert len(lines) >= sweep / 52
    assert sum(line.length for line in lines) > 0.8 * math.radians(sweep) * radius
    for line in lines:
        middle = line.quad.mean(axis=0) - 256
        along = line.quad[1] - line.quad[0]
        assert abs(np.hypot(*middle) - radius) < height / 2
        assert abs(float(middle @ along)) < 0.2 * np.hypot(*middle) * np.hypot(*along)  # lies along the rim


def test_stacked_lines_stay_apart() -> None:
    quads = [rotated_quad((250, y), 200, 30, 0) for y in (100, 138, 176)]
    assert len(join_lines(trace_lines(_planes(quads), UNIT))) == 3


def test_parts_of_one_row_are_joined_and_only_those() -> None:
    row = [_line((100, 100), 80, 40), _line((195, 103), 90, 40), _line((290, 100), 80, 38)]
    joined = join_lines(row)
    assert len(joined) == 1
    left, right = joined[0].quad[:, 0].min(), joined[0].quad[:, 0].max()
    assert abs(left - 60) < 3 and abs(right - 330) < 3
    assert len(join_lines([_line((100, 100), 80, 40), _line((200, 100), 80, 40)])) == 2  # a gap of half a height
    assert len(join_lines([_line((100, 100), 80, 40), _line((190, 100), 90, 20)])) == 2  # half as high
    assert len(join_lines([_line((100, 100), 80, 40), _line((190, 130), 90, 40)])) == 2  # off the row
    assert len(join_lines([_line((100, 100), 80, 40), _line((100, 150), 80, 40)])) == 2  # stacked


def test_of_doubles_the_best_stays_and_a_line_beats_its_piece() -> None:
    whole, piece = _line((200, 100), 200, 40, score=0.85), _line((150, 100), 70, 40, score=0.9)
    assert drop_doubles([piece, whole]) == [whole]
    other = _line((200, 300), 200, 40, score=0.5)
    assert drop_doubles([other, whole, piece]) == [whole, other]
    both = _line((200, 320), 210, 90, score=0.95)  # two stacked lines taken for one
    assert drop_doubles([other, both]) == [both, other]


def test_opencv_gives_what_pytorch_gave() -> None:
    # regions_check.npz holds PyTorch's planes for noise inputs, written by tools/finding/export.py.
    _, network = RegionNetwork()._network()
    with np.load(CARD_FILE.with_name("regions_check.npz")) as answers:
        assert len(answers.files) >= 3
        for name in answers.files:
            number, batch, height, width = (int(v) for v in name.split("_"))
            noise = np.random.default_rng(number).standard_normal((batch, 2, height, width), dtype=np.float32)
            network.setInput(noise)
            assert np.abs(network.forward() - answers[name]).max() < 2e-3


def _scene(text: str, angle: float, shape: tuple[int, int] = (600, 800)) -> tuple[NDArray[np.uint8], Quad]:
    """Return a photo-like picture of figures punched into an uneven ground, and their quad."""
    rng = np.random.default_rng(len(text) + int(angle) % 360)
    rows, columns = shape
    (width, height), _ = cv2.getTextSize(text, cv2.FONT_HERSHEY_DUPLEX, 2.0, 4)
    drawn = np.zeros(shape, np.uint8)
    origin = (columns // 2 - width // 2, rows // 2 + height // 2)
    cv2.putText(drawn, text, origin, cv2.FONT_HERSHEY_DUPLEX, 2.0, 255, 4, cv2.LINE_AA)
    turn = cv2.getRotationMatrix2D((columns / 2, rows / 2), -angle, 1)
    strokes = cv2.warpAffine(drawn, turn, (columns, rows)).astype(np.float32) / 255
    ground = 150 + 8 * cv2.GaussianBlur(rng.normal(0, 1, shape), (0, 0), 3) * 6 + np.linspace(-30, 30, columns)[None]
    picture = ground - 70 * cv2.GaussianBlur(strokes, (0, 0), 1.0) + 25 * np.roll(strokes, (3, 3), (0, 1))
    picture += rng.normal(0, 3, shape)
    return np.clip(picture, 0, 255).astype(np.uint8), rotated_quad((columns / 2, rows / 2), width, height, angle)


@pytest.mark.parametrize("angle", [0, 35, 90, 180, -120])
def test_figures_on_a_surface_are_found_in_any_direction(angle: float) -> None:
    picture, quad = _scene("41873", angle)
    region = find_regions(picture, 5)[0]
    assert quad_overlap(region.quad, quad)[0] > 0.5
    off = quad_angle_deg(region.quad) - angle
    half_turns = (off + 90) % 180 - 90 if region.half_turn_open else (off + 180) % 360 - 180
    assert abs(half_turns) < 10


@pytest.mark.parametrize(
    ("name", "serial"),
    [
        ("customer_square_grand_pin_block", "23417"),  # pins and strings around
        ("customer_upright_plate_stencil", "86254"),  # strings across
        ("customer_too_dark", "41873"),
        ("technician_dim_stamp_right", "64150"),
        ("archivist_faded_tag", "6620"),
    ],
)
def test_the_serial_of_a_rendered_scene_is_found_and_read(name: str, serial: str) -> None:
    content = np.fromfile(SAMPLES / f"{name}.jpg", np.uint8)
    gray = np.asarray(cv2.imdecode(content, cv2.IMREAD_GRAYSCALE), np.uint8)
    crops = []
    for region in find_regions(gray, 40):
        for turns in (0, 2):
            quad = turn_quad(region.quad, turns)
            crops.append(crop_quad(gray, grow_quad(quad, 0.35 * quad_size(quad)[1], 0), 40, 0.3)[0])
    assert any(serial in line.text for line in NetworkRecognizer().decode_pixels(crops))


def test_bare_ground_gives_few_regions() -> None:
    rng = np.random.default_rng(3)
    counts = []
    for blur in (1.0, 2.0, 4.0, 8.0):
        ground = 128 + cv2.GaussianBlur(rng.normal(0, 1, (700, 900)), (0, 0), blur) * 25 * blur
        counts.append(len(find_regions(np.clip(ground, 0, 255).astype(np.uint8), 40)))
    assert np.mean(counts) <= 3


@pytest.mark.parametrize("shape", [(1, 1), (2, 900), (900, 3), (33, 47), (500, 501), (1500, 2000)])
def test_any_size_is_taken(shape: tuple[int, int]) -> None:
    picture = np.random.default_rng(2).integers(0, 255, shape, np.uint8)
    regions = find_regions(picture, 4)
    assert len(regions) <= 4
    assert all(np.isfinite(region.quad).all() for region in regions)


def test_small_figures_of_a_large_photo_are_found() -> None:
    small, quad = _scene("41873", 0)
    rng = np.random.default_rng(1)
    photo = np.clip(rng.normal(150, 4, (3000, 4000)), 0, 255).astype(np.uint8)
    photo[1200:1800, 1500:2300] = small
    shifted = quad + np.array([1500, 1200], np.float32)
    assert any(quad_overlap(region.quad, shifted)[0] > 0.5 for region in find_regions(photo, 10))


def test_figures_that_fill_the_photo_are_found() -> None:
    small, quad = _scene("41873", 0)
    top, left = int(quad[:, 1].min()) - 40, int(quad[:, 0].min()) - 30
    part = small[top : int(quad[:, 1].max()) + 40, left : int(quad[:, 0].max()) + 30]
    photo = np.asarray(cv2.resize(part, None, fx=6, fy=6, interpolation=cv2.INTER_CUBIC), np.uint8)
    large = (quad - np.array([left, top], np.float32)) * 6
    assert any(quad_overlap(region.quad, large)[0] > 0.5 for region in find_regions(photo, 5))


def test_damaged_or_missing_weights_are_noticed(tmp_path: Path) -> None:
    for name in ("regions.json", "regions.onnx"):
        shutil.copy(CARD_FILE.with_name(name), tmp_path / name)
    content = bytearray((tmp_path / "regions.onnx").read_bytes())
    content[5000] ^= 1
    (tmp_path / "regions.onnx").write_bytes(content)
    picture = np.zeros((64, 64), np.uint8)
    with pytest.raises(TableError, match=r"regions\.onnx.*damaged"):
        RegionNetwork(tmp_path / "regions.json").find(picture, 1)
    (tmp_path / "regions.onnx").unlink()
    with pytest.raises(TableError, match="missing"):
        RegionNetwork(tmp_path / "regions.json").find(picture, 1)
    (tmp_path / "regions.json").write_text("{}")
    with pytest.raises(TableError, match="not a card"):
        load_card(tmp_path / "regions.json")
