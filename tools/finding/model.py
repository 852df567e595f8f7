"""The region network: convolutions only, so that OpenCV's dnn module runs it at any size.

In: (N, 2, H, W) float32, H and W multiples of 32: the photo normalized as a whole and locally
(reader/locate/network.py). Out: (N, 5, H / 4, W / 4), the planes of OUTPUTS. A U-shaped network (Ronneberger et al.
2015) of 3 x 3 convolutions with residuals (He et al. 2016); about 6,400 multiplications a pixel. What is asked of it
follows text kernels (Wang et al. 2019, PSENet; Liao et al. 2020, DB): the middle band of each line, so that lines close
together stay apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor, nn

OUTPUTS = ("kernel", "cos2", "sin2", "height", "figures")
"""Planes of the output: logit of a line's middle band; cosine and sine of the doubled angle of reading, which says the
axis but not which way along it (turns.py does); log of the figures' height over HEIGHT_UNIT; logit of figures in the
line."""

HEIGHT_UNIT = 32.0
"""Figure height in input pixels whose log is 0."""

STRIDE = 4
"""Input pixels a cell of the output."""


@dataclass(frozen=True)
class Shape:
    """Channels at 1/2, 1/4, 1/8, 1/16 and 1/32, residual blocks at the last four, channels of the way back."""

    widths: tuple[int, int, int, int, int] = (16, 32, 64, 96, 128)
    depths: tuple[int, int, int, int] = (1, 1, 2, 1)
    back: int = 48
    head: int = 32


class Conv(nn.Module):
    """A 3 x 3 convolution, batch normalization and, unless told otherwise, a ReLU."""

    def __init__(self, inward: int, outward: int, *, stride: int = 1, kernel: int = 3, act: bool = True) -> None:
        super().__init__()
        self.conv = nn.Conv2d(inward, outward, kernel, stride, kernel // 2, bias=False)
        self.norm = nn.BatchNorm2d(outward)
        self.act: nn.Module = nn.ReLU(inplace=True) if act else nn.Identity()

    def forward(self, x: Tensor) -> Tensor:
        """Apply to (N, C, H, W)."""
        out: Tensor = self.act(self.norm(self.conv(x)))
        return out


class Residual(nn.Module):
    """Two 3 x 3 convolutions with a short cut."""

    def __init__(self, channels: int) -> None:
        super().__init__()
        last = Conv(channels, channels, act=False)
        nn.init.zeros_(last.norm.weight)
        self.body = nn.Sequential(Conv(channels, channels), last)

    def forward(self, x: Tensor) -> Tensor:
        """Apply to (N, C, H, W)."""
        return torch.relu(x + self.body(x))


class RegionNetwork(nn.Module):
    """Planes of OUTPUTS at a quarter of the input's size."""

    def __init__(self, shape: Shape | None = None) -> None:
        super().__init__()
        shape = shape or Shape()
        widths = shape.widths
        self.stem = Conv(2, widths[0], stride=2)
        self.down = nn.ModuleList(
            nn.Sequential(Conv(inward, outward, stride=2), *(Residual(outward) for _ in range(depth)))
            for inward, outward, depth in zip(widths, widths[1:], shape.depths, strict=False)
        )
        self.across = nn.ModuleList(Conv(width, shape.back, kernel=1) for width in widths[1:])
        self.back = nn.ModuleList(
            [Conv(shape.back, shape.head), Conv(shape.back, shape.back), Conv(shape.back, shape.back)]
        )
        self.twice = nn.Upsample(scale_factor=2, mode="nearest")
        self.out = nn.Conv2d(shape.head, len(OUTPUTS), 1)
        nn.init.constant_(self.out.bias, 0.0)
        with torch.no_grad():
            self.out.bias[0] = -3.0  # few cells lie in a line: start from that

    def forward(self, x: Tensor) -> Tensor:
        """Map (N, 2, H, W) to (N, 5, H / 4, W / 4)."""
        x = self.stem(x)
        levels = []
        for stage, side in zip(self.down, self.across, strict=True):
            x = stage(x)
            levels.append(side(x))
        y = levels[-1]
        for level in (2, 1, 0):
            y = self.back[level](self.twice(y) + levels[level])
        out: Tensor = self.out(y)
        return out


def count_parameters(network: nn.Module) -> int:
    """Return the number of trained values."""
    return sum(p.numel() for p in network.parameters() if p.requires_grad)
