"""Read one photo: the only file that calls every stage, in order.

    file -> Photo -> View* -> Region* -> Reading* -> Mark* -> Serial -> Dating -> Answer

Each step is one plain call; nothing flows back. Whatever is too dim becomes advice inside the answer, never an error.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from reader import settings
from reader.dating.evidence import Clue, patent_clue
from reader.dating.makers import find_maker, match_maker
from reader.dating.readings import read_serial
from reader.dating.tables import load_tables
from reader.dating.weigh import date_number
from reader.enhance.views import VIEWS, gray_pixels, make_view
from reader.errors import MakerError, SettingsError, SetupError
from reader.geometry import box_quad, crop_quad, grow_quad, quad_size, turn_quad
from reader.locate.network import find_regions
from reader.photo.load import load_photo
from reader.photo.mark_quality import advise_mark, measure_mark
from reader.photo.quality import advise_capture, measure_quality, no_serial_advice, not_sure_advice
from reader.recognize.calibrate import load_calibration
from reader.recognize.combine import combine_lines, drop_repeated
from reader.recognize.half_turn import half_turned
from reader.recognize.network import NetworkRecognizer
from reader.recognize.recognizer import LinePicture, RawLine, Recognizer
from reader.recognize.tesseract import TesseractRecognizer
from reader.results import Advice, Answer, Character, Dating, Maker, Mark, MarkKind, Photo, Reading, Region, Serial
from reader.sort.choose import choose_serial
from reader.sort.rules import sort_readings

LINE_HEIGHT_PX = 40
"""Height of the figures in a line picture. Tesseract reads best at capitals of 20 to 50 px (its own documentation);
our network scales the picture to its own height."""

OWN_HEIGHT_MIN, OWN_HEIGHT_MAX = 60, 200
"""Figures of a view made from the photo's own pixels, in pixels: lower ones lose little by the scaling to
LINE_HEIGHT_PX, so that there is nothing to save, and higher ones are scaled to the most."""

LINE_MARGIN = 0.3
"""What is shown around the figures, as a share of their height: room for figures that stand out of line."""

CLOSE_ENDS, WIDE_ENDS = 0.35, 1.2
"""What is added at both ends of a region for our network, as a share of the figures' height. Finding often stops a
figure short of a string's end; the wide ends show that, and more neighbors too."""

NUMBER_FIGURES_MIN = 3
"""From so many figures on, a string is read again with wide ends: a figure cut off makes another number."""

QUIET_BORDER_PX = 10
"""White border around a line picture for Tesseract; without one it drops outer characters."""

HARD_VIEWS = ("fine-dark", "fine-bright")
"""Views in which our network reads the regions whose first readings are poor, from the photo's own pixels."""

PRINT_VIEWS = {"dark": ("dark-ink", "dusty-dark"), "bright": ("bright-paint", "dusty-bright")}
"""Views that Tesseract reads every region in, by whether its strokes are dark or bright."""

PRINT_HARD_VIEWS = ("ink-threshold", "relief", "chalk")
"""Views in which Tesseract reads the regions whose first readings are poor."""

HARD_REGIONS_MAX = 4
"""Most regions that are read in the hard views, those of the best finding score. Of 52 serials of rendered photos that
were not surely read at first, 44 had the best score of all unsure regions, 47 one of the best four."""

SURE_ENOUGH = 0.9
"""A reading of this probability needs no further views."""

WORD_LETTERS_MIN, WORDS_MAX = 3, 12
"""Letters that make a reading a word, and most doubtful words of a photo that Tesseract reads as well."""

