"""The photo with its marks drawn on it: outlines, labels, and a strip below that says what was found.

Takes upright pixels and an Answer, gives pixels, and writes them as PNG or JPEG into a file of its own. Kinds differ in
color, line pattern and label, so the picture can be read by the color-blind and in a black-and-white print. Colors:
Okabe and Ito, "Color Universal Design", 2008. Imported only when a picture is asked for (numpy, Pillow).
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from pipelines.output.save import save_file
from pipelines.output.text import NO_PROOF, plain_blanks, say_kind, say_percent, say_serial, say_year
from reader.errors import SettingsError, one_line
from reader.geometry import grow_quad
from reader.results import Answer, Mark, MarkKind, Quad

RgbPixels = NDArray[np.uint8]
"""(H, W, 3) uint8 sRGB."""

SUFFIXES = (".png", ".jpg", ".jpeg")
JPEG_QUALITY = 92

FONT_SHARE = 0.02
"""Height of the labels as a share of the picture's mean side, sqrt(width x height)."""
FONT_SMALLEST_PX = 12
COLUMNS_SMALLEST = 34
"""The strip below shows at least about this many letters in a line, or the labels get smaller."""
WIDTH_SMALLEST_PX = 900
"""A narrower photo is enlarged, or the labels would cover it."""
ENLARGED_LARGEST_PX = 24_000_000
"""An enlarged picture has at most this many pixels."""
UNITS_PER_SIDE = 900
"""Line units in the picture's mean side; a unit is at least a pixel."""
LABEL_LETTERS = 28
"""A longer mark is cut in its label."""
PLACES_AWAY = 4
"""A label is tried beside its mark and up to this many of its heights away."""
SWATCH_GRAY = (150, 150, 150)

WHITE, BLACK = (255, 255, 255), (0, 0, 0)
VERMILLION, BLUE, GREEN = (213, 94, 0), (0, 114, 178), (0, 158, 115)

Color = tuple[int, int, int]
Font = ImageFont.FreeTypeFont | ImageFont.ImageFont
Box = tuple[float, float, float, float]
"""Left, top, right, bottom in pixels."""
Point = tuple[float, float]


@dataclass(frozen=True)
class Style:
    """How a kind of mark is drawn.

    `width` and `casing` (the white beneath) are in line units; `dashes` are lengths of line and gap in turn, in line
    units, empty for a solid line. `inverse`: the label is white on black.
    """

    legend: str
    color: Color
    width: int = 1
    casing: int = 3
    dashes: tuple[int, ...] = ()
    inverse: bool = False


CHOSEN = Style("the serial", VERMILLION, width=3, casing=7, inverse=True)
MODEL = Style("model", BLUE, width=2, casing=4, dashes=(12, 4))
YEAR = Style("patent or year", GREEN, width=2, casing=4, dashes=(2, 4))
OTHER = Style("other marks", BLACK, width=1, casing=3, dashes=(8, 3, 2, 3))

_STYLES = {MarkKind.MODEL: MODEL, MarkKind.PATENT: YEAR, MarkKind.CALENDAR_YEAR: YEAR}


def draw_marks(pixels: RgbPixels, answer: Answer) -> RgbPixels:
    """Return a copy of the photo with every mark outlined and named, and a strip below with the answer and a legend.

    Parameters: `pixels` (H, W, 3) uint8 sRGB, the upright photo that the answer's quads lie in; never changed.

    Returns (H', W', 3) uint8 sRGB. W' is W, or a whole multiple of it for a photo narrower than WIDTH_SMALLEST_PX;
    H' is H by the same factor and the strip.
    """
    factor = _enlargement(pixels.shape[1], pixels.shape[0])
    picture = Image.fromarray(pixels)
    if factor > 1:
        picture = picture.resize((picture.width * factor, picture.height * factor), Image.Resampling.BICUBIC)
    scale = Scale.of(picture)
    chosen = answer.serial.mark if answer.serial else None
    marks = sorted(answer.marks, key=lambda mark: mark.id == chosen)  # the serial last: it lies on top
    styles = [_style(mark, chosen) for mark in marks]
    draw = ImageDraw.Draw(picture)
    boxes = [
        _outline(draw, (mark.quad + np.float32(0.5)) * factor - np.float32(0.5), style, scale)
        for mark, style in zip(marks, styles, strict=True)
    ]
    labels = [Label(_label(mark, answer), style, box) for mark, style, box in zip(marks, styles, boxes, strict=True)]
    _draw_labels(draw, labels[::-1], scale, picture.size)
    shown = [style for style in (CHOSEN, MODEL, YEAR, OTHER) if style in styles]
    strip = _draw_strip(_caption(answer), shown, scale, picture.width)
    return np.asarray(np.vstack([np.asarray(picture), np.asarray(strip)]), np.uint8)


