"""What a loosely framed crop also shows: the sign the number stands on, walls behind it, edges, boxes and rims around.

Everything is placed outside the main line, in its own coordinates (u along, v across, figure heights), and covers what
lies there with another brightness and texture.
"""

from __future__ import annotations

from collections.abc import Callable

import torch
from torch import Tensor

from tools.training.layout import uniform

PANEL, PANEL_FAR = 0.1, 0.45
"""Share of crops whose number stands on a sign of its own, tightly and loosely framed."""

BOX, BOX_FAR = 0.06, 0.3
"""Share of crops with a box on a given side."""

RIM, RIM_FAR = 0.08, 0.25
"""Share of crops with a round or straight edge that runs past the line, for each of two tries."""


def _chance(share: float, far_share: float, far: Tensor) -> Tensor:
    level = torch.where(far, far_share, share)
    return (torch.rand(len(far), device=far.device) < level)[:, None, None].float()


def _wall(ground: dict[str, Tensor], u: Tensor, v: Tensor) -> Tensor:
    """Return (N, H, W) brightness of another surface: plain or textured, of bricks, boards or bars."""
    n, device = len(u), u.device

    def r(low: float, high: float) -> Tensor:
        return uniform((n, 1, 1), low, high, device)

    level = torch.where(r(0, 1) < 0.2, r(0.0, 0.06), r(0.03, 1.1))
    wall = level * torch.exp(0.4 * r(0, 1) * ground["drop"] + 0.25 * r(0, 1) * ground["grain"])
    row_height, joint = r(0.25, 1.6), r(0.02, 0.09)
    a, b = torch.where(r(0, 1) < 0.75, 1.0, 0.0), r(-0.1, 0.1)
    down, along = a * v + (1 - a) * u + b * u, a * u + (1 - a) * v
    row = down / row_height + r(0, 1)
    flat = torch.exp(-((((row - row.floor()) - 0.5) * row_height / joint) ** 2))
    column = along / (row_height * r(1.5, 4.0)) + 0.5 * (row.floor() % 2)
    upright = torch.exp(-((((column - column.floor()) - 0.5) * row_height * 2.5 / joint) ** 2))
    kind = r(0, 1)
    pattern = torch.where(kind < 0.3, torch.maximum(flat, upright), torch.where(kind < 0.5, flat, 0.0))
    return wall * (1 + r(-0.7, 0.9) * pattern)


def make_backdrop(
    ground: dict[str, Tensor], u: Tensor, v: Tensor, length: Tensor, far: Tensor
) -> Callable[[Tensor], Tensor]:
    """Return what draws the surroundings onto a picture (N, H, W). `far` (N,) tells which crops are loosely framed."""
    end = length[:, None, None]
    layers = [_panel(ground, u, v, end, far)]
    for side in ((-1, 0), (1, 0), (0, -1), (0, 1)):
        layers.append(_box(ground, u, v, end, far, side=side))
    for _ in range(2):
        layers.append(_rim(ground, u, v, end, far))

    def apply(image: Tensor) -> Tensor:
        for brightness, cover, line in layers:
            image = torch.lerp(image, brightness, cover) * (1 + line)
        return image

    return apply


