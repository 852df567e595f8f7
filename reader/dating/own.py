"""The user's own tables: checked, kept in the user's data folder, joined to the built-in ones.

Each lies in a folder of its own, named by the user, as a Data Package of the same form as data/. What comes in is one
CSV file, or a Data Package of the user's (its own descriptor and ours are both checked). Nothing is ever replaced
without being told to.
"""

from __future__ import annotations

import contextlib
import csv
import json
import os
import re
import shutil
import tempfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from reader.dating.cells import Cell, Row, Table, find_delimiter, read_rows
from reader.dating.names import NameParts, plain_name, split_name
from reader.dating.schema import DESCRIPTOR, check_package, describe_package, describes_file
from reader.dating.series import MakerTable, Tables
from reader.dating.table_rows import RESOURCES, load_makers, read_makers
from reader.errors import SettingsError, TableError, one_line

FOLDER_VARIABLE = "RAKELIGHT_DATA"
"""Environment variable that names another data folder than the one the system gives."""

FORM = Path(__file__).parent / "data" / DESCRIPTOR
"""The descriptor that says what every table of makers looks like."""

NAME = re.compile(r"(?!(con|prn|aux|nul|com\d|lpt\d)$)[a-z0-9]+(-[a-z0-9]+)*")
"""What a table may be called: it is a folder's name on every system, Windows' device names left out."""

OPTIONAL = {"makers": ("invented",), "break-points": ("series", "basis", "found")}
"""Columns that a user may leave out."""

DEFAULTS: Mapping[str, Cell] = {"series": "all", "basis": "seen", "found": "yes"}
"""What stands for them: one series, numbers seen on instruments, in the source that the row names."""


@dataclass(frozen=True)
class Checked:
    """A user's file as read: the makers by id, the rows that made them, and everything that is wrong."""

    makers: Mapping[str, MakerTable]
    rows: Mapping[str, tuple[Row, ...]]
    problems: tuple[TableError, ...]


def own_folder() -> Path:
    """Return the folder that holds the user's tables; it need not exist."""
    chosen = os.environ.get(FOLDER_VARIABLE)
    if chosen:
        return Path(chosen) / "tables"
    from platformdirs import user_data_path

    return user_data_path("rakelight", appauthor=False) / "tables"


def own_names() -> tuple[str, ...]:
    """Return the names of the user's tables, in alphabetical order. Raises TableError for an unreadable folder."""
    folder = own_folder()
    try:
        return tuple(sorted(path.name for path in folder.iterdir() if NAME.fullmatch(path.name) and path.is_dir()))
    except (FileNotFoundError, NotADirectoryError):
        return ()
    except OSError as problem:
        raise TableError(folder, f"cannot be read ({problem.strerror}); look at its permissions") from problem


def own_stamp() -> tuple[object, ...]:
    """Return what changes whenever a file of the user's tables does."""
    stamp: list[object] = [str(own_folder())]
    for name in own_names():
        for path in sorted((own_folder() / name).iterdir()):
            with contextlib.suppress(OSError):
                status = path.stat()
                stamp.append((name, path.name, status.st_mtime_ns, status.st_size))
    return tuple(stamp)


def load_own(name: str) -> dict[str, MakerTable]:
    """Return the makers of one of the user's tables by id.

    Raises TableError for one that somebody broke by hand, with what to do.
    """
    try:
        makers = load_makers(own_folder() / name / DESCRIPTOR)
    except TableError as problem:
        remedy = f"mend it, or take the table out with `rakelight tables remove {name}`"
        raise TableError(problem.file, f"{problem.problem}; {remedy}", problem.row, problem.column) from problem
    return {id_: replace(table, origin=name) for id_, table in makers.items()}


def join_own(built_in: Tables) -> Tables:
    """Return the built-in tables with the user's own.

    The user's maker stands in place of a built-in one that it names, and answers to all names of that.
    """
    makers = dict(built_in.makers)
    for name in own_names():
        for table in load_own(name).values():
            same = same_maker(table, built_in)
            aliases = table.aliases
            if same is not None:
                makers.pop(same.maker.id, None)
                aliases += tuple(other for other in same.names if other not in table.names)
            id_ = table.maker.id if table.maker.id not in makers else f"{name}-{table.maker.id}"
            maker = replace(table.maker, id=id_)
            makers[id_] = replace(table, maker=maker, aliases=aliases, instead_of=same is not None)
    return Tables(MappingProxyType(makers))


