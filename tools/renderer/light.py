"""A canvas of height, color and gloss, and torches held near it.

Lambert's cosine law (1760) for the matte part, Blinn-Phong (Blinn 1977) for the gloss, inverse-square fall-off from a
point, a torch's beam profile, cast shadows by marching the height field toward the light, and a cavity term that
darkens hollows under the room's light. Everything is linear light, float32; the canvas lies in the plane z = 0 and the
light and the camera at positive z.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

import cv2
import numpy as np

from tools.renderer.noise import Rng, blur
from tools.renderer.spec import Floats

SHADOW_STEPS = 9
"""Samples toward the light; they lie closer together near the pixel."""


@dataclass
class Surface:
    """What the light falls on. `height` (H, W) in pixels, `albedo` (H, W, 3) linear 0 to 1, `gloss` (H, W) strength.

    `metal` (H, W) 0 to 1 colors the gloss with the albedo. `front` (H, W) is the shape in pixels of things that hang
    free in front (strings, pins) and `screens` what they, or a hand, take of any light, in the order they were put
    there. `unit` is pixels to a millimeter on this canvas and `scale` canvas pixels to a pixel of a 1600-pixel photo.
    `soft` is how far wood tears under a punch, 1 for softwood.
    """

    height: Floats
    albedo: Floats
    gloss: Floats
    metal: Floats
    front: Floats
    unit: float
    scale: float
    shininess: float = 18.0
    soft: float = 1.0
    screens: list[Screen] = field(default_factory=list)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return int(self.height.shape[0]), int(self.height.shape[1])


@dataclass(frozen=True)
class Torch:
    """A torch in canvas pixels: where it is, what it is aimed at, the beam's half width, its color (linear RGB).

    `power` is the light that a flat surface at the aim gets, `ambient` the room's light beside that.
    """

    position: tuple[float, float, float]
    aim_xy: tuple[float, float]
    beam_deg: float
    ambient: float
    color: tuple[float, float, float]
    power: float = 1.0

    @property
    def toward_xy(self) -> tuple[float, float]:
        """Unit vector in the surface's plane from the aim toward the light."""
        flat = np.array(self.position[:2]) - np.array(self.aim_xy)
        toward = flat / max(float(np.linalg.norm(flat)), 1e-6)
        return float(toward[0]), float(toward[1])


class Screen(Protocol):
    """Something in the light's way."""

    def dim(self, block: Floats, torch: Torch) -> None:
        """Change the share (H, W) of the torch's light that is taken, 0 to 1, in place."""


def torch_at(
    aim_xy: tuple[float, float], azimuth_deg: float, elevation_deg: float, distance_px: float
) -> tuple[float, float, float]:
    """Return the position of a light seen from the aim at an azimuth (0 right, 90 down) and elevation."""
    azimuth, elevation = math.radians(azimuth_deg), math.radians(elevation_deg)
    flat = distance_px * math.cos(elevation)
    return (
        aim_xy[0] + flat * math.cos(azimuth),
        aim_xy[1] + flat * math.sin(azimuth),
        distance_px * math.sin(elevation),
    )


def shade(surface: Surface, torches: Sequence[Torch], eye: tuple[float, float, float]) -> Floats:
    """Return the light toward the camera at `eye`, (H, W, 3) linear; 1 is white that faces a light at its aim.

    Lights add up. The room's light is that of the first torch. Raises ValueError without a torch.
    """
    if not torches:
        raise ValueError("no light: give at least one torch")
    height = surface.height
    shape = height + surface.front
    slope_x = np.asarray(cv2.Scharr(shape, cv2.CV_32F, 1, 0, scale=1 / 32), np.float32)
    slope_y = np.asarray(cv2.Scharr(shape, cv2.CV_32F, 0, 1, scale=1 / 32), np.float32)
    normal_z = np.asarray(1 / np.sqrt(1 + slope_x * slope_x + slope_y * slope_y), np.float32)
    normal = (slope_x, slope_y, normal_z)
    tint = surface.metal[..., None] * surface.albedo * np.float32(1.6) + (1 - surface.metal[..., None])
    total = np.zeros(surface.albedo.shape, np.float32)
    for number, torch in enumerate(torches):
        matte, glint, block = _one_light(surface, torch, normal, eye)
        if number == 0:
            matte = matte + _room(surface, torch.ambient, normal_z, block)
        color = np.array(torch.color, np.float32)
        total += (surface.albedo * matte[..., None] + tint * glint[..., None]) * color
    return total


def _one_light(
    surface: Surface, torch: Torch, normal: tuple[Floats, Floats, Floats], eye: tuple[float, float, float]
) -> tuple[Floats, Floats, Floats]:
    """Return what one torch gives to the matte part and to the gloss, and the share that screens take of it."""
    slope_x, slope_y, normal_z = normal
    block = np.zeros(surface.shape, np.float32)
    for screen in surface.screens:
        screen.dim(block, torch)
    to_light, distance = _toward(surface.shape, torch.position)
    strength = _beam(to_light, distance, torch)
    lambert = np.maximum((to_light[2] - slope_x * to_light[0] - slope_y * to_light[1]) * normal_z, 0)
    direct = strength * shadow(surface.height, to_light) * (1 - block) * np.float32(torch.power)
    glint = _glint(surface, normal, to_light, eye) * direct
    return np.asarray(lambert * direct, np.float32), np.asarray(glint, np.float32), block