def _panel(ground: dict[str, Tensor], u: Tensor, v: Tensor, end: Tensor, far: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Return brightness, cover and border of what lies outside a sign: a rounded box or an oval around the line."""
    n, device = len(u), u.device

    def r(low: float, high: float) -> Tensor:
        return uniform((n, 1, 1), low, high, device)

    power = torch.where(r(0, 1) < 0.35, r(2.0, 2.4), r(5.0, 24.0))
    wider = torch.where(power < 3, 1.3, 1.0)
    a, b = (end / 2 + r(0.15, 0.9)) * wider, (0.5 + r(0.1, 0.6)) * wider
    a = torch.where(r(0, 1) < 0.25, torch.maximum(a, b), a)
    across, down = (u - end / 2).abs() / a, (v - 0.5 + r(-0.04, 0.04) * (u - end / 2)).abs() / b
    radius = (across.clamp(1e-3, 9) ** power + down.clamp(1e-3, 9) ** power) ** (1 / power)
    over = (radius - 1) * torch.minimum(a, b)
    shown = _chance(PANEL, PANEL_FAR, far)
    border = torch.exp(-(((over + r(0.02, 0.12)) / r(0.015, 0.05)) ** 2)) * r(-0.9, 1.5)
    wide = a > 1.6 * b  # a narrow border around nothing would look like a nought
    return _wall(ground, u, v), shown * torch.sigmoid(over * 40), shown * border * wide * (r(0, 1) < 0.5)


def _box(
    ground: dict[str, Tensor], u: Tensor, v: Tensor, end: Tensor, far: Tensor, *, side: tuple[int, int]
) -> tuple[Tensor, Tensor, Tensor]:
    """Return brightness, cover and border of a large box or oval, or a beam, on one side of the line.

    Nothing of a figure's size is drawn: outlines of that size taught the network to pass over noughts and ones.
    """
    n, device = len(u), u.device

    def r(low: float, high: float) -> Tensor:
        return uniform((n, 1, 1), low, high, device)

    shape = r(0, 1)
    a = torch.where(shape < 0.3, r(0.05, 0.6), r(1.0, 5.0))
    b = torch.where(shape < 0.3, r(3.0, 9.0), torch.where(shape < 0.6, r(0.05, 0.6), r(1.0, 5.0)))
    gap = r(0.12, 1.5)
    cu = end / 2 + (side[0] * (end / 2 + a + gap) if side[0] else r(-0.7, 0.7) * (end + 4))
    cv = 0.5 + (side[1] * (0.5 + b + gap) if side[1] else r(-1.5, 1.5))
    power = torch.where((shape > 0.6) & (r(0, 1) < 0.5), 2.0, 10.0)
    x, y = u - cu, v - cv
    lean = r(-0.15, 0.15)
    across, down = ((x + lean * y) / a).abs().clamp(1e-3, 9), ((y - lean * x) / b).abs().clamp(1e-3, 9)
    over = ((across**power + down**power) ** (1 / power) - 1) * torch.minimum(a, b)
    shown = _chance(BOX, BOX_FAR, far)
    filled = (r(0, 1) < 0.6).float()
    border = torch.exp(-((over / r(0.02, 0.08)) ** 2)) * r(-0.8, 1.2)
    brightness = r(0.0, 1.1) * torch.exp(0.3 * r(0, 1) * ground["mottle"])
    return brightness, shown * filled * torch.sigmoid(-over * 40), shown * border * (r(0, 1) < 0.5)


def _rim(ground: dict[str, Tensor], u: Tensor, v: Tensor, end: Tensor, far: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Return brightness, cover and line of what lies beyond a large circle that runs past the line at some distance."""
    n, device = len(u), u.device

    def r(low: float, high: float) -> Tensor:
        return uniform((n, 1, 1), low, high, device)

    angle, radius = r(0, 6.283), torch.exp(r(0.3, 3.0))
    du, dv = torch.cos(angle), torch.sin(angle)
    reach = du.abs() * end / 2 + dv.abs() * 0.5 + r(0.15, 2.0)
    inside = torch.where(r(0, 1) < 0.5, 1.0, -1.0)
    radius = torch.where(inside > 0, torch.maximum(radius, end / 2 + 1.2), radius)
    cu, cv = end / 2 + du * (reach - inside * radius), 0.5 + dv * (reach - inside * radius)
    over = (torch.sqrt((u - cu) ** 2 + (v - cv) ** 2) - radius) * inside
    box = torch.maximum((u - end / 2).abs() - end / 2, (v - 0.5).abs() - 0.5)
    clear = torch.sigmoid((box - 0.12) * 40)
    shown = _chance(RIM, RIM_FAR, far) * clear
    lines = torch.exp(-((over / r(0.03, 0.2)) ** 2)) * r(-0.9, 1.8)
    lines = lines + torch.exp(-(((over - r(0.1, 0.8)) / r(0.03, 0.2)) ** 2)) * r(-0.9, 1.5) * (r(0, 1) < 0.5)
    filled = (r(0, 1) < 0.6).float()
    return _wall(ground, u, v), shown * filled * torch.sigmoid(over * 30), shown * lines
