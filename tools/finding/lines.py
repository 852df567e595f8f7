"""Lines of characters in a scene: what stands there, where, how large, in which direction, and how far the strokes are.

A scene lies on a plane seen in mild perspective. Every line is set by tools/training/layout.py and placed on the
plane; lines are stacked on others, stand beside them or on their own, and never lie on one another. All of a batch is
placed at once; distances to strokes are looked up only where a line is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from torch import Tensor

from tools.training.layout import CELL, FAR, UNIT, Atlas, Line, Pool, make_pool, pick_styles, set_line, uniform
from tools.training.strings import LONGEST, WORDS
from tools.training.tiles import look_up

LINES = 6
"""Most lines of a scene."""

COUNT_SHARES = (0.2, 0.18, 0.2, 0.16, 0.12, 0.08, 0.06)
"""Shares of scenes with no line, one, and so on."""

HEIGHT_PX = (10.0, 140.0)
"""Smallest and largest figure height in pixels of the scene."""

STACKED, BESIDE = 0.45, 0.08
"""Chance that a line stands above or below, or on one line with, the one before."""

AXES = (0.55, 0.16, 0.16, 0.13)
"""Shares of lines read rightward, downward, upward and upside down, of those near an axis."""

NEAR_AXIS = 0.6
"""Share of lines near an axis; the others stand in any direction."""

DRAWN_IN, BAND = 0.25, 0.3
"""Ends of a kernel are drawn in by DRAWN_IN heights, and it reaches BAND heights to both sides of the line's middle."""

REACH = 1.3
"""How far around a line, in heights, distances and labels are drawn."""

KINDS = ("punched", "scratched", "cast", "painted", "inked", "chalked", "printed", "struck")
SHARES = (0.26, 0.08, 0.12, 0.18, 0.12, 0.08, 0.08, 0.08)
"""Kinds of strokes and their shares."""

RANGES: dict[str, tuple[tuple[float, float], ...]] = {
    # One range for each of KINDS: depth in pixels at a height of 30, cover and lack of paint, chance of bright paint,
    # bevel, burr and weight in heights, raggedness of edges, unsteadiness of the hand.
    "depth": ((-3.8, -0.8), (-2.6, -0.7), (1.0, 3.8), (-0.1, 0.3), (-0.15, 0.1), (-0.1, 0.1), (-0.1, 0.1), (0.7, 2.8)),
    "ink": ((0, 0.55), (0, 0.5), (0, 0.45), (0.4, 1), (0.3, 1), (0.3, 1), (0.6, 1), (0, 0.15)),
    "drop": ((0, 0.6), (0, 0.6), (0, 0.5), (0, 0.55), (0, 0.6), (0.2, 0.7), (0, 0.25), (0, 0.4)),
    "bright": ((0.1, 0.1), (0.5, 0.5), (0.6, 0.6), (0.6, 0.6), (0.05, 0.05), (0.97, 0.97), (0.15, 0.15), (0.5, 0.5)),
    "bevel": (
        (0.015, 0.1),
        (0.01, 0.04),
        (0.04, 0.16),
        (0.02, 0.05),
        (0.02, 0.05),
        (0.02, 0.05),
        (0.02, 0.05),
        (0.05, 0.2),
    ),
    "burr": ((0, 0.45), (0, 0.6), (0, 0), (0, 0), (0, 0), (0, 0), (0, 0), (0, 0)),
    "weight": (
        (-0.025, 0.03),
        (-0.05, 0.0),
        (-0.02, 0.04),
        (-0.03, 0.02),
        (-0.025, 0.03),
        (-0.01, 0.04),
        (-0.02, 0.02),
        (-0.02, 0.03),
    ),
    "edge": ((0, 0.02), (0.005, 0.03), (0, 0.02), (0.005, 0.035), (0, 0.025), (0.01, 0.04), (0, 0.01), (0, 0.015)),
    "loose": ((0, 0.5), (0, 0.9), (0, 0.15), (0, 0.6), (0, 0.5), (0, 0.9), (0, 0.05), (0, 0.06)),
    "label": ((0, 0), (0, 0), (0, 0), (0.1, 0.1), (0.3, 0.3), (0, 0), (0.5, 0.5), (0, 0)),
}

