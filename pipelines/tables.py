"""`rakelight tables`: what the makers' tables know, and the user's own tables: check, add, remove.

Words come from the command line, tables from reader/dating. Nothing that the user has is replaced without --replace.
"""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from reader.errors import TableError, one_line

if TYPE_CHECKING:
    from reader.dating.series import MakerTable, Series

COLUMNS = 100
"""Width of the text, in characters."""

SOURCES_SHOWN = 3
"""Sources of a series that the text names; JSON has them all."""

STATUS_WRONG = 1


@click.group(invoke_without_command=True)
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="Form of the output.",
)
@click.option("--maker", "name", metavar="NAME", help="Only this maker.")
@click.pass_context
def tables(ctx: click.Context, form: str, name: str | None) -> int:
    """List the known makers' tables, and keep your own.

    \b
    Examples:
        rakelight tables
        rakelight tables --maker "Skelmere & Rook"
        rakelight tables --format json > makers.json
        rakelight tables check my-list.csv
        rakelight tables add my-list.csv

    A table of your own is a CSV file in UTF-8 with the columns maker, series, serial, year, year_kind, basis, source
    (and, if you like, found, note, form, place, instrument, year_from, year_to), or a Data Package with such a file.
    """  # noqa: D301 (click's \b keeps the lines)
    if ctx.invoked_subcommand is not None:
        return 0
    makers, broken = _load(name)
    if form == "json":
        for table in makers:
            click.echo(json.dumps(_maker_object(table), ensure_ascii=False))
    else:
        for table in makers:
            click.echo("\n".join(_maker_lines(table)))
        click.echo(_sum_up(makers))
    for problem in broken:
        click.echo(f"rakelight: {one_line(str(problem))}", err=True)
    return STATUS_WRONG if broken else 0


@tables.command()
@click.argument("file", type=click.Path(path_type=Path))
def check(file: Path) -> int:
    """Say everything that is wrong with a table of your own, each with its file, row and column.

    FILE is a CSV file or a Data Package (datapackage.json or its folder). Row 1 is the first below the header. Exit
    status 0 when nothing is wrong, else 1.
    """
    from reader.dating.own import check_file, same_maker
    from reader.dating.tables import built_in_tables

    checked = check_file(file)
    for problem in checked.problems:
        click.echo(one_line(str(problem)))
    if checked.problems:
        count = len(checked.problems)
        click.echo(f"rakelight: {count} thing{'s' if count > 1 else ''} wrong; nothing was added", err=True)
        return STATUS_WRONG
    for table in checked.makers.values():
        click.echo("\n".join(_maker_lines(table)))
        for note in _notes(table, same_maker(table, built_in_tables())):
            click.echo(f"  note: {note}")
    click.echo("rakelight: nothing is wrong; `rakelight tables add` keeps it", err=True)
    return 0


@tables.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--name", metavar="NAME", help="Name to keep it under (a to z, 0 to 9, hyphens); else made of FILE's.")
@click.option("--replace", "replacing", is_flag=True, help="Put it in place of what is there under the name or maker.")
def add(file: Path, name: str | None, replacing: bool) -> int:
    """Check a table of your own and keep it, so that every dating uses it.

    It is copied into your data folder; FILE stays as it is. A maker that comes with Rakelight is set aside for yours
    only with --replace, and `rakelight tables remove` brings it back.
    """
    from reader.dating.own import add_file, own_folder, same_maker
    from reader.dating.tables import built_in_tables

    kept_as = name if name is not None else _name_of(file)
    checked = add_file(file, kept_as, built_in_tables(), replacing=replacing)
    click.echo(f"added {kept_as} in {one_line(str(own_folder() / kept_as))}")
    for table in checked.makers.values():
        click.echo("\n".join(_maker_lines(replace(table, origin=kept_as))))
        for note in _notes(table, same_maker(table, built_in_tables())):
            click.echo(f"  note: {note}")
    return 0


@tables.command()
@click.argument("name")
def remove(name: str) -> int:
    """Take a table of your own out. Tables that come with Rakelight cannot be taken out."""
    from reader.dating.own import remove_own

    remove_own(name)
    click.echo(f"removed {name}")
    return 0


def _load(name: str | None) -> tuple[list[MakerTable], list[TableError]]:
    """Return the makers in use, or the one of the name, and what is wrong with tables of the user's."""
    from reader.dating.makers import find_maker
    from reader.dating.own import load_own, own_names
    from reader.dating.series import Tables
    from reader.dating.tables import built_in_tables, load_tables

    broken = []
    for own in own_names():
        try:
            load_own(own)
        except TableError as problem:
            broken.append(problem)
    known: Tables = built_in_tables() if broken else load_tables()
    if name is not None:
        return [known.makers[find_maker(name, known).id]], broken
    return list(known.makers.values()), broken


