"""Render whole scenes with their lines, a batch at once: lines -> ground -> light -> camera -> labels.

Each picture is shaded twice, with and without its marks. From the two, after blur and exposure, follows how well each
line can be seen; lines too faint, too small or mostly outside the picture are left out of the loss, neither line nor
background.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import torch
import torch.nn.functional as F  # noqa: N812 (the usual name)
from torch import Tensor

from tools.finding.ground import Dice, Ground, Lamp, add_clutter, light, make_cover, make_ground, texture
from tools.finding.lines import BAND, DRAWN_IN, KINDS, REACH, draw_lines, load_texts, make_texts, stroke_distance
from tools.finding.model import STRIDE
from tools.finding.places import LINES, Lines, View, line_quads, make_view, places_in_line, points_on_lines
from tools.training.camera import add_noise, compress, expose, noise_level, sharpen
from tools.training.layout import Atlas, load_atlas, uniform
from tools.training.tiles import blur, make_bank

SIDE = 512
"""Side of a scene in pixels."""

SEEN = 0.6
"""Strength of a line's marks over texture and noise from which it is taught; below, it is left out."""

LEAST_PX = 9.0
"""Least height of figures that are taught."""

SHOWN = 0.65
"""Least share of a line inside the picture for it to be taught."""

FLOOR = 1.0
"""Gray levels (of 255) of detail that are not noticed even on an even ground."""


@dataclass
class Batch:
    """Pictures and labels of a batch.

    `gray` (N, S, S) uint8. At a quarter of the size (N, s, s): `kernel` int8, the line whose kernel a cell lies in (-1
    for none), `counts`, whether the cell counts, `edge`, whether it lies in a line's box, and `turn`, by how many
    radians the direction of reading there is off the line's (curved lines). Of each line (N, LINES): `state` (0 absent,
    1 taught, 2 left out), `angle` in radians, `height` in pixels, `figures`, whether it has any, `straight`, whether it
    is nearly so, `seen`, how well it is seen; its `quads`.
    """

    gray: Tensor
    kernel: Tensor
    counts: Tensor
    edge: Tensor
    turn: Tensor
    state: Tensor
    angle: Tensor
    height: Tensor
    figures: Tensor
    straight: Tensor
    seen: Tensor
    quads: Tensor


@dataclass
class Marks:
    """The lines drawn onto the pixels, all (N, S, S): distance to strokes in heights, row of the line (-1 for none).

    Also `label`, 1 where paper lies under a line; kernels and boxes by cell, LINES for none; and in kernels `turn`, by
    how much reading is turned from the line's direction.
    """

    distance: Tensor
    row: Tensor
    label: Tensor
    kernel: Tensor
    box: Tensor
    turn: Tensor


