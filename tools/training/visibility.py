"""How well a person could read a rendered crop: the marks' strength over texture and noise, figure by figure.

Letters are told apart by detail of about three cycles a letter (Solomon and Pelli 1994). So the gray levels are
filtered to that band, and the energy that the marks add there is compared, in each figure's box, with the energy of
what else is there: the ground's texture, what the camera and the file added, and a floor for what eyes notice. The
weakest figure decides, since a string is read when all of it is.
"""

from __future__ import annotations

import torch
from torch import Tensor

from tools.training.layout import Line
from tools.training.tiles import blur

FINE, COARSE = 0.05, 0.15
"""Deviations of the two Gaussians whose difference is the band, in figure heights."""

FLOOR = 1.0
"""Gray levels (of 255) in the band that are not noticed even on an even ground."""

READABLE = 2.0
"""Ratio from which a person reads a crop: chosen by a blind reading of held-out crops (LABBOOK.md)."""

UNSEEN, SEEN = 0.4, 0.8
"""Ratio below which a crop is taught as 'nothing', and from which its string is taught; between, it is left out."""

LEAST_PX = 9.0
"""Least height of readable figures in pixels."""

LETTERS = 36
"""Codes below are figures and capitals; those from the first small letter on count too, signs do not."""

FIRST_SMALL = 44


def band(picture: Tensor, figure_px: Tensor) -> Tensor:
    """Return (N, H, W) with only the detail by which figures of `figure_px` (N,) are told apart."""
    fine, coarse = FINE * figure_px, COARSE * figure_px
    return blur(picture, fine, fine) - blur(picture, coarse, coarse)


def readability(
    marked: Tensor,
    bare: Tensor,
    added: Tensor,
    figure_px: Tensor,
    *,
    main: Line,
    codes: Tensor,
    u: Tensor,
    v: Tensor,
) -> Tensor:
    """Return the ratio of the weakest figure, (N,).

    `marked`, `bare` (N, H, W) are gray levels after blur and scaling with and without the marks, `added` what noise,
    sharpening and file added; u, v are each pixel's place in the line and `codes` (N, K) what stands there.
    """
    n = len(u)
    signal = band(marked - bare, figure_px) ** 2
    rest = band(bare + added, figure_px) ** 2
    bounds = ((main.center[:, 1:] + main.center[:, :-1]) / 2).contiguous()
    flat = u.flatten(1).contiguous()
    slot = torch.searchsorted(bounds, flat)
    aside = (flat - main.center.gather(1, slot)).abs() - main.half.gather(1, slot)
    inside = ((aside < 0.06) & ((v.flatten(1) - 0.5).abs() < 0.56)).float()
    zero = torch.zeros(n, codes.shape[1], device=u.device)
    count = zero.scatter_add(1, slot, inside)
    strength = zero.scatter_add(1, slot, inside * signal.flatten(1)) / count.clamp_min(1)
    other = zero.scatter_add(1, slot, inside * rest.flatten(1)) / count.clamp_min(1)
    ratio = torch.sqrt(strength / (other + FLOOR**2))
    told = (main.cell >= 0) & (((codes >= 0) & (codes < LETTERS)) | (codes >= FIRST_SMALL))
    lost = told & (count < 1)
    ratio = torch.where(lost, 0.0, torch.where(told, ratio, torch.inf))
    return ratio.amin(1)