def _name_of(file: Path) -> str:
    """Return a table's name made of its file's, or of its folder's for a Data Package."""
    path = file.resolve()
    stem = path.name if path.is_dir() else path.parent.name if path.name == "datapackage.json" else path.stem
    return "-".join(re.findall("[a-z0-9]+", stem.lower())) or "mine"


def _maker_lines(table: MakerTable) -> Iterator[str]:
    place = f", {one_line(table.maker.place)}" if table.maker.place else ""
    origin = ""
    if table.origin:
        instead = ", used instead of the one that comes with Rakelight" if table.instead_of else ""
        origin = f" [your table {table.origin}{instead}]"
    yield f"{one_line(table.maker.name)}{place}{origin}"
    others = [name for name in table.names[1:] if name != table.maker.name]
    if others:
        yield _wrapped(f"also: {'; '.join(map(one_line, others))}", "  ")
    for series in table.series:
        yield _wrapped(_series_line(series), "  ")
        yield _wrapped(_sources_line(series), "    ")


def _series_line(series: Series) -> str:
    points = (*series.points, *series.limits)
    low, high = min(points, key=lambda p: p.serial), max(points, key=lambda p: p.serial)
    years = [point.year for point in points]
    count = f"{len(points)} point{'s' if len(points) > 1 else ''}"
    span = f"no. {low.serial} to {high.serial}" if low is not high else f"no. {low.serial}"
    when = f"{min(years)} to {max(years)}" if min(years) != max(years) else f"{years[0]}"
    kind = "single numbers only" if series.sparse else "works' list"
    return f"{series.name}: {span}, {when}, {count}, {kind}"


def _sources_line(series: Series) -> str:
    points = (*series.points, *series.limits)
    remembered = [point.found == "from-memory" for point in points]
    found = "from memory" if all(remembered) else "sources, partly from memory" if any(remembered) else "sources"
    sources = list(dict.fromkeys(one_line(point.source) for point in points))
    shown = "; ".join(sources[:SOURCES_SHOWN])
    more = f"; and {len(sources) - SOURCES_SHOWN} more" if len(sources) > SOURCES_SHOWN else ""
    return f"{found}: {shown}{more}"


def _notes(table: MakerTable, same: MakerTable | None) -> Iterator[str]:
    """Yield what is allowed and yet worth knowing about a maker of the user's."""
    if same is not None:
        yield f"{one_line(same.maker.name)} comes with Rakelight too; yours is used instead"
    for series in table.series:
        for low, high in series.contradicting:
            yield (
                f"{series.name}: {low.serial} ({low.year}) and {high.serial} ({high.year}) contradict each other; "
                "both are kept, and years near them get wider"
            )
        if series.sparse:
            yield f"{series.name}: single numbers only, so years come with wide intervals"


def _sum_up(makers: list[MakerTable]) -> str:
    points = sum(len(series.points) + len(series.limits) for table in makers for series in table.series)
    invented = sum(table.maker.invented for table in makers)
    own = sum(bool(table.origin) for table in makers)
    return f"{len(makers)} makers, {points} points; {invented} makers are invented for the demo, {own} are your own"


def _wrapped(text: str, indent: str) -> str:
    return textwrap.fill(
        text,
        COLUMNS,
        initial_indent=indent,
        subsequent_indent=indent + "  ",
        break_long_words=False,
        break_on_hyphens=False,
    )


def _maker_object(table: MakerTable) -> dict[str, Any]:
    return {
        "id": table.maker.id,
        "name": table.maker.name,
        "aliases": list(table.aliases),
        "former": list(table.former),
        "later": list(table.later),
        "place": table.maker.place,
        "invented": table.maker.invented,
        "origin": table.origin or None,
        "instead_of_built_in": table.instead_of,
        "sparse": table.sparse,
        "source": table.source,
        "series": [_series_object(series) for series in table.series],
    }


def _series_object(series: Series) -> dict[str, Any]:
    points = sorted((*series.points, *series.limits), key=lambda point: point.serial)
    return {
        "name": series.name,
        "forms": sorted(series.forms),
        "places": sorted(series.places),
        "sparse": series.sparse,
        "numbers": [points[0].serial, points[-1].serial],
        "years": [min(point.year for point in points), max(point.year for point in points)],
        "contradicting": [[low.serial, high.serial] for low, high in series.contradicting],
        "points": [
            {
                "serial": point.serial,
                "year": point.year,
                "year_kind": point.year_kind.value,
                "basis": point.basis.value,
                "found": point.found,
                "source": point.source,
                "note": point.note,
            }
            for point in points
        ],
    }
