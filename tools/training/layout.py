"""Where the strokes are: strings set in styles, placed in crops, as a signed distance to the nearest stroke edge.

A crop holds its main line, up to two further lines above and below, and pieces of neighbors cut by the crop's edge. All
of a batch is set at once on the GPU: each pixel finds its place along the line, looks up the glyphs around it and keeps
the nearest. Distances are in figure heights, negative inside strokes.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
import torch
from torch import Tensor

from tools.training.glyphs import CELL_PX, CHARACTERS, GROUPS, UNIT_PX
from tools.training.strings import LONGEST, READ, random_string, read_as
from tools.training.tiles import look_up

HEIGHT = 48
"""Height of a crop in pixels."""

CELL = 64
"""Side of a distance cell in the atlas; one figure height is CELL * UNIT_PX / CELL_PX of it."""

UNIT = CELL * UNIT_PX / CELL_PX
FAR = 9.0
"""A distance where no stroke is near, in figure heights."""

SPACE, NONE = -1, -2
"""Codes of a blank and of nothing."""

LENGTHS = {48: (1, 3), 64: (1, 4), 96: (1, 8), 160: (1, 9), 224: (3, 11), 320: (5, 18), 448: (8, 18)}
"""Widths of batches in pixels and the lengths of the strings in them."""


@dataclass
class Atlas:
    """Distance cells (M, CELL, CELL) float16 in figure heights, half widths (M,), and each style's table of cells."""

    cells: Tensor
    half: Tensor
    tables: Tensor
    groups: Tensor
    styles: dict[str, Tensor]


def load_atlas(path: Path, device: torch.device, *, held: bool, most: int | None = None) -> Atlas:
    """Turn a glyph pack into distances. `held` picks the held-out styles; `most` limits the styles, for tests."""
    pack = np.load(path)
    chosen = np.flatnonzero(pack["held"] == held)
    if most is not None:
        chosen = np.random.default_rng(0).permutation(chosen)[:most]
    full = chosen[(pack["tables"][chosen][:, :36] >= 0).all((1, 2))]
    tables = pack["tables"][chosen]
    used, inverse = np.unique(tables, return_inverse=True)
    tables = inverse.reshape(tables.shape) - (1 if used[0] < 0 else 0)
    used = used[used >= 0]
    with ThreadPoolExecutor() as pool:
        found = list(pool.map(_distance, pack["bits"][used], chunksize=256))
    cells = torch.from_numpy(np.stack([f[0] for f in found])).to(device)
    half = torch.tensor([f[1] for f in found], device=device)
    groups = torch.from_numpy(pack["groups"][chosen].astype(np.int64)).to(device)
    lettered = torch.from_numpy(np.isin(chosen, full)).to(device)
    styles = {g: torch.nonzero(groups == k)[:, 0] for k, g in enumerate(GROUPS)}
    styles["lettered"] = torch.nonzero(lettered & (groups != GROUPS.index("segment")))[:, 0]
    return Atlas(cells, half, torch.from_numpy(tables.astype(np.int64)).to(device), groups, styles)


def _distance(bits: np.ndarray) -> tuple[np.ndarray, float]:
    """Return one mask's signed distance cell and the half width of its ink, both in figure heights."""
    mask = np.unpackbits(bits).reshape(CELL_PX, CELL_PX)
    outside = cv2.distanceTransform(1 - mask, cv2.DIST_L2, 5)
    inside = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
    signed = cv2.resize((outside - inside) / UNIT_PX, (CELL, CELL), interpolation=cv2.INTER_AREA)
    columns = np.flatnonzero(mask.any(0))
    return signed.astype(np.float16), float(columns[-1] + 1 - columns[0]) / 2 / UNIT_PX


@dataclass
class Pool:
    """Many strings as arrays: codes (N, LONGEST) into CHARACTERS, lengths (N,), whether figures only (N,), labels."""

    codes: Tensor
    lengths: Tensor
    plain: Tensor
    labels: Tensor
    label_lengths: Tensor
    by_width: dict[int, Tensor]


def draw_strings(count: int, seed: int) -> list[str]:
    """Draw `count` strings; the slow part of a pool."""
    rng = np.random.default_rng(seed)
    return [random_string(rng) for _ in range(count)]


def make_pool(texts: Sequence[str], device: torch.device) -> Pool:
    """Turn strings into arrays."""
    count = len(texts)
    codes = np.full((count, LONGEST), NONE, np.int64)
    labels = np.zeros((count, LONGEST), np.int64)
    lengths, plain, sizes = np.zeros(count, np.int64), np.zeros(count, bool), np.zeros(count, np.int64)
    for row, text in enumerate(texts):
        codes[row, : len(text)] = [SPACE if c == " " else CHARACTERS.index(c) for c in text]
        label = read_as(text)
        labels[row, : len(label)] = [READ.index(c) + 1 for c in label]
        lengths[row], sizes[row] = len(text), len(label)
        plain[row] = all(c in "0123456789.-/ " for c in text)
    by_width = {w: np.flatnonzero((lengths >= low) & (lengths <= high)) for w, (low, high) in LENGTHS.items()}

    def send(array: np.ndarray) -> Tensor:
        return torch.from_numpy(array).to(device)

    return Pool(
        send(codes), send(lengths), send(plain), send(labels), send(sizes), {w: send(a) for w, a in by_width.items()}
    )


@dataclass
class Line:
    """One set line a crop: cells, half widths, centers, sizes, drops, tilts, all (N, K); centers in figure heights."""

    cell: Tensor
    half: Tensor
    center: Tensor
    size: Tensor
    drop: Tensor
    cos: Tensor
    sin: Tensor
    length: Tensor


