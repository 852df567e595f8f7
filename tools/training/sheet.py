"""Contact sheets: many crops with their strings in one picture, to be looked at."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

CAPTION_PX = 14


def write_sheet(path: Path, crops: Sequence[NDArray[np.uint8]], captions: Sequence[str], columns: int = 6) -> None:
    """Write crops (H, W) with captions below as one PNG, `columns` side by side."""
    width = max(c.shape[1] for c in crops) + 4
    height = max(c.shape[0] for c in crops) + CAPTION_PX
    rows = -(-len(crops) // columns)
    sheet = np.full((rows * height, columns * width), 255, np.uint8)
    for number, (crop, caption) in enumerate(zip(crops, captions, strict=True)):
        y, x = number // columns * height, number % columns * width
        sheet[y : y + crop.shape[0], x : x + crop.shape[1]] = crop
        cv2.putText(sheet, caption, (x, y + height - 3), cv2.FONT_HERSHEY_SIMPLEX, 0.36, 0, 1, cv2.LINE_AA)
    cv2.imwrite(str(path), sheet)
