"""EXIF orientation, all eight values, against the standard's table and against Pillow's own turning.

Source: EXIF 2.3 (CIPA DC-008), tag 0x0112: where the stored row 0 and column 0 lie in the shown picture. The table
below spells that out for a stored picture ABC / DEF; it was measured with Pillow, the standard is from memory.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageOps

from reader.photo.load import load_photo

SHOWN = {
    1: ("ABC", "DEF"),
    2: ("CBA", "FED"),
    3: ("FED", "CBA"),
    4: ("DEF", "ABC"),
    5: ("AD", "BE", "CF"),
    6: ("DA", "EB", "FC"),
    7: ("FC", "EB", "DA"),
    8: ("CF", "BE", "AD"),
}
LEVELS = {"A": 20, "B": 60, "C": 100, "D": 140, "E": 180, "F": 220}
BLOCK_PX = 16
OPTIONS = {
    "jpg": {"quality": 95},
    "png": {},
    "tif": {},
    "tiff": {"compression": "tiff_lzw"},
    "webp": {"lossless": True},
    "avif": {"quality": 95},
}


def stored_picture(depth: type = np.uint8) -> np.ndarray:
    """Return ABC / DEF as blocks of gray levels."""
    levels = np.array([[LEVELS[letter] for letter in row] for row in ("ABC", "DEF")], depth)
    return np.kron(levels, np.ones((BLOCK_PX, BLOCK_PX), depth))


def letters(pixels: np.ndarray) -> tuple[str, ...]:
    """Read the blocks of a shown picture back as letters, each the one of the nearest level."""
    centers = pixels[BLOCK_PX // 2 :: BLOCK_PX, BLOCK_PX // 2 :: BLOCK_PX, 0].astype(int)
    return tuple("".join(min(LEVELS, key=lambda x: abs(LEVELS[x] - level)) for level in row) for row in centers)


def save(path: Path, orientation: int | None) -> Path:
    if path.suffix == ".avif" and ".avif" not in Image.registered_extensions():
        pytest.skip("this Pillow has no AVIF")
    exif = Image.Exif()
    if orientation is not None:
        exif[0x0112] = orientation
    picture = Image.fromarray(np.repeat(stored_picture()[..., None], 3, axis=2))
    picture.save(path, exif=exif, **OPTIONS[path.suffix[1:]])
    return path


@pytest.mark.parametrize("suffix", OPTIONS)
@pytest.mark.parametrize("orientation", SHOWN)
def test_shown_as_the_standard_says(orientation: int, suffix: str, tmp_path: Path) -> None:
    path = save(tmp_path / f"photo.{suffix}", orientation)

    photo = load_photo(path)

    assert letters(photo.pixels) == SHOWN[orientation]
    assert photo.orientation == orientation
    assert (photo.height, photo.width) == ((32, 48) if orientation < 5 else (48, 32))


@pytest.mark.parametrize("suffix", OPTIONS)
@pytest.mark.parametrize("orientation", SHOWN)
def test_the_same_pixels_as_pillow(orientation: int, suffix: str, tmp_path: Path) -> None:
    path = save(tmp_path / f"photo.{suffix}", orientation)

    with Image.open(path) as opened:
        expected = np.asarray(ImageOps.exif_transpose(opened).convert("RGB"))

    assert np.array_equal(load_photo(path).pixels, expected)


@pytest.mark.parametrize("orientation", SHOWN)
@pytest.mark.parametrize("compression", [None, "zlib"])
@pytest.mark.parametrize("depth", [np.uint8, np.uint16])
def test_tiff_written_by_tifffile(orientation: int, compression: str | None, depth: type, tmp_path: Path) -> None:
    path = tmp_path / "scan.tif"
    scale = 257 if depth is np.uint16 else 1
    tags = [(0x0112, "H", 1, orientation, True)]
    tifffile.imwrite(path, stored_picture(depth) * depth(scale), compression=compression, extratags=tags)

    photo = load_photo(path)

    assert letters(photo.pixels) == SHOWN[orientation]
    assert photo.orientation == orientation


@pytest.mark.parametrize("suffix", ["jpg", "png", "tif", "webp"])
@pytest.mark.parametrize("orientation", [None, 0, 9, 65535])
def test_missing_or_outside_the_table_means_upright(orientation: int | None, suffix: str, tmp_path: Path) -> None:
    photo = load_photo(save(tmp_path / f"photo.{suffix}", orientation))

    assert letters(photo.pixels) == SHOWN[1]
    assert photo.orientation == 1
