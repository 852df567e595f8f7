"""Figures on old prints: what of the made album pages, halftones and negatives is found, and what is found wrongly."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from pipelines.archivist.prints import read_page
from pipelines.archivist.tasks import ReadSettings
from reader.answer import read_loaded
from reader.geometry import quad_overlap
from reader.photo.load import find_photos, load_photo
from reader.prints.album import find_pictures
from reader.prints.screen import measure_screen
from reader.prints.tone import measure_tone
from reader.results import Photo, Quad
from tools.trials.old_prints import GROUNDS, SAMPLES, compose_page, load_samples, make_negative, screen_print

Pixels = NDArray[np.uint8]

SAME_OVERLAP = 0.85
"""Least intersection over union of a found picture and a true one."""

COUNTS = (1, 2, 3, 4, 6, 8)
"""Prints on a page, in turn."""

PERIODS_PX = (3.5, 5.0, 7.0, 10.0, 14.0)
ANGLES_DEG = (15.0, 30.0, 45.0, 75.0)


def measure(pages: int, seed: int, plain: list[Path], *, read: bool) -> None:
    """Print all figures."""
    cv2.setNumThreads(1)
    samples = load_samples(900)
    count_pages(pages, seed, list(samples.values()))
    count_screens(samples)
    count_negatives(samples)
    for folder in plain:
        count_plain(folder)
    if read:
        count_read()


def match(found: tuple[Quad, ...], true: tuple[Quad, ...]) -> int:
    """Return how many true quads were found."""
    return sum(max((quad_overlap(one, quad)[0] for one in found), default=0.0) >= SAME_OVERLAP for quad in true)


def count_pages(pages: int, seed: int, samples: list[Pixels]) -> None:
    """Print how many pictures of made album pages are found."""
    rng = np.random.default_rng(seed)
    true = hits = wrong = exact = 0
    for number in range(pages):
        ground = list(GROUNDS)[number % len(GROUNDS)]
        count = COUNTS[number // len(GROUNDS) % len(COUNTS)]
        page = compose_page(rng, samples, ground, count)
        found = find_pictures(page.pixels)
        matched = match(found, page.quads)
        true, hits, wrong = true + count, hits + matched, wrong + len(found) - matched
        exact += matched == count == len(found)
        if not matched == count == len(found):
            print(f"  missed on page {number}: {matched} of {count}, {len(found) - matched} wrong ({page.made_of})")
    print(f"album pages: {pages}, exact {exact}; pictures {true}, found {hits}, wrong {wrong} (seed {seed})")


def count_screens(samples: dict[str, Pixels]) -> None:
    """Print in how many halftones the screen is measured, and in how many plain pictures one is."""
    found = right = total = 0
    for number, picture in enumerate(samples.values()):
        for period in PERIODS_PX:
            angle = ANGLES_DEG[(number + int(period)) % len(ANGLES_DEG)]
            screen = measure_screen(screen_print(picture, period, angle))
            total += 1
            found += screen is not None
            right += screen is not None and abs(screen.period_px / period - 1) < 0.06
    wrong = sum(measure_screen(picture) is not None for picture in samples.values())
    print(f"halftones: {total}, screen found {found}, with its period {right}; plain samples with a screen: {wrong}")


def count_negatives(samples: dict[str, Pixels]) -> None:
    """Print how many negatives, and gray positives, of the samples are taken for negatives."""
    negatives = [make_negative(picture) for picture in samples.values()]
    found = sum(measure_tone(one).negative for one in negatives)
    wrong = sum(measure_tone(make_negative(one)).negative for one in negatives)
    print(f"negatives: {len(negatives)}, found {found}; gray positives taken for negatives: {wrong}")


def count_plain(folder: Path) -> None:
    """Print how many single photos of a folder are split, or offered something."""
    total = split = screened = negative = 0
    for file in find_photos(folder):
        pixels = load_photo(file).pixels
        total += 1
        split += len(find_pictures(pixels)) > 1
        screened += measure_screen(pixels) is not None
        negative += measure_tone(pixels).negative
    print(f"{folder.name}: {total} photos, split {split}, with a screen {screened}, as negatives {negative}")


def count_read() -> None:
    """Print how many serials of the samples are read right when they are halftones or negatives, treated or not."""
    truth = dict(line.split(",")[:2] for line in (SAMPLES / "labels.csv").read_text("utf-8").splitlines()[1:])
    makers: dict[str, Callable[[Pixels], Pixels]] = {
        "as they are": lambda pixels: pixels,
        "negatives": make_negative,
        "halftones of 4 px": lambda pixels: screen_print(pixels, 4.0, 45.0),
        "halftones of 6 px": lambda pixels: screen_print(pixels, 6.0, 45.0),
    }
    wanted = {name: text for name, text in truth.items() if text}
    for kind, make in makers.items():
        right = {False: 0, True: 0}
        accepted_wrong = {False: 0, True: 0}
        for name, text in wanted.items():
            loaded = load_photo(SAMPLES / name)
            photo = Photo(make(loaded.pixels), loaded.path, loaded.sha256)
            for offer in right:
                settings = ReadSettings(split_pages=False, offer_treatments=offer)
                serial = next(read_page(photo, "", settings, read_loaded)).answer["serial"] or {}
                right[offer] += serial.get("text") == text
                accepted_wrong[offer] += bool(serial.get("accepted")) and serial.get("text") != text
        print(
            f"samples read, {kind}: {len(wanted)}; right without treatments {right[False]}, with {right[True]}; "
            f"accepted and wrong {accepted_wrong[False]}, {accepted_wrong[True]}"
        )
