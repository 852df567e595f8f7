"""Records as tables: photos.csv and marks.csv (RFC 4180), with a Data Package descriptor (Frictionless, version 1).

In: Records. Out: three files. Cells are written by ../output/csv_rows.py, which disarms spreadsheet formulas in text
and leaves numbers alone; the descriptor says so, and says the type of every column. Serials are text: leading zeros
stay.
"""

from __future__ import annotations

import json
from typing import Any

from pipelines.export.outcome import Outcome, mark_kind, mark_text, outcome_of
from pipelines.export.record import Data, Record
from pipelines.export.target import Target
from pipelines.output.csv_rows import Cell, write_row
from reader.results import MarkKind

GUARD_NOTE = (
    "Text cells, or lines in them, that a spreadsheet would take for a formula begin with a single quote (OWASP, CSV "
    "Injection); take it off when you read the file by program. UTF-8 without a byte order mark."
)
EDTF_PATTERN = r"[0-9XYES~?%\[\]{}.,/-]+"
"""The signs of EDTF (ISO 8601-2, annex A), levels 0 to 2."""

_PROBABILITY = {"type": "number", "constraints": {"minimum": 0, "maximum": 1}}
_EDTF = {"type": "string", "constraints": {"pattern": EDTF_PATTERN}}
_KEY = {"type": "string", "constraints": {"required": True}}
_SHA256 = {"type": "string", "constraints": {"required": True, "pattern": "[0-9a-f]{64}"}}
_PIXELS = {"type": "integer", "constraints": {"required": True, "minimum": 1}}
_TEXT: Data = {"type": "string"}

PHOTO_FIELDS: dict[str, tuple[Data, str]] = {
    "path": (_KEY, "The photo, from the folder of all photos."),
    "part": (_TEXT, "Empty for the whole photo, else the page and print of a scan."),
    "sha256": (_SHA256, "SHA-256 of the photo's file."),
    "width": (_PIXELS, "Pixels of the upright photo."),
    "height": (_PIXELS, "Pixels of the upright photo."),
    "serial": (_TEXT, "The serial that holds: decided by a person, else as read. Text: leading zeros count."),
    "accepted": ({"type": "boolean"}, "Sure enough to use, by the reader's measure or by a person's decision."),
    "probability": (_PROBABILITY, "Of the reading being right; empty where a person decided."),
    "serial_read": (_TEXT, "The serial as the reader saw it, whatever was decided."),
    "model": (_TEXT, "The most probable model mark."),
    "year": ({"type": "year"}, "The most likely year; an estimate, no proof of age."),
    "edtf": (_EDTF, "The dating in EDTF (ISO 8601-2, annex A)."),
    "earliest": ({"type": "year"}, "First year of the interval."),
    "latest": ({"type": "year"}, "Last year of the interval."),
    "year_probability": (_PROBABILITY, "Probability that the year lies in the interval."),
    "maker": (_TEXT, "The maker's name."),
    "case": (_TEXT, "The case in the casebook."),
    "decision": (
        {"type": "string", "constraints": {"enum": ["serial", "not-a-serial", "cannot-be-read"]}},
        "Its kind.",
    ),
    "decided_by": (_TEXT, "Who decided."),
    "decided_when": (_TEXT, "When, in ISO 8601."),
    "because": (_TEXT, "Why, in the person's own words."),
    "advice": (_TEXT, "What would help to read it."),
}
"""The columns of photos.csv: type and meaning."""

_NUMBER: Data = {"type": "number", "constraints": {"required": True}}
_CORNERS = {
    f"{axis}{corner}": (_NUMBER, f"Corner {corner}, pixels of the upright photo; 1 is where reading begins.")
    for corner in (1, 2, 3, 4)
    for axis in ("x", "y")
}
MARK_FIELDS: dict[str, tuple[Data, str]] = {
    "path": (_KEY, "The photo."),
    "part": (_TEXT, "The part of the photo."),
    "mark": ({"type": "integer", "constraints": {"required": True}}, "The mark's id on the photo."),
    "text": (_TEXT, "What stands there."),
    "kind": (_KEY, "What trade rule, or a person, says that it is."),
    "probability": (_PROBABILITY, "Of the text being read right; empty where a person decided."),
    "surface": (_TEXT, "What it stands on and how it was made."),
    "why": (_TEXT, "The reason for the kind."),
    **_CORNERS,
}
"""The columns of marks.csv."""


