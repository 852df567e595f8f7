"""Find lines of characters in a whole photo with a small convolutional network, at any size and in any direction.

The network looks at the photo at three scales and, where the first shows something small, at tiles of a fourth. It
marks the middle band of each line (a kernel, after Wang et al. 2019, PSENet, and Liao et al. 2020, DB) and says in each
cell along which axis the line runs, how high its figures are and whether it has figures. Connected cells become quads;
what is one line at two scales is kept once; turns.py tells which way along its axis a line is read. It runs in OpenCV's
dnn module; weights and card (weights/regions.json) come from tools/finding.

Cost: bounded by the scales, not by what is found: at most 1.4 megapixels at 6,400 multiplications each, and 1.0 for the
tiles; at most LINES_MAX lines a pass are looked at, best first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.geometry import quad_overlap, turn_quad
from reader.locate.card import WEIGHTS_FOLDER, Card, load_card
from reader.locate.turns import TurnNetwork
from reader.results import Quad, Region
from reader.weights import Floats, load_weights, normalize

CARD_FILE = WEIGHTS_FOLDER / "regions.json"

SIDES = (1024, 512, 256)
"""Long side of the photo in pixels at the three scales. The network is taught figures of 10 to 140 px, so together they
find figures from a hundredth to half of the photo's long side; the last two cost a third of the first."""

ENLARGE_MAX = 2.0
"""A small photo is enlarged by at most this."""

STEP, CELL = 32, 4
"""The input's sides are multiples of STEP pixels; the output has one cell for CELL pixels."""

TILE, TILES_MAX, TILE_SCALE = 512, 4, 2.0
"""Side of a tile in pixels, the most tiles, and how much larger than at the first scale the photo is in them."""

SMALL_PX, SMALL_SCORE = 22.0, 0.6
"""Figures below this height at the first scale, in lines of a higher score, are looked at again in tiles. Chosen on
rendered photos as they are and as if taken from twice as far: 0.7 loses 2 in 100 of the far ones, 0.5 costs more."""

PROBABILITY = 0.5
"""A cell is in a line from this. On rendered photos (fit sets) 0.4 finds as many serials in more regions, 0.6 and 0.7
fewer."""

CELLS_MIN = 3
"""Fewer cells are no line."""

LINES_MAX = 200
"""Most lines of a pass, best first."""

DRAWN_IN, BAND = 0.25, 0.3
"""A kernel ends this many heights inside the line's ends, and reaches so many heights up and down from its middle."""

STRAIGHT, PART_RAD, PARTS_LEAST = 0.87, 0.6, 0.7
"""A kernel whose cells' axes agree less than STRAIGHT (length of the mean doubled vector over the mean length; an arc
of 52 degrees has it) is cut into parts that turn by at most PART_RAD, where parts hold at least PARTS_LEAST of it."""

LONG = 3.0
"""From this length over width the kernel's own shape gives the line's axis, more exactly than the cells' directions."""

JOIN_GAP, JOIN_RATIO, JOIN_OFF, JOIN_COS, JOIN_SCORE = 0.3, 1.6, 0.35, 0.97, 0.5
"""Two lines are one string when the gap between them is at most JOIN_GAP heights, their heights differ by at most
JOIN_RATIO, each lies at most JOIN_OFF heights off the other's middle, their directions have at least this cosine (14
degrees), and the weaker score is at least this share of the stronger. The network itself runs on over blanks and wide
punching; wider gaps (0.8, 1.2) gained nothing on rendered photos and chained neighbors on real ones."""

TALLER = 1.1
"""A quad is this much higher than the network says: it says 0.82 (median) of the marked height on rendered photos."""

SAME_UNION, SAME_PART, SAME_RATIO = 0.5, 0.7, 1.6
"""Two quads are one line when they share this much of their union, or of the smaller one where their heights differ by
at most this ratio: two stacked lines taken for one at the smaller scale do not hide each of them."""

SURE = 4.0
"""Logit from which a line's way of reading is taken as known and not left open to a half turn. Of 775 lines of rendered
photos (fit sets, turned by quarters) 70 % reach it, and none of those reaching 2.5 was wrong; above, margin for
photos unlike the rendered ones."""

UPRIGHT = 0.7
"""A line leaning less than 45 degrees from level is taken to be read rightward, another one downward."""


