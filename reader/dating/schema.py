"""Reads CSV files against the Data Package descriptor that lies beside them.

The part of Table Schema that our tables need (Frictionless Data Package and Table Schema, version 1): the types string,
integer, year and boolean; the constraints required, unique, enum, pattern, minimum and maximum; missingValues,
primaryKey and foreignKeys. Whatever else a descriptor asks for is refused rather than left unchecked. Rows go to
tables.py, which knows what they mean. Row 1 is the first row below the header line.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from reader.errors import TableError, one_line

Cell = str | int | bool | None
Row = Mapping[str, Cell]

DESCRIPTOR = "datapackage.json"
"""The descriptor's file name, fixed by the Data Package specification."""

_TYPES = ("string", "integer", "year", "boolean")
_CONSTRAINTS = {
    "string": {"required", "unique", "enum", "pattern"},
    "integer": {"required", "unique", "enum", "minimum", "maximum"},
    "year": {"required", "unique", "enum", "minimum", "maximum"},
    "boolean": {"required"},
}
_TRUE = ("true", "True", "TRUE", "1")
_FALSE = ("false", "False", "FALSE", "0")
_INTEGER = re.compile(r"[+-]?[0-9]{1,18}")
_YEAR = re.compile(r"-?[0-9]{4,9}")
_SAFE_PATH = re.compile(r"(?!/)(?!.*\.\.)[A-Za-z0-9_./-]+")


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


@dataclass(frozen=True)
class ForeignKey:
    """A column whose values must stand in a column of another table of the same package."""

    field: str
    table: str
    column: str


@dataclass(frozen=True)
class Table:
    """One table with its rows, all cells cast to the columns' types and checked; `rows[0]` is row 1."""

    name: str
    path: Path
    fields: tuple[Field, ...]
    missing: frozenset[str]
    primary_key: tuple[str, ...]
    foreign_keys: tuple[ForeignKey, ...]
    rows: tuple[Row, ...] = ()


def read_package(folder: Path) -> dict[str, Table]:
    """Read and check every table that the folder's datapackage.json describes.

    Returns the tables by name. Raises TableError with file, row and column for the first thing that breaks the
    descriptor, or for a descriptor that is broken itself.
    """
    path = folder / DESCRIPTOR
    descriptor = _read_json(path)
    tables: dict[str, Table] = {}
    for resource in _part(descriptor, "resources", list, path):
        described = _describe(resource, path)
        if described.name in tables:
            raise TableError(path, f"two resources are called {described.name!r}; rename one")
        tables[described.name] = _read_rows(described)
    if not tables:
        raise TableError(path, "no resources; describe at least one table")
    for table in tables.values():
        _check_foreign_keys(table, tables, path)
    return tables


def _read_json(path: Path) -> Any:
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except OSError as problem:
        raise TableError(path, f"cannot be read ({problem.strerror}); a table folder needs its descriptor") from problem
    except (UnicodeDecodeError, json.JSONDecodeError) as problem:
        raise TableError(path, f"is no JSON in UTF-8 ({problem}); correct it") from problem


def _part(parent: Any, name: str, kind: type, path: Path, default: Any = None) -> Any:
    """Return parent[name], which must be of the kind; a default makes it optional."""
    if not isinstance(parent, dict):
        raise TableError(path, f"{one_line(str(parent))[:40]!r} stands where an object with {name!r} belongs")
    value = parent.get(name, default)
    if not isinstance(value, kind):
        raise TableError(path, f"{name!r} is missing or no {kind.__name__}; see the Table Schema specification")
    return value


def _describe(resource: Any, path: Path) -> Table:
    """Return the table that a resource of the descriptor describes, still without rows."""
    name = _part(resource, "name", str, path)
    file = _part(resource, "path", str, path)
    if not _SAFE_PATH.fullmatch(file):
        raise TableError(path, f"path {file!r} of {name!r} must be relative and stay in the folder")
    if _part(resource, "dialect", dict, path, {}).get("delimiter", ",") != ",":
        raise TableError(path, f"{name!r} asks for another delimiter; only the comma is read")
    schema = _part(resource, "schema", dict, path)
    fields = tuple(_describe_field(field, path) for field in _part(schema, "fields", list, path))
    names = [field.name for field in fields]
    if not names or len(set(names)) != len(names):
        raise TableError(path, f"{name!r} needs fields, each with a name of its own")
    key = _names(schema.get("primaryKey", []))
    if not set(key) <= set(names):
        raise TableError(path, f"the primary key of {name!r} names a field that it does not have")
    fields = tuple(replace(field, required=field.required or field.name in key) for field in fields)
    foreign = tuple(_describe_foreign_key(entry, path) for entry in _part(schema, "foreignKeys", list, path, []))
    missing = frozenset(str(text) for text in _part(schema, "missingValues", list, path, [""]))
    return Table(name, path.parent / file, fields, missing, key, foreign)


