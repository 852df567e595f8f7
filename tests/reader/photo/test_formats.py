"""Every kind of picture that load_photo reads, against the pixels that were written."""

from __future__ import annotations

import hashlib
import io
import struct
import sys
from pathlib import Path

import numpy as np
import pytest
from hostile_files import encode, picture, png
from PIL import Image

from reader.errors import PhotoError
from reader.photo.load import load_photo

LOSSLESS = {"PNG": {}, "TIFF": {}, "WEBP": {"lossless": True}, "BMP": {}, "JPEG2000": {"irreversible": False}}
LOSSY = {"JPEG": {"quality": 95, "subsampling": 0}, "WEBP": {"quality": 95}, "AVIF": {"quality": 95}}


def load_bytes(data: bytes, folder: Path, name: str = "photo", **options: int) -> np.ndarray:
    (folder / name).write_bytes(data)
    return load_photo(folder / name, **options).pixels


@pytest.mark.parametrize("kind", LOSSLESS)
def test_lossless_colors_are_exact_and_in_the_order_red_green_blue(kind: str, tmp_path: Path) -> None:
    pixels = load_bytes(encode(picture(), kind, **LOSSLESS[kind]), tmp_path)

    assert pixels.shape == (96, 96, 3)
    assert pixels.dtype == np.uint8
    assert np.array_equal(pixels, np.asarray(picture()))


@pytest.mark.parametrize("kind", LOSSY)
def test_lossy_colors_are_close(kind: str, tmp_path: Path) -> None:
    if kind == "AVIF" and ".avif" not in Image.registered_extensions():
        pytest.skip("this Pillow has no AVIF")
    red = Image.new("RGB", (64, 32), (200, 30, 60))

    pixels = load_bytes(encode(red, kind, **LOSSY[kind]), tmp_path)

    assert np.abs(pixels.astype(int) - (200, 30, 60)).max() <= 6


@pytest.mark.parametrize("options", [{}, {"progressive": True}, {"subsampling": 2}, {"restart_marker_rows": 1}])
def test_jpeg_kinds_decode_like_a_second_decoder(options: dict[str, int], tmp_path: Path) -> None:
    import cv2

    data = encode(picture(), "JPEG", quality=90, **options)

    expected = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)[..., ::-1]  # OpenCV's own libjpeg
    assert np.abs(load_bytes(data, tmp_path).astype(int) - expected).max() <= 3


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "JPEG2000"])
def test_gray_becomes_three_equal_channels(kind: str, tmp_path: Path) -> None:
    gray = picture(mode="L")

    pixels = load_bytes(encode(gray, kind, **({"quality": 100} if kind == "JPEG" else {})), tmp_path)

    assert np.ptp(pixels, axis=2).max() == 0
    assert np.abs(pixels[..., 0].astype(int) - np.asarray(gray)).max() <= 2


@pytest.mark.parametrize("kind", ["JPEG", "TIFF"])
def test_cmyk_white_and_red_stay_white_and_red(kind: str, tmp_path: Path) -> None:
    both = Image.new("CMYK", (64, 32), (0, 0, 0, 0))
    both.paste((0, 255, 255, 0), (32, 0, 64, 32))

    pixels = load_bytes(encode(both, kind), tmp_path)

    assert np.abs(pixels[16, 8].astype(int) - (255, 255, 255)).max() <= 6
    assert np.abs(pixels[16, 56].astype(int) - (255, 0, 0)).max() <= 6


def test_picture_pair_of_a_phone_gives_the_first(tmp_path: Path) -> None:
    first, second = Image.new("RGB", (48, 32), (250, 0, 0)), Image.new("RGB", (24, 16), (0, 0, 250))

    pixels = load_bytes(encode(first, "MPO", save_all=True, append_images=[second]), tmp_path)

    assert pixels.shape == (32, 48, 3)
    assert pixels[16, 16, 0] > 240


@pytest.mark.parametrize(("kind", "options"), [("GIF", {}), ("PNG", {}), ("WEBP", {"lossless": True})])
def test_animations_give_their_first_picture(kind: str, options: dict[str, bool], tmp_path: Path) -> None:
    first, second = Image.new("RGB", (48, 32), (255, 0, 0)), Image.new("RGB", (48, 32), (0, 0, 255))

    pixels = load_bytes(encode(first, kind, save_all=True, append_images=[second], **options), tmp_path)

    assert (pixels == (255, 0, 0)).all()


@pytest.mark.parametrize(("kind", "mode"), [("PNG", "RGBA"), ("PNG", "LA"), ("TIFF", "RGBA"), ("WEBP", "RGBA")])
def test_transparency_is_laid_over_white(kind: str, mode: str, tmp_path: Path) -> None:
    black = Image.new("L", (8, 4), 0)
    alpha = Image.fromarray(np.tile(np.repeat([0, 128, 255, 255], 2).astype(np.uint8), (4, 1)))
    clear = Image.merge(mode, [*[black] * (len(mode) - 1), alpha])

    pixels = load_bytes(encode(clear, kind, **({"lossless": True} if kind == "WEBP" else {})), tmp_path)

    assert pixels[0, 0].tolist() == [255, 255, 255]
    assert abs(int(pixels[0, 2, 0]) - 127) <= 1
    assert pixels[0, 7].tolist() == [0, 0, 0]


def test_palette_with_a_transparent_entry(tmp_path: Path) -> None:
    indexed = Image.new("P", (4, 1))
    indexed.putdata([0, 1, 2, 2])
    indexed.putpalette([10, 20, 30, 200, 100, 50, 7, 8, 9])

    pixels = load_bytes(encode(indexed, "PNG", transparency=2), tmp_path)

    assert pixels[0].tolist() == [[10, 20, 30], [200, 100, 50], [255, 255, 255], [255, 255, 255]]