STYLES = (
    # font, hand-font, punch, hand, digits, segment
    (0.45, 0, 0.5, 0.04, 0.01, 0),
    (0, 0.2, 0.08, 0.62, 0.1, 0),
    (0.75, 0.02, 0.23, 0, 0, 0),
    (0.5, 0.1, 0.2, 0.17, 0.03, 0),
    (0.5, 0.15, 0.15, 0.15, 0.05, 0),
    (0, 0.15, 0.02, 0.6, 0.23, 0),
    (0.93, 0.02, 0.02, 0, 0, 0.03),
    (0.75, 0.02, 0.23, 0, 0, 0),
)
"""Which groups of styles stand on which kind."""


@dataclass
class Lines:
    """All lines of a batch as rows N * LINES: where on the plane, in which direction, how large, and how drawn.

    `center` (R, 2) in pixels from the picture's middle, `angle` in radians, `height` in pixels, `squeeze` how much
    wider than set, `start` and `end` the ink along the line in set heights, `shear` and `bend` in heights, `present`
    and `figures` truth values, `values` one (R,) for each of RANGES and the kind.
    """

    line: Line
    center: Tensor
    angle: Tensor
    height: Tensor
    squeeze: Tensor
    start: Tensor
    end: Tensor
    shear: Tensor
    bend: Tensor
    present: Tensor
    figures: Tensor
    values: dict[str, Tensor]

    def half_size(self) -> Tensor:
        """Return half the length and half the height, (R, 2) in pixels of the plane."""
        return torch.stack([(self.end - self.start) * self.squeeze * self.height, self.height], 1) / 2


def load_texts(stored: Path, count: int, seed: int) -> list[str]:
    """Return strings: numbers from a file of one a line, words, pairs of words, single letters."""
    rng = np.random.default_rng(seed)
    numbers = stored.read_text(encoding="utf-8").split("\n")
    texts = []
    for roll in rng.random(count):
        words = [WORDS[int(k)] for k in rng.integers(len(WORDS), size=2)]
        if roll < 0.72:
            text = numbers[int(rng.integers(len(numbers)))]
        elif roll < 0.94:
            text = words[0] if roll < 0.84 else " ".join(words)
            text = text.title() if rng.random() < 0.3 else text.lower() if rng.random() < 0.1 else text
        else:
            text = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"[int(rng.integers(26))]
        texts.append(text.strip()[:LONGEST].strip())
    return [text for text in texts if text]


def make_text_pool(stored: Path, count: int, seed: int, device: torch.device) -> Pool:
    """Return the strings as arrays."""
    return make_pool(load_texts(stored, count, seed), device)


