"""What one page shows of a case, and what a reviewer's press becomes in the casebook. Knows no web.

In: a case from the casebook, which photo and mark to show, what was pressed. Out: a Step to show; a decision appended.
Nothing is overwritten: a decision made twice is there twice, an undo is one more row.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from pipelines.casebook.records import (
    CaseDetail,
    CaseSummary,
    Decision,
    Outcome,
    PhotoRecord,
    State,
    search_key,
)
from pipelines.casebook.store import Casebook
from pipelines.output.text import say_percent
from pipelines.review.catalog import OUTCOMES, WHY, say
from pipelines.review.pictures import Sight
from pipelines.review.years import date_anew, date_number
from reader.errors import one_line

RIVALS_MOST = 9
"""Rivals have the keys 1 to 9."""

NO_SERIALS = frozenset({"patent", "address", "word"})
"""Kinds of marks that are not offered as a serial: what they say leaves no doubt. They can be looked at."""

TEXT_MOST, NOTE_MOST = 60, 400
"""Characters of a typed number and of a reason."""

COUNT_SECONDS = 10.0
"""How long a count of the waiting cases is kept; between, what was decided here is taken off."""

AHEAD = 2
"""Cases that are looked up at a time: this one and the next."""


@dataclass(frozen=True)
class Rival:
    """A number that a key chooses: its text, how sure, what it would mean for the year, and the mark it was read on."""

    text: str
    percent: str
    years: str
    mark: int
    note: str = ""


@dataclass(frozen=True)
class Step:
    """All that one page shows of a case. `best` is the reading, `rivals` what it may be instead."""

    detail: CaseDetail
    number: int
    sight: Sight
    best: Rival | None
    rivals: tuple[Rival, ...]

    @property
    def case(self) -> int:
        """The case's number."""
        return self.detail.summary.id

    @property
    def photo(self) -> PhotoRecord:
        """The photo that is shown."""
        return self.sight.photo

    @property
    def marks(self) -> Sequence[Mapping[str, Any]]:
        """The marks of the photo that is shown."""
        return self.photo.answer["marks"] if self.photo.answer else []

    @property
    def next_mark(self) -> int | None:
        """The mark to look at next; None where there is no other."""
        ids = [mark["id"] for mark in self.marks]
        if len(ids) < 2 or self.sight.mark not in ids:
            return None
        return int(ids[(ids.index(self.sight.mark) + 1) % len(ids)])


@dataclass
class Visit:
    """One browser's sitting: its token, what it skipped, what it can undo, and what to tell it next."""

    token: str
    skipped: list[int] = field(default_factory=list)
    done: list[tuple[int, Decision]] = field(default_factory=list)
    message: str = ""
    keys: bool = True

    def skip(self, case: int) -> None:
        """Leave a case for later in this sitting."""
        if case not in self.skipped:
            self.skipped.append(case)
        self.message = say("skipped", case=case)


def make_step(detail: CaseDetail, photo: int | None = None, mark: int | None = None) -> Step:
    """Return what to show of a case: the photo asked for or the one with the best reading, the mark likewise."""
    photos = detail.photos
    number = photo if photo is not None and 0 <= photo < len(photos) else _best_photo(photos)
    record = photos[number]
    answer = record.answer
    marks = answer["marks"] if answer else []
    ids = [one["id"] for one in marks]
    best, rivals = list_rivals(answer) if answer else (None, ())
    if mark not in ids:
        likely = [one.mark for one in (best, *rivals) if one is not None and one.mark in ids]
        mark = next(iter([*likely, *ids]), None)
    return Step(detail, number, Sight(record, mark), best, rivals)


def _best_photo(photos: Sequence[PhotoRecord]) -> int:
    def worth(number: int) -> tuple[bool, float]:
        answer = photos[number].answer
        serial = answer["serial"] if answer else None
        return answer is not None, serial["probability"] if serial else 0.0

    return max(range(len(photos)), key=worth)


def list_rivals(answer: Mapping[str, Any]) -> tuple[Rival | None, tuple[Rival, ...]]:
    """Return the reading, and what it may be instead: other readings of its mark, then other marks with figures."""
    serial = answer["serial"]
    found: list[Rival] = []
    if serial is not None:
        for one in (serial, *serial["alternatives"]):
            found.append(_rival(one["text"], one["probability"], serial["mark"], answer))
    best = found[0] if found else None
    for mark in sorted(answer["marks"], key=lambda one: -one["probability"]):
        if mark["kind"] not in NO_SERIALS and sum(sign.isdigit() for sign in mark["text"]) >= 2:
            note = say("elsewhere", kind=mark["kind"])
            found.append(_rival(mark["text"], mark["probability"], mark["id"], answer, note))
    seen = {search_key(best.text)} if best else set()
    rivals = []
    for one in found[1:] if best else found:
        key = search_key(one.text)
        if key and key not in seen:
            seen.add(key)
            rivals.append(one)
    return best, tuple(rivals[:RIVALS_MOST])


def _rival(text: str, probability: float, mark: int, answer: Mapping[str, Any], note: str = "") -> Rival:
    return Rival(text, say_percent(probability), say_years(date_number(text, answer)), mark, note)


def say_years(dating: Mapping[str, Any] | None) -> str:
    """Return a dating in a few words."""
    if dating is None:
        return say("no_years")
    first, last = dating["interval"]
    return say("years", year=dating["year"], first=first, last=last)


def say_what(decision: Decision) -> str:
    """Return what was decided."""
    return one_line(decision.text or "") if decision.outcome is Outcome.SERIAL else OUTCOMES[decision.outcome.value]