@pytest.mark.parametrize("kind", ["PNG", "TIFF"])
def test_one_bit_pictures(kind: str, tmp_path: Path) -> None:
    pixels = load_bytes(encode(Image.fromarray(np.eye(16, dtype=bool)), kind), tmp_path)

    assert np.array_equal(pixels[..., 1], np.eye(16, dtype=np.uint8) * 255)


@pytest.mark.parametrize("color", [0, 2, 4, 6])
def test_16_bit_png_keeps_the_high_byte(color: int, tmp_path: Path) -> None:
    """PNG, third edition: 16-bit samples are big-endian; color types 0, 2, 4, 6 have 1, 3, 2, 4 channels."""
    channels = {0: 1, 2: 3, 4: 2, 6: 4}[color]
    values = np.random.default_rng(1).integers(0, 65536, (5, 7, channels)).astype(">u2")
    if color in (4, 6):
        values[..., -1] = 65535
    rows = b"".join(b"\0" + row.tobytes() for row in values)

    pixels = load_bytes(png(7, 5, rows, color=color, bits=16), tmp_path)

    expected = (values >> 8).astype(np.uint8)[..., : 3 if color in (2, 6) else 1]
    assert np.array_equal(pixels, np.broadcast_to(expected, (5, 7, 3)))


def test_heic_with_colors_and_size(tmp_path: Path) -> None:
    pillow_heif = pytest.importorskip("pillow_heif", reason="the extra 'heic' is not installed")
    buffer = io.BytesIO()
    pillow_heif.from_pillow(Image.new("RGB", (128, 64), (200, 30, 60))).save(buffer, quality=90)

    pixels = load_bytes(buffer.getvalue(), tmp_path, "IMG_0001.HEIC")

    assert pixels.shape == (64, 128, 3)
    assert np.abs(pixels.astype(int) - (200, 30, 60)).max() <= 6
    with pytest.raises(PhotoError, match="128 x 64 pixels"):
        load_bytes(buffer.getvalue(), tmp_path, pixel_limit=8000)


def test_heic_without_the_extra_says_how_to_get_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pillow_heif", None)

    with pytest.raises(PhotoError, match=r"pip install 'rakelight\[heic\]'"):
        load_bytes(struct.pack(">I", 24) + b"ftypheic\0\0\0\0mif1heic", tmp_path)


def test_bytes_after_the_end_of_a_jpeg_do_no_harm(tmp_path: Path) -> None:
    data = encode(picture(), "JPEG")

    assert np.array_equal(load_bytes(data + b"\xff\xd8phone's own data" * 50, tmp_path), load_bytes(data, tmp_path))


def test_the_files_name_is_not_believed(tmp_path: Path) -> None:
    assert load_bytes(encode(picture(), "PNG"), tmp_path, "photo.jpg").shape == (96, 96, 3)


@pytest.mark.parametrize(
    "name", ["-rf.jpg", "line\nbreak.jpg", "Gehäuse ₿ 鋼琴.jpg", " .jpg", "no suffix", "%s{0}.jpg"]
)
def test_odd_names(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(encode(picture(), "JPEG"))

    assert load_photo(tmp_path / name).path == str(tmp_path / name)


def test_links_are_followed(tmp_path: Path) -> None:
    (tmp_path / "photo.jpg").write_bytes(encode(picture(), "JPEG"))
    (tmp_path / "link.jpg").symlink_to("photo.jpg")

    assert load_photo(tmp_path / "link.jpg").sha256 == load_photo(tmp_path / "photo.jpg").sha256


def test_the_original_is_only_read(tmp_path: Path) -> None:
    path = tmp_path / "photo.jpg"
    path.write_bytes(encode(picture(), "JPEG"))
    before = path.read_bytes(), path.stat().st_mtime_ns, sorted(tmp_path.iterdir())

    photo = load_photo(path)

    assert (path.read_bytes(), path.stat().st_mtime_ns, sorted(tmp_path.iterdir())) == before
    assert photo.sha256 == hashlib.sha256(before[0]).hexdigest()


def test_the_file_is_opened_once_for_reading(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "photo.tif"
    path.write_bytes(encode(picture(), "TIFF"))
    opened: list[tuple[str, str]] = []
    real = io.open

    def watch(file: object, mode: str = "r", *rest: object, **options: object) -> object:
        opened.append((str(file), mode))
        return real(file, mode, *rest, **options)

    monkeypatch.setattr(io, "open", watch)
    monkeypatch.setattr("builtins.open", watch)
    load_photo(path)

    assert [entry for entry in opened if str(path) in entry[0]] == [(str(path), "rb")]


def test_place_and_owner_in_exif_are_not_kept(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x8298] = "Quillon Marsh"  # invented owner
    exif.get_ifd(0x8825)[1] = "N"

    (tmp_path / "photo.jpg").write_bytes(encode(picture(), "JPEG", exif=exif))
    photo = load_photo(tmp_path / "photo.jpg")

    assert "Quillon" not in repr(vars(photo) | {"pixels": None})
    assert set(vars(photo)) == {"pixels", "path", "sha256", "orientation", "page", "pages"}


@pytest.mark.parametrize("kind", ["TIFF", "WEBP", "GIF", "PNG", "JPEG"])
def test_pillows_own_limit_does_not_apply_and_is_put_back(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 100)

    assert load_bytes(encode(picture(), kind), tmp_path).shape == (96, 96, 3)
    assert Image.MAX_IMAGE_PIXELS == 100
