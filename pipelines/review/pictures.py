"""The pictures of one step: the photo with its marks outlined, the mark large, and its enhanced views, encoded.

In: a photo's record and the mark to show. Out: bytes by name. Originals are only read, and shown only while they are
the file that was read. What was made is kept for a while, and made ahead for the next case by one thread.
"""

from __future__ import annotations

import hashlib
import queue
import re
import threading
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from pipelines.casebook.records import PhotoRecord
from pipelines.export.pictures import jpeg_bytes, png_bytes
from pipelines.review.catalog import say
from reader import settings
from reader.answer import CLOSE_ENDS, LINE_MARGIN
from reader.enhance.views import gray_pixels, make_view
from reader.errors import PhotoError, one_line
from reader.geometry import crop_quad, grow_quad, quad_size
from reader.photo.load import load_photo
from reader.results import Photo, Quad

SHOWN_VIEWS = ("dark-ink", "bright-paint", "relief", "dusty-dark", "chalk", "fine-dark")
"""Views side by side: one for each kind of surface. `ridges` is left out: it takes longer than the others together."""

PHOTO_PX = 1200
"""Longer side of the photo on the page."""

CROP_HEIGHT_PX = (120, 300)
"""Least and largest height of the figures in the large crop, before the browser scales it."""

CROP_LENGTH_PX = 1600
"""No crop is longer than this."""

VIEW_HEIGHT_PX = (40, 100)
"""Least and largest height of the figures in a view: 40 px is what the views were made for, 100 px what is shown."""

CROP_MARGIN = 0.6
"""Surroundings of the mark in the large crop, as a share of its height."""

LONGEST_SHAPE = 80
"""A quad this many times longer than high is no line of figures and is not cut out."""

VERMILLION, BLACK, WHITE = "#D55E00", "#000000", "#FFFFFF"
"""Vermillion of Okabe and Ito, "Color Universal Design", 2008; line width and dashes tell the marks apart too."""

SHEETS_KEPT = 24
"""Steps whose pictures are kept, about 0.4 MB each."""

NAMES_KEPT = 2000
"""Steps whose pictures can be made again when a page asks for them."""

PAGE_OF_PART = re.compile(r"page (\d+)")


@dataclass(frozen=True)
class Sight:
    """What is looked at: a photo and one of its marks (its id, None for a photo without marks)."""

    photo: PhotoRecord
    mark: int | None

    @property
    def token(self) -> str:
        """Names the pictures in addresses; equal content, equal token."""
        facts = f"{self.photo.sha256}|{self.photo.path}|{self.photo.part}|{self.mark}|{self.photo.read_at}"
        return hashlib.sha256(facts.encode("utf-8", "surrogatepass")).hexdigest()[:32]


@dataclass(frozen=True)
class Sheet:
    """The pictures of one sight by file name, or why there are none."""

    pictures: Mapping[str, bytes]
    problem: str = ""


class Pictures:
    """Makes and keeps sheets. Threads may share it; one picture is decoded at a time."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._lock = threading.Lock()
        self._making = threading.Lock()
        self._sheets: OrderedDict[str, Sheet] = OrderedDict()
        self._sights: OrderedDict[str, Sight] = OrderedDict()
        self._ahead: queue.Queue[Sight | None] = queue.Queue()
        self._thread = threading.Thread(target=self._make_ahead, daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop making pictures ahead."""
        self._ahead.put(None)
        self._thread.join()

    def announce(self, sight: Sight) -> str:
        """Remember a sight, so that its pictures can be asked for, and return its token."""
        token = sight.token
        with self._lock:
            self._sights[token] = sight
            self._sights.move_to_end(token)
            while len(self._sights) > NAMES_KEPT:
                self._sights.popitem(last=False)
        return token

    def prepare(self, sight: Sight) -> None:
        """Have the pictures made by the thread, and return at once."""
        self._ahead.put(sight)

    def find(self, token: str) -> Sight | None:
        """Return the sight of a token that was announced."""
        with self._lock:
            return self._sights.get(token)

    def sheet(self, sight: Sight) -> Sheet:
        """Return the pictures, made now if they are not there yet."""
        token = sight.token
        kept = self._find_sheet(token)
        if kept is not None:
            return kept
        with self._making:
            kept = self._find_sheet(token)  # made while this thread waited
            if kept is not None:
                return kept
            made = make_sheet(sight, self.folder)
        if not made.problem:  # with one it is not kept: the disk with the photo may be back at the next look
            with self._lock:
                self._sheets[token] = made
                while len(self._sheets) > SHEETS_KEPT:
                    self._sheets.popitem(last=False)
        return made

    def _find_sheet(self, token: str) -> Sheet | None:
        with self._lock:
            kept = self._sheets.get(token)
            if kept is not None:
                self._sheets.move_to_end(token)
        return kept

    def _make_ahead(self) -> None:
        while (sight := self._ahead.get()) is not None:
            if self._ahead.empty():  # a later wish counts more
                self.sheet(sight)


