"""From readings to marks: splits every line and lets the trade's rules say what each part is.

Readings come from recognize; marks go to choose.py and into the answer. One function holds one rule; RULES lists them
in order of precedence, and the first that speaks decides. A rule sees one draft (a part of a line) and the scene (all
drafts with their places on the photo). The numbers for how sure a rule is are judgement, to be checked by benchmark;
the rules are common practice of the trade. The last part of the file carries a line's doubt over to its marks.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from reader.geometry import part_quad, quad_size
from reader.results import Candidate, Character, Mark, MarkKind, Quad, Reading, Rival
from reader.sort.patterns import SERIAL_FIGURES, Piece, figure_of, split_line

SURE_ALONE = {3: 0.5, 4: 0.8, 5: 0.95, 6: 0.95, 7: 0.75}
SURE_WITH_LETTER = {3: 0.7, 4: 0.92, 5: 0.98, 6: 0.98, 7: 0.85}
SURE_ANNOUNCED = {1: 0.2, 2: 0.35, 3: 0.9, 4: 0.97, 5: 0.99, 6: 0.99, 7: 0.95}
"""How sure a number of so many figures is a serial: bare, with a model letter, after 'No.'. Judgement."""

YEAR_LIKE, CASE_LIKE, WIDE, MANY_THOUSANDS = 0.55, 0.6, 0.85, 0.6
"""Factors on it: reads like a year; letter joined to four figures; blanks between figures; written in millions."""

NEARBY_SURE = 0.97
"""Factor on a rule's sureness where the announcing word is a string of its own beside or above. Judgement."""

YEARS = range(1750, 1951)
"""Years that a four-figure number is taken for: the time in which these instruments were made."""

KEYS = range(1, 89)
"""Key, hammer and damper numbers (common practice: 88 keys at most)."""

LETTER_REACH = 3.0
"""Farthest that a model letter stands from its number, in heights of the figures. Judgement."""

ABOVE_REACH = 1.5
"""Farthest that a word stands above the number it announces, in heights of the figures. Judgement."""

LETTER_SIZE = (0.4, 4.0)
"""A model letter's height as a share of the figures'; it is often a large stencil (common practice)."""

LIKELY = 0.3
"""A number read with less than this does not change what is said of another."""

REPAIR_SURE = 0.9
"""How sure a letter that was read among figures is the figure it looks like. Judgement."""

END_DOUBT = 0.15
"""Share of a number's probability that goes to what a look-alike at its end leaves open. Judgement."""

ALTERNATIVES_MAX = 5
"""Most other strings that a mark offers."""

_COUNT = ("no figures", "one figure", "two figures", "three figures", "four figures", "five figures", "six figures")


@dataclass(frozen=True)
class Verdict:
    """What one rule says: the kind, the rule's name, the reason in one sentence, and how sure it is (0 to 1)."""

    kind: MarkKind
    rule: str
    why: str
    kind_probability: float


@dataclass(frozen=True)
class Draft:
    """A part of a line before judgement. `line` and `place` say which line and which part of it; `alone`: all of it."""

    reading: Reading
    piece: Piece
    quad: Quad
    line: int
    place: int
    alone: bool

    @property
    def is_number(self) -> bool:
        """Whether it is figures only."""
        return self.piece.form == "figures"

    @property
    def may_be_serial(self) -> bool:
        """Whether it is a number as long as a serial."""
        return self.is_number and SERIAL_FIGURES[0] <= len(self.piece.text) <= SERIAL_FIGURES[1]

    @cached_property
    def height(self) -> float:
        """Height in pixels, never 0."""
        return max(quad_size(self.quad)[1], 1e-6)


Scene = Sequence[Draft]
Rule = Callable[[Draft, Scene], Verdict | None]


def sort_readings(readings: Sequence[Reading]) -> tuple[Mark, ...]:
    """Split all readings into marks and say what each is.

    Marks are numbered from 0 in the order of the readings, left to right within one; nothing else depends on that
    order. A reading without characters gives no mark. Never raises for any text.
    """
    scene = [draft for line, reading in enumerate(readings) for draft in _draft_line(line, reading)]
    return tuple(_make_mark(number, draft, judge(draft, scene)) for number, draft in enumerate(scene))