def _names(value: Any) -> tuple[str, ...]:
    return (value,) if isinstance(value, str) else tuple(str(name) for name in value)


def _describe_field(field: Any, path: Path) -> Field:
    name = _part(field, "name", str, path)
    kind = _part(field, "type", str, path, "string")
    if kind not in _TYPES:
        raise TableError(path, f"type {kind!r} is not read; use one of {', '.join(_TYPES)}", column=name)
    rules = _part(field, "constraints", dict, path, {})
    unknown = sorted(set(rules) - _CONSTRAINTS[kind])
    if unknown:
        raise TableError(path, f"constraint {unknown[0]!r} is not checked for type {kind}; take it out", column=name)
    try:
        pattern = re.compile(rules["pattern"]) if "pattern" in rules else None
    except (re.error, TypeError) as problem:
        raise TableError(path, f"pattern is no regular expression ({problem}); correct it", column=name) from problem
    return Field(
        name,
        kind,
        required=bool(rules.get("required", False)),
        unique=bool(rules.get("unique", False)),
        enum=tuple(_bound(value, kind, name, path) for value in _part(rules, "enum", list, path, [])),
        pattern=pattern,
        minimum=_limit(rules, "minimum", kind, name, path),
        maximum=_limit(rules, "maximum", kind, name, path),
    )


def _limit(rules: Mapping[str, Any], rule: str, kind: str, column: str, path: Path) -> int | None:
    if rule not in rules:
        return None
    value = _bound(rules[rule], kind, column, path)
    return value if isinstance(value, int) else None


def _bound(value: Any, kind: str, column: str, path: Path) -> Cell:
    """Return a constraint's value cast to the column's type; it may be written as in JSON or as in the table."""
    try:
        return _cast(str(value), kind)
    except ValueError as problem:
        raise TableError(path, f"constraint: {problem}", column=column) from problem


def _describe_foreign_key(entry: Any, path: Path) -> ForeignKey:
    reference = _part(entry, "reference", dict, path)
    own, other = _names(entry.get("fields", [])), _names(reference.get("fields", []))
    if len(own) != 1 or len(other) != 1:
        raise TableError(path, "a foreign key of several columns is not read; use one column")
    return ForeignKey(own[0], _part(reference, "resource", str, path), other[0])


def _read_rows(table: Table) -> Table:
    """Return the table with its rows read and checked."""
    rows: list[Row] = []
    for number, cells in enumerate(_csv_lines(table.path)):
        if number == 0:
            _check_header(cells, table)
        else:
            rows.append(_read_row(cells, number, table))
    _check_unique(table, rows)
    return replace(table, rows=tuple(rows))


def _csv_lines(path: Path) -> Iterator[list[str]]:
    """Yield the header line and the rows as lists of text. A byte order mark, as spreadsheets write it, is dropped."""
    count = 0
    try:
        for cells in csv.reader(io.StringIO(_read_text(path), newline=""), strict=True):
            yield cells
            count += 1
    except csv.Error as problem:  # the header line has no row number
        raise TableError(path, f"is no CSV ({problem}); see RFC 4180 on quotes", row=count or None) from problem
    if not count:
        raise TableError(path, "is empty; the first line names the columns")


def _read_text(path: Path) -> str:
    try:
        data = path.read_bytes()
    except OSError as problem:
        raise TableError(path, f"cannot be read ({problem.strerror}); the descriptor names it") from problem
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        row = data.count(b"\n", 0, problem.start) or None
        raise TableError(path, "is not UTF-8 text; save it as UTF-8", row=row) from problem


