"""Read one photo: the only file that calls every stage, in order.

    file -> Photo -> View* -> Region* -> Reading* -> Mark* -> Serial -> Dating -> Answer

Each step is one plain call; nothing flows back. Whatever is too dim becomes advice inside the answer, never an error.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from reader import settings
from reader.dating.lookup import date_serial
from reader.dating.makers import find_maker
from reader.dating.tables import load_tables
from reader.enhance.views import VIEWS, gray_pixels, make_locating_views, make_view
from reader.errors import SetupError
from reader.geometry import crop_quad, quad_size, turn_quad
from reader.locate.strokes import locate_regions
from reader.photo.load import load_photo
from reader.photo.quality import advise_capture, measure_quality, no_serial_advice, not_sure_advice
from reader.recognize.calibrate import load_calibration
from reader.recognize.combine import combine_lines
from reader.recognize.recognizer import LinePicture, RawLine, Recognizer
from reader.recognize.tesseract import TesseractRecognizer
from reader.results import Advice, Answer, Dating, Maker, Mark, Photo, Reading, Region, Serial
from reader.sort.choose import choose_serial
from reader.sort.rules import sort_readings

LINE_HEIGHT_PX = 40
"""Height of the figures in a line picture. Tesseract reads best at capitals of 20 to 50 px (its own documentation)."""

LINE_MARGIN = 0.3
"""What is shown around the figures, as a share of their height: room for figures that stand out of line."""

QUIET_BORDER_PX = 10
"""White border around a line picture; without one Tesseract drops outer characters."""

FIRST_VIEWS = {"dark": ("dark-ink", "dusty-dark"), "bright": ("bright-paint", "dusty-bright")}
"""Views that every region is read in, by whether its strokes are dark or bright."""

HARD_VIEWS = ("ink-threshold", "relief", "chalk")
"""Views for the regions whose first readings are poor."""

HARD_REGIONS_MAX = 10
"""Most regions that are read in the hard views, best first."""

SURE_ENOUGH = 0.9
"""A reading of this probability needs no further views."""


READING_PROBABILITY_MIN = 0.03
"""A reading less probable than this is taken for grain, shadow or a picture edge and goes no further. Of 4,203 readings
that the calibration put under 0.1, two in a thousand were right; a faint serial among the samples stands at 0.1."""


@dataclass(frozen=True)
class ReadOptions:
    """What a caller may say about a photo: the maker's name, the page (from 0), the largest picture in pixels."""

    maker: str | None = None
    page: int = 0
    pixel_limit: int = settings.PIXEL_LIMIT


def read_photo(path: Path, options: ReadOptions | None = None, recognizer: Recognizer | None = None) -> Answer:
    """Read one photo from file to answer.

    Raises PhotoError for a file that is no readable photo and MakerError for a maker's name that no table knows. Where
    no recognizer is installed the answer has no marks, and its advice says what to install.
    """
    options = options or ReadOptions()
    maker = find_maker(options.maker, load_tables()) if options.maker else None
    recognizer, setup_advice = (recognizer, ()) if recognizer else _open_recognizer()
    started = time.perf_counter()
    photo = load_photo(path, page=options.page, pixel_limit=options.pixel_limit)
    loaded = time.perf_counter()
    gray = gray_pixels(photo)
    regions = locate_regions(make_locating_views(gray), settings.REGIONS_MAX)
    located = time.perf_counter()
    readings = read_regions(gray, regions, recognizer) if recognizer else ()
    recognized = time.perf_counter()
    marks = sort_readings(readings)
    serial = choose_serial(marks)
    dating, dating_advice = _date(serial, maker)
    advice = (*setup_advice, *_advise(photo, marks, serial), *dating_advice)
    seconds = {
        "load": loaded - started,
        "locate": located - loaded,
        "recognize": recognized - located,
        "total": time.perf_counter() - started,
    }
    return Answer(photo.path, photo.sha256, photo.width, photo.height, serial, marks, maker, dating, advice, seconds)


def _open_recognizer() -> tuple[Recognizer | None, tuple[Advice, ...]]:
    try:
        return TesseractRecognizer(), ()
    except SetupError as error:
        return None, (Advice("no-recognizer", f"Nothing could be read: {error}."),)


