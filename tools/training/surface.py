"""Strokes on a surface under a lamp: relief, paint, gloss and shadow, a whole batch at once.

Every crop goes through the same steps; its kind of surface only sets the ranges that its parameters are drawn from.
Height is in pixels of the crop. Shading: Lambert and Blinn-Phong (Blinn 1977) under one near lamp with fall-off, a cast
shadow by three looks toward the lamp, and for metal a smooth reflected surrounding.
"""

from __future__ import annotations

import math

import torch
import torch.nn.functional as F  # noqa: N812 (the usual name)
from torch import Tensor

from tools.training.layout import HEIGHT, uniform
from tools.training.tiles import look_up

KINDS = (
    "punched",
    "scratched",
    "cast",
    "coin",
    "painted",
    "inked",
    "chalked",
    "written",
    "printed",
    "wheels",
    "embossed",
)
SHARES = (0.15, 0.06, 0.07, 0.13, 0.12, 0.06, 0.05, 0.12, 0.08, 0.1, 0.06)
"""Kinds of surface and their shares of a batch."""

RANGES: dict[str, tuple[tuple[float, float], ...]] = {
    # One range for each of KINDS, in their order.
    "depth": (
        (-3.8, -1.0),
        (-2.6, -0.7),
        (1.1, 3.8),
        (0.7, 2.8),
        (-0.1, 0.3),
        (-0.15, 0.1),
        (-0.1, 0.1),
        (-0.15, 0.02),
        (-0.1, 0.1),
        (-0.1, 0.1),
        (0.5, 3.0),
    ),
    "bevel": (
        (0.015, 0.10),
        (0.01, 0.04),
        (0.04, 0.16),
        (0.05, 0.20),
        (0.02, 0.05),
        (0.02, 0.05),
        (0.02, 0.05),
        (0.02, 0.05),
        (0.02, 0.05),
        (0.02, 0.05),
        (0.04, 0.14),
    ),
    "burr": ((0, 0.45), (0, 0.6), (0, 0), (-0.1, 0.15), (0, 0), (0, 0), (0, 0), (0, 0), (0, 0), (0, 0), (-0.1, 0.1)),
    "ink": (
        (0, 0.55),
        (0, 0.5),
        (0, 0.45),
        (0, 0.12),
        (0.5, 1),
        (0.35, 1),
        (0.35, 1),
        (0.3, 1),
        (0.6, 1),
        (0.5, 1),
        (0, 1),
    ),
    "bright": (
        (0, 0.2),
        (0.1, 0.9),
        (0.3, 0.9),
        (0.2, 0.8),
        (0.75, 1),
        (0, 0.1),
        (0.95, 1),
        (0, 0.12),
        (0, 0.45),
        (0.3, 0.9),
        (0.3, 0.8),
    ),
    "drop": (
        (0, 0.6),
        (0, 0.6),
        (0, 0.5),
        (0, 0.4),
        (0.0, 0.55),
        (0, 0.6),
        (0.2, 0.7),
        (0, 0.35),
        (0, 0.25),
        (0, 0.15),
        (0, 0.3),
    ),
    "weight": (
        (-0.025, 0.03),
        (-0.05, -0.005),
        (-0.02, 0.04),
        (-0.02, 0.03),
        (-0.03, 0.02),
        (-0.025, 0.03),
        (-0.01, 0.04),
        (-0.03, 0.015),
        (-0.02, 0.02),
        (-0.02, 0.02),
        (-0.02, 0.03),
    ),
    "edge": (
        (0.0, 0.02),
        (0.005, 0.03),
        (0, 0.02),
        (0, 0.015),
        (0.005, 0.035),
        (0, 0.025),
        (0.01, 0.04),
        (0, 0.015),
        (0, 0.008),
        (0, 0.006),
        (0, 0.01),
    ),
    "rough": (
        (0.0, 0.25),
        (0, 0.3),
        (0.02, 0.6),
        (0, 0.1),
        (0.05, 0.8),
        (0, 0.12),
        (0, 0.25),
        (0, 0.06),
        (0, 0.06),
        (0, 0.06),
        (0, 0.15),
    ),
    "grain": (
        (0, 0.55),
        (0, 0.5),
        (0, 0.5),
        (0, 0.2),
        (0.05, 0.8),
        (0, 0.3),
        (0, 0.25),
        (0, 0.1),
        (0, 0.08),
        (0, 0.08),
        (0, 0.15),
    ),
    "mottle": (
        (0.05, 0.5),
        (0.05, 0.5),
        (0.05, 0.5),
        (0.02, 0.35),
        (0.1, 0.6),
        (0.05, 0.4),
        (0.05, 0.45),
        (0.01, 0.4),
        (0.01, 0.25),
        (0.01, 0.25),
        (0.02, 0.3),
    ),
    "albedo": (
        (0.15, 0.8),
        (0.1, 0.8),
        (0.06, 0.7),
        (0.05, 0.75),
        (0.1, 0.55),
        (0.3, 0.9),
        (0.08, 0.6),
        (0.5, 0.95),
        (0.05, 0.95),
        (0.05, 0.95),
        (0.05, 0.9),
    ),
    "gloss": (
        (0, 0.25),
        (0, 0.35),
        (0.05, 0.7),
        (0.2, 1.1),
        (0, 0.3),
        (0, 0.1),
        (0, 0.04),
        (0, 0.04),
        (0, 0.2),
        (0, 0.25),
        (0, 0.5),
    ),
    "mirror": (
        (0, 0.05),
        (0, 0.1),
        (0, 0.4),
        (0.1, 1.0),
        (0, 0.15),
        (0, 0),
        (0, 0),
        (0, 0),
        (0, 0.05),
        (0, 0.1),
        (0, 0.3),
    ),
    "uneven": (
        (0, 0.6),
        (0, 0.5),
        (0, 0.1),
        (0, 0.1),
        (0, 0.2),
        (0, 0.2),
        (0, 0.6),
        (0, 0.3),
        (0, 0),
        (0, 0),
        (0, 0.1),
    ),
    "low": ((7, 45), (8, 55), (10, 60), (12, 75), (20, 80), (30, 85), (25, 80), (40, 88), (40, 88), (35, 85), (20, 75)),
}
"""Ranges by kind. depth: pixels at a figure height of 30, raised positive. bevel, weight, edge: in figure heights.
ink: cover of paint, bright: chance that it is brighter than the ground, drop: how much of it is missing. low: the
lamp's height over the surface in degrees, uneven: how much the depth of cuts and the cover of chalk differ along the
line. The rest are strengths."""


