"""Picture files in memory to pixels: one function per format, and what all formats need.

In come a file's bytes (from load.py); out goes a Pillow picture, not yet turned upright and not yet sRGB, with what is
needed for both. Pillow decodes everything except 16-bit TIFF, which it reads wrongly when the channels lie apart, and
HEIC. JPEG too: 57 ms for 12 megapixels in color against OpenCV's 45 (measured, one thread), but OpenCV lets its
decoder write complaints about damaged files to the terminal.
"""

from __future__ import annotations

import ctypes
import importlib
import io
import logging
import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, features

from reader.photo.kinds import DEVELOP_RAW, SAVE_AS_PICTURE, looks_like, picture_format
from reader.photo.large_tiff import decode_large

if TYPE_CHECKING:
    from PIL import ImageFile

SEND_AGAIN = "copy or send the original file again"
SAVE_AS_PLAIN = "save it as TIFF or PNG, gray or RGB, with 8 or 16 bits per channel"

SCANS_MAX = 100
"""Most scans of a progressive JPEG. Encoders write about 10; a small file made of thousands keeps a decoder busy for
hours. From memory: the decoder's own authors stop at 500 in their tests."""

PAGES_MAX = 1000
"""Most pages of a TIFF: opening any page reads the list of all, about 0.3 ms each (measured)."""

CHANNELS_MAX = 8
"""Most channels of a TIFF: red, green, blue, transparency and four of a program's own."""

ORIENTATION_TAG = 0x0112
PROFILE_TAG = 34675
DNG_VERSION_TAG = 50706
SUB_IFDS_TAG = 330

_DEFLATE_OR_NONE = (1, 8, 32946)
_JPEG_MARKER = re.compile(rb"\xff+[^\x00\x01\xff\xd0-\xd8]")
"""A JPEG marker with a segment, or the end marker: not a stuffed byte, a restart, TEM or a second start."""

# The libraries report odd files to these loggers; where the program set up no logging, Python would print them.
for _name in ("PIL", "tifffile", "pillow_heif"):
    logging.getLogger(_name).addHandler(logging.NullHandler())


class RefusedError(Exception):
    """What is wrong with a picture's bytes and what to do; load.py adds the file's name and makes it a PhotoError."""

    def __init__(self, problem: str, remedy: str) -> None:
        self.problem = problem
        self.remedy = remedy
        super().__init__(problem)


@dataclass(frozen=True)
class Decoded:
    """A decoded picture and what is still to be done with it.

    `image` is its picture, or (H, W, 3) uint8 pixels decoded without Pillow. `orientation` is the EXIF value
    (1 to 8) that the file asks for, `still_to_turn` the part that the decoder left to do. `profile` is the embedded ICC
    profile. `pages` counts the file's pages.
    """

    image: Image.Image | NDArray[np.uint8]
    orientation: int = 1
    still_to_turn: int = 1
    profile: bytes | None = None
    pages: int = 1


def decode_picture(data: bytes, page: int, pixel_limit: int) -> Decoded:
    """Decode a picture file's bytes. Raises RefusedError, or whatever a library raises on damaged bytes."""
    name = picture_format(data)
    if name is None:
        what, remedy = looks_like(data)
        raise RefusedError(f"is no photo: it looks like {what}", remedy)
    if name == "Tiff":
        return _decode_tiff(data, page, pixel_limit)
    if page != 0:
        raise RefusedError(f"has one page, and page {page} (counted from 0) was asked for", "ask for page 0")
    if name == "Heif":
        return _decode_heif(data, pixel_limit)
    if name == "Jpeg":
        check_jpeg(data)
    image = _open(name, data)
    check_size(image.width, image.height, pixel_limit)
    image.load()
    orientation = _orientation(image)
    return Decoded(image, orientation, orientation, image.info.get("icc_profile"))


def check_size(width: int, height: int, pixel_limit: int) -> None:
    """Refuse a size by the header, before anything is decoded. Raises RefusedError."""
    if width < 1 or height < 1:
        raise RefusedError(f"is {width} x {height} pixels large, so it holds no picture", SEND_AGAIN)
    if width * height > pixel_limit:
        size, limit = width * height / 1e6, pixel_limit / 1e6
        raise RefusedError(
            f"is {width} x {height} pixels, {size:.0f} megapixels, and the limit is {limit:g}",
            f"make it smaller, or if you trust the file allow it with --max-megapixels {math.ceil(size)}",
        )


