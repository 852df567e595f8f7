"""`rakelight where`: where the serial number sits on a form of instrument, cautions first.

The form's name comes from the command line, what is known of it from reader/locations, and goes out as text or as one
JSON object; `--drawing` writes the form's drawing, which has the same numbers as the text.
"""

from __future__ import annotations

import itertools
import json
import os
import shutil
import sys
import textwrap
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipelines.batch import SMALLEST_COLUMNS
from reader.errors import SettingsError, one_line

if TYPE_CHECKING:
    from reader.locations.guide import Form, Place

JSON_VERSION = 1

GUIDE_COLUMNS = 84
"""Most characters in a line of a guide: it is a page to read, and longer lines tire the eye."""

HEADINGS = {
    "anyone": "You may look here yourself:",
    "two people": "Only two people together:",
    "technician": "Leave these to a technician or mover:",
}
"""The line above the places that only these people may go to."""


@click.command()
@click.argument("name", metavar="[FORM]", required=False)
@click.option(
    "--format",
    "form_name",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="text for people; json: one object.",
)
@click.option("--sources", is_flag=True, help="Show in the text where each fact is from; JSON always does.")
@click.option("--drawing", metavar="FILE.svg", type=click.Path(path_type=Path), help="Save the form's drawing.")
@click.option("--overwrite", is_flag=True, help="Let --drawing replace an earlier file.")
def where(*, name: str | None, form_name: str, sources: bool, drawing: Path | None, overwrite: bool) -> int:
    """Say where the serial number sits on an instrument.

    FORM is its form, square-grand for example; without one the forms are listed. Read the cautions first: old
    instruments are heavy, tip over, and hold tons of string tension.

    Exit status: 0 done; 2 wrong usage, an unknown form, or a drawing that cannot be saved.

    \b
    Examples:
      rakelight where
      rakelight where square-grand
      rakelight where "parlor organ" --drawing organ.svg
    """  # noqa: D301  # \b is click's own sign: what follows keeps its lines
    from reader.locations.guide import find_form, load_guide, read_drawing

    columns = _choose_columns()
    if name is None:
        if drawing is not None:
            raise click.UsageError("--drawing goes with one form; `rakelight where` lists them")
        forms = load_guide()
        _print(write_list_json(forms) if form_name == "json" else write_list(forms, columns), form_name)
        return 0
    form = find_form(name)
    if drawing is not None:
        save_drawing(read_drawing(form), drawing, overwrite=overwrite)
    _print(write_form_json(form) if form_name == "json" else write_form(form, columns, sources=sources), form_name)
    return 0


def write_list(forms: Iterable[Form], columns: int) -> str:
    """Return the forms with how to tell them and their other names."""
    lines = ["Forms of instrument; `rakelight where FORM` says where its number sits:", ""]
    for form in forms:
        lines += [form.id, *_fill(form.looks, columns, "    "), *_fill(_say_aliases(form), columns, "    "), ""]
    return "\n".join(lines)


def write_list_json(forms: Iterable[Form]) -> str:
    """Return the forms as one line of JSON with its line end."""
    brief = [{"form": form.id, "name": form.name, "aliases": form.aliases, "looks": form.looks} for form in forms]
    return _dump({"version": JSON_VERSION, "forms": brief})


def write_form(form: Form, columns: int, *, sources: bool = False) -> str:
    """Return the guide to a form as lines of at most `columns` characters: cautions, places, what is no serial.

    With `sources`, every fact is followed by where it is from.
    """

    def item(first: str, text: str, source: str) -> list[str]:
        """Return one entry with its sign in front; what follows the first line stands below its text."""
        shown = f"{text} [{source}]" if sources else text
        return _fill(shown, columns, first, " " * len(first))

    lines = [form.name, *item("  ", form.looks, form.source)]
    lines += _fill(f"Not it? See {', '.join(form.see_also)}.", columns, "  ")
    lines += ["", *_fill("CAUTIONS, before you open, lift or move anything", columns)]
    for caution in form.cautions:
        lines += item("  ! ", f"{caution.title}: {caution.text}", caution.source)
    lines += ["", "WHERE TO LOOK, in this order"]
    for who, places in itertools.groupby(form.places, key=lambda place: place.who):
        lines.append(f"  {HEADINGS[who]}")
        for place in places:
            lines += _say_place(place, columns, sources=sources)
    for place in form.everywhere:
        if place.holds == "serial":
            lines += item("  + ", f"{place.place} {_capital(place.how_common)}.", place.source)
    lines += ["", "OFTEN MISTAKEN FOR THE SERIAL"]
    for place in (*form.not_serial, *(place for place in form.everywhere if place.holds == "other")):
        sign = f"  {place.sign}. " if place in form.not_serial else "  - "
        warning = f" Hazard: {_say_hazard(place)}" if place.cautions else ""
        lines += item(sign, f"{place.place} {place.looks} {_capital(place.how_common)}.{warning}", place.source)
    for kind in form.mistaken_for:
        lines += item("  - ", f"{kind.what} ({kind.example}): {kind.tell}", kind.source)
    lines += ["", "HOW TO PHOTOGRAPH IT"]
    for hint in form.photographing:
        lines += item("  - ", hint.text, hint.source)
    lines += ["", *item("", form.no_proof.text, form.no_proof.source)]
    return "".join(line + "\n" for line in lines)


