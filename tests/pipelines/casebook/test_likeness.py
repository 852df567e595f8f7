"""The perceptual hash: copies of a picture stay near, other pictures stay far. Measured on the sample images."""

from __future__ import annotations

import itertools
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from pipelines.casebook.likeness import HASH_BITS, distance, perceptual_hash
from pipelines.casebook.suggest import NEAR

SAMPLES = sorted((Path(__file__).parents[3] / "sample_images").glob("*.jpg"))

Pixels = NDArray[np.uint8]


def load(path: Path) -> Pixels:
    pixels = cv2.imread(str(path), cv2.IMREAD_COLOR_RGB)
    assert pixels is not None
    return pixels.astype(np.uint8)


def resized(pixels: Pixels, scale: float) -> Pixels:
    return cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA).astype(np.uint8)


def recoded(pixels: Pixels, quality: int) -> Pixels:
    _, data = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, quality])
    return cv2.imdecode(data, cv2.IMREAD_COLOR).astype(np.uint8)


def lit(pixels: Pixels, gain: float, offset: float) -> Pixels:
    return np.clip(pixels * gain + offset, 0, 255).astype(np.uint8)


def gray(pixels: Pixels) -> Pixels:
    return cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).astype(np.uint8)


def copies(pixels: Pixels) -> dict[str, Pixels]:
    """Return what becomes of a picture that is mailed, scanned to another size, brightened or turned gray."""
    return {
        "JPEG quality 30": recoded(pixels, 30),
        "half size": resized(pixels, 0.5),
        "a quarter, JPEG quality 60": recoded(resized(pixels, 0.25), 60),
        "brighter": lit(pixels, 1.15, 20),
        "darker": lit(pixels, 0.8, -10),
        "gray": gray(pixels),
    }


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_copies_are_near(path: Path) -> None:
    pixels = load(path)
    own = perceptual_hash(pixels)
    assert len(own) == HASH_BITS // 4
    apart = {name: distance(own, perceptual_hash(copy)) for name, copy in copies(pixels).items()}
    assert max(apart.values()) <= NEAR, apart


def test_other_pictures_are_far() -> None:
    hashes = {path.name: perceptual_hash(load(path)) for path in SAMPLES}
    near = [
        (one, other)
        for one, other in itertools.combinations(SAMPLES, 2)
        if distance(hashes[one.name], hashes[other.name]) <= NEAR
    ]
    assert len(SAMPLES) > 10
    assert near == []


def test_distance() -> None:
    assert distance("0" * 16, "f" * 16) == 64
    assert distance("0" * 15 + "1", "8" + "0" * 15) == 2