@dataclass(frozen=True)
class Line:
    """One found line: its quad in input pixels, read rightward or downward, its score and share of figures."""

    quad: Quad
    score: float
    figures: float

    @cached_property
    def height(self) -> float:
        """Height of its figures in pixels."""
        return math.dist(self.quad[0], self.quad[3])

    @cached_property
    def length(self) -> float:
        """Length along the line in pixels."""
        return math.dist(self.quad[0], self.quad[1])

    @cached_property
    def middle(self) -> NDArray[np.float32]:
        """Its middle in pixels, x and y."""
        return np.asarray(self.quad.mean(axis=0), np.float32)

    @property
    def rank(self) -> float:
        """Score by which doubles are dropped: of a line and a piece of it, the line."""
        return self.score * min(1.0, 0.7 + 0.1 * self.length / max(self.height, 1e-6))


class RegionNetwork:
    """Finds lines with the shipped weights; they are loaded at the first photo. Not for several threads at a time."""

    def __init__(self, card: Path = CARD_FILE) -> None:
        """Prepare without loading."""
        self._path = card
        self._turns = TurnNetwork()
        self._loaded: tuple[Card, Any] | None = None

    def find(self, gray: NDArray[np.uint8], most: int) -> tuple[Region, ...]:
        """Return at most `most` regions of an (H, W) uint8 photo that may hold a string, best first.

        Raises TableError where weights or card are missing or damaged.
        """
        lines: list[Line] = []
        first: list[Line] = []
        for number, side in enumerate(SIDES):
            factor = min(side / max(gray.shape), ENLARGE_MAX)
            if number and factor >= ENLARGE_MAX:
                continue  # the scale before was no larger
            found = self._look(_resize(gray, factor))
            first = found if number == 0 else first
            lines += [_scaled(line, factor) for line in found]
        lines += self._tiles(gray, first)
        kept = drop_doubles(join_lines(drop_doubles(lines)))[:most]
        logits = self._turns.logits(gray, [line.quad for line in kept])
        return tuple(_region(line, float(logit)) for line, logit in zip(kept, logits, strict=True))

    def planes(self, gray: NDArray[np.uint8]) -> Floats:
        """Return the network's planes (5, h, w) for a picture at one scale, cells beyond the picture left out."""
        card, network = self._network()
        rows, columns = gray.shape
        padded = cv2.copyMakeBorder(gray, 0, -rows % STEP, 0, -columns % STEP, cv2.BORDER_REPLICATE)
        network.setInput(normalize(padded.astype(np.float32), card.local_px, card.local_floor)[None])
        out = np.asarray(network.forward()[0], np.float32)
        return out[:, : -(-rows // CELL), : -(-columns // CELL)]

    def _look(self, gray: NDArray[np.uint8]) -> list[Line]:
        return trace_lines(self.planes(gray), self._network()[0].height_unit)

    def _tiles(self, gray: NDArray[np.uint8], first: Sequence[Line]) -> list[Line]:
        """Look again, larger, at what is small at the first scale."""
        factor = SIDES[0] / max(gray.shape)
        larger = min(factor * TILE_SCALE, 1.0)
        if larger < factor * 1.3:
            return []
        middles: list[NDArray[np.float32]] = []
        small = [line for line in first if line.height < SMALL_PX and line.score > SMALL_SCORE]
        half = TILE / 2 / larger
        for line in sorted(small, key=lambda line: -line.score):
            middle = line.middle / factor
            if len(middles) < TILES_MAX and all(np.abs(middle - other).max() > half * 0.7 for other in middles):
                middles.append(middle)
        lines: list[Line] = []
        for middle in middles:
            x, y = (int(max(0, value - half)) for value in middle)
            tile = gray[y : y + int(2 * half), x : x + int(2 * half)]
            lines += [_scaled(line, larger, (x, y)) for line in self._look(_resize(tile, larger))]
        return lines

    def _network(self) -> tuple[Card, Any]:
        if self._loaded is None:
            card = load_card(self._path)
            self._loaded = (card, load_weights(card.file, card.sha256))
        return self._loaded


def _region(line: Line, logit: float) -> Region:
    """Return a line as a region, turned where it surely reads the other way; `logit` that it is read as it stands."""
    quad = line.quad if logit > -SURE else turn_quad(line.quad, 2)
    return Region(quad, line.score, half_turn_open=abs(logit) < SURE)


@cache
def _shipped() -> RegionNetwork:
    return RegionNetwork()


def find_regions(gray: NDArray[np.uint8], most: int) -> tuple[Region, ...]:
    """Return at most `most` regions of an (H, W) uint8 photo, best first, by the shipped network."""
    return _shipped().find(gray, most)


def _resize(gray: NDArray[np.uint8], factor: float) -> NDArray[np.uint8]:
    size = (max(1, round(gray.shape[1] * factor)), max(1, round(gray.shape[0] * factor)))
    way = cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC
    return np.asarray(cv2.resize(gray, size, interpolation=way), np.uint8)


def _scaled(line: Line, factor: float, first_xy: tuple[int, int] = (0, 0)) -> Line:
    """Return a line in photo pixels: of a picture that shows the photo from `first_xy` on at a scale."""
    quad = (line.quad + 0.5) / factor - 0.5 + np.array(first_xy, np.float32)
    return Line(quad.astype(np.float32), line.score, line.figures)


def trace_lines(planes: Floats, height_unit: float) -> list[Line]:
    """Return the lines in the network's planes (5, h, w), at most LINES_MAX, quads in input pixels."""
    probability = 1 / (1 + np.exp(-planes[0]))
    count, labels = cv2.connectedComponents((probability > PROBABILITY).astype(np.uint8), connectivity=8)
    rows, columns = np.nonzero(labels)
    owner = labels[rows, columns]
    sizes = np.bincount(owner, minlength=count)
    weight = np.bincount(owner, probability[rows, columns], minlength=count)
    order = [number for number in np.argsort(-weight) if sizes[number] >= CELLS_MIN][:LINES_MAX]
    by_owner = np.argsort(owner, kind="stable")
    ends = np.cumsum(sizes)
    lines = []
    for number in order:
        own = by_owner[ends[number] - sizes[number] : ends[number]]
        cells = planes[:, rows[own], columns[own]]
        for part in _straight_parts(cells, rows[own], columns[own]):
            lines.append(_trace(cells[:, part], rows[own[part]], columns[own[part]], height_unit))
    return lines[:LINES_MAX]


def _straight_parts(
    cells: Floats, rows: NDArray[np.intp], columns: NDArray[np.intp]
) -> list[NDArray[np.intp] | slice[None]]:
    """Return which of connected cells, planes (5, n), make up each nearly straight part: of most lines, all."""
    doubled = cells[1] + 1j * cells[2]
    mean = doubled.mean()
    if abs(mean) > STRAIGHT * np.abs(doubled).mean():
        return [slice(None)]
    turn = np.angle(doubled * np.conj(mean)) / 2
    low, high = np.quantile(turn, (0.03, 0.97))
    count = math.ceil(float(high - low) / PART_RAD)
    bins = np.clip((turn - low) / max(float(high - low), 1e-6) * count, 0, count - 0.01).astype(np.intp)
    shape = (int(np.ptp(rows)) + 1, int(np.ptp(columns)) + 1)
    place = (rows - rows.min(), columns - columns.min())
    parts: list[NDArray[np.intp] | slice[None]] = []
    held = 0
    for number in range(count):
        mask = np.zeros(shape, np.uint8)
        mask[place] = bins == number
        own = cv2.connectedComponents(mask, connectivity=8)[1][place]
        for label, size in enumerate(np.bincount(own)):
            if label and size >= max(CELLS_MIN, len(rows) / (4 * count)):
                parts.append(np.flatnonzero(own == label))
                held += int(size)
    return parts if held >= PARTS_LEAST * len(rows) else [slice(None)]


def _trace(cells: Floats, rows: NDArray[np.intp], columns: NDArray[np.intp], height_unit: float) -> Line:
    """Return the line of connected cells: their planes (5, n) and places."""
    probability = 1 / (1 + np.exp(-cells[0]))
    points = (np.stack([columns, rows], 1) * CELL + (CELL - 1) / 2).astype(np.float64)
    height = float(np.exp(np.average(cells[3], weights=probability))) * height_unit
    doubled = np.average(cells[1:3], axis=1, weights=probability)
    axis = _axis(points, probability, math.atan2(doubled[1], doubled[0]) / 2)
    if axis[0] < -UPRIGHT or (axis[0] < UPRIGHT and axis[1] < 0):
        axis = -axis  # rightward or downward until the characters say otherwise
    down = np.array([-axis[1], axis[0]])
    u, v = points @ axis, points @ down
    reach = CELL / 2 * float(np.abs(axis).sum())  # half a cell's extent along the axis
    grow = DRAWN_IN * height - 0.5 * (reach - CELL / 2)
    low, high = float(u.min()) - CELL / 2 - grow, float(u.max()) + CELL / 2 + grow
    middle = float(np.average(v, weights=probability))
    corners = [(low, -0.5), (high, -0.5), (high, 0.5), (low, 0.5)]
    quad = np.array([a * axis + (middle + b * TALLER * height) * down for a, b in corners], np.float32)
    figures = 1 / (1 + math.exp(-float(np.average(cells[4], weights=probability))))
    score = float(probability.mean()) * (0.6 + 0.4 * figures)
    return Line(quad, score, figures)


def _axis(points: NDArray[np.float64], weights: Floats, angle: float) -> NDArray[np.float64]:
    """Return the line's axis: what its cells say, or for long ones their shape where it agrees within 20 degrees."""
    said = np.array([math.cos(angle), math.sin(angle)])
    offset = points - np.average(points, axis=0, weights=weights)
    spread = (offset * weights[:, None]).T @ offset / weights.sum()
    values, vectors = np.linalg.eigh(spread)
    shape = vectors[:, 1]
    if values[1] > LONG**2 * max(values[0], CELL**2 / 12) and abs(float(shape @ said)) > 0.94:
        return np.asarray(shape, np.float64)
    return said


def join_lines(lines: Sequence[Line]) -> list[Line]:
    """Join lines that stand in one row with a small gap: a serial punched wide, 'No.' before its figures."""
    todo = sorted(lines, key=lambda line: -line.score)
    done: list[Line] = []
    while todo:
        line = todo.pop(0)
        joined = True
        while joined:
            joined = False
            for number, other in enumerate(todo):
                union = _joined(line, other)
                if union is not None:
                    line, joined = union, True
                    del todo[number]
                    break
        done.append(line)
    return done


def _joined(first: Line, second: Line) -> Line | None:
    """Return two lines as one, or None where they are not of one row (or are the same line)."""
    taller = max(first.height, second.height)
    if taller > JOIN_RATIO * min(first.height, second.height) or second.score < JOIN_SCORE * first.score:
        return None
    if math.dist(first.middle, second.middle) > (first.length + second.length) / 2 + JOIN_GAP * taller:
        return None
    along, other = _direction(first), _direction(second)
    turn = 1.0 if float(along @ other) >= 0 else -1.0
    if abs(float(along @ other)) < JOIN_COS:
        return None
    offset = second.middle - first.middle
    for axis in (along, other):
        if abs(float(offset @ np.array([-axis[1], axis[0]]))) > JOIN_OFF * taller:
            return None
    gap = abs(float(offset @ along)) - (first.length + second.length) / 2
    if not -0.5 * taller < gap < JOIN_GAP * taller:
        return None
    total = first.length + second.length
    axis = along * first.length + turn * other * second.length
    axis = axis / np.linalg.norm(axis)
    down = np.array([-axis[1], axis[0]])
    corners = np.concatenate([first.quad, second.quad])
    u = corners @ axis
    middle = float((first.middle @ down * first.length + second.middle @ down * second.length) / total)
    height = float(np.linalg.norm([first.height * first.length, second.height * second.length], 1)) / total
    height = max(height, 0.9 * taller)
    places = [(u.min(), -0.5), (u.max(), -0.5), (u.max(), 0.5), (u.min(), 0.5)]
    quad = np.array([a * axis + (middle + b * height) * down for a, b in places], np.float32)
    return Line(quad, max(first.score, second.score), max(first.figures, second.figures))


def _direction(line: Line) -> NDArray[np.float64]:
    along = (line.quad[1] - line.quad[0]).astype(np.float64)
    return np.asarray(along / max(float(np.linalg.norm(along)), 1e-9), np.float64)


def drop_doubles(lines: Sequence[Line]) -> list[Line]:
    """Keep the best of lines that lie on each other; return them by score."""
    kept: list[Line] = []
    for line in sorted(lines, key=lambda line: -line.rank):
        if all(not _same(line, other) for other in kept):
            kept.append(line)
    return sorted(kept, key=lambda line: -line.score)


def _same(first: Line, second: Line) -> bool:
    reach = (first.length + first.height + second.length + second.height) / 2
    if math.dist(first.middle, second.middle) > reach:
        return False
    union, part = quad_overlap(first.quad, second.quad)
    alike = max(first.height, second.height) < SAME_RATIO * min(first.height, second.height)
    return union > SAME_UNION or (part > SAME_PART and alike)
