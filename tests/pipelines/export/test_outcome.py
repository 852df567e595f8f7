"""What holds after a person decided."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from pipelines.export.outcome import mark_kind, mark_text, outcome_of, say_dating, say_outcome
from pipelines.export.record import Decision, DecisionKind, Record
from tests.pipelines.export.samples import DECIDED, make_record

NO_SERIAL = Decision(DecisionKind.NOT_A_SERIAL, "", "Ada Fenn", "2026-11-20T10:05:00+00:00")


def test_without_a_decision_the_reading_holds(record: Record) -> None:
    outcome = outcome_of(record)
    assert (outcome.serial, outcome.sure, outcome.decided, outcome.mark) == ("41873", True, False, 0)
    assert outcome.dating is not None
    assert say_outcome(record) == "Serial 41873 (sure enough to use: 97 %)"
    assert say_dating(outcome) == "Made about 1874 (1873 to 1876), an estimate and no proof of age"


def test_a_doubtful_reading_says_so(photo: Path) -> None:
    record = make_record(photo, accepted=False)
    assert say_outcome(record) == "Serial read as 41873, not sure (62 %)"
    assert say_dating(outcome_of(record)).endswith(", if the serial was read right")


def test_another_number_than_was_read_has_no_dating(decided: Record) -> None:
    outcome = outcome_of(decided)
    assert (outcome.serial, outcome.sure, outcome.probability, outcome.alternatives) == ("41878", True, None, ())
    assert outcome.dating is None
    assert mark_text(decided, outcome, decided.marks[0]) == "41878"


def test_the_number_that_was_read_keeps_its_dating(photo: Path) -> None:
    record = make_record(photo, decision=replace(DECIDED, text="41873"))
    assert outcome_of(record).dating == record.answer["dating"]


def test_a_dating_worked_out_for_the_decision_counts(photo: Path, record: Record) -> None:
    dating = {**record.answer["dating"], "edtf": "1901~", "year": 1901, "interval": [1900, 1902]}
    assert outcome_of(make_record(photo, decision=replace(DECIDED, dating=dating))).dating == dating


def test_a_number_of_the_case_is_not_put_on_a_photo_where_it_may_not_stand(photo: Path) -> None:
    shared = replace(DECIDED, shared=True)
    rival = make_record(photo, decision=shared)
    assert outcome_of(rival).mark == 0  # 41878 was a rival of what was read here
    other = make_record(photo, decision=replace(shared, text="99999"))
    assert outcome_of(other).serial == "99999"
    assert outcome_of(other).mark is None
    assert mark_text(other, outcome_of(other), other.marks[0]) == "41873"


def test_what_is_no_serial_is_none(photo: Path) -> None:
    record = make_record(photo, decision=NO_SERIAL)
    outcome = outcome_of(record)
    assert (outcome.serial, outcome.dating) == ("", None)
    assert mark_kind(record, outcome, record.marks[0]) == "other"
    assert mark_kind(record, outcome, record.marks[1]) == "model"


@pytest.mark.parametrize(("kind", "text"), [(DecisionKind.SERIAL, ""), (DecisionKind.CANNOT_BE_READ, "1")])
def test_a_decision_without_sense_is_refused(kind: DecisionKind, text: str) -> None:
    with pytest.raises(ValueError, match="decision"):
        Decision(kind, text, "Ada Fenn", "2026-11-20")


@pytest.mark.parametrize("relative", ["", "/etc/x", "../x", "a//x", "a/./x", "a/..", "a\0b"])
def test_a_record_has_a_plain_relative_path(photo: Path, relative: str) -> None:
    with pytest.raises(ValueError, match="relative"):
        make_record(photo, relative)
