"""Answers as a table: RFC 4180 CSV (lines end in CR LF), UTF-8 without a byte order mark, one row a photo.

Takes an Answer or an error; the text goes to stdout or into a file. Cells that a spreadsheet would take for a formula
get a single quote before them (OWASP, "CSV Injection"); the number cells (probability, year, earliest, latest,
year_probability) never do. Serials are text: leading zeros stay.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from pathlib import Path

from reader.results import Answer, MarkKind

COLUMNS = (
    "path",
    "sha256",
    "serial",
    "accepted",
    "probability",
    "model",
    "year",
    "edtf",
    "earliest",
    "latest",
    "year_probability",
    "maker",
    "advice",
    "error",
)

_FORMULA = re.compile(r"^(?=[\t\r])|(?:^|(?<=[\r\n]))(?=[^\S\r\n]*[=+\-@\t＝＋－＠])")
"""Where a cell or a line in a cell begins with one of OWASP's characters, blanks before it or not, or with a full-width
twin of one; at a cell's very start the carriage return counts too."""

Cell = str | int | float
"""A cell: text, which is guarded, or a number, which is not."""


def write_header() -> str:
    """Return the header row."""
    return write_row(COLUMNS)


def write_answer_row(answer: Answer) -> str:
    """Return an answer's row. Doubtful serials are in it too: look at `accepted`."""
    cells: dict[str, Cell] = {
        "path": answer.path,
        "sha256": answer.sha256,
        "model": best_model(answer),
        "maker": answer.maker.name if answer.maker else "",
        "advice": " ".join(advice.text for advice in answer.advice),
    }
    if answer.serial is not None:
        cells["serial"] = answer.serial.text
        cells["accepted"] = "true" if answer.serial.accepted else "false"
        cells["probability"] = round(float(answer.serial.probability), 4)
    if answer.dating is not None:
        cells["year"] = int(answer.dating.year)
        cells["edtf"] = answer.dating.edtf
        cells["earliest"], cells["latest"] = map(int, answer.dating.interval)
        cells["year_probability"] = round(float(answer.dating.probability), 4)
    return write_row([cells.get(column, "") for column in COLUMNS])


def write_error_row(path: Path | str, error: str) -> str:
    """Return the row of a file that is no readable photo: its path and the error."""
    cells = {"path": str(path), "error": error}
    return write_row([cells.get(column, "") for column in COLUMNS])


def best_model(answer: Answer) -> str:
    """Return the text of the most probable model mark, empty where there is none."""
    models = [mark for mark in answer.marks if mark.kind == MarkKind.MODEL]
    return max(models, key=lambda mark: mark.probability).text if models else ""


def write_row(cells: Sequence[Cell]) -> str:
    """Return one row with its CR LF, text cells guarded."""
    row = io.StringIO()
    csv.writer(row, lineterminator="\r\n").writerow([guard(c) if isinstance(c, str) else c for c in cells])
    return row.getvalue()


def guard(text: str) -> str:
    """Return the text with a single quote wherever a spreadsheet would see the start of a formula."""
    return _FORMULA.sub("'", text)
