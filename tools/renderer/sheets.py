"""Contact sheets: one of the samples, and one of every kind of surface, whole photos with the number close below."""

from __future__ import annotations

import math
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.renderer.camera import jpeg, open_jpeg
from tools.renderer.scene import build, light_and_take, render
from tools.renderer.sets import torch_lights, torch_spec
from tools.renderer.spec import KINDS, MarkTruth

PHOTO_TILE, CLOSE_TILE = (400, 300), (400, 150)
DIFFICULTIES = ("easy", "easy", "medium", "medium", "medium", "hard")
"""The pictures of a kind's sheet, three to a row."""
SHEET_SEED = 3
LIMIT_BYTES = 250_000
"""A sheet must stay small beside the code."""

Pixels = NDArray[np.uint8]


def sample_sheet(files: list[Path]) -> bytes:
    """Return the JPEG of a sheet of photos, four to a row."""
    tiles = [cv2.resize(open_jpeg(f.read_bytes()), PHOTO_TILE, interpolation=cv2.INTER_AREA) for f in files]
    return jpeg(_rows([np.asarray(tile, np.uint8) for tile in tiles], 4), 78)


def kind_sheet(kind: str) -> bytes:
    """Return the JPEG of six random scenes of one kind, easy to hard."""
    tiles = []
    first = SHEET_SEED + 10 * KINDS.index(kind)
    for seed, difficulty in enumerate(DIFFICULTIES, first):
        spec = torch_spec(seed, difficulty, kind)
        pixels, truth = render(spec, seed)
        tiles.append(_tile(pixels, _serial(truth.marks)))
    return _small(_rows(tiles, 3))


def torch_sheet() -> bytes:
    """Return the JPEG of one scene under six lights."""
    spec = torch_spec(SHEET_SEED, "medium", "wood-stamp")
    scene = build(spec, SHEET_SEED)
    serial = _serial(scene.marks)
    lights = torch_lights(spec, 6, SHEET_SEED)
    tiles = [_tile(light_and_take(scene, [light], seed=k)[0], serial) for k, light in enumerate(lights)]
    return _small(_rows(tiles, 3))


def _serial(marks: tuple[MarkTruth, ...]) -> MarkTruth:
    return next(mark for mark in marks if mark.kind == "serial")


def _tile(pixels: Pixels, mark: MarkTruth) -> Pixels:
    """Return the photo, and below it a mark, turned so that it reads from left to right."""
    whole = cv2.resize(pixels, PHOTO_TILE, interpolation=cv2.INTER_AREA)
    along = mark.quad[1] - mark.quad[0]
    wide, tall = float(np.linalg.norm(along)), float(np.linalg.norm(mark.quad[3] - mark.quad[0]))
    zoom = CLOSE_TILE[0] / max(wide * 1.25, tall * 1.5 * CLOSE_TILE[0] / CLOSE_TILE[1])
    middle = mark.quad.mean(0).tolist()
    matrix = cv2.getRotationMatrix2D(middle, math.degrees(math.atan2(along[1], along[0])), zoom)
    matrix[:, 2] += np.array(CLOSE_TILE) / 2 - middle
    if zoom < 1:  # averaged first, so that fine grain does not flicker
        pixels = np.asarray(cv2.GaussianBlur(pixels, (0, 0), 0.4 / zoom), np.uint8)
    close = cv2.warpAffine(pixels, matrix, CLOSE_TILE, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.vstack([whole, close]).astype(np.uint8)


def _rows(tiles: list[Pixels], columns: int) -> Pixels:
    while len(tiles) % columns:
        tiles.append(np.zeros_like(tiles[0]))
    return np.vstack([np.hstack(tiles[k : k + columns]) for k in range(0, len(tiles), columns)]).astype(np.uint8)


def _small(sheet: Pixels) -> bytes:
    """Return the JPEG of the best quality that stays under the limit."""
    for quality in range(84, 40, -4):
        data = jpeg(sheet, quality)
        if len(data) < LIMIT_BYTES:
            return data
    raise ValueError(f"the sheet does not fit {LIMIT_BYTES} bytes; make its tiles smaller")