def check_jpeg(data: bytes) -> None:
    """Refuse a JPEG without its end marker, whose missing part a decoder would fill with gray. Raises RefusedError.

    Walks the segments (ITU-T T.81, annex B), so that a thumbnail's end marker inside a segment is not taken for the
    picture's. Bytes after the end, which many phones append, are not looked at.
    """
    place, scans = 2, 0
    while (marker := _JPEG_MARKER.search(data, place)) is not None:
        code = data[marker.end() - 1]
        if code == 0xD9:
            return
        place = marker.end() + max(2, int.from_bytes(data[marker.end() : marker.end() + 2], "big"))
        scans += code == 0xDA
        if scans > SCANS_MAX:
            raise RefusedError(f"has more than {SCANS_MAX} scans, as files made to do harm have", SAVE_AS_PICTURE)
        is_frame = 0xC0 <= code <= 0xCF and code not in (0xC4, 0xC8, 0xCC)
        if is_frame and data[marker.end() + 2 : marker.end() + 3] == b"\x0c":
            raise RefusedError("is a JPEG with 12 bits per channel, which is not supported", SAVE_AS_PICTURE)
    raise RefusedError("is a JPEG that ends before its picture is complete", SEND_AGAIN)


def _open(name: str, data: bytes) -> ImageFile.ImageFile:
    """Read a picture's header with Pillow's plug-in of that name.

    The format's own class is called, not Image.open, which tries several and forgets why each one failed.
    """
    if name == "Avif" and not features.check("avif"):
        raise RefusedError("is an AVIF picture, which the installed Pillow cannot read", SAVE_AS_PICTURE)
    plugin = importlib.import_module(f"PIL.{name}ImagePlugin")
    picture: ImageFile.ImageFile = getattr(plugin, f"{name}ImageFile")(io.BytesIO(data))
    return picture


def _orientation(image: Image.Image) -> int:
    """Return a loaded picture's EXIF orientation, 1 where it is missing, outside 1 to 8, or the EXIF part is broken."""
    try:
        value = image.getexif().get(ORIENTATION_TAG, 1)
    except Exception:  # whatever Pillow meets in broken EXIF data, the picture itself is fine
        return 1
    return valid_orientation(value)


def valid_orientation(value: object) -> int:
    """Return an orientation as it stands, 1 for anything that is no whole number from 1 to 8."""
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def _decode_heif(data: bytes, pixel_limit: int) -> Decoded:
    """Decode HEIC or HEIF, which the library turns upright itself."""
    try:
        import pillow_heif
    except ImportError as error:
        raise RefusedError(
            "is a HEIC picture, and the part that reads those is not installed",
            "install the extra 'heic', e.g. pip install 'rakelight[heic]', or save the picture as JPEG",
        ) from error
    heif = pillow_heif.open_heif(io.BytesIO(data))
    width, height = heif.size
    check_size(width, height, pixel_limit)
    image: Image.Image = heif.to_pillow()
    return Decoded(image, profile=image.info.get("icc_profile"))


def _decode_tiff(data: bytes, page: int, pixel_limit: int) -> Decoded:
    """Decode one page of a TIFF. Reduced copies and masks (TIFF 6.0, NewSubfileType bits 0 and 2) are no pages."""
    import tifffile

    # The stream is closed too: tifffile's objects hold each other, and with them a large file's bytes, for a while.
    with io.BytesIO(data) as stream, tifffile.TiffFile(stream) as tiff:
        _refuse_raw(data, tiff.pages[0])
        if len(tiff.pages) > PAGES_MAX:
            raise RefusedError(f"has more than {PAGES_MAX} pages", "split it into smaller files")
        everything: list[Any] = list(tiff.pages)
        numbers = [n for n, each in enumerate(everything) if not each.subfiletype & 5] or [0]
        if not 0 <= page < len(numbers):
            count = "1 page" if len(numbers) == 1 else f"{len(numbers)} pages"
            raise RefusedError(f"has {count}, and page {page} (counted from 0) was asked for", _pages_remedy(numbers))
        chosen = everything[numbers[page]]
        check_size(chosen.imagewidth, chosen.imagelength, pixel_limit)
        _refuse_depth(chosen)
        orientation = valid_orientation(_tag(chosen, ORIENTATION_TAG))
        profile = _tag(chosen, PROFILE_TAG)
        profile = profile if isinstance(profile, bytes) else None
        large = decode_large(chosen)
        if large is not None:
            return Decoded(large, orientation, orientation, profile, len(numbers))
        if chosen.bitspersample == 16 and chosen.photometric in (0, 1, 2) and chosen.compression in _DEFLATE_OR_NONE:
            return Decoded(_deep_tiff(chosen), orientation, orientation, profile, len(numbers))
    image = _tiff_with_pillow(data, numbers[page], chosen)
    return Decoded(image, orientation, _orientation(image), profile, len(numbers))


