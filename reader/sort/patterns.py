"""What strings on an instrument look like: look-alikes, the forms of numbers, and how one line splits into pieces.

In comes the text of one line as it was read; out come pieces, each with a form ('patent', 'figures', 'words' ...) that
rules.py judges. Words with figures are taken out first, by phrases.py; what is left falls apart at blanks. Only text
is looked at here, never places on the photo or probabilities. The forms are common practice of the trade unless a
source is named.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

from reader.sort.phrases import PHRASES
from reader.sort.vocabulary import STOP_WORDS

SERIAL_FIGURES = (3, 7)
"""Fewest and most figures that a serial normally has (common practice)."""

GROUP_MAX = 4
"""Most figures of a group that is taken for a part of a number; one of five is a serial by itself. Judgement."""

YEARS = range(1750, 1951)
"""Years that a four-figure number is taken for: the time in which these instruments were made."""

FIGURE_OF = {"O": "0", "Q": "0", "D": "0", "I": "1", "|": "1", "B": "8", "S": "5", "Z": "2", "G": "6"}
"""The figure that each sign is taken for in old type; a small l is handled as '|'. Common practice."""

HEAD_AS_FIGURE, TAIL_AS_FIGURE = "Il", "IlOo"
"""Look-alikes that are read as the figure even at the beginning and the end of a run: a bare upright is seldom a model
letter, and a letter joined on behind the figures is rare. All others at a run's ends stay letters."""


@dataclass(frozen=True)
class Piece:
    """One part of a line.

    `start` and `end` bound all of it, announcing words and signs included, as indices into the line. `places` are the
    indices of the characters that spell `text`; for the form 'figures' these are figures only. `announced` is what
    stood before the figures ('No.'). `case_like` is one letter joined to exactly four figures. `dropped` are the signs
    or blanks left out between figures. `broken` says that the figures stand in groups as no number is written, so that
    something may lie across it and hide a figure. `repaired` are places where a letter was read as a figure. `variants`
    are other numbers that a look-alike at the run's ends leaves open.
    """

    form: str
    start: int
    end: int
    places: tuple[int, ...]
    text: str
    announced: str = ""
    case_like: bool = False
    dropped: str = ""
    broken: bool = False
    repaired: tuple[int, ...] = ()
    variants: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Line:
    """A line as read, with look-alikes as signs of one shape, and in capitals with figures repaired; equal lengths."""

    raw: str
    shape: str
    text: str

    def repaired(self, places: Iterable[int]) -> tuple[int, ...]:
        return tuple(p for p in places if self.text[p] != self.shape[p] and self.text[p].isdigit())


def fold(text: str) -> str:
    """Return capitals without accents, one for each code point, quotes, dashes and blanks of one kind each."""
    return "".join(_fold_one(sign) for sign in text)


_SAME = str.maketrans({**dict.fromkeys("’‘′´`", "'"), **dict.fromkeys("”“″", '"'), **dict.fromkeys("–—−‐", "-")})


@lru_cache(maxsize=4096)
def _fold_one(sign: str) -> str:
    if sign.isspace():
        return " "
    sign = sign.translate(_SAME)
    plain = [part for part in unicodedata.normalize("NFKD", sign) if not unicodedata.combining(part)]
    base = plain[0] if len(plain) == 1 and not plain[0].isspace() else sign
    return base.upper() if len(base.upper()) == 1 else base


def figure_of(sign: str) -> str | None:
    """Return the figure that a sign is or looks like, None for all others."""
    shape = "|" if sign == "l" else fold(sign)
    return shape if len(shape) == 1 and shape in "0123456789" else FIGURE_OF.get(shape)


# --- letters that stand for figures -------------------------------------------------------------------------------

_RUN = re.compile(r"[0-9OQDI|BSZG](?:[.,]?[0-9OQDI|BSZG])*")