def save_picture(pixels: RgbPixels, target: Path, *, overwrite: bool = False) -> None:
    """Write pixels as PNG or JPEG, by the target's suffix (SUFFIXES).

    An existing file is left alone and reported, unless `overwrite`; then it is replaced as a whole (save.py). Raises
    SettingsError.
    """
    shown = one_line(str(target))
    if target.suffix.lower() not in SUFFIXES:
        raise SettingsError(f"{shown} does not end in one of {', '.join(SUFFIXES)}")
    encoded = io.BytesIO()
    form = "PNG" if target.suffix.lower() == ".png" else "JPEG"
    try:
        Image.fromarray(pixels).save(encoded, form, quality=JPEG_QUALITY)
    except (OSError, ValueError) as error:  # ValueError: more pixels a side than JPEG has
        reason = getattr(error, "strerror", None) or error
        raise SettingsError(f"the picture {shown} cannot be written ({reason}); choose another name") from error
    save_file(target, encoded.getvalue(), overwrite=overwrite)


def _enlargement(width: int, height: int) -> int:
    """Return the whole factor by which a small photo is enlarged."""
    wanted = math.ceil(WIDTH_SMALLEST_PX / width)
    allowed = int(math.sqrt(ENLARGED_LARGEST_PX / (width * height)))
    return max(1, min(wanted, allowed))


@dataclass(frozen=True)
class Scale:
    """What grows with the picture: `unit` of line width, in pixels, and the letters."""

    unit: int
    font: Font

    @classmethod
    def of(cls, picture: Image.Image) -> Scale:
        """Return the scale for a picture."""
        side = math.sqrt(picture.width * picture.height)
        letters = min(side * FONT_SHARE, picture.width / COLUMNS_SMALLEST / 0.55)  # a letter is about 0.55 wide
        return cls(max(1, round(side / UNITS_PER_SIDE)), ImageFont.load_default(max(FONT_SMALLEST_PX, letters)))

    def size(self, text: str) -> tuple[int, int]:
        """Return the width of a text and the height of a line, in pixels."""
        return math.ceil(self.font.getlength(text)), math.ceil(self.line_height)

    @property
    def line_height(self) -> float:
        """Height of a line of text, descenders included, in pixels."""
        _, top, _, bottom = self.font.getbbox("Ag(|")
        return bottom + top / 2


@dataclass(frozen=True)
class Label:
    """What is written beside a mark, and the box of the mark's outline."""

    text: str
    style: Style
    mark: Box


def _style(mark: Mark, chosen: int | None) -> Style:
    return CHOSEN if mark.id == chosen else _STYLES.get(mark.kind, OTHER)


def _label(mark: Mark, answer: Answer) -> str:
    chosen = answer.serial is not None and mark.id == answer.serial.mark
    kind = ("Serial" if answer.serial and answer.serial.accepted else "Serial?") if chosen else say_kind(mark)
    text = one_line(mark.text)
    text = text if len(text) <= LABEL_LETTERS else text[: LABEL_LETTERS - 3] + "..."
    probability = answer.serial.probability if chosen and answer.serial else mark.probability
    return plain_blanks(f"{kind} {text} ({say_percent(probability)})")


