"""What a number would mean for the year, by the maker that the answer names and the maker's table.

In: a number as text and the answer (version 1 object). Out: a dating in the answer's form, or None. It is an estimate
that holds if the number is the right one, never a proof of age.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipelines.redating import date_again
from reader.errors import MakerError


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
    try:
        return date_again(text, maker["name"] if maker else None)[1]
    except MakerError:  # a maker that no table here knows
        return None
