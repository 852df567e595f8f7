"""Corrections as a training set: a crop of each decided mark, and labels.csv in the form that tools/ read.

In: the casebook and the originals, which are only read. Out: a new folder with crop/*.png and labels.csv (file, text,
kind, part, notes), one row a mark. Only decided numbers go out, and only with the mark that the reviewer looked at
or that was read as this very number: a wrong crop would teach a wrong reading.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Any

from pipelines.casebook.records import Decision, Outcome, PhotoRecord, Query, State, search_key
from pipelines.casebook.store import Casebook
from pipelines.export.pictures import png_bytes
from pipelines.review.pictures import find_quad, load_record
from reader.answer import CLOSE_ENDS, LINE_MARGIN
from reader.errors import PhotoError, SettingsError, one_line
from reader.geometry import crop_quad, grow_quad, quad_size
from reader.results import Photo, Quad

COLUMNS = ("file", "text", "kind", "part", "notes")
"""What tools/training and tools/benchmark read."""

PART = "train"
"""Reviewed marks are for training; a set to measure on must come from other instruments."""

HEIGHT_MAX_PX = 400
"""Larger figures are reduced to this height; smaller ones keep the photo's own pixels."""

LOOKED_AT = re.compile(r"\[mark (\d+), photo ([0-9a-f]{12})(?:, ([^\[\]]+))?\]$")
"""How steps.name_sight ends the reason of a decision."""


@dataclass(frozen=True)
class Example:
    """A decided mark and its photo."""

    photo: PhotoRecord
    mark: Mapping[str, Any]
    text: str


def export_training(book: Casebook, target: Path, photos: Path) -> tuple[int, Counter[str]]:
    """Write the training set into a new or empty folder; `photos` is what relative paths of photos count from.

    Returns the number of crops and, by reason, how many decided cases gave none. Raises SettingsError for a folder that
    has something in it, OSError where it cannot be written.
    """
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise SettingsError(f"{one_line(str(target))} is not empty; name a new folder, nothing is ever replaced")
    (target / "crop").mkdir(parents=True, exist_ok=True)
    rows: list[tuple[str, ...]] = []
    left_out: Counter[str] = Counter()
    for found in find_examples(book):
        if isinstance(found, str):
            left_out[found] += 1
            continue
        try:
            photo = load_record(found.photo, photos)
        except (PhotoError, ValueError):
            left_out["the photo is missing or has changed"] += 1
            continue
        quad = find_quad([found.mark], found.mark["id"])
        if quad is None:
            left_out["its mark has no area"] += 1
            continue
        name = f"crop/case-{found.photo.case}-{found.photo.sha256[:12]}-{len(rows):05d}.png"
        with (target / name).open("xb") as file:
            file.write(cut_crop(photo, quad))
        rows.append(_row(name, found))
    table = io.StringIO()
    writer = csv.writer(table, lineterminator="\n")
    writer.writerows([COLUMNS, *rows])
    with (target / "labels.csv").open("xb") as file:
        file.write(table.getvalue().encode("utf-8"))
    return len(rows), left_out


def find_examples(book: Casebook) -> Iterator[Example | str]:
    """Yield the decided marks, or why a decided case has none."""
    for _, photos in groupby(book.iterate_records(Query(state=State.DECIDED)), key=lambda photo: photo.case):
        case = list(photos)
        decision = case[0].decision
        if decision is None or decision.outcome is not Outcome.SERIAL or decision.text is None:
            yield "no number was decided"
            continue
        found = [example for photo in case for example in _match(photo, decision)]
        if not found:
            yield "it is not known which mark was decided"
        yield from found


def _match(photo: PhotoRecord, decision: Decision) -> Iterator[Example]:
    """Yield the marks of a photo that bear the decided number: the one looked at, and those read as it."""
    if photo.answer is None or decision.text is None:
        return
    looked = LOOKED_AT.search(decision.because)
    here = looked is not None and photo.sha256.startswith(looked[2]) and (looked[3] or "") == one_line(photo.part)
    for mark in photo.answer["marks"]:
        same = search_key(mark["text"]) == search_key(decision.text)
        if same or (here and looked is not None and mark["id"] == int(looked[1])):
            yield Example(photo, mark, decision.text)


def cut_crop(photo: Photo, quad: Quad) -> bytes:
    """Return a mark as PNG, with the margins that reader.answer.crop_region expects of a line that is cut already."""
    height = quad_size(quad)[1]
    wider = grow_quad(quad, CLOSE_ENDS * height, 0.0)
    crop, _ = crop_quad(photo.pixels, wider, max(1, min(round(height), HEIGHT_MAX_PX)), LINE_MARGIN)
    return png_bytes(crop)


def _row(name: str, found: Example) -> tuple[str, ...]:
    corners = " ".join(f"{x:g},{y:g}" for x, y in found.mark["quad"])
    read = one_line(found.mark["text"])
    where = f"; {one_line(found.photo.part)}" if found.photo.part else ""
    notes = f"crop; case={found.photo.case}; read={read}; quad={corners}; src={found.photo.sha256}{where}"
    return name, one_line(found.text), found.mark["surface"], PART, notes
