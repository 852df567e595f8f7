"""What a number would mean for the year, by the maker that the answer names and the maker's table.

In: a number as text and the answer (version 1 object). Out: a dating in the answer's form, or None. It is an estimate
that holds if the number is the right one, never a proof of age.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from reader.dating.lookup import date_serial
from reader.dating.tables import load_tables
from reader.errors import MakerError, SettingsError
from reader.results import Serial


def date_number(text: str, answer: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """Return the dating of a number: the stored one for the number that was read, else what the table says.

    None where the maker is not known, or its table gives no year.
    """
    serial, stored = answer["serial"], answer["dating"]
    if serial is not None and serial["text"] == text and stored is not None:
        kept: Mapping[str, Any] = stored
        return kept
    return date_anew(text, answer["maker"])


def date_anew(text: str, maker: Mapping[str, Any] | None) -> Mapping[str, Any] | None:
    """Return what the maker's table says of a number, taken for read right."""
    table = load_tables().makers.get(maker["id"]) if maker else None
    if table is None:
        return None
    try:
        dating = date_serial(Serial(text, 1.0, False, 0), table.maker, load_tables()).dating
    except (SettingsError, MakerError):  # letters in it, or a maker without a table
        return None
    if dating is None:
        return None
    data = asdict(dating)
    return {**data, "interval": list(dating.interval), "evidence": list(data["evidence"]), "warnings": [*dating.warnings]}
