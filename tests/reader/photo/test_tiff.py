"""TIFF: deep channels, both byte orders, channels apart, pages, and what is refused. Mostly written by tifffile."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import tifffile
from hostile_files import encode, gray_tiff, picture, tiff
from PIL import Image

from reader.errors import PhotoError
from reader.photo.load import load_photo

RANDOM = np.random.default_rng(5)
GRAY_16 = RANDOM.integers(0, 65536, (9, 13)).astype(np.uint16)
COLOR_16 = RANDOM.integers(0, 65536, (9, 13, 3)).astype(np.uint16)


@pytest.mark.parametrize("compression", [None, "zlib"])
@pytest.mark.parametrize("byteorder", ["<", ">"])
@pytest.mark.parametrize("photometric", ["minisblack", "miniswhite"])
def test_16_bit_gray_is_scaled_not_clipped(photometric: str, byteorder: str, compression: str, tmp_path: Path) -> None:
    path = tmp_path / "scan.tif"
    tifffile.imwrite(path, GRAY_16, photometric=photometric, byteorder=byteorder, compression=compression)

    pixels = load_photo(path).pixels

    high = (tifffile.imread(path) >> 8).astype(np.uint8)  # tifffile gives the values as stored
    assert np.array_equal(pixels[..., 0], high if photometric == "minisblack" else 255 - high)
    assert np.ptp(pixels, axis=2).max() == 0
    scaled = GRAY_16 / 257  # 0..65535 to 0..255
    assert np.abs(pixels[..., 0] - (scaled if photometric == "minisblack" else 255 - scaled)).max() < 1


@pytest.mark.parametrize("predictor", [None, True])
@pytest.mark.parametrize("compression", [None, "zlib"])
@pytest.mark.parametrize("byteorder", ["<", ">"])
@pytest.mark.parametrize("planar", ["contig", "separate"])
def test_16_bit_color(planar: str, byteorder: str, compression: str, predictor: bool, tmp_path: Path) -> None:
    path = tmp_path / "scan.tif"
    stored = COLOR_16 if planar == "contig" else COLOR_16.transpose(2, 0, 1)
    options = {"predictor": predictor if compression else None, "compression": compression, "byteorder": byteorder}
    tifffile.imwrite(path, stored, photometric="rgb", planarconfig=planar, **options)

    assert np.array_equal(load_photo(path).pixels, COLOR_16 >> 8)


@pytest.mark.parametrize("compression", ["tiff_lzw", "tiff_adobe_deflate", "zstd"])
@pytest.mark.parametrize("inverted", [False, True])
def test_16_bit_gray_in_other_compressions(inverted: bool, compression: str, tmp_path: Path) -> None:
    path = tmp_path / "scan.tif"
    tags = {262: 0} if inverted else {}
    try:
        Image.fromarray(GRAY_16).save(path, compression=compression, tiffinfo=tags)
    except (OSError, KeyError):
        pytest.skip(f"this Pillow cannot write {compression}")

    high = (GRAY_16 >> 8).astype(np.uint8)
    assert np.array_equal(load_photo(path).pixels[..., 0], 255 - high if inverted else high)


@pytest.mark.parametrize("compression", ["tiff_lzw", "tiff_adobe_deflate", "packbits", "zstd", "lzma"])
def test_8_bit_color_in_every_lossless_compression(compression: str, tmp_path: Path) -> None:
    path = tmp_path / "scan.tif"
    try:
        picture().save(path, compression=compression)
    except (OSError, KeyError):
        pytest.skip(f"this Pillow cannot write {compression}")

    assert np.array_equal(load_photo(path).pixels, np.asarray(picture()))


def test_16_bit_transparency_is_laid_over_white(tmp_path: Path) -> None:
    path = tmp_path / "scan.tif"
    stored = np.zeros((2, 3, 4), np.uint16)
    stored[:, 1:, 3] = 65535
    tifffile.imwrite(path, stored, photometric="rgb", extrasamples=["unassalpha"])

    assert load_photo(path).pixels[0].tolist() == [[255] * 3, [0] * 3, [0] * 3]


def test_white_is_zero_with_8_bits_and_with_1(tmp_path: Path) -> None:
    (tmp_path / "8.tif").write_bytes(gray_tiff(4, 1, bytes([0, 10, 200, 255]), t262=(3, 0)))
    (tmp_path / "1.tif").write_bytes(gray_tiff(8, 1, b"\xf0", t262=(3, 0), t258=(3, 1)))

    assert load_photo(tmp_path / "8.tif").pixels[0, :, 0].tolist() == [255, 245, 55, 0]
    assert load_photo(tmp_path / "1.tif").pixels[0, :, 0].tolist() == [0] * 4 + [255] * 4


def test_12_bits_are_scaled_by_their_own_range(tmp_path: Path) -> None:
    """TIFF 6.0: samples of 12 bits are packed two in three bytes."""
    (tmp_path / "scan.tif").write_bytes(gray_tiff(2, 1, b"\xff\xf8\x00", t258=(3, 12)))

    assert load_photo(tmp_path / "scan.tif").pixels[0, :, 0].tolist() == [255, 128]


def test_bigtiff(tmp_path: Path) -> None:
    tifffile.imwrite(tmp_path / "big.tif", COLOR_16, photometric="rgb", bigtiff=True)
    tifffile.imwrite(tmp_path / "big8.tif", np.asarray(picture()), photometric="rgb", bigtiff=True)

    assert np.array_equal(load_photo(tmp_path / "big.tif").pixels, COLOR_16 >> 8)
    assert np.array_equal(load_photo(tmp_path / "big8.tif").pixels, np.asarray(picture()))


@pytest.mark.parametrize("depth", [np.uint8, np.uint16])
def test_pages_are_counted_and_chosen(depth: type, tmp_path: Path) -> None:
    path = tmp_path / "prints.tif"
    scale = 257 if depth is np.uint16 else 1
    with tifffile.TiffWriter(path) as writer:
        for level in (40, 90, 140):
            writer.write(np.full((8, 8 + level), level * scale, depth), photometric="minisblack")

    photos = [load_photo(path, page=page) for page in range(3)]

    assert [(photo.page, photo.pages, photo.width) for photo in photos] == [(0, 3, 48), (1, 3, 98), (2, 3, 148)]
    assert [int(photo.pixels[0, 0, 0]) for photo in photos] == [40, 90, 140]


def test_each_page_has_its_own_orientation(tmp_path: Path) -> None:
    path = tmp_path / "prints.tif"
    with tifffile.TiffWriter(path) as writer:
        for orientation in (1, 6):
            writer.write(np.zeros((8, 16), np.uint8), extratags=[(274, "H", 1, orientation, True)])

    assert [(load_photo(path, page=n).orientation, load_photo(path, page=n).height) for n in (0, 1)] == [
        (1, 8),
        (6, 16),
    ]


def test_thumbnails_are_no_pages(tmp_path: Path) -> None:
    path = tmp_path / "print.tif"
    with tifffile.TiffWriter(path) as writer:
        writer.write(np.full((8, 8), 90, np.uint8))
        writer.write(np.full((4, 4), 10, np.uint8), subfiletype=1)
        writer.write(np.full((8, 8), 140, np.uint8))

    assert load_photo(path).pages == 2
    assert load_photo(path, page=1).pixels[0, 0, 0] == 140


@pytest.mark.parametrize("page", [2, 99, -1])
def test_a_page_that_is_not_there(page: int, tmp_path: Path) -> None:
    path = tmp_path / "prints.tif"
    path.write_bytes(encode(picture(), "TIFF", save_all=True, append_images=[picture()]))

    with pytest.raises(PhotoError, match=r"prints\.tif: has 2 pages, and page .* ask for a page from 0 to 1"):
        load_photo(path, page=page)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "GIF", "TIFF"])
def test_a_second_page_of_one_page(kind: str, tmp_path: Path) -> None:
    (tmp_path / "photo").write_bytes(encode(picture(), kind))

    with pytest.raises(PhotoError, match="ask for page 0"):
        load_photo(tmp_path / "photo", page=1)


@pytest.mark.parametrize(("width", "height", "fits"), [(100, 100, True), (101, 100, False)])
def test_the_limit_is_exact_and_looked_at_before_decoding(width: int, height: int, fits: bool, tmp_path: Path) -> None:
    path = tmp_path / "scan.tif"
    path.write_bytes(gray_tiff(width, height, bytes(width * height)))
    if fits:
        assert load_photo(path, pixel_limit=10_000).width == 100
        return
    with pytest.raises(PhotoError, match=r"101 x 100 pixels.*--max-megapixels 1$"):
        load_photo(path, pixel_limit=10_000)


@pytest.mark.parametrize(("bits", "kind"), [(32, 1), (64, 3), (16, 3), (16, 2)])
def test_unsupported_depths_are_named(bits: int, kind: int, tmp_path: Path) -> None:
    (tmp_path / "scan.tif").write_bytes(gray_tiff(2, 2, bytes(bits // 2), t258=(3, bits), t339=(3, kind)))

    with pytest.raises(PhotoError, match=rf"holds {bits}-bit .*values, which are not supported; save it as"):
        load_photo(tmp_path / "scan.tif")


def test_a_lone_directory_without_pixels(tmp_path: Path) -> None:
    (tmp_path / "scan.tif").write_bytes(tiff({256: (4, 5), 257: (4, 5), 258: (3, 8), 262: (3, 1)}))

    with pytest.raises(PhotoError):
        load_photo(tmp_path / "scan.tif")
