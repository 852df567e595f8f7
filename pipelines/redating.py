"""Date the number that a person decided on, for the casebook.

In: the number as typed and the maker's name; out: both in the answer's form, as the casebook keeps them.
"""

from __future__ import annotations

import json
from typing import Any

from pipelines.output.json_lines import write_dated
from reader.dating.makers import find_maker
from reader.dating.readings import parse_number
from reader.dating.tables import load_tables
from reader.dating.weigh import date_number
from reader.errors import SettingsError


def date_again(number: str, maker_name: str | None) -> tuple[dict[str, Any] | None, dict[str, Any] | None]:
    """Return the maker and the dating of a decided number, each None where there is none.

    Raises MakerError for a name that no table knows. A number that is no string of figures has no dating.
    """
    if maker_name is None:
        return None, None
    tables = load_tables()
    maker = find_maker(maker_name, tables)
    try:
        lookup = date_number(parse_number(number), [(tables.makers[maker.id], 1.0)])
    except SettingsError:  # letters in it: kept as it was decided, without a year
        return json.loads(write_dated(number, maker, None, ()))["maker"], None
    written = json.loads(write_dated(number, maker, lookup.dating, lookup.warnings))
    return written["maker"], written["dating"]
