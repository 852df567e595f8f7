"""Reads CSV files against the Data Package descriptor that lies beside them.

The part of Table Schema that our tables need (Frictionless Data Package and Table Schema, version 1): the types string,
integer, year and boolean; the constraints required, unique, enum, pattern, minimum, maximum and maxLength;
missingValues, primaryKey and foreignKeys. Whatever else a descriptor asks for is refused rather than left unchecked.
cells.py reads the rows; they go to table_rows.py, which knows what they mean.
"""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from reader.dating.cells import DELIMITERS, Cell, Field, ForeignKey, Row, Table, cast, read_rows
from reader.errors import TableError, one_line

__all__ = [
    "DESCRIPTOR",
    "Cell",
    "Field",
    "ForeignKey",
    "Row",
    "Table",
    "check_package",
    "describe_package",
    "describes_file",
    "read_package",
]

DESCRIPTOR = "datapackage.json"
"""The descriptor's file name, fixed by the Data Package specification."""

_TYPES = ("string", "integer", "year", "boolean")
_CONSTRAINTS = {
    "string": {"required", "unique", "enum", "pattern", "maxLength"},
    "integer": {"required", "unique", "enum", "minimum", "maximum"},
    "year": {"required", "unique", "enum", "minimum", "maximum"},
    "boolean": {"required"},
}
_SAFE_PATH = re.compile(r"(?!/)(?!.*\.\.)[A-Za-z0-9_./-]+")


def read_package(folder: Path, only: Collection[str] | None = None) -> dict[str, Table]:
    """Read and check the tables that the folder's datapackage.json describes, or `only` those of these names.

    Returns the tables by name. Raises TableError with file, row and column for the first thing that breaks the
    descriptor, or for a descriptor that is broken itself.
    """
    tables, problems = check_package(folder / DESCRIPTOR, only)
    if problems:
        raise problems[0]
    return tables


def check_package(path: Path, only: Collection[str] | None = None) -> tuple[dict[str, Table], list[TableError]]:
    """Read the tables of a descriptor file as read_package does, and return with them everything that is wrong.

    The tables hold the rows in which nothing is wrong. Raises TableError for a broken descriptor, with which no row
    can be judged.
    """
    described = describe_package(path)
    problems: list[TableError] = []
    tables = {name: read_rows(table, problems) for name, table in described.items() if only is None or name in only}
    for table in tables.values():
        left_out = described.keys() - tables.keys()
        keys = tuple(key for key in table.foreign_keys if key.table not in left_out)
        _check_foreign_keys(replace(table, foreign_keys=keys), tables, path, problems)
    return tables, problems


def describe_package(path: Path) -> dict[str, Table]:
    """Return the tables that a descriptor file describes, by name, still without rows. Raises TableError."""
    descriptor = _read_json(path)
    tables: dict[str, Table] = {}
    for resource in _part(descriptor, "resources", list, path):
        described = _describe(resource, path)
        if described.name in tables:
            raise TableError(path, f"two resources are called {described.name!r}; rename one")
        tables[described.name] = described
    if not tables:
        raise TableError(path, "no resources; describe at least one table")
    return tables


def describes_file(path: Path, file: str) -> bool:
    """Whether there is a descriptor at `path` that names the file, however broken it may be otherwise."""
    try:
        resources = _part(_read_json(path), "resources", list, path)
    except TableError:
        return False
    return any(isinstance(resource, dict) and resource.get("path") == file for resource in resources)


def _read_json(path: Path) -> Any:
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except OSError as problem:
        raise TableError(path, f"cannot be read ({problem.strerror}); a table folder needs its descriptor") from problem
    except (ValueError, RecursionError) as problem:  # no UTF-8, no JSON, or nested without end
        raise TableError(path, f"is no JSON in UTF-8 ({one_line(str(problem))}); correct it") from problem


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
    delimiter = _part(resource, "dialect", dict, path, {}).get("delimiter", ",")
    if delimiter not in DELIMITERS:
        raise TableError(path, f"{name!r} asks for another delimiter; the comma, semicolon and tab are read")
    if str(_part(resource, "encoding", str, path, "utf-8")).lower().replace("-", "") != "utf8":
        raise TableError(path, f"{name!r} asks for another encoding; only UTF-8 is read")
    schema = _part(resource, "schema", dict, path)
    fields = tuple(_describe_field(field, path) for field in _part(schema, "fields", list, path))
    names = [field.name for field in fields]
    if not names or len(set(names)) != len(names):
        raise TableError(path, f"{name!r} needs fields, each with a name of its own")
    key = _names(schema.get("primaryKey", []), path)
    if not set(key) <= set(names):
        raise TableError(path, f"the primary key of {name!r} names a field that it does not have")
    fields = tuple(replace(field, required=field.required or field.name in key) for field in fields)
    foreign = tuple(_describe_foreign_key(entry, path) for entry in _part(schema, "foreignKeys", list, path, []))
    missing = frozenset(str(text) for text in _part(schema, "missingValues", list, path, [""]))
    return Table(name, path.parent / file, fields, missing, key, foreign, delimiter)


def _names(value: Any, path: Path) -> tuple[str, ...]:
    """Return the field names of a key, which may be one text or a list of them."""
    names = [value] if isinstance(value, str) else value
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        raise TableError(path, f"{one_line(str(value))[:40]!r} stands where field names belong")
    return tuple(names)


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
        max_length=_limit(rules, "maxLength", "integer", name, path),
        description=_part(field, "description", str, path, ""),
    )


def _limit(rules: Mapping[str, Any], rule: str, kind: str, column: str, path: Path) -> int | None:
    if rule not in rules:
        return None
    value = _bound(rules[rule], kind, column, path)
    return value if isinstance(value, int) else None


def _bound(value: Any, kind: str, column: str, path: Path) -> Cell:
    """Return a constraint's value cast to the column's type; it may be written as in JSON or as in the table."""
    try:
        return cast(str(value), kind)
    except ValueError as problem:
        raise TableError(path, f"constraint: {problem}", column=column) from problem


def _describe_foreign_key(entry: Any, path: Path) -> ForeignKey:
    reference = _part(entry, "reference", dict, path)
    own, other = _names(entry.get("fields", []), path), _names(reference.get("fields", []), path)
    if len(own) != 1 or len(other) != 1:
        raise TableError(path, "a foreign key of several columns is not read; use one column")
    return ForeignKey(own[0], _part(reference, "resource", str, path), other[0])


def _check_foreign_keys(table: Table, tables: Mapping[str, Table], path: Path, problems: list[TableError]) -> None:
    for key in table.foreign_keys:
        other = tables.get(key.table)
        if other is None or key.column not in [field.name for field in other.fields]:
            raise TableError(path, f"a foreign key of {table.name!r} points to a table or column that is not there")
        if key.field not in [field.name for field in table.fields]:
            raise TableError(path, f"a foreign key of {table.name!r} starts from a column that is not there")
        if any(problem.file == str(other.path) for problem in problems):
            continue  # its wrong rows are left out, so what is missing there cannot be told
        known = {row[key.column] for row in other.rows}
        for number, row in zip(table.numbers, table.rows, strict=True):
            if row[key.field] is not None and row[key.field] not in known:
                problem = f"{row[key.field]!r} is no {key.column} of {other.path.name}; add it there or correct it here"
                problems.append(TableError(table.path, one_line(problem), row=number, column=key.field))