def judge(draft: Draft, scene: Scene) -> Verdict:
    """Return what the first rule says that speaks."""
    for rule in RULES:
        verdict = rule(draft, scene)
        if verdict is not None:
            return verdict
    return Verdict(MarkKind.OTHER, "no-rule", "no rule of the trade knows this form", 0.5)


def _draft_line(line: int, reading: Reading) -> list[Draft]:
    characters = _single_signs(reading.characters)
    reading = replace(reading, characters=characters)
    pieces = split_line("".join(character.text for character in characters))
    return [
        Draft(reading, piece, _piece_quad(reading, piece), line, place, len(pieces) == 1)
        for place, piece in enumerate(pieces)
    ]


def _single_signs(characters: Sequence[Character]) -> tuple[Character, ...]:
    """Return characters of one code point each; one of several (a ligature) becomes several that share its doubt."""
    result: list[Character] = []
    for character in characters:
        count = len(character.text)
        if count == 1:
            result.append(character)
        else:
            share = max(character.probability, 0.0) ** (1 / max(count, 1))
            result += [replace(character, text=sign, probability=share, rivals=()) for sign in character.text]
    return tuple(result)


def _piece_quad(reading: Reading, piece: Piece) -> Quad:
    spans = [reading.characters[place].span for place in piece.places]
    start, end = min(span[0] for span in spans), max(span[1] for span in spans)
    return part_quad(reading.region.quad, start, end) if end > start else reading.region.quad


# --- places -------------------------------------------------------------------------------------------------------


def offset(of: Draft, other: Draft) -> tuple[float, float]:
    """Return how far the other draft lies along and below, in heights of the first; 0 where they overlap.

    Negative: the other ends before this one begins, or above it. Measured in the first one's direction of reading.
    """
    along = (of.quad[1] - of.quad[0]) + (of.quad[2] - of.quad[3])
    length = max(math.hypot(float(along[0]), float(along[1])), 1e-6)
    x, y = float(along[0]) / length, float(along[1]) / length
    mine, theirs = of.quad.tolist(), other.quad.tolist()
    return (
        _gap([px * x + py * y for px, py in mine], [px * x + py * y for px, py in theirs]) / of.height,
        _gap([py * x - px * y for px, py in mine], [py * x - px * y for px, py in theirs]) / of.height,
    )


def _gap(mine: Sequence[float], theirs: Sequence[float]) -> float:
    if min(theirs) > max(mine):
        return min(theirs) - max(mine)
    return min(max(theirs) - min(mine), 0.0)


def accompanies(letter: Draft, number: Draft) -> bool:
    """Whether a letter stands next to a number in its line, or beside or above it within reach and of fitting size."""
    if letter.line == number.line:
        return abs(letter.place - number.place) == 1
    if not LETTER_SIZE[0] <= letter.height / number.height <= LETTER_SIZE[1]:
        return False
    along, below = offset(number, letter)
    beside = below == 0 and abs(along) < LETTER_REACH
    return beside or (along == 0 and -LETTER_REACH < below < 0)


def _letter_of(number: Draft, scene: Scene) -> Draft | None:
    found = [draft for draft in scene if draft.piece.form == "letters" and accompanies(draft, number)]
    return min(found, key=lambda draft: draft.piece.text, default=None)


def _likely_numbers(draft: Draft, scene: Scene) -> list[Draft]:
    """Return well-read numbers of other lines that may be a serial."""
    return [d for d in scene if d.line != draft.line and d.may_be_serial and d.reading.probability >= LIKELY]


# --- rules for words with figures ---------------------------------------------------------------------------------


def patent(draft: Draft, scene: Scene) -> Verdict | None:
    """PAT, PATENTED, REG and the like, with the numbers or dates that follow."""
    if draft.piece.form != "patent":
        return None
    figures = any(sign.isdigit() for sign in draft.piece.text)
    why = "figures after a patent word are a patent's number or date" if figures else "a word of patents"
    return Verdict(MarkKind.PATENT, "patent-word", f"{why}; common practice", 0.97 if figures else 0.9)


