"""What holds for a record: the reader's answer where nobody decided, the person's decision where somebody did.

In: a Record. Out: an Outcome, from which every format writes serial, maker and dating, so that all of them say the
same. A dating is worked out from one number: where a person decided on another number than the reader's, the reader's
dating no longer holds and is left out.
"""

from __future__ import annotations

from dataclasses import dataclass

from pipelines.export.record import Data, DecisionKind, Record
from pipelines.output.text import plain_blanks, say_percent


@dataclass(frozen=True)
class Outcome:
    """The serial, maker and dating that hold.

    `serial` is empty where there is none. `sure`: accepted by the reader's own measure, or decided by a person.
    `probability` is the reader's, None where a person decided. `alternatives` are what it may be instead, none where
    a person decided. `mark` is the id of the mark on this photo that the serial stands in; None where it is not known
    to stand on this photo.
    """

    serial: str
    sure: bool
    decided: bool
    probability: float | None
    alternatives: tuple[Data, ...]
    mark: int | None
    maker: Data | None
    dating: Data | None


def outcome_of(record: Record) -> Outcome:
    """Weigh a record's answer and decision."""
    read: Data | None = record.answer["serial"]
    maker, dating = record.answer["maker"], record.answer["dating"]
    decision = record.decision
    if decision is None:
        if read is None:
            return Outcome("", False, False, None, (), None, maker, dating)
        others = tuple(read["alternatives"])
        return Outcome(read["text"], read["accepted"], False, read["probability"], others, read["mark"], maker, dating)
    maker = decision.maker or maker
    if decision.kind != DecisionKind.SERIAL:
        return Outcome("", True, True, None, (), None, maker, decision.dating)
    same = read is not None and read["text"] == decision.text
    dating = decision.dating or (dating if same else None)
    return Outcome(decision.text, True, True, None, (), _decided_mark(record), maker, dating)


def _decided_mark(record: Record) -> int | None:
    """Return the mark that a decided serial stands in: the reader's, unless the number may stand on another photo."""
    read: Data | None = record.answer["serial"]
    decision = record.decision
    if read is None or decision is None:
        return None
    seen = {read["text"], *(other["text"] for other in read["alternatives"])}
    mark: int = read["mark"]
    return mark if decision.text in seen or not decision.shared else None


def mark_text(record: Record, outcome: Outcome, mark: Data) -> str:
    """Return what stands in a mark: the reader's text, or what a person decided of that very mark."""
    text: str = mark["text"]
    read: Data | None = record.answer["serial"]
    if outcome.decided and outcome.serial and outcome.mark == mark["id"] and read is not None:
        if read["text"] == outcome.serial:
            return text
        return text.replace(read["text"], outcome.serial) if read["text"] in text else outcome.serial
    return text


def mark_kind(record: Record, outcome: Outcome, mark: Data) -> str:
    """Return the kind of a mark; one that a person said is no serial is 'other'."""
    kind: str = mark["kind"]
    decision, read = record.decision, record.answer["serial"]
    if decision is not None and decision.kind == DecisionKind.NOT_A_SERIAL and read is not None:
        return "other" if read["mark"] == mark["id"] else kind
    return "serial" if outcome.decided and outcome.mark == mark["id"] else kind


def say_outcome(record: Record) -> str:
    """Return the serial and how sure it is in one plain sentence."""
    outcome, decision = outcome_of(record), record.decision
    if decision is not None:
        says = {
            DecisionKind.SERIAL: f"Serial {outcome.serial}, decided by {decision.by}",
            DecisionKind.NOT_A_SERIAL: f"No serial: what was read is something else, decided by {decision.by}",
            DecisionKind.CANNOT_BE_READ: f"The serial cannot be read, decided by {decision.by}",
        }
        return says[decision.kind]
    if not outcome.serial or outcome.probability is None:
        return "No serial found"
    percent = plain_blanks(say_percent(outcome.probability))
    if outcome.sure:
        return f"Serial {outcome.serial} (sure enough to use: {percent})"
    return f"Serial read as {outcome.serial}, not sure ({percent})"


def say_maker(outcome: Outcome) -> str:
    """Return the maker's name, and that it is invented where it is; empty where no maker is known."""
    if outcome.maker is None:
        return ""
    name: str = outcome.maker["name"]
    return f"{name} (invented for the demo)" if outcome.maker["invented"] else name


def say_dating(outcome: Outcome) -> str:
    """Return the year with its interval as an estimate; empty where there is no dating."""
    if outcome.dating is None:
        return ""
    first, last = outcome.dating["interval"]
    span = f"{first}" if first == last else f"{first} to {last}"
    doubt = "" if outcome.sure else ", if the serial was read right"
    return f"Made about {outcome.dating['year']} ({span}), an estimate and no proof of age{doubt}"