def _check_header(cells: list[str], table: Table) -> None:
    names = [field.name for field in table.fields]
    for place, name in enumerate(names):
        found = cells[place] if place < len(cells) else "nothing"
        if found != name:
            problem = f"the header has {one_line(found)!r} where {name!r} belongs; keep the descriptor's order"
            raise TableError(table.path, problem, column=name)
    if len(cells) > len(names):
        raise TableError(
            table.path, "the descriptor has no such column; take it out", column=one_line(cells[len(names)])
        )


def _read_row(cells: list[str], number: int, table: Table) -> Row:
    if len(cells) != len(table.fields):
        place = min(len(cells), len(table.fields))
        column = table.fields[place].name if place < len(table.fields) else str(place + 1)
        problem = f"the row has {len(cells)} cells where {len(table.fields)} belong; look for a missing comma or quote"
        raise TableError(table.path, problem, row=number, column=column)
    row: dict[str, Cell] = {}
    for text, field in zip(cells, table.fields, strict=True):
        try:
            row[field.name] = _read_cell(text, field, table.missing)
        except ValueError as problem:
            raise TableError(table.path, str(problem), row=number, column=field.name) from problem
    return row


def _read_cell(text: str, field: Field, missing: frozenset[str]) -> Cell:
    """Return the cell's value; a ValueError's text says what is wrong and what to do."""
    if text in missing:
        if field.required:
            raise ValueError("is empty; a value is required")
        return None
    value = _cast(text, field.type)
    shown = one_line(text)[:60]
    if field.enum and value not in field.enum:
        raise ValueError(f"{shown!r} is not allowed; use one of {', '.join(map(str, field.enum))}")
    if field.pattern and not field.pattern.fullmatch(text):  # XML Schema patterns always match the whole value
        raise ValueError(f"{shown!r} does not have the form {field.pattern.pattern}")
    if field.minimum is not None and isinstance(value, int) and value < field.minimum:
        raise ValueError(f"{value} is below the smallest allowed value {field.minimum}")
    if field.maximum is not None and isinstance(value, int) and value > field.maximum:
        raise ValueError(f"{value} is above the largest allowed value {field.maximum}")
    return value


def _cast(text: str, kind: str) -> Cell:
    """Return the text as a value of the Table Schema type."""
    shown = one_line(text)[:60]
    if kind == "integer":
        if not _INTEGER.fullmatch(text):
            raise ValueError(f"{shown!r} is no whole number; write figures only")
        return int(text)
    if kind == "year":
        if not _YEAR.fullmatch(text):
            raise ValueError(f"{shown!r} is no year; write four figures")
        return int(text)
    if kind == "boolean":
        if text not in _TRUE + _FALSE:
            raise ValueError(f"{shown!r} is neither true nor false; write one of the two")
        return text in _TRUE
    return text


def _check_unique(table: Table, rows: list[Row]) -> None:
    """Refuse a row that repeats another's primary key, or another's value in a column marked unique."""
    keys = [(field.name,) for field in table.fields if field.unique]
    for key in [table.primary_key, *keys] if table.primary_key else keys:
        seen: dict[tuple[Cell, ...], int] = {}
        for number, row in enumerate(rows, start=1):
            values = tuple(row[name] for name in key)
            if None in values:
                continue
            if values in seen:
                problem = f"repeats row {seen[values]} ({', '.join(map(str, values))}); keep one of the two"
                raise TableError(table.path, one_line(problem), row=number, column=key[-1])
            seen[values] = number


def _check_foreign_keys(table: Table, tables: Mapping[str, Table], path: Path) -> None:
    for key in table.foreign_keys:
        other = tables.get(key.table)
        if other is None or key.column not in [field.name for field in other.fields]:
            raise TableError(path, f"a foreign key of {table.name!r} points to a table or column that is not there")
        if key.field not in [field.name for field in table.fields]:
            raise TableError(path, f"a foreign key of {table.name!r} starts from a column that is not there")
        known = {row[key.column] for row in other.rows}
        for number, row in enumerate(table.rows, start=1):
            if row[key.field] is not None and row[key.field] not in known:
                problem = f"{row[key.field]!r} is no {key.column} of {other.path.name}; add it there or correct it here"
                raise TableError(table.path, problem, row=number, column=key.field)
