"""Our own reader, lines by the recognizer alone, photos from file to answer: `python -m ... [region]`.

With 'region' a line is read as the path reads a region that it has found: in several cuts, both ways up, calibrated. A
line's boxes are the best string and what else it may be, with probabilities. A photo's are
the serial, empty where none was found, and all marks.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest.mock import patch

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.answer import crop_region, read_photo, read_regions
from reader.locate.network import find_regions
from reader.recognize.network import NetworkRecognizer
from reader.results import Answer
from reader.sort.rules import sort_readings
from tools.benchmark.workers.serve import Box, Found, Read, Request, bounds, corners, serve, whole


def open_reader(as_region: bool) -> Read:
    """Return the reader; the weights are loaded at the first picture."""
    recognizers = {figures: NetworkRecognizer(figures_only=figures) for figures in (False, True)}

    def read(request: Request) -> list[Box] | Found:
        if request.job == "find":
            return read_whole(request.file)
        if as_region:
            return read_region(recognizers[request.figures], request.picture)
        return read_line(recognizers[request.figures], request.picture)

    return read


def read_line(recognizer: NetworkRecognizer, picture: NDArray[np.uint8]) -> list[Box]:
    """Read one line: a box a candidate, best first; none where nothing is readable."""
    line = recognizer.decode_pixels([np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), np.uint8)])[0]
    if not line.text:
        return []
    return [(text, math.exp(score), whole(picture)) for text, score in line.candidates if text]


def read_region(recognizer: NetworkRecognizer, picture: NDArray[np.uint8]) -> list[Box]:
    """Read one line as a found region: a box a candidate with its calibrated probability, best first."""
    gray = np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), np.uint8)
    readings = read_regions(gray, [crop_region(gray)], recognizer)
    return [(c.text, c.probability, whole(picture)) for reading in readings for c in reading.candidates]


def read_whole(file: Path) -> Found:
    """Read a photo from its file.

    Boxes: the serial first (empty where there is none), then a box a mark, surest first. Regions: the lines read. More:
    whether the serial was accepted, and the corners of all regions found, read or not. The stages are listened to on
    their way, so that what is told here is what the answer was made of.
    """
    finding: list[Heard] = []
    sorting: list[Heard] = []
    with (
        patch("reader.answer.find_regions", listen(find_regions, finding)),
        patch("reader.answer.sort_readings", listen(sort_readings, sorting)),
    ):
        answer = read_photo(file)
    lines = sorting[-1].arguments[0]
    return Found(
        mark_boxes(answer),
        [(line.text, line.probability, corners(line.region.quad)) for line in lines],
        {
            "accepted": answer.serial is not None and answer.serial.accepted,
            "found": [corners(region.quad) for heard in finding for region in heard.result],
        },
    )


@dataclass(frozen=True)
class Heard:
    """One call of a stage: what went in and what came out."""

    arguments: tuple[Any, ...]
    result: Any


def listen(stage: Callable[..., Any], calls: list[Heard]) -> Callable[..., Any]:
    """Return the stage, adding every call to `calls`."""

    def heard(*arguments: Any, **named: Any) -> Any:
        result = stage(*arguments, **named)
        calls.append(Heard(arguments, result))
        return result

    return heard


def mark_boxes(answer: Answer) -> list[Box]:
    """Return the serial's box (empty where there is none), then a box a mark, surest first."""
    marks = sorted(answer.marks, key=lambda mark: -mark.probability)
    boxes = [(mark.text, mark.probability, bounds(mark.quad)) for mark in marks]
    if answer.serial is None:
        return [("", 0.0, (0.0, 0.0, 0.0, 0.0)), *boxes]
    place = next(bounds(mark.quad) for mark in marks if mark.id == answer.serial.mark)
    return [(answer.serial.text, answer.serial.probability, place), *boxes]


if __name__ == "__main__":
    serve(open_reader("region" in sys.argv[1:]))
