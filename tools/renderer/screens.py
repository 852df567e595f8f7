"""Things that stand in the light, and what each takes of a torch anywhere: shadows that a height field cannot throw.

A scene lists them in the order in which they were put there; lighting it applies them in that order to one field, the
share of the torch's light that is taken. Lengths are canvas pixels.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.renderer.light import Torch
from tools.renderer.noise import blur, smoothstep
from tools.renderer.spec import Floats

Flat = tuple[float, float]
Window = tuple[slice, slice]


def drop(torch: Torch, x: float, y: float, up: float) -> Flat:
    """Return where the shadow of a point `up` over (x, y) falls."""
    light = torch.position
    share = up / max(light[2] - up, 0.25 * light[2], 1.0)
    return x + (x - light[0]) * share, y + (y - light[1]) * share


def around(shape: tuple[int, int], points: list[Flat], margin: float) -> tuple[int, int, Floats, Floats]:
    """Return the first pixel and the coordinates of a window around points."""
    p = np.array(points)
    x0, y0 = np.maximum(np.floor(p.min(0) - margin), 0).astype(int).tolist()
    x1, y1 = np.minimum(np.ceil(p.max(0) + margin), np.array(shape)[::-1]).astype(int).tolist()
    y, x = np.mgrid[y0 : max(y1, y0), x0 : max(x1, x0)].astype(np.float32)
    return x0, y0, x, y


def capsule(x: Floats, y: Floats, a: Flat, b: Flat) -> tuple[Floats, Floats]:
    """Return the share along a-b (0 to 1) of the nearest point, and the distance to it."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    along = np.clip(((x - a[0]) * dx + (y - a[1]) * dy) / (dx * dx + dy * dy + 1e-6), 0, 1).astype(np.float32)
    return along, np.hypot(x - a[0] - along * dx, y - a[1] - along * dy).astype(np.float32)


def free_mask(front: Floats) -> NDArray[np.uint8]:
    """Return where nothing hangs in front yet, as packed bits (pictures are large and pins many)."""
    return np.packbits(np.abs(front) < 0.01)


def _free(mask: NDArray[np.uint8], shape: tuple[int, int], at: Window) -> NDArray[np.bool_]:
    """Return the window of a packed mask."""
    bits = np.unpackbits(mask, count=shape[0] * shape[1]).reshape(shape)
    return bits[at].astype(bool)


def _window(x0: int, y0: int, x: Floats) -> Window:
    return slice(y0, y0 + x.shape[0]), slice(x0, x0 + x.shape[1])


@dataclass(frozen=True)
class SheetShadow:
    """The narrow shadow of a paper's edge; `sheet` (H, W) is the paper's cover."""

    sheet: Floats
    unit: float

    def dim(self, block: Floats, torch: Torch) -> None:
        """Darken the ground beside the sheet on the side away from the light."""
        reach = 1.4 * self.unit
        x, y = torch.toward_xy
        matrix = np.array([[1, 0, -reach * x], [0, 1, -reach * y]])
        moved = np.asarray(cv2.warpAffine(self.sheet, matrix, self.sheet.shape[::-1]), np.float32)
        np.maximum(block, 0.85 * np.clip(blur(moved, 0.6 * self.unit) - self.sheet, 0, 1), out=block)


@dataclass(frozen=True)
class StepShadow:
    """The shadow of a step where the surface ends: what lies beyond is lower (-1), level (0) or higher (1)."""

    beyond: Floats
    level: float
    normal: Flat
    unit: float

    def dim(self, block: Floats, torch: Torch) -> None:
        """Shade the lower side of the step; a gap that the light does not reach across lies half in the dark."""
        toward = torch.toward_xy
        lit = self.normal[0] * toward[0] + self.normal[1] * toward[1]
        if self.level * lit > 0.05:
            near = -self.beyond if self.level > 0 else self.beyond
            band = np.clip(1.15 - near / np.float32(7.0 * self.unit * abs(lit)), 0, 1) * (near > 0)
            np.maximum(block, smoothstep(0, 0.5, band) * np.float32(0.85), out=block)
        elif self.level < 0:
            np.maximum(block, smoothstep(-1, 1, self.beyond) * np.float32(0.5), out=block)


