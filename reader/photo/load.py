"""From a photo's file to upright sRGB pixels, and from a folder to its photos.

In comes a path; out goes a Photo for every later stage. The file is opened once, for reading only, and decoded from
memory. What EXIF says beyond the orientation (place, owner, camera) is never kept. Every file that is no readable photo
ends in a PhotoError of one line; no library's error, warning or terminal output gets through.
"""

from __future__ import annotations

import hashlib
import io
import logging
import math
import re
import stat
import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from reader import settings
from reader.errors import PhotoError
from reader.photo.decode import SEND_AGAIN, Decoded, RefusedError, decode_picture
from reader.photo.kinds import SAVE_AS_PICTURE
from reader.results import Photo

PHOTO_SUFFIXES = frozenset(
    {
        *(".jpg", ".jpeg", ".jpe", ".jfif", ".mpo", ".png", ".tif", ".tiff", ".webp"),
        *(".heic", ".heif", ".hif", ".avif", ".gif", ".bmp", ".jp2", ".j2k"),
    }
)
"""Endings, in lower case, of the files that find_photos takes. load_photo looks at the bytes, not at the ending."""

FILE_LIMIT_BYTES = 1_000_000_000
"""Largest file that is read, since it is held in memory: an uncompressed 16-bit color scan of 166 megapixels."""

SRGB_LEVELS = 2
"""A profile that changes no color by more than this, of 255, is taken for sRGB: two makers' own sRGB profiles differ
by 1 (measured), and converting 12 megapixels costs 200 ms."""

STRIP_ROWS = 64
"""Rows copied at a time from Pillow to numpy: 10 ms for 12 megapixels against 27 in one piece (measured)."""

LARGE_STRIP_ROWS = 1024
"""Rows of a large picture that are converted to sRGB at a time; each time costs the making of the conversion."""

_logger = logging.getLogger(__name__)
_rules_lock = threading.Lock()

Pixels = NDArray[np.uint8]

_TURNS: dict[int, Callable[[Pixels], object]] = {
    1: lambda pixels: pixels,
    2: lambda pixels: cv2.flip(pixels, 1),
    3: lambda pixels: cv2.rotate(pixels, cv2.ROTATE_180),
    4: lambda pixels: cv2.flip(pixels, 0),
    5: cv2.transpose,
    6: lambda pixels: cv2.rotate(pixels, cv2.ROTATE_90_CLOCKWISE),
    7: lambda pixels: cv2.flip(cv2.transpose(pixels), -1),
    8: lambda pixels: cv2.rotate(pixels, cv2.ROTATE_90_COUNTERCLOCKWISE),
}
"""How a stored picture is turned upright, by EXIF orientation (EXIF 2.3, tag 0x0112)."""


def load_photo(path: Path, *, page: int = 0, pixel_limit: int = settings.PIXEL_LIMIT) -> Photo:
    """Load a photo, turned upright, as 8-bit sRGB.

    Reads JPEG, PNG, TIFF, WebP, GIF, BMP, JPEG 2000, AVIF, and HEIC with the extra 'heic'. Deeper channels are reduced
    to their high byte, transparency is laid over white, an embedded ICC profile is applied; of animations and of
    cameras' picture pairs the first picture is read.

    Parameters: `page`, counted from 0, of a TIFF with many pages; `pixel_limit`, the largest width x height that is
    decoded.

    Returns a Photo with (H, W, 3) uint8 pixels in the order red, green, blue.

    Raises PhotoError for everything that is no readable photo.
    """
    try:
        data = _read_file(path)
        digest = hashlib.sha256(data).hexdigest()
        with _own_rules():
            decoded = _decode(data, page, pixel_limit)
            del data  # a large file's bytes would stand beside its pixels
            pixels = _srgb_pixels(decoded)
    except RefusedError as refusal:
        raise PhotoError(path, refusal.problem, refusal.remedy) from refusal
    except MemoryError as error:
        raise PhotoError(path, "is too large for this computer's memory", "make it smaller and try again") from error
    upright = np.asarray(_TURNS[decoded.still_to_turn](pixels), np.uint8)
    return Photo(upright, str(path), digest, decoded.orientation, page, decoded.pages)


