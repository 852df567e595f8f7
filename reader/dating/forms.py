"""Instrument forms and construction features with the years that bound them (data/evidence/forms.csv).

evidence.py makes clues of them. A form also names the family (tables.FORMS) whose number series it belongs to.
"""

from __future__ import annotations

import difflib
import functools
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from reader.dating.patents import EVIDENCE_FOLDER
from reader.dating.schema import Row, read_package
from reader.errors import SettingsError, one_line

FORM_KIND = "form"
"""The kind of a row that is a form of the whole instrument; every other kind is a feature of it."""


@dataclass(frozen=True)
class Feature:
    """One row: `not_before` and `not_after` are years, None where open; `firm` says that they exclude.

    `family` is one of tables.FORMS, empty for any. `found` is yes, partly or from-memory.
    """

    id: str
    name: str
    kind: str
    family: str
    not_before: int | None
    not_after: int | None
    firm: bool
    region: str
    source: str
    found: str


@functools.cache
def load_features() -> Mapping[str, Feature]:
    """Return all forms and features by id, in the file's order."""
    rows = read_package(EVIDENCE_FOLDER, ("forms",))["forms"].rows
    return MappingProxyType({str(row["id"]): _read(row) for row in rows})


def find_form(name: str) -> Feature:
    """Return the form of that id ('square-grand'). Raises SettingsError with the closest ids."""
    return _find(name, "form", {k: f for k, f in load_features().items() if f.kind == FORM_KIND})


def find_feature(name: str) -> Feature:
    """Return the form or feature of that id ('88-notes'). Raises SettingsError with the closest ids."""
    return _find(name, "feature", load_features())


def _find(name: str, what: str, known: Mapping[str, Feature]) -> Feature:
    key = "-".join(name.lower().replace("_", " ").split())
    if key in known:
        return known[key]
    close = difflib.get_close_matches(key[:40], known, n=4, cutoff=0.4)
    hint = f"close ones: {', '.join(close)}; " if close else ""
    raise SettingsError(f"there is no {what} {one_line(name[:40])!r}; {hint}`rakelight date --list` names all")


def _read(row: Row) -> Feature:
    def text(column: str) -> str:
        value = row[column]
        return "" if value is None else str(value)

    def year(column: str) -> int | None:
        value = row[column]
        return None if value is None else int(value)

    return Feature(
        text("id"),
        text("name"),
        text("kind"),
        text("form"),
        year("not_before"),
        year("not_after"),
        text("strength") == "firm",
        text("region"),
        text("source"),
        text("found"),
    )
