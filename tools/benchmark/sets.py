"""Sets of photos with known numbers, real and rendered, as the calibration reads them.

A real set is a folder with labels.csv (file, text, kind, part, notes); part is 'train' or 'measure', and only 'train'
may be used for fitting. A rendered set is a folder made by `python -m tools.renderer set`, whose labels also hold the
quads of every string. The real photographs are not part of the repository.
"""

from __future__ import annotations

import csv
import json
import random
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from reader.results import Quad

NUMBER_BAR = "|"
"""Joins several right answers of one photo in a label."""


@dataclass(frozen=True)
class Sample:
    """One photo with its truth: right strings (any of them counts; empty: no number), and marks with their quads."""

    path: Path
    texts: tuple[str, ...]
    kind: str
    marks: tuple[tuple[str, Quad], ...] = ()


def load_set(folder: Path, *, crops: bool = False, part: str | None = None, most: int | None = None) -> list[Sample]:
    """Load one set; `most` takes a fixed random choice. Unlabeled photos of real sets are left out."""
    with (folder / "labels.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    if any(row["file"].startswith("crop/") for row in rows):
        rows = [row for row in rows if row["file"].startswith("crop/") == crops]
    if "part" in rows[0]:
        rows = [row for row in rows if part in (None, row["part"])]
        rows = [row for row in rows if row["text"]] or rows  # a set without any text holds no numbers at all
    random.Random(1).shuffle(rows)
    return [_sample(folder, row) for row in rows[:most]]


def _sample(folder: Path, row: dict[str, str]) -> Sample:
    quads = json.loads(row["quads"]) if row.get("quads") else []
    marks = tuple((str(mark["text"]), np.array(mark["quad"], np.float32)) for mark in quads)
    texts = tuple(text for text in row["text"].split(NUMBER_BAR) if text)
    return Sample(folder / row["file"], texts, row.get("kind", ""), marks)


def plain(text: str) -> str:
    """Return the text's letters and figures only, in capitals: separators are not part of a number."""
    return "".join(character for character in text.upper() if character.isalnum())
