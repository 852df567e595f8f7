"""The years of a dating as a picture: a column for each year, and below it a bar for each thing that bears on the year.

Takes a Dating, gives a Drawing of plain shapes, and writes it as SVG or, with Pillow, as PNG. Made to be read in a
black-and-white print and by the color-blind: what lies inside the interval is told by darkness and by a bracket, firm
and soft bounds by the line's pattern and ends, never by color alone. Colors: Okabe and Ito, "Color
Universal Design", 2008.
"""

from __future__ import annotations

import io
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from xml.sax.saxutils import escape

from pipelines.output.save import save_file
from pipelines.output.text import NO_PROOF, plain_blanks, say_made, say_percent
from reader.errors import one_line
from reader.results import DatedNumber, Dating, Evidence

SUFFIXES = (".svg", ".png")

WIDTH = 900.0
"""Width of the drawing in its units; a PNG has PNG_SCALE pixels for each."""
PNG_SCALE = 2
LEFT, RIGHT = 330.0, 30.0
"""Room for the words at the left of the bars, and at the right."""
CURVE_TOP, CURVE_HEIGHT = 112.0, 200.0
ROW_HEIGHT = 34.0
TEXT_SIZE, SMALL_SIZE = 15.0, 12.5
SENTENCE_LETTERS = 104
"""Letters in a line of the sentence at the top."""
LABEL_LETTERS = 44
"""Letters in a line of a bar's words."""
YEARS_SMALLEST = 12
"""Fewest years across, so that a sharp dating does not fill the picture with one column."""
ROWS_MAX = 14
"""Most bars of one kind."""

BLACK, GRAY, PALE, BLUE = "#000000", "#666666", "#bcd9ec", "#0072b2"


@dataclass(frozen=True)
class Line:
    """A straight line from (x1, y1) to (x2, y2); `dash` is the length of strokes and gaps, 0 for a solid line."""

    x1: float
    y1: float
    x2: float
    y2: float
    width: float = 1.0
    color: str = BLACK
    dash: float = 0.0


@dataclass(frozen=True)
class Box:
    """A filled rectangle with a black outline."""

    x: float
    y: float
    width: float
    height: float
    fill: str


@dataclass(frozen=True)
class Words:
    """A line of text whose baseline begins at, ends at or is centered on (x, y): `anchor` start, end or middle."""

    x: float
    y: float
    text: str
    size: float = TEXT_SIZE
    anchor: str = "start"
    bold: bool = False


@dataclass
class Drawing:
    """Shapes in drawing order; x to the right, y down, in units. `says` is the whole in one sentence."""

    says: str
    height: float = 0.0
    shapes: list[Line | Box | Words] = field(default_factory=list)


@dataclass(frozen=True)
class _Axis:
    """Years across: the first and the last year, and the x of the start of a year."""

    first: int
    last: int

    def x(self, year: float) -> float:
        width = WIDTH - LEFT - RIGHT
        return LEFT + width * (min(max(year, self.first), self.last + 1) - self.first) / (self.last + 1 - self.first)


def draw_curve(number: str, maker: str, dating: Dating) -> Drawing:
    """Return the drawing of one dating."""
    axis = _choose_axis(dating)
    says = plain_blanks(f"Made {say_made(dating)}")
    drawing = Drawing(f"{number}, {maker}: {says} {NO_PROOF}")
    drawing.shapes.append(Words(20, 30, one_line(f"{number}, {maker}")[:80], 21, bold=True))
    lines = textwrap.wrap(says, SENTENCE_LETTERS, max_lines=2, placeholder=" ...")
    drawing.shapes += [Words(20, 52 + 18 * place, line, TEXT_SIZE) for place, line in enumerate(lines)]
    drawing.shapes.append(Words(20, 52 + 18 * len(lines), f"Standard date {dating.edtf}. {NO_PROOF}", SMALL_SIZE))
    _draw_columns(drawing, axis, dating)
    y = CURVE_TOP + CURVE_HEIGHT + 62
    numbers = [one for one in dating.candidates if one.interval is not None][:ROWS_MAX]
    if len(numbers) > 1:
        y = _draw_heading(drawing, y, "What each number would mean")
        for one in numbers:
            y = _draw_number(drawing, axis, y, one)
    evidence = [one for one in dating.evidence if one.not_before is not None or one.not_after is not None][:ROWS_MAX]
    if evidence:
        y = _draw_heading(drawing, y, "What it rests on")
        for piece in evidence:
            y = _draw_evidence(drawing, axis, y, piece)
    y = _draw_legend(drawing, y + 6)
    drawing.height = y + 8
    return drawing