def uniform(n: tuple[int, ...], low: float, high: float, device: torch.device) -> Tensor:
    """Return random values of a shape between two limits."""
    return torch.rand(n, device=device) * (high - low) + low


def set_line(atlas: Atlas, codes: Tensor, style: Tensor, loose: Tensor) -> Line:
    """Set codes (N, K) in styles (N,); `loose` (N,) 0 to 1 is how unsteady the hand is. Centers start at 0."""
    n, k = codes.shape
    device = codes.device
    drawn = codes >= 0
    variant = torch.randint(0, atlas.tables.shape[2], (n, k), device=device)
    cell = atlas.tables[style[:, None], codes.clamp_min(0), variant]
    spare = atlas.styles["lettered"][torch.randint(0, len(atlas.styles["lettered"]), (n, 1), device=device)]
    cell = torch.where(cell < 0, atlas.tables[spare, codes.clamp_min(0), variant], cell)
    cell = torch.where(drawn & (cell >= 0), cell, -1)
    half = torch.where(cell >= 0, atlas.half[cell.clamp_min(0)], 0.0)
    size = 1 + loose[:, None] * torch.randn(n, k, device=device) * 0.07
    raised = codes == CHARACTERS.index("o")
    size = torch.where(raised & (torch.rand(n, 1, device=device) < 0.5), size * 0.75, size)
    gap = uniform((n, 1), 0.04, 0.32, device) + (torch.rand(n, 1, device=device) < 0.12) * uniform(
        (n, 1), 0.2, 0.9, device
    )
    gap = torch.where(
        (loose[:, None] > 0.5) & (torch.rand(n, 1, device=device) < 0.4), uniform((n, 1), -0.1, 0.1, device), gap
    )
    spread = gap * torch.clamp(1 + 0.35 * loose[:, None] * torch.randn(n, k, device=device), 0.2, 2.5)
    advance = 2 * half * size + spread
    pitch = (2 * half * drawn).amax(1, keepdim=True) * uniform((n, 1), 0.85, 1.1, device) + gap
    fixed = torch.rand(n, 1, device=device) < 0.4
    advance = torch.where(
        fixed & (half > 0.07), pitch * (1 + 0.05 * loose[:, None] * torch.randn(n, k, device=device)), advance
    )
    blank = torch.maximum(gap * 1.2, torch.full_like(gap, 0.1)) + uniform((n, 1), 0.35, 0.9, device)
    advance = torch.where(codes == SPACE, blank, advance)
    advance = torch.where(codes == NONE, 0.0, advance)
    center = torch.cumsum(advance, 1) - advance / 2
    tilt = loose[:, None] * torch.randn(n, k, device=device) * 0.1
    drop = loose[:, None] * torch.randn(n, k, device=device) * 0.07
    return Line(cell, half, center, size, drop, torch.cos(tilt), torch.sin(tilt), advance.sum(1))


def turn_wheels(atlas: Atlas, line: Line, codes: Tensor, style: Tensor, step: int) -> Line:
    """Return the line whose figures stand `step` places further on the wheels, in the same places."""
    figures = (codes >= 0) & (codes < 10)
    cell = atlas.tables[style[:, None], ((codes + step) % 10).clamp_min(0), 0]
    cell = torch.where(figures, cell, -1)
    return replace(line, cell=cell, half=torch.where(cell >= 0, atlas.half[cell.clamp_min(0)], 0.0))


def pick_styles(atlas: Atlas, plain: Tensor, shares: Tensor) -> Tensor:
    """Return a style for each string: a group by `shares` (N, groups) where figures only, else a style with letters."""
    n, device = len(plain), plain.device
    group = torch.multinomial(shares, 1)[:, 0]
    style = torch.zeros(n, dtype=torch.long, device=device)
    for k, name in enumerate(GROUPS):
        own = atlas.styles[name] if len(atlas.styles[name]) else atlas.styles["lettered"]
        style = torch.where(group == k, own[torch.randint(0, len(own), (n,), device=device)], style)
    lettered = atlas.styles["lettered"][torch.randint(0, len(atlas.styles["lettered"]), (n,), device=device)]
    return torch.where(plain, style, lettered)


def line_distance(atlas: Atlas, line: Line, u: Tensor, v: Tensor, reach: int) -> Tensor:
    """Return (N, P) distances to the line's strokes at places u, v (N, P), looking at 2 * reach + 1 glyphs around."""
    bounds = ((line.center[:, 1:] + line.center[:, :-1]) / 2).contiguous()
    slot = torch.searchsorted(bounds, u.contiguous())
    best = torch.full_like(u, FAR)
    for step in range(-reach, reach + 1):
        at = (slot + step).clamp(0, line.cell.shape[1] - 1)
        cell = line.cell.gather(1, at)
        du = (u - line.center.gather(1, at)) / line.size.gather(1, at)
        dv = (v - 0.5 - line.drop.gather(1, at)) / line.size.gather(1, at)
        cos, sin = line.cos.gather(1, at), line.sin.gather(1, at)
        x = (du * cos + dv * sin) * UNIT + (CELL - 1) / 2
        y = (dv * cos - du * sin) * UNIT + (CELL - 1) / 2
        near = (cell >= 0) & (x > 0) & (x < CELL - 1) & (y > 0) & (y < CELL - 1)
        found = look_up(atlas.cells, cell.clamp_min(0), x, y, wrap=False) * line.size.gather(1, at)
        best = torch.where(near, torch.minimum(best, found), best)
    return best
