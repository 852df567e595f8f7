"""Looks at an original, only to read: is it still the file that was read, how is it stored, what are its pixels.

In: a Record. Out: the EXIF orientation, or the upright pixels. A file that is gone or has changed since it was read
is an ExportError, because its record speaks of other pixels.
"""

from __future__ import annotations

import hashlib
import io
import os
from collections.abc import Callable
from pathlib import Path

from PIL import JpegImagePlugin

from pipelines.export.record import ExportError, Record
from pipelines.export.target import BLOCK_BYTES
from reader import settings
from reader.errors import one_line
from reader.photo.load import load_photo
from reader.results import Photo

ORIENTATION_TAG = 0x0112
JPEG_START = b"\xff\xd8\xff"


def load_original(record: Record) -> Photo:
    """Return the photo, upright. Raises PhotoError, or ExportError where it is not the file that was read."""
    limit = max(settings.PIXEL_LIMIT, record.width * record.height)
    photo = load_photo(record.photo, page=record.page, pixel_limit=limit)
    _check(record, photo.sha256)
    if (photo.width, photo.height) != (record.width, record.height):
        raise ExportError(
            f"{one_line(record.name)}: is {photo.width} x {photo.height} pixels and its record says "
            f"{record.width} x {record.height}; read it again, or name the right page"
        )
    return photo


def find_orientation(record: Record) -> int:
    """Return the EXIF orientation that was applied to show the photo upright, 1 to 8.

    A JPEG's is taken from its header, which is a hundred times faster than decoding it. Raises as load_original.
    """
    data = record.photo.read_bytes()
    if not data.startswith(JPEG_START):
        return load_original(record).orientation
    _check(record, hashlib.sha256(data).hexdigest())
    try:
        with JpegImagePlugin.JpegImageFile(io.BytesIO(data)) as image:  # unlike Image.open it warns of no size
            value = image.getexif().get(ORIENTATION_TAG, 1)
            stored = image.size
    except Exception:  # broken EXIF data make Pillow raise nearly every type there is; the reader decides
        return load_original(record).orientation
    orientation = value if isinstance(value, int) and 1 <= value <= 8 else 1
    if sorted(stored) != sorted((record.width, record.height)):
        return load_original(record).orientation  # whose message says what does not fit
    return orientation


def copy_original(record: Record, write: Callable[[bytes], None]) -> None:
    """Pass the original's bytes on in blocks. Raises ExportError at their end if they are not those that were read."""
    digest = hashlib.sha256()
    with record.photo.open("rb") as file:
        while block := file.read(BLOCK_BYTES):
            digest.update(block)
            write(block)
    _check(record, digest.hexdigest())


def keep_time(copy: Path, original: Path) -> None:
    """Give a copy the original's time of last change."""
    status = original.stat()
    os.utime(copy, ns=(status.st_mtime_ns, status.st_mtime_ns))


def _check(record: Record, sha256: str) -> None:
    if sha256 != record.sha256:
        raise ExportError(f"{one_line(record.name)}: has changed since it was read (other SHA-256); read it again")
