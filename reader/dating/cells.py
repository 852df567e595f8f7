"""Reads the cells of one CSV file against the fields of its table, and collects everything that is wrong.

schema.py describes the tables and joins them. Row 1 is the first row below the header line; a quoted line end does not
count as a row. Values are those of Table Schema, version 1: string, integer, year and boolean.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from reader.errors import TableError, one_line

Cell = str | int | bool | None
Row = Mapping[str, Cell]

FILE_BYTES_MAX = 20_000_000
"""Largest file that is read, in bytes. A works' list of 100 years has a few hundred rows of about 100 bytes."""

ROWS_MAX = 5000
"""Most rows of a file. Every pair of numbers is held against each other; a works' list has a row or two a year."""

TEXT_LENGTH_MAX = 1000
"""Longest text in one cell, in characters: room for a source with its address and a note, not for a pasted page."""

DELIMITERS = (",", ";", "\t")
"""What may part the columns. Spreadsheets write a semicolon where the comma is the decimal sign."""

TRUE, FALSE = ("true", "True", "TRUE", "1"), ("false", "False", "FALSE", "0")

_INTEGER = re.compile(r"[+-]?[0-9]{1,18}")
_YEAR = re.compile(r"-?[0-9]{4,9}")
_FORMULA = re.compile(r"(?m)^[^\S\n]*[=+\-@＝＋－＠]")
"""What a spreadsheet may run as a formula when it opens the file (OWASP, "CSV Injection"), on any line of a cell."""
_HARMLESS = re.compile(r"[+-]?[0-9][0-9 .,/-]*")
"""A plain number or date is no formula whatever its sign."""


@dataclass(frozen=True)
class Field:
    """One column: its type and constraints. `enum` is empty and the others None where the descriptor sets none."""

    name: str
    type: str
    required: bool = False
    unique: bool = False
    enum: tuple[Cell, ...] = ()
    pattern: re.Pattern[str] | None = None
    minimum: int | None = None
    maximum: int | None = None
    max_length: int | None = None
    description: str = ""


@dataclass(frozen=True)
class ForeignKey:
    """A column whose values must stand in a column of another table of the same package."""

    field: str
    table: str
    column: str


@dataclass(frozen=True)
class Table:
    """One table with its rows, all cells cast to the columns' types and checked.

    `numbers` are the rows' numbers in the file: a row in which something is wrong is left out of `rows`, and row
    numbers jump there. `by_name`: columns may stand in any order, and optional ones may be missing; `passed_over` are
    columns that may stand there and are not read.
    """

    name: str
    path: Path
    fields: tuple[Field, ...]
    missing: frozenset[str] = frozenset({""})
    primary_key: tuple[str, ...] = ()
    foreign_keys: tuple[ForeignKey, ...] = ()
    delimiter: str = ","
    by_name: bool = False
    passed_over: frozenset[str] = frozenset()
    rows: tuple[Row, ...] = ()
    numbers: tuple[int, ...] = ()


def read_rows(table: Table, problems: list[TableError]) -> Table:
    """Return the table with the rows in which nothing is wrong; what is wrong is added to `problems`."""
    rows: list[Row] = []
    numbers: list[int] = []
    try:
        lines = _csv_lines(table.path, table.delimiter)
        columns = _read_header(next(lines, []), table)
        for number, cells in enumerate(lines, start=1):
            if number > ROWS_MAX:
                raise TableError(table.path, f"has more than {ROWS_MAX} rows; split it", row=number)
            before = len(problems)
            row = _read_row(cells, number, columns, table, problems)
            if len(problems) == before:
                rows.append(row)
                numbers.append(number)
    except TableError as problem:  # no row can be told any more
        problems.append(problem)
    table = replace(table, rows=tuple(rows), numbers=tuple(numbers))
    _check_unique(table, problems)
    return table


def find_delimiter(path: Path, names: Sequence[str]) -> str:
    """Return which of DELIMITERS parts the header line into most of the names; the comma where none does."""
    header = _read_bytes(path).decode("utf-8-sig", errors="replace").split("\n", 1)[0].rstrip("\r")
    return max(DELIMITERS, key=lambda sign: sum(cell.strip(' "') in names for cell in header.split(sign)))


def _csv_lines(path: Path, delimiter: str) -> Iterator[list[str]]:
    """Yield the header line and the rows as lists of text. A byte order mark, as spreadsheets write it, is dropped."""
    count = 0
    try:
        for cells in csv.reader(io.StringIO(_read_text(path), newline=""), delimiter=delimiter, strict=True):
            yield cells
            count += 1
    except csv.Error as problem:  # the header line has no row number
        raise TableError(path, f"is no CSV ({problem}); see RFC 4180 on quotes", row=count or None) from problem
    if not count:
        raise TableError(path, "is empty; the first line names the columns")


def _read_text(path: Path) -> str:
    data = _read_bytes(path)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        row = data.count(b"\n", 0, problem.start) or None
        raise TableError(path, "is not UTF-8 text; save it as UTF-8", row=row) from problem


def _read_bytes(path: Path) -> bytes:
    try:
        if path.stat().st_size > FILE_BYTES_MAX:
            raise TableError(path, f"has more than {FILE_BYTES_MAX // 1_000_000} million bytes; split it")
        return path.read_bytes()
    except OSError as problem:
        raise TableError(
            path, f"cannot be read ({problem.strerror}); look at the name and its permissions"
        ) from problem
    except ValueError as problem:  # a NUL in the name
        raise TableError(path, "is no file's name; look at the name") from problem


