"""Files that are no readable photo, made on the spot: empty, cut, forged, too large, of another kind, no file.

Every one must end in a PhotoError. Byte layouts follow the formats' own specifications (JPEG ITU-T T.81, PNG third
edition, TIFF 6.0, GIF89a, ISO/IEC 14496-12), written from memory; most files are a good picture with one thing broken.
"""

from __future__ import annotations

import contextlib
import functools
import gzip
import io
import os
import socket
import struct
import zipfile
import zlib
from pathlib import Path

import numpy as np
from PIL import Image

END_OF_JPEG = b"\xff\xd9"
PNG_START = b"\x89PNG\r\n\x1a\n"


def make_hostile_files(folder: Path) -> dict[str, Path]:
    """Write every hostile file into a folder and return them by what is wrong with each."""
    files: dict[str, Path] = {}
    for number, (name, data) in enumerate(hostile_contents().items()):
        files[name] = folder / f"{number:02}.{name.split('-')[0]}"
        files[name].write_bytes(data)
    return {**files, **_no_files(folder)}


@functools.cache
def hostile_contents() -> dict[str, bytes]:
    """Return the hostile files' contents by what is wrong with each; the name's first word is the file's ending."""
    return {**_other_kinds(), **_jpegs(), **_pngs(), **_tiffs(), **_rest()}


def picture(side: int = 96, mode: str = "RGB") -> Image.Image:
    """Return a picture of gradients and noise, so that no part of it compresses to nothing."""
    random = np.random.default_rng(7)
    ramp = np.add.outer(np.arange(side), np.arange(side))[..., None] * (1, 2, 3) % 200
    return Image.fromarray((ramp + random.integers(0, 40, (side, side, 3))).astype(np.uint8)).convert(mode)


def encode(image: Image.Image, kind: str, **options: object) -> bytes:
    """Return a picture as the bytes of a file of one kind."""
    buffer = io.BytesIO()
    image.save(buffer, kind, **options)
    return buffer.getvalue()


def png_chunk(name: bytes, data: bytes) -> bytes:
    """Return one chunk of a PNG with its length and checksum."""
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def png(width: int, height: int, pixels: bytes, extra: bytes = b"", *, color: int = 2, bits: int = 8) -> bytes:
    """Return a PNG of any header over any pixel data."""
    header = png_chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, bits, color, 0, 0, 0))
    return PNG_START + header + extra + png_chunk(b"IDAT", zlib.compress(pixels)) + png_chunk(b"IEND", b"")


def tiff(tags: dict[int, tuple[int, int]], pixels: bytes = b"", next_ifd: int = 0) -> bytes:
    """Return a little-endian TIFF of one directory, tag -> (field type, value); pixels begin at byte 8."""
    ifd = 8 + len(pixels) + len(pixels) % 2
    entries = b"".join(struct.pack("<HHII", tag, kind, 1, value) for tag, (kind, value) in sorted(tags.items()))
    start = b"II*\0" + struct.pack("<I", ifd) + pixels
    return start.ljust(ifd, b"\0") + struct.pack("<H", len(tags)) + entries + struct.pack("<I", next_ifd)


def gray_tiff(width: int, height: int, pixels: bytes, **changes: tuple[int, int]) -> bytes:
    """Return a plain gray TIFF of one strip, with tags changed or added as t256=(type, value)."""
    tags = {256: (4, width), 257: (4, height), 258: (3, 8), 259: (3, 1), 262: (3, 1), 273: (4, 8), 277: (3, 1)}
    tags |= {278: (4, height), 279: (4, len(pixels))}
    return tiff({**tags, **{int(name[1:]): value for name, value in changes.items()}}, pixels)


def _box(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data) + 8) + kind + data


