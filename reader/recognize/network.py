"""Our own recognizer: a small convolutional network for figures stamped, cast, chalked, inked, cut or written.

Line pictures come in at any size and with either polarity; each is scaled to the network's height and normalized
twice, as a whole and by the surroundings of each pixel, so that a mark one tenth as strong as a picture's edge still
shows. The network runs in OpenCV's dnn module; decode.py turns its logits into characters. Weights and their card
(weights/line.json: alphabet, shape, normalization, hash, data, measures) come from tools/training.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.recognize.decode import Decoded, decode, keep_figures, softmax
from reader.recognize.recognizer import LinePicture, RawCharacter, RawLine, Recognizer
from reader.weights import Floats, load_weights, normalize, read_card

CARD_FILE = Path(__file__).parent / "weights" / "line.json"

WIDTH_STEP = 16
"""Widths are rounded to this many pixels by scaling, so that pictures of about one width share a pass."""

WIDTH_LIMITS = (48, 640)
"""Narrowest and widest input in pixels at the network's height; wider pictures are squeezed."""

PITCH_NARROW, PITCH_AIM, STRETCH_MAX = 5.0, 6.0, 1.5
"""Figures closer than PITCH_NARROW frames (of 4 pixels) are read again, stretched toward PITCH_AIM frames. On held-out
renders this lifts exact match by 3 points, most below 4 frames; beyond a stretch of 1.5 it falls again."""

FLAT = 1.0
"""A picture whose gray levels deviate less than this (of 255) holds nothing, whatever the network makes of rounding."""

BATCH_MAX = 16
"""Pictures in one pass; more gain no speed on a CPU and cost memory."""


@dataclass(frozen=True)
class Card:
    """What the weights' card says that the code needs."""

    file: Path
    alphabet: str
    height: int
    local_px: int
    local_floor: float
    sha256: str
    temperature: float


def load_card(path: Path = CARD_FILE) -> Card:
    """Read a card. Raises TableError where it is missing or damaged."""

    def build(card: dict[str, Any]) -> Card:
        scale = card["normalization"]
        return Card(
            path.with_name(card["file"]),
            card["alphabet"],
            int(card["height"]),
            int(scale["local_px"]),
            float(scale["local_floor"]),
            card["sha256"],
            float(card.get("temperature", 1.0)),
        )

    return read_card(path, build)


def prepare(pixels: NDArray[np.uint8], card: Card) -> Floats:
    """Return the network's input (2, height, W) float32 for an (H, W) uint8 picture, W a multiple of WIDTH_STEP."""
    rows, columns = pixels.shape
    wanted = round(columns * card.height / max(rows, 1) / WIDTH_STEP) * WIDTH_STEP
    width = min(max(wanted, WIDTH_LIMITS[0]), WIDTH_LIMITS[1])
    way = cv2.INTER_AREA if rows > card.height else cv2.INTER_CUBIC
    gray = np.asarray(cv2.resize(pixels, (width, card.height), interpolation=way), np.float32)
    return normalize(gray, card.local_px, card.local_floor)


class NetworkRecognizer(Recognizer):
    """Reads line pictures with the shipped weights; they are loaded at the first reading."""

    name = "network"
    any_polarity = True

    def __init__(self, *, figures_only: bool = False, card: Path = CARD_FILE) -> None:
        """Prepare without loading. `figures_only` reads nothing but figures and the signs among them."""
        self._figures_only = figures_only
        self._path = card
        self._loaded: tuple[Card, Any] | None = None

    def read_lines(self, pictures: Sequence[LinePicture]) -> list[RawLine]:
        """Read all pictures; see Recognizer. Raises TableError where the weights are missing or damaged."""
        decoded = self.decode_pixels([picture.pixels for picture in pictures])
        return [_raw_line(picture, line) for picture, line in zip(pictures, decoded, strict=True)]

    def decode_pixels(self, pictures: Sequence[NDArray[np.uint8]]) -> list[Decoded]:
        """Return the decoded line of each (H, W) uint8 picture, with N best strings and the chance of nothing.

        Narrow figures are read a second time with the picture stretched; the more probable reading stays.
        """
        lines = self._decode(pictures)
        again = {number: factor for number, line in enumerate(lines) if (factor := _stretch(line)) > 1}
        wider = self._decode([_stretched(pictures[number], factor) for number, factor in again.items()])
        for number, line in zip(again, wider, strict=True):
            if line.candidates[0][1] > lines[number].candidates[0][1]:
                lines[number] = line
        return lines

    def _decode(self, pictures: Sequence[NDArray[np.uint8]]) -> list[Decoded]:
        logits = self.run(pictures)
        card, _ = self._network()
        lines = []
        for pixels, own in zip(pictures, logits, strict=True):
            if float(pixels.std()) < FLAT:
                lines.append(Decoded((("", 0.0),), 1.0, (), (), (), own.shape[1]))
                continue
            probabilities = softmax(own / card.temperature)
            if self._figures_only:
                probabilities = keep_figures(probabilities, card.alphabet)
            lines.append(decode(probabilities, card.alphabet))
        return lines

    def run(self, pictures: Sequence[NDArray[np.uint8]]) -> list[Floats]:
        """Return the logits (C, T) of each picture, pictures of one width in common passes."""
        card, network = self._network()
        inputs = [prepare(pixels, card) for pixels in pictures]
        by_width: dict[int, list[int]] = defaultdict(list)
        for number, own in enumerate(inputs):
            by_width[own.shape[2]].append(number)
        logits: list[Floats] = [np.zeros((0, 0), np.float32)] * len(inputs)
        for numbers in by_width.values():
            for start in range(0, len(numbers), BATCH_MAX):
                part = numbers[start : start + BATCH_MAX]
                network.setInput(np.stack([inputs[number] for number in part]))
                for number, out in zip(part, network.forward(), strict=True):
                    logits[number] = np.asarray(out[:, 0], np.float32)
        return logits

    def _network(self) -> tuple[Card, Any]:
        if self._loaded is None:
            card = load_card(self._path)
            self._loaded = (card, load_weights(card.file, card.sha256))
        return self._loaded


def _stretch(line: Decoded) -> float:
    """Return by how much a picture is to be stretched for its figures to get PITCH_AIM frames, 1 for not at all."""
    if len(line.spans) < 2:
        return 1.0
    centers = [(begin + end) / 2 * line.frames for begin, end in line.spans]
    pitch = (centers[-1] - centers[0]) / (len(centers) - 1)
    return min(STRETCH_MAX, PITCH_AIM / max(pitch, 1.0)) if pitch < PITCH_NARROW else 1.0


def _stretched(pixels: NDArray[np.uint8], factor: float) -> NDArray[np.uint8]:
    size = (max(1, round(pixels.shape[1] * factor)), pixels.shape[0])
    return np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_CUBIC), np.uint8)


def _raw_line(picture: LinePicture, line: Decoded) -> RawLine:
    characters = tuple(
        RawCharacter(text, score, rivals, span)
        for text, score, rivals, span in zip(line.text, line.scores, line.rivals, line.spans, strict=True)
    )
    candidates = tuple((text, math.exp(log)) for text, log in line.candidates)
    return RawLine(picture, characters, candidates, line.nothing, NetworkRecognizer.name)
