"""What lies around the marks in a crop: wheel windows, rules, screws, strings, bar codes, stains, picture edges."""

from __future__ import annotations

from collections.abc import Callable

import torch
from torch import Tensor

from tools.training import surface
from tools.training.layout import Line, uniform


def make_cells(values: dict[str, Tensor], main: Line, u: Tensor, v: Tensor) -> Callable[[Tensor], Tensor]:
    """Give wheels (and some others) their windows: a cell around each figure, dark or bright between the cells."""
    n, device = len(u), u.device
    wheels = values["kind"] == surface.KINDS.index("wheels")
    shown = (wheels & (torch.rand(n, device=device) < 0.85)) | (torch.rand(n, device=device) < 0.015)
    center = main.center.contiguous()
    bounds = ((center[:, 1:] + center[:, :-1]) / 2).contiguous()
    slot = torch.searchsorted(bounds, u.flatten(1).contiguous()).clamp_max(center.shape[1] - 1)
    uneven = uniform((n, 1), 0, 1, device) * (torch.rand(n, 1, device=device) < 0.6)
    shift = (torch.randn(center.shape, device=device) * 0.06 * uneven).gather(1, slot).view_as(u)
    aside = (u.flatten(1) - center.gather(1, slot)).view_as(u) - shift
    off = aside.abs()
    widest = (
        main.half.amax(1)
        + torch.where(
            torch.rand(n, device=device) < 0.5, uniform((n,), 0.03, 0.12, device), uniform((n,), 0.1, 0.4, device)
        )
    )[:, None]
    half = (widest * (1 + torch.randn(center.shape, device=device) * 0.1 * uneven)).gather(1, slot).view_as(u)
    tall = uniform((n, 1, 1), 0.58, 0.95, device)
    inside = torch.sigmoid((half - off) * 25) * torch.sigmoid((tall - (v - 0.5).abs()) * 25)
    between = torch.where(
        torch.rand(n, 1, 1, device=device) < 0.5,
        uniform((n, 1, 1), 0.0, 0.15, device),
        uniform((n, 1, 1), 0.0, 1.0, device),
    )
    barrel = 1 - uniform((n, 1, 1), 0, 0.6, device) * ((v - 0.5).abs() / tall).clamp(0, 1) ** 2
    last = (center.amax(1)[:, None, None] - u < widest[:, :, None]) & (torch.rand(n, 1, 1, device=device) < 0.2)
    edge = torch.exp(-(((off - half) / uniform((n, 1, 1), 0.02, 0.07, device)) ** 2))
    bars = torch.zeros_like(u)
    rim = uniform((n, 1, 1), -0.9, 0.9, device) * (torch.rand(n, 1, 1, device=device) < 0.6)
    for side in (-1.0, 1.0):
        gap = (uniform((n, 1), 0.02, 0.3, device) + torch.randn(center.shape, device=device) * 0.05 * uneven).gather(
            1, slot
        )
        thick = (uniform(center.shape, 0.012, 0.06, device)).gather(1, slot).view_as(u)
        strength = uniform((n, 1), -0.95, 0.6, device) * (torch.rand(n, 1, device=device) < 0.45)
        own = strength * torch.where(torch.rand(center.shape, device=device) < 0.25, 0.2, 1.0)
        bar = torch.exp(-(((aside * side - main_half(main, slot, u) - gap.view_as(u)) / thick) ** 2))
        bars = bars + own.gather(1, slot).view_as(u) * bar
    side_light = uniform((n, 1, 1), -0.8, 0.3, device)

    def apply(image: Tensor) -> Tensor:
        tinted = (
            torch.where(last, image * 0.6 + 0.1, image)
            * barrel
            * (1 + side_light * (off / half).clamp(0, 1.5) ** 3)
            * (1 + rim * edge)
            * (1 + bars.clamp(-0.95, 1))
        )
        return torch.where(shown[:, None, None], torch.lerp(between.expand_as(image), tinted, inside), image)

    return apply


def main_half(main: Line, slot: Tensor, u: Tensor) -> Tensor:
    """Return the half width of the figure that each pixel belongs to, shaped like `u`."""
    return main.half.gather(1, slot).view_as(u)


