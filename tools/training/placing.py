"""Where a line stands in its crop and how steadily: size, room, slant, bend, turned wheels, bold and double strikes."""

from __future__ import annotations

import torch
from torch import Tensor

from tools.training import surface
from tools.training.layout import HEIGHT, Line, uniform

SMALLEST_PX = 8.0
"""Least height of figures in a crop, in pixels."""

CUT_SHARE, MOST_CUT = 0.08, 0.25
"""Share of lines whose first or last character the crop's edge cuts, and the most of its width that is lost."""


def roll_wheels(line: Line, wheels: Tensor) -> None:
    """Turn wheels a little out of line, the last one by up to half a figure."""
    n, k = line.drop.shape
    device = line.drop.device
    drop = torch.randn(n, k, device=device) * uniform((n, 1), 0, 0.09, device)
    last = (line.cell >= 0).sum(1, keepdim=True) - 1
    turned = (torch.arange(k, device=device)[None] == last) & (torch.rand(n, 1, device=device) < 0.35)
    drop = torch.where(turned, uniform((n, 1), -0.5, 0.5, device), drop)
    line.drop = torch.where(wheels[:, None], drop, line.drop)


def strike_twice(distance: Tensor, punched: Tensor) -> Tensor:
    """Let some punches bounce: the strokes show a second time, shallower and one to three pixels beside."""
    device = distance.device
    dy, dx = (int(v) for v in torch.randint(-3, 4, (2,)))
    twice = punched & (torch.rand(len(punched), device=device) < 0.1)
    again = torch.roll(distance, (dy, dx), (1, 2)) + uniform((len(punched), 1, 1), 0.01, 0.06, device)
    return torch.where(twice[:, None, None], torch.minimum(distance, again), distance)


def fatten(values: dict[str, Tensor], lengths: Tensor) -> None:
    """Make a fifth of the short strings bold, by up to 0.07 of a figure's height on both sides of each stroke.

    Of lone characters two in five are bold, by up to 0.1.
    """
    device = lengths.device
    lone = lengths == 1
    bold = (lengths <= 2) & (torch.rand(len(lengths), device=device) < torch.where(lone, 0.4, 0.2))
    more = uniform(lengths.shape, 0.0, 1.0, device) * torch.where(lone, 0.1, 0.07)
    values["weight"] = torch.where(bold, values["weight"] - more, values["weight"])


def place_lines(main: Line, width: int, device: torch.device) -> dict[str, Tensor]:
    """Choose how large each string is and where in its crop: figure height in pixels and the line's origin."""
    n = len(main.length)
    loose = torch.rand(n, device=device)
    far = loose > 0.79
    tight = torch.where(
        loose < 0.5,
        uniform((n,), 0.0, 0.55, device),
        torch.where(
            loose < 0.71,
            uniform((n,), 0.3, 1.2, device),
            torch.where(far, uniform((n,), 0.7, 2.1, device), uniform((n,), -0.1, 0.05, device)),
        ),
    )
    above, below = tight * uniform((n,), 0.5, 1.5, device), tight * uniform((n,), 0.5, 1.5, device)
    figure = (HEIGHT / (1 + above + below)).clamp_max(46)
    room = torch.where(
        torch.rand(n, device=device) < 0.7, uniform((n,), 0.0, 0.8, device), uniform((n,), -0.08, 2.5, device)
    )
    room = torch.where(far, uniform((n,), 0.3, 5.0, device), room)
    fits = width / (main.length + room)
    squeeze = torch.exp(torch.randn(n, device=device) * 0.22).clamp(0.6, 1.9)
    squeeze = torch.minimum(squeeze, fits / figure)
    squeeze = torch.maximum(squeeze, torch.tensor(0.55, device=device))
    figure = torch.minimum(figure, fits / squeeze).clamp_min(SMALLEST_PX)
    span = width / (figure * squeeze)
    spare = span - main.length
    lead = torch.where(
        spare < 0,
        spare / 2,
        spare
        * torch.where(
            torch.rand(n, device=device) < 0.6, uniform((n,), 0.3, 0.7, device), uniform((n,), 0.05, 0.95, device)
        ),
    )
    lead = torch.where(spare > 0, _cut_ends(main, lead, spare), lead)
    rows = HEIGHT / figure
    extra = rows - 1
    up = extra * torch.where(
        torch.rand(n, device=device) < 0.65, uniform((n,), 0.35, 0.65, device), uniform((n,), 0.1, 0.9, device)
    )
    up = torch.where(extra < 0, extra * 0.5, up)
    return {"figure": figure, "squeeze": squeeze, "left": -lead, "right": -lead + span, "up": up, "far": far}


def _cut_ends(main: Line, lead: Tensor, spare: Tensor) -> Tensor:
    """Move CUT_SHARE of the lines so that the crop's edge cuts their first or last character a little."""
    n, device = len(lead), lead.device
    last = ((main.cell >= 0) * torch.arange(main.cell.shape[1], device=device)).amax(1, keepdim=True)
    lost = uniform((n,), 0.03, MOST_CUT, device) * 2
    first_edge = main.center[:, 0] - main.half[:, 0] * (1 - lost)
    last_half, last_center = main.half.gather(1, last)[:, 0], main.center.gather(1, last)[:, 0]
    last_edge = last_center + last_half * (1 - lost)
    roll = torch.rand(n, device=device)
    lead = torch.where(roll < CUT_SHARE / 2, -first_edge, lead)
    return torch.where(roll > 1 - CUT_SHARE / 2, spare + main.length - last_edge, lead)


def line_places(place: dict[str, Tensor], values: dict[str, Tensor], width: int) -> tuple[Tensor, Tensor]:
    """Return each pixel's place along (u) and across (v, 0 to 1 in the figures) the line, (N, H, W) each."""
    n, device = len(place["figure"]), place["figure"].device
    x, y = surface.pixel_grid(n, width, device)

    def c(t: Tensor) -> Tensor:
        return t[:, None, None]

    written = (values["kind"] == 7) | (values["kind"] == 1) | (values["kind"] == 6)
    angle = torch.where(
        torch.rand(n, device=device) < 0.75, torch.randn(n, device=device) * 0.035, uniform((n,), -0.2, 0.2, device)
    )
    steep = 0.4 * HEIGHT / (0.3 * width)
    angle = c(angle.clamp(-steep, steep))
    keystone = c(torch.randn(n, device=device) * 0.07)
    leaning = (torch.rand(n, device=device) < torch.where(written, 0.35, 0.04)).float()
    shear = c(
        torch.randn(n, device=device) * torch.where(written, 0.12, 0.08) + leaning * uniform((n,), 0.2, 0.7, device)
    )
    bend = c(torch.randn(n, device=device) * torch.where(torch.rand(n, device=device) < 0.2, 0.1, 0.015))
    w = 1 + keystone * x / width
    xr, yr = (x * torch.cos(angle) + y * torch.sin(angle)) / w, (y * torch.cos(angle) - x * torch.sin(angle)) / w
    yr = yr + bend * HEIGHT * (2 * xr / width) ** 2
    wave = torch.nn.functional.interpolate(
        torch.randn(n, 2, 3, max(3, width // 24), device=device),
        size=(HEIGHT, width),
        mode="bicubic",
        align_corners=False,
    )
    strength = c(torch.where(written, 0.06, 0.015) * torch.rand(n, device=device))
    u = (xr + shear * yr + width / 2) / c(place["figure"] * place["squeeze"]) + c(place["left"]) + strength * wave[:, 0]
    v = (yr + HEIGHT / 2) / c(place["figure"]) - c(place["up"]) + strength * wave[:, 1]
    return u, v
