"""Measure the whole path: `python -m tools.benchmark.baseline --real FOLDER --rendered FOLDER...`.

Whole photographs go from file to answer; loose crops are read as one region, so that finding and reading are measured
apart. Prints one table and writes it to tools/benchmark/RESULTS.md. Photos used for fitting the calibration must not be
given here; of the real sets with a 'train' part only the 'measure' part is taken.
"""

from __future__ import annotations

import argparse
import platform
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from importlib.metadata import version
from pathlib import Path

import cv2

from reader.answer import read_photo, read_regions
from reader.enhance.views import gray_pixels
from reader.geometry import box_quad
from reader.photo.load import load_photo
from reader.recognize.tesseract import TesseractRecognizer
from reader.results import Region
from tools.benchmark.sets import CROP_SETS, WHOLE_PHOTO_SETS, Sample, load_set, plain

RESULTS_FILE = Path(__file__).with_name("RESULTS.md")


@dataclass(frozen=True)
class Outcome:
    """What one photo gave.

    `chosen`: the one answer is right (none where there is no number). `among`: the truth is one of the strings read.
    `accepted`: the answer was accepted. `seconds`: from file to answer.
    """

    chosen: bool
    among: bool
    accepted: bool
    seconds: float


def main() -> None:
    """Measure every set given and write the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--real", type=Path, help="folder that holds the real sets")
    parser.add_argument("--rendered", type=Path, nargs="*", default=[])
    parser.add_argument("--most", type=int, help="most photos of a set (a fixed random choice)")
    arguments = parser.parse_args()
    rows = []
    if arguments.real:
        for name in WHOLE_PHOTO_SETS:
            samples = load_set(arguments.real / name, part="measure", most=arguments.most)
            rows.append(_row(f"{name}, whole photos", samples, _read_whole))
        for name in CROP_SETS:
            samples = load_set(arguments.real / name, crops=True, part="measure", most=arguments.most)
            rows.append(_row(f"{name}, loose crops", samples, _read_crop))
    for folder in arguments.rendered:
        rows.append(_row(f"rendered, {folder.name}", load_set(folder, most=arguments.most), _read_whole))
    RESULTS_FILE.write_text(_document(rows), encoding="utf-8")
    print(RESULTS_FILE.read_text(encoding="utf-8"))


def _row(name: str, samples: list[Sample], read: Callable[[Sample], Outcome]) -> str:
    outcomes = []
    for number, sample in enumerate(samples):
        outcomes.append(read(sample))
        print(f"\r{name}: {number + 1} of {len(samples)}", end="", file=sys.stderr)
    print(file=sys.stderr)
    count = len(outcomes)
    accepted = [outcome for outcome in outcomes if outcome.accepted]
    seconds = sorted(outcome.seconds for outcome in outcomes)
    return (
        f"| {name} | {count} | {sum(o.chosen for o in outcomes) / count:.2f} | "
        f"{sum(o.among for o in outcomes) / count:.2f} | {sum(o.chosen for o in accepted)} of {len(accepted)} | "
        f"{seconds[count // 2]:.2f} | {seconds[int(count * 0.95)]:.2f} |"
    )


def _read_whole(sample: Sample) -> Outcome:
    started = time.perf_counter()
    answer = read_photo(sample.path)
    seconds = time.perf_counter() - started
    truths = {plain(text) for text in sample.texts}
    read = {plain(mark.text) for mark in answer.marks}
    if answer.serial is None:
        return Outcome(not truths, not truths or bool(truths & read), False, seconds)
    return Outcome(plain(answer.serial.text) in truths, bool(truths & read), answer.serial.accepted, seconds)


def _read_crop(sample: Sample) -> Outcome:
    started = time.perf_counter()
    gray = gray_pixels(load_photo(sample.path))
    region = Region(box_quad(0, 0, gray.shape[1], gray.shape[0]), 1.0)
    readings = read_regions(gray, [region], TesseractRecognizer())
    seconds = time.perf_counter() - started
    truths = {plain(text) for text in sample.texts}
    texts = [plain(reading.text) for reading in readings]
    candidates = {plain(c.text) for reading in readings for c in reading.candidates}
    return Outcome(bool(texts) and texts[0] in truths, bool(truths & candidates), False, seconds)


def _document(rows: list[str]) -> str:
    versions = ", ".join(f"{name} {version(name)}" for name in ("rakelight", "opencv-python-headless", "pytesseract"))
    return "\n".join(
        [
            "# Measured results",
            "",
            "Written by `python -m tools.benchmark.baseline`; see this folder's README.md for what the columns mean.",
            "",
            f"{date.today().isoformat()}; {versions}; Python {platform.python_version()};",
            f"{platform.machine()}, 2 cores, OpenCV held to one thread; seconds are for orientation only.",
            "",
            "## Baseline: classical finding, Tesseract as recognizer",
            "",
            "| set | photos | exact | truth among what was read | accepted: right of all | s, median | s, p95 |",
            "|---|---|---|---|---|---|---|",
            *rows,
            "",
        ]
    )


if __name__ == "__main__":
    cv2.setNumThreads(1)
    main()
