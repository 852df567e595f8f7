"""Command line of the slow renderer: `python -m tools.tracer set FOLDER | crops TARGET SET... | measure CROPS...`.

Run from the repository's root. Only `set` needs Blender's module; `set --fast` draws the same scenes by tools.renderer.
"""

from __future__ import annotations

import argparse
import sys
import time
from functools import partial
from pathlib import Path

import cv2

from tools.renderer.random_scenes import LEVELS
from tools.tracer.sets import Renderer, cut_crops, write_set

INSTALL = "bpy, Blender's Python module, is missing: pip install bpy (in an environment of Python 3.11 of its own)"


def main() -> int:
    """Read the command line and do what it says; the exit status is 1 without Blender's module."""
    parser = argparse.ArgumentParser(prog="python -m tools.tracer", description="Path-traced scenes for validation.")
    commands = parser.add_subparsers(dest="command", required=True)
    many = commands.add_parser("set", help="write a folder of scenes with labels.csv, going on where it stopped")
    many.add_argument("folder", type=Path)
    many.add_argument("--count", type=int, default=60)
    many.add_argument("--seed", type=int, default=1)
    many.add_argument("--difficulty", choices=tuple(LEVELS), default="medium")
    many.add_argument("--minutes", type=float, default=0.0, help="begin no further scene after so many minutes")
    many.add_argument("--samples", type=int, default=3, help="paths to a pixel")
    many.add_argument("--fast", action="store_true", help="the same scenes by tools.renderer, for comparing")
    crops = commands.add_parser("crops", help="cut the serials' lines out of sets")
    crops.add_argument("target", type=Path)
    crops.add_argument("sets", type=Path, nargs="+")
    figures = commands.add_parser("measure", help="exact match of the reader on folders of line crops, as a table")
    figures.add_argument("crops", type=Path, nargs="+")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    if options.command == "crops":
        print(f"{cut_crops(options.sets, options.target)} crops in {options.target}", file=sys.stderr)
        return 0
    if options.command == "measure":
        from tools.tracer.measure import table

        print(table(options.crops))
        return 0
    renderer = _renderer(options.fast, options.samples)
    if renderer is None:
        print(INSTALL, file=sys.stderr)
        return 1
    until = time.time() + 60 * options.minutes if options.minutes else 0.0
    held = write_set(options.folder, options.count, options.seed, options.difficulty, renderer, until=until)
    print(f"{held} scenes in {options.folder}", file=sys.stderr)
    return 0


def _renderer(fast: bool, samples: int) -> Renderer | None:
    """Return the renderer, or None where Blender's module cannot be imported."""
    if fast:
        from tools.renderer.scene import render as draw

        return draw
    try:
        from tools.tracer.stage import render as trace
    except ModuleNotFoundError as error:
        if error.name not in ("bpy", "mathutils"):
            raise
        return None
    return partial(trace, samples=samples)


if __name__ == "__main__":
    sys.exit(main())
