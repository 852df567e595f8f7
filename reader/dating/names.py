"""Makes makers' names alike, so that the same name in another spelling compares as equal.

Names come from a person, a fallboard, a plate or a card: case, accents, punctuation, short forms, and German, French
and English ways to write 'brothers', 'sons' and 'company' must not matter. makers.py compares what comes out here.
"""

from __future__ import annotations

import functools
import re
import unicodedata
from dataclasses import dataclass

BROTHERS = "bros bro brother freres frere gebruder gebr bruder gebroders fratelli hermanos irmaos brodrene"
SONS = "fils sohne zonen figli hijos filhos sonner soner synowie"
SON = "sohn zoon figlio hijo syn"
MANUFACTURING = "mfg manuf manufg"
AND = "und et"
SMALL_AND = "i y e u en og och"
"""'And' in Polish, Spanish, Italian, Dutch and the Nordic languages, read so only before SONS, BROTHERS, COMPANY."""
COMPANY = "co cie comp compagnie companie kompanie compagnia compania cia"

SHORT_FORMS = {
    **dict.fromkeys(BROTHERS.split(), "brothers"),
    **dict.fromkeys(SONS.split(), "sons"),
    **dict.fromkeys(SON.split(), "son"),
    **dict.fromkeys(COMPANY.split(), "company"),
    **dict.fromkeys(MANUFACTURING.split(), "manufacturing"),
    **dict.fromkeys(AND.split(), "and"),
}
"""Words of firms' names in other languages and short forms, and what they are read as. Common practice on fallboards
and in lists. They stand as fold leaves them: lower case, no accents, ae, oe and ue as a, o and u."""

KINSHIP = frozenset({"brothers", "sons", "son"})
"""Words that tell one firm from another of the same family name."""

GENERIC = (
    "and company limited ltd inc incorporated corporation corp gmbh ag sa the of piano pianos pianoforte "
    "pianofortes fortepiano organ organs melodeon melodeons harmonium klavier klaviere flugel works factory "
    "manufacturing manufacturers manufacturer makers maker facteur facteurs fabrik pianofabrik pianofortefabrik"
)
"""Words that many firms share, and that say little about which it is."""

_GENERIC = frozenset(GENERIC.split())
_LETTERS = str.maketrans({"ø": "o", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "æ": "ae", "œ": "oe", "ı": "i"})
_UMLAUT = re.compile("([aou])e+")


@dataclass(frozen=True)
class NameParts:
    """A name in parts, all in plain spelling.

    `core` is what tells it apart, `initials` the single letters before that, `kinship` 'sons', 'son', 'brothers' or
    nothing, `rest` its other words. Two names with the same parts are the same name: 'Gebr. X' is 'X Brothers'.
    """

    core: tuple[str, ...]
    initials: tuple[str, ...]
    kinship: str
    rest: frozenset[str]

    @property
    def joined(self) -> str:
        """The core without blanks, since readers of fallboards lose and add them."""
        return "".join(self.core)


def plain_name(name: str) -> str:
    """Return the name in the one spelling in which names are compared.

    Lower case, without accents, punctuation or apostrophes; ä and ae, ö and oe, ü and ue alike; '&' as 'and'; short
    forms and other languages' words as in SHORT_FORMS; words parted by one blank. Empty when no letter or figure is
    left. The plain spelling of a plain spelling is itself.
    """
    words = [SHORT_FORMS.get(word, word) for word in fold(name).split()]
    for place, after in enumerate(words[1:]):
        if words[place] in SMALL_AND.split() and (after in KINSHIP or after == "company"):
            words[place] = "and"
    return " ".join(words)


def fold(text: str) -> str:
    """Return the text in lower-case letters and figures without accents, everything else a blank; '&' as 'and'."""
    text = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", text).casefold())
    text = "".join(c for c in text if not unicodedata.combining(c) and c not in "'’‘`´")
    text = text.translate(_LETTERS).replace("&", " and ")
    text = "".join(c if c.isalnum() else " " for c in text)
    return _UMLAUT.sub(r"\1", text)


@functools.lru_cache(maxsize=4096)
def split_name(name: str) -> NameParts:
    """Return the parts of a maker's name. The core of a name of generic words alone is all of them."""
    words = plain_name(name).split()
    kinship = next((word for word in words if word in KINSHIP), "")
    telling = [place for place, word in enumerate(words) if tells(word)] or list(range(len(words)))
    core = tuple(words[place] for place in telling)
    initials = tuple(word for word in words[: telling[0]] if len(word) == 1) if telling else ()
    rest = frozenset(words) - {*core, *initials, kinship, "and", "the"}
    return NameParts(core, initials, kinship, rest)


def tells(word: str) -> bool:
    """Whether a word in plain spelling tells one firm from another."""
    return len(word) > 1 and word not in _GENERIC and word not in KINSHIP
