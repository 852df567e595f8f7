"""A page to draw on: plain shapes, keyboards, numbered marks, part names and the legend, written out as SVG.

Takes calls from the drawings of the single forms (squares.py, pianos.py, ...) and a Form of reader/locations, whose
places give the marks their shapes and the legend its words. Lengths are in SVG user units, about a pixel on a screen;
x grows to the right and y downward.

Everything is told by shape and by words, never by color alone, and colors are light enough that black text on any of
them, and all of it printed in gray, stays readable.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from xml.sax.saxutils import escape

from reader.locations.guide import Form, Holds, Place, Who

Point = tuple[float, float]

WIDTH = 900
MARGIN = 40

INK = "#111111"
FAINT = "#6b6b6b"
"""Thin lines: strings, grain, pleats. Text is always in INK, or white on INK."""
PAPER = "#ffffff"
WOOD = "#f0e2c8"
WOOD_DARK = "#dcc5a0"
IRON = "#efe2a4"
BOARD = "#faf4e6"
FELT = "#d9d9d9"
GAP = "#c9c9c9"
"""What lies in shade."""

MARK = 13
"""Radius of a mark."""

LINE_HEIGHT = 25
"""Distance of the legend's lines."""

FONT = "Helvetica, Arial, 'Liberation Sans', sans-serif"