def date(draft: Draft, scene: Scene) -> Verdict | None:
    """Month, day and year, or a month's name."""
    if draft.piece.form == "month":
        return Verdict(MarkKind.PATENT, "month-name", "a month's name, likely of a patent date; common practice", 0.6)
    if draft.piece.form != "date":
        return None
    named = sum(sign.isalpha() for sign in draft.piece.text) >= 2
    why = "a day, month and year, as in patent dates (or a repairer's note); common practice"
    return Verdict(MarkKind.PATENT, "date", why, 0.85 if named else 0.6)


def service_date(draft: Draft, scene: Scene) -> Verdict | None:
    """A tuner's or repairer's date."""
    if draft.piece.form != "service-date":
        return None
    return Verdict(MarkKind.CALENDAR_YEAR, "service-date", "a tuner's or repairer's date; common practice", 0.9)


def announced_year(draft: Draft, scene: Scene) -> Verdict | None:
    """A year after Established, a medal or an exhibition's city."""
    if draft.piece.form != "year":
        return None
    why = "a year after a word of founding, copyright, medal or exhibition city; common practice"
    return Verdict(MarkKind.CALENDAR_YEAR, "announced-year", why, 0.95)


def size(draft: Draft, scene: Scene) -> Verdict | None:
    """Feet and inches, centimeters, octaves, notes, string gauges."""
    if draft.piece.form == "gauge-row":
        return Verdict(MarkKind.SIZE, "string-gauges", "a row of string gauges (12 to 26); common practice", 0.9)
    if draft.piece.form == "fraction":
        return Verdict(MarkKind.SIZE, "fraction", "a number with a fraction is a size; common practice", 0.7)
    if draft.piece.form != "size":
        return None
    return Verdict(
        MarkKind.SIZE, "size-unit", "a number with its unit of size, weight or compass; common practice", 0.95
    )


def model_word(draft: Draft, scene: Scene) -> Verdict | None:
    """STYLE, MODEL or SCALE with figures or letters."""
    if draft.piece.form != "model":
        return None
    long = sum(sign.isdigit() for sign in draft.piece.text) >= 5
    why = "figures or letters named as style, model or scale; common practice"
    if long:
        why = "named as style or model, but as long as a serial; common practice"
    return Verdict(MarkKind.MODEL, "model-word", why, 0.6 if long else 0.95)


def other_series(draft: Draft, scene: Scene) -> Verdict | None:
    """Numbers of other series: lots, hire, cases, stacks, prices, museums."""
    says = {
        "series": ("other-series", "the word before it names another series (lot, hire, case, stack)", 0.9),
        "pool": ("pool-number", "letters, a dash and two or three figures, as of a hire or concert pool", 0.6),
        "price": ("price", "figures after a currency sign", 0.9),
        "inventory": ("inventory", "a year or letters and a running number, as museums write", 0.85),
        "case-number": ("case-number", "one letter joined to four figures from 0, as case numbers are", 0.7),
        "number-row": ("number-row", "a row of small numbers", 0.9),
    }.get(draft.piece.form)
    return says and Verdict(MarkKind.OTHER, says[0], f"{says[1]}; common practice", says[2])


def address(draft: Draft, scene: Scene) -> Verdict | None:
    """Streets, telephone numbers, a number with a place after a comma."""
    if draft.piece.form not in ("address", "place"):
        return None
    sure = 0.9 if draft.piece.form == "address" else 0.6
    return Verdict(
        MarkKind.ADDRESS, "address", "a number with words of a street, telephone or town; common practice", sure
    )


def key_row(draft: Draft, scene: Scene) -> Verdict | None:
    """Small numbers in one line that count up or down by one."""
    if draft.piece.form != "key-row":
        return None
    return Verdict(MarkKind.KEY_NUMBER, "key-row", "small numbers that count by one, as on keys; common practice", 0.9)


