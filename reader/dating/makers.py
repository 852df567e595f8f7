"""Finds the maker that a typed or read name means.

Names come from a person, a fallboard or a card, so case, accents, punctuation and the usual short forms must not
matter: 'PELLWICK BROS.' is 'Pellwick Brothers'. Nothing is guessed: a name that is only close is named in the error.
"""

from __future__ import annotations

import difflib
import unicodedata
from collections.abc import Iterable

from reader.dating.tables import MakerTable, Tables
from reader.errors import MakerError, one_line
from reader.results import Maker

SHORT_FORMS = {"bros": "brothers", "bro": "brothers", "co": "company", "cie": "company", "mfg": "manufacturing"}
"""Short forms of words in firms' names, common practice on fallboards and in lists; '&' is read as 'and'."""

NAMES_SHOWN = 3
"""How many close names an error lists."""

_NAME_LENGTH_SHOWN = 60
"""Characters of a wrong name that an error repeats; a whole pasted page would not be one line."""


def find_maker(name: str, tables: Tables) -> Maker:
    """Return the maker that bears the name.

    Tried in this order: the name as written, the name with case, accents, punctuation and short forms made alike, the
    aliases made alike. Raises MakerError (one line: what is wrong, the closest known names, what to do) for an empty
    or unknown name and for one that fits several makers.
    """
    entries = list(tables.makers.values())
    key = plain_name(name)
    if not key:
        raise MakerError("the maker's name is empty; type it as it stands on the instrument, or leave it out")
    for found in (
        [entry for entry in entries if entry.maker.name == name],
        [entry for entry in entries if plain_name(entry.maker.name) == key],
        [entry for entry in entries if key in map(plain_name, entry.aliases)],
    ):
        if len(found) > 1:
            raise MakerError(_ambiguous(name, found))
        if found:
            return found[0].maker
    raise MakerError(_unknown(name, key, entries))


def plain_name(name: str) -> str:
    """Return the name in the one spelling in which names are compared.

    Lower case, without accents, punctuation or apostrophes, '&' as 'and', short forms written out, words parted by
    one blank. Empty when no letter or figure is left.
    """
    text = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", name).casefold())
    text = "".join(c for c in text if not unicodedata.combining(c) and c not in "'’‘`´")
    text = text.replace("&", " and ")
    words = "".join(c if c.isalnum() else " " for c in text).split()
    return " ".join(SHORT_FORMS.get(word, word) for word in words)


def _ambiguous(name: str, found: Iterable[MakerTable]) -> str:
    fits = "; ".join(f"{entry.maker.name} ({entry.maker.place or 'place unknown'})" for entry in found)
    return f"the maker's name {_shown(name)} fits several makers: {fits}; type one of these names in full"


def _unknown(name: str, key: str, entries: Iterable[MakerTable]) -> str:
    names = {plain_name(spelling): e.maker.name for e in entries for spelling in (*e.aliases, e.maker.name)}
    close = difflib.get_close_matches(key[:_NAME_LENGTH_SHOWN], names, n=len(names) or 1, cutoff=0.0)
    listed = list(dict.fromkeys(names[match] for match in close))[:NAMES_SHOWN]
    if not listed:
        return (
            f"no table knows the maker {_shown(name)}, the tables are empty; leave the maker out, then no year is given"
        )
    return (
        f"no table knows the maker {_shown(name)}; closest known names: {', '.join(listed)}; "
        "type one of these, or leave the maker out, then no year is given"
    )


def _shown(name: str) -> str:
    text = one_line(name)
    return repr(text if len(text) <= _NAME_LENGTH_SHOWN else text[:_NAME_LENGTH_SHOWN] + "...")
