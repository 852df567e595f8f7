"""Our table descriptors and their CSV files against the frictionless library (Data Package, Table Schema).

The library implements the published standard; 5.21.0 was used in November 2026. What it finds wrong our own reader
must find wrong too, in the same row and column, for the rules that both know.
"""

from __future__ import annotations

import csv
import shutil
import warnings
from pathlib import Path

import pytest

from reader.dating.own import add_file, check_file, own_folder
from reader.dating.tables import DATA_FOLDER, PUBLISHED_FOLDER, built_in_tables

frictionless = pytest.importorskip("frictionless", reason="frictionless is not installed; the extra 'test' has it")

FOLDERS = {"invented": DATA_FOLDER, "published": PUBLISHED_FOLDER}


def library_errors(folder: Path) -> list[tuple[int | None, str | None, str]]:
    """Return row (1 = first below the header), column and kind of every error that the library finds."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own use of older libraries
        report = frictionless.Package(str(folder / "datapackage.json")).validate()
    errors = []
    for row, column, kind in report.flatten(["rowNumber", "fieldName", "type"]):
        errors.append((row - 1 if row else None, column, kind))
    return errors


@pytest.mark.parametrize("name", FOLDERS)
def test_the_built_in_packages_are_valid(name: str) -> None:
    assert library_errors(FOLDERS[name]) == []


def test_what_a_user_added_is_kept_as_a_valid_package(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text(
        'source;serial;maker;year;year_kind;note\nbill, of sale;50;Oakhanger & Söhne;1890;sold;"two\nlines"\n',
        encoding="utf-8",
    )
    add_file(path, "mine", built_in_tables(), replacing=False)
    assert library_errors(own_folder() / "mine") == []
    with (own_folder() / "mine" / "break_points.csv").open(encoding="utf-8", newline="") as file:
        (row,) = csv.DictReader(file)
    assert (row["source"], row["note"], row["basis"]) == ("bill, of sale", "two lines", "seen")


BROKEN = [
    (3, "serial", "39x0"),
    (3, "serial", ""),
    (1, "serial", "0"),
    (4, "year", "59"),
    (4, "year", "1659"),
    (4, "year", "2101"),
    (5, "year_kind", "made"),
    (5, "basis", "start"),
    (6, "found", "maybe"),
    (7, "source", ""),
    (8, "series", "Grand Pianos"),
    (8, "form", "harp"),
]


@pytest.mark.parametrize(("row", "column", "value"), BROKEN)
def test_a_wrong_cell_is_wrong_for_both(tmp_path: Path, row: int, column: str, value: str) -> None:
    folder = tmp_path / "data"
    shutil.copytree(PUBLISHED_FOLDER, folder)
    path = folder / "break_points.csv"
    with path.open(encoding="utf-8", newline="") as file:
        lines = list(csv.reader(file))
    lines[row][lines[0].index(column)] = value
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows(lines)
    theirs = {(place, name) for place, name, _ in library_errors(folder)}
    ours = {(problem.row, problem.column) for problem in check_file(folder).problems}
    assert (row, column) in theirs
    assert (row, column) in ours