class CsvExport:
    """Writes both tables row by row, and the descriptor when all rows are there."""

    def __init__(self, target: Target, folder: str = "") -> None:
        """Begin the tables in a folder of the target, which ends with a slash or is empty."""
        self._target, self._folder = target, folder
        self._photos, self._marks = target.begin(f"{folder}photos.csv"), target.begin(f"{folder}marks.csv")
        self._photos.write(write_row(list(PHOTO_FIELDS)).encode())
        self._marks.write(write_row(list(MARK_FIELDS)).encode())

    def add(self, record: Record) -> None:
        """Add a photo and its marks; all of their rows, or none."""
        outcome = outcome_of(record)
        photo = _row(photo_cells(record, outcome), PHOTO_FIELDS)
        marks = b"".join(_row(mark_cells(record, outcome, mark), MARK_FIELDS) for mark in record.marks)
        self._photos.write(photo)
        self._marks.write(marks)

    def require_whole(self) -> None:
        """Raise ExportError where a row could not be written."""
        self._photos.require_whole()
        self._marks.require_whole()

    def finish(self) -> None:
        """Put the tables and their descriptor in place."""
        self.require_whole()
        self._photos.commit()
        self._marks.commit()
        self._target.write(f"{self._folder}datapackage.json", json.dumps(describe(), indent=2).encode() + b"\n")

    def close(self) -> None:
        """Drop what was not put in place."""
        self._photos.drop()
        self._marks.drop()


def photo_cells(record: Record, outcome: Outcome) -> dict[str, Cell]:
    """Return the cells of a photo's row; columns that are not named stay empty."""
    read = record.answer["serial"]
    cells: dict[str, Cell] = {
        "path": record.relative,
        "part": record.part,
        "sha256": record.sha256,
        "width": record.width,
        "height": record.height,
        "serial": outcome.serial,
        "serial_read": read["text"] if read else "",
        "model": best_model(record),
        "maker": outcome.maker["name"] if outcome.maker else "",
        "case": record.case or "",
        "advice": " ".join(advice["text"] for advice in record.answer["advice"]),
    }
    if outcome.serial:
        cells["accepted"] = "true" if outcome.sure else "false"
    if outcome.probability is not None:
        cells["probability"] = outcome.probability
    if outcome.dating is not None:
        cells["year"], cells["edtf"] = outcome.dating["year"], outcome.dating["edtf"]
        cells["earliest"], cells["latest"] = outcome.dating["interval"]
        cells["year_probability"] = round(float(outcome.dating["probability"]), 4)
    if record.decision is not None:
        made = record.decision
        cells |= {"decision": made.kind.value, "decided_by": made.by, "decided_when": made.when}
        cells["because"] = made.because
    return cells


def best_model(record: Record) -> str:
    """Return the text of the most probable model mark, empty where there is none."""
    models = [mark for mark in record.marks if mark["kind"] == MarkKind.MODEL]
    return max(models, key=lambda mark: float(mark["probability"]))["text"] if models else ""


def mark_cells(record: Record, outcome: Outcome, mark: Data) -> dict[str, Cell]:
    """Return the cells of a mark's row."""
    text = mark_text(record, outcome, mark)
    cells: dict[str, Cell] = {
        "path": record.relative,
        "part": record.part,
        "mark": mark["id"],
        "text": text,
        "kind": mark_kind(record, outcome, mark),
        "probability": mark["probability"] if text == mark["text"] else "",
        "surface": mark["surface"],
        "why": mark["why"],
    }
    for number, (x, y) in enumerate(mark["quad"], 1):
        cells[f"x{number}"], cells[f"y{number}"] = x, y
    return cells


def describe() -> dict[str, Any]:
    """Return the Data Package descriptor (specs.frictionlessdata.io, version 1: tabular-data-package)."""
    key = ["path", "part"]
    return {
        "profile": "tabular-data-package",
        "name": "serial-numbers-in-photos",
        "title": "Serial numbers of keyboard instruments read from photos",
        "description": GUARD_NOTE,
        "resources": [
            _resource("photos", PHOTO_FIELDS, {"primaryKey": key}),
            _resource(
                "marks",
                MARK_FIELDS,
                {
                    "primaryKey": [*key, "mark"],
                    "foreignKeys": [{"fields": key, "reference": {"resource": "photos", "fields": key}}],
                },
            ),
        ],
    }


def _resource(name: str, fields: dict[str, tuple[Data, str]], keys: Data) -> dict[str, Any]:
    typed = [{"name": field, **kind, "description": says} for field, (kind, says) in fields.items()]
    return {
        "profile": "tabular-data-resource",
        "name": name,
        "path": f"{name}.csv",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "dialect": {"delimiter": ",", "quoteChar": '"', "doubleQuote": True, "lineTerminator": "\r\n", "header": True},
        "schema": {"fields": typed, **keys},
    }


def _row(cells: dict[str, Cell], fields: dict[str, tuple[Data, str]]) -> bytes:
    return write_row([cells.get(column, "") for column in fields]).encode("utf-8", "backslashreplace")
