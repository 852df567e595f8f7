"""Large TIFF pages are decoded in place; the pixels are those of the ordinary way."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms

from reader.photo import large_tiff
from reader.photo.load import load_photo

KINDS: list[dict[str, Any]] = [
    {},
    {"rowsperstrip": 16},
    {"tile": (64, 48)},
    {"compression": "deflate", "rowsperstrip": 50},
    {"compression": "deflate", "tile": (64, 64), "predictor": True},
]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("depth", [np.uint8, np.uint16])
@pytest.mark.parametrize("color", ["rgb", "minisblack", "miniswhite"])
def test_both_ways_give_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, color: str, depth: type, kind: dict[str, Any]
) -> None:
    shape = (101, 157, 3) if color == "rgb" else (101, 157)
    values = np.random.default_rng(1).integers(0, np.iinfo(depth).max, shape, dtype=depth)
    file = tmp_path / "scan.tif"
    tifffile.imwrite(file, values, photometric=color, extratags=[(274, "H", 1, 6, True)], **kind)
    ordinary = load_photo(file)
    monkeypatch.setattr(large_tiff, "LARGE_PX", 0)
    in_place = load_photo(file)
    assert np.array_equal(in_place.pixels, ordinary.pixels)
    assert (in_place.sha256, in_place.orientation) == (ordinary.sha256, 6)


def test_a_profile_is_applied_in_strips(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    file = tmp_path / "scan.tif"
    values = np.random.default_rng(1).integers(0, 255, (90, 70, 3), dtype=np.uint8)
    Image.fromarray(values).save(file, icc_profile=profile)
    ordinary = load_photo(file)
    monkeypatch.setattr(large_tiff, "LARGE_PX", 0)
    monkeypatch.setattr("reader.photo.load.LARGE_STRIP_ROWS", 32)
    assert np.array_equal(load_photo(file).pixels, ordinary.pixels)


def test_other_kinds_are_left_to_the_ordinary_way(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(large_tiff, "LARGE_PX", 0)
    file = tmp_path / "scan.tif"
    tifffile.imwrite(file, np.zeros((50, 60, 4), np.uint8), photometric="rgb", extrasamples=["unassalpha"])
    with tifffile.TiffFile(file) as tiff:
        assert large_tiff.decode_large(tiff.pages[0]) is None
    assert load_photo(file).pixels.shape == (50, 60, 3)