PHRASE_RULES: tuple[Rule, ...] = (
    patent,
    date,
    service_date,
    announced_year,
    size,
    model_word,
    other_series,
    address,
    key_row,
)

# --- rules for numbers --------------------------------------------------------------------------------------------


def serial_announced(draft: Draft, scene: Scene) -> Verdict | None:
    """'No.' and its like before one to seven figures."""
    sure = SURE_ANNOUNCED.get(len(draft.piece.text))
    if not draft.is_number or not draft.piece.announced or sure is None:
        return None
    why = f"{_count(draft)} after '{draft.piece.announced}'"
    if len(draft.piece.text) < SERIAL_FIGURES[0]:
        why += ", few for a serial"
    factor = 0.9 if draft.piece.case_like else _form_factor(draft.piece)
    return Verdict(MarkKind.SERIAL, "serial-announced", _reason(why, draft.piece), sure * factor)


def announced_nearby(draft: Draft, scene: Scene) -> Verdict | None:
    """A word left of, above or (for streets) right of the number, in a string of its own, that says what it is."""
    if not draft.is_number or draft.piece.announced:
        return None
    for word in sorted((w for w in scene if _is_word(w) and w.line != draft.line), key=lambda w: w.piece.text):
        along, below = offset(draft, word)
        left = below == 0 and -LETTER_REACH < along < 0
        above = along == 0 and -ABOVE_REACH < below < 0
        right = below == 0 and 0 < along < LETTER_REACH
        said = _said_together(draft, word, right) if left or above or right else None
        if said is not None:
            why = said.why.replace("; common", f", '{word.piece.text}' {'above' if above else 'beside'} it; common", 1)
            return replace(said, why=why, kind_probability=said.kind_probability * NEARBY_SURE)
    return None


def _is_word(draft: Draft) -> bool:
    worded = draft.piece.form in ("words", "announcement", "patent", "month", "letters")
    return worded and not any(sign.isdigit() for sign in draft.piece.text)


def _said_together(draft: Draft, word: Draft, right: bool) -> Verdict | None:
    """Return what the rules for words say of word and number read as one line."""
    parts = (draft.piece.text, word.piece.text) if right else (word.piece.text, draft.piece.text)
    pieces = split_line(" ".join(parts))
    piece = pieces[0 if right else -1]
    together = replace(draft, piece=replace(piece, case_like=draft.piece.case_like))
    rules = (serial_announced,) if piece.form == "figures" else PHRASE_RULES
    return next((verdict for rule in rules if (verdict := rule(together, ()))), None)


def row_across_lines(draft: Draft, scene: Scene) -> Verdict | None:
    """Three or more small numbers of one height, evenly apart, that count by one; one above 4, or they mark legs."""
    number = _small_number(draft)
    if number is None:
        return None
    others = [(d, n) for d in scene if d.line != draft.line and (n := _small_number(d)) is not None]
    for first, a in others:
        for second, b in others:
            row = sorted([(number, draft), (a, first), (b, second)], key=lambda pair: pair[0])
            values = [value for value, _ in row]
            if values == list(range(values[0], values[0] + 3)) and values[2] > 4 and _even([d for _, d in row]):
                why = "stands in a row of small numbers that count by one; common practice"
                return Verdict(MarkKind.KEY_NUMBER, "key-row", why, 0.9)
    return None


def _small_number(draft: Draft) -> int | None:
    if not draft.is_number or draft.piece.announced or len(draft.piece.text) > 2:
        return None
    return int(draft.piece.text) if int(draft.piece.text) in KEYS else None


def _even(row: Sequence[Draft]) -> bool:
    """Whether three drafts are of one height and the middle one lies near the middle of the other two."""
    heights = [draft.height for draft in row]
    a, b, c = (draft.quad.mean(axis=0) for draft in row)
    reach = math.hypot(*(c - a).tolist())
    aside = math.hypot(*(b - (a + c) / 2).tolist())
    return max(heights) < 1.6 * min(heights) and reach > 0 and aside < 0.2 * reach


