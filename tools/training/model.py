"""The recognizer's network: convolutions only, so that OpenCV's dnn module runs it at any width and batch.

In: (N, 2, 48, W) float32, W a multiple of 4: the crop normalized as a whole and locally (see
reader/recognize/network.py). Out: (N, C, 1, W / 4) logits, class 0 the CTC blank (Graves et al. 2006). Plain 3 x 3
convolutions with residuals (He et al. 2016) look at figures; blocks of a long depthwise row convolution and squeeze-
excitation (Hu et al. 2018) look along the line, since what is figure and what is frame or neighbor shows only in
context.
"""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor, nn


@dataclass(frozen=True)
class Shape:
    """Channels of the five stages, residual blocks of the middle three, and lengths of the row convolutions.

    The default is what is shipped: 2.6 M values, 7 ms for 48 x 160 on one core in OpenCV 5.0.
    """

    widths: tuple[int, int, int, int, int] = (24, 48, 96, 160, 256)
    depths: tuple[int, int, int] = (1, 2, 1)
    kernels: tuple[int, ...] = (9, 15, 9, 15)


class Conv(nn.Module):
    """Convolution, batch normalization and, unless told otherwise, a ReLU."""

    def __init__(
        self,
        inward: int,
        outward: int,
        kernel: tuple[int, int] = (3, 3),
        stride: tuple[int, int] = (1, 1),
        *,
        groups: int = 1,
        act: bool = True,
        padding: tuple[int, int] | None = None,
    ) -> None:
        super().__init__()
        pad = padding if padding is not None else (kernel[0] // 2, kernel[1] // 2)
        self.conv = nn.Conv2d(inward, outward, kernel, stride, pad, groups=groups, bias=False)
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


class Squeeze(nn.Module):
    """Squeeze-excitation: scales each channel by what the whole line holds."""

    def __init__(self, channels: int) -> None:
        super().__init__()
        self.pool = nn.AdaptiveAvgPool2d(1)
        self.inward = nn.Conv2d(channels, channels // 4, 1)
        self.outward = nn.Conv2d(channels // 4, channels, 1)

    def forward(self, x: Tensor) -> Tensor:
        """Apply to (N, C, H, W)."""
        gate = torch.sigmoid(self.outward(torch.relu(self.inward(self.pool(x)))))
        return x * gate


class Along(nn.Module):
    """A long depthwise row convolution, squeeze-excitation and a two-layer mix of channels, with a short cut."""

    def __init__(self, channels: int, kernel: int, widen: int = 2) -> None:
        super().__init__()
        self.row = Conv(channels, channels, (1, kernel), groups=channels)
        self.squeeze = Squeeze(channels)
        self.up = Conv(channels, channels * widen, (1, 1))
        self.down = Conv(channels * widen, channels, (1, 1), act=False)
        nn.init.zeros_(self.down.norm.weight)

    def forward(self, x: Tensor) -> Tensor:
        """Apply to (N, C, 1, T)."""
        out: Tensor = x + self.down(self.up(self.squeeze(self.row(x))))
        return out


class LineNetwork(nn.Module):
    """Logits along a line."""

    def __init__(self, classes: int, shape: Shape | None = None) -> None:
        super().__init__()
        shape = shape or Shape()
        a, b, c, d, e = shape.widths
        depths, kernels = shape.depths, shape.kernels
        layers: list[nn.Module] = [Conv(2, a // 2 + 8, stride=(2, 2)), Conv(a // 2 + 8, a)]
        layers += [Conv(a, b, stride=(2, 2)), *(Residual(b) for _ in range(depths[0]))]
        layers += [Conv(b, c, stride=(2, 1)), *(Residual(c) for _ in range(depths[1]))]
        layers += [Conv(c, d, stride=(2, 1)), *(Residual(d) for _ in range(depths[2]))]
        layers += [Conv(d, e, (3, 3), padding=(0, 1)), *(Along(e, kernel) for kernel in kernels)]
        self.body = nn.Sequential(*layers)
        self.drop = nn.Dropout(0.1)
        self.head = nn.Conv2d(e, classes, 1)

    def forward(self, x: Tensor) -> Tensor:
        """Map (N, 2, 48, W) to (N, classes, 1, W / 4)."""
        out: Tensor = self.head(self.drop(self.body(x)))
        return out


def count_parameters(network: nn.Module) -> int:
    """Return the number of trained values."""
    return sum(p.numel() for p in network.parameters() if p.requires_grad)
