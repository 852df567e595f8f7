"""Fit the recognizer's calibration: `python -m tools.benchmark.calibrate RENDERED_FOLDER... [--real FOLDER]`.

Every region of rendered photos is read as the product reads it; a reading is right when it is made of words of the
marks that lie there. With --real, the 'train' parts of the real sets whose license allows it are added as crops.
A logistic model on the features is fitted (scikit-learn) and written to reader/recognize/calibration.json with what it
was fitted on. Photos used here are never used for measuring.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from reader import settings
from reader.answer import crop_region, own_recognizer, read_lines
from reader.enhance.views import gray_pixels
from reader.geometry import quad_overlap
from reader.locate.network import find_regions
from reader.photo.load import load_photo
from reader.recognize.calibrate import CALIBRATION_FILE, Calibration, Features
from reader.recognize.combine import combine_lines, describe_lines
from reader.recognize.network import NetworkRecognizer
from reader.recognize.recognizer import RawLine
from tools.benchmark.sets import Sample, load_set, plain

TRAIN_SETS = ("meter-strips", "orand-car-a")
"""Real sets with a license clear enough to fit on, and a 'train' part."""

RISING = ("score", "weakest_sure", "mean", "second", "agreeing", "share", "recognizers")
"""Features that may only raise the probability: a better score must never make an answer less believed."""

Example = tuple[Features, bool]


def main() -> None:
    """Read the photos, fit, write the file, and print how well the fit's probabilities come true on its own data."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("rendered", nargs="+", type=Path)
    parser.add_argument("--real", type=Path, help="folder that holds the real sets")
    parser.add_argument("--crops", type=Path, help="crops of tools.training.heldout; not the benchmark's")
    arguments = parser.parse_args()
    examples: list[Example] = []
    sources = []
    for folder in arguments.rendered:
        samples = load_set(folder)
        examples += [example for sample in samples for example in _photo_examples(sample)]
        sources.append(f"{len(samples)} rendered photos ({folder.name})")
        print(f"{sources[-1]}: {len(examples)} examples so far", file=sys.stderr)
    for name in TRAIN_SETS if arguments.real else ():
        samples = load_set(arguments.real / name, part="train")
        examples += [example for sample in samples for example in _crop_examples(sample)]
        sources.append(f"{len(samples)} photographs ({name}, train part)")
        print(f"{sources[-1]}: {len(examples)} examples so far", file=sys.stderr)
    if arguments.crops:
        with np.load(arguments.crops) as crops:
            pixels, widths, texts = crops["pixels"], crops["width"], crops["text"]
        count = len(texts)
        for picture, width, text in zip(pixels, widths, texts, strict=True):
            examples += _line_example(np.ascontiguousarray(picture[:, :width]), (str(text),) if text else ())
        sources.append(f"{count} rendered crops ({arguments.crops.name})")
        print(f"{sources[-1]}: {len(examples)} examples so far", file=sys.stderr)
    weights = fit(examples)
    document = {
        "recognizer": NetworkRecognizer.name,
        "fitted_on": sources,
        "examples": len(examples),
        "right": sum(right for _, right in examples),
        "date": date.today().isoformat(),
        "weights": {name: round(weight, 4) for name, weight in weights.items()},
    }
    CALIBRATION_FILE.write_text(json.dumps(document, indent=2) + "\n", encoding="utf-8")
    _print_reliability(examples, Calibration(weights))


def _photo_examples(sample: Sample) -> Iterator[Example]:
    gray = gray_pixels(load_photo(sample.path))
    regions = find_regions(gray, settings.REGIONS_MAX)
    for lines in read_lines(gray, regions, own_recognizer()):
        yield from _example(lines, sample.marks)


def _crop_examples(sample: Sample) -> Iterator[Example]:
    gray = gray_pixels(load_photo(sample.path))
    yield from _line_example(gray, sample.texts)


def _line_example(gray: NDArray[np.uint8], texts: tuple[str, ...]) -> Iterator[Example]:
    (lines,) = read_lines(gray, [crop_region(gray)], own_recognizer())
    features = describe_lines(lines)
    if features is not None:
        text = combine_lines(lines, Calibration({})).text
        yield features, plain(text) in {plain(right) for right in texts}


def _example(lines: list[RawLine], marks: tuple[tuple[str, np.ndarray], ...]) -> Iterator[Example]:
    features = describe_lines(lines)
    if features is None:
        return
    reading = combine_lines(lines, Calibration({}))
    there = {
        plain(word) for text, quad in marks if quad_overlap(reading.region.quad, quad)[1] > 0.3 for word in text.split()
    }
    yield features, is_spelled(plain(reading.text), there)


def is_spelled(text: str, words: set[str]) -> bool:
    """Whether a plain text is one or more of the words in a row: blanks read or not make no other number."""
    begun = [word for word in words if word and text.startswith(word)]
    return any(text == word or is_spelled(text[len(word) :], words) for word in begun)


def fit(examples: list[Example]) -> dict[str, float]:
    """Return the logistic model's weight for each feature; features that may only rise and would fall are dropped."""
    from sklearn.linear_model import LogisticRegression

    names = [name for name in examples[0][0].values() if name != "intercept"]
    right = np.array([right for _, right in examples])
    while True:
        values = np.array([[features.values()[name] for name in names] for features, _ in examples])
        model = LogisticRegression(C=10.0, max_iter=5000).fit(values, right)
        falling = [n for n, w in zip(names, model.coef_[0], strict=True) if n in RISING and w < 0]
        if not falling:
            return {
                "intercept": float(model.intercept_[0]),
                **dict(zip(names, map(float, model.coef_[0]), strict=True)),
            }
        names.remove(falling[0])


def _print_reliability(examples: list[Example], calibration: Calibration) -> None:
    probability = np.array([calibration.probability(features) for features, _ in examples])
    right = np.array([right for _, right in examples])
    for low, high in ((0, 0.1), (0.1, 0.3), (0.3, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 0.97), (0.97, 1.01)):
        chosen = (probability >= low) & (probability < high)
        if chosen.any():
            print(
                f"{low:.2f}-{high:.2f}: said {probability[chosen].mean():.3f} true {right[chosen].mean():.3f}"
                f" of {chosen.sum()}"
            )


if __name__ == "__main__":
    cv2.setNumThreads(1)
    main()