WORD_SURE = 0.3
"""Least probability of a word that a maker's name is looked for in; below it most are grain and ornament."""

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

    Raises PhotoError for a file that is no readable photo and MakerError for a maker's name that no table knows.
    `recognizer` is our own network where none is given.
    """
    options = options or ReadOptions()
    maker = find_maker(options.maker, load_tables()) if options.maker else None
    recognizer = recognizer or own_recognizer()
    started = time.perf_counter()
    photo = load_photo(path, page=options.page, pixel_limit=options.pixel_limit)
    return _answer(photo, maker, recognizer, started)


def read_loaded(photo: Photo, options: ReadOptions | None = None, recognizer: Recognizer | None = None) -> Answer:
    """Read a photo that is loaded already, or a picture cut out of one; all coordinates are those of its pixels.

    Raises MakerError for a maker's name that no table knows.
    """
    options = options or ReadOptions()
    maker = find_maker(options.maker, load_tables()) if options.maker else None
    return _answer(photo, maker, recognizer or own_recognizer(), time.perf_counter())


def _answer(photo: Photo, maker: Maker | None, recognizer: Recognizer, started: float) -> Answer:
    """Call the stages after loading, in order. `started` is when loading began, by the performance counter."""
    loaded = time.perf_counter()
    gray = gray_pixels(photo)
    regions = find_regions(gray, settings.REGIONS_MAX)
    located = time.perf_counter()
    readings = read_regions(gray, regions, recognizer)
    recognized = time.perf_counter()
    marks = sort_readings(readings)
    serial = choose_serial(marks)
    dating, dating_advice = _date(serial, maker, marks)
    advice = (*_advise(photo, gray, marks, serial), *dating_advice)
    seconds = {
        "load": loaded - started,
        "locate": located - loaded,
        "recognize": recognized - located,
        "total": time.perf_counter() - started,
    }
    return Answer(photo.path, photo.sha256, photo.width, photo.height, serial, marks, maker, dating, advice, seconds)


@cache
def own_recognizer() -> NetworkRecognizer:
    """Return our network, loaded once a process. OpenCV's networks are not for several threads at a time."""
    return NetworkRecognizer()


@cache
def word_recognizer() -> TesseractRecognizer | None:
    """Return the second opinion on words, or None where there is no Tesseract: our network then stands alone."""
    try:
        return TesseractRecognizer()
    except SetupError:
        return None


def read_regions(gray: NDArray[np.uint8], regions: Sequence[Region], recognizer: Recognizer) -> tuple[Reading, ...]:
    """Read every region and return the readings that are worth sorting, each string of a place once."""
    calibration = load_calibration()
    readings = [combine_lines(lines, calibration) for lines in read_lines(gray, regions, recognizer) if lines]
    likely = [reading for reading in readings if reading.probability >= READING_PROBABILITY_MIN]
    return tuple(drop_repeated(likely))


def crop_region(gray: NDArray[np.uint8]) -> Region:
    """Return the region of a picture (H, W) that is one line already, cut with the usual margin.

    Its close cut is the picture itself.
    """
    rows, columns = gray.shape
    height = rows / (1 + 2 * LINE_MARGIN)
    across = LINE_MARGIN * height
    along = min((LINE_MARGIN + CLOSE_ENDS) * height, 0.45 * columns)
    return Region(box_quad(along, across, columns - along, rows - across), 1.0)


def read_lines(gray: NDArray[np.uint8], regions: Sequence[Region], recognizer: Recognizer) -> list[list[RawLine]]:
    """Read every region upright, the unsure ones upside down too, figures with more of their surroundings.

    Upside down only where finding left the way up open, or where what was read is a string that way up as well.

    The most promising of those that stay unsure are read in further views. Returns the raw lines of each region. Where
    our network reads, doubtful words go to Tesseract as well.
    """
    lines: list[list[RawLine]] = [[] for _ in regions]
    open_ways = {number for number, region in enumerate(regions) if region.half_turn_open}
    calibration = load_calibration()

    def read(reader: Recognizer, chosen: Sequence[int], half_turns: Sequence[bool], cuts: Cutting) -> None:
        pictures = [
            (number, cut_line(gray, regions[number], cut, turn))
            for number in chosen
            for turn in half_turns
            if not turn or number in open_ways
            for cut in cuts(gray, regions[number])
        ]
        raw = reader.read_lines([picture for _, picture in pictures])
        for (number, _), line in zip(pictures, raw, strict=True):
            lines[number].append(line)

    def readings() -> list[Reading]:
        return [combine_lines(own, calibration) for own in lines]

    def unsure() -> list[int]:
        doubtful = [number for number, reading in enumerate(readings()) if reading.probability < SURE_ENOUGH]
        return sorted(doubtful, key=lambda number: -regions[number].score)

    if not recognizer.any_polarity:
        read(recognizer, range(len(regions)), (False,), _print_cuts)
        read(recognizer, unsure(), (True,), _print_cuts)
        read(recognizer, unsure()[:HARD_REGIONS_MAX], (False, True), _print_hard_cuts)
        return lines
    read(recognizer, range(len(regions)), (False,), _close_cuts)
    open_ways |= {number for number, reading in enumerate(readings()) if half_turned(reading.text)}
    read(recognizer, unsure(), (True,), _close_cuts)
    numbers = [(number, reading) for number, reading in enumerate(readings()) if _is_number(reading)]
    for turned in (False, True):
        chosen = [number for number, reading in numbers if _is_turned(reading, regions[number]) == turned]
        read(recognizer, chosen, (turned,), _wide_cuts)
    read(recognizer, unsure()[:HARD_REGIONS_MAX], (False, True), _hard_cuts)
    second = word_recognizer() if isinstance(recognizer, NetworkRecognizer) else None
    if second is not None:
        every = readings()
        read(second, [number for number in unsure() if _is_word(every[number])][:WORDS_MAX], (False, True), _print_cuts)
    return lines


