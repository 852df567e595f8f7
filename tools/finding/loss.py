"""What the region network is punished for, and the network's input.

Lines count alike, whatever their size. Kernels: cross entropy with hard negatives weighted up (in the manner of
Shrivastava et al. 2016, but softly) and the dice loss (Milletari et al. 2016); axis and log height: absolute error
inside kernels.
"""

from __future__ import annotations

import math
from dataclasses import replace

import torch
import torch.nn.functional as F  # noqa: N812 (the usual name)
from torch import Tensor

from tools.finding.model import HEIGHT_UNIT
from tools.finding.places import LINES
from tools.finding.scenes import Batch

LOCAL_PX = 31
"""Side of the window of the locally normalized channel, in input pixels."""

LOCAL_FLOOR = 4.0
"""Gray levels (of 255) of deviation under which the local channel is not stretched further."""

EDGE = 1.0
"""How much more a ground cell close around a line weighs than one elsewhere: kernels stay thin and lines apart."""

EASY = 0.003
"""Weight of a background cell that the network is sure of; a cell that it takes for a line weighs 1."""


def normalize(gray: Tensor) -> Tensor:
    """Return (N, 2, H, W): gray levels by the picture's mean and deviation, and by those around each pixel."""
    mean = gray.mean((1, 2), keepdim=True)
    deviation = gray.std((1, 2), keepdim=True, correction=0)
    whole = ((gray - mean) / (deviation + 2.0)).clamp(-4, 4)
    pad = LOCAL_PX // 2
    padded = F.pad(gray[:, None], (pad, pad, pad, pad), mode="reflect")
    near = _window_mean(padded)
    square = _window_mean((padded - mean[:, None]) ** 2) - (near - mean) ** 2
    local = ((gray - near) / torch.sqrt(square.clamp_min(0) + LOCAL_FLOOR**2)).clamp(-4, 4)
    return torch.stack([whole, local], 1)


def _window_mean(padded: Tensor) -> Tensor:
    """Return the mean of the window around each pixel of (N, 1, H + LOCAL_PX - 1, W + LOCAL_PX - 1)."""
    return F.avg_pool2d(F.avg_pool2d(padded, (1, LOCAL_PX), 1), (LOCAL_PX, 1), 1)[:, 0]


def turn_batch(batch: Batch, quarters: int) -> Batch:
    """Turn pictures and labels by quarter turns, counterclockwise as seen. Quads are left out (zeros)."""
    names = ("gray", "kernel", "counts", "edge", "turn")
    turned = {name: torch.rot90(getattr(batch, name), quarters, (1, 2)) for name in names}
    angle = batch.angle - quarters * math.pi / 2
    return replace(batch, **turned, angle=angle, quads=torch.zeros_like(batch.quads))


def vary(gray: Tensor) -> Tensor:
    """Change pictures (N, H, W) uint8 or float32 cheaply: polarity, contrast, gain at one side, noise."""
    n, rows, columns = gray.shape
    device = gray.device

    def r(low: float, high: float) -> Tensor:
        return torch.rand(n, 1, 1, device=device) * (high - low) + low

    x = gray.float()
    x = torch.where(r(0, 1) < 0.4, 255 - x, x)
    across, down = (torch.linspace(-1, 1, size, device=device) for size in (columns, rows))
    x = x * (1 + r(-0.4, 0.4) * (r(0, 1) < 0.4) * across[None, None])
    x = x * (1 + r(-0.4, 0.4) * (r(0, 1) < 0.4) * down[None, :, None])
    x = torch.where(r(0, 1) < 0.2, 128 + (x - 128) * r(0.25, 0.9), x)
    return (x + torch.randn_like(x) * r(0, 2.5)).clamp(0, 255)


