"""How well the reader's own network reads line crops, by kind and difficulty: the gap between two renderers."""

from __future__ import annotations

from collections import defaultdict
from pathlib import Path

import cv2
import numpy as np

from reader.recognize.network import NetworkRecognizer
from tools.tracer.sets import read_rows


def plain(text: str) -> str:
    """Return the letters and figures of a text in capitals."""
    return "".join(character for character in text.upper() if character.isalnum())


def read_crops(folder: Path, files: set[str]) -> list[tuple[str, str, bool]]:
    """Return kind, difficulty and whether it was read exactly, for the named crops of a folder."""
    rows = [row for row in read_rows(folder / "labels.csv") if row["file"] in files]
    pictures = [np.asarray(cv2.imread(str(folder / row["file"]), cv2.IMREAD_GRAYSCALE), np.uint8) for row in rows]
    lines = NetworkRecognizer().decode_pixels(pictures)
    return [
        (row["kind"], row["notes"], plain(line.text) == plain(row["text"]))
        for row, line in zip(rows, lines, strict=True)
    ]


def table(folders: list[Path]) -> str:
    """Return a Markdown table of exact match (crops): a row for each kind and difficulty, a column for each folder.

    Only scenes that every folder holds are counted.
    """
    files = set.intersection(*({row["file"] for row in read_rows(folder / "labels.csv")} for folder in folders))
    groups: dict[str, dict[Path, list[bool]]] = defaultdict(lambda: defaultdict(list))
    for folder in folders:
        for kind, difficulty, right in read_crops(folder, files):
            for group in (kind, difficulty, "all"):
                groups[group][folder].append(right)
    head = ["| | " + " | ".join(folder.name for folder in folders) + " |", "|---" * (len(folders) + 1) + "|"]
    order = sorted(groups, key=lambda name: (name == "all", name in ("easy", "medium", "hard"), name))
    return "\n".join(
        head + [f"| {name} | " + " | ".join(_cell(groups[name][f]) for f in folders) + " |" for name in order]
    )


def _cell(right: list[bool]) -> str:
    return f"{np.mean(right):.2f} ({len(right)})" if right else "-"