def draw_parameters(n: int, device: torch.device, kind: Tensor | None = None) -> dict[str, Tensor]:
    """Return a value (N,) for each of RANGES, the kinds, and the lamp's place."""
    shares = torch.tensor(SHARES, device=device)
    kind = torch.multinomial(shares.expand(n, -1), 1)[:, 0] if kind is None else kind
    values: dict[str, Tensor] = {"kind": kind}
    for name, ranges in RANGES.items():
        table = torch.tensor(ranges, device=device)
        values[name] = table[kind, 0] + torch.rand(n, device=device) * (table[kind, 1] - table[kind, 0])
    values["bright"] = (torch.rand(n, device=device) < values["bright"]).float()
    values["azimuth"] = uniform((n,), 0, 2 * math.pi, device)
    values["far"] = torch.exp(uniform((n,), math.log(0.8), math.log(8.0), device))
    values["ambient"] = uniform((n,), 0.05, 0.6, device)
    values["shine"] = torch.exp(uniform((n,), math.log(4.0), math.log(60.0), device))
    values["shadow"] = uniform((n,), 0, 0.8, device)
    values["turn"] = torch.where(
        torch.rand(n, device=device) < 0.6, torch.randn(n, device=device) * 0.12, uniform((n,), 0, 6.3, device)
    )
    return values


def pixel_grid(n: int, width: int, device: torch.device) -> tuple[Tensor, Tensor]:
    """Return x and y of every pixel from the crop's center, (1, H, W) each."""
    y, x = torch.meshgrid(
        torch.arange(HEIGHT, device=device) - (HEIGHT - 1) / 2,
        torch.arange(width, device=device) - (width - 1) / 2,
        indexing="ij",
    )
    return x[None], y[None]


def texture(bank: Tensor, n: int, width: int, turn: Tensor, fine: tuple[float, float]) -> Tensor:
    """Return (N, H, W) of a random tile for each crop, turned, at a random scale of `fine` tile pixels a pixel."""
    device = bank.device
    x, y = pixel_grid(n, width, device)
    index = torch.randint(0, len(bank), (n, 1, 1), device=device)
    scale = torch.exp(uniform((n, 1, 1), math.log(fine[0]), math.log(fine[1]), device))
    cos, sin = torch.cos(turn)[:, None, None] * scale, torch.sin(turn)[:, None, None] * scale
    shift = uniform((2, n, 1, 1), 0, 256, device)
    return look_up(bank, index, x * cos + y * sin + shift[0], y * cos - x * sin + shift[1], wrap=True)


