"""Where the serial number sits: for each form of instrument the places to look, in the order to try.

A form's name goes in; out come its cautions, its places with their hazards, what is often mistaken for the serial, how
to photograph it, and our own drawing with the same numbers. All of it is read from data/ (CSV files described by
data/datapackage.json) and drawings/ (one SVG a form).
"""

from __future__ import annotations

import csv
import functools
import string
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TypeVar

from reader.errors import SettingsError, TableError, one_line

DATA_FOLDER = Path(__file__).parent / "data"
DRAWINGS_FOLDER = Path(__file__).parent / "drawings"

ANY_FORM = "any"
"""What the table of places calls rows that hold for every form."""

PROOF = "proof"
"""The caution that an estimate is no proof of age; it closes every guide instead of opening it."""

_LETTERS = string.ascii_uppercase
"""Signs of the places that hold something else than the serial; a form has no more places than letters."""

Kind = TypeVar("Kind", bound=StrEnum)


class Hazard(StrEnum):
    """How dangerous the way to a place is, for people or for the instrument."""

    NONE = "none"
    LOW = "low"
    MEDIUM = "medium"
    HIGH = "high"


class Who(StrEnum):
    """Who may go there; a technician stands for a mover as well."""

    ANYONE = "anyone"
    TWO_PEOPLE = "two people"
    TECHNICIAN = "technician"


class Holds(StrEnum):
    """Whether the serial may stand at a place, or something that is often mistaken for it."""

    SERIAL = "serial"
    OTHER = "other"


@dataclass(frozen=True)
class Caution:
    """One thing to mind before anything is opened or moved."""

    id: str
    title: str
    text: str
    source: str


@dataclass(frozen=True)
class Place:
    """One place on the instrument. `sign` is '1', '2' ... where the serial may stand, 'A', 'B' ... where it does not.

    `cautions` names those that bear on it; there is one at least where the hazard is not none.
    """

    sign: str
    id: str
    holds: Holds
    label: str
    place: str
    looks: str
    reach: str
    tools: str
    hazard: Hazard
    cautions: tuple[Caution, ...]
    who: Who
    how_common: str
    source: str


@dataclass(frozen=True)
class Mistaken:
    """A kind of mark that is often taken for the serial, and how to tell it apart. `example` is made up."""

    id: str
    what: str
    tell: str
    example: str
    source: str


@dataclass(frozen=True)
class Hint:
    """One sentence on how to photograph a mark."""

    id: str
    text: str
    source: str


@dataclass(frozen=True)
class Form:
    """A form of instrument and everything the guide knows of it.

    `cautions` come before everything else and hold every caution that a place names. `places` are in the order to try:
    first those that anyone may look at, last those that are a technician's. `not_serial` are places where something
    else stands. `everywhere` holds for any form and has no sign on the drawing.
    """

    id: str
    name: str
    aliases: tuple[str, ...]
    looks: str
    see_also: tuple[str, ...]
    cautions: tuple[Caution, ...]
    places: tuple[Place, ...]
    not_serial: tuple[Place, ...]
    everywhere: tuple[Place, ...]
    mistaken_for: tuple[Mistaken, ...]
    photographing: tuple[Hint, ...]
    no_proof: Caution
    source: str

    @property
    def drawing(self) -> Path:
        """The form's drawing, an SVG file."""
        return DRAWINGS_FOLDER / f"{self.id}.svg"


@functools.cache
def load_guide(folder: Path = DATA_FOLDER) -> tuple[Form, ...]:
    """Return every form, in the table's order. Raises TableError for a table that breaks its own rules."""
    cautions = {row["id"]: Caution(**row) for _, row in _rows(folder / "cautions.csv")}
    places = _read_places(folder / "places.csv", cautions)
    mistaken = [row for _, row in _rows(folder / "mistaken_for.csv")]
    hints = tuple(Hint(**row) for _, row in _rows(folder / "photographing.csv"))
    forms = []
    for number, row in _rows(folder / "forms.csv"):
        own = places.get(row["id"], ())
        if not own:
            raise TableError(folder / "forms.csv", f"no place is known for {row['id']!r}; add one", number, "id")
        forms.append(
            Form(
                id=row["id"],
                name=row["name"],
                aliases=_split(row["aliases"]),
                looks=row["looks"],
                see_also=_split(row["see_also"]),
                cautions=_pick(row["cautions"], cautions, folder / "forms.csv", number),
                places=tuple(place for place in own if place.holds is Holds.SERIAL),
                not_serial=tuple(place for place in own if place.holds is Holds.OTHER),
                everywhere=places.get(ANY_FORM, ()),
                mistaken_for=tuple(_build_mistaken(kind) for kind in mistaken if row["id"] in _split(kind["forms"])),
                photographing=hints,
                no_proof=cautions[PROOF],
                source=row["source"],
            )
        )
    return tuple(forms)