def serial_suffix(draft: Draft, scene: Scene) -> Verdict | None:
    """The last two to four figures of a longer number elsewhere: supports it, proves nothing."""
    text = draft.piece.text
    if not draft.is_number or draft.piece.announced or not 2 <= len(text) <= 4:
        return None
    longer = [d.piece.text for d in _likely_numbers(draft, scene) if len(d.piece.text) > max(len(text), 3)]
    whole = min((number for number in longer if number.endswith(text)), default=None)
    if whole is None:
        return None
    why = (
        f"the last {_count(draft)} of {whole}, as loose parts carry them: supports it, proves nothing; common practice"
    )
    return Verdict(MarkKind.OTHER, "serial-suffix", why, 0.75)


def part_position(draft: Draft, scene: Scene) -> Verdict | None:
    """A lone 1 to 4, a lone Roman I to IIII or IV, or the same figures on both sides of a joint."""
    form, text = draft.piece.form, draft.piece.text
    if form == "pair":
        return Verdict(
            MarkKind.PART_POSITION, "joint-pair", "the same figures on both sides of a joint; common practice", 0.8
        )
    lone_figure = draft.is_number and draft.alone and not draft.piece.announced and text in ("1", "2", "3", "4")
    if form != "roman" and not lone_figure:
        return None
    what = "Roman figure" if form == "roman" else "figure 1 to 4"
    sure = 0.5 if not text.isalnum() else 0.6 if text == "I" else 0.9
    why = f"a lone {what} is the place of a leg, lyre or other part; common practice"
    return Verdict(MarkKind.PART_POSITION, "part-position", why, sure)


def key_number(draft: Draft, scene: Scene) -> Verdict | None:
    """A lone number from 1 to 88."""
    if _small_number(draft) is None or not draft.alone:
        return None
    why = f"a lone number of {_count(draft)}, as on keys, hammers and joints; common practice"
    return Verdict(MarkKind.KEY_NUMBER, "key-number", why, 0.7)


def bare_year(draft: Draft, scene: Scene) -> Verdict | None:
    """A four-figure number that reads like a year while a longer or a 'No.' number stands elsewhere."""
    if not _reads_like_year(draft) or draft.piece.announced or draft.piece.case_like or _letter_of(draft, scene):
        return None
    better = [d for d in scene if d is not draft and d.may_be_serial and d.reading.probability >= LIKELY]
    if not any(len(d.piece.text) > 4 or d.piece.announced for d in better):
        return None
    why = "reads like a year, and another number here is more like a serial; doubtful; common practice"
    return Verdict(MarkKind.CALENDAR_YEAR, "bare-year", why, 0.6)


def _reads_like_year(draft: Draft) -> bool:
    return draft.is_number and len(draft.piece.text) == 4 and int(draft.piece.text) in YEARS


def serial_with_letter(draft: Draft, scene: Scene) -> Verdict | None:
    """Three to seven figures with a model letter beside or above."""
    letter = _letter_of(draft, scene) if draft.may_be_serial else None
    if letter is None:
        return None
    why = f"{_count(draft)} with the letter {letter.piece.text}, which is the model's"
    if draft.piece.case_like:
        why = f"{_count(draft)} joined to the letter {letter.piece.text}: a serial with its model, or a case number"
    sure = SURE_WITH_LETTER[len(draft.piece.text)] * _form_factor(draft.piece) * _year_factor(draft)
    return Verdict(MarkKind.SERIAL, "serial-with-letter", _reason(why + _year_doubt(draft), draft.piece), sure)


def serial_alone(draft: Draft, scene: Scene) -> Verdict | None:
    """Three to seven figures and nothing that speaks against a serial."""
    if not draft.may_be_serial:
        return None
    why = f"{_count(draft)} that no word or row gives another meaning"
    sure = SURE_ALONE[len(draft.piece.text)] * _form_factor(draft.piece) * _year_factor(draft)
    return Verdict(MarkKind.SERIAL, "serial-figures", _reason(why + _year_doubt(draft), draft.piece), sure)