class Desk:
    """The casebook as a reviewer of one name works on it. Threads may share it."""

    def __init__(self, book: Casebook, by: str) -> None:
        self.book = book
        self.by = by
        self._deciding = threading.Lock()
        self._counted_at = float("-inf")
        self._waiting = 0

    def current(self, case: int) -> CaseDetail:
        """Return a case, or the one that it was merged into. Raises CasebookError where there is no such case."""
        detail = self.book.case(case)
        while detail.merged_into is not None:
            detail = self.book.case(detail.merged_into)
        return detail

    def next_cases(self, visit: Visit) -> list[CaseSummary]:
        """Return the case to decide next and the one after it, those skipped left out."""
        found = self.book.open_cases(limit=len(visit.skipped) + AHEAD)
        return [case for case in found if case.id not in visit.skipped][:AHEAD]

    def count_waiting(self) -> int:
        """Return how many cases wait; up to COUNT_SECONDS old but for what was decided here."""
        if time.monotonic() - self._counted_at > COUNT_SECONDS:
            self._waiting = self.book.count_states()[State.OPEN]
            self._counted_at = time.monotonic()
        return max(0, self._waiting)

    def decide(self, visit: Visit, step: Step, seen: int, choice: Choice) -> Decision | None:
        """Append a decision and return it.

        None where somebody decided since the page was made (`seen` decisions were there then): nothing is recorded.
        """
        with self._deciding:
            before = self.book.case(step.case)
            if len(before.decisions) != seen:
                return None
            maker = step.photo.answer["maker"] if step.photo.answer else None
            serial = step.photo.answer["serial"] if step.photo.answer else None
            dating = None
            if choice.text is not None and (serial is None or serial["text"] != choice.text):
                dating = date_anew(choice.text, maker)
            made = self.book.decide(
                before.summary.id,
                choice.outcome,
                by=self.by,
                because=choice.because,
                text=choice.text,
                maker=maker if dating else None,
                dating=dating,
            )
        visit.done.append((before.summary.id, made))
        self._waiting -= before.summary.state is State.OPEN
        visit.message = say("recorded", case=step.case, what=say_what(made))
        others = [one for one in self.current(step.case).decisions[seen:] if _facts(one) != _facts(made)]
        if others:  # another program wrote between our look and our row
            other = others[-1]
            visit.message = say("decided_both", case=step.case, by=one_line(other.by), what=say_what(other))
        return made

    def undo(self, visit: Visit) -> int | None:
        """Take back the last decision of this sitting by one more row; return its case, None where there is none."""
        if not visit.done:
            visit.message = say("undo_none")
            return None
        case, made = visit.done.pop()
        with self._deciding:
            decisions = self.current(case).decisions
            latest = decisions[-1]
            if _facts(latest) != _facts(made):
                visit.message = say("undo_late", case=case, by=one_line(latest.by))
                return case
            before = decisions[-2] if len(decisions) > 1 else None
            if before is None or before.outcome is Outcome.REOPENED:
                self.book.decide(case, Outcome.REOPENED, by=self.by, because=WHY["undo"])
                self._waiting += 1
            else:
                self.book.decide(
                    case,
                    before.outcome,
                    by=self.by,
                    because=WHY["undo-restored"].format(by=before.by),
                    text=before.text,
                    maker=before.maker,
                    dating=before.dating,
                )
        visit.message = say("undone", case=case)
        return case


def _facts(decision: Decision) -> tuple[object, ...]:
    """Return what makes a decision this one and no other."""
    return decision.by, decision.at, decision.outcome, decision.text


@dataclass(frozen=True)
class Choice:
    """What a press means for the casebook."""

    outcome: Outcome
    text: str | None
    because: str


class ChoiceError(ValueError):
    """A press that means no decision; the text says why."""


def read_choice(step: Step, action: str, typed: str, note: str) -> Choice:
    """Return what was pressed as a decision. Raises ChoiceError.

    `action`: "accept TEXT", "rival TEXT", "type", "not-a-serial" or "cannot-be-read". The reason ends with the mark
    that was looked at, so that training.py finds it again.
    """
    word, _, chosen = action.partition(" ")
    if word in ("not-a-serial", "cannot-be-read"):
        return Choice(Outcome(word), None, _because(word, note, step.sight))
    if word not in ("accept", "rival", "type"):
        raise ChoiceError(say("bad_choice"))
    text = one_line(typed if word == "type" else chosen).strip()
    if word == "type" and not text:
        raise ChoiceError(say("bad_choice"))
    if not search_key(text) or len(text) > TEXT_MOST:
        raise ChoiceError(say("bad_number", most=TEXT_MOST))
    offered = {one.text: one for one in (step.best, *step.rivals) if one is not None}
    sight = step.sight
    if word != "type" and text in offered:
        sight = Sight(sight.photo, offered[text].mark)
    return Choice(Outcome.SERIAL, text, _because(word, note, sight))


def _because(word: str, note: str, sight: Sight) -> str:
    said = one_line(" ".join(note.split()))[:NOTE_MOST]
    return f"{WHY[word]}{f': {said}' if said else ''} {name_sight(sight)}"


def name_sight(sight: Sight) -> str:
    """Return which mark was looked at, in the form that training.py reads: '[mark 3, photo 0123456789ab, page 2]'."""
    words = [
        "no mark" if sight.mark is None else f"mark {sight.mark}",
        f"photo {sight.photo.sha256[:12]}",
        *([one_line(sight.photo.part)] if sight.photo.part else []),
    ]
    return f"[{', '.join(words)}]"
