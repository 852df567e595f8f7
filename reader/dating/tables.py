"""All the makers' tables together: which serial number a maker had reached in which year.

Built in are two folders, each of two CSV files with their Table Schema descriptor: data/ with the invented makers of
the demo, data/published/ with single numbers of real makers, row by row with their source. The user's own tables come
from own.py. makers.py finds a maker in them; series.py says what the types mean.
"""

from __future__ import annotations

import functools
from pathlib import Path
from types import MappingProxyType

from reader.dating.own import join_own, own_stamp
from reader.dating.schema import DESCRIPTOR
from reader.dating.series import (
    DAY_YEARS,
    FORMS,
    LIMITS,
    SEEN_YEARS,
    WORKS_LIST,
    YEAR_KIND_YEARS,
    Basis,
    BreakPoint,
    MakerTable,
    Series,
    Tables,
    YearKind,
)
from reader.dating.table_rows import load_makers

__all__ = [
    "DATA_FOLDER",
    "DAY_YEARS",
    "FORMS",
    "LIMITS",
    "PUBLISHED_FOLDER",
    "SEEN_YEARS",
    "WORKS_LIST",
    "YEAR_KIND_YEARS",
    "Basis",
    "BreakPoint",
    "MakerTable",
    "Series",
    "Tables",
    "YearKind",
    "built_in_tables",
    "load_tables",
]

DATA_FOLDER = Path(__file__).parent / "data"
"""The invented makers of the demo."""

PUBLISHED_FOLDER = DATA_FOLDER / "published"
"""Published numbers of real makers."""


def load_tables(folder: Path | None = None) -> Tables:
    """Return the tables of a folder, or all that there are: the built-in ones and the user's own.

    Where the user has a maker of a built-in one's name, the user's is in and the built-in one is out, which
    MakerTable.instead_of says. What was read is kept until a file of the user's changes. Raises TableError with file,
    row (row 1 is the first below the header) and column for the first thing that breaks the descriptor or the rules
    of table_rows.py.
    """
    if folder is not None:
        return Tables(MappingProxyType(load_makers(folder / DESCRIPTOR)))
    return _all_tables(own_stamp())


@functools.cache
def built_in_tables() -> Tables:
    """Return the tables that come with Rakelight; they are read once and kept."""
    invented, published = (load_makers(folder / DESCRIPTOR) for folder in (DATA_FOLDER, PUBLISHED_FOLDER))
    return Tables(MappingProxyType({**invented, **published}))


@functools.lru_cache(maxsize=1)
def _all_tables(_: object) -> Tables:
    return join_own(built_in_tables())