def _other_kinds() -> dict[str, bytes]:
    """Files of other kinds that bear a picture's name, or none."""
    archive = io.BytesIO()
    with zipfile.ZipFile(archive, "w") as opened:
        opened.writestr("note.txt", "no photo")
    return {
        "jpg-empty": b"",
        "jpg-one-byte": b"\xff",
        "jpg-zeros": bytes(4096),
        "jpg-random": np.random.default_rng(3).bytes(4096),
        "jpg-text": "Fall board taken off, number not found yet; Nußbaum.\n".encode() * 40,
        "jpg-text-windows": b"\xef\xbb\xbfno photo\r\n",
        "png-web-page": b"<!DOCTYPE html><html><body>404</body></html>",
        "svg-drawing": b'<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg"/>',
        "pdf-document": b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n",
        "eps-document": b"%!PS-Adobe-3.0 EPSF-3.0\n",
        "mp4-video": _box(b"ftyp", b"isom\0\0\2\0isomiso2mp41") + _box(b"mdat", bytes(64)),
        "mov-video": _box(b"ftyp", b"qt  \0\0\0\0qt  ") + _box(b"mdat", bytes(64)),
        "avi-video": b"RIFF\x40\0\0\0AVI LIST" + bytes(64),
        "mkv-video": b"\x1aE\xdf\xa3" + bytes(64),
        "wav-sound": b"RIFF\x40\0\0\0WAVEfmt " + bytes(64),
        "mp3-sound": b"ID3\x04" + bytes(64),
        "zip-archive": archive.getvalue(),
        "gz-archive": gzip.compress(b"no photo"),
        "psd-document": b"8BPS\0\1" + bytes(64),
        "raf-raw": b"FUJIFILMCCD-RAW 0201" + bytes(64),
        "cr3-raw": _box(b"ftyp", b"crx \0\0\0\1crx isom") + bytes(64),
        "cr2-raw": b"II*\0\x10\0\0\0CR\2\0" + bytes(64),
        "dng-raw": gray_tiff(4, 4, bytes(16), t50706=(1, 0x00000401)),
        "nef-raw": gray_tiff(4, 4, bytes(16), t254=(4, 1), t330=(4, 8)),
        "jxl-picture": b"\xff\x0a" + bytes(64),
        "exe-program": b"MZ" + bytes(64),
        "elf-program": b"\x7fELF" + bytes(64),
    }