def find_form(name: str) -> Form:
    """Return the form with this id, name or alias; case, hyphens and blanks do not count.

    Raises SettingsError, which lists the forms, for a name that none has. Nothing is guessed: a wrong form would send
    people to the wrong, perhaps dangerous, place.
    """
    forms = load_guide()
    wanted = _plain(name)
    for form in forms:
        if wanted in {_plain(known) for known in (form.id, form.name, *form.aliases)}:
            return form
    known = ", ".join(form.id for form in forms)
    raise SettingsError(f"no form of instrument is called {one_line(name)[:60]!r}; use one of {known}")


def read_drawing(form: Form) -> str:
    """Return the form's drawing, SVG text. Raises TableError where it is missing."""
    try:
        return form.drawing.read_text(encoding="utf-8")
    except OSError as problem:
        message = f"the drawing cannot be read ({problem.strerror}); install Rakelight again"
        raise TableError(form.drawing, message) from problem


def _read_places(path: Path, cautions: dict[str, Caution]) -> dict[str, tuple[Place, ...]]:
    """Return the places by form, in order."""
    places: dict[str, list[tuple[int, Place]]] = {}
    for number, row in _rows(path):
        if not row["order"].isdecimal() or not 1 <= int(row["order"]) <= len(_LETTERS):
            message = f"{row['order']!r} is no number from 1 to {len(_LETTERS)}; correct it"
            raise TableError(path, message, number, "order")
        order, holds = int(row["order"]), _kind(Holds, row, "holds", path, number)
        place = Place(
            sign=str(order) if holds is Holds.SERIAL else _LETTERS[order - 1],
            id=row["id"],
            holds=holds,
            label=row["label"],
            place=row["place"],
            looks=row["looks"],
            reach=row["reach"],
            tools=row["tools"],
            hazard=_kind(Hazard, row, "hazard", path, number),
            cautions=_pick(row["cautions"], cautions, path, number),
            who=_kind(Who, row, "who", path, number),
            how_common=row["how_common"],
            source=row["source"],
        )
        places.setdefault(row["form"], []).append((order, place))
    return {form: tuple(place for _, place in sorted(own, key=lambda pair: pair[0])) for form, own in places.items()}


def _build_mistaken(row: dict[str, str]) -> Mistaken:
    return Mistaken(row["id"], row["what"], row["tell"], row["example"], row["source"])


def _rows(path: Path) -> Iterator[tuple[int, dict[str, str]]]:
    """Yield the rows with their numbers, row 1 being the first below the header."""
    try:
        with path.open(encoding="utf-8", newline="") as file:
            for number, row in enumerate(csv.DictReader(file, strict=True), start=1):
                if None in row or None in row.values():
                    raise TableError(path, "has too many or too few cells; look for a missing comma or quote", number)
                yield number, row
    except OSError as problem:
        raise TableError(path, f"cannot be read ({problem.strerror}); install Rakelight again") from problem


def _split(cell: str) -> tuple[str, ...]:
    return tuple(cell.split("|")) if cell else ()


def _pick(cell: str, cautions: dict[str, Caution], path: Path, number: int) -> tuple[Caution, ...]:
    """Return the cautions that a cell names."""
    names = _split(cell)
    unknown = [name for name in names if name not in cautions]
    if unknown:
        raise TableError(path, f"no caution is called {unknown[0]!r}; correct it", number, "cautions")
    return tuple(cautions[name] for name in names)


def _kind(kind: type[Kind], row: dict[str, str], column: str, path: Path, number: int) -> Kind:
    try:
        return kind(row[column])
    except ValueError as problem:
        allowed = ", ".join(kind)
        raise TableError(path, f"{row[column]!r} is not allowed; use one of {allowed}", number, column) from problem


def _plain(name: str) -> str:
    """Return a name without case, hyphens and blanks, for comparing."""
    return "".join(character for character in name.casefold() if character.isalnum())