def draw_lines(atlas: Atlas, pool: Pool, n: int, side: int) -> Lines:
    """Draw the lines of `n` scenes of `side` pixels and place them."""
    device = pool.codes.device
    rows = n * LINES
    shares = torch.tensor(SHARES, device=device)
    kind = torch.multinomial(shares.expand(n, -1), LINES, replacement=True)
    same = torch.rand(n, 1, device=device) < 0.5  # half of the scenes are marked in one way
    kind = torch.where(same, kind[:, :1], kind).flatten()
    values = {"kind": kind}
    for name, ranges in RANGES.items():
        table = torch.tensor(ranges, device=device)
        values[name] = table[kind, 0] + torch.rand(rows, device=device) * (table[kind, 1] - table[kind, 0])
    for name in ("bright", "label"):
        values[name] = (torch.rand(rows, device=device) < values[name]).float()
    dim = torch.rand(rows, device=device) < 0.07
    weak = torch.exp(uniform((rows,), -2.2, -0.4, device))
    for name in ("depth", "ink"):
        values[name] = torch.where(dim, values[name] * weak, values[name])
    pick = torch.randint(0, len(pool.lengths), (rows,), device=device)
    codes = pool.codes[pick]
    style = pick_styles(atlas, pool.plain[pick], torch.tensor(STYLES, device=device)[kind])
    line = set_line(atlas, codes, style, values["loose"])
    wide = torch.where(
        torch.rand(rows, device=device) < 0.12, uniform((rows,), 1.1, 1.7, device), torch.ones(rows, device=device)
    )
    line.center, line.length = line.center * wide[:, None], line.length * wide
    drawn = line.cell >= 0
    reach = line.half * line.size
    start = torch.where(drawn, line.center - reach, torch.inf).amin(1)
    end = torch.where(drawn, line.center + reach, -torch.inf).amax(1)
    some = drawn.any(1)
    start, end = torch.where(some, start, 0.0), torch.where(some, end, 1.0)
    bent = torch.rand(rows, device=device) < 0.12
    figures = ((codes >= 0) & (codes < 10)).any(1)
    lines = Lines(
        line,
        torch.zeros(rows, 2, device=device),
        torch.zeros(rows, device=device),
        torch.ones(rows, device=device),
        torch.exp(torch.randn(rows, device=device) * 0.13).clamp(0.7, 1.5),
        start,
        end,
        torch.randn(rows, device=device) * 0.08,
        torch.where(bent, uniform((rows,), -0.7, 0.7, device), torch.randn(rows, device=device) * 0.02),
        torch.zeros(rows, dtype=torch.bool, device=device),
        figures.float(),
        values,
    )
    _place(lines, some, n, side)
    return lines


def _place(lines: Lines, some: Tensor, n: int, side: int) -> None:
    """Choose place, direction and size of the lines, one after the other, each without touching those before."""
    device = lines.center.device
    count = torch.multinomial(torch.tensor(COUNT_SHARES, device=device).expand(n, -1), 1)[:, 0]
    view = {
        name: getattr(lines, name).view(n, LINES, *getattr(lines, name).shape[1:])
        for name in ("center", "angle", "height", "present")
    }
    length = ((lines.end - lines.start) * lines.squeeze).view(n, LINES)
    for k in range(LINES):
        wanted = (k < count) & some.view(n, LINES)[:, k]
        placed = torch.zeros(n, dtype=torch.bool, device=device)
        for _ in range(4 if k else 1):
            center, angle, height = _propose(view, length, k, side)
            half = torch.stack([length[:, k] * height, height], 1) / 2
            free = torch.ones(n, dtype=torch.bool, device=device)
            for j in range(k):
                other = torch.stack([length[:, j] * view["height"][:, j], view["height"][:, j]], 1) / 2
                apart = _apart((center, angle, half * 1.12), (view["center"][:, j], view["angle"][:, j], other))
                free &= apart | ~view["present"][:, j]
            take = wanted & free & ~placed
            view["center"][:, k] = torch.where(take[:, None], center, view["center"][:, k])
            view["angle"][:, k] = torch.where(take, angle, view["angle"][:, k])
            view["height"][:, k] = torch.where(take, height, view["height"][:, k])
            placed |= take
        view["present"][:, k] = placed


