"""The networks shipped with the reader: their cards, their weights checked by hash, and how their input is scaled."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.errors import TableError

Floats = NDArray[np.float32]

WEIGHTS_FOLDER = Path(__file__).parent / "weights"


@dataclass(frozen=True)
class Card:
    """What a card says that the code needs; `height_unit` is the figure height in pixels that a network counts from."""

    file: Path
    local_px: int
    local_floor: float
    height_unit: float
    sha256: str


def load_card(path: Path) -> Card:
    """Read a card. Raises TableError where it is missing or damaged."""
    try:
        card = json.loads(path.read_text(encoding="utf-8"))
        scale = card["normalization"]
        return Card(
            path.with_name(card["file"]),
            int(scale["local_px"]),
            float(scale["local_floor"]),
            float(card["height_unit"]),
            card["sha256"],
        )
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise TableError(path, f"not a card of a network ({error}); install Rakelight again") from error


def load_weights(card: Card) -> Any:
    """Load a network after checking its hash. Raises TableError where it is missing or damaged."""
    try:
        content = card.file.read_bytes()
    except OSError as error:
        raise TableError(card.file, f"weights missing ({error.strerror}); install Rakelight again") from error
    if hashlib.sha256(content).hexdigest() != card.sha256:
        raise TableError(card.file, "weights damaged (their hash differs from the card's); install Rakelight again")
    return cv2.dnn.readNetFromONNX(np.frombuffer(content, np.uint8))


def normalize(gray: Floats, card: Card, columns: int | None = None) -> Floats:
    """Return (2, H, W): gray levels by the picture's mean and deviation, and by those of a window around each pixel.

    Where only the first `columns` belong to what is looked at, mean and deviation are theirs, and the rest is 0.
    """
    own = gray[:, :columns]
    mean = float(own.mean())
    whole = np.clip((gray - mean) / (float(own.std()) + 2.0), -4, 4)
    window = (card.local_px, card.local_px)
    near = cv2.blur(gray, window, borderType=cv2.BORDER_REFLECT_101)
    square = cv2.blur((gray - mean) ** 2, window, borderType=cv2.BORDER_REFLECT_101) - (near - mean) ** 2
    local = np.clip((gray - near) / np.sqrt(np.maximum(square, 0) + card.local_floor**2), -4, 4)
    both = np.stack([whole, local]).astype(np.float32)
    if columns is not None:
        both[:, :, columns:] = 0
    return both