def _outline(draw: ImageDraw.ImageDraw, quad: Quad, style: Style, scale: Scale) -> Box:
    """Draw a quad's outline, clear of what stands in it, and return the upright box around it."""
    clear = scale.unit * (style.casing / 2 + 1)
    corners = [(float(x), float(y)) for x, y in grow_quad(quad, clear, clear)]
    around = [*corners, *corners[:2]]  # past the first corner, so that it is joined too
    draw.line(around, fill=WHITE, width=style.casing * scale.unit, joint="curve")
    for start, end in _dash([*corners, corners[0]], [length * scale.unit for length in style.dashes]):
        draw.line([start, end], fill=style.color, width=style.width * scale.unit)
    if not style.dashes:
        draw.line(around, fill=style.color, width=style.width * scale.unit, joint="curve")
    xs, ys = zip(*corners, strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def _dash(path: Sequence[Point], lengths: Sequence[float]) -> Iterator[tuple[Point, Point]]:
    """Yield the dashes along a path; `lengths` of line and gap in turn start anew at each corner."""
    if not lengths:
        return
    for (x0, y0), (x1, y1) in pairwise(path):
        side = math.hypot(x1 - x0, y1 - y0)
        done, turn = 0.0, 0
        while done < side:
            end = min(done + lengths[turn % len(lengths)], side)
            if turn % 2 == 0:
                u, v = done / side, end / side
                yield (x0 + (x1 - x0) * u, y0 + (y1 - y0) * u), (x0 + (x1 - x0) * v, y0 + (y1 - y0) * v)
            done, turn = end, turn + 1


def _draw_labels(draw: ImageDraw.ImageDraw, labels: Sequence[Label], scale: Scale, size: tuple[int, int]) -> None:
    """Draw each label on a plate beside its mark, the first ones with the best places, off marks and other plates."""
    plates: list[Box] = []
    marks = [label.mark for label in labels]
    border = 2 * scale.unit
    for label in labels:
        width, height = scale.size(label.text)
        plate = _find_place(label.mark, (width + 4 * border, height + 2 * border), size, plates, marks)
        plates.append(plate)
    for label, plate in zip(labels, plates, strict=True):  # all leads below all plates
        _draw_lead(draw, label, plate, scale)
    for label, plate in zip(labels, plates, strict=True):
        back, ink = (BLACK, WHITE) if label.style.inverse else (WHITE, BLACK)
        draw.rectangle(plate, fill=back, outline=label.style.color, width=scale.unit)
        draw.text((plate[0] + 2 * border, plate[1] + border), label.text, fill=ink, font=scale.font)


def _find_place(
    mark: Box, plate: tuple[int, int], size: tuple[int, int], plates: Sequence[Box], marks: Sequence[Box]
) -> Box:
    """Return the box near a mark, inside the picture, that covers least; of equal ones the nearest."""
    width, height = plate
    left, top, right, bottom = mark
    gap = height / 6
    places: list[Point] = []
    for away in range(PLACES_AWAY):
        step = away * (height + gap)
        for x in (left, right - width, (left + right - width) / 2):
            places += [(x, top - gap - height - step), (x, bottom + gap + step)]
        places += [(right + gap + step, top), (left - gap - width - step, top)]
    inside = [(min(max(x, 0.0), size[0] - 1.0 - width), min(max(y, 0.0), size[1] - 1.0 - height)) for x, y in places]
    boxes = [(x, y, x + width, y + height) for x, y in inside]
    return min(boxes, key=lambda box: sum(_overlap(box, b) for b in marks) + 4 * sum(_overlap(box, b) for b in plates))


def _overlap(first: Box, second: Box) -> float:
    """Return the shared area of two boxes, in square pixels."""
    width = min(first[2], second[2]) - max(first[0], second[0])
    height = min(first[3], second[3]) - max(first[1], second[1])
    return max(width, 0.0) * max(height, 0.0)


def _draw_lead(draw: ImageDraw.ImageDraw, label: Label, plate: Box, scale: Scale) -> None:
    """Draw a line from a plate to its mark where they do not lie side by side."""
    left, top, right, bottom = label.mark
    away = max(left - plate[2], plate[0] - right, top - plate[3], plate[1] - bottom)
    if away < (plate[3] - plate[1]) / 3:
        return
    x, y = (plate[0] + plate[2]) / 2, (plate[1] + plate[3]) / 2
    end = min(max(x, left), right), min(max(y, top), bottom)
    draw.line([(x, y), end], fill=WHITE, width=3 * scale.unit)
    draw.line([(x, y), end], fill=label.style.color, width=scale.unit)


def _caption(answer: Answer) -> list[str]:
    """Return the sentences below the picture."""
    maker = ""
    if answer.maker is not None:
        maker = f"Maker: {one_line(answer.maker.name)}" + (" (invented for the demo)" if answer.maker.invented else "")
    year = say_year(answer)
    if year and NO_PROOF not in year:
        year = f"{year} {NO_PROOF}"
    sentences = [one_line(Path(answer.path).name), say_serial(answer.serial), maker, year]
    return [sentence for sentence in sentences if sentence]


def _draw_strip(sentences: Sequence[str], styles: Sequence[Style], scale: Scale, width: int) -> Image.Image:
    """Return the strip that goes below the picture: sentences, then what each kind of outline means."""
    line = scale.line_height * 1.35
    margin = line / 2
    lines = [part for sentence in sentences for part in _break(sentence, scale, width - 2 * margin)]
    places, rows = _lay_legend(styles, scale, width - 2 * margin)
    strip = Image.new("RGB", (width, math.ceil((len(lines) + rows) * line + 2 * margin)), WHITE)
    draw = ImageDraw.Draw(strip)
    for number, text in enumerate(lines):
        draw.text((margin, margin + number * line), plain_blanks(text), fill=BLACK, font=scale.font)
    for style, (x, row) in zip(styles, places, strict=True):
        y = margin + (len(lines) + row) * line
        _draw_swatch(draw, style, scale, (margin + x, y + scale.line_height / 2))
        draw.text((margin + x + 4 * scale.line_height, y), style.legend, fill=BLACK, font=scale.font)
    return strip


def _lay_legend(styles: Sequence[Style], scale: Scale, width: float) -> tuple[list[tuple[float, int]], int]:
    """Return where each entry of the legend begins (pixels from the left, row), and the number of rows."""
    places: list[tuple[float, int]] = []
    x, row = 0.0, 0
    for style in styles:
        entry = 4 * scale.line_height + scale.size(style.legend)[0]
        if x and x + entry > width:
            x, row = 0.0, row + 1
        places.append((x, row))
        x += entry + 2 * scale.line_height
    return places, row + 1 if styles else 0


def _draw_swatch(draw: ImageDraw.ImageDraw, style: Style, scale: Scale, start: Point) -> None:
    """Draw a short piece of a kind's outline, on gray so that its white shows."""
    x, y = start
    end = (x + 3.5 * scale.line_height, y)
    half = max(style.casing * scale.unit, scale.line_height * 0.8) / 2
    draw.rectangle((x, y - half, end[0], y + half), fill=SWATCH_GRAY)
    draw.line([start, end], fill=WHITE, width=style.casing * scale.unit)
    lengths = [float(length * scale.unit) for length in style.dashes] or [end[0] - x]
    for dash in _dash([start, end], lengths):
        draw.line(dash, fill=style.color, width=style.width * scale.unit)


def _break(sentence: str, scale: Scale, width: float) -> list[str]:
    """Break a sentence into lines of at most `width` pixels, at blanks, and inside a word that is too long."""
    lines = [""]
    for word in sentence.split(" "):
        longer = f"{lines[-1]} {word}" if lines[-1] else word
        if scale.font.getlength(longer) <= width:
            lines[-1] = longer
            continue
        lines.append("")
        for letter in word:
            if lines[-1] and scale.font.getlength(lines[-1] + letter) > width:
                lines.append("")
            lines[-1] += letter
    return [line for line in lines if line]
