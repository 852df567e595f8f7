"""The number in question as a weighed list of strings: read from a photo, read in several places, or typed.

Makes `Readings` of a Serial with its characters, of a person's text with open figures, or of several readings of one
number; weigh.py dates every string and mixes their years.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from reader.errors import SettingsError, one_line
from reader.results import Candidate, Character, Serial

STRINGS_MAX = 1000
"""Most strings of a typed number with open figures: three '?' in it."""

STRINGS_KEPT = 64
"""Most strings of a number that was read; the rest counts as unlisted."""

PROBABILITY_MIN = 1e-4
"""A string made of rival figures is left out below this."""

UNLISTED_STRINGS = 1000.0
"""Over how many strings the probability that a reading leaves unlisted is spread, when several are combined: strings
that differ from the best in one or two figures are about so many."""

FIGURES_MAX = 18
"""Longest number; no maker's has more than 7 figures, and 18 fit 64 bits."""

_SHOWN = 24
_PART = re.compile(r"\[(?P<choice>[0-9]{2,10})\]|(?P<open>\?)|(?P<figure>[0-9])")


@dataclass(frozen=True)
class Readings:
    """Strings of figures 0 to 9 with their probabilities, likeliest first, summing to at most 1.

    `shown` is the number as it was given. `accepted`: sure enough to use. `typed`: a person gave it.
    """

    strings: tuple[Candidate, ...]
    shown: str
    accepted: bool
    typed: bool = False

    @property
    def best(self) -> str:
        """The likeliest string."""
        return self.strings[0].text


def parse_number(text: str) -> Readings:
    """Return the readings of a typed number: '41873', '41?73' (one figure open), '418[17]3' (one of two).

    Blanks, commas and points between groups of three figures are taken out. All strings that fit are equally likely.
    Raises SettingsError for anything else, and where more than STRINGS_MAX strings fit.
    """
    shown = one_line(text.strip()[:_SHOWN])
    plain = _join_groups(text.strip())
    parts, place, count = [], 0, 1
    while place < len(plain):
        match = _PART.match(plain, place)
        if match is None:
            raise SettingsError(
                f"the serial {shown!r} is no number; give figures 0 to 9, '?' for one that cannot be read, [17] for "
                "one of two"
            )
        parts.append("0123456789" if match["open"] else "".join(dict.fromkeys(match["choice"] or match["figure"])))
        count *= len(parts[-1])
        place = match.end()
        if count > STRINGS_MAX or len(parts) > FIGURES_MAX:
            raise SettingsError(f"the serial {shown!r} is too long or has too many open figures; give three at most")
    if not parts:
        raise SettingsError("the serial is empty; type its figures")
    strings = ["".join(figures) for figures in itertools.product(*parts)]
    return Readings(tuple(Candidate(s, 1.0 / len(strings)) for s in strings), shown, len(strings) == 1, typed=True)


def _join_groups(text: str) -> str:
    return re.sub(r"[ ,.'](?=\d{3}(?!\d))", "", text) if re.fullmatch(r"\d{1,3}(?:[ ,.']\d{3})+", text) else text


def read_serial(serial: Serial, characters: Sequence[Character] = ()) -> Readings:
    """Return the readings of a serial from a photo: its own strings, and those that its figures' rivals make.

    `characters` are those that spell the serial, where they are known. A string made of rivals has the serial's
    probability times the odds of each rival; all of them share what the listed strings leave. Raises SettingsError for
    a serial with anything but figures.
    """
    if not _is_number(serial.text):
        shown = one_line(serial.text[:_SHOWN])
        raise SettingsError(f"the serial {shown!r} is not all figures; give figures 0 to 9 only, with none left open")
    listed: dict[str, float] = {}
    for one in (Candidate(serial.text, serial.probability), *serial.alternatives):
        if _is_number(one.text):
            listed.setdefault(one.text, max(one.probability, 0.0))
    made = {text: p for text, p in _from_rivals(serial, characters).items() if text not in listed}
    room = max(1.0 - sum(listed.values()), 0.0)
    share = min(1.0, room / sum(made.values())) if made else 0.0
    strings = {**listed, **{text: p * share for text, p in made.items() if p * share > PROBABILITY_MIN}}
    return Readings(_sorted(strings, serial.text), serial.text, serial.accepted)


def combine(readings: Sequence[Readings]) -> Readings:
    """Return the readings of one number that stands in several places: the probabilities multiplied.

    A string that one of them does not list counts there as a small share of what it leaves unlisted. The order of the
    readings changes nothing. The result is accepted where one of them was, with the same best string, or where typed
    numbers leave one string. Raises SettingsError for none.
    """
    if not readings:
        raise SettingsError("no reading to combine; give one at least")
    if len(readings) == 1:
        return readings[0]
    ordered = sorted(readings, key=lambda one: (one.shown, [(s.text, s.probability) for s in one.strings]))
    texts = sorted({string.text for one in ordered for string in one.strings})
    logs = dict.fromkeys(texts, 0.0)
    for one in ordered:
        known = {string.text: string.probability for string in one.strings}
        rest = max(1.0 - sum(known.values()), PROBABILITY_MIN) / UNLISTED_STRINGS
        for text in texts:
            logs[text] += math.log(max(known.get(text, rest), rest))
    top = max(logs.values())
    weights = {text: math.exp(value - top) for text, value in logs.items()}
    total = sum(weights.values())
    strings = {text: weight / total for text, weight in weights.items() if weight / total > PROBABILITY_MIN}
    best = min(strings, key=lambda text: (-strings[text], text))
    typed = all(one.typed for one in ordered)
    agreed = any(one.accepted and one.best == best for one in ordered) or (typed and len(strings) == 1)
    return Readings(_sorted(strings, best), best, agreed, typed)


def _from_rivals(serial: Serial, characters: Sequence[Character]) -> dict[str, float]:
    """Return every string that differs from the serial by rivals of its figures, with its probability."""
    if "".join(character.text for character in characters) != serial.text:
        return {}
    strings = {"": serial.probability}
    for character in characters:
        own = max(character.probability, 1e-6)
        odds = {character.text: 1.0}
        odds |= {r.text: r.probability / own for r in character.rivals if _is_number(r.text) and len(r.text) == 1}
        grown = {text + figure: p * o for text, p in strings.items() for figure, o in odds.items()}
        kept = sorted(grown, key=lambda text: (-grown[text], text))[:STRINGS_KEPT]
        strings = {text: grown[text] for text in kept if grown[text] > PROBABILITY_MIN}
    return strings


def _sorted(strings: dict[str, float], first: str) -> tuple[Candidate, ...]:
    """Return the strings likeliest first, of equally likely ones `first` before the others."""
    order = sorted(strings, key=lambda text: (-strings[text], text != first, text))[:STRINGS_KEPT]
    return tuple(Candidate(text, strings[text]) for text in order)


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) <= FIGURES_MAX
