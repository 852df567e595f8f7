"""What a scene shows besides its lines: materials, panels with edges, lamp, and clutter that looks like characters.

Everything is drawn for a whole batch of square pictures at once. Heights are in pixels. Clutter is drawn in a few
slots, each of which holds a row of pins, a fan of strings, a ring or nothing, by chance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import torch
import torch.nn.functional as F  # noqa: N812 (the usual name)
from torch import Tensor

from tools.training.layout import uniform
from tools.training.tiles import look_up


@dataclass
class Ground:
    """Brightness of the bare surface `albedo`, its `height`, `gloss` and `mirror`, each (N, S, S)."""

    albedo: Tensor
    height: Tensor
    gloss: Tensor
    mirror: Tensor


@dataclass
class Cover:
    """What lies over surface and marks: brightness of `over` where `cover` is 1, and a factor `tint`, (N, S, S)."""

    over: Tensor
    cover: Tensor
    tint: Tensor


class Dice:
    """Random values for each picture of a batch, shaped (N, 1, 1), and its pixel coordinates."""

    def __init__(self, n: int, side: int, device: torch.device) -> None:
        self.n, self.side, self.device = n, side, device
        steps = torch.arange(side, device=device) - (side - 1) / 2
        y, x = torch.meshgrid(steps, steps, indexing="ij")
        self.x, self.y = x[None], y[None]

    def r(self, low: float, high: float) -> Tensor:
        """Return an even value."""
        return uniform((self.n, 1, 1), low, high, self.device)

    def log(self, low: float, high: float) -> Tensor:
        """Return a value even in its log."""
        return torch.exp(self.r(math.log(low), math.log(high)))

    def some(self, share: float) -> Tensor:
        """Return 1 for a share of the pictures, else 0."""
        return (self.r(0, 1) < share).float()

    def turned(self, angle: Tensor) -> tuple[Tensor, Tensor]:
        """Return coordinates along and across a direction through a random place of the picture."""
        x, y = self.x - self.r(-0.5, 0.5) * self.side, self.y - self.r(-0.5, 0.5) * self.side
        return x * torch.cos(angle) + y * torch.sin(angle), y * torch.cos(angle) - x * torch.sin(angle)


def _random(index: Tensor, seed: Tensor) -> Tensor:
    """Return a value 0 to 1 for each whole number, the same for the same number and seed."""
    mixed = torch.sin(index * 12.9898 + seed * 78.233) * 43758.5453
    return mixed - torch.floor(mixed)


def texture(bank: Tensor, dice: Dice, turn: Tensor, fine: tuple[float, float]) -> Tensor:
    """Return (N, S, S) of a random tile for each picture, turned, at a random scale of `fine` tile pixels a pixel."""
    index = torch.randint(0, len(bank), (dice.n, 1, 1), device=dice.device)
    scale = dice.log(*fine)
    cos, sin = torch.cos(turn) * scale, torch.sin(turn) * scale
    x = dice.x * cos + dice.y * sin + dice.r(0, 256)
    return look_up(bank, index, x, dice.y * cos - dice.x * sin + dice.r(0, 256), wrap=True)


def make_ground(bank: Tensor, dice: Dice) -> Ground:
    """Draw a surface of one material with up to three panels of others, each with an edge that stands up or falls."""
    albedo, height, gloss, mirror = _material(bank, dice)
    for share in (0.45, 0.3, 0.2):
        other = _material(bank, dice)
        over = _panel(dice)
        shown = dice.some(share)
        cover = shown * torch.sigmoid(-over * dice.log(0.4, 3))
        step = dice.r(-6, 6) * shown * torch.sigmoid(-over / dice.log(0.5, 4))
        rim = shown * torch.exp(-((over / dice.log(0.8, 4)) ** 2)) * dice.r(-0.8, 0.8) * dice.some(0.5)
        albedo = torch.lerp(albedo, other[0], cover) * (1 + rim)
        height = torch.lerp(height, other[1], cover) + step
        gloss, mirror = torch.lerp(gloss, other[2], cover), torch.lerp(mirror, other[3], cover)
    return Ground(albedo, height, gloss, mirror)


def _material(bank: Tensor, dice: Dice) -> tuple[Tensor, Tensor, Tensor, Tensor]:
    """Return albedo, height, gloss and mirror of wood, iron, brass, paper or stone."""
    turn = dice.r(0, 6.3)
    level = torch.where(dice.r(0, 1) < 0.5, dice.r(0.06, 0.9), dice.log(0.05, 0.6))
    coarse = texture(bank, dice, turn, (0.12, 1.0))
    fine = texture(bank, dice, turn, (0.6, 3.0))
    stain = texture(bank, dice, turn + dice.r(0, 3), (0.1, 0.5))
    even = dice.r(0, 1) ** 1.5
    albedo = level * torch.exp(
        even * (dice.r(0, 0.4) * coarse + dice.r(0, 0.2) * fine) + dice.r(0, 0.25) * dice.some(0.5) * stain
    )
    rings = torch.sin(coarse * dice.r(1, 5) + (dice.y * torch.cos(turn) - dice.x * torch.sin(turn)) / dice.log(3, 40))
    albedo = albedo * (1 + dice.some(0.3) * dice.r(0, 0.3) * rings)
    speck = torch.randn(dice.n, dice.side, dice.side, device=dice.device)
    rough = dice.r(0, 1) ** 4
    height = rough * (dice.r(0, 1.2) * coarse + dice.r(0, 1.0) * fine) + dice.some(0.3) * dice.r(0, 0.25) * speck
    return albedo, height, dice.some(0.5) * dice.r(0, 0.9), dice.some(0.25) * dice.r(0, 0.8)


def _panel(dice: Dice) -> Tensor:
    """Return the distance in pixels from a half plane, box, beam or disc, negative inside."""
    u, v = dice.turned(
        torch.where(dice.r(0, 1) < 0.5, dice.r(-0.1, 0.1) + 1.5708 * torch.floor(dice.r(0, 4)), dice.r(0, 6.3))
    )
    a, b = dice.log(20, 400), dice.log(15, 300)
    box = torch.maximum(u.abs() - a, v.abs() - b)
    disc = torch.sqrt(u * u + v * v + 1e-3) - a
    kind = dice.r(0, 1)
    return torch.where(
        kind < 0.35, v + 4 * torch.sin(u / dice.log(20, 200)) * dice.some(0.3), torch.where(kind < 0.75, box, disc)
    )


def add_clutter(ground: Ground, dice: Dice) -> Ground:
    """Add what lies in the surface: rows of pins and screws, rings, cracks, scratches, hatching, specks."""
    height, albedo = ground.height, ground.albedo
    for share in (0.3, 0.2, 0.12):
        bump, tint = _row_of_things(dice)
        shown = dice.some(share)
        height, albedo = height + shown * bump, albedo * (1 + shown * tint)
    for share in (0.3, 0.2):
        bump, tint = _ring(dice)
        shown = dice.some(share)
        height, albedo = height + shown * bump, albedo * (1 + shown * tint)
    for share in (0.35, 0.2):
        bump, tint = _cracks(dice)
        shown = dice.some(share)
        height, albedo = height + shown * bump, albedo * (1 + shown * tint)
    for share in (0.4, 0.25):
        bump, tint = _scattered(dice)
        shown = dice.some(share)
        height, albedo = height + shown * bump, albedo * (1 + shown * tint)
    return Ground(albedo.clamp_min(0.005), height, ground.gloss, ground.mirror)


def _thing(dice: Dice, x: Tensor, y: Tensor, turn: Tensor) -> tuple[Tensor, Tensor]:
    """Return height and tint of a screw, pin, nail, hole, ring, bar, cross or square at unit size around 0, 0."""
    radius = torch.sqrt(x * x + y * y + 1e-6)
    sharp = dice.r(6, 18)
    cos, sin = torch.cos(turn), torch.sin(turn)
    a, b = (x * cos + y * sin).abs(), (y * cos - x * sin).abs()
    disc = torch.sigmoid((1 - radius) * sharp)
    dome = disc * torch.sqrt((1 - radius**2).clamp_min(0) + 0.05)
    slot = torch.sigmoid((0.17 - b) * 30) * disc
    hole = torch.sigmoid((dice.r(0.25, 0.7) - radius) * sharp) * disc
    bar = torch.sigmoid((1 - a) * sharp) * torch.sigmoid((dice.r(0.1, 0.35) - b) * 25)
    other_bar = torch.sigmoid((1 - b) * sharp) * torch.sigmoid((0.2 - a) * 25)
    square = torch.sigmoid((1 - torch.maximum(a, b)) * sharp)
    roll = dice.r(0, 1)
    chosen = torch.where(
        roll < 0.22, dome - 0.9 * slot, torch.where(roll < 0.44, dome, torch.where(roll < 0.6, disc - hole, bar))
    )
    chosen = torch.where(roll > 0.85, torch.where(roll > 0.93, square, torch.maximum(bar, other_bar)), chosen)
    return chosen, chosen * dice.r(-0.8, 0.9)


def _row_of_things(dice: Dice) -> tuple[Tensor, Tensor]:
    """Return height and tint of one to three even rows of like things, as tuning pins and nails stand."""
    u, v = dice.turned(torch.where(dice.r(0, 1) < 0.5, dice.r(-0.15, 0.15), dice.r(0, 6.3)))
    size = dice.log(3, 40)
    pitch, gap = size * dice.log(2.1, 7), size * dice.log(2.3, 8)
    seed = dice.r(0, 50)
    row = torch.round(v / gap)
    first = torch.round(dice.r(-1.5, 1.5))
    row = row.clamp_min(first).clamp_max(first + torch.floor(dice.r(0, 3)))
    shift = dice.some(0.6) * 0.5 * (row % 2)
    number = torch.round(u / pitch - shift)
    low = torch.round(dice.r(-12, 1))
    number = number.clamp_min(low).clamp_max(low + torch.round(dice.log(1, 25)))
    unsteady = dice.r(0, 0.25) * dice.some(0.5)
    index = number + 37 * row
    du = u - (number + shift) * pitch - unsteady * pitch * (_random(index, seed) - 0.5)
    dv = v - row * gap - unsteady * pitch * (_random(index, seed + 3) - 0.5)
    turn = dice.r(0, 6.3) + dice.some(0.6) * 6.3 * _random(index, seed + 7)
    bump, tint = _thing(dice, du / size, dv / size, turn)
    return bump * size * dice.r(-0.3, 0.6), tint * dice.some(0.8)


def _ring(dice: Dice) -> tuple[Tensor, Tensor]:
    """Return height and tint of a ring, an arc of one, or a disc with a rim."""
    u, v = dice.turned(dice.r(0, 6.3))
    radius, thick = dice.log(12, 300), dice.log(1, 14)
    away = torch.sqrt(u * u + v * v + 1e-3) - radius
    arc = torch.where(dice.r(0, 1) < 0.5, 1.0, torch.sigmoid((torch.atan2(v, u).abs() - dice.r(0.3, 2.8)) * 20))
    line = torch.exp(-((away / thick) ** 2)) * arc
    line = line + dice.some(0.4) * torch.exp(-(((away + thick * dice.r(2, 6)) / thick) ** 2)) * arc
    return line * dice.r(-4, 4), line * dice.r(-0.8, 0.8) * dice.some(0.6)


def _cracks(dice: Dice) -> tuple[Tensor, Tensor]:
    """Return height and tint of a crack or scratch, or of a family of them: grain, hatching, saw marks."""
    u, v = dice.turned(dice.r(0, 6.3))
    wave = dice.r(0, 10) * torch.sin(u / dice.log(15, 120) + dice.r(0, 6)) + dice.r(0, 2) * torch.sin(
        u / dice.log(4, 20)
    )
    pitch = dice.log(5, 80)
    v = v + wave * dice.some(0.7)
    row = torch.round(v / pitch)
    low = torch.round(dice.r(-8, 0))
    row = row.clamp_min(low).clamp_max(low + torch.floor(dice.log(1, 20)))
    seed = dice.r(0, 50)
    off = v - row * pitch - dice.r(0, 0.6) * pitch * (_random(row, seed) - 0.5)
    length = dice.log(8, 500) * (0.3 + 1.4 * _random(row, seed + 5))
    middle = dice.r(0, 60) * (_random(row, seed + 9) - 0.5)
    line = torch.exp(-((off / dice.log(0.6, 3.5)) ** 2)) * torch.sigmoid(length - (u - middle).abs())
    return line * dice.r(-4, 2), line * dice.r(-0.9, 0.9) * dice.some(0.7)


def _scattered(dice: Dice) -> tuple[Tensor, Tensor]:
    """Return height and tint of dashes, specks, dents and blots strewn over the picture or a part of it."""
    u, v = dice.turned(dice.r(0, 6.3))
    pitch = dice.log(14, 120)
    column, row = torch.round(u / pitch), torch.round(v / pitch)
    index, seed = column + 57 * row, dice.r(0, 50)
    du = u - (column + 0.6 * (_random(index, seed) - 0.5)) * pitch
    dv = v - (row + 0.6 * (_random(index, seed + 2) - 0.5)) * pitch
    turn = dice.r(0, 6.3) + dice.some(0.5) * 6.3 * _random(index, seed + 4)
    a, b = du * torch.cos(turn) + dv * torch.sin(turn), dv * torch.cos(turn) - du * torch.sin(turn)
    size = pitch * dice.r(0.05, 0.22) * (0.4 + _random(index, seed + 6))
    slim = torch.where(dice.r(0, 1) < 0.5, dice.r(0.08, 0.3), dice.r(0.5, 1.0))
    curl = dice.r(-0.5, 0.5) * a * a / size.clamp_min(1)
    away = torch.sqrt((a / size) ** 2 + ((b + curl) / (size * slim).clamp_min(0.8)) ** 2 + 1e-6)
    here = (_random(index, seed + 8) < dice.r(0.02, 0.6)).float()
    blot = torch.sigmoid((1 - away) * dice.r(3, 10)) * here
    return blot * dice.r(-3, 2), blot * dice.r(-0.8, 0.8)


def make_cover(dice: Dice) -> Cover:
    """Draw what lies over the marks: strings alone and in fans, wires, rods, each with its shadow."""
    over = torch.zeros(dice.n, dice.side, dice.side, device=dice.device)
    cover, tint = torch.zeros_like(over), torch.ones_like(over)
    for share in (0.22, 0.14, 0.08):
        angle = torch.where(dice.r(0, 1) < 0.5, dice.r(-0.2, 0.2) + 1.5708, dice.r(0, 6.3))
        u, v = dice.turned(angle)
        radius = dice.log(0.6, 5)
        pitch = radius * dice.log(4, 40)
        number = torch.round(v / pitch)
        low = torch.round(dice.r(-6, 0))
        number = number.clamp_min(low).clamp_max(low + torch.floor(dice.log(1, 14)))
        off = v - number * pitch * (1 + dice.r(-0.15, 0.15) * u / dice.side)
        long = torch.where(dice.r(0, 1) < 0.5, 9999.0, 0.0) + dice.r(40, 400)
        ends = torch.sigmoid(long - u.abs())
        shown = dice.some(share) * ends
        profile = torch.sqrt((1 - (off / radius) ** 2).clamp_min(0))
        tilt = dice.r(-1, 1)
        bright = dice.log(0.05, 0.8) * (0.2 + profile) + dice.r(0, 1.2) * dice.some(0.6) * torch.exp(
            -(((off / radius - tilt) / 0.3) ** 2)
        )
        wound = 1 + dice.some(0.4) * dice.r(0, 0.5) * torch.sin(u * 6.283 / (radius * dice.r(0.6, 1.5)).clamp_min(2.2))
        here = shown * torch.sigmoid((radius - off.abs()) * 3)
        over = torch.lerp(over, bright * wound, here)
        cover = torch.maximum(cover, here)
        side = dice.r(-6, 6) * radius
        shadow = shown * torch.sigmoid((radius * dice.r(0.8, 2) - (off - side).abs()) * dice.r(0.3, 2))
        tint = tint * (1 - dice.r(0, 0.7) * shadow)
    return Cover(over, cover, tint)


@dataclass
class Lamp:
    """One near lamp over each picture, values (N, 1, 1): direction, height over the surface, distance, soft shares."""

    azimuth: Tensor
    low: Tensor
    far: Tensor
    ambient: Tensor
    shine: Tensor
    shadow: Tensor
    spot: Tensor

    @staticmethod
    def draw(dice: Dice) -> Lamp:
        """Draw a lamp: often grazing, sometimes so near that the picture has a hot spot."""
        low = torch.where(dice.r(0, 1) < 0.6, dice.r(7, 45), dice.r(25, 85))
        spot = torch.where(dice.r(0, 1) < 0.3, dice.r(0.25, 0.9), 99.0)
        return Lamp(
            dice.r(0, 2 * math.pi),
            torch.deg2rad(low),
            dice.log(0.7, 8),
            dice.r(0.05, 0.6),
            dice.log(4, 60),
            dice.r(0, 0.8),
            spot,
        )


def light(lamp: Lamp, dice: Dice, ground: Ground, height: Tensor, albedo: Tensor) -> Tensor:
    """Shade heights (N, S, S): Lambert and Blinn-Phong (Blinn 1977) under a near lamp with fall-off and cast shadow."""
    padded = F.pad(height[None], (1, 1, 1, 1), mode="replicate")[0]
    gx = (padded[:, 1:-1, 2:] - padded[:, 1:-1, :-2]) / 2
    gy = (padded[:, 2:, 1:-1] - padded[:, :-2, 1:-1]) / 2
    inverse = torch.rsqrt(gx * gx + gy * gy + 1)
    nx, ny, nz = -gx * inverse, -gy * inverse, inverse
    ax, ay = torch.cos(lamp.azimuth), torch.sin(lamp.azimuth)
    reach = lamp.far * 0.6 * dice.side
    lx, ly = reach * torch.cos(lamp.low) * ax - dice.x, reach * torch.cos(lamp.low) * ay - dice.y
    lz = reach * torch.sin(lamp.low)
    square = lx * lx + ly * ly + lz * lz
    over = torch.rsqrt(square)
    fall = (reach * reach / square).clamp(0.1, 4)
    lx, ly, lz = lx * over, ly * over, lz * over
    diffuse = (nx * lx + ny * ly + nz * lz).clamp_min(0) / torch.sin(lamp.low).clamp_min(0.25)
    half = torch.rsqrt(lx * lx + ly * ly + (lz + 1) ** 2)
    shine = (nx * lx + ny * ly + nz * (lz + 1)).clamp_min(0) * half
    around = torch.sin(nx * 3.1 * (1 + ground.gloss) + lamp.azimuth * 7) * torch.cos(ny * 2.7 + lamp.shine)
    cone = torch.sqrt((dice.x - ax * 0.2 * dice.side) ** 2 + (dice.y - ay * 0.2 * dice.side) ** 2) / dice.side
    fall = fall * torch.sigmoid((lamp.spot - cone) * 8)
    lit = fall * (1 - lamp.shadow * _shadow(lamp, dice, height))
    return (
        albedo * (lamp.ambient + (1 - lamp.ambient) * diffuse * lit)
        + ground.gloss * shine**lamp.shine * lit
        + 0.3 * ground.mirror * around
    )


def _shadow(lamp: Lamp, dice: Dice, height: Tensor) -> Tensor:
    """Return how far each place is in the shadow of its surroundings toward the lamp, 0 to 1."""
    dark = torch.zeros_like(height)
    tangent = torch.tan(lamp.low)
    scale = dice.side / 2
    for step in (1.3, 3.0, 6.0, 11.0):
        px, py = (dice.x + step * torch.cos(lamp.azimuth)) / scale, (dice.y + step * torch.sin(lamp.azimuth)) / scale
        seen = F.grid_sample(height[:, None], torch.stack([px, py], -1), align_corners=False, padding_mode="border")[
            :, 0
        ]
        dark = torch.maximum(dark, (seen - height - step * tangent) * 1.5 / (1 + 0.15 * step))
    return dark.clamp(0, 1)