def _jpegs() -> dict[str, bytes]:
    good = encode(picture(), "JPEG", quality=90)
    frame = good.index(b"\xff\xc0")
    tables = good.index(b"\xff\xdb")
    scan = good.index(b"\xff\xda")
    progressive = encode(picture(), "JPEG", progressive=True)
    last_scan = progressive.rindex(b"\xff\xda")
    with_end_inside = encode(picture(), "JPEG", comment=END_OF_JPEG * 9)
    return {
        "jpg-start-only": b"\xff\xd8\xff",
        "jpg-half": good[: len(good) // 2],
        "jpg-no-end": good[:-2],
        "jpg-half-zeros": good[: len(good) // 2] + bytes(len(good) // 2),
        "jpg-header-only": good[:scan],
        "jpg-no-scan": good[:scan] + END_OF_JPEG,
        "jpg-no-tables": good[:tables] + good[frame:],
        "jpg-end-in-comment": with_end_inside[: len(with_end_inside) // 2],
        "jpg-progressive-half": progressive[: len(progressive) // 2],
        "jpg-no-height": good[: frame + 5] + b"\0\0" + good[frame + 7 :],
        "jpg-12-bits": good[: frame + 4] + b"\x0c" + good[frame + 5 :],
        "jpg-five-channels": good[: frame + 9] + b"\x05" + good[frame + 10 :],
        "jpg-bomb": good[: frame + 5] + b"\xff\xdc\xff\xdc" + good[frame + 9 :],
        "jpg-many-scans": progressive[:last_scan] + progressive[last_scan:-2] * 200 + END_OF_JPEG,
    }


def _pngs() -> dict[str, bytes]:
    good = encode(picture(), "PNG")
    rows = b"".join(b"\0" + bytes(96 * 3) for _ in range(96))
    bomb_text = png_chunk(b"zTXt", b"Comment\0\0" + zlib.compress(bytes(70_000_000)))
    return {
        "png-start-only": PNG_START,
        "png-half": good[: len(good) // 2],
        "png-bad-checksum": good[:20] + b"\7" + good[21:],
        "png-no-width": png(0, 96, rows),
        "png-no-pixels": PNG_START + png_chunk(b"IHDR", struct.pack(">IIBBBBB", 9, 9, 8, 2, 0, 0, 0)),
        "png-no-data": png(96, 96, b""),
        "png-few-rows": png(96, 96, rows[:5000]),
        "png-garbage": good.replace(b"IDAT", b"IDAT" + bytes(40), 1),
        "png-odd-color": png(96, 96, rows, color=5),
        "png-bomb": png(60_000, 60_000, rows),
        "png-text-bomb": png(96, 96, rows, bomb_text),
    }


def _tiffs() -> dict[str, bytes]:
    pixels = picture(16, "L").tobytes()
    lzw = bytearray(encode(picture(), "TIFF", compression="tiff_lzw"))
    lzw[2000:2400] = np.random.default_rng(1).bytes(400)
    deflated = bytearray(encode(picture(), "TIFF", compression="tiff_adobe_deflate"))
    deflated[8:60] = bytes(52)
    page = gray_tiff(16, 16, pixels)
    ifd = 8 + len(pixels)
    chain = b"".join(page[ifd:-4] + struct.pack("<I", ifd + (n + 1) * len(page[ifd:])) for n in range(1200))
    colors = encode(picture(), "TIFF")
    return {
        "tif-start-only": b"II*\0",
        "tif-no-directory": b"II*\0\x08\0\0\0",
        "tif-directory-outside": b"MM\0*\x7f\xff\xff\xff",
        "tif-half": colors[: len(colors) // 2],
        "tif-pixels-cut": gray_tiff(16, 16, pixels, t257=(4, 900), t278=(4, 900), t279=(4, 14_400)),
        "tif-pixels-outside": gray_tiff(16, 16, pixels, t273=(4, 9_000_000)),
        "tif-no-width": gray_tiff(0, 16, pixels),
        "tif-no-size": tiff({258: (3, 8), 259: (3, 1), 262: (3, 1), 273: (4, 8), 279: (4, 256)}, pixels),
        "tif-bomb": gray_tiff(100_000, 100_000, pixels),
        "tif-deep-bomb": gray_tiff(100_000, 100_000, pixels, t258=(3, 16)),
        "tif-float": encode(Image.new("F", (9, 9), 0.5), "TIFF"),
        "tif-32-bits": encode(Image.new("I", (9, 9), 5), "TIFF"),
        "tif-many-channels": gray_tiff(16, 16, pixels, t277=(3, 60_000)),
        "tif-many-pages": page[:ifd] + chain,
        "tif-unknown-compression": gray_tiff(16, 16, pixels, t259=(3, 4711)),
        "tif-lzw-damaged": bytes(lzw),
        "tif-deflate-damaged": bytes(deflated),
    }


def _rest() -> dict[str, bytes]:
    """WebP, GIF, BMP, JPEG 2000, HEIC and AVIF."""
    webp, gif, bmp = (encode(picture(), kind) for kind in ("WEBP", "GIF", "BMP"))
    siz = struct.pack(">HHIIIIIIIIHBBB", 41, 0, 99_999, 99_999, 0, 0, 99_999, 99_999, 0, 0, 1, 7, 1, 1)
    return {
        "webp-start-only": b"RIFF\x40\0\0\0WEBP",
        "webp-half": webp[: len(webp) // 2],
        "webp-garbage": webp[:20] + bytes(len(webp) - 20),
        "gif-start-only": b"GIF89a",
        "gif-half": gif[: len(gif) // 2],
        "gif-bomb": b"GIF89a\xff\xff\xff\xff\0\0\0,\0\0\0\0\xff\xff\xff\xff\0\x02\x02\x4c\x01\0;",
        "bmp-start-only": b"BM",
        "bmp-half": bmp[: len(bmp) // 2],
        "bmp-bomb": bmp[:18] + struct.pack("<ii", 60_000, 60_000) + bmp[26:],
        "jp2-start-only": b"\0\0\0\x0cjP  \r\n\x87\n",
        "jp2-bomb": b"\xff\x4f\xff\x51" + siz + END_OF_JPEG,
        "heic-start-only": _box(b"ftyp", b"heic\0\0\0\0mif1heic"),
        "heic-garbage": _box(b"ftyp", b"heic\0\0\0\0mif1heic") + _box(b"meta", bytes(200)),
        "avif-start-only": _box(b"ftyp", b"avif\0\0\0\0mif1avif"),
    }


NO_FILES = (
    "missing",
    "folder",
    "dangling-link",
    "looping-link",
    "pipe",
    "device",
    "socket",
    "huge",
    "too-long",
    "below",
)
"""Things with a photo's name that are no files, or none that may be read."""


def _no_files(folder: Path) -> dict[str, Path]:
    files = {name: folder / f"{name}.jpg" for name in NO_FILES}
    files["folder"].mkdir()
    files["dangling-link"].symlink_to(folder / "nowhere")
    files["looping-link"].symlink_to(files["looping-link"])
    os.mkfifo(files["pipe"])
    files["device"].symlink_to("/dev/zero")
    with contextlib.closing(socket.socket(socket.AF_UNIX)) as server:
        try:
            server.bind(str(files["socket"]))
        except OSError:  # the folder's name is too long for a socket
            del files["socket"]
    with files["huge"].open("wb") as file:
        file.truncate(1_000_000_001)  # takes no room on the disk
    files["too-long"] = folder / ("a" * 300 + ".jpg")
    (folder / "file.jpg").write_bytes(b"")
    files["below"] = folder / "file.jpg" / "below.jpg"
    return files
