"""The pictures that all readers of the benchmark get: the same files for all, made once in the work folder.

Real sets come in fixed framings: the whole loose crop, a fixed window of it, or the known box with a quarter of its
height around it. Whole photographs are given as they are. Of a set with a train part only `measure` rows are taken.
Rendered crops come from one file of held-out renders, whole rendered photographs from folders made by tools/renderer.
"""

from __future__ import annotations

import csv
import hashlib
import random
import re
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.benchmark.sets import NUMBER_BAR

Pixels = NDArray[np.uint8]

FRAME_MARGIN = 0.25
"""What is shown around a known box, as a share of its height."""

ORDER_SEED = 1
"""Seed of the fixed random order, so that the first N of a set are always the same."""

RENDERED_CROPS = "rendered crops, readable"
RENDERED_FAINT = "rendered crops, faint"
RENDERED_NOTHING = "rendered crops, nothing there"


@dataclass(frozen=True)
class Item:
    """One picture with its truth.

    `texts`: right strings, any of them counts; empty where nothing is to be read. `figures`: only figures are compared.
    `whole`: a whole photograph, in which lines have to be found. `rendered`: made by us, may be shown to anyone.
    """

    id: str
    file: str
    texts: tuple[str, ...]
    kind: str
    figures: bool
    whole: bool
    rendered: bool


@dataclass(frozen=True)
class Task:
    """One way to show one real set: which files, which framing."""

    name: str
    folder: str
    begins: str = ""
    figures: bool = True
    window: tuple[float, float, float, float] | None = None
    boxes: bool = False
    whole: bool = False


TASKS = (
    Task("coin dates, window", "coin-dates", "crop", window=(0.06, 0.28, 0.94, 0.82)),
    Task("coin dates, loose", "coin-dates", "crop"),
    Task("steel billets, window", "steel-billets", "crop", window=(0.08, 0.2, 0.92, 0.6)),
    Task("steel billets, loose", "steel-billets", "crop"),
    Task("vin plates", "vin-plates", "crop", figures=False),
    Task("meter strips", "meter-strips"),
    Task("handwritten amounts", "orand-car-a"),
    Task("house numbers, framed", "svhn-test256", boxes=True),
    Task("house numbers, loose", "svhn-test256"),
    Task("number plates, framed", "alpr-plates", figures=False, boxes=True),
    Task("old ink, single", "dida-digits"),
    Task("meter wheels, single", "meter-wheel-digits"),
    Task("street figures, single", "scene-digits-chars74k"),
    Task("parish row numbers, loose", "parish-dates", "img/row"),
    Task("textures", "textures", figures=False),
    Task("coin dates, photos", "coin-dates", "img", whole=True),
    Task("steel billets, photos", "steel-billets", "scene", whole=True),
    Task("gravestones, photos", "gravestones", whole=True),
    Task("specimen cards, photos", "specimen-cards", whole=True),
    Task("vin plates, photos", "vin-plates", "img", figures=False, whole=True),
    Task("number plates, photos", "alpr-plates", figures=False, whole=True),
    Task("textures, photos", "textures", figures=False, whole=True),
)
"""Windows were set once, by the eye, on what all crops of a set have in common; parish dates are no literal reading."""


