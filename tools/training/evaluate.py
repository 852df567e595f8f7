"""Measure the shipped recognizer on the crops of real sets: `python -m tools.training.evaluate DATA [--sheets FOLDER]`.

For measuring and for looking at failures only. Exact match of the string, points, dashes and blanks left out on both
sides; figures only where the set has only figures. A set with known boxes is also read framed: the box and a quarter of
its height around it. 'measure' rows only, except that --train shows the training rows instead.
"""

from __future__ import annotations

import argparse
import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.recognize.network import CARD_FILE, NetworkRecognizer
from tools.training.sheet import write_sheet

FRAME_MARGIN = 0.25

LEFT_OUT = str.maketrans("", "", ".-/ #°")


@dataclass(frozen=True)
class Task:
    """One way to read one set: which files, figures only or not, a window (x0, y0, x1, y1 as shares), boxes."""

    name: str
    folder: str
    begins: str = ""
    figures: bool = True
    window: tuple[float, float, float, float] | None = None
    boxes: bool = False


TASKS = (
    Task("coin dates, loose", "coin-dates", "crop"),
    Task("coin dates, window", "coin-dates", "crop", window=(0.06, 0.28, 0.94, 0.82)),
    Task("steel billets, loose", "steel-billets", "crop"),
    Task("steel billets, window", "steel-billets", "crop", window=(0.08, 0.2, 0.92, 0.6)),
    Task("vin plates", "vin-plates", "crop", figures=False),
    Task("meter strips", "meter-strips"),
    Task("handwritten amounts", "orand-car-a"),
    Task("house numbers, loose", "svhn-test256"),
    Task("house numbers, framed", "svhn-test256", boxes=True),
    Task("number plates, framed", "alpr-plates", figures=False, boxes=True),
    Task("old ink, single", "dida-digits"),
    Task("meter wheels, single", "meter-wheel-digits"),
    Task("street figures, single", "scene-digits-chars74k"),
    Task("parish row numbers", "parish-dates", "img/row"),
    Task("textures", "textures", figures=False),
)


def rows_of(data: Path, task: Task, part: str) -> Iterator[tuple[NDArray[np.uint8], str, str]]:
    """Yield (picture, true string, file) of a task."""
    with (data / task.folder / "labels.csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["part"] == part and row["file"].startswith(task.begins)]
    for row in rows:
        picture = np.asarray(cv2.imread(str(data / task.folder / row["file"]), cv2.IMREAD_GRAYSCALE), np.uint8)
        box = re.search(r"box=(\d+),(\d+),(\d+),(\d+)", row["notes"])
        if task.boxes and box:
            picture = _cut(picture, *(int(v) for v in box.groups()))
        elif task.window:
            rows_, columns = picture.shape
            x0, y0, x1, y1 = task.window
            picture = picture[int(y0 * rows_) : int(y1 * rows_), int(x0 * columns) : int(x1 * columns)]
        yield picture, row["text"].upper(), row["file"]


def _cut(picture: NDArray[np.uint8], x: int, y: int, width: int, height: int) -> NDArray[np.uint8]:
    margin = round(height * FRAME_MARGIN)
    return picture[max(0, y - margin) : y + height + margin, max(0, x - margin) : x + width + margin]


def measure(data: Path, task: Task, part: str, sheets: Path | None, card: Path) -> str:
    """Return one line: set, count, exact match, exact match among the five best, mean error rate of characters."""
    rows = list(rows_of(data, task, part))
    if not rows:
        return f"{task.name:24} none"
    reader = NetworkRecognizer(figures_only=task.figures, card=card)
    lines = reader.decode_pixels([picture for picture, _, _ in rows])
    read = [line.text.translate(LEFT_OUT) for line in lines]
    right = [text == truth.translate(LEFT_OUT) for text, (_, truth, _) in zip(read, rows, strict=True)]
    listed = [
        truth.translate(LEFT_OUT) in [c.translate(LEFT_OUT) for c, _ in line.candidates]
        for line, (_, truth, _) in zip(lines, rows, strict=True)
    ]
    if sheets:
        order = sorted(range(len(rows)), key=lambda k: right[k])[:120]
        crops = [_small(rows[k][0]) for k in order]
        captions = [f"{'' if right[k] else 'X '}{rows[k][1]}>{lines[k].text}" for k in order]
        write_sheet(sheets / (re.sub(r"\W+", "-", task.name) + ".png"), crops, captions, 8)
    edits = sum(edit_distance(text, truth.translate(LEFT_OUT)) for text, (_, truth, _) in zip(read, rows, strict=True))
    length = max(1, sum(len(truth) for _, truth, _ in rows))
    shares = f"exact {np.mean(right):.3f} listed {np.mean(listed):.3f} errors {edits / length:.3f}"
    return f"{task.name:24} {len(rows):4} {shares} empty {np.mean([not text for text in read]):.3f}"


def _small(picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
    scale = min(72 / picture.shape[0], 200 / picture.shape[1])
    way = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(picture, None, fx=scale, fy=scale, interpolation=way), np.uint8)


def edit_distance(a: str, b: str) -> int:
    """Return the least number of insertions, deletions and exchanges (Levenshtein 1966)."""
    row = list(range(len(b) + 1))
    for i, x in enumerate(a, 1):
        before, row[0] = row[0], i
        for j, y in enumerate(b, 1):
            before, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, before + (x != y))
    return row[-1]


def main() -> None:
    """Measure from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("data", type=Path)
    parser.add_argument("--sheets", type=Path)
    parser.add_argument("--train", action="store_true")
    parser.add_argument("--only", default="")
    parser.add_argument("--card", type=Path, default=CARD_FILE)
    options = parser.parse_args()
    cv2.setNumThreads(1)
    if options.sheets:
        options.sheets.mkdir(parents=True, exist_ok=True)
    for task in TASKS:
        if options.only in task.name:
            print(
                measure(options.data, task, "train" if options.train else "measure", options.sheets, options.card),
                flush=True,
            )


if __name__ == "__main__":
    main()
