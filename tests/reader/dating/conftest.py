"""Copies of the built-in tables that a test may break, and one maker's table made from rows."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from reader.dating.tables import DATA_FOLDER


class TableFolder:
    """A copy of the built-in tables in a folder of its own."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def rows(self, file: str) -> list[list[str]]:
        """All lines, header first, so that rows[n] is row n."""
        with (self.path / file).open(encoding="utf-8", newline="") as lines:
            return list(csv.reader(lines))

    def write(self, file: str, rows: list[list[str]]) -> None:
        with (self.path / file).open("w", encoding="utf-8", newline="") as lines:
            csv.writer(lines, lineterminator="\n").writerows(rows)

    def set_cell(self, file: str, row: int, column: str, value: str) -> None:
        rows = self.rows(file)
        rows[row][rows[0].index(column)] = value
        self.write(file, rows)

    def change_descriptor(self, change: Callable[[Any], object]) -> None:
        path = self.path / "datapackage.json"
        descriptor = json.loads(path.read_text(encoding="utf-8"))
        change(descriptor)
        path.write_text(json.dumps(descriptor), encoding="utf-8")


@pytest.fixture
def folder(tmp_path: Path) -> TableFolder:
    shutil.copytree(DATA_FOLDER, tmp_path / "data")
    return TableFolder(tmp_path / "data")