def real_items(data: Path, task: Task, work: Path) -> list[Item]:
    """Return a task's items in a fixed random order, their pictures written into the work folder.

    `data` is the folder of sets, each with labels.csv (file, text, kind, part, notes).
    """
    with (data / task.folder / "labels.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["part"] == "measure" and row["file"].startswith(task.begins)]
    rows = [row for row in rows if row["text"]] or rows  # an unlabeled photo is no negative; a set without labels is
    random.Random(ORDER_SEED).shuffle(rows)
    return [_real_item(data / task.folder, row, task, work / "pictures" / slug(task.name)) for row in rows]


def _real_item(folder: Path, row: dict[str, str], task: Task, target: Path) -> Item:
    source = folder / row["file"]
    box = re.search(r"box=(\d+),(\d+),(\d+),(\d+)", row["notes"]) if task.boxes else None
    if box or task.window:
        source = target / (slug(Path(row["file"]).stem) + ".png")
        if not source.exists():
            pixels = np.asarray(cv2.imread(str(folder / row["file"]), cv2.IMREAD_COLOR), np.uint8)
            x, y, width, height = (int(value) for value in box.groups()) if box else (0, 0, 0, 0)
            _write(source, frame(pixels, (x, y, width, height)) if box else window(pixels, task.window or (0, 0, 1, 1)))
    texts = tuple(text for text in row["text"].split(NUMBER_BAR) if text)
    return Item(Path(row["file"]).stem, str(source), texts, row["kind"], task.figures, task.whole, False)


def frame(pixels: Pixels, box: tuple[int, int, int, int]) -> Pixels:
    """Cut a box x, y, width, height with FRAME_MARGIN of its height around it."""
    x, y, width, height = box
    margin = round(height * FRAME_MARGIN)
    return pixels[max(0, y - margin) : y + height + margin, max(0, x - margin) : x + width + margin]


def window(pixels: Pixels, part: tuple[float, float, float, float]) -> Pixels:
    """Cut a window x0, y0, x1, y1 given as shares of width and height."""
    height, width = pixels.shape[:2]
    x0, y0, x1, y1 = part
    return pixels[int(y0 * height) : int(y1 * height), int(x0 * width) : int(x1 * width)]


def rendered_crops(file: Path, work: Path) -> dict[str, list[Item]]:
    """Return the held-out rendered crops as three sets in a fixed random order, written as PNG into the work folder.

    `file` is an .npz as `python -m tools.training.heldout` writes it: `pixels` (N, H, W) uint8, of which the first
    `width` columns of each crop count, `text`, `kind` and `readable` (N,). The sets: what a person can read, what is
    fainter than that, and crops with nothing in them. Their figures are never pooled.
    """
    digest = hashlib.sha256(file.read_bytes()).hexdigest()[:8]
    folder = work / "pictures" / f"{slug(RENDERED_CROPS)}-{digest}"
    with np.load(file, allow_pickle=False) as crops:
        pixels, widths, texts, kinds, readable = (crops[key] for key in ("pixels", "width", "text", "kind", "readable"))
    numbers = list(range(len(texts)))
    random.Random(ORDER_SEED).shuffle(numbers)
    sets: dict[str, list[Item]] = {RENDERED_CROPS: [], RENDERED_FAINT: [], RENDERED_NOTHING: []}
    for number in numbers:
        target = folder / f"{number:05d}.png"
        if not target.exists():
            _write(target, pixels[number][:, : widths[number]])
        text, name = str(texts[number]), f"{digest}-{number:05d}"
        chosen = RENDERED_NOTHING if not text else RENDERED_CROPS if readable[number] else RENDERED_FAINT
        right = (text,) if text else ()
        sets[chosen].append(Item(name, str(target), right, str(kinds[number]), False, False, True))
    return sets


def rendered_photos(folder: Path) -> dict[str, list[Item]]:
    """Return a folder of whole rendered photographs (`python -m tools.renderer set`) as one set."""
    with (folder / "labels.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return {
        f"rendered photos, {folder.name}": [
            Item(
                Path(row["file"]).stem,
                str(folder / row["file"]),
                tuple(text for text in row["text"].split(NUMBER_BAR) if text),
                row["kind"],
                True,
                True,
                True,
            )
            for row in rows
        ]
    }


def slug(name: str) -> str:
    """Return a name that is safe as a file's."""
    return re.sub(r"[^A-Za-z0-9]+", "-", name).strip("-").lower()


def _write(target: Path, pixels: Pixels) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    cv2.imencode(".png", pixels)[1].tofile(target)
