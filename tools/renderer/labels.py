"""The truth as rows of labels.csv."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable, Sequence
from pathlib import Path

from tools.renderer.spec import Floats, Truth

COLUMNS = ("file", "text", "model", "part_mark", "kind", "maker", "notes")


def truth_row(file: str, truth: Truth) -> list[str]:
    """Return one row of labels.csv, without quads."""
    return [file, truth.text, truth.model, truth.part_mark, truth.kind, truth.maker, truth.notes]


def quads_json(truth: Truth) -> str:
    """Return every string with its kind, its quad and its characters' quads as JSON."""
    marks = []
    for mark in truth.marks:
        characters = [{"text": c.text, "quad": _corners(c.quad)} for c in mark.characters]
        marks.append({"text": mark.text, "kind": mark.kind, "quad": _corners(mark.quad), "characters": characters})
    return json.dumps(marks)


def _corners(quad: Floats) -> list[list[float]]:
    return [[round(float(v), 1) for v in corner] for corner in quad]


def write_rows(file: Path, columns: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Write a CSV with a header and newline ends."""
    with file.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(columns)
        writer.writerows(rows)