def _choose_axis(dating: Dating) -> _Axis:
    """Return the years across: the curve's, with some room, at least YEARS_SMALLEST."""
    first, last = dating.years[0] - 1, dating.years[-1] + 1
    lacking = max(YEARS_SMALLEST - (last - first + 1), 0)
    return _Axis(first - lacking // 2, last + (lacking + 1) // 2)


def _draw_columns(drawing: Drawing, axis: _Axis, dating: Dating) -> None:
    """Draw the years as columns, dark inside the interval, with both intervals as brackets and the years below."""
    base, top = CURVE_TOP + CURVE_HEIGHT, max(dating.probabilities)
    for share in (0.0, 0.5, 1.0):
        y = base - share * CURVE_HEIGHT
        drawing.shapes.append(Line(LEFT, y, WIDTH - RIGHT, y, 0.6, GRAY, 0.0 if share == 0 else 3.0))
        drawing.shapes.append(Words(LEFT - 8, y + 4, plain_blanks(say_percent(share * top)), SMALL_SIZE, "end"))
    drawing.shapes.append(Words(20, CURVE_TOP + 24, "probability of each year", SMALL_SIZE))
    for year, probability in zip(dating.years, dating.probabilities, strict=True):
        height = CURVE_HEIGHT * probability / top
        inside = any(first <= year <= last for first, last in _runs(dating))
        left, right = axis.x(year), axis.x(year + 1)
        gap = min(1.5, (right - left) * 0.12)
        if height > 0.5:
            drawing.shapes.append(
                Box(left + gap, base - height, right - left - 2 * gap, height, BLUE if inside else "#ffffff")
            )
    step = next(step for step in (1, 2, 5, 10, 20, 50, 100) if (axis.last - axis.first) / step <= 11)
    for year in range(axis.first + (-axis.first) % step, axis.last + 1, step):
        middle = (axis.x(year) + axis.x(year + 1)) / 2
        drawing.shapes.append(Line(middle, base, middle, base + 5))
        drawing.shapes.append(Words(middle, base + 19, str(year), SMALL_SIZE, "middle"))
    words = "the interval " + " and ".join(map(_word, _runs(dating)))
    drawing.shapes.append(Words(LEFT - 8, base + 32, words, SMALL_SIZE, "end"))
    for run in _runs(dating):
        _draw_bracket(drawing, axis, run, base + 28, 2.5)
    if len(_runs(dating)) > 1:
        return  # half of a curve with two humps begins in the one and ends in the other
    words = f"half of the curve {_word(dating.interval_50)}"
    drawing.shapes.append(Words(LEFT - 8, base + 46, words, SMALL_SIZE, "end"))
    _draw_bracket(drawing, axis, dating.interval_50, base + 42, 5.0)


def _runs(dating: Dating) -> list[tuple[int, int]]:
    """Return the runs of years that a set of the standard date names, else the interval alone."""
    if "," not in dating.edtf:
        return [dating.interval]
    ends = [run.split("..") for run in dating.edtf.strip("[]").split(",")]
    return [(int(run[0]), int(run[-1])) for run in ends]


def _word(span: tuple[int, int]) -> str:
    return f"{span[0]}" if span[0] == span[1] else f"{span[0]}-{span[1]}"


def _draw_bracket(drawing: Drawing, axis: _Axis, span: tuple[int, int], y: float, width: float) -> None:
    left, right = axis.x(span[0]), axis.x(span[1] + 1)
    drawing.shapes += [
        Line(left, y, right, y, width),
        Line(left, y - 4, left, y + 4, 1.5),
        Line(right, y - 4, right, y + 4, 1.5),
    ]


def _draw_heading(drawing: Drawing, y: float, text: str) -> float:
    drawing.shapes.append(Words(20, y + 18, text, TEXT_SIZE, bold=True))
    return y + 30


def _draw_number(drawing: Drawing, axis: _Axis, y: float, number: DatedNumber) -> float:
    assert number.interval is not None and number.year is not None
    label = plain_blanks(f"{number.text} in '{number.series}' ({say_percent(number.probability)})")
    drawing.shapes.append(Words(20, y + 12, one_line(label)[:LABEL_LETTERS], SMALL_SIZE))
    left, right = axis.x(number.interval[0]), axis.x(number.interval[1] + 1)
    drawing.shapes.append(Box(left, y + 3, max(right - left, 2.0), 10, PALE))
    middle = (axis.x(number.year) + axis.x(number.year + 1)) / 2
    drawing.shapes.append(Line(middle, y, middle, y + 16, 2.5))
    return y + 22


def _draw_evidence(drawing: Drawing, axis: _Axis, y: float, evidence: Evidence) -> float:
    """Draw the words of a piece of evidence and the years that it allows: arrows where open, dashed where soft."""
    lines = textwrap.wrap(one_line(evidence.says), LABEL_LETTERS, max_lines=2, placeholder=" ...")
    for place, line in enumerate(lines):
        drawing.shapes.append(Words(20, y + (12 if len(lines) > 1 else 17) + 15 * place, line, SMALL_SIZE))
    low = axis.first if evidence.not_before is None else evidence.not_before
    high = axis.last if evidence.not_after is None else evidence.not_after
    middle = y + 13
    if high < axis.first or low > axis.last:
        where = f"{_bounds(evidence)}: outside this picture"
        drawing.shapes.append(Words(LEFT, middle + 4, where, SMALL_SIZE))
        return y + ROW_HEIGHT
    left, right = axis.x(low), axis.x(high + 1)
    dash = 5.0 if evidence.says.endswith("soft") else 0.0
    drawing.shapes.append(Line(left, middle, max(right, left + 2), middle, 3.0, BLACK, dash))
    for x, closed, away in (
        (left, evidence.not_before is not None and low >= axis.first, -1),
        (right, evidence.not_after is not None and high <= axis.last, 1),
    ):
        if closed:
            drawing.shapes.append(Line(x, middle - 8, x, middle + 8, 2.5))
        else:
            drawing.shapes.append(Line(x, middle, x - 8 * away, middle - 6, 2.0))
            drawing.shapes.append(Line(x, middle, x - 8 * away, middle + 6, 2.0))
    return y + ROW_HEIGHT


def _bounds(evidence: Evidence) -> str:
    if evidence.not_before is None:
        return f"to {evidence.not_after}"
    if evidence.not_before == evidence.not_after:
        return f"{evidence.not_before}"
    return f"from {evidence.not_before}" + (f" to {evidence.not_after}" if evidence.not_after is not None else "")


def _draw_legend(drawing: Drawing, y: float) -> float:
    drawing.shapes += [
        Line(20, y, WIDTH - RIGHT, y, 0.6, GRAY),
        Box(20, y + 11, 14, 12, BLUE),
        Words(40, y + 22, "inside the interval", SMALL_SIZE),
        Box(180, y + 11, 14, 12, "#ffffff"),
        Words(200, y + 22, "outside it", SMALL_SIZE),
        Line(300, y + 17, 340, y + 17, 3.0),
        Line(300, y + 9, 300, y + 25, 2.5),
        Words(348, y + 22, "firm or stated years, upright end: a limit", SMALL_SIZE),
        Line(630, y + 17, 670, y + 17, 3.0, BLACK, 5.0),
        Words(678, y + 22, "soft; arrow: open or goes on", SMALL_SIZE),
    ]
    return y + 32


def write_svg(drawing: Drawing) -> str:
    """Return the drawing as an SVG document that needs nothing from outside."""
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {drawing.height:g}" width="{WIDTH:g}" '
        f'height="{drawing.height:g}" role="img" font-family="sans-serif">',
        f"<title>{escape(drawing.says)}</title>",
        f'<rect width="{WIDTH:g}" height="{drawing.height:g}" fill="#ffffff"/>',
    ]
    parts += [_svg(shape) for shape in drawing.shapes]
    return "\n".join([*parts, "</svg>\n"])


