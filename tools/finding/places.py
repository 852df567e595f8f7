"""Where the lines of a scene stand on its plane, and what lies where along a line.

The plane is seen in mild perspective. Lines are stacked on others, stand beside them, in rows of equal plates or on
their own, straight or on an arc as on a coin's rim, and never lie on one another. All of a batch is placed at once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import torch
from torch import Tensor

from tools.training.layout import Line, uniform

LINES = 8
"""Most lines of a scene."""

COUNT_SHARES = (0.16, 0.15, 0.19, 0.18, 0.14, 0.1, 0.08, 0.0, 0.0)
"""Shares of scenes with no line, one, and so on; scenes of like plates have 3 to LINES."""

HEIGHT_PX = (10.0, 140.0)
"""Smallest and largest figure height in pixels of the scene."""

STACKED, BESIDE = 0.45, 0.08
"""Chance that a line stands above or below, or on one line with, the one before."""

AXES = (0.55, 0.16, 0.16, 0.13)
"""Shares of lines read rightward, downward, upward and upside down, of those near an axis."""

NEAR_AXIS = 0.6
"""Share of lines near an axis; the others stand in any direction."""

STRAIGHT = 1e-3
"""Curvature in 1 / heights below which a line counts as straight."""


@dataclass
class Lines:
    """All lines of a batch as rows N * LINES: where on the plane, in which direction, how large, and how drawn.

    `center` (R, 2) in pixels from the picture's middle, `angle` in radians (of a curved line at its middle), `height`
    in pixels, `squeeze` how much wider than set, `start` and `end` the ink along the line in set heights, `shear` and
    `bend` in heights, `curve` 1 / radius in 1 / heights, positive where the ends turn downward, `present` and `figures`
    truth values, `alike` (N,) whether a scene shows like plates, `values` one (R,) for each of lines.RANGES and more.
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
    curve: Tensor
    present: Tensor
    figures: Tensor
    alike: Tensor
    values: dict[str, Tensor]

    def length(self) -> Tensor:
        """Return the length along the line, (R,) in heights."""
        return (self.end - self.start) * self.squeeze

    def straight(self) -> Tensor:
        """Return which lines (R,) turn by less than 0.3 radians from their middle to their ends."""
        length = self.length()
        return (self.curve * length / 2).abs() + (4 * self.bend / length.clamp_min(1)).abs() < 0.3

    def extent(self) -> Tensor:
        """Return length and height, (R, 2) in heights, of a box around the line with the line's middle at its own."""
        length, curve = self.length(), self.curve.abs()
        radius = 1 / curve.clamp_min(STRAIGHT)
        half = length / 2 / radius
        chord = 2 * (radius + 0.5) * torch.sin(half.clamp_max(math.pi / 2))
        arc = torch.stack([chord, 1 + 2 * radius * (1 - torch.cos(half))], 1)
        return torch.where((curve > STRAIGHT)[:, None], arc, torch.stack([length, torch.ones_like(length)], 1))


def place_lines(lines: Lines, some: Tensor, side: int) -> None:
    """Choose place, direction and size of the lines, one after the other, each without touching those before.

    `some` (R,) says which lines have ink at all.
    """
    device = lines.center.device
    n = len(lines.alike)
    count = torch.multinomial(torch.tensor(COUNT_SHARES, device=device).expand(n, -1), 1)[:, 0]
    view = {
        name: getattr(lines, name).view(n, LINES, *getattr(lines, name).shape[1:])
        for name in ("center", "angle", "height", "present")
    }
    extent = lines.extent().view(n, LINES, 2)
    for k in range(LINES):
        wanted = (k < count) & some.view(n, LINES)[:, k]
        placed = torch.zeros(n, dtype=torch.bool, device=device)
        for _ in range(3 if k else 1):
            center, angle, height = _propose(view, extent, k, side)
            half = extent[:, k] * height[:, None] / 2
            others = (view["center"], view["angle"], extent * view["height"][..., None] / 2)
            apart = _apart((center[:, None], angle[:, None], half[:, None] * 1.12), others)
            take = wanted & (apart | ~view["present"]).all(1) & ~placed
            view["center"][:, k] = torch.where(take[:, None], center, view["center"][:, k])
            view["angle"][:, k] = torch.where(take, angle, view["angle"][:, k])
            view["height"][:, k] = torch.where(take, height, view["height"][:, k])
            placed |= take
        view["present"][:, k] = placed
    _place_alike(lines, some, side)


def _directions(n: int, device: torch.device) -> Tensor:
    """Return directions of reading (n,) in radians, many of them near an axis."""
    near = torch.multinomial(torch.tensor(AXES, device=device).expand(n, -1), 1)[:, 0]
    turn = torch.tensor((0.0, math.pi / 2, -math.pi / 2, math.pi), device=device)[near]
    anywhere = uniform((n,), -math.pi, math.pi, device)
    close = turn + torch.randn(n, device=device) * 0.12
    return torch.where(torch.rand(n, device=device) < NEAR_AXIS, close, anywhere)