def read_regions(gray: NDArray[np.uint8], regions: Sequence[Region], recognizer: Recognizer) -> tuple[Reading, ...]:
    """Read every region and return the readings that are worth sorting."""
    calibration = load_calibration()
    readings = [combine_lines(lines, calibration) for lines in read_lines(gray, regions, recognizer) if lines]
    return tuple(reading for reading in readings if reading.probability >= READING_PROBABILITY_MIN)


def read_lines(gray: NDArray[np.uint8], regions: Sequence[Region], recognizer: Recognizer) -> list[list[RawLine]]:
    """Read every region in its first views, the unsure ones upside down too, the best of those in the hard views.

    Returns the raw lines of each region.
    """
    lines: list[list[RawLine]] = [[] for _ in regions]
    calibration = load_calibration()

    def read(chosen: Sequence[int], half_turns: Sequence[bool], views: Sequence[str] | None) -> None:
        pictures = [
            (number, cut_line(gray, regions[number], view, turn))
            for number in chosen
            for turn in half_turns
            for view in (views or _first_views(regions[number]))
        ]
        raw = recognizer.read_lines([picture for _, picture in pictures])
        for (number, _), line in zip(pictures, raw, strict=True):
            lines[number].append(line)

    def unsure() -> list[int]:
        return [n for n, own in enumerate(lines) if combine_lines(own, calibration).probability < SURE_ENOUGH]

    read(range(len(regions)), (False,), None)
    read(unsure(), (True,), None)
    read(unsure()[:HARD_REGIONS_MAX], (False, True), HARD_VIEWS)
    return lines


def _first_views(region: Region) -> tuple[str, ...]:
    return FIRST_VIEWS["bright" if region.surface == VIEWS["dusty-bright"].surface else "dark"]


def cut_line(gray: NDArray[np.uint8], region: Region, view: str, half_turn: bool = False) -> LinePicture:
    """Cut one region out of the photo's gray pixels as a line picture in a named view."""
    quad = turn_quad(region.quad, 2) if half_turn else region.quad
    crop, to_photo = crop_quad(gray, quad, LINE_HEIGHT_PX, LINE_MARGIN)
    enhanced = make_view(view, crop, LINE_HEIGHT_PX, to_photo)
    pixels = np.pad(enhanced.pixels, QUIET_BORDER_PX, constant_values=255)
    shift = np.array([[1, 0, -QUIET_BORDER_PX], [0, 1, -QUIET_BORDER_PX], [0, 0, 1]], np.float64)
    bordered = replace(enhanced, pixels=pixels, to_photo=to_photo @ shift)
    return LinePicture(region, bordered, LINE_HEIGHT_PX, half_turn)


def _date(serial: Serial | None, maker: Maker | None) -> tuple[Dating | None, tuple[Advice, ...]]:
    """Date the serial where there is one and the maker is known; else say what is missing."""
    if serial is None:
        return None, ()
    if maker is None:
        return None, (
            Advice(
                "maker-needed",
                "Give the maker's name (--maker) to get a year: every maker counted its own instruments from its own "
                "start, so the same number means a different year for each.",
            ),
        )
    lookup = date_serial(serial, maker, load_tables())
    if lookup.dating is not None:
        return lookup.dating, ()
    return None, (Advice("no-year", lookup.warnings[0]),)


def _advise(photo: Photo, marks: Sequence[Mark], serial: Serial | None) -> tuple[Advice, ...]:
    """Advice on the photo: nothing where the serial is accepted."""
    if serial is not None and serial.accepted:
        return ()
    height = quad_size(marks[serial.mark].quad)[1] if serial is not None else None
    general = no_serial_advice() if serial is None else not_sure_advice()
    return (*general, *advise_capture(measure_quality(photo), height))


def save_views(path: Path, options: ReadOptions, folder: Path) -> list[Path]:
    """Write every named view of a photo as PNG into a folder (made where missing) and return the files.

    Views are tuned to the height of the strongest region found, or to a thirtieth of the picture where there is none.
    """
    photo = load_photo(path, page=options.page, pixel_limit=options.pixel_limit)
    gray = gray_pixels(photo)
    regions = locate_regions(make_locating_views(gray), 1)
    height = quad_size(regions[0].quad)[1] if regions else max(gray.shape) / 30
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name in VIEWS:
        target = folder / f"{path.stem}.{name}.png"
        cv2.imencode(".png", make_view(name, gray, height).pixels)[1].tofile(target)
        written.append(target)
    return written
