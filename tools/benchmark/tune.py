"""Choose Tesseract's preparation for the benchmark: `python -m tools.benchmark.tune DATA WORK [RENDERED_FOLDER...]`.

Every variant reads the train parts of the real sets and lines cut out of rendered photographs by their true quads (a
third of the height around them). No measure row is used. Prints the share of exact readings; which variants
take part (CONTESTANTS in contestants.py) is set by hand from it.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import cv2
import numpy as np

from reader.geometry import crop_quad
from tools.benchmark.contestants import LINE, TESSERACT_PACKAGES, Contestant, answers
from tools.benchmark.pictures import Item, slug
from tools.benchmark.scoring import FIRST, Way, judge
from tools.benchmark.sets import load_set
from tools.benchmark.workers.preparation import VARIANTS

TRAIN_SETS = ("meter-strips", "orand-car-a")
LINE_HEIGHT_PX, LINE_MARGIN = 64, 0.33


def train_items(folder: Path) -> list[Item]:
    """Return the train rows of a real set."""
    with (folder / "labels.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["part"] == "train"]
    return [
        Item(row["file"], str(folder / row["file"]), (row["text"],), row["kind"], True, False, False) for row in rows
    ]


def rendered_lines(folder: Path, work: Path) -> list[Item]:
    """Return the strings with figures only of rendered photographs, cut out by their quads."""
    items = []
    for sample in load_set(folder):
        pixels = np.asarray(cv2.imread(str(sample.path)), np.uint8)
        for number, (text, quad) in enumerate(sample.marks):
            if text.isdigit():
                target = work / "pictures" / "tune" / f"{slug(folder.name)}-{sample.path.stem}-{number}.png"
                target.parent.mkdir(parents=True, exist_ok=True)
                crop, _ = crop_quad(pixels, quad, LINE_HEIGHT_PX, LINE_MARGIN)
                cv2.imencode(".png", crop)[1].tofile(target)
                items.append(Item(target.stem, str(target), (text,), sample.kind, True, False, True))
    return items


def main() -> None:
    """Read with every variant and print the table."""
    if len(sys.argv) < 3:
        sys.exit("usage: python -m tools.benchmark.tune DATA WORK [RENDERED_FOLDER...]")
    data, work = Path(sys.argv[1]), Path(sys.argv[2])
    sets = {name: train_items(data / name) for name in TRAIN_SETS}
    sets |= {Path(folder).name: rendered_lines(Path(folder), work) for folder in sys.argv[3:]}
    print("variant", *(f"{name} ({len(items)})" for name, items in sets.items()), sep="\t")
    for variant in ("plain", *VARIANTS):
        contestant = Contestant(f"Tesseract, {variant}", "tess", variant, (LINE,), "tesseract", TESSERACT_PACKAGES)
        shares = []
        for name, items in sets.items():
            judged = judge(items, answers(contestant, LINE, f"tune {name}", items, work), Way(FIRST))
            shares.append(f"{np.mean([scored.right for scored in judged]):.3f}")
        print(variant, *shares, sep="\t")


if __name__ == "__main__":
    cv2.setNumThreads(1)
    main()
