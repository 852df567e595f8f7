"""Photos with a number drawn on them and a casebook that knows them: everything in it is invented.

`python -m tests.pipelines.review.shop FOLDER COUNT` makes a casebook of 12-megapixel photos to try the page on.
"""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from pipelines.casebook.records import Method
from pipelines.casebook.store import Casebook, open_casebook

METHOD = Method("rakelight 0.0", {"figures": "a" * 64}, {"maker": None})
HARROW = {"id": "harrow-and-thistle", "name": "Harrow & Thistle", "place": "Thistleford", "invented": True}


def make_photo(path: Path, text: str, size: tuple[int, int] = (640, 420)) -> list[list[float]]:
    """Write a photo with a number on grainy wood, and return the number's quad."""
    width, height = size
    scale = width / 640
    grain = np.random.default_rng(len(text) + width).normal(0, 9, (height, 1, 3))
    pixels = np.clip(np.full((height, width, 3), (70, 110, 150)) + grain, 0, 255).astype(np.uint8)
    x, y = round(150 * scale), round(240 * scale)
    cv2.putText(
        pixels, text, (x, y), cv2.FONT_HERSHEY_SIMPLEX, 2.0 * scale, (30, 45, 60), round(5 * scale), cv2.LINE_AA
    )
    (length, high), _ = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, 2.0 * scale, round(5 * scale))
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(cv2.imencode(path.suffix, pixels)[1].tobytes())
    return [[x, y - high], [x + length, y - high], [x + length, y], [x, y]]


def make_answer(path: Path, text: str, quad: list[list[float]], **changes: Any) -> dict[str, Any]:
    """Return a doubtful answer for a photo; its last figure may be another one. `changes` replace top-level keys."""
    pixels = cv2.imread(str(path))
    assert pixels is not None
    characters = [{"text": sign, "probability": 0.8, "rivals": []} for sign in text]
    mark = {
        "id": 0,
        "text": text,
        "kind": "serial",
        "why": "five figures",
        "probability": 0.6,
        "quad": quad,
        "surface": "wood-stamp",
        "characters": characters,
    }
    other = {**mark, "id": 1, "text": "1871", "kind": "calendar-year", "quad": [[x, y + 90] for x, y in quad]}
    serial = {
        "text": text,
        "probability": 0.6,
        "accepted": False,
        "mark": 0,
        "alternatives": [
            {"text": text[:-1] + ("8" if text[-1] != "8" else "3"), "probability": 0.2},
            {"text": "4" + text, "probability": 0.05},
        ],
    }
    answer = {
        "version": 1,
        "photo": {
            "path": path.name,
            "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
            "width": pixels.shape[1],
            "height": pixels.shape[0],
        },
        "serial": serial,
        "marks": [mark, other],
        "maker": HARROW,
        "dating": {
            "edtf": "1874~",
            "year": 1874,
            "interval": [1873, 1876],
            "probability": 0.5,
            "evidence": [],
            "warnings": [],
        },
        "advice": [{"code": "rake", "text": "Hold the lamp low, at the side."}],
        "seconds": {"load": 0.1, "locate": 0.1, "recognize": 0.1, "total": 0.3},
    }
    return {**answer, **changes}


def add_case(
    book: Casebook,
    folder: Path,
    name: str,
    text: str = "41873",
    *,
    stake: float = 1.0,
    size: tuple[int, int] = (640, 420),
    **changes: Any,
) -> int:
    """Photograph a number, record its answer, and return the case."""
    quad = make_photo(folder / name, text, size)
    answer: Mapping[str, Any] = make_answer(folder / name, text, quad, **changes)
    return book.record_answer(answer, METHOD, years_at_stake=stake).cases[0]


def main(folder: Path, count: int) -> None:
    """Make the casebook to try the page on."""
    folder.mkdir(parents=True, exist_ok=True)
    with open_casebook(folder / "casebook.sqlite") as book:
        for number in range(count):
            add_case(
                book, folder, f"{number:03}.jpg", str(41800 + number), stake=float(count - number), size=(4000, 3000)
            )


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