def _svg(shape: Line | Box | Words) -> str:
    if isinstance(shape, Line):
        dash = f' stroke-dasharray="{shape.dash:g}"' if shape.dash else ""
        ends = f'x1="{shape.x1:.1f}" y1="{shape.y1:.1f}" x2="{shape.x2:.1f}" y2="{shape.y2:.1f}"'
        return f'<line {ends} stroke="{shape.color}" stroke-width="{shape.width:g}"{dash}/>'
    if isinstance(shape, Box):
        size = f'x="{shape.x:.1f}" y="{shape.y:.1f}" width="{shape.width:.1f}" height="{shape.height:.1f}"'
        return f'<rect {size} fill="{shape.fill}" stroke="{BLACK}" stroke-width="0.8"/>'
    weight = ' font-weight="bold"' if shape.bold else ""
    place = f'x="{shape.x:.1f}" y="{shape.y:.1f}" font-size="{shape.size:g}" text-anchor="{shape.anchor}"'
    return f"<text {place}{weight}>{escape(shape.text)}</text>"


def write_png(drawing: Drawing) -> bytes:
    """Return the drawing as a PNG file's bytes, PNG_SCALE pixels to a unit."""
    from PIL import Image, ImageDraw, ImageFont

    k = PNG_SCALE
    picture = Image.new("RGB", (round(WIDTH * k), round(drawing.height * k)), "#ffffff")
    canvas = ImageDraw.Draw(picture)
    anchors = {"start": "ls", "end": "rs", "middle": "ms"}
    for shape in drawing.shapes:
        if isinstance(shape, Line):
            for x1, y1, x2, y2 in _dashes(shape):
                canvas.line((x1 * k, y1 * k, x2 * k, y2 * k), shape.color, max(round(shape.width * k), 1))
        elif isinstance(shape, Box):
            ends = (shape.x * k, shape.y * k, (shape.x + shape.width) * k, (shape.y + shape.height) * k)
            canvas.rectangle(ends, shape.fill, BLACK, 1)
        else:
            font = ImageFont.load_default(shape.size * k)
            stroke = 1 if shape.bold else 0
            place = (shape.x * k, shape.y * k)
            canvas.text(place, shape.text, BLACK, font, anchor=anchors[shape.anchor], stroke_width=stroke)
    written = io.BytesIO()
    picture.save(written, "PNG", optimize=True)
    return written.getvalue()


def _dashes(line: Line) -> Sequence[tuple[float, float, float, float]]:
    """Return the strokes of a line; only level lines are dashed."""
    if not line.dash:
        return [(line.x1, line.y1, line.x2, line.y2)]
    strokes, x = [], line.x1
    while x < line.x2:
        strokes.append((x, line.y1, min(x + line.dash, line.x2), line.y2))
        x += 2 * line.dash
    return strokes


def save_drawing(drawing: Drawing, target: Path, *, overwrite: bool) -> None:
    """Write the drawing as the file's ending says. Without `overwrite` an existing file is refused (SettingsError)."""
    data = write_svg(drawing).encode() if target.suffix.lower() == ".svg" else write_png(drawing)
    save_file(target, data, overwrite=overwrite)
