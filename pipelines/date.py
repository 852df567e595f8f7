"""`rakelight date`: from typed numbers and whatever else is known to years, each printed as soon as it is there.

Numbers come from the command line or standard input, datings from reader.dating, and go out through pipelines/output.
A line that is no number never stops the run. No image library is imported unless a PNG picture is asked for.
"""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from reader.errors import MakerError, SettingsError, one_line

if TYPE_CHECKING:
    from reader.dating.evidence import Clue
    from reader.dating.series import MakerTable
    from reader.dating.weigh import Lookup

TEXT_COLUMNS, SMALLEST_COLUMNS = 100, 40
"""Width of the text where it does not go to a terminal, and the narrowest, in characters."""

LINE_LENGTH_MAX = 200
"""Longest line of standard input that is looked at, in characters; a number has 18 at most."""

STATUS_SOME_FAILED = 1

CSV_COLUMNS = ("input", "maker", "year", "edtf", "earliest", "latest", "probability", "warnings")


@dataclass(frozen=True)
class Dated:
    """One input with what is known of its year, or the reason why it is no number."""

    text: str
    lookup: Lookup
    failed: bool = False


@click.command(context_settings={"ignore_unknown_options": False})
@click.argument("numbers", metavar="NUMBER...", nargs=-1)
@click.option("--again", metavar="NUMBER", multiple=True, help="The same number as read in another place on it.")
@click.option("--maker", metavar="NAME", help="The maker's name; without it no number means a year.")
@click.option("--series", metavar="NAME", help="One of the maker's number series; `rakelight tables` lists them.")
@click.option("--form", metavar="NAME", help="The instrument's form, as square-grand; --list names all.")
@click.option("--feature", "features", metavar="NAME", multiple=True, help="A feature, as 88-notes; may be repeated.")
@click.option("--patent", "patents", metavar="TEXT", multiple=True, help="A US patent's date or number on it.")
@click.option("--medal", "medals", metavar="YEAR", multiple=True, help="The year of an exhibition medal shown on it.")
@click.option("--founded", metavar="YEAR", help="A founding year on it ('Established 1853'): never the build year.")
@click.option("--not-before", metavar="DATE", multiple=True, help="Your own lower bound, an EDTF date; 1872~ is soft.")
@click.option("--not-after", metavar="DATE", multiple=True, help="Your own upper bound, an EDTF date.")
@click.option(
    "--format",
    "form_name",
    type=click.Choice(["text", "json", "csv"]),
    default="text",
    show_default=True,
    help="text for people; json: one object a line; csv: one row a number.",
)
@click.option(
    "--picture",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Draw the one number's curve of years: SVG or PNG.",
)
@click.option("--overwrite", is_flag=True, help="Let --picture replace an earlier picture.")
@click.option("--list", "list_features", is_flag=True, help="List the forms and features with their years, and stop.")
def date(
    *,
    numbers: tuple[str, ...],
    again: tuple[str, ...],
    maker: str | None,
    series: str | None,
    form: str | None,
    features: tuple[str, ...],
    patents: tuple[str, ...],
    medals: tuple[str, ...],
    founded: str | None,
    not_before: tuple[str, ...],
    not_after: tuple[str, ...],
    form_name: str,
    picture: Path | None,
    overwrite: bool,
    list_features: bool,
) -> int:
    """Date typed serial numbers by their maker and other evidence.

    A NUMBER may hold ? for a figure that cannot be read and [17] for one of two; - reads numbers from standard input,
    one a line. An estimate, never a proof of age.

    Exit status: 0 every input was a number, dated or not; 1 some were none; 2 wrong usage, an unknown maker or series.

    \b
    Examples:
      rakelight date 41873 --maker "Harrow & Thistle"
      rakelight date '418[17]3' --maker "Harrow & Thistle" --form square-grand --patent "MAY 14 1872"
      rakelight date '41?73' --again '4187[38]' --maker "Harrow & Thistle"
      rakelight date - --maker "Harrow & Thistle" --format csv < numbers.txt > years.csv
    """  # noqa: D301  # \b is click's own sign: what follows keeps its lines
    if list_features:
        click.echo(_say_features(), nl=False)
        return 0
    if not numbers:
        raise click.UsageError("give a number, or - to read numbers from standard input")
    if again and (len(numbers) != 1 or numbers[0] == "-"):
        raise click.UsageError("--again goes with one number; use it once for each instrument")
    if picture is not None:
        _check_picture(picture, numbers, overwrite=overwrite)
    clues = gather_clues(
        form=form,
        features=features,
        patents=patents,
        medals=medals,
        founded=founded,
        not_before=not_before,
        not_after=not_after,
    )
    makers = _find_makers(maker)
    _check_series(series, makers)
    write = choose_writer(form_name, makers)
    failed = 0
    for dated in date_all(_read_inputs(numbers), makers, clues, series, again):
        failed += dated.failed
        click.echo(write(dated), nl=False)
        if picture is not None:
            _save_picture(picture, dated, makers, overwrite=overwrite)
    return STATUS_SOME_FAILED if failed else 0


def gather_clues(
    *,
    form: str | None,
    features: Iterable[str],
    patents: Iterable[str],
    medals: Iterable[str],
    founded: str | None,
    not_before: Iterable[str],
    not_after: Iterable[str],
) -> tuple[Clue, ...]:
    """Return the clues of the options. Raises SettingsError, the option named, for one that makes no sense."""
    from reader.dating import evidence

    kinds: list[tuple[str, Iterable[str], Callable[[str], Clue]]] = [
        ("--form", [form] if form else [], evidence.form_clue),
        ("--feature", features, evidence.feature_clue),
        ("--patent", patents, evidence.patent_clue),
        ("--medal", medals, evidence.medal_clue),
        ("--founded", [founded] if founded else [], evidence.founding_clue),
        ("--not-before", not_before, lambda text: evidence.bound_clue(text, before=True)),
        ("--not-after", not_after, lambda text: evidence.bound_clue(text, before=False)),
    ]
    clues = []
    for option, texts, make in kinds:
        for text in texts:
            try:
                clues.append(make(text))
            except SettingsError as error:
                raise SettingsError(f"{option}: {error}") from error
    return tuple(clues)