def same_maker(table: MakerTable, tables: Tables) -> MakerTable | None:
    """Return the maker of `tables` that one of its own names makes the same, None where there is none."""
    parts = split_name(table.maker.name)
    return next((other for other in tables.makers.values() if parts in map(split_name, other.names)), None)


def check_file(path: Path) -> Checked:
    """Read a user's file and return what it says and everything that is wrong.

    `path` is a CSV file of break points, with the makers' names in the column 'maker'; or a Data Package: its folder,
    its descriptor, or a CSV file of it. A package may add a table 'makers', and then 'maker' is an id in that. Raises
    TableError where no row can be judged: no such file, or a broken descriptor.
    """
    if path.is_dir():
        return _check_package(path / DESCRIPTOR)
    if path.name == DESCRIPTOR:
        return _check_package(path)
    beside = path.parent / DESCRIPTOR
    if describes_file(beside, path.name):
        return _check_package(beside)
    form = _form("break-points")
    names = [field.name for field in form.fields]
    return _read(None, replace(form, path=path, delimiter=find_delimiter(path, names)), [])


def _form(name: str) -> Table:
    """Return what a table of the user's must look like: our own form, columns by name, some of them optional."""
    table = describe_package(FORM)[name]
    fields = tuple(
        replace(field, required=False, unique=False) if field.name in OPTIONAL[name] else field
        for field in table.fields
    )
    return replace(table, fields=fields, foreign_keys=(), by_name=True)


def _check_package(descriptor: Path) -> Checked:
    """Check a package against its own descriptor, then the same files against our form."""
    tables, problems = check_package(descriptor, RESOURCES)
    if "break-points" not in tables:
        raise TableError(descriptor, "describes no resource 'break-points'; add it")
    forms = {
        name: replace(
            _form(name),
            path=table.path,
            delimiter=table.delimiter,
            missing=table.missing | {""},
            passed_over=frozenset(field.name for field in table.fields),
        )
        for name, table in tables.items()
    }
    return _read(forms.get("makers"), forms["break-points"], problems)


def _read(makers: Table | None, points: Table, problems: list[TableError]) -> Checked:
    """Read the tables; without one of makers, make it of the names that stand in the break points."""
    if makers is not None:
        makers = read_rows(makers, problems)
    points = read_rows(points, problems)
    points = replace(points, rows=tuple(_filled(row) for row in points.rows))
    if makers is None:
        makers, points = _name_makers(points, problems)
    else:
        _check_ids(makers, points, problems)
    _check_found(points, problems)
    if not points.rows and not problems:
        problems.append(TableError(points.path, "has no rows below the header; add at least one"))
    found = read_makers(makers, points, problems)
    first = {(problem.file, problem.row, problem.column): problem for problem in reversed(problems)}
    in_order = sorted(first.values(), key=lambda problem: (problem.file, problem.row or 0))
    return Checked(found, {"makers": makers.rows, "break-points": points.rows}, tuple(in_order))


def _filled(row: Row) -> Row:
    return {name: DEFAULTS.get(name) if value is None else value for name, value in row.items()}


def _name_makers(points: Table, problems: list[TableError]) -> tuple[Table, Table]:
    """Return a table of makers from the names in the break points, and the break points with their ids."""
    ids: dict[NameParts, tuple[str, str]] = {}
    rows: list[Row] = []
    for number, row in zip(points.numbers, points.rows, strict=True):
        name = str(row["maker"])
        key = plain_name(name)
        id_, spelled = ids.setdefault(split_name(name), (_slug(key) or f"maker-{len(ids) + 1}", name))
        if "|" in name or not key:
            problem = f"{one_line(name)[:60]!r} is no maker's name; write it as on the instrument, without '|'"
            problems.append(TableError(points.path, problem, row=number, column="maker"))
        elif spelled != name:
            problem = f"{one_line(name)[:60]!r} stands as {spelled!r} above; spell the maker in one way"
            problems.append(TableError(points.path, problem, row=number, column="maker"))
        rows.append({**row, "maker": id_})
    form = _form("makers")
    source = f"named in the user's file {one_line(points.path.name)}"
    blank: dict[str, Cell] = {field.name: None for field in form.fields}
    made = tuple({**blank, "id": id_, "name": name, "invented": False, "source": source} for id_, name in ids.values())
    makers = replace(form, path=points.path, rows=made, numbers=tuple(range(1, len(made) + 1)))
    return makers, replace(points, rows=tuple(rows))


def _slug(key: str) -> str:
    return "-".join("".join(c if c.isascii() else " " for c in key).split())


