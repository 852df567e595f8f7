"""What camera and file do to a crop: blur, few pixels, noise, sharpening, tone, JPEG; and the network's channels."""

from __future__ import annotations

import math

import torch
import torch.nn.functional as F  # noqa: N812 (the usual name)
from torch import Tensor

from tools.training.layout import uniform
from tools.training.tiles import blur

LOCAL_PX = 15
"""Side of the window of the locally normalized channel."""

LEAST_PX = 9.0
"""Least height in pixels that figures are scaled down to: below it they are no longer read."""

LOCAL_FLOOR = 4.0
"""Gray levels (of 255) of deviation under which the local channel is not stretched further: sensor noise."""


def _blurs(figure_px: Tensor) -> tuple[Tensor, Tensor]:
    """Return blur along x and y in pixels, (N,) each: defocus on all, motion on some, by the figures' height."""
    n, device = len(figure_px), figure_px.device
    focus = figure_px * torch.where(
        torch.rand(n, device=device) < 0.3, uniform((n,), 0.03, 0.08, device), uniform((n,), 0.0, 0.035, device)
    )
    motion = figure_px * uniform((n,), 0.03, 0.12, device) * (torch.rand(n, device=device) < 0.1)
    across = torch.rand(n, device=device) < 0.6
    wide = torch.sqrt(focus**2 + torch.where(across, motion, 0.0) ** 2 + 0.09)
    high = torch.sqrt(focus**2 + torch.where(across, 0.0, motion) ** 2 + 0.09)
    return wide, high


def thin_out(image: Tensor, figure_px: Tensor) -> Tensor:
    """Scale half of the crops (2, N, H, W) down and up again, by block, figures to no less than LEAST_PX."""
    _, n, rows, width = image.shape
    block = max(1, n // 16)
    parts = [part.flatten(0, 1) for part in image.split(block, 1)]
    order = torch.randperm(len(parts)).tolist()
    for number, place in enumerate(order[: len(parts) // 2]):
        factor = (0.32, 0.4, 0.5, 0.62, 0.75, 0.85, 0.45, 0.56)[number % 8]
        small = F.interpolate(
            parts[place][:, None],
            size=(round(rows * factor), round(width * factor)),
            mode="bilinear",
            antialias=True,
            align_corners=False,
        )
        mode = "bicubic" if number % 2 else "bilinear"
        enough = (figure_px.split(block)[place] * factor >= LEAST_PX).repeat(2)[:, None, None]
        coarse = F.interpolate(small, size=(rows, width), mode=mode, align_corners=False)[:, 0]
        parts[place] = torch.where(enough, coarse, parts[place])
    return torch.cat([part.unflatten(0, (2, -1)) for part in parts], 1)


def expose(image: Tensor) -> Tensor:
    """Map brightness (2, N, H, W) to gray 0 to 255: random exposure, contrast and gamma; light may burn out."""
    n, device = image.shape[1], image.device
    mean = image[0].mean((1, 2), keepdim=True)
    target = torch.exp(uniform((n, 1, 1), math.log(0.16), math.log(0.75), device))
    scaled = (image / mean.clamp_min(0.02) * target).clamp(0, 1.15).clamp_max(1)
    gamma = torch.exp(torch.randn(n, 1, 1, device=device) * 0.3)
    gray = torch.where(torch.rand(n, 1, 1, device=device) < 0.06, 1 - scaled, scaled) ** gamma
    flat = torch.where(
        torch.rand(n, 1, 1, device=device) < 0.2,
        uniform((n, 1, 1), 0.2, 0.8, device),
        torch.ones(n, 1, 1, device=device),
    )
    return 255 * (gray * flat + (1 - flat) * uniform((n, 1, 1), 0, 1, device))


def noise_level(n: int, device: torch.device) -> Tensor:
    """Return the deviation of sensor noise in gray levels, (N,)."""
    usual = torch.exp(uniform((n,), math.log(0.5), math.log(6.0), device))
    return torch.where(torch.rand(n, device=device) < 0.15, usual * 2.5, usual)


def add_noise(image: Tensor, level: Tensor) -> Tensor:
    """Add noise, half of it coarse as after demosaicing and denoising."""
    n, rows, width = image.shape
    white = torch.randn_like(image)
    coarse = F.interpolate(
        torch.randn(n, 1, rows // 2, width // 2, device=image.device),
        size=(rows, width),
        mode="bilinear",
        align_corners=False,
    )[:, 0]
    return image + level[:, None, None] * (0.6 * white + 0.8 * coarse)


def sharpen(image: Tensor) -> Tensor:
    """Sharpen a third of the crops as phones do."""
    n, device = len(image), image.device
    amount = uniform((n, 1, 1), 0.3, 2.0, device) * (torch.rand(n, 1, 1, device=device) < 0.33)
    soft = F.avg_pool2d(F.pad(image[:, None], (1, 1, 1, 1), mode="replicate"), 3, 1)[:, 0]
    return image + amount * (image - soft)


def compress(image: Tensor) -> Tensor:
    """Quantize 8 x 8 cosine coefficients of half of the crops, as baseline JPEG does (ITU-T T.81)."""
    n, rows, width = image.shape
    device = image.device
    k = torch.arange(8, device=device, dtype=torch.float32)
    basis = torch.cos((2 * k[None] + 1) * k[:, None] * math.pi / 16) * math.sqrt(2 / 8)
    basis[0] /= math.sqrt(2)
    blocks = image.view(n, rows // 8, 8, width // 8, 8).permute(0, 1, 3, 2, 4)
    spectrum = basis @ blocks @ basis.T
    strength = torch.exp(uniform((n, 1, 1, 1, 1), math.log(1.0), math.log(12.0), device))
    table = strength * (1.5 + (k[:, None] + k[None]) * 0.9)
    rounded = torch.round(spectrum / table) * table
    back = (basis.T @ rounded @ basis).permute(0, 1, 3, 2, 4).reshape(n, rows, width)
    return torch.where(torch.rand(n, 1, 1, device=device) < 0.5, back, image)


def photograph(image: Tensor, bare: Tensor, figure_px: Tensor, level: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Turn brightness (N, H, W) into gray levels 0 to 255.

    `bare` is the same crop without its marks. Returned are the picture (N, H, W), both crops (2, N, H, W) before noise,
    and what noise, sharpening and file added to the first, (N, H, W).
    """
    focus, motion = _blurs(figure_px)
    pair = torch.stack([blur(image, focus, motion), blur(bare, focus, motion)])
    pair = expose(thin_out(pair, figure_px))
    gray = compress(sharpen(add_noise(pair[0], level)).clamp(0, 255)).clamp(0, 255)
    return gray, pair, gray - pair[0]


def normalize(gray: Tensor) -> Tensor:
    """Return (N, 2, H, W): gray levels by the crop's mean and deviation, and by those of a window around each pixel."""
    mean = gray.mean((1, 2), keepdim=True)
    deviation = gray.std((1, 2), keepdim=True, correction=0)
    whole = ((gray - mean) / (deviation + 2.0)).clamp(-4, 4)
    pad = LOCAL_PX // 2
    padded = F.pad(gray[:, None], (pad, pad, pad, pad), mode="reflect")
    near = F.avg_pool2d(padded, LOCAL_PX, 1)[:, 0]
    square = F.avg_pool2d((padded - mean[:, None]) ** 2, LOCAL_PX, 1)[:, 0] - (near - mean) ** 2
    local = ((gray - near) / torch.sqrt(square.clamp_min(0) + LOCAL_FLOOR**2)).clamp(-4, 4)
    return torch.stack([whole, local], 1)