def date_all(
    inputs: Iterable[str],
    makers: Sequence[tuple[MakerTable, float]],
    clues: Sequence[Clue],
    series: str | None,
    again: Sequence[str] = (),
) -> Iterator[Dated]:
    """Yield what is known of each input, in order; one that is no number gets the reason as its warning.

    `again` is the same number as read in other places; it is combined with every input.
    """
    from reader.dating.readings import combine, parse_number
    from reader.dating.weigh import Lookup, date_number

    for text in inputs:
        shown = one_line(text[:LINE_LENGTH_MAX])
        try:
            readings = combine([parse_number(one) for one in (text, *again)])
            yield Dated(shown, date_number(readings, makers, clues, series))
        except SettingsError as error:
            yield Dated(shown, Lookup(None, (str(error),)), failed=True)


def _find_makers(name: str | None) -> list[tuple[MakerTable, float]]:
    if name is None:
        return []
    from reader.dating.makers import find_maker
    from reader.dating.tables import load_tables

    tables = load_tables()
    try:
        return [(tables.makers[find_maker(name, tables).id], 1.0)]
    except MakerError as error:
        raise SettingsError(f"--maker: {error}") from error


def _check_series(series: str | None, makers: Sequence[tuple[MakerTable, float]]) -> None:
    """Raise SettingsError for a series that the maker does not have, before any number is dated."""
    names = [known.name for table, _ in makers for known in table.series]
    if series is not None and series not in names:
        known = f"the maker's series: {', '.join(names)}" if names else "give the maker, with series"
        raise SettingsError(f"--series: there is none called {one_line(series)!r}; {known}")


def _read_inputs(numbers: Iterable[str]) -> Iterator[str]:
    for number in numbers:
        if number == "-":
            lines = (raw.decode("utf-8-sig", "replace").strip() for raw in sys.stdin.buffer)
            yield from filter(None, lines)
        else:
            yield number


def choose_writer(name: str, makers: Sequence[tuple[MakerTable, float]]) -> Callable[[Dated], str]:
    """Return what writes a dated input in the form of this name; csv writes its header first."""
    maker = makers[0][0].maker if makers else None
    if name == "json":
        from pipelines.output import json_lines

        return lambda dated: json_lines.write_dated(dated.text, maker, dated.lookup.dating, dated.lookup.warnings)
    if name == "csv":
        from pipelines.output.csv_rows import write_row

        rows = iter([write_row(CSV_COLUMNS)])

        def write_csv(dated: Dated) -> str:
            cells: list[str | int | float] = [dated.text, maker.name if maker else "", "", "", "", "", ""]
            if (dating := dated.lookup.dating) is not None:
                cells[2:] = [dating.year, dating.edtf, *dating.interval, round(dating.probability, 4)]
            return next(rows, "") + write_row([*cells, " ".join(dated.lookup.warnings)])

        return write_csv
    from pipelines.output.text import write_dated

    columns = shutil.get_terminal_size().columns if sys.stdout.isatty() else TEXT_COLUMNS
    columns = max(columns, SMALLEST_COLUMNS)
    return lambda dated: write_dated(dated.text, maker, dated.lookup.dating, dated.lookup.warnings, columns)


def _say_features() -> str:
    """Return the forms and features, one a line: id, bounds, firm or soft, what it is."""
    from reader.dating.evidence import feature_clue
    from reader.dating.forms import load_features

    lines = []
    for feature in load_features().values():
        bounds = feature_clue(feature.id).say_bounds()
        strength = "firm" if feature.firm else "soft"
        option = "form" if feature.kind == "form" else "feature"
        lines.append(f"--{option:8} {feature.id:24} {bounds:16} {strength}  {feature.name} ({feature.region})\n")
    return "".join(lines)


def _check_picture(target: Path, numbers: Sequence[str], *, overwrite: bool) -> None:
    """Raise click.UsageError where a picture may not or cannot be written."""
    from pipelines.output.curve import SUFFIXES

    shown = one_line(str(target))
    if len(numbers) != 1 or numbers[0] == "-":
        raise click.UsageError("--picture goes with one number; use it once for each")
    if target.suffix.lower() not in SUFFIXES:
        raise click.UsageError(f"--picture: {shown} does not end in one of {', '.join(SUFFIXES)}")
    if not target.parent.is_dir():
        raise click.UsageError(f"--picture: there is no folder {one_line(str(target.parent))}; make it first")
    if target.exists() and (target.is_dir() or not overwrite):
        raise click.UsageError(f"--picture: {shown} exists; choose another name, or add --overwrite")


def _save_picture(target: Path, dated: Dated, makers: Sequence[tuple[MakerTable, float]], *, overwrite: bool) -> None:
    from pipelines.output.curve import draw_curve, save_drawing

    if dated.lookup.dating is None:
        click.echo(f"rakelight: no year, so no picture: {one_line(str(target))} was not written", err=True)
        return
    maker = makers[0][0].maker.name if makers else "maker unknown"
    save_drawing(draw_curve(dated.text, maker, dated.lookup.dating), target, overwrite=overwrite)