def other_number(draft: Draft, scene: Scene) -> Verdict | None:
    """Figures too many or too few, or mixed with letters."""
    if draft.piece.form == "mixed":
        return Verdict(MarkKind.OTHER, "mixed", "figures mixed with letters or signs in a form no rule knows", 0.6)
    if not draft.is_number:
        return None
    much = len(draft.piece.text) > SERIAL_FIGURES[1]
    why = f"{_count(draft)}, too {'many' if much else 'few'} for a serial; common practice"
    return Verdict(MarkKind.OTHER, "too-long" if much else "too-short", why, 0.9 if much else 0.7)


def _form_factor(piece: Piece) -> float:
    factor = CASE_LIKE if piece.case_like else 1.0
    if " " in piece.dropped:
        factor *= WIDE
    if piece.dropped.strip() and len(piece.text) == SERIAL_FIGURES[1]:
        factor *= MANY_THOUSANDS
    return factor


def _year_factor(draft: Draft) -> float:
    return YEAR_LIKE if _reads_like_year(draft) else 1.0


def _year_doubt(draft: Draft) -> str:
    return ", though it may be a year" if _reads_like_year(draft) else ""


def _count(draft: Draft) -> str:
    count = len(draft.piece.text)
    return _COUNT[count] if count < len(_COUNT) else f"{count} figures"


def _reason(why: str, piece: Piece) -> str:
    """Add what was done to the figures."""
    if piece.dropped:
        why += ", blanks left out" if piece.dropped == " " else ", the thousands mark left out"
    if piece.repaired:
        why += ", a letter among them read as the figure it looks like"
    if piece.variants:
        why += f", or {' or '.join(piece.variants)} by a look-alike at the end"
    return f"{why}; common practice"


# --- rules for letters and words ----------------------------------------------------------------------------------


def model_letter(draft: Draft, scene: Scene) -> Verdict | None:
    """One to three letters by a number, a lone letter, or a letter with one to three figures."""
    if draft.piece.form == "code":
        why = "a letter with few figures is a model or a cast pattern; common practice"
        return Verdict(MarkKind.MODEL, "model-code", why, 0.7)
    if draft.piece.form != "letters":
        return None
    numbers = [number for number in scene if number.may_be_serial and accompanies(draft, number)]
    if numbers:
        doubtful = all(number.piece.case_like or number.piece.variants for number in numbers)
        why = "a letter that accompanies a number is the model, never part of it; common practice"
        if doubtful:
            why = "a letter joined to a number: the model, or part of a case number, or a worn figure; common practice"
        return Verdict(MarkKind.MODEL, "model-letter", why, 0.6 if doubtful else 0.9)
    if sum(sign.isalpha() for sign in draft.piece.text) > 1:
        return None
    return Verdict(
        MarkKind.MODEL, "lone-letter", "a lone letter may be the model or a note's name; common practice", 0.5
    )


def word(draft: Draft, scene: Scene) -> Verdict | None:
    """Letters without figures."""
    if draft.piece.form not in ("words", "letters", "announcement"):
        return None
    return Verdict(MarkKind.WORD, "word", "letters without figures", 0.9)


RULES: tuple[Rule, ...] = (
    *PHRASE_RULES,
    serial_announced,
    announced_nearby,
    row_across_lines,
    serial_suffix,
    part_position,
    key_number,
    bare_year,
    serial_with_letter,
    serial_alone,
    model_letter,
    other_number,
    word,
)
"""All rules in order of precedence."""


# --- from a line's doubt to a mark's ------------------------------------------------------------------------------


def _make_mark(number: int, draft: Draft, verdict: Verdict) -> Mark:
    probability, alternatives = _weigh_texts(draft)
    return Mark(
        id=number,
        text=draft.piece.text,
        kind=verdict.kind,
        rule=verdict.rule,
        why=verdict.why,
        probability=probability,
        kind_probability=verdict.kind_probability,
        quad=draft.quad,
        surface=draft.reading.region.surface,
        characters=tuple(_own_character(draft, place) for place in range(len(draft.piece.places))),
        alternatives=alternatives,
    )