def _room(surface: Surface, ambient: float, normal_z: Floats, block: Floats) -> Floats:
    """Return the room's light: less in hollows, on slopes and beside things that stand in front."""
    height = surface.height
    hollow = np.clip(1 + (height - blur(height, 3.0 * surface.scale)) * np.float32(0.12 / surface.scale), 0.35, 1.15)
    return np.asarray(np.float32(ambient) * (0.55 + 0.45 * normal_z) * hollow * (1 - 0.35 * block), np.float32)


def _toward(shape: tuple[int, int], point: tuple[float, float, float]) -> tuple[tuple[Floats, Floats, Floats], Floats]:
    """Return unit vectors from every pixel to a point, and the distance."""
    x = np.float32(point[0]) - np.arange(shape[1], dtype=np.float32)[None, :]
    y = np.float32(point[1]) - np.arange(shape[0], dtype=np.float32)[:, None]
    z = np.float32(point[2])
    distance = np.sqrt(x * x + y * y + z * z)
    inverse = 1 / distance
    unit = [np.asarray(v * inverse, np.float32) for v in (x, y, z)]
    return (unit[0], unit[1], unit[2]), np.asarray(distance, np.float32)


def _beam(to_light: tuple[Floats, Floats, Floats], distance: Floats, torch: Torch) -> Floats:
    """Return inverse-square fall-off times the torch's beam: a core, and a wider spill of a third. 1 at the aim."""
    dx, dy, dz = (np.array([*torch.aim_xy, 0.0]) - np.array(torch.position)).tolist()
    reach = math.sqrt(dx * dx + dy * dy + dz * dz)
    cosine = -(to_light[0] * (dx / reach) + to_light[1] * (dy / reach) + to_light[2] * (dz / reach))
    off_axis = np.degrees(np.arccos(np.clip(cosine, -1, 1)))
    core = np.exp(-0.5 * (off_axis / np.float32(torch.beam_deg)) ** 4)
    spill = np.exp(-0.5 * (off_axis / np.float32(torch.beam_deg * 2.2)) ** 2)
    facing = max(dz / -reach, 0.2)  # so that a flat surface at the aim has the same brightness at any elevation
    return np.asarray((0.62 * core + 0.38 * spill) * (reach / distance) ** 2 / facing, np.float32)


def _glint(
    surface: Surface,
    normal: tuple[Floats, Floats, Floats],
    to_light: tuple[Floats, Floats, Floats],
    eye: tuple[float, float, float],
) -> Floats:
    """Return the Blinn-Phong highlight, strength `gloss`."""
    if float(surface.gloss.max()) <= 0:
        return np.zeros(surface.shape, np.float32)
    to_eye, _ = _toward(surface.shape, eye)
    hx, hy, hz = (a + b for a, b in zip(to_light, to_eye, strict=True))
    length = np.sqrt(hx * hx + hy * hy + hz * hz)
    cosine = np.maximum((hz - normal[0] * hx - normal[1] * hy) * normal[2] / length, 1e-4)
    return np.asarray(surface.gloss * cv2.pow(cosine, surface.shininess), np.float32)


def shadow(height: Floats, to_light: tuple[Floats, Floats, Floats]) -> Floats:
    """Return 1 where the light reaches, 0 in full cast shadow, soft between (a torch is not a point).

    Marches from each pixel toward the light and compares the height field with the ray. The reach is what the highest
    relief can throw at the mean elevation, so flat scenes cost little.
    """
    flat = np.sqrt(to_light[0] ** 2 + to_light[1] ** 2) + 1e-6
    slope = to_light[2] / flat
    low, high = np.percentile(height[::7, ::7], (0.5, 99.8))
    reach = float(high - low) / max(float(np.median(slope)), 0.08)
    if reach < 1.2:
        return np.ones(height.shape, np.float32)
    step_x, step_y = to_light[0] / flat, to_light[1] / flat
    columns = np.arange(height.shape[1], dtype=np.float32)[None, :]
    rows = np.arange(height.shape[0], dtype=np.float32)[:, None]
    excess = np.full(height.shape, -1e3, np.float32)
    for share in np.linspace(0.15, 1, SHADOW_STEPS) ** 1.6:
        step = np.float32(max(reach * share, 1.0))
        seen = cv2.remap(
            height, columns + step_x * step, rows + step_y * step, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        np.maximum(excess, (seen - height - slope * step) / np.float32(0.35 + 0.09 * step), out=excess)
    return np.asarray(np.clip(0.75 - excess, 0.0, 1.0), np.float32)


def scatter(rng: Rng, count: int, shape: tuple[int, int]) -> Floats:
    """Return `count` random places (x, y) on a canvas."""
    return np.asarray(rng.random((count, 2)) * np.array([shape[1], shape[0]]), np.float32)
