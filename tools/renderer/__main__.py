"""Command line of the renderer: `python -m tools.renderer samples | sheets | large | set | torch-set`.

Run from the repository's root. `samples` writes sample_images/, `sheets` the contact sheets in this folder, `large` one
12-megapixel JPEG, `set` a folder of random photographs, `torch-set` one scene under several lights with its heights.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from tools.renderer.camera import jpeg
from tools.renderer.labels import COLUMNS, truth_row, write_rows
from tools.renderer.random_scenes import LEVELS
from tools.renderer.samples import all_samples, large_spec
from tools.renderer.scene import render
from tools.renderer.sets import SetOptions, write_set, write_torch_set
from tools.renderer.sheets import kind_sheet, sample_sheet, torch_sheet
from tools.renderer.spec import BASE_WIDTH_PX, KINDS

SAMPLES_FOLDER = Path(__file__).resolve().parents[2] / "sample_images"
SHEET_FILE = Path(__file__).with_name("contact_sheet.jpg")
SHEETS_FOLDER = Path(__file__).with_name("sheets")
SAMPLE_QUALITY = 82


def tell(text: object) -> None:
    """Say how far the work is, on standard error."""
    print(text, file=sys.stderr)


def write_samples(folder: Path) -> None:
    """Render sample_images/ and its labels.csv."""
    folder.mkdir(parents=True, exist_ok=True)
    rows = []
    for sample in all_samples():
        pixels, truth = render(sample.spec, sample.seed)
        (folder / sample.file).write_bytes(jpeg(pixels, SAMPLE_QUALITY))
        rows.append(truth_row(sample.file, truth))
        tell(sample.file)
    write_rows(folder / "labels.csv", COLUMNS, rows)


def write_sheets(names: list[str]) -> None:
    """Write the sheets named: kinds of surface, 'torch-set', 'samples'; all of them for none."""
    SHEETS_FOLDER.mkdir(exist_ok=True)
    for name in names or [*KINDS, "torch-set", "samples"]:
        if name == "samples":
            SHEET_FILE.write_bytes(sample_sheet([SAMPLES_FOLDER / sample.file for sample in all_samples()]))
        else:
            data = torch_sheet() if name == "torch-set" else kind_sheet(name)
            (SHEETS_FOLDER / f"{name}.jpg").write_bytes(data)
        tell(name)


def read_options() -> argparse.Namespace:
    """Read the command line."""
    parser = argparse.ArgumentParser(prog="python -m tools.renderer", description="Render demo and test photographs.")
    commands = parser.add_subparsers(dest="command", required=True)
    commands.add_parser("samples", help="write sample_images/ again")
    sheets = commands.add_parser("sheets", help="write the contact sheets of kinds, of a torch set and of the samples")
    sheets.add_argument("names", nargs="*", metavar="NAME", help=f"{', '.join(KINDS)}, torch-set or samples; none: all")
    large = commands.add_parser("large", help="write one 12-megapixel photograph")
    large.add_argument("file", type=Path)
    many = commands.add_parser("set", help="write a folder of random photographs with labels.csv")
    many.add_argument("--count", type=int, default=100)
    many.add_argument("--workers", type=int, default=1, help="processes that share the work")
    many.add_argument("--long-side", type=int, default=BASE_WIDTH_PX, help="width of the photographs in pixels")
    torch = commands.add_parser("torch-set", help="write one scene under several lights, its heights and labels.csv")
    torch.add_argument("--lights", type=int, default=6)
    for command, difficulty in ((many, "medium"), (torch, "easy")):
        command.add_argument("folder", type=Path)
        command.add_argument("--seed", type=int, default=1)
        command.add_argument("--difficulty", choices=tuple(LEVELS), default=difficulty)
        command.add_argument("--kind", choices=KINDS, default="", help="only this kind of surface")
    return parser.parse_args()


def main() -> None:
    """Do what the command line says."""
    options = read_options()
    if options.command == "samples":
        write_samples(SAMPLES_FOLDER)
    elif options.command == "sheets":
        write_sheets(options.names)
    elif options.command == "large":
        pixels, truth = render(large_spec(), 101)
        options.file.write_bytes(jpeg(pixels, SAMPLE_QUALITY))
        tell(f"{options.file}: {truth.text}")
    elif options.command == "torch-set":
        write_torch_set(options.folder, options.seed, options.lights, options.difficulty, options.kind)
        tell(f"{options.lights} photographs in {options.folder}")
    else:
        wanted = SetOptions(options.difficulty, options.kind, options.long_side)
        write_set(options.folder, options.count, options.seed, wanted, options.workers)
        tell(f"{options.count} photographs in {options.folder}")


if __name__ == "__main__":
    main()