def find_photos(folder: Path) -> list[Path]:
    """Return the photos in a folder and the folders below it, by their names' endings, in natural order (2 before 10).

    Hidden files and folders are left out. Links are followed, but no folder is entered twice. A folder below that
    cannot be opened is logged and left out. Raises PhotoError where `folder` itself cannot be read.
    """
    found: list[Path] = []
    entered: set[tuple[int, int]] = set()
    waiting = [folder]
    while waiting:
        current = waiting.pop()
        try:
            folders, photos = _list_folder(current, entered)
        except (OSError, ValueError) as error:
            if current == folder:
                raise PhotoError(folder, _os_problem(error), "name a folder that exists and may be read") from error
            _logger.warning("%s", PhotoError(current, _os_problem(error), "its photos were left out"))
            continue
        waiting += folders
        found += photos
    return sorted(found, key=lambda path: [natural_order(part) for part in path.relative_to(folder).parts])


def _list_folder(folder: Path, entered: set[tuple[int, int]]) -> tuple[list[Path], list[Path]]:
    """Return the folders and photos directly in a folder; nothing if it was entered before."""
    status = folder.stat()
    if (status.st_dev, status.st_ino) in entered:
        return [], []
    entered.add((status.st_dev, status.st_ino))
    visible = [entry for entry in folder.iterdir() if not entry.name.startswith(".")]
    photos = [entry for entry in visible if entry.suffix.lower() in PHOTO_SUFFIXES and entry.is_file()]
    return [entry for entry in visible if entry.is_dir()], photos


def natural_order(name: str) -> tuple[list[tuple[int, str]], str]:
    """Return a key that sorts runs of figures by their value, other text without regard to case."""
    runs = re.findall(r"[0-9]+|[^0-9]+", name.casefold())
    return [(int(run[:100]), "") if run[0] in "0123456789" else (-1, run) for run in runs], name


def _read_file(path: Path) -> bytes:
    """Return a file's bytes. Raises RefusedError; never waits for a pipe or a device."""
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise RefusedError("is a folder, not a photo", "name a photo inside it")
        if not stat.S_ISREG(status.st_mode):
            raise RefusedError("is a pipe, a device or a socket, not a file", "copy the photo into a file first")
        if status.st_size > FILE_LIMIT_BYTES:
            limit = FILE_LIMIT_BYTES // 1_000_000
            size = math.ceil(status.st_size / 1_000_000)
            raise RefusedError(f"is {size} MB large, more than {limit}", "make it smaller, or split its pages")
        with path.open("rb") as file:
            data = file.read(FILE_LIMIT_BYTES)
    except FileNotFoundError as error:
        raise RefusedError("there is no such file", "check the name and the folder") from error
    except PermissionError as error:
        raise RefusedError("may not be read by you", "change its permissions, or copy it to where you may") from error
    except (OSError, ValueError) as error:
        raise RefusedError(_os_problem(error), "check the name and the disk") from error
    if not data:
        raise RefusedError("is empty", SEND_AGAIN)
    return data


def _os_problem(error: OSError | ValueError) -> str:
    """Say in words what the operating system refused; a ValueError comes from a name with a NUL character."""
    reason = error.strerror if isinstance(error, OSError) else None
    return f"cannot be read ({(reason or 'no valid name').lower()})"


def _decode(data: bytes, page: int, pixel_limit: int) -> Decoded:
    """Decode, and turn whatever a library raises into a refusal."""
    try:
        return decode_picture(data, page, pixel_limit)
    except (RefusedError, MemoryError):
        raise
    except Exception as error:  # damaged bytes make decoders raise nearly every type there is
        cut = isinstance(error, EOFError) or "truncated" in str(error)
        problem = "ends before its picture is complete" if cut else "is damaged: its picture cannot be decoded"
        raise RefusedError(problem, SEND_AGAIN) from error


@contextmanager
def _own_rules() -> Iterator[None]:
    """Ignore the decoders' warnings, and lift Pillow's own limit on size: check_size applies the caller's.

    One thread at a time, since both are settings of the whole process.
    """
    with _rules_lock, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        limit, Image.MAX_IMAGE_PIXELS = Image.MAX_IMAGE_PIXELS, None
        try:
            yield
        finally:
            Image.MAX_IMAGE_PIXELS = limit


