"""Renders photos without a serial: `python -m tools.benchmark.empties FOLDER --count 120 --seed 3914`.

Of the renderer's random scenes one in seven holds no serial: another mark (a model letter, a part's position, a year, a
patent, a word), several, or none. Those are picked out, the difficulties in turn, and rendered into a folder as
`python -m tools.renderer set` writes them. The k-th scene tried is made from seed * 100000 + k, so that a seed not used
for training, fitting or choosing gives photos that are held out. A run goes on where an earlier one stopped.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from pathlib import Path

import cv2

from tools.renderer.camera import jpeg
from tools.renderer.labels import COLUMNS, quads_json, truth_row, write_rows
from tools.renderer.random_scenes import LEVELS, random_spec
from tools.renderer.scene import render
from tools.renderer.sets import SET_QUALITY
from tools.renderer.spec import SceneSpec
from tools.tracer.sets import read_rows


def scenes(seed: int) -> Iterator[tuple[str, int, SceneSpec]]:
    """Yield difficulty, random seed and scene of every random scene without a serial, without end."""
    k = 0
    while True:
        for difficulty in LEVELS:
            number = seed * 100000 + k
            spec = random_spec(number, difficulty)
            if all(mark.kind != "serial" for mark in spec.marks):
                yield difficulty, number, spec
        k += 1


def write_empties(folder: Path, count: int, seed: int) -> None:
    """Render `count` photos without a serial and labels.csv with quads; what the folder holds already is kept."""
    folder.mkdir(parents=True, exist_ok=True)
    labels = folder / "labels.csv"
    columns = (*COLUMNS, "quads")
    rows = [[row[column] for column in columns] for row in read_rows(labels)] if labels.is_file() else []
    done = {row[0] for row in rows}
    for _, (difficulty, number, spec) in zip(range(count), scenes(seed), strict=False):
        file = f"{difficulty}_{number}.jpg"
        if file in done:
            continue
        pixels, truth = render(spec, number)
        (folder / file).write_bytes(jpeg(pixels, SET_QUALITY))
        rows.append([*truth_row(file, truth), quads_json(truth)])
        write_rows(labels, columns, rows)
        print(f"\r{len(rows)} of {count}", end="", file=sys.stderr)
    print(file=sys.stderr)


def main() -> None:
    """Render from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--count", type=int, default=120)
    parser.add_argument("--seed", type=int, required=True)
    options = parser.parse_args()
    cv2.setNumThreads(1)
    write_empties(options.folder, options.count, options.seed)


if __name__ == "__main__":
    main()