def _make_line(raw: str) -> _Line:
    folded = fold(raw)
    shape = "".join("|" if sign == "l" else other for sign, other in zip(raw, folded, strict=True))
    text = list(folded)
    for run in _RUN.finditer(shape):
        for place in _figure_places(raw, shape, run.start(), run.end()):
            text[place] = FIGURE_OF[shape[place]]
    return _Line(raw, shape, "".join(text))


def _figure_places(raw: str, shape: str, start: int, end: int) -> list[int]:
    """Return where a run that is mostly figures has a letter in a figure's place."""
    figures = [p for p in range(start, end) if shape[p] in "0123456789"]
    if len(figures) < SERIAL_FIGURES[0]:
        return []
    inner = [p for p in range(figures[0], figures[-1]) if shape[p] in FIGURE_OF]
    if len(inner) >= len(figures):
        return []
    tail = list(range(figures[-1] + 1, end))
    if _is_letter(shape, end) or any(raw[p] not in TAIL_AS_FIGURE for p in tail):
        tail = []
    head = [p for p in range(start, figures[0]) if raw[p] in HEAD_AS_FIGURE]
    if figures[0] - start != 1 or _is_letter(shape, start - 1):
        head = []
    ends = head + tail if len(figures) + len(inner) + len(head) + len(tail) <= SERIAL_FIGURES[1] else []
    return inner + ends


def _is_letter(text: str, place: int) -> bool:
    return 0 <= place < len(text) and text[place].isalpha()


# --- splitting a line: phrases first ------------------------------------------------------------------------------


@lru_cache(maxsize=4096)
def split_line(raw: str) -> tuple[Piece, ...]:
    """Split a line into its pieces, in order. Every sign that is not blank lies within one piece's start and end."""
    line = _make_line(raw)
    pieces = _claim_phrases(line)
    claimed = {place for piece in pieces for place in range(piece.start, piece.end)}
    for token in re.finditer(r"\S+", "".join(" " if p in claimed else s for p, s in enumerate(line.text))):
        pieces += _token_pieces(line, token.start(), token.end())
    pieces = _join_figures(line, sorted(pieces, key=lambda piece: piece.start))
    return tuple(_attach_signs(_attach_announcements(_join_words(line, _settle_letters(pieces)))))


def _claim_phrases(line: _Line) -> list[Piece]:
    pieces: list[Piece] = []
    free = [True] * len(line.text)
    for form, pattern in PHRASES:
        for match in pattern.finditer(line.text):
            start, end = match.start(), match.end()
            start += len(match[0]) - len(match[0].lstrip())
            end -= len(match[0]) - len(match[0].rstrip())
            if start < end and all(free[start:end]):
                free[start:end] = [False] * (end - start)
                pieces.append(_phrase_piece(line, form, start, end))
    return pieces


def _phrase_piece(line: _Line, form: str, start: int, end: int) -> Piece:
    if form == "row":
        form = _row_form(line.text[start:end])
    if form == "figures":
        return _figures_piece(line, start, end)
    return _text_piece(line, form, start, end)


def _row_form(text: str) -> str:
    """Tell keys counting up (or down) by one from string gauges, single figures set wide, and any other row."""
    numbers = [float(part) for part in re.sub(r"\s?½|\s1/2", ".5", text).split()]
    steps = {second - first for first, second in pairwise(numbers)}
    if steps in ({1.0}, {-1.0}):
        return "key-row"
    if all(number < 10 and number == int(number) for number in numbers) and len(numbers) <= SERIAL_FIGURES[1]:
        return "figures"
    if all(12 <= number <= 26.5 for number in numbers) and min(steps) >= 0:
        return "gauge-row"
    return "number-row"


def _text_piece(line: _Line, form: str, start: int, end: int) -> Piece:
    places = range(start, end)
    repaired = line.repaired(places)
    text = "".join(line.text[p] if p in repaired else line.raw[p] for p in places)
    return Piece(form, start, end, tuple(places), " ".join(text.split()), repaired=repaired)