class Page:
    """An SVG picture of one form that grows with every call. `marked` holds the signs that were drawn."""

    def __init__(self, form: Form) -> None:
        self.form = form
        self.places: dict[str, Place] = {place.sign: place for place in (*form.places, *form.not_serial)}
        self.parts: list[str] = []
        self.marks: list[str] = []
        self.marked: set[str] = set()

    def add(self, element: str) -> None:
        """Append one SVG element as it is."""
        self.parts.append(element)

    def rect(
        self, x: float, y: float, width: float, height: float, fill: str = WOOD, *, line: float = 1.5, rx: float = 0
    ) -> None:
        """Draw a box from its upper left corner."""
        rounded = f' rx="{_n(rx)}"' if rx else ""
        self.add(
            f'<rect x="{_n(x)}" y="{_n(y)}" width="{_n(width)}" height="{_n(height)}"{rounded} {_paint(fill, line)}/>'
        )

    def path(self, d: str, fill: str = "none", line: float = 1.5, color: str = INK) -> None:
        """Draw a path given in SVG's own words."""
        self.add(f'<path d="{d}" {_paint(fill, line, color)}/>')

    def polygon(self, points: Sequence[Point], fill: str = WOOD, line: float = 1.5) -> None:
        """Draw a closed polygon."""
        self.add(f'<polygon points="{_points(points)}" {_paint(fill, line)}/>')

    def circle(self, x: float, y: float, radius: float, fill: str = PAPER, line: float = 1.2) -> None:
        """Draw a circle around (x, y)."""
        self.add(f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(radius)}" {_paint(fill, line)}/>')

    def lines(self, pairs: Iterable[tuple[Point, Point]], color: str = FAINT, line: float = 0.8) -> None:
        """Draw straight lines as one path."""
        d = " ".join(f"M{_n(a[0])} {_n(a[1])} L{_n(b[0])} {_n(b[1])}" for a, b in pairs)
        self.path(d, "none", line, color)

    def dots(self, points: Iterable[Point], radius: float = 1.8) -> None:
        """Draw small full dots: tuning pins, screws."""
        d = " ".join(f"M{_n(x)} {_n(y)} h0" for x, y in points)
        self.add(f'<path d="{d}" fill="none" stroke="{INK}" stroke-width="{_n(2 * radius)}" stroke-linecap="round"/>')

    def text(self, x: float, y: float, words: str, *, size: float = 14, anchor: str = "start", style: str = "") -> None:
        """Write words with their baseline at y. `style`: bold or italic."""
        kind = {"bold": ' font-weight="bold"', "italic": ' font-style="italic"', "": ""}[style]
        self.add(
            f'<text x="{_n(x)}" y="{_n(y)}" font-size="{_n(size)}" text-anchor="{anchor}"{kind} fill="{INK}">'
            f"{escape(words)}</text>"
        )

    def caption(self, x: float, y: float, words: str) -> None:
        """Write what a view shows, centered on x."""
        self.text(x, y, words, size=16, anchor="middle", style="bold")

    def part(self, x: float, y: float, words: str, to: Point | None = None, *, anchor: str = "middle") -> None:
        """Name a part of the instrument, with a thin line to it where it stands apart."""
        if to is not None:
            middle = (x, y + 4 if to[1] > y else y - 13)
            self.lines([({"start": (x - 4, y - 4), "end": (x + 4, y - 4), "middle": middle}[anchor], to)], INK, 0.8)
        self.text(x, y, words, size=13, anchor=anchor, style="italic")

    def keyboard(
        self, x: float, y: float, width: float, height: float, naturals: int = 35, *, skip: range = range(0)
    ) -> None:
        """Draw keys seen from above, the lowest an A; `skip` leaves some white keys out, from 0."""
        step = width / naturals
        shown = [key for key in range(naturals) if key not in skip]
        for key in shown:
            self.rect(x + key * step, y, step, height, PAPER, line=0.8)
        for key in shown:
            # Within an octave from A the black keys follow A, C, D, F and G.
            if key % 7 in (0, 2, 3, 5, 6) and key + 1 in shown:
                self.rect(x + (key + 0.7) * step, y, step * 0.6, height * 0.62, INK, line=0)

    def mark(self, sign: str, at: Point, to: Point | None = None) -> None:
        """Set the mark of a place at a point, or beside it with a line that ends in a dot at `to`.

        Marks lie above everything else. Raises KeyError for a sign that the form does not have.
        """
        place = self.places[sign]
        self.marked.add(sign)
        leader = ""
        if to is not None:
            line = f'<path d="M{_n(at[0])} {_n(at[1])} L{_n(to[0])} {_n(to[1])}" fill="none"'
            leader = (
                f'{line} stroke="{PAPER}" stroke-width="5"/>{line} stroke="{INK}" stroke-width="2"/>'
                f'<circle cx="{_n(to[0])}" cy="{_n(to[1])}" r="4" fill="{INK}" stroke="{PAPER}" stroke-width="1"/>'
            )
        self.marks.append(leader + _draw_mark(sign, place, at))

    def finish(self, top: float) -> str:
        """Write the legend from y = `top` on; return the picture. Raises ValueError for a place without a mark."""
        missing = sorted(self.places.keys() - self.marked)
        if missing:
            raise ValueError(f"{self.form.id}: no mark for {', '.join(missing)}")
        height, mine = self._legend(top), self.form.id
        title = f"{self.form.name}: where the number sits"
        told = "; ".join(f"{sign}: {place.label}" for sign, place in self.places.items())
        about = f"Schematic drawing with the places to look for the serial number. {told}."
        return "\n".join(
            [
                '<?xml version="1.0" encoding="UTF-8"?>',
                "<!-- Made by tools/drawings; change it there. -->",
                f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {_n(height)}" width="{WIDTH}" '
                f'height="{_n(height)}" role="img" aria-labelledby="{mine}-title {mine}-desc" font-family="{FONT}">',
                f'<title id="{mine}-title">{escape(title)}</title>',
                f'<desc id="{mine}-desc">{escape(about)}</desc>',
                f'<rect width="{WIDTH}" height="{_n(height)}" fill="{PAPER}"/>',
                f'<text x="{MARGIN}" y="46" font-size="27" font-weight="bold" fill="{INK}">{escape(title)}</text>',
                f'<text x="{MARGIN}" y="72" font-size="15" fill="{INK}">'
                "Read the cautions before you open, lift or move anything. Numbers are in the order to try.</text>",
                '<g stroke-linejoin="round">',
                *self.parts,
                "</g>",
                '<g class="marks">',
                *self.marks,
                "</g>",
                "</svg>",
                "",
            ]
        )

    def _legend(self, top: float) -> float:
        """Write the legend in two columns and the meaning of the shapes below; return the picture's height."""
        self.lines([((MARGIN, top), (WIDTH - MARGIN, top))], INK, 1)
        signs = list(self.places)
        rows = math.ceil(len(signs) / 2)
        self.add('<g class="legend">')
        for index, sign in enumerate(signs):
            x = MARGIN + MARK + (index // rows) * (WIDTH / 2 - MARGIN + 10)
            y = top + 28 + (index % rows) * (LINE_HEIGHT + 7)
            self.add(_draw_mark(sign, self.places[sign], (x, y)))
            self.text(x + 22, y + 5, self.places[sign].label, size=15.5)
        self.add("</g>")
        y = top + 28 + rows * (LINE_HEIGHT + 7) + 10
        self.lines([((MARGIN, y - 22), (WIDTH - MARGIN, y - 22))], INK, 1)
        meanings: dict[str, Place] = {}
        for place in self.places.values():
            meanings.setdefault(_meaning(place), place)
        x = float(MARGIN + MARK)
        for words, place in meanings.items():
            self.add(_draw_mark("", place, (x, y + 4)))
            self.text(x + 20, y + 9, words)
            x += 20 + 8.2 * len(words) + 26
        return y + 36


def _meaning(place: Place) -> str:
    if place.holds is Holds.OTHER:
        return "not the serial"
    return {
        Who.ANYONE: "you may look yourself",
        Who.TWO_PEOPLE: "two people together",
        Who.TECHNICIAN: "for a technician or mover",
    }[place.who]


def _draw_mark(sign: str, place: Place, at: Point) -> str:
    """Return a mark: a full disk (anyone), double ring (two people), octagon (technician) or square (no serial)."""
    x, y = at
    paint = f'fill="{PAPER}" stroke="{INK}" stroke-width="2.5"'
    color = INK
    if place.holds is Holds.OTHER:
        side = 2 * MARK - 3
        halo = _square(x, y, side + 6, f'fill="{PAPER}"')
        shape = _square(x, y, side, f'{paint} stroke-dasharray="5 3"')
    elif place.who is Who.TECHNICIAN:
        halo = f'<polygon points="{_points(_octagon(x, y, MARK + 5))}" fill="{PAPER}"/>'
        shape = f'<polygon points="{_points(_octagon(x, y, MARK + 1.5))}" {paint}/>'
    else:
        halo = f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{MARK + 3}" fill="{PAPER}"/>'
        if place.who is Who.ANYONE:
            color = PAPER
            shape = f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{MARK}" fill="{INK}"/>'
        else:
            shape = (
                f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{MARK}" fill="{PAPER}" stroke="{INK}" stroke-width="1.6"/>'
                f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{MARK - 3.2}" fill="{PAPER}" stroke="{INK}" stroke-width="1.2"/>'
            )
    if not sign:
        return f'<g class="key">{halo}{shape}</g>'
    size = 15 if len(sign) == 1 else 13.5
    if place.who is Who.TWO_PEOPLE and place.holds is Holds.SERIAL:
        size -= 1
    return (
        f'<g class="mark">{halo}{shape}<text x="{_n(x)}" y="{_n(y + 5)}" font-size="{_n(size)}" font-weight="bold" '
        f'text-anchor="middle" fill="{color}">{sign}</text></g>'
    )


def _octagon(x: float, y: float, radius: float) -> list[Point]:
    turns = [math.pi * (2 * corner + 1) / 8 for corner in range(8)]
    return [(x + radius * math.cos(turn), y + radius * math.sin(turn)) for turn in turns]


def _square(x: float, y: float, side: float, paint: str) -> str:
    return f'<rect x="{_n(x - side / 2)}" y="{_n(y - side / 2)}" width="{_n(side)}" height="{_n(side)}" {paint}/>'


def _paint(fill: str, line: float, color: str = INK) -> str:
    return f'fill="{fill}"' + (f' stroke="{color}" stroke-width="{_n(line)}"' if line else "")


def _points(points: Sequence[Point]) -> str:
    return " ".join(f"{_n(x)},{_n(y)}" for x, y in points)


def _n(value: float) -> str:
    """Return a length with one decimal at most."""
    return f"{value:.1f}".removesuffix(".0")