def _propose(view: dict[str, Tensor], length: Tensor, k: int, side: int) -> tuple[Tensor, Tensor, Tensor]:
    """Return center (N, 2), angle and height (N,) of a try for line `k`."""
    n, device = len(length), length.device

    def r(low: float, high: float) -> Tensor:
        return uniform((n,), low, high, device)

    near = torch.multinomial(torch.tensor(AXES, device=device).expand(n, -1), 1)[:, 0]
    turn = torch.tensor((0.0, math.pi / 2, -math.pi / 2, math.pi), device=device)[near]
    angle = torch.where(r(0, 1) < NEAR_AXIS, turn + torch.randn(n, device=device) * 0.12, r(-math.pi, math.pi))
    height = torch.exp(r(math.log(HEIGHT_PX[0]), math.log(HEIGHT_PX[1])))
    roomy = side * torch.where(r(0, 1) < 0.1, 1.6, 0.9) / length[:, k]
    height = torch.minimum(height, roomy).clamp_min(HEIGHT_PX[0] * 0.8)
    if k:
        j = k - 1
        roll = r(0, 1)
        joined = view["present"][:, j] & (roll < STACKED + BESIDE)
        angle = torch.where(joined, view["angle"][:, j] + torch.randn(n, device=device) * 0.015, angle)
        like = view["height"][:, j] * torch.exp(torch.where(r(0, 1) < 0.4, r(-0.1, 0.1), r(-1.0, 0.8)))
        height = torch.where(joined, torch.minimum(like, roomy).clamp_min(HEIGHT_PX[0] * 0.8), height)
    half = torch.stack([length[:, k] * height, height], 1) / 2
    along = torch.stack([torch.cos(angle), torch.sin(angle)], 1)
    box = half[:, :1] * along.abs() + half[:, 1:] * along.flip(1).abs()
    inside = (side / 2 - box - 2).clamp_min(side * 0.05)
    loose = torch.where(r(0, 1)[:, None] < 0.12, torch.full_like(inside, side * 0.5), inside)
    center = uniform((n, 2), -1, 1, device) * loose
    if k:
        across = torch.stack([-along[:, 1], along[:, 0]], 1)
        sign = torch.where(r(0, 1) < 0.5, -1.0, 1.0)
        smaller = torch.minimum(height, view["height"][:, j])
        gap = torch.where(r(0, 1) < 0.6, r(0.15, 0.6), r(0.4, 1.6)) * smaller
        spare = (length[:, j] * view["height"][:, j] - length[:, k] * height).abs() / 2
        shift = torch.where(r(0, 1) < 0.5, r(-0.1, 0.1), r(-1.1, 1.1)) * spare
        down = sign * ((height + view["height"][:, j]) / 2 + gap)
        stacked = view["center"][:, j] + across * down[:, None] + along * shift[:, None]
        aside = (length[:, j] * view["height"][:, j] + length[:, k] * height) / 2 + r(1.7, 4) * torch.maximum(
            height, view["height"][:, j]
        )
        beside = view["center"][:, j] + along * (sign * aside)[:, None] + across * (r(-0.15, 0.15) * smaller)[:, None]
        near_other = torch.where((roll < STACKED)[:, None], stacked, beside)
        center = torch.where(joined[:, None], near_other, center)
    return center, angle, height


Box = tuple[Tensor, Tensor, Tensor]
"""Turned boxes: centers (N, 2), angles (N,), half sizes (N, 2)."""


def _apart(first: Box, second: Box) -> Tensor:
    """Whether pairs of boxes (N,) have an axis that parts them (separating axis theorem)."""
    offset, first_half, second_half = second[0] - first[0], first[2], second[2]
    axes = []
    for angle in (first[1], second[1]):
        axes.append(torch.stack([torch.cos(angle), torch.sin(angle)], 1))
        axes.append(torch.stack([-torch.sin(angle), torch.cos(angle)], 1))
    apart = torch.zeros(len(offset), dtype=torch.bool, device=offset.device)
    for axis in axes:
        reach = torch.zeros(len(offset), device=offset.device)
        for own, half in (
            (axes[0], first_half[:, 0]),
            (axes[1], first_half[:, 1]),
            (axes[2], second_half[:, 0]),
            (axes[3], second_half[:, 1]),
        ):
            reach = reach + half * (own * axis).sum(1).abs()
        apart |= (offset * axis).sum(1).abs() > reach
    return apart