def _figures_piece(line: _Line, start: int, end: int, case_like: bool = False) -> Piece:
    places = tuple(p for p in range(start, end) if line.text[p] in "0123456789")
    inside = line.text[places[0] : places[-1] + 1]
    return Piece(
        "figures",
        start,
        end,
        places,
        "".join(line.text[p] for p in places),
        case_like=case_like,
        dropped="".join(sorted({sign for sign in inside if not sign.isdigit()})),
        repaired=line.repaired(places),
        variants=_end_variants(line, places),
    )


def _end_variants(line: _Line, places: Sequence[int]) -> tuple[str, ...]:
    """Return the numbers that come out if a look-alike at either end is taken the other way."""
    text = "".join(line.text[p] for p in places)
    first, last = places[0], places[-1]
    found = []
    if line.shape[first] in FIGURE_OF:
        found.append(text[1:])
    elif first and line.shape[first - 1] in FIGURE_OF and not line.text[max(first - 2, 0) : first - 1].isalnum():
        found.append(FIGURE_OF[line.shape[first - 1]] + text)
    if line.shape[last] in FIGURE_OF:
        found.append(text[:-1])
    elif line.shape[last + 1 : last + 2] in FIGURE_OF and not line.text[last + 2 : last + 3].isalnum():
        found.append(text + FIGURE_OF[line.shape[last + 1]])
    return tuple(number for number in found if SERIAL_FIGURES[0] <= len(number) <= SERIAL_FIGURES[1])


# --- single words and numbers -------------------------------------------------------------------------------------

_NUMBER = r"(?:[0-9]+|[0-9]{1,3}(?:[.,'][0-9]{3})+)"
_LETTERS_NUMBER = re.compile(rf"([A-Z]{{1,3}})[-.]?(?=[0-9.,']{{4}})({_NUMBER})")
_NUMBER_LETTERS = re.compile(rf"(?=[0-9.,']{{3}})({_NUMBER})[-.]?([A-Z]{{1,2}})")
_CASE_NUMBER = re.compile(r"[A-Z]0[0-9]{3}")
_TOKENS = (
    ("figures", re.compile(_NUMBER)),
    ("case-number", _CASE_NUMBER),
    ("pool", re.compile(r"[A-Z]{1,2}-[0-9]{2,3}")),
    ("code", re.compile(r"[A-Z]{1,3}-?[0-9]{1,3}|[A-Z]/[A-Z]")),
    ("pair", re.compile(r"([0-9]{1,3})[|/]\1")),
)


def _token_pieces(line: _Line, start: int, end: int) -> list[Piece]:
    inner = [p for p in range(start, end) if line.text[p].isalnum()]
    core = line.text[inner[0] : inner[-1] + 1] if inner else ""
    for pattern, first in ((_LETTERS_NUMBER, "letters"), (_NUMBER_LETTERS, "figures")):
        match = pattern.fullmatch(core)
        if match and not _CASE_NUMBER.fullmatch(core):
            cut = inner[0] + match.start(2)
            if first == "figures":
                return [_figures_piece(line, start, cut), _text_piece(line, "letters", cut, end)]
            case_like = bool(re.fullmatch(r"[A-Z][0-9]{4}", core))
            return [_text_piece(line, "letters", start, cut), _figures_piece(line, cut, end, case_like)]
    form = _token_form(core, line.shape[start:end])
    return [_figures_piece(line, start, end) if form == "figures" else _text_piece(line, form, start, end)]


def _token_form(core: str, shape: str) -> str:
    """Return the form of a token, from its core between outer signs and from its shape."""
    known = next((form for form, pattern in _TOKENS if pattern.fullmatch(core)), None)
    if re.fullmatch(r"[I|]{1,4}|IV", shape):
        known = "roman"
    elif not core:
        known = "signs"
    elif known is None and any(sign.isdigit() for sign in core):
        known = "mixed"
    short = core.isalpha() and len(core) <= 3 and core not in STOP_WORDS
    return known or ("short" if short else "words")


