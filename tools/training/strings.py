"""Strings as they stand on instruments and on what lies around them, in the alphabet that is read.

Mostly serial numbers of three to seven figures; also 'No.' in front, a model letter apart, years, dates, fractions,
single figures, words, and mixed strings of figures and letters so that letters are known for what they are.
"""

from __future__ import annotations

import numpy as np

READ = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ.-/°# "
"""The alphabet of the network, in the order of its classes 1, 2, ...; class 0 is the CTC blank."""

LONGEST = 18
"""Most characters of a string."""

WORDS = [
    "PATENT",
    "PATENTED",
    "PAT",
    "MODEL",
    "STYLE",
    "SERIAL",
    "NUMBER",
    "GRAND",
    "UPRIGHT",
    "SQUARE",
    "ORGAN",
    "PIANO",
    "CABINET",
    "COTTAGE",
    "CHAPEL",
    "OCTAVE",
    "SCALE",
    "BRASS",
    "IRON",
    "STEEL",
    "MADE",
    "WARRANTED",
    "FACTORY",
    "STREET",
    "SONS",
    "BROTHERS",
    "COMPANY",
    "LIMITED",
    "TREBLE",
    "BASS",
    "LEFT",
    "RIGHT",
    "BACK",
    "FRONT",
    "TUNED",
    "REPAIRED",
    "INSPECTED",
    "BY",
    "SIZE",
    "CASE",
    "ACTION",
    "KEYS",
    "HAMMER",
    "PLATE",
    "TOP",
    "LEG",
    "LID",
    "MAY",
    "JUNE",
    "JULY",
    "AUG",
    "SEPT",
    "OCT",
    "NOV",
    "DEC",
    "JAN",
    "FEB",
    "MARCH",
    "APRIL",
    "CENT",
    "LIBERTY",
    "TRUST",
    "TYPE",
    "CLASS",
    "WATER",
    "METER",
    "KG",
    "MAX",
    "VOLTS",
]
MONTHS = ["JAN", "FEB", "MAR", "APR", "MAY", "JUNE", "JULY", "AUG", "SEPT", "OCT", "NOV", "DEC"]
VEHICLE = "ABCDEFGHJKLMNPRSTUVWXYZ0123456789"
"""The characters of vehicle identification numbers (ISO 3779: no I, O or Q)."""

CLEAR = VEHICLE[:23]
"""Letters that stand close to figures: none that could be taken for one, so that a figure's neighbors tell it."""

BROAD, BROAD_SHARE = "MWNH", 0.12
"""Letters that blur most easily when small, and how often one is drawn on purpose."""

LONE = "0101010123456789"
"""Single figures are drawn from these: 0 and 1, which look most like marks that are no figures, four times as often."""


def _figures(rng: np.random.Generator, low: int, high: int) -> str:
    text = "".join(str(d) for d in rng.integers(0, 10, int(rng.integers(low, high + 1))))
    if text[0] == "0" and rng.random() < 0.7:
        text = str(rng.integers(1, 10)) + text[1:]
    return text


def _lone(rng: np.random.Generator) -> str:
    return LONE[int(rng.integers(len(LONE)))]


def _letter(rng: np.random.Generator, choice: str = "ABCDEFGHIJKLMNOPQRSTUVWXYZ") -> str:
    if rng.random() < BROAD_SHARE:
        return BROAD[int(rng.integers(len(BROAD)))]
    return choice[int(rng.integers(len(choice)))]


def _year(rng: np.random.Generator) -> str:
    return str(int(rng.integers(1780, 2030)) if rng.random() < 0.5 else int(rng.integers(1840, 1995)))


def _prefixed(rng: np.random.Generator) -> str:
    sign = str(
        rng.choice(["No. ", "No ", "NO. ", "No.", "N° ", "N°", "# ", "#", "NR. ", "Nr. ", "SERIAL NO. "], p=_SIGN_P)
    )
    return sign + _figures(rng, 2, 6)


_SIGN_P = [0.28, 0.14, 0.12, 0.12, 0.06, 0.04, 0.06, 0.06, 0.04, 0.05, 0.03]