def make_sheet(sight: Sight, folder: Path) -> Sheet:
    """Read the original and make the pictures of a sight."""
    try:
        photo = load_record(sight.photo, folder)
    except PhotoError as error:
        return Sheet({}, one_line(f"{error.path}: {error.problem}"))
    except ValueError as error:
        return Sheet({}, str(error))
    marks = sight.photo.answer["marks"] if sight.photo.answer else []
    pictures = {"photo.jpg": draw_photo(photo.pixels, marks, sight.mark)}
    quad = find_quad(marks, sight.mark)
    if quad is not None:
        pictures["crop.jpg"] = cut_large(photo.pixels, quad)
        pictures |= cut_views(gray_pixels(photo), quad)
    return Sheet(pictures)


def load_record(record: PhotoRecord, folder: Path) -> Photo:
    """Return the photo of a record, upright. Raises PhotoError; ValueError where it is not the file that was read."""
    page = PAGE_OF_PART.match(record.part)
    limit = max(settings.PIXEL_LIMIT, (record.width or 0) * (record.height or 0))
    photo = load_photo(folder / record.path, page=int(page[1]) - 1 if page else 0, pixel_limit=limit)
    if photo.sha256 != record.sha256:
        raise ValueError(say("photo_changed", path=one_line(record.path)))
    if record.width is not None and (photo.width, photo.height) != (record.width, record.height):
        raise ValueError(say("photo_turned", path=one_line(record.path)))
    return photo


def find_quad(marks: list[Mapping[str, Any]], mark: int | None) -> Quad | None:
    """Return the quad of a mark; None for no mark, and for a quad that cannot be cut out."""
    found = next((one for one in marks if one["id"] == mark), None)
    if found is None:
        return None
    quad = np.array(found["quad"], np.float32)
    length, height = quad_size(quad)
    usable = np.isfinite(quad).all() and min(length, height) >= 1 and length <= LONGEST_SHAPE * height
    return quad if usable else None


def cut_large(pixels: NDArray[np.uint8], quad: Quad) -> bytes:
    """Return the mark in color, upright, as JPEG."""
    length, height = quad_size(quad)
    least, largest = CROP_HEIGHT_PX
    wanted = min(max(height, least), largest, CROP_LENGTH_PX * height / length)
    crop, _ = crop_quad(pixels, quad, max(8, round(wanted)), CROP_MARGIN)
    return jpeg_bytes(Image.fromarray(crop))


def cut_views(gray: NDArray[np.uint8], quad: Quad) -> dict[str, bytes]:
    """Return the mark in each of SHOWN_VIEWS, as PNG by file name, from the photo's own pixels where they do."""
    length, height = quad_size(quad)
    least, largest = VIEW_HEIGHT_PX
    figures = round(min(max(height, least), largest, CROP_LENGTH_PX * height / length))
    crop, to_photo = crop_quad(gray, grow_quad(quad, CLOSE_ENDS * height, 0.0), figures, LINE_MARGIN)
    views = {name: make_view(name, crop, figures, to_photo).pixels for name in SHOWN_VIEWS}
    return {f"{name}.png": png_bytes(pixels) for name, pixels in views.items()}


def draw_photo(pixels: NDArray[np.uint8], marks: list[Mapping[str, Any]], chosen: int | None) -> bytes:
    """Return the photo made small as JPEG, the chosen mark outlined, others in thin dashes."""
    scale = min(1.0, PHOTO_PX / max(pixels.shape[:2]))
    size = (max(1, round(pixels.shape[1] * scale)), max(1, round(pixels.shape[0] * scale)))
    image = Image.fromarray(np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), np.uint8))
    draw = ImageDraw.Draw(image)
    for mark in sorted(marks, key=lambda one: one["id"] == chosen):
        quad = find_quad(marks, mark["id"])
        if quad is None:
            continue
        if mark["id"] == chosen:
            _outline(draw, quad, scale)
        else:
            _dash(draw, quad * np.float32(scale))
    return jpeg_bytes(image)


def _outline(draw: ImageDraw.ImageDraw, quad: Quad, scale: float) -> None:
    corners = [(float(x) * scale, float(y) * scale) for x, y in grow_quad(quad, 6 / scale, 6 / scale)]
    around = [*corners, *corners[:2]]
    for color, width in ((BLACK, 11), (WHITE, 9), (VERMILLION, 5)):
        draw.line(around, fill=color, width=width, joint="curve")


def _dash(draw: ImageDraw.ImageDraw, corners: Quad) -> None:
    """Draw a thin line of black and white dashes."""
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        count = max(2, min(400, int(np.linalg.norm(end - start) / 6)))
        points = [tuple(map(float, start + (end - start) * (k / count))) for k in range(count + 1)]
        for k in range(count):
            draw.line([*points[k], *points[k + 1]], fill=BLACK if k % 2 else WHITE, width=2)