def write_form_json(form: Form) -> str:
    """Return the guide to a form as one line of JSON with its line end; places name their cautions by id."""
    data: dict[str, Any] = {"version": JSON_VERSION, "form": form.id, **asdict(form)}
    del data["id"]
    for place in (*data["places"], *data["not_serial"], *data["everywhere"]):
        place["cautions"] = [caution["id"] for caution in place["cautions"]]
    for place in data["everywhere"]:
        del place["sign"]  # it stands on no drawing
    return _dump(data)


def save_drawing(svg: str, target: Path, *, overwrite: bool = False) -> None:
    """Write a drawing to a new file; with `overwrite` an earlier file is replaced as a whole. Raises SettingsError."""
    shown = one_line(str(target))
    if target.suffix.lower() != ".svg":
        raise SettingsError(f"--drawing: {shown} does not end in .svg; choose another name")
    new = target.with_name(f".{target.name}.{os.getpid()}") if overwrite else target
    try:
        with new.open("x", encoding="utf-8", newline="\n") as file:
            file.write(svg)
        if overwrite:
            new.replace(target)
    except FileExistsError as error:
        raise SettingsError(f"--drawing: {shown} exists; choose another name, or add --overwrite") from error
    except OSError as error:
        if overwrite:
            new.unlink(missing_ok=True)
        raise SettingsError(f"--drawing: {shown} cannot be written ({error.strerror}); choose another name") from error
    click.echo(f"rakelight: drawing saved as {shown}", err=True)


def _say_place(place: Place, columns: int, *, sources: bool) -> Iterator[str]:
    """Yield the lines of one numbered place."""
    first = f"  {place.sign:>3}. "
    below = " " * len(first)
    yield from _fill(place.place, columns, first, below)
    tools = "" if place.tools == "none" else f" Tools: {place.tools}."
    for label, text in (
        ("Looks like", place.looks),
        ("Reach", place.reach + tools),
        ("Hazard", _say_hazard(place)),
        ("How common", f"{place.how_common}."),
        *([("Source", place.source)] if sources else []),
    ):
        yield from _fill(f"{label}: {text}", columns, below, below + "  ")


def _say_hazard(place: Place) -> str:
    """Return how dangerous it is, with the titles of the cautions that bear on it."""
    titles = ", ".join(dict.fromkeys(caution.title.lower() for caution in place.cautions))
    return f"{place.hazard} (see {titles})." if titles else f"{place.hazard}."


def _say_aliases(form: Form) -> str:
    return f"Also called {', '.join(form.aliases)}."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _fill(text: str, columns: int, first: str = "", later: str | None = None) -> list[str]:
    """Break a text into lines; what begins the first and the later lines is given. Long words stay whole."""
    return textwrap.wrap(
        text,
        columns,
        initial_indent=first,
        subsequent_indent=first if later is None else later,
        break_long_words=False,
        break_on_hyphens=False,
    )


def _choose_columns() -> int:
    """Return the width of the text: the terminal's, within what reads well."""
    wide = shutil.get_terminal_size().columns if sys.stdout.isatty() else GUIDE_COLUMNS
    return max(SMALLEST_COLUMNS, min(wide, GUIDE_COLUMNS))


def _dump(data: dict[str, Any]) -> str:
    return json.dumps(data, ensure_ascii=False) + "\n"


def _print(text: str, form_name: str) -> None:
    """Write to stdout: JSON as UTF-8 whatever the terminal, text in the terminal's encoding with escapes."""
    encoding = "utf-8" if form_name == "json" else (sys.stdout.encoding or "utf-8")
    data = text.encode(encoding, "backslashreplace")
    click.echo(data if form_name == "json" else data.decode(encoding), nl=False)
