"""Folders of traced scenes with labels, made in resumable steps, and the line crops cut from them.

labels.csv has the columns of `python -m tools.renderer set` (file, text, model, part_mark, kind, maker, notes, quads).
A row is added as soon as its picture is complete; a second call goes on after the pictures that have a row.
"""

from __future__ import annotations

import csv
import json
import sys
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.geometry import crop_quad, quad_size
from tools.renderer.camera import jpeg
from tools.renderer.labels import COLUMNS, quads_json, truth_row
from tools.renderer.spec import SceneSpec, Truth
from tools.tracer.plan import trace_spec

SET_COLUMNS = (*COLUMNS, "quads")
SET_QUALITY = 92
CROP_COLUMNS = ("file", "text", "kind", "part", "notes", "figure_px")
CROP_HEIGHT_PX, CROP_MARGIN = 40, 0.3
"""Figure height in a line crop, and the margin on all sides as a share of it."""

Renderer = Callable[[SceneSpec, int], tuple[NDArray[np.uint8], Truth]]


def scene_number(seed: int, k: int) -> int:
    """Return the random seed for scene k of a set."""
    return seed * 100000 + k


def write_set(folder: Path, count: int, seed: int, difficulty: str, render: Renderer, *, until: float = 0.0) -> int:
    """Render the scenes that the folder does not hold yet; return how many it holds now.

    `render` is stage.render, or tools.renderer.scene.render for the same scenes by the fast renderer. `until` is the
    time (seconds since the epoch) after which no further scene is begun; 0 is never.
    """
    folder.mkdir(parents=True, exist_ok=True)
    labels = folder / "labels.csv"
    rows = _kept_rows(folder, labels)
    _write(labels, SET_COLUMNS, rows)
    done = {row["file"] for row in rows}
    for k in range(count):
        file = f"{difficulty}_{k:04d}.jpg"
        if file in done:
            continue
        if until and time.time() > until:
            break
        start = time.monotonic()
        number = scene_number(seed, k)
        pixels, truth = render(trace_spec(number, difficulty), number)
        (folder / file).write_bytes(jpeg(pixels, SET_QUALITY))
        _append(labels, [*truth_row(file, truth), quads_json(truth)])
        done.add(file)
        print(f"{folder / file}: {truth.text or '-'}, {time.monotonic() - start:.0f} s", file=sys.stderr, flush=True)
    return len(done)


def _kept_rows(folder: Path, labels: Path) -> list[dict[str, str]]:
    """Return the rows whose pictures are there."""
    if not labels.is_file():
        return []
    return [row for row in read_rows(labels) if (folder / row["file"]).is_file()]


def read_rows(labels: Path) -> list[dict[str, str]]:
    """Return the rows of a labels.csv."""
    with labels.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def _write(file: Path, columns: tuple[str, ...], rows: list[dict[str, str]]) -> None:
    with file.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, columns, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def _append(file: Path, row: list[str]) -> None:
    with file.open("a", encoding="utf-8", newline="") as stream:
        csv.writer(stream, lineterminator="\n").writerow(row)


def cut_crops(folders: list[Path], target: Path) -> int:
    """Cut every serial's line out of sets of scenes as gray pictures with labels.csv; return how many.

    A crop bears its photo's name, so that crops of one scene by two renderers have one name. `figure_px` in labels.csv
    is the quad's height in the photo, `notes` the difficulty. ValueError for two photos of one name.
    """
    target.mkdir(parents=True, exist_ok=True)
    rows = []
    taken: set[str] = set()
    for folder in folders:
        for row in read_rows(folder / "labels.csv"):
            marks = json.loads(row["quads"])
            serials = [mark for mark in marks if mark["kind"] == "serial"][:1]
            photo = cv2.imread(str(folder / row["file"]), cv2.IMREAD_GRAYSCALE) if serials else None
            if photo is None:
                continue
            for mark in serials:
                quad = np.array(mark["quad"], np.float32)
                crop, _ = crop_quad(np.asarray(photo, np.uint8), quad, CROP_HEIGHT_PX, CROP_MARGIN)
                file = f"{Path(row['file']).stem}.png"
                if file in taken:
                    raise ValueError(f"{folder}: a second photo named {row['file']}; cut its crops into another folder")
                taken.add(file)
                cv2.imwrite(str(target / file), crop)
                height = f"{quad_size(quad)[1]:.1f}"
                rows.append(
                    dict(
                        zip(
                            CROP_COLUMNS,
                            (file, mark["text"], row["kind"], "measure", row["notes"], height),
                            strict=True,
                        )
                    )
                )
    _write(target / "labels.csv", CROP_COLUMNS, rows)
    return len(rows)