def _check_ids(makers: Table, points: Table, problems: list[TableError]) -> None:
    """Report a break point whose maker the makers' table does not have, unless rows of that are wrong themselves."""
    if any(problem.file == str(makers.path) for problem in problems):
        return
    ids = {row["id"] for row in makers.rows}
    for number, row in zip(points.numbers, points.rows, strict=True):
        if row["maker"] not in ids:
            problem = f"{row['maker']!r} is no id of {makers.path.name}; add it there or correct it here"
            problems.append(TableError(points.path, one_line(problem), row=number, column="maker"))


def _check_found(points: Table, problems: list[TableError]) -> None:
    """Refuse 'invented' in a user's table: it is the mark of the demo's makers, whose years mean nothing."""
    for number, row in zip(points.numbers, points.rows, strict=True):
        if row["found"] == "invented":
            problem = "'invented' is kept for the demo; write yes or from-memory"
            problems.append(TableError(points.path, problem, row=number, column="found"))


def add_file(path: Path, name: str, built_in: Tables, *, replacing: bool) -> Checked:
    """Check a user's file and keep it under the name. Returns what was kept.

    Raises TableError for the first thing that is wrong (and how many more there are), SettingsError for a name that
    cannot be one, and, unless `replacing`, for a name that is taken and a maker that the built-in tables have. A maker
    that another of the user's tables has is always refused.
    """
    if not NAME.fullmatch(name):
        raise SettingsError(f"{one_line(name)!r} cannot name a table; use a to z, 0 to 9 and hyphens, with --name")
    checked = check_file(path)
    if checked.problems:
        first, more = checked.problems[0], len(checked.problems) - 1
        hint = f"; {more} more, see `rakelight tables check`" if more else ""
        raise TableError(first.file, first.problem + hint, first.row, first.column)
    if name in own_names() and not replacing:
        raise SettingsError(f"you have a table {name!r} already; add --replace to renew it, or --name for another name")
    _check_makers(checked.makers.values(), name, built_in, replacing=replacing)
    _store(checked, name, path)
    return checked


def _check_makers(makers: Iterable[MakerTable], name: str, built_in: Tables, *, replacing: bool) -> None:
    others = {other: load_own(other) for other in own_names() if other != name}
    for table in makers:
        shown = one_line(table.maker.name)
        for other, theirs in others.items():
            if same_maker(table, Tables(theirs)) is not None:
                remedy = f"take that out first (`rakelight tables remove {other}`), or put both in one file"
                raise SettingsError(f"{shown} is in your table {other!r} already; {remedy}")
        same = same_maker(table, built_in)
        if same is not None and not replacing:
            raise SettingsError(
                f"{shown} is among the makers that come with Rakelight ({same.maker.name}); "
                "add --replace to use your numbers instead of those"
            )


def remove_own(name: str) -> None:
    """Take one of the user's tables out. Raises SettingsError for a name that is none of them."""
    if name not in own_names():
        known = ", ".join(own_names()) or "none"
        raise SettingsError(f"you have no table {one_line(name)!r}; your tables: {known}")
    shutil.rmtree(own_folder() / name)


def _store(checked: Checked, name: str, path: Path) -> None:
    """Write the tables beside their place and move them there whole, so that a stopped run leaves the old ones."""
    folder = own_folder()
    folder.mkdir(parents=True, exist_ok=True)
    descriptor = _own_descriptor(name, path)
    with tempfile.TemporaryDirectory(prefix=".new-", dir=folder) as scratch:
        new, old = Path(scratch) / "new", Path(scratch) / "old"
        new.mkdir()
        (new / DESCRIPTOR).write_text(json.dumps(descriptor, ensure_ascii=False, indent=2) + "\n", encoding="utf-8")
        for resource in descriptor["resources"]:
            columns = [field["name"] for field in resource["schema"]["fields"]]
            _write_rows(new / resource["path"], columns, checked.rows[resource["name"]])
        if (folder / name).exists():
            (folder / name).rename(old)
        new.rename(folder / name)


def _own_descriptor(name: str, path: Path) -> dict[str, Any]:
    descriptor: dict[str, Any] = json.loads(FORM.read_text(encoding="utf-8"))
    source = {"title": f"{path.name}, added by the user"}
    descriptor.update(name=name, title=f"The user's table {name}", description="Added by the user.", sources=[source])
    descriptor.pop("licenses", None)
    descriptor.pop("version", None)
    return descriptor


def _write_rows(path: Path, columns: list[str], rows: Iterable[Row]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(columns)
        for row in rows:
            writer.writerow([_written(row.get(column)) for column in columns])


def _written(value: Cell) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return "" if value is None else str(value)
