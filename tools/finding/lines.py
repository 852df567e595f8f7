"""Lines of characters in a scene: what stands there, how it is drawn, and how far the strokes are.

Every line is set by tools/training/layout.py and placed by places.py. Distances to strokes are looked up only where a
line is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from torch import Tensor

from tools.finding.places import LINES, Lines, place_lines
from tools.training.glyphs import CHARACTERS
from tools.training.layout import CELL, FAR, NONE, SPACE, UNIT, Atlas, Line, pick_styles, set_line, uniform
from tools.training.strings import WORDS
from tools.training.tiles import look_up

LONGEST = 40
"""Most characters of a line."""

LONG, SHORT = (19, 40), (3, 9)
"""Characters of long lines of several words, and of the numbers on like plates."""

ALIKE = 0.13
"""Share of scenes that show a row of like plates, one number each."""

CURVED, TURN, RADIUS_LEAST = 0.09, (0.4, 4.5), 1.8
"""Share of lines on an arc, the angle in radians that they take of its circle, and its least radius in heights."""

PLATE = 0.45
"""How far paper or plate reaches beyond a line, in heights."""

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
class Texts:
    """Strings as arrays: codes (N, LONGEST) into CHARACTERS, whether figures only (N,), and rows of short numbers."""

    codes: Tensor
    plain: Tensor
    short: Tensor


def load_texts(stored: Path, count: int, seed: int) -> list[str]:
    """Return strings: numbers from a file of one a line, words, pairs of words, single letters, lines of many words."""
    rng = np.random.default_rng(seed)
    numbers = stored.read_text(encoding="utf-8").split("\n")

    def number() -> str:
        return numbers[int(rng.integers(len(numbers)))].strip()

    def word() -> str:
        return WORDS[int(rng.integers(len(WORDS)))]

    texts = []
    for roll in rng.random(count):
        if roll < 0.68:
            text = number()
        elif roll < 0.78:
            text = word()
        elif roll < 0.86:
            text = word() + " " + word()
        elif roll < 0.9:
            text = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"[int(rng.integers(26))]
        else:
            text, least = word(), int(rng.integers(*LONG))
            while len(text) < least:
                text += " " + (word() if rng.random() < 0.7 else number())
        if roll >= 0.68:
            text = text.title() if rng.random() < 0.3 else text.lower() if rng.random() < 0.1 else text
        texts.append(text[:LONGEST].strip())
    return [text for text in texts if text]


def make_texts(texts: Sequence[str], device: torch.device) -> Texts:
    """Turn strings into arrays. At least one must be a short number."""
    places = {c: k for k, c in enumerate(CHARACTERS)} | {" ": SPACE}
    codes = np.full((len(texts), LONGEST), NONE, np.int64)
    plain, short = np.zeros(len(texts), bool), []
    for row, text in enumerate(texts):
        codes[row, : len(text)] = [places[c] for c in text]
        plain[row] = all(c in "0123456789.-/ " for c in text)
        if SHORT[0] <= len(text) <= SHORT[1] and any(c.isdigit() for c in text):
            short.append(row)
    return Texts(*(torch.from_numpy(np.asarray(a)).to(device) for a in (codes, plain, short)))


def draw_lines(atlas: Atlas, texts: Texts, n: int, side: int) -> Lines:
    """Draw the lines of `n` scenes of `side` pixels and place them."""
    device = texts.codes.device
    rows = n * LINES
    shares = torch.tensor(SHARES, device=device)
    kind = torch.multinomial(shares.expand(n, -1), LINES, replacement=True)
    same = torch.rand(n, 1, device=device) < 0.5  # half of the scenes are marked in one way
    kind = torch.where(same, kind[:, :1], kind).flatten()
    alike = torch.rand(n, device=device) < ALIKE
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
    values["plate_u"] = values["plate_v"] = torch.full((rows,), PLATE, device=device)
    pick = torch.randint(0, len(texts.codes), (rows,), device=device)
    pick = torch.where(_first(alike, pick), texts.short[pick % len(texts.short)], pick)
    codes = texts.codes[pick]
    style = pick_styles(atlas, texts.plain[pick], torch.tensor(STYLES, device=device)[kind])
    codes, style, values = _make_alike(alike, codes, style, values)
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
    squeeze = torch.exp(torch.randn(rows, device=device) * 0.13).clamp(0.7, 1.5)
    curve = _curves((end - start) * squeeze, alike)
    lines = Lines(
        line,
        torch.zeros(rows, 2, device=device),
        torch.zeros(rows, device=device),
        torch.ones(rows, device=device),
        squeeze,
        start,
        end,
        torch.randn(rows, device=device) * 0.08,
        torch.where(bent & (curve == 0), uniform((rows,), -0.7, 0.7, device), torch.randn(rows, device=device) * 0.02),
        curve,
        torch.zeros(rows, dtype=torch.bool, device=device),
        figures.float(),
        alike,
        values,
    )
    place_lines(lines, some, side)
    return lines


def _first(alike: Tensor, rows: Tensor) -> Tensor:
    """Return which rows (N * LINES,) are the first line of a scene of like plates."""
    first = torch.arange(len(rows), device=rows.device) % LINES == 0
    return first & alike.repeat_interleave(LINES)


def _make_alike(
    alike: Tensor, codes: Tensor, style: Tensor, values: dict[str, Tensor]
) -> tuple[Tensor, Tensor, dict[str, Tensor]]:
    """Give all lines of scenes of like plates the first one's way of drawing, and its string with other figures."""
    chosen = alike.repeat_interleave(LINES)
    first = torch.arange(len(style), device=style.device) // LINES * LINES
    same = codes[first]
    change = (torch.rand(codes.shape, device=codes.device) < 0.35) & (same >= 0) & (same < 10)
    same = torch.where(change, torch.randint(0, 10, codes.shape, device=codes.device), same)
    codes, style = torch.where(chosen[:, None], same, codes), torch.where(chosen, style[first], style)
    return codes, style, {name: torch.where(chosen, v[first], v) for name, v in values.items()}


def _curves(length: Tensor, alike: Tensor) -> Tensor:
    """Return the curvature (R,) of lines of a length in heights, in 1 / heights; most are straight."""
    rows, device = len(length), length.device
    turn = torch.minimum(uniform((rows,), *TURN, device), length / RADIUS_LEAST)
    sign = torch.where(torch.rand(rows, device=device) < 0.65, 1.0, -1.0)
    curved = (torch.rand(rows, device=device) < CURVED) & (length > 2.5) & ~alike.repeat_interleave(LINES)
    return torch.where(curved, sign * turn / length.clamp_min(0.1), 0.0)


def stroke_distance(atlas: Atlas, line: Line, row: Tensor, u: Tensor, v: Tensor) -> Tensor:
    """Return distances (M,) in heights to the strokes of lines `row` (M,) at places u, v (M,)."""
    bounds = ((line.center[:, 1:] + line.center[:, :-1]) / 2).contiguous()
    count = bounds.shape[1]
    slot = torch.zeros_like(row)
    step = 1 << (count.bit_length() - 1)
    while step:  # binary search: the character whose share of the line u lies in
        further = slot + step
        after = u > bounds.view(-1)[row * count + further.clamp_max(count) - 1]
        slot = torch.where(after & (further <= count), further, slot)
        step //= 2
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