@dataclass(frozen=True)
class HandShadow:
    """A hand or the phone in the light: a soft `cover` (H, W). It moves with the light, so it looks alike from all."""

    cover: Floats

    def dim(self, block: Floats, torch: Torch) -> None:
        """Take the light that the hand takes."""
        np.maximum(block, self.cover, out=block)


@dataclass(frozen=True)
class Body:
    """A thing in front that itself is lit: no shadow of earlier things on it."""

    at: Window
    cover: Floats

    def dim(self, block: Floats, torch: Torch) -> None:
        """Give the light back where the thing is."""
        block[self.at] *= 1 - self.cover


@dataclass(frozen=True)
class StringShadows:
    """Soft lines beside parallel strings at `places` across them, `up` over the surface."""

    places: tuple[float, ...]
    radius: float
    direction: Flat
    up: float
    unit: float

    def dim(self, block: Floats, torch: Torch) -> None:
        """Draw every string's shadow."""
        sin, cos = self.direction
        cover = np.zeros(block.shape, np.float32)
        for place in self.places:
            ends = []
            for run in np.linspace(-1.2, 1.2, 13) * max(block.shape):
                x = -sin * place + cos * (run + max(block.shape) / 2)
                y = cos * place + sin * (run + max(block.shape) / 2)
                ends.append(drop(torch, x, y, self.up))
            points = (np.array(ends) * 16).clip(-(2**20), 2**20).astype(np.int32)
            cv2.polylines(cover, [points], False, 1.0, max(1, round(2 * self.radius)), cv2.LINE_AA, 4)
        np.maximum(block, blur(cover, 0.35 * self.unit) * np.float32(0.85), out=block)


@dataclass(frozen=True)
class PinShadow:
    """The shadow of a pin `up` high, softer toward its end; `free` is where it can fall (see free_mask)."""

    place: Flat
    up: float
    radius: float
    unit: float
    free: NDArray[np.uint8]

    def dim(self, block: Floats, torch: Torch) -> None:
        """Draw the shadow from the pin's foot to where its top's shadow falls."""
        shape = (block.shape[0], block.shape[1])
        fallen = drop(torch, *self.place, self.up)
        x0, y0, x, y = around(shape, [self.place, fallen], 3 * self.radius)
        if x.size:
            at = _window(x0, y0, x)
            along, off = capsule(x, y, self.place, fallen)
            soft = np.float32(0.4 * self.unit) + along * np.float32(0.9 * self.unit)
            dark = smoothstep(0, 1, (np.float32(self.radius) + soft - off) / (2 * soft)) * np.float32(0.9)
            np.maximum(block[at], dark * _free(self.free, shape, at), out=block[at])


@dataclass(frozen=True)
class WireShadow:
    """The shadow of one piece of wire between two points at their heights."""

    ends: tuple[Flat, Flat]
    heights: Flat
    radius: float
    free: NDArray[np.uint8]

    def dim(self, block: Floats, torch: Torch) -> None:
        """Draw the shadow's line."""
        shape = (block.shape[0], block.shape[1])
        fallen = [drop(torch, *end, up) for end, up in zip(self.ends, self.heights, strict=True)]
        x0, y0, x, y = around(shape, fallen, 3 * self.radius)
        if x.size:
            at = _window(x0, y0, x)
            off = capsule(x, y, fallen[0], fallen[1])[1]
            dark = smoothstep(-1.0, 1.0, np.float32(self.radius) - off) * np.float32(0.75)
            np.maximum(block[at], dark * _free(self.free, shape, at), out=block[at])
