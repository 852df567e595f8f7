"""Which way up a found line is read: a small convolutional network on each line, cut out along its axis.

A line's axis is known from the photo; whether it is read one way or the other along it shows in its characters alone.
The network gives a logit for every STEP columns, and their mean is the line's. It decides where it is sure and leaves
the rest, such as 69 or 8008, to the recognizer, which can read both ways. It runs in OpenCV's dnn module; weights and
card (weights/turns.json) come from tools/finding. About 9 million multiplications a line.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reader.geometry import crop_quad, part_quad, quad_size
from reader.locate.card import WEIGHTS_FOLDER, Card, load_card
from reader.results import Quad
from reader.weights import Floats, load_weights, normalize

CARD_FILE = WEIGHTS_FOLDER / "turns.json"

FIGURE_PX, BORDER_PX, WIDTH = 24, 4, 152
"""Height of the figures in a crop, border around them, and the crop's width in pixels. Of a longer line the middle is
looked at."""

STEP = 8
"""Columns of a crop for which the network gives one logit."""


class TurnNetwork:
    """Tells with the shipped weights which way lines are read; they are loaded at the first line. Not for threads."""

    def __init__(self, card: Path = CARD_FILE) -> None:
        """Prepare without loading."""
        self._path = card
        self._loaded: tuple[Card, Any] | None = None

    def logits(self, gray: NDArray[np.uint8], quads: Sequence[Quad]) -> NDArray[np.float64]:
        """Return for each quad of an (H, W) uint8 photo the logit (N,) that it is read as it stands.

        Raises TableError where weights or card are missing or damaged.
        """
        if not quads:
            return np.zeros(0)
        if self._loaded is None:
            card = load_card(self._path)
            self._loaded = (card, load_weights(card.file, card.sha256))
        card, network = self._loaded
        cut = [cut_line(gray, quad) for quad in quads]
        network.setInput(np.stack([normalize(crop, card.local_px, card.local_floor, columns) for crop, columns in cut]))
        pieces = np.asarray(network.forward(), np.float64)[:, 0, 0]
        return np.array(
            [row[: math.ceil(columns / STEP)].mean() for row, (_, columns) in zip(pieces, cut, strict=True)]
        )


def cut_line(gray: NDArray[np.uint8], quad: Quad) -> tuple[Floats, int]:
    """Cut a line out of a photo: pixels (FIGURE_PX + 2 BORDER_PX, WIDTH), and how many columns are its own."""
    length, height = quad_size(quad)
    inner = WIDTH - 2 * BORDER_PX
    share = inner * height / FIGURE_PX / max(length, 1e-6)  # of the line's length that a crop shows
    start = max(0.0, (1 - share) / 2)
    crop, _ = crop_quad(gray, part_quad(quad, start, start + share), FIGURE_PX, BORDER_PX / FIGURE_PX)
    own = min(inner, max(1, round(length * FIGURE_PX / max(height, 1e-6)))) + 2 * BORDER_PX
    return crop[:, :WIDTH].astype(np.float32), own