@dataclass
class View:
    """How the plane is seen: perspective (N, 2) and the plane's coordinates x, y (N, S, S) of every pixel."""

    lean: Tensor
    x: Tensor
    y: Tensor

    def to_picture(self, points: Tensor) -> Tensor:
        """Map points (N, P, 2) of the plane to pixels (N, P, 2) of the picture, its first pixel's middle at 0, 0."""
        side = self.x.shape[1]
        depth = 1 / (1 - (points / (side / 2) * self.lean[:, None]).sum(2, keepdim=True)).clamp(0.3, 3)
        return points * depth + (side - 1) / 2


def make_view(n: int, side: int, device: torch.device) -> View:
    """Draw a perspective for each scene."""
    lean = (torch.randn(n, 2, device=device) * 0.07).clamp(-0.2, 0.2)
    steps = torch.arange(side, device=device) - (side - 1) / 2
    y, x = torch.meshgrid(steps, steps, indexing="ij")
    depth = 1 + (x[None] * lean[:, :1, None] + y[None] * lean[:, 1:, None]) / (side / 2)
    return View(lean, x[None] / depth, y[None] / depth)


def places_in_line(lines: Lines, view: View, k: int) -> tuple[Tensor, Tensor]:
    """Return places along and across line `k` of every scene, (N, S, S) each, in set heights.

    Across, figures reach from 0 to 1.
    """
    n = len(view.x)

    def c(name: str) -> Tensor:
        value: Tensor = getattr(lines, name).view(n, LINES)[:, k, None, None]
        return value

    center = lines.center.view(n, LINES, 2)[:, k]
    dx, dy = view.x - center[:, 0, None, None], view.y - center[:, 1, None, None]
    cos, sin = torch.cos(c("angle")), torch.sin(c("angle"))
    along, v = (dx * cos + dy * sin) / c("height"), (dy * cos - dx * sin) / c("height")
    length = (c("end") - c("start")) * c("squeeze")
    v = v + c("bend") * (2 * along / length.clamp_min(1)) ** 2 + 0.5
    u = (along + c("shear") * (v - 0.5)) / c("squeeze") + (c("start") + c("end")) / 2
    return u, v


def stroke_distance(atlas: Atlas, line: Line, row: Tensor, u: Tensor, v: Tensor) -> Tensor:
    """Return distances (M,) in heights to the strokes of lines `row` (M,) at places u, v (M,)."""
    bounds = (line.center[:, 1:] + line.center[:, :-1]) / 2
    slot = torch.zeros_like(row)
    for j in range(bounds.shape[1]):
        slot += u > bounds[:, j][row]
    best = torch.full_like(u, FAR)
    last = line.cell.shape[1] - 1
    for step in (-1, 0, 1):
        at = row * (last + 1) + (slot + step).clamp(0, last)
        cell, size = line.cell.flatten()[at], line.size.flatten()[at]
        du = (u - line.center.flatten()[at]) / size
        dv = (v - 0.5 - line.drop.flatten()[at]) / size
        cos, sin = line.cos.flatten()[at], line.sin.flatten()[at]
        x, y = (du * cos + dv * sin) * UNIT + (CELL - 1) / 2, (dv * cos - du * sin) * UNIT + (CELL - 1) / 2
        near = (cell >= 0) & (x > 0) & (x < CELL - 1) & (y > 0) & (y < CELL - 1)
        found = look_up(atlas.cells, cell.clamp_min(0), x, y, wrap=False) * size
        best = torch.where(near, torch.minimum(best, found), best)
    return best


def line_quads(lines: Lines, view: View) -> Tensor:
    """Return the quads (N, LINES, 4, 2) of all lines in pixels of the picture."""
    n = len(view.x)
    half = lines.half_size()
    along = torch.stack([torch.cos(lines.angle), torch.sin(lines.angle)], 1) * half[:, :1]
    across = torch.stack([-torch.sin(lines.angle), torch.cos(lines.angle)], 1) * half[:, 1:]
    corners = [lines.center + a * along + b * across for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    plane = torch.stack(corners, 1).view(n, LINES * 4, 2)
    return view.to_picture(plane).view(n, LINES, 4, 2)
