"""Look-ups in stacks of small pictures on the GPU, and the bank of textures that surfaces are made of."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import torch
import torch.nn.functional as F  # noqa: N812 (the usual name)
from torch import Tensor

TILE = 256
"""Side of a texture tile in pixels; tiles wrap around."""


def look_up(tiles: Tensor, index: Tensor, x: Tensor, y: Tensor, *, wrap: bool) -> Tensor:
    """Sample `tiles` (N, S, S) at pixel places x, y of tile `index` (all of one shape), bilinearly.

    Places outside wrap around, or are clamped to the tile's edge.
    """
    side = tiles.shape[-1]
    flat = tiles.view(-1)
    x0, y0 = torch.floor(x), torch.floor(y)
    fx, fy = x - x0, y - y0
    ix, iy = x0.int(), y0.int()
    if wrap:
        xa, xb, ya, yb = ix % side, (ix + 1) % side, iy % side, (iy + 1) % side
    else:
        xa, xb = ix.clamp(0, side - 1), (ix + 1).clamp(0, side - 1)
        ya, yb = iy.clamp(0, side - 1), (iy + 1).clamp(0, side - 1)
    base = index.int() * (side * side)
    top = torch.lerp(flat[base + ya * side + xa].float(), flat[base + ya * side + xb].float(), fx)
    low = torch.lerp(flat[base + yb * side + xa].float(), flat[base + yb * side + xb].float(), fx)
    return torch.lerp(top, low, fy)


def _field(generator: torch.Generator, power: float, stretch: float, turn: float = 0.0) -> Tensor:
    """Return one (TILE, TILE) periodic noise tile with a spectrum falling as 1 / f^power, stretched along x."""
    fy = torch.fft.fftfreq(TILE)[:, None] * TILE
    fx = torch.fft.fftfreq(TILE)[None, :] * TILE
    along = (fx * np.cos(turn) + fy * np.sin(turn)) * stretch
    across = fy * np.cos(turn) - fx * np.sin(turn)
    radius = torch.sqrt(along**2 + across**2).clamp_min(1.0)
    noise = torch.fft.fft2(torch.randn(TILE, TILE, generator=generator))
    field: Tensor = torch.fft.ifft2(noise * radius ** (-power)).real
    return (field - field.mean()) / field.std()


def make_bank(textures: Path | None, seed: int) -> Tensor:
    """Return (N, TILE, TILE) float16 tiles of mean 0, deviation 1: noise of many spectra, then photos of textures."""
    generator = torch.Generator().manual_seed(seed)
    rng = np.random.default_rng(seed)
    tiles = []
    for power, stretch in (
        (0.0, 1),
        (0.6, 1),
        (1.0, 1),
        (1.4, 1),
        (1.8, 1),
        (2.2, 1),
        (1.0, 6),
        (1.4, 12),
        (0.8, 20),
        (1.2, 40),
        (0.4, 30),
        (1.7, 4),
    ):
        tiles += [_field(generator, power, stretch) for _ in range(2)]
    grain = _field(generator, 1.2, 25)
    tiles += [
        torch.tanh(2 * grain),
        (grain > 0.8).float() * 2,
        (_field(generator, 0.8, 1) > 1.6).float() * 3,
        (_field(generator, 1.2, 1) > 1.3).float() * 3,
        torch.abs(_field(generator, 1.4, 1)) - 0.8,
    ]
    tiles += [torch.sin(_field(generator, 1.8, 3) * 6) for _ in range(3)]
    files = sorted(textures.glob("*.png")) if textures else []
    for path in files:
        picture = np.asarray(cv2.imread(str(path), cv2.IMREAD_GRAYSCALE))
        half = cv2.resize(picture, (TILE // 2, TILE // 2), interpolation=cv2.INTER_AREA)
        tile = torch.from_numpy(np.block([[half, half[:, ::-1]], [half[::-1], half[::-1, ::-1]]]).astype(np.float32))
        tiles.append((tile - tile.mean()) / (tile.std() + 2))
    rng.shuffle(files)
    return torch.stack([t.float().clamp(-4, 4) for t in tiles]).half()


def blur(x: Tensor, sigma_x: Tensor, sigma_y: Tensor, radius: int = 6) -> Tensor:
    """Blur (N, H, W) by a Gaussian of its own width for each picture; sigmas (N,) in pixels."""
    n = x.shape[0]
    steps = torch.arange(-radius, radius + 1, device=x.device, dtype=x.dtype)
    kx = torch.exp(-0.5 * (steps / sigma_x[:, None].clamp_min(0.05)) ** 2)
    ky = torch.exp(-0.5 * (steps / sigma_y[:, None].clamp_min(0.05)) ** 2)
    kx, ky = kx / kx.sum(1, keepdim=True), ky / ky.sum(1, keepdim=True)
    padded = F.pad(x[None], (radius, radius, radius, radius), mode="reflect")
    wide = F.conv2d(padded, kx[:, None, None, :], groups=n)
    return F.conv2d(wide, ky[:, None, :, None], groups=n)[0]
