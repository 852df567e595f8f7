"""A mark as the text formats see it: words with places, characters with confidences, other readings.

In: a Record, its Outcome and one mark. Out: a Line of Words, from which ALTO and hOCR are written.
"""

from __future__ import annotations

from dataclasses import dataclass

from pipelines.export.boxes import as_quad, word_quads
from pipelines.export.outcome import Outcome, mark_kind, mark_text
from pipelines.export.record import Data, Record
from reader.results import Quad


@dataclass(frozen=True)
class Word:
    """A word without blanks.

    `probability` is None where a person decided the text. `characters` are the answer's, one for each letter of
    `text`, or none where they do not spell it. `others` are (text, probability or None, what it is) of other readings.
    """

    text: str
    quad: Quad
    probability: float | None
    characters: tuple[Data, ...]
    others: tuple[tuple[str, float | None, str], ...]


@dataclass(frozen=True)
class Line:
    """A mark: `text` and `kind` as they hold after a decision, `decided` whether a person changed or confirmed it.

    `probability` is the reader's, of what it read.
    """

    id: int
    text: str
    kind: str
    why: str
    probability: float
    decided: bool
    quad: Quad
    words: tuple[Word, ...]


def read_lines(record: Record, outcome: Outcome) -> list[Line]:
    """Return the marks of a record as lines."""
    return [_line(record, outcome, mark) for mark in record.marks]


def _line(record: Record, outcome: Outcome, mark: Data) -> Line:
    text, quad = mark_text(record, outcome, mark), as_quad(mark["quad"])
    corrected = text != mark["text"]
    others = _others(record, outcome, mark, text)
    spelled = () if corrected else _spell(text, mark["characters"])
    words, place = [], 0
    for word, part in word_quads(quad, text):
        place = text.index(word, place)
        characters = tuple(spelled[place : place + len(word)])
        probability = None if corrected else float(mark["probability"])
        words.append(Word(word, part, probability, characters, others if word == text else ()))
        place += len(word)
    decided = outcome.decided and outcome.mark == mark["id"]
    kind, why, probability = mark_kind(record, outcome, mark), mark["why"], float(mark["probability"])
    return Line(mark["id"], text, kind, why, probability, decided, quad, tuple(words))


def _others(record: Record, outcome: Outcome, mark: Data, text: str) -> tuple[tuple[str, float | None, str], ...]:
    """Return what else the whole mark may read: the serial's rivals, and what was read before a person decided."""
    read: Data | None = record.answer["serial"]
    if read is None or read["mark"] != mark["id"]:
        return ()
    others: list[tuple[str, float | None, str]] = []
    if text != mark["text"]:
        others.append((mark["text"], mark["probability"], "read before a person decided"))
    others += [(other["text"], other["probability"], "rival reading") for other in read["alternatives"]]
    if outcome.decided and outcome.serial and outcome.mark is None:
        others.append((outcome.serial, None, "decided for the case, not known to stand here"))
    return tuple(other for other in others if other[0] != text)


def _spell(text: str, characters: list[Data]) -> tuple[Data, ...]:
    """Return the characters that spell a mark's text; the reading may have more of them before and after it."""
    if any(len(character["text"]) != 1 for character in characters):
        return ()
    start = "".join(character["text"] for character in characters).find(text)
    return tuple(characters[start : start + len(text)]) if start >= 0 else ()