def _is_number(reading: Reading) -> bool:
    """Whether a reading may be a serial or a year, whose every figure counts."""
    return sum(character.text.isdigit() for character in reading.characters) >= NUMBER_FIGURES_MIN


def _is_turned(reading: Reading, region: Region) -> bool:
    return bool(np.any(reading.region.quad != region.quad))


def _is_word(reading: Reading) -> bool:
    """Whether a reading may be a word: a maker's name, 'PATENTED', the text of a card."""
    letters = sum(character.text.isalpha() for character in reading.characters)
    return letters >= WORD_LETTERS_MIN and reading.probability >= READING_PROBABILITY_MIN


@dataclass(frozen=True)
class Cut:
    """How a region is cut out.

    Its view, what is added at both ends (share of its height), a white border in pixels, and whether the view is made
    from the photo's own pixels (figures up to OWN_HEIGHT_MAX high) or from figures of LINE_HEIGHT_PX.
    """

    view: str
    ends: float = 0.0
    border: int = 0
    own_pixels: bool = False


Cutting = Callable[[NDArray[np.uint8], Region], Sequence[Cut]]
"""Which pictures of a photo (gray) are cut for a region."""


def _close_cuts(gray: NDArray[np.uint8], region: Region) -> tuple[Cut, ...]:
    return (Cut("plain", CLOSE_ENDS),)


def _wide_cuts(gray: NDArray[np.uint8], region: Region) -> tuple[Cut, ...]:
    return (Cut("plain", WIDE_ENDS),)


def _hard_cuts(gray: NDArray[np.uint8], region: Region) -> tuple[Cut, ...]:
    if quad_size(region.quad)[1] < OWN_HEIGHT_MIN:
        return ()
    return tuple(Cut(view, CLOSE_ENDS, own_pixels=True) for view in HARD_VIEWS)


def _print_cuts(gray: NDArray[np.uint8], region: Region) -> tuple[Cut, ...]:
    views = PRINT_VIEWS["bright" if _is_bright(gray, region) else "dark"]
    return tuple(Cut(view, border=QUIET_BORDER_PX) for view in views)


def _print_hard_cuts(gray: NDArray[np.uint8], region: Region) -> tuple[Cut, ...]:
    return tuple(Cut(view, border=QUIET_BORDER_PX) for view in PRINT_HARD_VIEWS)


def _is_bright(gray: NDArray[np.uint8], region: Region) -> bool:
    """Whether the strokes are brighter than their ground: strokes are the smaller part and pull the mean their way."""
    crop, _ = crop_quad(gray, region.quad, LINE_HEIGHT_PX)
    return float(crop.mean()) > float(np.median(crop))


def cut_line(gray: NDArray[np.uint8], region: Region, cut: Cut, half_turn: bool = False) -> LinePicture:
    """Cut one region out of the photo's gray pixels as a line picture."""
    quad = turn_quad(region.quad, 2) if half_turn else region.quad
    wider = grow_quad(quad, cut.ends * quad_size(quad)[1], 0.0)
    height = round(min(quad_size(quad)[1], OWN_HEIGHT_MAX)) if cut.own_pixels else LINE_HEIGHT_PX
    crop, to_photo = crop_quad(gray, wider, height, LINE_MARGIN)
    enhanced = make_view(cut.view, crop, height, to_photo)
    pixels = np.pad(enhanced.pixels, cut.border, constant_values=255)
    shift = np.array([[1, 0, -cut.border], [0, 1, -cut.border], [0, 0, 1]], np.float64)
    name = f"{cut.view}, ends {cut.ends:g}" if cut.ends else cut.view
    bordered = replace(enhanced, name=name, pixels=pixels, to_photo=to_photo @ shift)
    return LinePicture(region, bordered, height, half_turn)


