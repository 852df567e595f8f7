"""What every network of ours shares: its card, its weights checked by hash, and the normalization of its input.

A card is a JSON file beside an ONNX file; it names the file, its SHA-256 and what the network was taught with. The
networks run in OpenCV's dnn module. Not for several threads at a time.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.errors import TableError

C = TypeVar("C")

Floats = NDArray[np.float32]

CLIP = 4.0
"""Largest normalized value, in deviations: glints and holes beyond it say no more."""


def read_card(path: Path, build: Callable[[dict[str, Any]], C]) -> C:
    """Read a card with `build`, which takes its fields. Raises TableError where it is missing or damaged."""
    try:
        return build(json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise TableError(path, f"not a card of a network ({error}); install Rakelight again") from error


def load_weights(file: Path, sha256: str) -> Any:
    """Load a network's ONNX file after checking its hash. Raises TableError where it is missing or damaged."""
    try:
        content = file.read_bytes()
    except OSError as error:
        raise TableError(file, f"weights missing ({error.strerror}); install Rakelight again") from error
    if hashlib.sha256(content).hexdigest() != sha256:
        raise TableError(file, "weights damaged (their hash differs from the card's); install Rakelight again")
    return cv2.dnn.readNetFromONNX(np.frombuffer(content, np.uint8))


def normalize(gray: Floats, local_px: int, local_floor: float, columns: int | None = None) -> Floats:
    """Return (2, H, W): gray levels by the picture's mean and deviation, and by those of a window around each pixel.

    `gray` is (H, W) float32, 0 to 255; `local_px` the window's side; `local_floor` is added to the window's deviation,
    so that noise on flat ground is not made as strong as strokes. Where only the first `columns` belong to what is
    looked at, mean and deviation are theirs, and the rest is 0.
    """
    own = gray[:, :columns]
    mean = float(own.mean())
    whole = np.clip((gray - mean) / (float(own.std()) + 2.0), -CLIP, CLIP)
    window = (local_px, local_px)
    near = cv2.blur(gray, window, borderType=cv2.BORDER_REFLECT_101)
    square = cv2.blur((gray - mean) ** 2, window, borderType=cv2.BORDER_REFLECT_101) - (near - mean) ** 2
    local = np.clip((gray - near) / np.sqrt(np.maximum(square, 0) + local_floor**2), -CLIP, CLIP)
    both = np.stack([whole, local]).astype(np.float32)
    if columns is not None:
        both[:, :, columns:] = 0
    return both
