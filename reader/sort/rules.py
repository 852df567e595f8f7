"""From readings to marks: splits every line and lets the trade's rules say what each part is.

Readings come from recognize; marks go to choose.py and into the answer. One function holds one rule; RULES lists them
in order of precedence, and the first that speaks decides. A rule sees one draft (a part of a line) and the scene (all
drafts with their places on the photo). The numbers for how sure a rule is are judgement, to be checked by benchmark;
the rules are common practice of the trade.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from reader.results import Mark, MarkKind, Reading
from reader.sort.doubt import own_character, weigh_texts
from reader.sort.drafts import Draft, Scene, draft_line
from reader.sort.figures import (
    SURE_ALONE,
    SURE_ANNOUNCED,
    SURE_WITH_LETTER,
    add_form,
    count_figures,
    form_factor,
    pattern_factor,
    reads_like_year,
    year_doubt,
    year_factor,
)
from reader.sort.layout import ABOVE_REACH, LETTER_REACH, accompanies, letter_of, offset
from reader.sort.neighbors import (
    LIKELY,
    cut_short,
    date_in_pieces,
    doubt_part,
    doubtful_figure,
    row_across_lines,
    serial_suffix,
    small_number,
)
from reader.sort.patterns import SERIAL_FIGURES, split_line
from reader.sort.verdict import Rule, Verdict

NEARBY_SURE = 0.97
"""Factor on a rule's sureness where the announcing word is a string of its own beside or above. Judgement."""


def sort_readings(readings: Sequence[Reading]) -> tuple[Mark, ...]:
    """Split all readings into marks and say what each is.

    Marks are numbered from 0 in the order of the readings, left to right within one; nothing else depends on that
    order. A reading without characters gives no mark. Never raises for any text.
    """
    scene = [draft for line, reading in enumerate(readings) for draft in draft_line(line, reading)]
    return tuple(_make_mark(number, draft, judge(draft, scene)) for number, draft in enumerate(scene))


def judge(draft: Draft, scene: Scene) -> Verdict:
    """Return what the first rule says that speaks."""
    for rule in RULES:
        verdict = rule(draft, scene)
        if verdict is not None:
            return doubt_part(draft, scene, verdict)
    return Verdict(MarkKind.OTHER, "no-rule", "no rule of the trade knows this form", 0.5)


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
    why = f"{count_figures(draft)} after '{draft.piece.announced}'"
    if len(draft.piece.text) < SERIAL_FIGURES[0]:
        why += ", few for a serial"
    factor = 0.9 if draft.piece.case_like else form_factor(draft.piece)
    return Verdict(MarkKind.SERIAL, "serial-announced", add_form(why, draft.piece), sure * factor)


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
    if small_number(draft) is None or not draft.alone:
        return None
    why = f"a lone number of {count_figures(draft)}, as on keys, hammers and joints; common practice"
    return Verdict(MarkKind.KEY_NUMBER, "key-number", why, 0.7)


def bare_year(draft: Draft, scene: Scene) -> Verdict | None:
    """A four-figure number that reads like a year while a longer or a 'No.' number stands elsewhere."""
    if not reads_like_year(draft) or draft.piece.announced or draft.piece.case_like or letter_of(draft, scene):
        return None
    better = [d for d in scene if d is not draft and d.may_be_serial and d.reading.probability >= LIKELY]
    if not any(len(d.piece.text) > 4 or d.piece.announced for d in better):
        return None
    why = "reads like a year, and another number here is more like a serial; doubtful; common practice"
    return Verdict(MarkKind.CALENDAR_YEAR, "bare-year", why, 0.6)


def serial_with_letter(draft: Draft, scene: Scene) -> Verdict | None:
    """Three to seven figures with a model letter beside or above."""
    letter = letter_of(draft, scene) if draft.may_be_serial else None
    if letter is None:
        return None
    count = count_figures(draft)
    why = f"{count} with the letter {letter.piece.text}, which is the model's"
    if draft.piece.case_like:
        why = f"{count} joined to the letter {letter.piece.text}: a serial with its model, or a case number"
    sure = SURE_WITH_LETTER[len(draft.piece.text)] * form_factor(draft.piece) * year_factor(draft)
    sure *= pattern_factor(draft)
    return Verdict(MarkKind.SERIAL, "serial-with-letter", add_form(why + year_doubt(draft), draft.piece), sure)


def serial_alone(draft: Draft, scene: Scene) -> Verdict | None:
    """Three to seven figures and nothing that speaks against a serial."""
    if not draft.may_be_serial:
        return None
    why = f"{count_figures(draft)} that no word or row gives another meaning"
    sure = SURE_ALONE[len(draft.piece.text)] * form_factor(draft.piece) * year_factor(draft)
    sure *= pattern_factor(draft)
    return Verdict(MarkKind.SERIAL, "serial-figures", add_form(why + year_doubt(draft), draft.piece), sure)


def other_number(draft: Draft, scene: Scene) -> Verdict | None:
    """Figures too many or too few, or mixed with letters."""
    if draft.piece.form == "mixed":
        return Verdict(MarkKind.OTHER, "mixed", "figures mixed with letters or signs in a form no rule knows", 0.6)
    if not draft.is_number:
        return None
    much = len(draft.piece.text) > SERIAL_FIGURES[1]
    why = f"{count_figures(draft)}, too {'many' if much else 'few'} for a serial; common practice"
    return Verdict(MarkKind.OTHER, "too-long" if much else "too-short", why, 0.9 if much else 0.7)


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
    cut_short,
    serial_announced,
    announced_nearby,
    date_in_pieces,
    row_across_lines,
    serial_suffix,
    doubtful_figure,
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


def _make_mark(number: int, draft: Draft, verdict: Verdict) -> Mark:
    probability, alternatives = weigh_texts(draft)
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
        characters=tuple(own_character(draft, place) for place in range(len(draft.piece.places))),
        alternatives=alternatives,
    )