def _srgb_pixels(decoded: Decoded) -> Pixels:
    """Return a decoded picture's pixels in sRGB. Those of a large one are converted where they lie, in strips."""
    image = decoded.image
    if isinstance(image, Image.Image):
        return _to_pixels(_to_srgb(_flatten(image), decoded.profile))
    for top in range(0, len(image), LARGE_STRIP_ROWS) if decoded.profile else ():
        strip = image[top : top + LARGE_STRIP_ROWS]
        strip[:] = _to_pixels(_to_srgb(Image.fromarray(strip), decoded.profile))
    return image


def _flatten(image: Image.Image) -> Image.Image:
    """Return a picture as 8-bit gray (L), RGB or CMYK; what is transparent becomes white."""
    if image.mode.startswith("I;16"):
        return Image.fromarray((np.asarray(image) >> 8).astype(np.uint8))
    if image.mode not in ("1", "L", "LA", "La", "P", "PA", "RGB", "RGBA", "RGBa", "RGBX", "CMYK", "YCbCr"):
        raise RefusedError(f"holds values of a kind that is not supported ({image.mode})", SAVE_AS_PICTURE)
    if image.mode == "La":
        image = image.convert("LA")
    if image.mode in ("LA", "PA", "RGBA", "RGBa") or "transparency" in image.info:
        white = Image.new("RGBA", image.size, "white")
        return Image.alpha_composite(white, image.convert("RGBA")).convert("RGB")
    if image.mode == "1":
        return image.convert("L")
    return image if image.mode in ("L", "RGB", "CMYK") else image.convert("RGB")


def _to_srgb(image: Image.Image, profile: bytes | None) -> Image.Image:
    """Return a picture as RGB or gray in sRGB. A profile that is broken or of another kind of color is ignored."""
    if profile:
        try:
            return _apply_profile(image, profile)
        except MemoryError:
            raise
        except Exception:  # the picture is fine without its profile, whatever is wrong with that
            _logger.debug("an embedded color profile was ignored", exc_info=True)
    return image.convert("RGB") if image.mode == "CMYK" else image


def _apply_profile(image: Image.Image, profile: bytes) -> Image.Image:
    """Convert by an ICC profile (relative colorimetric, black point compensated), unless it is sRGB anyway."""
    from PIL import ImageCms

    source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    mode = {"RGB": "RGB", "GRAY": "L", "CMYK": "CMYK"}[source.profile.xcolor_space.strip()]
    if mode != image.mode and (mode, image.mode) != ("RGB", "L"):
        return image.convert("RGB")
    to_srgb = ImageCms.buildTransform(
        source,
        ImageCms.createProfile("sRGB"),
        mode,
        "RGB",
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        flags=ImageCms.Flags.BLACKPOINTCOMPENSATION,
    )
    if mode == "RGB":
        samples = _color_samples()
        changed = np.asarray(ImageCms.applyTransform(samples, to_srgb), np.int16) - np.asarray(samples)
        if np.abs(changed).max() <= SRGB_LEVELS:
            return image
    converted = ImageCms.applyTransform(image.convert(mode), to_srgb)
    return image if converted is None else converted


def _color_samples() -> Image.Image:
    """Return 9 x 9 x 9 colors spread evenly over the RGB cube as a picture."""
    steps = np.linspace(0, 255, 9).round().astype(np.uint8)
    return Image.fromarray(np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(27, 27, 3))


def _to_pixels(image: Image.Image) -> Pixels:
    """Return a gray or RGB picture as (H, W, 3) uint8."""
    if image.mode == "L":
        return np.asarray(cv2.cvtColor(np.asarray(image), cv2.COLOR_GRAY2RGB), np.uint8)
    pixels = np.empty((image.height, image.width, 3), np.uint8)
    for top in range(0, image.height, STRIP_ROWS):
        bottom = min(top + STRIP_ROWS, image.height)
        pixels[top:bottom] = np.asarray(image.crop((0, top, image.width, bottom)))
    return pixels