def _heights(n: int, device: torch.device) -> Tensor:
    return torch.exp(uniform((n,), math.log(HEIGHT_PX[0]), math.log(HEIGHT_PX[1]), device))


def _place_alike(lines: Lines, some: Tensor, side: int) -> None:
    """Set the lines of scenes of like plates in rows and columns, each on a plate of its own or on the bare ground."""
    n, device = len(lines.alike), lines.center.device

    def r(low: float, high: float) -> Tensor:
        return uniform((n, 1), low, high, device)

    plates = r(0, 1) < 0.65
    longest = lines.length().view(n, LINES).amax(1, keepdim=True)
    gap = torch.where(plates, r(0.9, 3), r(1.7, 4))
    wide, high = longest + gap, 1 + r(0.25, 2)
    columns, rows = torch.randint(1, 5, (n, 1), device=device), torch.randint(1, 4, (n, 1), device=device)
    columns = torch.where((columns == 1) & (rows == 1), 3, columns)
    room = torch.minimum(side * 1.05 / (columns * wide), side * 1.05 / (rows * high))
    height = torch.minimum(_heights(n, device)[:, None], room).clamp_min(HEIGHT_PX[0] * 0.9)
    angle = _directions(n, device)[:, None]
    number = torch.arange(LINES, device=device)[None]
    u = (number % columns - (columns - 1) / 2) * wide + torch.randn(n, LINES, device=device) * 0.06
    v = (number // columns - (rows - 1) / 2) * high + torch.randn(n, LINES, device=device) * 0.06
    cos, sin = torch.cos(angle), torch.sin(angle)
    center = torch.stack([u * cos - v * sin, u * sin + v * cos], 2) * height[..., None]
    center = center + uniform((n, 1, 2), -0.15, 0.15, device) * side
    there = some.view(n, LINES) & (number < columns * rows)
    chosen = lines.alike[:, None].expand(-1, LINES)
    unsteady = angle + torch.randn(n, LINES, device=device) * 0.01
    for name, value in (("angle", unsteady), ("height", height.expand(-1, LINES)), ("present", there)):
        own = getattr(lines, name).view(n, LINES)
        own.copy_(torch.where(chosen, value, own))
    lines.center.copy_(torch.where(chosen.reshape(-1, 1), center.flatten(0, 1), lines.center))
    for name, value in (("label", plates), ("plate_u", r(0.1, 0.42) * gap), ("plate_v", r(0.1, 1.0))):
        own = lines.values[name].view(n, LINES)
        own.copy_(torch.where(chosen, value.float().expand(-1, LINES), own))


def _propose(view: dict[str, Tensor], extent: Tensor, k: int, side: int) -> tuple[Tensor, Tensor, Tensor]:
    """Return center (N, 2), angle and height (N,) of a try for line `k`."""
    n, device = len(extent), extent.device

    def r(low: float, high: float) -> Tensor:
        return uniform((n,), low, high, device)

    angle, height = _directions(n, device), _heights(n, device)
    roomy = side * torch.where(r(0, 1) < 0.1, 1.6, 0.9) / extent[:, k].amax(1)
    height = torch.minimum(height, roomy).clamp_min(HEIGHT_PX[0] * 0.8)
    if k:
        j = k - 1
        roll = r(0, 1)
        joined = view["present"][:, j] & (roll < STACKED + BESIDE)
        angle = torch.where(joined, view["angle"][:, j] + torch.randn(n, device=device) * 0.015, angle)
        like = view["height"][:, j] * torch.exp(torch.where(r(0, 1) < 0.4, r(-0.1, 0.1), r(-1.0, 0.8)))
        height = torch.where(joined, torch.minimum(like, roomy).clamp_min(HEIGHT_PX[0] * 0.8), height)
    own = extent[:, k] * height[:, None]
    half = own / 2
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
        other = extent[:, j] * view["height"][:, j, None]
        spare = (other[:, 0] - own[:, 0]).abs() / 2
        shift = torch.where(r(0, 1) < 0.5, r(-0.1, 0.1), r(-1.1, 1.1)) * spare
        down = sign * ((own[:, 1] + other[:, 1]) / 2 + gap)
        stacked = view["center"][:, j] + across * down[:, None] + along * shift[:, None]
        aside = (own[:, 0] + other[:, 0]) / 2 + r(1.7, 4) * torch.maximum(height, view["height"][:, j])
        beside = view["center"][:, j] + along * (sign * aside)[:, None] + across * (r(-0.15, 0.15) * smaller)[:, None]
        near_other = torch.where((roll < STACKED)[:, None], stacked, beside)
        center = torch.where(joined[:, None], near_other, center)
    return center, angle, height


Box = tuple[Tensor, Tensor, Tensor]
"""Turned boxes: centers (N, K, 2), angles (N, K), half sizes (N, K, 2)."""


def _apart(first: Box, second: Box) -> Tensor:
    """Return (N, K), whether pairs of boxes have an axis that parts them (separating axis theorem); K may be 1."""
    offset = second[0] - first[0]
    turn = second[1] - first[1]
    cos, sin = torch.cos(turn).abs(), torch.sin(turn).abs()
    apart = torch.zeros_like(turn, dtype=torch.bool)
    for angle, own, other in ((first[1], first[2], second[2]), (second[1], second[2], first[2])):
        c, s = torch.cos(angle), torch.sin(angle)
        u, v = offset[..., 0] * c + offset[..., 1] * s, offset[..., 1] * c - offset[..., 0] * s
        along, across = other[..., 0] * cos + other[..., 1] * sin, other[..., 0] * sin + other[..., 1] * cos
        apart = apart | (u.abs() > own[..., 0] + along) | (v.abs() > own[..., 1] + across)
    return apart


@dataclass
class View:
    """How the plane is seen: perspective (N, 2) and the plane's coordinates x, y (N, S, S) of every pixel."""

    lean: Tensor
    x: Tensor
    y: Tensor
    side: int

    def cells(self, step: int) -> View:
        """Return the view at the middles of cells of `step` pixels (an even number)."""
        half = step // 2
        x, y = ((p[:, half - 1 :: step, half - 1 :: step] + p[:, half::step, half::step]) / 2 for p in (self.x, self.y))
        return View(self.lean, x, y, self.side)

    def to_picture(self, points: Tensor) -> Tensor:
        """Map points (N, P, 2) of the plane to pixels (N, P, 2) of the picture, its first pixel's middle at 0, 0."""
        depth = 1 / (1 - (points / (self.side / 2) * self.lean[:, None]).sum(2, keepdim=True)).clamp(0.3, 3)
        return points * depth + (self.side - 1) / 2


def make_view(n: int, side: int, device: torch.device) -> View:
    """Draw a perspective for each scene."""
    lean = (torch.randn(n, 2, device=device) * 0.07).clamp(-0.2, 0.2)
    steps = torch.arange(side, device=device) - (side - 1) / 2
    y, x = torch.meshgrid(steps, steps, indexing="ij")
    depth = 1 + (x[None] * lean[:, :1, None] + y[None] * lean[:, 1:, None]) / (side / 2)
    return View(lean, x[None] / depth, y[None] / depth, side)


def places_in_line(lines: Lines, view: View, k: int) -> tuple[Tensor, Tensor, Tensor]:
    """Return what lies where on line `k` of every scene, (N, S, S) each.

    Places along and across in set heights (across, figures reach from 0 to 1), and by how much the direction of
    reading there is turned from the line's, in radians.
    """
    n = len(view.x)

    def c(name: str) -> Tensor:
        value: Tensor = getattr(lines, name).view(n, LINES)[:, k, None, None]
        return value

    center = lines.center.view(n, LINES, 2)[:, k]
    dx, dy = view.x - center[:, 0, None, None], view.y - center[:, 1, None, None]
    cos, sin = torch.cos(c("angle")), torch.sin(c("angle"))
    along, v = (dx * cos + dy * sin) / c("height"), (dy * cos - dx * sin) / c("height")
    curved, sign = c("curve").abs() > STRAIGHT, torch.sign(c("curve"))
    radius = 1 / c("curve").abs().clamp_min(STRAIGHT)
    depth = radius - sign * v
    turn = torch.where(curved, torch.atan2(along, depth), 0.0)
    v = torch.where(curved, sign * (radius - torch.hypot(along, depth)), v)
    along = torch.where(curved, radius * turn, along)
    length = ((c("end") - c("start")) * c("squeeze")).clamp_min(1)
    v = v + c("bend") * (2 * along / length) ** 2 + 0.5
    turn = sign * turn - torch.atan(8 * c("bend") * along / length**2)
    u = (along + c("shear") * (v - 0.5)) / c("squeeze") + (c("start") + c("end")) / 2
    return u, v, turn


def points_on_lines(lines: Lines, view: View, u: Tensor, v: Tensor) -> Tensor:
    """Return pixels (N, LINES, P, 2) of the places u (-0.5 start to 0.5 end), v (-0.5 top to 0.5 foot), (P,) each."""
    along = lines.length()[:, None] * u
    radius = 1 / torch.where(lines.curve.abs() > STRAIGHT, lines.curve, STRAIGHT)[:, None]
    x, y = (radius - v) * torch.sin(along / radius), radius - (radius - v) * torch.cos(along / radius)
    straight = (lines.curve.abs() <= STRAIGHT)[:, None]
    x, y = torch.where(straight, along, x), torch.where(straight, v.expand_as(along), y)
    cos, sin = torch.cos(lines.angle)[:, None], torch.sin(lines.angle)[:, None]
    turned = torch.stack([x * cos - y * sin, x * sin + y * cos], 2) * lines.height[:, None, None]
    plane = (lines.center[:, None] + turned).view(len(view.x), -1, 2)
    return view.to_picture(plane).view(len(view.x), LINES, -1, 2)


def line_quads(lines: Lines, view: View) -> Tensor:
    """Return the corners (N, LINES, 4, 2) of all lines in pixels of the picture."""
    ends = torch.tensor(((-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)), device=lines.center.device)
    return points_on_lines(lines, view, ends[:, 0], ends[:, 1])