def _own_character(draft: Draft, number: int) -> Character:
    """Return a mark's character; a letter read as a figure stays as its rival with what doubt is left."""
    place = draft.piece.places[number]
    character = draft.reading.characters[place]
    figure = figure_of(character.text)
    if figure is None or character.text == figure or not (draft.is_number or place in draft.piece.repaired):
        return character
    both = character.probability + sum(rival.probability for rival in character.rivals if rival.text == figure)
    others = tuple(rival for rival in character.rivals if rival.text != figure)
    letter = Rival(character.text, both * (1 - REPAIR_SURE))
    rivals = tuple(sorted((letter, *others), key=lambda rival: -rival.probability))
    return replace(character, text=figure, probability=both * REPAIR_SURE, rivals=rivals)


def _weigh_texts(draft: Draft) -> tuple[float, tuple[Candidate, ...]]:
    """Return the probability of a mark's text and the other strings it may be.

    The whole lines' candidates are split alike; those that agree on this mark add up, since what they differ in lies
    elsewhere. Where the list is short, the mark's own share of its line's doubt says more; the larger counts.
    """
    said = _candidate_texts(draft)
    own = max(said.pop(draft.piece.text, 0.0), _share_of_line(draft) * REPAIR_SURE ** len(draft.piece.repaired))
    own = min(own, 1.0)
    if draft.is_number:
        _add_rivals(draft, own, said)
    if draft.piece.variants:
        own *= 1 - END_DOUBT
    said.pop(draft.piece.text, None)
    ranked = sorted(((min(p, own), text) for text, p in said.items() if p > 0), key=lambda pair: (-pair[0], pair[1]))
    ranked = ranked[:ALTERNATIVES_MAX]
    scale = min(1.0, (1 - own) / max(sum(p for p, _ in ranked), 1e-9))
    return own, tuple(Candidate(text, p * scale) for p, text in ranked if p * scale > 0)


def _candidate_texts(draft: Draft) -> dict[str, float]:
    """Return what the line's candidates say in this mark's place: text to summed probability."""
    said: dict[str, float] = defaultdict(float)
    best = split_line("".join(character.text for character in draft.reading.characters))
    form = draft.piece.form
    alike = [place for place, piece in enumerate(best) if piece.form == form]
    for candidate in draft.reading.candidates:
        pieces = [piece for piece in split_line(candidate.text) if piece.form == form]
        if len(pieces) == len(alike):
            piece = pieces[alike.index(draft.place)]
            said[piece.text] += max(candidate.probability, 0.0) * REPAIR_SURE ** len(piece.repaired)
    return said


def _share_of_line(draft: Draft) -> float:
    """Return the line's probability raised to the share of its doubt that lies in this mark's characters."""
    signs = draft.reading.characters
    doubt = {p: -math.log(min(max(sign.probability, 1e-6), 1.0)) for p, sign in enumerate(signs) if sign.text.strip()}
    mine = [place for place in draft.piece.places if place in doubt]
    whole = min(max(draft.reading.probability, 0.0), 1.0)
    if not draft.reading.candidates:
        whole = math.exp(-sum(doubt.values()))
    total = sum(doubt.values())
    share = sum(doubt[place] for place in mine) / total if total else len(mine) / max(len(doubt), 1)
    return float(whole ** min(share, 1.0))


def _add_rivals(draft: Draft, own: float, said: dict[str, float]) -> None:
    """Add the numbers that come of exchanging one figure, or of taking an end's look-alike the other way."""
    text = draft.piece.text
    for number in range(len(text)):
        character = _own_character(draft, number)
        for rival in character.rivals:
            figure = figure_of(rival.text)
            if figure is not None and figure != text[number]:
                changed = text[:number] + figure + text[number + 1 :]
                odds = rival.probability / max(character.probability, 1e-6)
                said[changed] = max(said.get(changed, 0.0), own * odds)
    for variant in draft.piece.variants:
        said[variant] = max(said.get(variant, 0.0), own * END_DOUBT / len(draft.piece.variants))