class SceneRenderer:
    """Draws batches. `held` renders held-out styles (for validation) instead of the others."""

    def __init__(
        self,
        pack: Path,
        device: torch.device,
        *,
        seed: int,
        strings: int = 200_000,
        held: bool = False,
        most_styles: int | None = None,
        side: int = SIDE,
    ) -> None:
        torch.manual_seed(seed)
        self.device, self.side = device, side
        self.atlas: Atlas = load_atlas(pack / "glyphs.npz", device, held=held, most=most_styles)
        self.texts = make_texts(load_texts(pack / "strings.txt", strings, seed), device)
        self.bank = make_bank(pack / "textures", seed).to(device)

    @torch.no_grad()
    def render(self, n: int) -> Batch:
        """Return one batch of `n` scenes."""
        lines = draw_lines(self.atlas, self.texts, n, self.side)
        view = make_view(n, self.side, self.device)
        marks = _draw_marks(self.atlas, lines, view)
        dice = Dice(n, self.side, self.device)
        ground = add_clutter(make_ground(self.bank, dice), dice)
        ground = _lay_labels(ground, marks, dice)
        lamp, cover = Lamp.draw(dice), make_cover(dice)
        height, albedo = self._with_marks(lines, marks, ground, dice)
        pair = [light(lamp, dice, ground, h, a) for h, a in ((height, albedo), (ground.height, ground.albedo))]
        pair = [torch.lerp(p * cover.tint, cover.over, cover.cover) for p in pair]
        gray, clean, added = _photograph(torch.stack(pair))
        return self._label(lines, marks, view, gray, _visibility(clean, added, marks, lines))

    def _with_marks(self, lines: Lines, marks: Marks, ground: Ground, dice: Dice) -> tuple[Tensor, Tensor]:
        """Return height and albedo of the surface with its marks."""
        row = marks.row.clamp_min(0)

        def p(name: str) -> Tensor:
            return lines.values[name][row]

        here = (marks.row >= 0).float()
        size = lines.height[row]
        worn = texture(self.bank, dice, dice.r(0, 6.3), (0.8, 5.0))
        ragged = texture(self.bank[:8], dice, dice.r(0, 6.3), (1.0, 5.0))
        speck = torch.randn_like(worn)
        d = marks.distance + p("weight") + p("edge") * ragged
        soft = torch.sigmoid(-d / p("bevel") * 2.5)
        burr = p("burr") * torch.exp(-(((d - 0.06) / 0.05) ** 2))
        pressed = (1 + 0.35 * dice.r(0, 1) * texture(self.bank[:12], dice, dice.r(0, 6.3), (0.1, 0.6))).clamp(0.25, 2)
        relief = p("depth") * pressed * (size / 30) * (soft * (1 - 0.35 * p("drop") * torch.sigmoid(3 * worn)) - burr)
        chalk = (lines.values["kind"] == KINDS.index("chalked"))[row]
        cover = torch.sigmoid(-d * size * torch.where(chalk, 1.3, 2.5))
        tooth = torch.where(chalk, 0.7 * worn + 0.4 * speck, worn)
        missing = torch.sigmoid((tooth - 1.6 + 2.6 * p("drop")) * 4) * (p("drop") > 0.05)
        cover = cover * (1 - missing) * p("ink") * here
        bright = 0.8 + 0.3 * dice.r(0, 1)
        paint = torch.where(p("bright") > 0.5, bright, 0.4 * ground.albedo * (1 - p("ink")) + 0.02)
        return ground.height + relief * here, torch.lerp(ground.albedo, paint, cover)

    def _label(self, lines: Lines, marks: Marks, view: View, gray: Tensor, seen: Tensor) -> Batch:
        """Choose which lines are taught, and mark the cells that count."""
        n = len(gray)
        quads = line_quads(lines, view)
        along = torch.linspace(-0.48, 0.48, 25, device=self.device)
        along = points_on_lines(lines, view, along, torch.zeros_like(along))
        middle = (quads[:, :, (1, 2)] - quads[:, :, (0, 3)]).mean(2)
        high = (quads[:, :, (3, 2)] - quads[:, :, (0, 1)]).norm(dim=3).mean(2)
        present = lines.present.view(n, LINES)
        inside = ((along > 1) & (along < self.side - 2)).all(3).float().mean(2)
        gone = present & (inside == 0)
        taught = present & (inside > SHOWN) & (seen > SEEN) & (high > LEAST_PX)
        state = torch.where(taught, 1, torch.where(present & ~gone, 2, 0))
        by_cell = torch.cat([state, torch.zeros(n, 1, dtype=state.dtype, device=self.device)], 1)
        flat = by_cell.gather(1, (marks.box.long() % (LINES + 1)).flatten(1)).view_as(marks.box)
        counts = flat != 2
        own = by_cell.gather(1, (marks.kernel.long() % (LINES + 1)).flatten(1)).view_as(marks.kernel)
        kernel = torch.where(own == 1, marks.kernel, torch.full_like(marks.kernel, -1))
        kernel = torch.where(kernel == LINES, torch.full_like(kernel, -1), kernel)
        angle = torch.atan2(middle[..., 1], middle[..., 0])
        return Batch(
            gray.round().to(torch.uint8),
            kernel,
            counts,
            marks.box < LINES,
            marks.turn,
            state,
            angle,
            high,
            lines.figures.view(n, LINES),
            lines.straight().view(n, LINES),
            seen,
            quads,
        )


