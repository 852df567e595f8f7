"""The picture of the years: what stands where, as SVG and as PNG."""

from __future__ import annotations

import io
import itertools
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image

from pipelines.output.curve import (
    BLUE,
    CURVE_HEIGHT,
    PNG_SCALE,
    WIDTH,
    Box,
    Drawing,
    Line,
    Words,
    draw_curve,
    write_png,
    write_svg,
)
from reader.results import Evidence
from tests.pipelines.fake_reader import make_dating


def draw(**changes: object) -> Drawing:
    return draw_curve("41873", "Harrow & Thistle", replace(make_dating(), **changes))  # type: ignore[arg-type]


def columns(drawing: Drawing) -> list[Box]:
    """The columns of the years, left to right; the boxes of the legend and of the candidates are flatter or pale."""
    return [s for s in drawing.shapes if isinstance(s, Box) and s.y + s.height == pytest.approx(312)]


def texts(drawing: Drawing) -> list[str]:
    return [shape.text for shape in drawing.shapes if isinstance(shape, Words)]


def test_each_year_has_a_column_as_high_as_its_probability() -> None:
    boxes = columns(draw())
    assert [box.height for box in boxes] == pytest.approx([CURVE_HEIGHT * p / 0.4 for p in (0.2, 0.4, 0.2, 0.15, 0.05)])
    assert [box.fill == BLUE for box in boxes] == [True, True, True, True, False]
    assert all(a.x + a.width < b.x for a, b in itertools.pairwise(boxes))


def test_the_words_name_number_maker_date_and_doubt() -> None:
    said = " ".join(texts(draw()))
    for words in ("41873, Harrow & Thistle", "Made about 1874", "1874~", "not a proof of age"):
        assert words in said
    assert "the interval 1873-1876" in said and "half of the curve 1874-1875" in said


def test_several_runs_have_a_bracket_each() -> None:
    drawing = draw(edtf="[1873..1874,1876]")
    assert "the interval 1873-1874 and 1876" in texts(drawing)
    assert [box.fill == BLUE for box in columns(drawing)] == [True, True, False, True, False]


@pytest.mark.parametrize(
    ("low", "high", "ends"), [(1873, 1875, 2), (1873, None, 1), (None, 1875, 1), (1800, None, 0), (None, None, None)]
)
def test_a_bar_ends_upright_where_it_is_bounded(low: int | None, high: int | None, ends: int | None) -> None:
    drawing = draw(evidence=(Evidence("patent", "a thing: soft", "s", low, high),), candidates=())
    upright = [s for s in drawing.shapes if isinstance(s, Line) and s.x1 == s.x2 and s.y2 - s.y1 == 16 and s.x1 > 320]
    assert len(upright) == (0 if ends is None else ends)
    assert ("What it rests on" in texts(drawing)) == (ends is not None)


def test_soft_bars_are_dashed_and_firm_ones_not() -> None:
    def dashes(says: str) -> list[float]:
        drawing = draw(evidence=(Evidence("form", says, "s", 1873, 1875),))
        return [s.dash for s in drawing.shapes if isinstance(s, Line) and s.width == 3.0 and s.x1 > 325 and s.y1 < 500]

    assert dashes("a form, soft")[0] > 0
    assert dashes("a patent, firm")[0] == 0


def test_bars_outside_the_picture_are_told_in_words() -> None:
    assert "1793: outside this picture" in texts(draw(evidence=(Evidence("x", "old", "s", 1793, 1793),)))


def test_everything_lies_inside_the_picture() -> None:
    wide = tuple(range(1700, 2000))
    for drawing in (draw(), draw(years=wide, probabilities=tuple([1 / 300] * 300), interval=(1710, 1990))):
        for shape in drawing.shapes:
            if isinstance(shape, Box):
                assert shape.x >= 0 and shape.x + shape.width <= WIDTH and shape.y + shape.height <= drawing.height
            elif isinstance(shape, Words):
                width = 0.62 * shape.size * len(shape.text)
                left = {"start": shape.x, "end": shape.x - width, "middle": shape.x - width / 2}[shape.anchor]
                assert left >= 0 and left + width <= WIDTH + 20, shape
            else:
                assert min(shape.x1, shape.x2) >= 0 and max(shape.x1, shape.x2) <= WIDTH


def test_the_svg_is_xml_that_needs_nothing_from_outside() -> None:
    drawing = draw_curve("4<1&3", "A & B <Sons>", make_dating())
    text = write_svg(drawing)
    root = ElementTree.fromstring(text)
    assert root.tag.endswith("svg") and root[0].tag.endswith("title") and "A & B <Sons>" in (root[0].text or "")
    assert "href" not in text and "<script" not in text and "url(" not in text


def test_the_png_has_the_columns_where_the_drawing_has_them() -> None:
    drawing = draw()
    with Image.open(io.BytesIO(write_png(drawing))) as picture:
        pixels = np.asarray(picture.convert("RGB"))
    assert pixels.shape[:2] == (round(drawing.height * PNG_SCALE), round(WIDTH * PNG_SCALE))
    for box in columns(drawing):
        if box.height > 12:
            x, y = round((box.x + box.width / 2) * PNG_SCALE), round((box.y + box.height / 2) * PNG_SCALE)
            assert tuple(pixels[y, x]) == ((0, 114, 178) if box.fill == BLUE else (255, 255, 255))


def test_inside_and_outside_differ_in_a_gray_print() -> None:
    """Lightness after the luma of ITU-R BT.601: the fill of the interval's columns against white."""
    red, green, blue = (int(BLUE[k : k + 2], 16) for k in (1, 3, 5))
    assert 255 - (0.299 * red + 0.587 * green + 0.114 * blue) > 100
