"""Embedded color profiles, against the arithmetic of the published color spaces."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest
from hostile_files import encode, picture
from PIL import Image, ImageCms

from reader.photo.load import load_photo

# Red, green and blue of the color space as XYZ under D50 (columns). sRGB: IEC 61966-2-1; Display P3: the primaries of
# SMPTE EG 432-1 with D65; both adapted to D50 as their makers' ICC profiles state them. From memory.
SRGB_TO_XYZ = np.array([[0.4361, 0.3851, 0.1431], [0.2225, 0.7169, 0.0606], [0.0139, 0.0971, 0.7141]])
P3_TO_XYZ = np.array([[0.5151, 0.2920, 0.1571], [0.2412, 0.6922, 0.0666], [-0.0011, 0.0419, 0.7841]])
WHITE = (0.9642, 1.0, 0.8249)
GAMMA = 2.2
COLORS = [(128, 128, 128), (255, 255, 255), (0, 0, 0), (180, 120, 90), (90, 140, 160), (60, 50, 40)]


def make_profile(to_xyz: np.ndarray | None) -> bytes:
    """Return an ICC profile (ICC.1:2001-04, version 2) of one gamma; of a gray space where `to_xyz` is None."""

    def fixed(values: object) -> bytes:
        return b"".join(struct.pack(">i", round(float(value) * 65536)) for value in values)

    curve = b"curv" + bytes(4) + struct.pack(">IHH", 1, round(GAMMA * 256), 0)
    tags = [(b"wtpt", b"XYZ " + bytes(4) + fixed(WHITE))]
    if to_xyz is None:
        tags.append((b"kTRC", curve))
    else:
        for letter, column in zip(b"rgb", to_xyz.T, strict=True):
            tags += [(bytes([letter]) + b"XYZ", b"XYZ " + bytes(4) + fixed(column)), (bytes([letter]) + b"TRC", curve)]
    start = 128 + 4 + 12 * len(tags)
    table, body = struct.pack(">I", len(tags)), b""
    for name, data in tags:
        table += name + struct.pack(">II", start + len(body), len(data))
        body += data
    space = b"GRAY" if to_xyz is None else b"RGB "
    header = struct.pack(">I4sI4s4s4s", start + len(body), bytes(4), 0x02100000, b"mntr", space, b"XYZ ")
    return (header + bytes(12) + b"acsp" + bytes(28) + fixed(WHITE)).ljust(128, b"\0") + table + body


def to_srgb(color: tuple[int, int, int]) -> np.ndarray:
    """Return the sRGB levels of a color given in Display P3's primaries with one gamma."""
    linear = np.linalg.inv(SRGB_TO_XYZ) @ P3_TO_XYZ @ (np.array(color) / 255) ** GAMMA
    linear = np.clip(linear, 0, 1)
    return 255 * np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


@pytest.mark.parametrize("color", COLORS)
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_wide_colors_become_srgb(kind: str, color: tuple[int, int, int], tmp_path: Path) -> None:
    options = {"quality": 95} if kind == "JPEG" else {"lossless": True} if kind == "WEBP" else {}
    data = encode(Image.new("RGB", (16, 16), color), kind, icc_profile=make_profile(P3_TO_XYZ), **options)
    (tmp_path / "photo").write_bytes(data)

    shown = load_photo(tmp_path / "photo").pixels[8, 8]

    assert np.abs(shown - to_srgb(color)).max() <= 2.5


def test_the_profile_changes_something() -> None:
    assert np.abs(to_srgb((180, 120, 90)) - (180, 120, 90)).max() > 6


def test_gray_profile(tmp_path: Path) -> None:
    (tmp_path / "photo").write_bytes(encode(Image.new("L", (16, 16), 40), "TIFF", icc_profile=make_profile(None)))

    shown = load_photo(tmp_path / "photo").pixels[8, 8].astype(int)

    expected = 255 * (1.055 * ((40 / 255) ** GAMMA) ** (1 / 2.4) - 0.055)
    assert np.abs(shown - expected).max() <= 2


def test_an_srgb_profile_changes_nothing(tmp_path: Path) -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    (tmp_path / "photo").write_bytes(encode(picture(), "PNG", icc_profile=profile))

    assert np.array_equal(load_photo(tmp_path / "photo").pixels, np.asarray(picture()))


@pytest.mark.parametrize(
    "profile",
    [b"no profile", make_profile(P3_TO_XYZ)[:200], make_profile(P3_TO_XYZ)[:128] + bytes(400), make_profile(None)],
    ids=["text", "cut", "zeros", "gray-for-color"],
)
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF"])
def test_a_profile_that_cannot_be_used_is_ignored(kind: str, profile: bytes, tmp_path: Path) -> None:
    (tmp_path / "photo").write_bytes(encode(picture(), kind, icc_profile=profile))
    (tmp_path / "plain").write_bytes(encode(picture(), kind))

    assert np.array_equal(load_photo(tmp_path / "photo").pixels, load_photo(tmp_path / "plain").pixels)
