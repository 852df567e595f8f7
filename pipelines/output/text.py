"""An answer for people: a short block of plain sentences, with every doubt in view.

Takes an Answer; the text goes to the terminal, and single sentences of it under the picture (picture.py). Everything
that comes from a file or a recognizer is shown with control characters escaped.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

from reader.errors import one_line
from reader.results import Answer, Candidate, Character, DatedNumber, Dating, Maker, Mark, MarkKind, Serial

DOUBTFUL_BELOW = 0.9
"""A figure less probable than this is shown with its rivals. Chosen so that a block stays short."""

RIVALS_SHOWN = 3
"""Most rivals of one figure and most other readings of one serial that are shown."""

CANDIDATES_SHOWN = 5
"""Most candidate numbers of a dating that are shown."""

RIVAL_FROM = 0.005
"""A reading below this, which would be shown as 'under 1 %', is left out."""

WORD_FROM = 0.5
"""Words, and signs that no rule knows, are listed from this probability on: below it they are more likely wrong than
right, and a photo of grain gives many. All of them are in the JSON."""

NO_PROOF = "This is an estimate, not a proof of age."

_HELD = "\u00a0"
"""A no-break space, to hold '97 %' together while lines are broken; written as a blank."""

_KIND_WORDS = {
    MarkKind.SERIAL: "of a serial's form",
    MarkKind.MODEL: "model",
    MarkKind.PART_POSITION: "position of a part",
    MarkKind.PATENT: "patent",
    MarkKind.CALENDAR_YEAR: "calendar year",
    MarkKind.SIZE: "size",
    MarkKind.KEY_NUMBER: "key number",
    MarkKind.ADDRESS: "address",
    MarkKind.WORD: "word",
    MarkKind.OTHER: "unknown",
}


def write_text(answer: Answer, columns: int = 100) -> str:
    """Return an answer as lines of at most `columns` characters (the file's name and long words aside)."""
    parts = [one_line(answer.path)]
    parts += _wrap([say_serial(answer.serial), *_say_reading(answer), *_say_models(answer)], columns)
    parts += _list("Other marks:", _say_marks(_other_marks(answer)), columns)
    parts += _wrap(_say_maker(answer), columns)
    if answer.dating is not None:
        parts += _wrap([say_year(answer)], columns)
        parts += _write_reasons(answer.dating, columns)
    parts += _list("What would help:", [one_line(advice.text) for advice in answer.advice], columns)
    return "".join(part + "\n" for part in parts)


def say_serial(serial: Serial | None) -> str:
    """Return what is known of the serial, in one line."""
    if serial is None:
        return "No serial found"
    if serial.accepted:
        return f"Serial {one_line(serial.text)} (sure enough to use: {say_percent(serial.probability)})"
    readings = [Candidate(serial.text, serial.probability), *_worth_showing(serial)]
    return f"Serial: not sure. It may read {_say_candidates(readings)}"


def write_dated(number: str, maker: Maker | None, dating: Dating | None, warnings: Sequence[str], columns: int) -> str:
    """Return the dating of one typed number as lines of at most `columns` characters."""
    parts = [f"{one_line(number)}, {one_line(maker.name) if maker else 'maker unknown'}"]
    if dating is not None:
        parts += _wrap([f"Made {say_made(dating)}", f"As a standard date: {dating.edtf}"], columns)
        parts += _write_reasons(dating, columns)
    else:
        parts += _list("Mind:", map(one_line, warnings), columns)
    return "".join(part + "\n" for part in parts)


def say_year(answer: Answer) -> str:
    """Return the year with its interval and that it is no proof; empty where there is no dating."""
    dating = answer.dating
    if dating is None:
        return ""
    doubtful = answer.serial is not None and not answer.serial.accepted
    text = f"If this is the serial, it was made {say_made(dating)}" if doubtful else f"Made {say_made(dating)}"
    told = any("proof of age" in warning for warning in dating.warnings)
    return text if told else f"{text} {NO_PROOF}"


def say_made(dating: Dating) -> str:
    """Return 'about 1874, from 1873 to 1876 with a probability of 92 %.', or the runs of years of several readings."""
    first, last = dating.interval
    probability = f"with a probability of {say_percent(dating.probability)}."
    if first == last:
        return f"in {first} {probability}"
    sure = f"from {first} to {last} {probability}"
    runs = [run.replace("..", " to ") for run in dating.edtf.strip("[]").split(",")]
    if len(runs) > 1:
        return f"in one of the years {' or '.join(runs)}, most likely {dating.year}; {sure}"
    return f"about {dating.year}, {sure}"


def _write_reasons(dating: Dating, columns: int) -> list[str]:
    """Return the candidates where there are several, what the dating rests on, and the warnings."""
    likely = [_say_number(number) for number in dating.candidates if number.probability >= RIVAL_FROM]
    parts = _list("It may be:", likely[:CANDIDATES_SHOWN] if len(likely) > 1 else (), columns)
    parts += _list("It rests on:", _say_evidence(dating), columns)
    return parts + _list("Mind:", map(one_line, dating.warnings), columns)


def _say_number(number: DatedNumber) -> str:
    years = number.why or "no year"
    if number.year is not None and number.interval is not None:
        first, last = number.interval
        years = f"{number.year}" if first == last else f"{number.year} ({first} to {last})"
    return (
        f"{one_line(number.text)} in '{one_line(number.series)}' ({say_percent(number.probability)}): {one_line(years)}"
    )


def say_percent(probability: float) -> str:
    """Return a probability in whole percent; neither certainty nor impossibility is ever claimed by rounding."""
    percent = round(probability * 100)
    if percent >= 100 and probability < 1:
        return f"over 99{_HELD}%"
    if percent <= 0 and probability > 0:
        return f"under 1{_HELD}%"
    return f"{percent}{_HELD}%"


def say_kind(mark: Mark) -> str:
    """Return the kind of a mark in words."""
    return _KIND_WORDS[mark.kind]


def plain_blanks(text: str) -> str:
    """Return the text with the blanks that held words together written as plain ones."""
    return text.replace(_HELD, " ")


def _say_reading(answer: Answer) -> list[str]:
    """Say which figures are doubtful, what else it may read, whether it stands there again, and why it was chosen."""
    serial = answer.serial
    if serial is None:
        return []
    lines = []
    mark = next((mark for mark in answer.marks if mark.id == serial.mark), None)
    if mark is not None:
        lines += _say_doubtful_figures(serial.text, mark.characters)
    if serial.accepted and (others := _worth_showing(serial)):
        lines.append(f"Less likely: {_say_candidates(others)}")
    if serial.confirmed_by:
        places = len(serial.confirmed_by)
        lines.append(f"The same number was read in {places} more {'place' if places == 1 else 'places'} of the photo")
    if mark is not None and mark.why:
        lines.append(f"Why this number: {one_line(mark.why)}")
    return lines


def _say_doubtful_figures(serial: str, characters: Sequence[Character]) -> list[str]:
    """Return one line for each doubtful figure of the serial, with its place and rivals."""
    lines = []
    for place, character in _place_characters(serial, characters):
        rivals = [r for r in character.rivals if r.probability >= RIVAL_FROM][:RIVALS_SHOWN]
        if character.probability < DOUBTFUL_BELOW and rivals:
            own = Candidate(character.text, character.probability)
            others = _say_candidates([Candidate(r.text, r.probability) for r in rivals])
            lines.append(f"Doubtful, figure {place} of {len(serial)}: {_say_candidates([own])}, or {others}")
    return lines


def _place_characters(serial: str, characters: Sequence[Character]) -> list[tuple[int, Character]]:
    """Return the serial's characters with their places in it, counted from 1.

    The mark may have more characters before and after it; where the serial does not stand in them, nothing is returned.
    """
    start = "".join(character.text for character in characters).find(serial)
    if start < 0:
        return []
    placed, place = [], 1 - start
    for character in characters:
        if 1 <= place <= len(serial):
            placed.append((place, character))
        place += len(character.text)
    return placed


def _worth_showing(serial: Serial) -> list[Candidate]:
    return [other for other in serial.alternatives if other.probability >= RIVAL_FROM][:RIVALS_SHOWN]


def _say_candidates(candidates: Iterable[Candidate]) -> str:
    return ", ".join(f"{one_line(one.text)} ({say_percent(one.probability)})" for one in candidates)


def _say_models(answer: Answer) -> list[str]:
    models = sorted((m for m in answer.marks if m.kind == MarkKind.MODEL), key=lambda mark: -mark.probability)
    return [f"Model {one_line(m.text)} ({say_percent(m.probability)}): {one_line(m.why)}" for m in models]


def _other_marks(answer: Answer) -> list[Mark]:
    """Return the marks that no line has yet: neither models, nor the serial, nor its repetitions."""
    told = {answer.serial.mark, *answer.serial.confirmed_by} if answer.serial else set()
    return [mark for mark in answer.marks if mark.id not in told and mark.kind != MarkKind.MODEL]


def _say_marks(marks: Sequence[Mark]) -> list[str]:
    """Say each mark, and only how many words and unknown signs there are that could hardly be read."""
    lines = [_say_mark(mark) for mark in marks if not _hardly_read(mark)]
    dim = len(marks) - len(lines)
    more = " more" if lines else ""
    return [*lines, f"{dim}{more} that could hardly be read"] if dim else lines


def _hardly_read(mark: Mark) -> bool:
    return mark.kind in (MarkKind.WORD, MarkKind.OTHER) and mark.probability < WORD_FROM


def _say_mark(mark: Mark) -> str:
    return f"{one_line(mark.text)} ({say_percent(mark.probability)}), {say_kind(mark)}: {one_line(mark.why)}"


def _say_maker(answer: Answer) -> list[str]:
    if answer.maker is None:
        return []
    place = f", {one_line(answer.maker.place)}" if answer.maker.place else ""
    invented = "; invented for the demo" if answer.maker.invented else ""
    return [f"Maker: {one_line(answer.maker.name)}{place}{invented}"]


def _say_evidence(dating: Dating) -> list[str]:
    return [one_line(f"{evidence.says} [{evidence.source}]") for evidence in dating.evidence]


def _list(heading: str, items: Iterable[str], columns: int) -> list[str]:
    lines = [_fill(item, columns, "    - ", "      ") for item in items]
    return ["  " + heading, *lines] if lines else []


def _wrap(sentences: Iterable[str], columns: int) -> list[str]:
    return [_fill(sentence, columns, "  ", "    ") for sentence in sentences]


def _fill(sentence: str, columns: int, first: str, later: str) -> str:
    """Break a sentence into lines; what begins the first and the later lines is given. Long words stay whole."""
    filled = textwrap.fill(
        sentence,
        columns,
        initial_indent=first,
        subsequent_indent=later,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return plain_blanks(filled)
