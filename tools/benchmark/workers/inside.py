"""What our line recognizer reads inside given regions, whoever found them: the job 'inside'.

Every region gets the same treatment: read both ways along its longer side, all four ways where it is nearly square, cut
as it is (for readers whose regions hold a margin) and with the margin that our path adds to its own. The answer has
"texts", a list of strings for each region.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.geometry import crop_quad, grow_quad, quad_size, turn_quad
from reader.recognize.network import NetworkRecognizer
from reader.results import Quad
from tools.benchmark.workers.serve import Corners, Found, Read, Request, serve

LINE_PX = 40
"""Height of a line's figures in a cut, as reader/answer.py cuts its own."""

CUTS = ((0.0, 0.0), (0.3, 0.35))
"""Margin all around, and what is added at both ends, in shares of the region's height: none, and our path's."""

SQUARE = 1.5
"""Up to this ratio of its sides a region may be read along either."""

LENGTH_MAX = 40.0
"""A region longer than so many of its heights holds no line that anyone could read and is left out."""


def open_reader() -> Read:
    """Return the reader of given regions."""
    recognizer = NetworkRecognizer()
    return lambda request: read(recognizer, request)


def read(recognizer: NetworkRecognizer, request: Request) -> Found:
    """Read all regions of one request."""
    gray = np.asarray(cv2.cvtColor(request.picture, cv2.COLOR_BGR2GRAY), np.uint8)
    texts: list[list[str]] = []
    for corners in request.quads:
        pictures = [
            crop_quad(gray, grow_quad(quad, ends * quad_size(quad)[1], 0.0), LINE_PX, margin)[0]
            for quad in directions(corners)
            for margin, ends in CUTS
        ]
        lines = recognizer.decode_pixels(pictures) if pictures else []
        texts.append(sorted({line.text for line in lines if line.text}))
    return Found([], [], {"texts": texts})


def directions(corners: Corners) -> list[Quad]:
    """Return a region's four corners, each direction of reading that it may have; none where it has no area."""
    points: NDArray[np.float32] = np.array(corners, np.float32)
    quad = points if len(points) == 4 else np.asarray(cv2.boxPoints(cv2.minAreaRect(points)), np.float32)
    length, height = quad_size(quad)
    if min(length, height) < 1 or max(length, height) > LENGTH_MAX * min(length, height):
        return []
    turns = (
        (0, 1, 2, 3) if max(length, height) < SQUARE * min(length, height) else (0, 2) if length > height else (1, 3)
    )
    return [turn_quad(quad, turn) for turn in turns]


if __name__ == "__main__":
    serve(open_reader())
