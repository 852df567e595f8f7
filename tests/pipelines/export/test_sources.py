"""Records from JSON Lines and from a casebook."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Callable, Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pytest

from pipelines.casebook.records import Method, Outcome
from pipelines.export.record_lines import load_record_schema, open_check, record_line
from pipelines.export.sources import Records, open_records
from reader.errors import SettingsError
from tests.pipelines.export.samples import DECIDED, answer_line, draw_photo, make_record, write_lines

Opener = Callable[..., Records]


@pytest.fixture
def opened() -> Iterator[Opener]:
    """Opens records, and closes them after the test."""
    with contextlib.ExitStack() as stack:
        yield lambda *arguments: stack.enter_context(open_records(*arguments))


def test_what_read_printed(opened: Opener, photo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path / "photos")
    file = write_lines(tmp_path / "a.jsonl", [answer_line(photo, "box/lid.jpg"), "", answer_line(photo, "box/a.jpg")])

    records = opened(str(file))

    assert records.problems == []
    assert [record.relative for record in records] == ["box/a.jpg", "box/lid.jpg"]
    lid = list(records)[1]
    assert lid.photo == photo
    assert (lid.sha256, lid.width, lid.height, lid.case, lid.decision) == (
        lid.answer["photo"]["sha256"],
        320,
        200,
        None,
        None,
    )


def test_a_record_survives_writing_and_reading(opened: Opener, tmp_path: Path, photo: Path) -> None:
    record = make_record(photo, "box/lid.jpg", case="7", decision=DECIDED, part="page 2")
    (tmp_path / "records.jsonl").write_bytes(record_line(record))
    assert list(opened(str(tmp_path / "records.jsonl"), tmp_path / "photos")) == [record]
    assert record.page == 1


def test_the_schema_is_a_schema() -> None:
    jsonschema = pytest.importorskip("jsonschema")
    jsonschema.Draft202012Validator.check_schema(load_record_schema())


def broken(photo: Path) -> dict[str, Any]:
    answer = answer_line(photo, "x.jpg")
    answer["serial"]["mark"] = 9
    return answer


def twice(photo: Path) -> dict[str, Any]:
    answer = answer_line(photo, "x.jpg")
    answer["marks"][1]["id"] = 0
    return answer


def test_bad_lines_are_named_by_number_and_the_rest_goes_on(opened: Opener, photo: Path, tmp_path: Path) -> None:
    good = answer_line(photo, "box/lid.jpg")
    decision = {**asdict(DECIDED), "text": ""}
    lines = [
        "{",
        "[1]",
        json.dumps({**good, "version": 2}),
        json.dumps(good).replace("0.97", "NaN"),
        json.dumps(good).replace("0.97", "1e999"),
        {"version": 1, "photo": {"path": "bad\n.jpg"}, "error": "is no picture; send another"},
        {"record": 1, "case": None, "part": "", "decision": decision, "answer": good},
        broken(photo),
        twice(photo),
        good,
        "[" * 100_000,
    ]
    records = opened(str(write_lines(tmp_path / "a.jsonl", lines)), tmp_path / "photos")

    assert [record.relative for record in records] == ["box/lid.jpg"]
    assert [problem.partition(":")[0] for problem in records.problems] == [
        f"line {number}" for number in (1, 2, 3, 4, 5, 6, 7, 8, 9, 11)
    ]
    assert all("\n" not in problem and len(problem) < 400 for problem in records.problems)
    assert "was not read (is no picture; send another)" in records.problems[5]


def test_the_later_of_two_lines_counts(opened: Opener, photo: Path, tmp_path: Path) -> None:
    lines = [answer_line(photo, "box/lid.jpg", empty=True), answer_line(photo, "box/lid.jpg")]
    records = opened(str(write_lines(tmp_path / "a.jsonl", lines)), tmp_path / "photos")
    assert [record.answer["serial"]["text"] for record in records] == ["41873"]
    assert "line 2" in records.problems[0]


def test_photos_outside_the_current_folder_are_named_from_their_own(
    opened: Opener, photo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "desk").mkdir()
    monkeypatch.chdir(tmp_path / "desk")
    lines = [answer_line(photo, str(photo)), answer_line(photo, "../photos/other/lid.jpg")]
    records = opened(str(write_lines(tmp_path / "a.jsonl", lines)))
    assert [record.relative for record in records] == ["box/lid.jpg", "other/lid.jpg"]
    assert [record.answer["photo"]["path"] for record in records] == ["box/lid.jpg", "other/lid.jpg"]


def test_photos_outside_the_named_folder_are_problems(opened: Opener, photo: Path, tmp_path: Path) -> None:
    (tmp_path / "desk").mkdir()
    lines = [answer_line(photo, str(photo))]
    records = opened(str(write_lines(tmp_path / "a.jsonl", lines)), tmp_path / "desk")
    assert list(records) == []
    assert len(records) == 0
    assert "--photos" in records.problems[0]


def test_half_a_broken_name_comes_back_as_bytes(opened: Opener, photo: Path, tmp_path: Path) -> None:
    lines = [answer_line(photo, "box/\udcff.jpg")]
    record = next(iter(opened(str(write_lines(tmp_path / "a.jsonl", lines)), tmp_path / "photos")))
    assert os.fsencode(record.photo.name) == b"\xff.jpg"
    assert json.loads(record_line(record))["answer"]["photo"]["path"] == "box/\udcff.jpg"


def test_no_source(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="--from"):
        open_records(str(tmp_path / "missing"))


def test_a_casebook(opened: Opener, photo: Path, tmp_path: Path, place: str) -> None:
    """A real casebook, in SQLite and in PostgreSQL."""
    store = pytest.importorskip("pipelines.casebook.store", reason="needs SQLAlchemy, of the extra 'casebook'")
    method = Method("rakelight test")
    twin = draw_photo(tmp_path / "photos/box/twin.jpg", seed=1)
    other = draw_photo(tmp_path / "photos/a.jpg", seed=2)
    dating = {**answer_line(photo, "x")["dating"], "edtf": "1901~", "year": 1901, "interval": [1900, 1902]}
    with store.open_casebook(place) as casebook:
        (case,) = casebook.record_answer(answer_line(photo, "box/lid.jpg"), method).cases
        casebook.record_answer(answer_line(twin, "box/twin.jpg"), method, case=case)
        casebook.decide(case, Outcome.SERIAL, text="41878", by="Ada Fenn", because="clear", dating=dating)
        (reopened,) = casebook.record_answer(answer_line(other, "a.jpg"), method, part="page 2").cases
        casebook.decide(reopened, Outcome.NOT_A_SERIAL, by="Ada Fenn", because="a part")
        casebook.decide(reopened, Outcome.REOPENED, by="Ada Fenn", because="a slip")
        casebook.record_failure("f" * 64, "box/bad.jpg", method, "is no picture")

    records = opened(place, tmp_path / "photos")

    assert records.problems == ["box/bad.jpg: was not read (is no picture)"]
    first, lid, second = records
    assert (first.relative, first.part, first.page, first.decision) == ("a.jpg", "page 2", 1, None)
    assert (lid.relative, second.relative) == ("box/lid.jpg", "box/twin.jpg")
    assert lid.case == second.case == str(case)
    assert lid.photo == photo
    assert lid.decision is not None
    assert (lid.decision.text, lid.decision.by, lid.decision.shared) == ("41878", "Ada Fenn", True)
    assert lid.decision.dating == dating
    assert lid.answer == {**answer_line(photo, "box/lid.jpg")}
    check = open_check()
    for record in records:  # what comes out of a casebook can be read again as a file
        check(json.loads(record_line(record)))