def _lettered(rng: np.random.Generator) -> str:
    gap = " " if rng.random() < 0.6 else "-" if rng.random() < 0.3 else ""
    number = _figures(rng, 1, 6)
    roll = rng.random()
    if roll < 0.5:
        return _letter(rng, CLEAR) + gap + number
    if roll < 0.85:
        return number + gap + _letter(rng, CLEAR)
    return _letter(rng) + _letter(rng, CLEAR) + gap + number


def _date(rng: np.random.Generator) -> str:
    day, month, year = int(rng.integers(1, 32)), int(rng.integers(1, 13)), _year(rng)
    forms = (
        f"{day}/{month}/{year}",
        f"{MONTHS[month - 1]} {day} {year}",
        f"{month}-{day}-{year[2:]}",
        f"{day}.{month}.{year}",
        f"{MONTHS[month - 1]}. {day} {year[2:]}",
        f"{day}.{month}.{year[2:]}",
        f"{MONTHS[month - 1]} {year}",
    )
    return forms[int(rng.integers(len(forms)))]


def _grouped(rng: np.random.Generator) -> str:
    sign = str(rng.choice([".", ",", " ", "-", "/"], p=[0.35, 0.25, 0.2, 0.1, 0.1]))
    return (
        _figures(rng, 1, 3) + sign + _figures(rng, 1, 3) + (sign + _figures(rng, 2, 3) if rng.random() < 0.15 else "")
    )


def _mixed(rng: np.random.Generator) -> str:
    length = int(rng.integers(5, 9))
    letters = rng.random() * 0.6 + 0.1
    return "".join(_letter(rng, CLEAR) if rng.random() < letters else str(rng.integers(10)) for _ in range(length))


def _vehicle(rng: np.random.Generator) -> str:
    front = "".join(VEHICLE[int(k)] for k in rng.integers(0, 23, 3))
    middle = "".join(VEHICLE[int(k)] for k in rng.integers(0, 33, 8))
    if rng.random() < 0.4:
        middle = "ZZZ" + middle[3:]
    return front + middle + str(rng.integers(0, 10**6)).zfill(6)


def _word(rng: np.random.Generator) -> str:
    roll = rng.random()
    if roll < 0.25:
        return "".join(_letter(rng) for _ in range(int(rng.integers(2, 9))))
    word = WORDS[int(rng.integers(len(WORDS)))]
    if roll < 0.45:
        word += " " + WORDS[int(rng.integers(len(WORDS)))]
    return word.lower() if rng.random() < 0.15 else word.title() if rng.random() < 0.35 else word


def _plate(rng: np.random.Generator) -> str:
    """Return groups of letters and figures with a gap, as on number plates."""
    forms = ("AA 999AA", "AAA-999", "AAA 9999", "9AAA999", "AA9-A9A", "9A9 9999", "AA99 AAA", "A-999-AA", "AAA 999")
    form = forms[int(rng.integers(len(forms)))]
    return "".join(_letter(rng) if c == "A" else str(rng.integers(10)) if c == "9" else c for c in form)


def _counter(rng: np.random.Generator) -> str:
    """Return figures with noughts in front, as counters show them."""
    return "0" * int(rng.integers(1, 5)) + _figures(rng, 1, 4)


KINDS = (
    (0.37, lambda r: _figures(r, 3, 7)),
    (0.04, _counter),
    (0.045, lambda r: _figures(r, 7, 9)),
    (0.085, _year),
    (0.095, lambda r: _figures(r, 1, 2)),
    (0.04, _lone),
    (0.055, _prefixed),
    (0.055, _lettered),
    (0.03, _date),
    (0.045, _grouped),
    (0.02, _mixed),
    (0.045, _plate),
    (0.045, _vehicle),
    (0.03, _word),
)
"""Share and maker of each kind of string."""


def random_string(rng: np.random.Generator) -> str:
    """Return one string of at most LONGEST characters."""
    shares = np.cumsum([share for share, _ in KINDS])
    make = KINDS[int(np.searchsorted(shares, rng.random() * shares[-1]))][1]
    return str(make(rng)).strip()[:LONGEST].strip()


def read_as(text: str) -> str:
    """Return a drawn string as it is to be read: capitals, and a comma read as a point."""
    return "".join(c for c in text.upper().replace(",", ".") if c in READ)
