"""Read one scan: every page of it, every print on a page, and the treatments that old prints are offered.

In comes a file; out comes an answer for each part, in the pixels of the upright page. A print that may be a negative,
or that a printer's screen was measured on, is read a second time inverted or with its dots merged. The more probable
serial is taken, the advice says which picture it was read from and what the other one gave, and where the two differ
nothing is accepted.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from pipelines.archivist.tasks import ReadSettings
from pipelines.casebook.likeness import perceptual_hash
from pipelines.casebook.records import NewAnswer, NewFailure
from pipelines.output.json_lines import answer_object
from reader.answer import ReadOptions, read_loaded
from reader.errors import PhotoError, one_line
from reader.geometry import map_points
from reader.photo.load import load_photo
from reader.prints.album import cover_pictures, cut_picture, find_pictures
from reader.prints.screen import measure_screen, merge_dots
from reader.prints.tone import invert_tones, measure_tone
from reader.results import Advice, Answer, Photo, Quad

HASHED_PX = 1000
"""Longer side of the copy that the perceptual hash is made of, which looks at 32 x 32 pixels in the end."""

Reading = Callable[[Photo], Answer]


@dataclass(frozen=True)
class Treatment:
    """Something offered to a print: its name for the advice's code, why, and the treated pixels."""

    name: str
    why: str
    pixels: NDArray[np.uint8]


def read_scan(path: Path, settings: ReadSettings) -> tuple[list[NewAnswer], list[NewFailure]]:
    """Read a file; a page that cannot be read becomes a failure. Raises PhotoError where the first page cannot."""
    options = ReadOptions(maker=settings.maker, pixel_limit=settings.pixel_limit)
    answers: list[NewAnswer] = []
    failures: list[NewFailure] = []
    page, pages = 0, 1
    while page < pages:
        try:
            photo = load_photo(path, page=page, pixel_limit=settings.pixel_limit)
        except PhotoError as error:
            if page == 0:
                raise
            failures.append(NewFailure(one_line(str(error)), part=f"page {page + 1}"))
        else:
            pages = photo.pages
            name = f"page {page + 1}" if pages > 1 else ""
            answers += read_page(photo, name, settings, lambda picture: read_loaded(picture, options))
            del photo  # a large page must be gone before the next one comes
        page += 1
    return answers, failures


def read_page(photo: Photo, name: str, settings: ReadSettings, read: Reading) -> Iterator[NewAnswer]:
    """Yield the answers of one page: one, or one for each print on it and one for what is written around them."""
    quads = find_pictures(photo.pixels) if settings.split_pages else ()
    if len(quads) < 2:
        yield _new_answer(_read_picture(photo, settings, read), photo.pixels, name)
        return
    for number, quad in enumerate(quads, start=1):
        pixels, to_page = cut_picture(photo.pixels, quad)
        answer = _read_picture(replace(photo, pixels=pixels), settings, read)
        note = Advice("print-on-scan", _say_place(number, len(quads), quad))
        moved = _move_to_page(answer, to_page, photo, note)
        yield _new_answer(moved, pixels, " ".join(filter(None, [name, f"print {number}"])))
    around = read(replace(photo, pixels=cover_pictures(photo.pixels, quads)))
    if around.marks:
        note = Advice("around-prints", f"This is what is written around the {len(quads)} prints on the scan.")
        yield _new_answer(replace(around, advice=(*around.advice, note)), photo.pixels, name)


def _read_picture(photo: Photo, settings: ReadSettings, read: Reading) -> Answer:
    """Read a picture as it is and with each treatment that it is offered."""
    answer = read(photo)
    if not settings.offer_treatments:
        return answer
    for treatment in offer_treatments(photo.pixels):
        answer = choose_answer(answer, read(replace(photo, pixels=treatment.pixels)), treatment)
    return answer


def offer_treatments(pixels: NDArray[np.uint8]) -> Iterator[Treatment]:
    """Yield what the tones and the screen of a picture, (H, W, 3) uint8, suggest. Dots hide the tones: merged first."""
    screen = measure_screen(pixels)
    if screen is not None:
        why = f"a printer's screen of {screen.period_px:.1f} px was measured"
        pixels = merge_dots(pixels, screen)
        yield Treatment("descreened", why, pixels)
    tone = measure_tone(pixels)
    if tone.negative:
        why = f"its tones are those of a negative (correlation {tone.correlation:.2f})"
        yield Treatment("inverted", why, invert_tones(pixels))


def choose_answer(plain: Answer, treated: Answer, treatment: Treatment) -> Answer:
    """Return the answer with the more probable serial, with advice that says what the other picture gave."""
    first = plain.serial.probability if plain.serial else 0.0
    second = treated.serial.probability if treated.serial else 0.0
    chosen, other = (treated, plain) if second > first else (plain, treated)
    there = f"reads {other.serial.text} ({other.serial.probability:.2f})" if other.serial else "shows no serial"
    if chosen is treated:
        note = Advice(f"read-{treatment.name}", f"Read {treatment.name}, since {treatment.why}; as it is it {there}.")
    else:
        note = Advice(f"also-{treatment.name}", f"Also read {treatment.name}, since {treatment.why}; there it {there}.")
    serial = chosen.serial
    if serial is not None and other.serial is not None and other.serial.text != serial.text:
        serial = replace(serial, accepted=False)
    return replace(chosen, serial=serial, advice=(*chosen.advice, note))


def _move_to_page(answer: Answer, to_page: NDArray[np.float64], photo: Photo, note: Advice) -> Answer:
    """Return an answer whose coordinates are the page's."""
    marks = tuple(replace(mark, quad=map_points(to_page, mark.quad)) for mark in answer.marks)
    advice = (*answer.advice, note)
    return replace(answer, marks=marks, advice=advice, width=photo.width, height=photo.height)


def _say_place(number: int, count: int, quad: Quad) -> str:
    corners = " ".join(f"({x:.0f}, {y:.0f})" for x, y in quad)
    return f"This is print {number} of {count} on the scan, with its corners at {corners}."


def _new_answer(answer: Answer, pixels: NDArray[np.uint8], part: str) -> NewAnswer:
    scale = min(1.0, HASHED_PX / max(pixels.shape[:2]))
    small = cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else pixels
    return NewAnswer(answer_object(answer), part, perceptual_hash(np.asarray(small, np.uint8)))