def _date(
    serial: Serial | None, maker: Maker | None, marks: Sequence[Mark]
) -> tuple[Dating | None, tuple[Advice, ...]]:
    """Date the serial where there is one and the maker is known; else say what is missing."""
    if serial is None:
        return None, ()
    if maker is None:
        return None, (_ask_maker(marks),)
    mark = next(mark for mark in marks if mark.id == serial.mark)
    readings = read_serial(serial, _serial_characters(serial, mark))
    lookup = date_number(readings, [(load_tables().makers[maker.id], 1.0)], _patent_clues(marks))
    if lookup.dating is not None:
        return lookup.dating, ()
    return None, (Advice("no-year", lookup.warnings[0]),)


def _ask_maker(marks: Sequence[Mark]) -> Advice:
    """Ask for the maker's name; propose the one that the words in the photo spell, where there is one.

    It is never taken without asking: a dealer's or a plate founder's name stands on instruments too.
    """
    text = (
        "Give the maker's name (--maker) to get a year: every maker counted its own instruments from its own start, "
        "so the same number means a different year for each."
    )
    words = " ".join(mark.text for mark in marks if mark.kind == MarkKind.WORD and mark.probability >= WORD_SURE)
    with contextlib.suppress(MakerError):  # no name, or several alike
        match = match_maker(words, load_tables())
        text += f" The words in the photo may name {match.maker.name} (likeness {match.score:.2f} of 1): check that."
    return Advice("maker-needed", text)


def _serial_characters(serial: Serial, mark: Mark) -> tuple[Character, ...]:
    """Return the mark's characters that spell the serial; none where they do not stand in it one to one."""
    start = "".join(character.text for character in mark.characters).find(serial.text)
    if start < 0 or any(len(character.text) != 1 for character in mark.characters):
        return ()
    return mark.characters[start : start + len(serial.text)]


def _patent_clues(marks: Sequence[Mark]) -> tuple[Clue, ...]:
    """Return the patents among the marks that are surely read, as soft clues: a figure of them may still be wrong."""
    clues = []
    for mark in marks:
        if mark.kind == MarkKind.PATENT and mark.probability >= SURE_ENOUGH:
            with contextlib.suppress(SettingsError):  # a patent mark without a year or number
                clues.append(replace(patent_clue(mark.text), firm=False))
    return tuple(clues)


def _advise(photo: Photo, gray: NDArray[np.uint8], marks: Sequence[Mark], serial: Serial | None) -> tuple[Advice, ...]:
    """Advice on the photo and on the serial's mark in it: nothing where the serial is accepted."""
    if serial is not None and serial.accepted:
        return ()
    quality = measure_quality(photo)
    if serial is None:
        return (*no_serial_advice(), *advise_capture(quality))
    on_mark = advise_mark(measure_mark(gray, marks[serial.mark].quad))
    return (*not_sure_advice(), *_advise_half_turn(serial), *on_mark, *advise_capture(quality, mark_found=True))


def _advise_half_turn(serial: Serial | None) -> tuple[Advice, ...]:
    """Say so where the number makes sense the other way up and was read that way too."""
    turned = half_turned(serial.text) if serial is not None else None
    if serial is None or turned in (None, serial.text):
        return ()
    if all(alternative.text != turned for alternative in serial.alternatives):
        return ()
    text = f"Upside down this number reads {turned}. Note which way up the part stands, or show it in a wider photo."
    return (Advice("either-way-up", text),)


def save_views(path: Path, options: ReadOptions, folder: Path) -> list[Path]:
    """Write every named view of a photo as PNG into a folder (made where missing) and return the files.

    Views are tuned to the height of the strongest region found, or to a thirtieth of the picture where there is none.
    """
    photo = load_photo(path, page=options.page, pixel_limit=options.pixel_limit)
    gray = gray_pixels(photo)
    regions = find_regions(gray, 1)
    height = quad_size(regions[0].quad)[1] if regions else max(gray.shape) / 30
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name in VIEWS:
        target = folder / f"{path.stem}.{name}.png"
        cv2.imencode(".png", make_view(name, gray, height).pixels)[1].tofile(target)
        written.append(target)
    return written