def _settle_letters(pieces: list[Piece]) -> list[Piece]:
    """Decide for short words and Roman figures whether they stand alone, accompany figures, or are words."""
    settled = []
    for place, piece in enumerate(pieces):
        around = [pieces[p].form for p in (place - 1, place + 1) if 0 <= p < len(pieces)]
        beside = any(form in ("figures", "announcement") for form in around)
        alone = all(other.form == "signs" for other in pieces if other is not piece)
        form = piece.form
        if form == "short":
            form = "letters" if beside or alone else "words"
        elif form == "roman" and not alone:
            form = "signs" if not piece.text.isalpha() else "letters" if beside else "words"
        settled.append(_bare_letters(piece) if form == "letters" else replace(piece, form=form))
    return settled


def _bare_letters(piece: Piece) -> Piece:
    """Return a model's letters without the dot or dash beside them; they still lie within its bounds."""
    own = [(place, sign) for place, sign in zip(piece.places, piece.text, strict=True) if sign.isalpha()]
    return replace(piece, form="letters", places=tuple(p for p, _ in own), text="".join(sign for _, sign in own))


def _join_words(line: _Line, pieces: list[Piece]) -> list[Piece]:
    joined: list[Piece] = []
    for piece in pieces:
        before = [other for other in joined[-2:] if other.form != "signs"][-1:]
        if piece.form == "words" and before and before[0].form == "words":
            joined[joined.index(before[0]) :] = [_text_piece(line, "words", before[0].start, piece.end)]
        else:
            joined.append(piece)
    return joined


def _join_figures(line: _Line, pieces: Sequence[Piece]) -> list[Piece]:
    """Join two groups of figures with one blank between them that make one number which something crosses.

    Both are short for a serial and one is no small number ('739 70'); a day and a year ('21 1884') stay apart.
    """
    joined: list[Piece] = []
    for piece in pieces:
        before = joined[-1] if joined else None
        if before and _are_one_number(before, piece) and line.text[before.end : piece.start] == " ":
            joined[-1] = replace(_figures_piece(line, before.start, piece.end), broken=True)
        else:
            joined.append(piece)
    return joined


def _are_one_number(first: Piece, second: Piece) -> bool:
    if first.form != "figures" or second.form != "figures" or first.broken or first.case_like or second.case_like:
        return False
    if is_day(first.text) and is_year(second.text):
        return False
    lengths = len(first.text), len(second.text)
    return SERIAL_FIGURES[0] <= max(lengths) <= GROUP_MAX and sum(lengths) <= SERIAL_FIGURES[1]


def is_day(text: str) -> bool:
    """Whether figures may be a day of the month."""
    return len(text) <= 2 and 1 <= int(text) <= 31


def is_year(text: str) -> bool:
    """Whether figures may be a year of the time in which these instruments were made."""
    return len(text) == 4 and int(text) in YEARS


def _attach_announcements(pieces: list[Piece]) -> list[Piece]:
    """Give each 'No.' to the figures that follow, past a model letter between them."""
    result: list[Piece | None] = list(pieces)
    for place, piece in enumerate(pieces):
        forms = [after.form for after in pieces[place + 1 : place + 3]]
        steps = 1 if forms[:1] == ["figures"] else 2 if forms == ["letters", "figures"] else 0
        if piece.form == "announcement" and steps:
            result[place + steps] = replace(pieces[place + steps], announced=piece.text)
            result[place + 1] = replace(result[place + 1] or pieces[place + 1], start=piece.start)
            result[place] = None
    return [piece for piece in result if piece]


def _attach_signs(pieces: list[Piece]) -> list[Piece]:
    """Let lone signs (a dot, a dash) belong to a neighbor's bounds; a line of nothing else is one piece."""
    kept = [piece for piece in pieces if piece.form != "signs"] or pieces[:1]
    for sign in (piece for piece in pieces if piece.form == "signs"):
        before = [p for p, piece in enumerate(kept) if piece.start <= sign.start]
        place = before[-1] if before else 0
        kept[place] = replace(kept[place], start=min(kept[place].start, sign.start), end=max(kept[place].end, sign.end))
    return kept
