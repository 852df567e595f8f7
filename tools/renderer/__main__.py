"""Command line of the renderer: `python -m tools.renderer samples | sheet | large FILE | set FOLDER`.

Run from the repository's root. `samples` writes sample_images/, `sheet` the contact sheet in this folder, `large` one
12-megapixel JPEG, and `set` a folder of random photographs with labels.csv.
"""

from __future__ import annotations

import argparse
import csv
import json
from pathlib import Path

import cv2
import numpy as np

from tools.renderer.camera import jpeg, open_jpeg
from tools.renderer.random_scenes import LEVELS
from tools.renderer.samples import all_samples, large_spec
from tools.renderer.scene import Truth, random_spec, render

COLUMNS = ("file", "text", "model", "part_mark", "kind", "maker", "notes")
SAMPLES_FOLDER = Path(__file__).resolve().parents[2] / "sample_images"
SHEET_FILE = Path(__file__).with_name("contact_sheet.jpg")
SAMPLE_QUALITY = 82
SHEET_TILE = (400, 300)
SET_QUALITY = 90


def truth_row(file: str, truth: Truth) -> list[str]:
    """Return one row of labels.csv, without quads."""
    return [file, truth.text, truth.model, truth.part_mark, truth.kind, truth.maker, truth.notes]


def quads_json(truth: Truth) -> str:
    """Return every string with its kind and quad as JSON."""
    marks = []
    for mark in truth.marks:
        quad = [[round(float(v), 1) for v in corner] for corner in mark.quad]
        marks.append({"text": mark.text, "kind": mark.kind, "quad": quad})
    return json.dumps(marks)


def write_rows(file: Path, columns: tuple[str, ...], rows: list[list[str]]) -> None:
    """Write a CSV with a header and newline ends."""
    with file.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(columns)
        writer.writerows(rows)


def write_samples(folder: Path) -> None:
    """Render sample_images/ and its labels.csv."""
    folder.mkdir(parents=True, exist_ok=True)
    rows = []
    for sample in all_samples():
        pixels, truth = render(sample.spec, sample.seed)
        (folder / sample.file).write_bytes(jpeg(pixels, SAMPLE_QUALITY))
        rows.append(truth_row(sample.file, truth))
        print(sample.file)
    write_rows(folder / "labels.csv", COLUMNS, rows)


def write_set(folder: Path, count: int, seed: int, difficulty: str) -> None:
    """Render `count` random photographs and labels.csv with quads; the k-th is made from seed * 100000 + k."""
    folder.mkdir(parents=True, exist_ok=True)
    rows = []
    for k in range(count):
        number = seed * 100000 + k
        pixels, truth = render(random_spec(number, difficulty), number)
        file = f"{difficulty}_{k:04d}.jpg"
        (folder / file).write_bytes(jpeg(pixels, SET_QUALITY))
        rows.append([*truth_row(file, truth), quads_json(truth)])
    write_rows(folder / "labels.csv", (*COLUMNS, "quads"), rows)
    print(f"{count} photographs in {folder}")


def write_sheet(file: Path, samples_folder: Path) -> None:
    """Write a contact sheet of the samples, four to a row, under 400 KB."""
    tiles = []
    for sample in all_samples():
        picture = open_jpeg((samples_folder / sample.file).read_bytes())
        tiles.append(cv2.resize(picture, SHEET_TILE, interpolation=cv2.INTER_AREA))
    while len(tiles) % 4:
        tiles.append(np.zeros_like(tiles[0]))
    sheet = np.vstack([np.hstack(tiles[k : k + 4]) for k in range(0, len(tiles), 4)]).astype(np.uint8)
    file.write_bytes(jpeg(sheet, 78))
    print(file)


def main() -> None:
    """Read the command line and do what it says."""
    parser = argparse.ArgumentParser(prog="python -m tools.renderer", description="Render demo and test photographs.")
    commands = parser.add_subparsers(dest="command", required=True)
    commands.add_parser("samples", help="write sample_images/ again")
    commands.add_parser("sheet", help="write the contact sheet of the samples")
    large = commands.add_parser("large", help="write one 12-megapixel photograph")
    large.add_argument("file", type=Path)
    many = commands.add_parser("set", help="write a folder of random photographs with labels.csv")
    many.add_argument("folder", type=Path)
    many.add_argument("--count", type=int, default=100)
    many.add_argument("--seed", type=int, default=1)
    many.add_argument("--difficulty", choices=tuple(LEVELS), default="medium")
    options = parser.parse_args()
    if options.command == "samples":
        write_samples(SAMPLES_FOLDER)
    elif options.command == "sheet":
        write_sheet(SHEET_FILE, SAMPLES_FOLDER)
    elif options.command == "large":
        pixels, truth = render(large_spec(), 101)
        options.file.write_bytes(jpeg(pixels, SAMPLE_QUALITY))
        print(f"{options.file}: {truth.text}")
    else:
        write_set(options.folder, options.count, options.seed, options.difficulty)


if __name__ == "__main__":
    main()