def _pages_remedy(numbers: list[int]) -> str:
    return "ask for page 0" if len(numbers) == 1 else f"ask for a page from 0 to {len(numbers) - 1}"


def _tag(page: Any, code: int) -> object:
    tag = page.tags.get(code)
    return None if tag is None else tag.value


def _refuse_raw(data: bytes, first: Any) -> None:
    """Refuse the RAW files that are TIFF outside; what a TIFF reader finds in them is a thumbnail (from memory)."""
    is_preview = bool(first.subfiletype & 1) and SUB_IFDS_TAG in first.tags
    if data[8:10] == b"CR" or DNG_VERSION_TAG in first.tags or is_preview:
        raise RefusedError("is a camera's RAW file", DEVELOP_RAW)


def _refuse_depth(page: Any) -> None:
    """Refuse what is no unsigned picture of at most 16 bits per channel."""
    if page.sampleformat not in (1, None) or page.bitspersample not in (1, 2, 4, 8, 12, 16):
        kind = {2: "signed", 3: "floating-point"}.get(page.sampleformat, "")
        problem = f"holds {page.bitspersample}-bit {kind} values".replace("  ", " ")
        raise RefusedError(f"{problem}, which are not supported", SAVE_AS_PLAIN)
    if page.samplesperpixel > CHANNELS_MAX:
        raise RefusedError(f"has {page.samplesperpixel} channels", SAVE_AS_PLAIN)


def _deep_tiff(page: Any) -> Image.Image:
    """Decode a 16-bit TIFF page to 8 bits by its high byte: 0 stays 0, 65535 becomes 255, 257 k becomes k."""
    stored = page.asarray().reshape(page.shaped)  # separate channels, depth, height, width, joined channels
    high = (np.moveaxis(stored[:, 0], 0, -1) >> 8).astype(np.uint8)
    channels = high.reshape(*high.shape[:2], -1)
    colors = 3 if page.photometric == 2 else 1
    if page.photometric == 0:
        channels = np.concatenate([255 - channels[..., :1], channels[..., 1:]], axis=-1)
    alpha = {1: "a", 2: "A"}.get(page.extrasamples[0] if page.extrasamples else 0, "")
    kept = np.ascontiguousarray(channels[..., : colors + len(alpha)])
    return Image.frombytes(("RGB" if colors == 3 else "L") + alpha, (kept.shape[1], kept.shape[0]), kept.tobytes())


def _tiff_with_pillow(data: bytes, number: int, page: Any) -> Image.Image:
    """Decode a TIFF page with Pillow, which turns it upright itself, and bring deep gray to 8 bits."""
    silence_libtiff()
    try:
        image = _open("Tiff", data)
        image.seek(number)
    except SyntaxError as error:
        raise RefusedError("is damaged, or a kind of TIFF that is not supported", SAVE_AS_PLAIN) from error
    image.load()
    if not image.mode.startswith("I;16"):
        return image
    values = np.asarray(image) >> (page.bitspersample - 8)
    gray = Image.fromarray(values.astype(np.uint8))
    return gray.point(lambda value: 255 - value) if page.photometric == 0 else gray


def silence_libtiff() -> None:
    """Keep Pillow's libtiff from writing its complaints to the terminal; what fails is still reported as an error.

    There is no Python switch for it. Where the library's function cannot be reached, nothing is done.
    """
    try:
        from PIL import _imaging

        set_handler = ctypes.CDLL(_imaging.__file__).TIFFSetErrorHandler
    except (ImportError, OSError, AttributeError, TypeError):
        return
    set_handler.restype, set_handler.argtypes = ctypes.c_void_p, [ctypes.c_void_p]
    set_handler(None)
