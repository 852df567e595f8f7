"""Copies of old pictures: a toned print of the time, a color print that has faded, a halftone in a book or catalog."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.renderer.noise import Rng, blur, fractal, smoothstep, value_noise
from tools.renderer.spec import BASE_WIDTH_PX, Floats

PITCH_PX = (4.2, 6.5)
"""Distance of halftone dots in a 1600-pixel photo: 100 to 150 lines an inch on a 10-inch page (common practice)."""


def copy_print(photo: NDArray[np.uint8], kind: str, age: float, rng: Rng) -> NDArray[np.uint8]:
    """Return the photo as an old picture of a kind (spec.PRINTS) would hold it; `age` 0 to 1."""
    return {"toned": age_print, "faded": fade_print, "halftone": screen_print}[kind](photo, age, rng)


def fade_print(photo: NDArray[np.uint8], age: float, rng: Rng) -> NDArray[np.uint8]:
    """Return the photo as a color print whose dyes have gone: cyan first, then yellow; flat, silky, scratched."""
    shape = photo.shape[:2]
    density = -np.log(np.clip(photo.astype(np.float32) / 255, 0.02, 1))
    light = 1 + 0.12 * fractal(shape, 500, 4, rng, 0.6)  # one corner stood in the sun
    kept = np.exp(-np.float32(age) * light[..., None] * np.array([0.9, 0.5, 0.7], np.float32))
    stain = np.array([0.02, 0.05, 0.16], np.float32) * np.float32(age)
    faded = np.exp(-(density * kept + stain))
    silk = value_noise((shape[0], shape[1]), (2.5, 2.5), rng) * np.float32(0.012)
    faded += silk[..., None]
    gray = np.zeros(shape, np.float32)
    _crack(gray, 0.8 * age, rng)
    faded += np.clip(gray, 0, 1)[..., None] * (0.85 - faded) * 0.6
    return np.asarray(np.clip(faded * 255, 0, 255), np.uint8)


def screen_print(photo: NDArray[np.uint8], age: float, rng: Rng) -> NDArray[np.uint8]:
    """Return the photo as black dots of all sizes on the paper of a book, a little brown with age."""
    shape = photo.shape[:2]
    scale = max(shape) / BASE_WIDTH_PX
    gray = (photo.astype(np.float32) / 255) @ np.array([0.2, 0.5, 0.3], np.float32)
    gray = np.clip(blur(gray, 0.9 * scale) * np.float32(1.25) - np.float32(0.02), 0.04, 0.97)
    pitch = float(rng.uniform(*PITCH_PX)) * scale
    turn = math.radians(45 + float(rng.normal(0, 2)))
    x = np.arange(shape[1], dtype=np.float32)[None, :] * np.float32(2 * math.pi / pitch)
    y = np.arange(shape[0], dtype=np.float32)[:, None] * np.float32(2 * math.pi / pitch)
    u, v = x * math.cos(turn) + y * math.sin(turn), y * math.cos(turn) - x * math.sin(turn)
    screen = (np.cos(u) + np.cos(v)) / 4 + np.float32(0.5)
    gain = np.float32(0.05) + np.float32(0.03) * fractal(shape, 60 * scale, 4, rng)
    ink = smoothstep(-0.10, 0.10, screen - gray + gain)
    ink *= 0.88 - 0.08 * np.clip(blur(rng.standard_normal(shape, dtype=np.float32), 0.8) * 2, -1, 1)
    paper = np.array([240, 228, 200], np.float32) / 255 * np.float32(1 - 0.12 * age)
    sheet = paper * (1 + 0.02 * fractal(shape, 80 * scale, 5, rng, 0.7))[..., None]
    spots = smoothstep(2.4, 3.2, value_noise((shape[0], shape[1]), (22 * scale, 22 * scale), rng)) * np.float32(
        0.4 * age
    )
    sheet *= (1 - spots)[..., None] + spots[..., None] * np.array([0.8, 0.62, 0.4], np.float32)
    black = np.array([34, 30, 28], np.float32) / 255
    printed = sheet + ink[..., None] * (black - sheet)
    return np.asarray(np.clip(cv2.GaussianBlur(printed, (0, 0), 0.5 * scale) * 255, 0, 255), np.uint8)


def age_print(photo: NDArray[np.uint8], age: float, rng: Rng) -> NDArray[np.uint8]:
    """Return the photo as a toned print of the time: brown, flat, faded at the edges, spotted, with hair cracks."""
    shape = photo.shape[:2]
    # old plates saw blue and green, hardly red
    seen = (photo.astype(np.float32) / 255) @ np.array([0.08, 0.42, 0.50], np.float32)
    gray = blur((seen - np.float32(0.06)) * np.float32(1.5), 0.9)
    y, x = np.mgrid[-1 : 1 : shape[0] * 1j, -1 : 1 : shape[1] * 1j].astype(np.float32)
    rim = smoothstep(0.55, 1.25, np.maximum(np.abs(x), np.abs(y)) + 0.12 * fractal(shape, 300, 4, rng))
    cloud = fractal(shape, 420, 5, rng, 0.6)
    fade = np.clip(np.float32(age) * (0.30 + 0.35 * rim + 0.10 * cloud), 0, 0.85)
    gray = gray * (1 - fade) + np.float32(0.74) * fade
    gray += np.float32(0.035) * blur(rng.standard_normal(shape, dtype=np.float32), 0.9)
    spots = smoothstep(2.5, 3.2, value_noise(shape, (26, 26), rng)) * np.float32(0.5 * age)
    gray = gray * (1 - spots) + 0.32 * spots
    _crack(gray, age, rng)
    # the paper's bare border, a little uneven
    margin = 1 - np.maximum(np.abs(x) + 0.0008 * fractal(shape, 60, 3, rng), np.abs(y) - 0.02)
    border = smoothstep(0.034, 0.038, margin.astype(np.float32))
    gray = gray * border + (np.float32(0.93) + 0.02 * fractal(shape, 90, 5, rng)) * (1 - border)
    dark, bright = np.array([46, 30, 18], np.float32), np.array([236, 216, 176], np.float32)
    toned = dark + np.clip(gray, 0, 1)[..., None] * (bright - dark)
    return np.asarray(np.clip(toned, 0, 255), np.uint8)


def _crack(gray: Floats, age: float, rng: Rng) -> None:
    """Draw hair scratches and dust specks of the print, in place."""
    height, width = gray.shape
    for _ in range(round(14 * age)):
        start = rng.random(2) * [width, height]
        steps = np.cumsum(rng.normal(0, 1.8, (30, 2)) + rng.normal(0, 7, 2), 0) + start
        value = float(rng.choice([0.88, 0.2]))
        cv2.polylines(gray, [steps.astype(np.int32)], False, value, 1, cv2.LINE_AA)
    for x, y in (rng.random((round(60 * age), 2)) * [width, height]).astype(int).tolist():
        cv2.circle(gray, (x, y), int(rng.integers(1, 3)), 0.9, -1, cv2.LINE_AA)