def _draw_marks(atlas: Atlas, lines: Lines, view: View) -> Marks:
    """Draw every line's distances, paper under it, kernel and box."""
    n, side = view.x.shape[0], view.x.shape[1]
    device = view.x.device
    far = torch.full((n, side, side), 9.0, device=device)
    nearest = torch.full((n, side, side), 999.0, device=device)
    row = torch.full((n, side, side), -1, dtype=torch.int32, device=device)
    label = torch.zeros(n, side, side, device=device)
    cells = view.cells(STRIDE)
    kernel = torch.full(cells.x.shape, LINES, dtype=torch.int8, device=device)
    box, turn = torch.full_like(kernel, LINES), torch.zeros_like(cells.x)
    for k in range(LINES):

        def c(value: Tensor, k: int = k) -> Tensor:
            return value.view(n, LINES)[:, k, None, None]

        u, v, _ = places_in_line(lines, view, k)
        start, end, squeeze = c(lines.start), c(lines.end), c(lines.squeeze)
        ahead = torch.maximum(start - u, u - end) * squeeze
        off = (v - 0.5).abs() - 0.5
        near = c(lines.present) & (ahead < REACH) & (off < REACH)
        beyond = torch.maximum(ahead - c(lines.values["plate_u"]), off - c(lines.values["plate_v"]))
        plate = c(lines.present) * c(lines.values["label"]) * torch.sigmoid(-beyond * c(lines.height) * 1.5)
        label = torch.maximum(label, plate)
        flat = torch.nonzero(near.flatten())[:, 0]
        rows = (flat // (side * side)) * LINES + k
        found = stroke_distance(atlas, lines.line, rows, u.flatten()[flat], v.flatten()[flat])
        pixels = found * lines.height[rows]
        closer = pixels < nearest.view(-1)[flat]
        nearest.view(-1)[flat] = torch.where(closer, pixels, nearest.view(-1)[flat])
        far.view(-1)[flat] = torch.where(closer, found, far.view(-1)[flat])
        row.view(-1)[flat] = torch.where(closer, rows.int(), row.view(-1)[flat])
        uc, vc, turned = places_in_line(lines, cells, k)
        inward = torch.minimum(torch.full_like(start, DRAWN_IN), 0.3 * (end - start) * squeeze) / squeeze
        core = c(lines.present) & ((vc - 0.5).abs() < BAND) & (uc > start + inward) & (uc < end - inward)
        kernel, turn = torch.where(core, k, kernel), torch.where(core, turned, turn)
        around = c(lines.present) & ((vc - 0.5).abs() < 0.65) & (uc > start - 0.3) & (uc < end + 0.3)
        box = torch.where(around & (box == LINES), k, box)
    return Marks(far, row, label, kernel.to(torch.int8), box.to(torch.int8), turn)


def _lay_labels(ground: Ground, marks: Marks, dice: Dice) -> Ground:
    """Lay paper, a plate or a painted patch under the lines that have one."""
    level = torch.where(dice.r(0, 1) < 0.75, dice.r(0.5, 1.0), dice.r(0.02, 0.5))
    dirt = torch.exp(dice.r(0, 0.2) * torch.randn_like(marks.label))
    return Ground(
        torch.lerp(ground.albedo, level * dirt, marks.label),
        ground.height * (1 - 0.8 * marks.label) + dice.r(0, 2) * marks.label,
        ground.gloss * (1 - marks.label),
        ground.mirror * (1 - marks.label),
    )


def _photograph(pair: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Turn brightness (2, N, S, S) with and without marks into gray levels.

    Returned are the picture (N, S, S), both before noise (2, N, S, S), and what noise, sharpening and file added.
    """
    n, device = pair.shape[1], pair.device
    focus = torch.exp(uniform((n,), math.log(0.3), math.log(1.3), device))
    focus = torch.where(torch.rand(n, device=device) < 0.2, uniform((n,), 1.0, 3.0, device), focus)
    moved = uniform((n,), 0.5, 3.0, device) * (torch.rand(n, device=device) < 0.1)
    across = torch.rand(n, device=device) < 0.5
    wide = torch.sqrt(focus**2 + torch.where(across, moved, 0.0) ** 2)
    high = torch.sqrt(focus**2 + torch.where(across, 0.0, moved) ** 2)
    clean = expose(torch.stack([blur(p, wide, high, 8) for p in pair]))
    gray = clean[0]
    if torch.rand(()) < 0.4:  # a picture once smaller, as the upscaled ones the reader meets
        factor = float(torch.rand(())) * 0.5 + 0.45
        small = F.interpolate(gray[:, None], scale_factor=factor, mode="bilinear", antialias=True)
        small = add_noise_any(small[:, 0], noise_level(n, device) * 0.7)
        gray = F.interpolate(small[:, None], size=gray.shape[1:], mode="bicubic", align_corners=False)[:, 0]
    gray = compress(sharpen(add_noise(gray, noise_level(n, device) * 0.5)).clamp(0, 255)).clamp(0, 255)
    return gray, clean, gray - clean[0]


def add_noise_any(gray: Tensor, level: Tensor) -> Tensor:
    """Add even noise to pictures of any size."""
    return gray + level[:, None, None] * torch.randn_like(gray)


def _visibility(clean: Tensor, added: Tensor, marks: Marks, lines: Lines) -> Tensor:
    """Return (N, LINES): how strong each line's marks are over what else is there, in the band that tells figures.

    Bands are differences of Gaussians at octaves; each line is measured at the octave of its height. The measure is the
    square root of the energy that the marks add over that of texture, noise and a floor (as in
    tools/training/visibility.py).
    """
    n = clean.shape[1]
    device = clean.device
    signal, rest, row = clean[0] - clean[1], clean[1] + added, marks.row.long()
    octave = torch.log2(lines.height / 12).floor().clamp(0, 3).view(n, LINES)
    seen = torch.zeros(n, LINES, device=device)
    wide, narrow = torch.full((n,), 2.4, device=device), torch.full((n,), 0.9, device=device)
    for level in range(4):
        energies = [(blur(p, narrow, narrow) - blur(p, wide, wide, 8)) ** 2 for p in (signal, rest)]
        own = torch.where((row >= 0) & marks_near(marks, 2**level), row % LINES, -1)
        strength = torch.zeros(n, LINES, device=device)
        for k in range(LINES):
            mask = (own == k).float()
            count = mask.sum((1, 2)).clamp_min(1)
            means = [(e * mask).sum((1, 2)) / count for e in energies]
            strength[:, k] = torch.sqrt(means[0] / (means[1] + FLOOR**2))
        seen = torch.where(octave == level, strength, seen)
        signal, rest = F.avg_pool2d(signal[:, None], 2)[:, 0], F.avg_pool2d(rest[:, None], 2)[:, 0]
        row = row[:, ::2, ::2]
    return seen


def marks_near(marks: Marks, step: int) -> Tensor:
    """Return which pixels, every `step`-th, lie within a quarter height of a stroke."""
    return marks.distance[:, ::step, ::step] < 0.25