def make_ground(bank: Tensor, values: dict[str, Tensor], width: int) -> dict[str, Tensor]:
    """Draw the textures of a batch: grain, mottle, drop and edge fields, each (N, H, W).

    "uneven" (N, 1, W) is how hard the hand pressed along the line.
    """
    n = len(values["kind"])
    turn = values["turn"]
    return {
        "grain": texture(bank, n, width, turn, (0.5, 3.0)),
        "mottle": texture(bank, n, width, turn, (0.3, 3.0)),
        "drop": texture(bank, n, width, turn + torch.randn_like(turn), (0.8, 5.0)),
        "edge": texture(bank[:8], n, width, turn, (1.0, 5.0)),
        "speck": torch.randn(n, HEIGHT, width, device=bank.device),
        "uneven": F.interpolate(
            torch.randn(n, 1, max(3, width // 20), device=bank.device), size=width, mode="linear", align_corners=True
        ),
    }


def shade(
    values: dict[str, Tensor], ground: dict[str, Tensor], distance: Tensor, extra: Tensor, figure_px: Tensor
) -> Tensor:
    """Return (N, H, W) brightness, about 0 to 1.

    `distance` (N, H, W) in figure heights is the lettering; `extra` (N, H, W) is added to the height (screws, frames).
    """

    def p(name: str) -> Tensor:
        return values[name][:, None, None]

    size = figure_px[:, None, None]
    d = distance + p("weight") + p("edge") * ground["edge"]
    soft = torch.sigmoid(-d / p("bevel").clamp_min(1e-3) * 2.5)
    burr = p("burr") * torch.exp(-(((d - 0.06) / 0.05) ** 2))
    pressed = (1 + p("uneven") * ground["uneven"]).clamp(0.25, 2)
    relief = (
        p("depth") * pressed * (size / 30) * (soft * (1 - 0.35 * p("drop") * torch.sigmoid(3 * ground["drop"])) - burr)
    )
    height = relief + p("grain") * ground["grain"] + p("rough") * ground["speck"] * 0.5 + extra
    chalk = p("kind") == KINDS.index("chalked")
    cover = torch.sigmoid(-d * size * torch.where(chalk, 1.3, 2.5))
    tooth = torch.where(chalk, 0.7 * ground["grain"] + 0.35 * ground["speck"] + 0.35 * ground["drop"], ground["drop"])
    missing = torch.sigmoid((tooth - 1.6 + 2.6 * p("drop") - chalk * 0.5 * ground["uneven"]) * 4) * (p("drop") > 0.05)
    dusty = chalk * 0.3 * p("drop") * torch.exp(-((d.clamp_min(0) / 0.12) ** 2))
    cover = torch.maximum(cover * (1 - missing), dusty) * p("ink")
    albedo = p("albedo") * torch.exp(0.45 * p("mottle") * ground["mottle"])
    paint = torch.where(
        p("bright") > 0.5, 0.55 + 0.45 * p("albedo").clamp(0, 1) + 0.25, 0.5 * p("albedo") * (1 - p("ink")) + 0.02
    )
    albedo = torch.lerp(albedo, paint, cover)
    return _light(values, height, albedo)


def _light(values: dict[str, Tensor], height: Tensor, albedo: Tensor) -> Tensor:
    """Shade a height field (N, H, W) in pixels under each crop's lamp."""
    n, _, width = height.shape

    def p(name: str) -> Tensor:
        return values[name][:, None, None]

    padded = F.pad(height[None], (1, 1, 1, 1), mode="replicate")[0]
    gx = (padded[:, 1:-1, 2:] - padded[:, 1:-1, :-2]) / 2
    gy = (padded[:, 2:, 1:-1] - padded[:, :-2, 1:-1]) / 2
    inverse = torch.rsqrt(gx * gx + gy * gy + 1)
    nx, ny, nz = -gx * inverse, -gy * inverse, inverse
    x, y = pixel_grid(n, width, height.device)
    reach = p("far") * (0.5 * width + HEIGHT)
    low = torch.deg2rad(p("low"))
    ax, ay = torch.cos(p("azimuth")), torch.sin(p("azimuth"))
    lx, ly = reach * torch.cos(low) * ax - x, reach * torch.cos(low) * ay - y
    lz = reach * torch.sin(low)
    square = lx * lx + ly * ly + lz * lz
    over = torch.rsqrt(square)
    lx, ly, lz = lx * over, ly * over, lz * over
    diffuse = (nx * lx + ny * ly + nz * lz).clamp_min(0) / torch.sin(low).clamp_min(0.25)
    fall = (reach * reach / square).clamp(0.1, 4)
    half = torch.rsqrt(lx * lx + ly * ly + (lz + 1) ** 2)
    shine = (nx * lx + ny * ly + nz * (lz + 1)).clamp_min(0) * half
    gleam = p("gloss") * shine ** p("shine")
    around = torch.sin(nx * 3.1 * (1 + p("gloss")) + p("azimuth") * 7) * torch.cos(ny * 2.7 + p("turn"))
    lit = 1 - p("shadow") * _shadow(values, height)
    return (
        albedo * (p("ambient") + (1 - p("ambient")) * diffuse * fall * lit)
        + gleam * fall * lit
        + 0.35 * p("mirror") * around
    )


def _shadow(values: dict[str, Tensor], height: Tensor) -> Tensor:
    """Return how far each place is in the shadow of its surroundings toward the lamp, 0 to 1."""
    n, rows, width = height.shape
    x, y = pixel_grid(n, width, height.device)
    dark = torch.zeros_like(height)
    tangent = torch.tan(torch.deg2rad(values["low"]))[:, None, None]
    for step in (1.2, 2.6, 4.4):
        px = (x + step * torch.cos(values["azimuth"])[:, None, None]) / (width / 2)
        py = (y + step * torch.sin(values["azimuth"])[:, None, None]) / (rows / 2)
        seen = F.grid_sample(
            height[:, None],
            torch.stack([px.expand_as(height), py.expand_as(height)], -1),
            align_corners=False,
            padding_mode="border",
        )
        dark = torch.maximum(dark, (seen[:, 0] - height - step * tangent) * 1.5)
    return dark.clamp(0, 1)