def make_clutter(values: dict[str, Tensor], u: Tensor, v: Tensor, length: Tensor, width: int) -> tuple[Tensor, Tensor]:
    """Return what is added to the height (screws, ridges) and what the picture is multiplied by (rules, strings)."""
    n, device = len(u), u.device

    def some(share: float) -> Tensor:
        return (torch.rand(n, 1, 1, device=device) < share).float()

    def r(low: float, high: float) -> Tensor:
        return uniform((n, 1, 1), low, high, device)

    end = length[:, None, None]
    height, tint = torch.zeros_like(u), torch.ones_like(u)
    for side in (-1.0, 1.0):
        gap = r(0.15, 0.6)
        level = 0.5 + side * (0.5 + gap)
        rule = torch.exp(-((((v - level) + r(-0.03, 0.03) * u) / r(0.015, 0.05)) ** 2))
        tint = tint * (1 + some(0.16) * rule * r(-0.8, 0.8))
        height = height + some(0.1) * rule * r(-2, 2)
        post = torch.exp(
            -(
                (
                    (u - torch.where(torch.tensor(side < 0, device=device), -gap, end + gap) + r(-0.05, 0.05) * v)
                    / r(0.015, 0.06)
                )
                ** 2
            )
        )
        tint = tint * (1 + some(0.1) * post * r(-0.8, 0.8))
        height = height + some(0.08) * post * r(-2, 2)
        sx, sy = torch.where(torch.tensor(side < 0, device=device), -r(0.5, 1.6), end + r(0.5, 1.6)), r(-0.3, 1.3)
        away = torch.sqrt((u - sx) ** 2 + (v - sy) ** 2)
        radius = r(0.15, 0.5)
        dome = torch.sigmoid((radius - away) * 20)
        slot = torch.sigmoid(
            (0.12 * radius - ((u - sx) * torch.cos(r(0, 3)) + (v - sy) * torch.sin(r(0, 3))).abs()) * 40
        )
        screw = some(0.06)
        height = height + screw * dome * (2 - 3 * slot) * r(0.3, 1.2)
        tint = tint * (1 + screw * (dome * r(-0.6, 0.5) - 0.6 * dome * slot))
    across = torch.exp(-((((v - r(0, 1)) + r(-1.5, 1.5) * (u - end * r(0, 1))) / r(0.02, 0.06)) ** 2))
    tint = tint * (1 + some(0.04) * across * r(-0.7, 0.9))
    ruled = torch.cos((v - r(0, 1)) * 6.283 / r(0.12, 1.2) + 0.6 * torch.sin(u * r(0.5, 4)) * some(0.6))
    written = ((values["kind"] == 7).float() * 0.5 + (values["kind"] == 5).float() * 0.15)[:, None, None]
    tint = tint * (
        1 - (torch.rand(n, 1, 1, device=device) < written).float() * (ruled - 0.5).clamp_min(0) * r(0.05, 0.7)
    )
    bars = torch.sign(torch.sin(u * r(8, 30)) + torch.sin(u * r(5, 40)) * 0.8)
    coded = some(0.02) * torch.sigmoid((v - 1.25) * 30)
    tint = tint * (1 - coded * (bars > 0) * 0.8)
    stain = torch.sigmoid((r(0.3, 1.5) - torch.sqrt((u - end * r(0, 1)) ** 2 + (v - r(0, 1)) ** 2)) * r(2, 20))
    return height, tint * (1 - some(0.1) * stain * r(0.1, 0.6))


def make_frame(ground: dict[str, Tensor], u: Tensor, v: Tensor, length: Tensor) -> Callable[[Tensor], Tensor]:
    """Let the crop run over the edge of what it shows, on up to two sides: black scan borders, another surface."""
    n, device = len(u), u.device
    layers = []
    for _ in range(2):
        side = torch.randint(0, 4, (n, 1, 1), device=device)
        gap, slope = uniform((n, 1, 1), 0.12, 0.9, device), uniform((n, 1, 1), -0.15, 0.15, device)
        end = length[:, None, None]
        over = torch.where(
            side == 0,
            -u - gap + slope * v,
            torch.where(
                side == 1,
                u - end - gap + slope * v,
                torch.where(
                    side == 2,
                    -v - gap * 0.7 + slope * 0.4 * (u - end / 2),
                    v - 1 - gap * 0.7 + slope * 0.4 * (u - end / 2),
                ),
            ),
        )
        shown = (torch.rand(n, 1, 1, device=device) < 0.12).float()
        level = uniform((n, 1, 1), 0, 1, device)
        level = torch.where(torch.rand(n, 1, 1, device=device) < 0.4, 0.01, level * 1.2)
        other = level * torch.exp(0.3 * ground["drop"] * uniform((n, 1, 1), 0, 1, device))
        layers.append((other, shown * torch.sigmoid(over * 40)))

    def apply(image: Tensor) -> Tensor:
        for other, cover in layers:
            image = torch.lerp(image, other, cover)
        return image

    return apply