def region_loss(planes: Tensor, batch: Batch, ground_weight: float = 1.0) -> tuple[Tensor, dict[str, Tensor]]:
    """Return the loss of planes (N, 5, s, s) float32, and its parts; ground counts `ground_weight` times."""
    n = len(planes)
    logit = planes[:, 0]
    inside = batch.kernel >= 0
    line = (torch.arange(n, device=logit.device)[:, None, None] * LINES + batch.kernel.clamp_min(0)).long()
    area = torch.zeros(n * LINES, device=logit.device).scatter_add(0, line.flatten(), inside.float().flatten())
    share = inside / area.clamp_min(1)[line]  # of each line sums to 1
    count = (area > 0).sum().clamp_min(1)
    each = F.binary_cross_entropy_with_logits(logit, inside.float(), reduction="none")
    probability = torch.sigmoid(logit)
    ground = batch.counts & ~inside
    weight = ground * (probability.detach() + EASY) * (1 + EDGE * batch.edge)
    hard = (weight * each).sum() / weight.sum().clamp_min(1)
    parts = {"line": (share * each).sum() / count, "ground": ground_weight * hard}
    counted = batch.counts.float()
    both = (probability * inside * counted).sum((1, 2))
    total = ((probability**2 + inside.float()) * counted).sum((1, 2))
    lined = inside.any(2).any(1)
    parts["dice"] = ((1 - (2 * both + 1) / (total + 1)) * lined).sum() / lined.sum().clamp_min(1)
    angle, height, figures = (value.flatten()[line] for value in (batch.angle, batch.height, batch.figures))
    angle = angle + batch.turn
    axis = (planes[:, 1] - torch.cos(2 * angle)).abs() + (planes[:, 2] - torch.sin(2 * angle)).abs()
    parts["axis"] = 0.35 * (share * axis).sum() / count
    parts["height"] = (share * (planes[:, 3] - torch.log(height / HEIGHT_UNIT)).abs()).sum() / count
    told = F.binary_cross_entropy_with_logits(planes[:, 4], figures.float(), reduction="none")
    parts["figures"] = 0.2 * (share * told).sum() / count
    return torch.stack(list(parts.values())).sum(), {name: part.detach() for name, part in parts.items()}


@torch.no_grad()
def measure(planes: Tensor, batch: Batch) -> dict[str, float]:
    """Return how well planes (N, 5, s, s) tell lines from ground, and how well the lines are described.

    `found`: share of taught lines of whose kernel at least half the cells are found. `false`: share of found cells that
    lie on ground. Shares of the found lines: `turned` with an axis off by more than 15 degrees, `tall` whose height is
    off by more than a fifth, `figures` told rightly from words.
    """
    n = len(planes)
    inside, hit = batch.kernel >= 0, (planes[:, 0] > 0) & batch.counts
    line = (torch.arange(n, device=planes.device)[:, None, None] * LINES + batch.kernel.clamp_min(0)).long().flatten()

    def per_line(value: Tensor) -> Tensor:
        return torch.zeros(n * LINES, device=planes.device).scatter_add(0, line, (value * inside).flatten().float())

    area = per_line(torch.ones_like(planes[:, 0]))
    some = area > 0
    found = some & (per_line(hit) >= 0.5 * area)
    truth = batch.angle.flatten()[line].view_as(batch.turn) + batch.turn
    cos, sin = torch.cos(2 * truth), torch.sin(2 * truth)
    across, along = planes[:, 2] * cos - planes[:, 1] * sin, planes[:, 1] * cos + planes[:, 2] * sin
    off = torch.atan2(per_line(across), per_line(along))
    height = per_line(planes[:, 3]) / area.clamp_min(1) - torch.log(batch.height.flatten() / HEIGHT_UNIT)
    many = found.sum().clamp_min(1)
    figures = ((per_line(planes[:, 4]) > 0) == (batch.figures.flatten() > 0.5)) & found
    return {
        "found": float(found.sum() / some.sum().clamp_min(1)),
        "false": float((hit & ~inside).sum() / hit.sum().clamp_min(1)),
        "turned": float((found & (off.abs() > math.radians(30))).sum() / many),
        "tall": float((found & (height.abs() > math.log(1.2))).sum() / many),
        "figures": float(figures.sum() / many),
    }
