"""Make old prints out of the sample pictures: album pages, halftone, negatives, faded and sepia prints.

Nothing here is a photograph: the sample pictures are rendered, the pages are drawn. Every page comes with the true
quads of its pictures, so that what the reader finds can be counted.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.geometry import rotated_quad
from reader.photo.load import load_photo
from reader.results import Quad

Pixels = NDArray[np.uint8]

SAMPLES = Path(__file__).resolve().parent.parent.parent / "sample_images"

GROUNDS = {
    "black felt": (28, 27, 26),
    "gray card": (128, 126, 120),
    "brown paper": (122, 92, 64),
    "cream paper": (226, 214, 188),
    "white glass": (246, 246, 247),
}
"""Grounds of album pages, sRGB."""

LOOKS = ("plain", "sepia", "faded")


@dataclass(frozen=True)
class AlbumPage:
    """A page: (H, W, 3) uint8 pixels, the quads of its pictures, and what it is made of, in words."""

    pixels: Pixels
    quads: tuple[Quad, ...]
    made_of: str


def load_samples(longer_px: int) -> dict[str, Pixels]:
    """Return the sample pictures by name, their longer side brought to a size."""
    samples = {}
    for file in sorted(SAMPLES.glob("*.jpg")):
        picture = load_photo(file).pixels
        scale = longer_px / max(picture.shape[:2])
        small = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        samples[file.name] = np.asarray(small, np.uint8)
    return samples


def age_print(pixels: Pixels, look: str) -> Pixels:
    """Return a print of a picture: plain, sepia (toned) or faded (toned, with little contrast)."""
    if look == "plain":
        return pixels
    gray = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).astype(np.float32) / 255
    if look == "faded":
        gray = 0.45 + 0.4 * gray
    dark, bright = np.array([40, 22, 10], np.float32), np.array([244, 228, 196], np.float32)
    return np.asarray(np.clip(dark + gray[..., None] * (bright - dark), 0, 255), np.uint8)


def make_negative(pixels: Pixels) -> Pixels:
    """Return a gray negative of a picture, as a glass plate is scanned."""
    gray = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)
    return np.asarray(cv2.cvtColor(np.asarray(255 - gray, np.uint8), cv2.COLOR_GRAY2RGB), np.uint8)


def screen_print(pixels: Pixels, period_px: float, angle_deg: float, paper: int = 255) -> Pixels:
    """Return a halftone of a picture: black dots on a lattice, whose size makes the tone (amplitude modulation)."""
    gray = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).astype(np.float32) / 255
    height, width = gray.shape
    fine = 3  # drawn at three times the size, then averaged, as a scanner's sensor does
    angle = np.deg2rad(angle_deg)
    y, x = np.mgrid[0 : height * fine, 0 : width * fine].astype(np.float32) / fine
    u = 2 * np.pi / period_px * (x * np.cos(angle) + y * np.sin(angle))
    v = 2 * np.pi / period_px * (y * np.cos(angle) - x * np.sin(angle))
    threshold = 0.5 + 0.25 * (np.cos(u) + np.cos(v))
    large = cv2.resize(gray, (width * fine, height * fine), interpolation=cv2.INTER_LINEAR)
    dots = np.where(large > threshold, float(paper), 25.0).astype(np.float32)
    small = cv2.GaussianBlur(cv2.resize(dots, (width, height), interpolation=cv2.INTER_AREA), (0, 0), 0.6)
    return np.asarray(cv2.cvtColor(small.astype(np.uint8), cv2.COLOR_GRAY2RGB), np.uint8)


def compose_page(rng: np.random.Generator, samples: list[Pixels], ground: str, count: int) -> AlbumPage:
    """Lay `count` prints on a page of about 1600 x 1200 pixels: tilted by up to 8 degrees, bordered or not.

    Grain and uneven light lie on the page, shadows and captions beside some prints; a tenth of the gap is left free.
    """
    height, width = (1200, 1600) if rng.random() < 0.5 else (1600, 1200)
    page = np.empty((height, width, 3), np.float32)
    page[:] = GROUNDS[ground]
    columns = max(1, round((count * width / height) ** 0.5))
    rows = -(-count // columns)
    cell_w, cell_h = width / columns, height / rows
    quads = []
    captions = []
    words = [f"{count} on {ground}"]
    for number in range(count):
        look = str(rng.choice(LOOKS))
        picture = age_print(samples[int(rng.integers(len(samples)))], look)
        border = int(rng.integers(8, 22)) if rng.random() < 0.6 else 0
        paper = (246, 240, 226) if ground != "white glass" else (238, 228, 206)
        picture = np.asarray(
            cv2.copyMakeBorder(picture, border, border, border, border, cv2.BORDER_CONSTANT, value=paper), np.uint8
        )
        tilt = float(rng.uniform(-8, 8)) if rng.random() < 0.7 else 0.0
        room = 0.86 if tilt == 0 else 0.78
        size = min(room * cell_w / picture.shape[1], room * cell_h / picture.shape[0]) * float(rng.uniform(0.8, 1.0))
        center = ((number % columns + 0.5) * cell_w, (number // columns + 0.5) * cell_h)
        quad = rotated_quad(center, picture.shape[1] * size, picture.shape[0] * size, tilt)
        if rng.random() < 0.5:
            _lay_shadow(page, quad)
        _lay(page, picture, quad)
        if rng.random() < 0.4:
            place = (int(quad[:, 0].min()), min(int(quad[:, 1].max()) + 26, height - 6))
            captions.append((f"plate {number + 1}", place))
        quads.append(quad)
        words.append(f"{look}{' bordered' if border else ''} {tilt:+.0f} deg")
    written = page.astype(np.uint8)
    ink = (235, 235, 235) if ground in ("black felt", "brown paper") else (40, 36, 30)
    for text, place in captions:
        cv2.putText(written, text, place, cv2.FONT_HERSHEY_SCRIPT_SIMPLEX, 0.8, ink, 2, cv2.LINE_AA)
    light = 1 + float(rng.uniform(-0.08, 0.08)) * np.linspace(-1, 1, width, dtype=np.float32)[None, :, None]
    grain = cv2.GaussianBlur(rng.normal(0, 6, (height, width, 1)).astype(np.float32), (0, 0), 1.0)[..., None]
    return AlbumPage(np.asarray(np.clip(written * light + grain, 0, 255), np.uint8), tuple(quads), ", ".join(words))


def _lay(page: NDArray[np.float32], picture: Pixels, quad: Quad) -> None:
    rows, columns = picture.shape[:2]
    corners = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], np.float32)
    transform = cv2.getPerspectiveTransform(corners, quad)
    size = (page.shape[1], page.shape[0])
    shrunk = cv2.GaussianBlur(picture, (0, 0), 0.6)
    laid = cv2.warpPerspective(shrunk, transform, size, flags=cv2.INTER_AREA).astype(np.float32)
    cover = cv2.warpPerspective(np.ones((rows, columns), np.float32), transform, size)[..., None]
    page[:] = page * (1 - cover) + laid * cover


def _lay_shadow(page: NDArray[np.float32], quad: Quad) -> None:
    shadow = np.zeros(page.shape[:2], np.float32)
    cv2.fillConvexPoly(shadow, np.round(quad + 4).astype(np.int32), 1.0)
    page *= 1 - 0.35 * cv2.GaussianBlur(shadow, (0, 0), 4)[..., None]
