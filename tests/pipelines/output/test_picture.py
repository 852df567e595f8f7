"""The picture with the marks drawn on it.

Outside checks: the colors of Okabe and Ito, "Color Universal Design", 2008 (RGB values from memory); contrast by the
formula of WCAG 2.1 (W3C, 2018), 4.5 for text (criterion 1.4.3) and 3 for lines (1.4.11).
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw

from pipelines.output import picture
from pipelines.output.picture import CHOSEN, MODEL, OTHER, YEAR, draw_marks, save_picture
from reader.errors import SettingsError
from reader.geometry import rotated_quad
from reader.results import Mark, MarkKind
from tests.pipelines.fake_reader import make_answer, make_empty_answer, make_mark

OKABE_ITO = {
    (0, 0, 0),
    (230, 159, 0),
    (86, 180, 233),
    (0, 158, 115),
    (240, 228, 66),
    (0, 114, 178),
    (213, 94, 0),
    (204, 121, 167),
}

STYLES = (CHOSEN, MODEL, YEAR, OTHER)

Box = tuple[float, float, float, float]


def contrast(first: picture.Color, second: picture.Color) -> float:
    """The contrast ratio of WCAG 2.1."""

    def luminance(color: picture.Color) -> float:
        linear = [c / 255 / 12.92 if c / 255 <= 0.03928 else ((c / 255 + 0.055) / 1.055) ** 2.4 for c in color]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    bright, dark = sorted((luminance(first), luminance(second)), reverse=True)
    return (bright + 0.05) / (dark + 0.05)


def photo(height: int = 900, width: int = 1200) -> picture.RgbPixels:
    """A photo of noise around middle gray."""
    noise = np.random.default_rng(7).integers(90, 160, (height, width, 3))
    return np.asarray(noise, np.uint8)


def serial_mark(angle_deg: float = 12) -> Mark:
    mark = make_mark(0, "41873", MarkKind.SERIAL)
    return replace(mark, quad=rotated_quad((600, 450), 200, 60, angle_deg))


def test_contrast_formula() -> None:
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21)  # WCAG 2.1, definition of contrast ratio


@pytest.mark.parametrize("style", STYLES)
def test_styles_can_be_told_apart_without_color(style: picture.Style) -> None:
    assert style.color in OKABE_ITO
    assert contrast(style.color, picture.WHITE) >= 3
    assert [other for other in STYLES if (other.dashes, other.width) == (style.dashes, style.width)] == [style]
    assert style.casing > style.width


def test_serial_stands_out() -> None:
    assert not CHOSEN.dashes
    assert all(style.dashes and style.width < CHOSEN.width and not style.inverse for style in (MODEL, YEAR, OTHER))
    assert contrast(picture.BLACK, picture.WHITE) >= 4.5


def test_the_photo_is_kept_and_what_stands_in_the_quads_too() -> None:
    pixels = photo()
    before = pixels.copy()
    answer = replace(make_answer(), marks=(serial_mark(),))
    drawn = draw_marks(pixels, answer)
    assert np.array_equal(pixels, before)
    assert drawn.dtype == np.uint8
    assert drawn.shape[1:] == (1200, 3)
    assert drawn.shape[0] > 900
    mask = Image.new("1", (1200, 900))
    ImageDraw.Draw(mask).polygon([tuple(corner) for corner in serial_mark().quad.tolist()], fill=1)
    inside = np.asarray(mask)
    assert inside.sum() > 200 * 60 * 0.95
    assert np.array_equal(drawn[:900][inside], pixels[inside])
    assert np.array_equal(drawn[800:900], pixels[800:900])
    changed = np.any(drawn[:900] != pixels, axis=2)
    assert 0 < changed.mean() < 0.1


@pytest.mark.parametrize("angle_deg", [0, 33, 180])
def test_the_outline_lies_around_the_quad(angle_deg: float) -> None:
    drawn = draw_marks(photo(), replace(make_answer(), marks=(serial_mark(angle_deg),)))[:900]
    ys, xs = np.nonzero((drawn == CHOSEN.color).all(axis=2))
    quad = serial_mark(angle_deg).quad
    along = (quad[1] - quad[0]) / 200
    across = (quad[3] - quad[0]) / 60
    lengths = (xs - 600) * along[0] + (ys - 450) * along[1]
    heights = (xs - 600) * across[0] + (ys - 450) * across[1]
    on_outline = np.maximum(np.abs(lengths) - 100, np.abs(heights) - 30) < 8  # the rest is its label's frame
    assert on_outline.sum() > 1000
    for reach in (lengths[on_outline], heights[on_outline]):
        assert reach.min() == pytest.approx(-reach.max(), abs=2)


def test_a_chosen_serial_is_drawn_otherwise_than_another_number() -> None:
    answer = make_answer()
    other = replace(make_mark(9, "52110", MarkKind.SERIAL), quad=rotated_quad((300, 700), 200, 60, 0))
    chosen = draw_marks(photo(), replace(answer, marks=(serial_mark(),)))
    both = draw_marks(photo(), replace(answer, marks=(serial_mark(), other)))
    none = draw_marks(photo(), replace(answer, serial=None, marks=(other,)))
    count = [int((drawn[:900] == CHOSEN.color).all(axis=2).sum()) for drawn in (chosen, both, none)]
    assert count[0] == count[1] > 1000
    assert count[2] == 0


def test_nothing_found_gives_the_photo_and_a_strip() -> None:
    pixels = photo()
    drawn = draw_marks(pixels, make_empty_answer())
    assert np.array_equal(drawn[:900], pixels)
    assert (drawn[900:] == 255).mean() > 0.8
    assert (drawn[900:] < 64).any()


@pytest.mark.parametrize(("height", "width"), [(1, 1), (40, 60), (90, 3000), (2500, 60), (256, 256), (300, 899)])
def test_small_and_narrow_photos_are_enlarged_by_a_whole_factor(height: int, width: int) -> None:
    drawn = draw_marks(photo(height, width), make_answer())
    factor, rest = divmod(drawn.shape[1], width)
    assert rest == 0
    assert drawn.shape[0] > height * factor
    assert drawn.shape[1] >= min(900, 24_000_000 // (height * factor * 2))
    assert height * width * factor**2 <= 24_000_000


def test_quads_outside_and_quads_without_size_do_no_harm() -> None:
    point = np.full((4, 2), 50, np.float32)
    far = rotated_quad((-5000, 9000), 100, 50, 45)
    marks = (replace(serial_mark(), quad=point), replace(make_mark(1, "B", MarkKind.MODEL), quad=far))
    assert draw_marks(photo(), replace(make_answer(), marks=marks)).shape[1] == 1200


@pytest.mark.parametrize("text", ["", "x" * 500, "a\nb\x1b", "№ 41873 ½ ﻼ 鍵"])
def test_any_text_in_a_label(text: str) -> None:
    marks = (replace(serial_mark(), text=text), make_mark(1, text, MarkKind.WORD))
    draw_marks(photo(), replace(make_answer(path=f"shop/{text or 'x'}.jpg"), marks=marks))


def overlap(first: Box, second: Box) -> bool:
    return first[0] < second[2] and second[0] < first[2] and first[1] < second[3] and second[1] < first[3]


@settings(deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 1100), st.integers(0, 850), st.integers(10, 300), st.integers(10, 80)), max_size=12
    ),
    st.tuples(st.integers(20, 400), st.integers(10, 60)),
)
def test_plates_lie_in_the_picture(marks: list[tuple[int, int, int, int]], plate: tuple[int, int]) -> None:
    boxes: list[Box] = [(x, y, x + width, y + height) for x, y, width, height in marks]
    for box in boxes:
        left, top, right, bottom = picture._find_place(box, plate, (1200, 900), [], boxes)
        assert left >= 0
        assert top >= 0
        assert right <= 1199
        assert bottom <= 899
        assert (right - left, bottom - top) == pytest.approx(plate)


def test_plates_keep_off_each_other_and_off_the_marks() -> None:
    """A row of twelve marks closer together than their labels are wide."""
    marks: list[Box] = [(80.0 + 85 * n, 400.0, 140.0 + 85 * n, 440.0) for n in range(12)]
    plates: list[Box] = []
    for mark in marks:
        plates.append(picture._find_place(mark, (170, 30), (1200, 900), plates, marks))
    for number, plate in enumerate(plates):
        assert not any(overlap(plate, other) for other in plates[:number])
        assert not any(overlap(plate, mark) for mark in marks)


def test_sentences_are_broken_to_fit() -> None:
    scale = picture.Scale.of(Image.new("RGB", (1200, 900)))
    sentence = "Made about 1874, from 1873 to 1876. " + "W" * 200
    lines = picture._break(sentence, scale, 300)
    assert len(lines) > 3
    assert all(scale.size(line)[0] <= 301 for line in lines)
    assert "".join(lines).replace(" ", "") == sentence.replace(" ", "")


@pytest.mark.parametrize(("name", "form"), [("a.png", "PNG"), ("a.JPG", "JPEG"), ("a.jpeg", "JPEG")])
def test_saved_picture_comes_back(tmp_path: Path, name: str, form: str) -> None:
    pixels = np.full((30, 40, 3), (200, 100, 50), np.uint8)
    save_picture(pixels, tmp_path / name)
    with Image.open(tmp_path / name) as saved:
        assert saved.format == form
        assert np.abs(np.asarray(saved).astype(int) - pixels).max() <= (0 if form == "PNG" else 4)


def test_saving_never_replaces_unless_told(tmp_path: Path) -> None:
    target = tmp_path / "a.png"
    target.write_text("here")
    with pytest.raises(SettingsError, match=r"a\.png exists; choose another name, or add --overwrite"):
        save_picture(photo(30, 40), target)
    assert target.read_text() == "here"
    save_picture(photo(30, 40), target, overwrite=True)
    assert target.read_bytes().startswith(b"\x89PNG")
    assert [path.name for path in tmp_path.iterdir()] == ["a.png"]


@pytest.mark.parametrize("overwrite", [False, True])
def test_what_cannot_be_saved_is_one_line_and_leaves_nothing(tmp_path: Path, overwrite: bool) -> None:
    (tmp_path / "folder.png").mkdir()
    tall = np.zeros((70_000, 2, 3), np.uint8)  # JPEG: 65,535 at most, ITU-T T.81, B.2.2
    for pixels, name in [(tall, "a.jpg"), (tall, "no/a.png"), (tall, "a.gif"), (tall, "folder.png")]:
        with pytest.raises(SettingsError) as caught:
            save_picture(pixels, tmp_path / name, overwrite=overwrite)
        assert Path(name).name in str(caught.value)
        assert "\n" not in str(caught.value)
    assert [path.name for path in tmp_path.iterdir()] == ["folder.png"]