def _read_header(cells: list[str], table: Table) -> tuple[Field | None, ...]:
    """Return the field of every column of the file, None for a column that `by_name` passes over."""
    return _match_names(cells, table) if table.by_name else _match_order(cells, table)


def _match_order(cells: list[str], table: Table) -> tuple[Field, ...]:
    names = [field.name for field in table.fields]
    for place, name in enumerate(names):
        found = cells[place] if place < len(cells) else "nothing"
        if found != name:
            problem = f"the header has {one_line(found)[:60]!r} where {name!r} belongs; keep the descriptor's order"
            raise TableError(table.path, problem, column=name)
    if len(cells) > len(names):
        column = one_line(cells[len(names)])[:60]
        raise TableError(table.path, "the descriptor has no such column; take it out", column=column)
    return table.fields


def _match_names(cells: list[str], table: Table) -> tuple[Field | None, ...]:
    fields = {field.name: field for field in table.fields}
    names = [cell.strip() for cell in cells]
    for name in names:
        shown = one_line(name)[:60]
        if name not in fields and name not in table.passed_over:
            raise TableError(
                table.path, f"there is no column {shown!r}; the columns are {', '.join(fields)}", column=shown
            )
        if names.count(name) > 1:
            raise TableError(table.path, "the header names this column twice; take one out", column=shown)
    for name, field in fields.items():
        if field.required and name not in names:
            raise TableError(table.path, "the header does not have this column; add it", column=name)
    return tuple(fields.get(name) for name in names)


def _read_row(
    cells: list[str], number: int, columns: Sequence[Field | None], table: Table, problems: list[TableError]
) -> Row:
    row: dict[str, Cell] = {field.name: None for field in table.fields}
    if len(cells) != len(columns):
        place = min(len(cells), len(columns))
        column = columns[place].name if place < len(columns) and columns[place] else str(place + 1)  # type: ignore[union-attr]
        problem = f"the row has {len(cells)} cells where {len(columns)} belong; look for a missing comma or quote"
        problems.append(TableError(table.path, problem, row=number, column=column))
        return row
    for text, field in zip(cells, columns, strict=True):
        if field is None:
            continue
        try:
            row[field.name] = read_cell(text, field, table.missing)
        except ValueError as problem:
            problems.append(TableError(table.path, str(problem), row=number, column=field.name))
    return row


def read_cell(text: str, field: Field, missing: frozenset[str]) -> Cell:
    """Return the cell's value; a ValueError's text says what is wrong and what to do."""
    if text in missing or not text.strip():
        if field.required:
            raise ValueError("is empty; a value is required")
        return None
    value = cast(text, field.type)
    if field.enum and value not in field.enum:
        raise ValueError(f"{_shown(text)} is not allowed; use one of {', '.join(map(str, field.enum))}")
    if field.pattern and not field.pattern.fullmatch(text):  # XML Schema patterns always match the whole value
        meant = f": {one_line(field.description)}" if field.description else ""
        raise ValueError(f"{_shown(text)} does not have the form {field.pattern.pattern}; correct it{meant}")
    if field.minimum is not None and isinstance(value, int) and value < field.minimum:
        raise ValueError(f"{value} is below the smallest allowed value {field.minimum}; correct it")
    if field.maximum is not None and isinstance(value, int) and value > field.maximum:
        raise ValueError(f"{value} is above the largest allowed value {field.maximum}; correct it")
    if field.max_length is not None and len(text) > field.max_length:
        raise ValueError(f"has {len(text)} characters where at most {field.max_length} are allowed; shorten it")
    return value


def cast(text: str, kind: str) -> Cell:
    """Return the text as a value of the Table Schema type; a ValueError's text says what is wrong and what to do."""
    if kind == "integer":
        if not _INTEGER.fullmatch(text):
            raise ValueError(f"{_shown(text)} is no whole number; write figures only")
        return int(text)
    if kind == "year":
        if not _YEAR.fullmatch(text):
            raise ValueError(f"{_shown(text)} is no year; write four figures")
        return int(text)
    if kind == "boolean":
        if text not in TRUE + FALSE:
            raise ValueError(f"{_shown(text)} is neither true nor false; write one of the two")
        return text in TRUE
    return _plain_text(text)


def _plain_text(text: str) -> str:
    """Return a text that is safe to show in one line and to open in a spreadsheet, blanks and line ends made single."""
    if len(text) > TEXT_LENGTH_MAX:
        raise ValueError(f"has {len(text)} characters where at most {TEXT_LENGTH_MAX} are allowed; shorten it")
    if not text.isprintable() and not all(c.isprintable() or c.isspace() for c in text):
        raise ValueError(f"{_shown(text)} holds a control character; take it out")
    if _FORMULA.search(text) and not _HARMLESS.fullmatch(text.strip()):
        raise ValueError(f"{_shown(text)} begins like a formula, which a spreadsheet would run; put a word before it")
    return " ".join(text.split())


def _shown(text: str) -> str:
    return repr(one_line(text[:60]))


def _check_unique(table: Table, problems: list[TableError]) -> None:
    """Report a row that repeats another's primary key, or another's value in a column marked unique."""
    keys = [(field.name,) for field in table.fields if field.unique]
    for key in [table.primary_key, *keys] if table.primary_key else keys:
        seen: dict[tuple[Cell, ...], int] = {}
        for number, row in zip(table.numbers, table.rows, strict=True):
            values = tuple(row[name] for name in key)
            if None in values:
                continue
            if values in seen:
                problem = f"repeats row {seen[values]} ({', '.join(map(str, values))}); keep one of the two"
                problems.append(TableError(table.path, one_line(problem), row=number, column=key[-1]))
            seen.setdefault(values, number)
