"""Recording: once and whole, whatever comes; what is known afterwards; what is kept of a file and what is not."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from sqlalchemy import func, insert, select

from pipelines.casebook import connect, tables
from pipelines.casebook.errors import CasebookError
from pipelines.casebook.record import expected_years, now, relative_path
from pipelines.casebook.records import Known, Method, NewAnswer, NewFailure, State
from pipelines.casebook.store import Casebook
from tests.pipelines.casebook.made import METHOD, NEWER, made, sha


def count(book: Casebook) -> dict[str, int]:
    """Return the number of rows in every table."""
    with connect.reading(book.engine) as connection:
        return {
            name: connection.scalar(select(func.count()).select_from(table)) or 0
            for name, table in tables.metadata.tables.items()
        }


def test_an_answer_comes_back_as_it_was(book: Casebook) -> None:
    answer = made("a.jpg")
    recorded = book.record_answer(answer, METHOD, phash="0f" * 8)
    (record,) = book.iterate_records()
    assert recorded.new
    assert record.answer == answer
    assert list(record.answer or ()) == list(answer)
    assert (record.case, record.path, record.sha256, record.part) == (recorded.cases[0], "shop/a.jpg", sha("a.jpg"), "")
    assert (record.width, record.height, record.phash) == (320, 200, "0f" * 8)
    assert (record.method, record.state, record.failure) == (METHOD, State.ACCEPTED, None)


def test_a_second_time_changes_nothing(book: Casebook) -> None:
    first = book.record_answer(made("a.jpg"), METHOD)
    before = count(book)
    second = book.record_answer(made("a.jpg", "99999"), METHOD)
    assert (second.cases, second.new) == (first.cases, False)
    assert count(book) == before


def test_a_newer_method_adds_and_counts(book: Casebook) -> None:
    book.record_answer(made("a.jpg", accepted=False), METHOD)
    recorded = book.record_answer(made("a.jpg", "41878"), NEWER)
    (case,) = book.find()
    assert (case.number, case.state, case.photos) == ("41878", State.ACCEPTED, 1)
    assert recorded.cases == (case.id,)
    assert count(book)["answers"] == 2


def test_known(book: Casebook) -> None:
    book.record_answer(made("a.jpg"), METHOD)
    book.record_failure(sha("b.jpg"), "b.jpg", METHOD, "is no picture")
    hashes = [sha(name) for name in ("a.jpg", "b.jpg", "c.jpg")]
    assert [book.known(one, METHOD) for one in hashes] == [Known.ANSWERED, Known.FAILED, Known.NO]
    assert book.known_hashes(hashes, METHOD) == {hashes[0]: Known.ANSWERED, hashes[1]: Known.FAILED}
    assert book.known_hashes(hashes, NEWER) == {}


def test_the_method_is_told_by_everything_in_it() -> None:
    same = Method("rakelight 0.0", {"figures": "a" * 64}, {"page": 0, "maker": None})
    others = (
        Method("rakelight 0.1", METHOD.models, METHOD.settings),
        Method(METHOD.reader, {"figures": "c" * 64}, METHOD.settings),
        Method(METHOD.reader, METHOD.models, {"maker": None, "page": 1}),
    )
    assert same.fingerprint == METHOD.fingerprint
    assert len({METHOD.fingerprint, *(one.fingerprint for one in others)}) == 4


def test_an_answer_after_a_failure_counts(book: Casebook) -> None:
    book.record_failure(sha("a.jpg"), "shop/a.jpg", METHOD, "took longer than 60 s", kind="time")
    assert [case.state for case in book.find()] == [State.FAILED]
    book.record_answer(made("a.jpg"), METHOD)
    assert book.known(sha("a.jpg"), METHOD) is Known.ANSWERED
    assert [case.state for case in book.find()] == [State.ACCEPTED]
    assert [record.failure for record in book.iterate_records()] == [None]


def test_a_failure_is_recorded_once_for_a_reason(book: Casebook) -> None:
    for reason in ("ran out of memory", "ran out of memory", "crashed"):
        book.record_failure(sha("a.jpg"), "shop/a.jpg", METHOD, reason)
    (record,) = book.iterate_records()
    assert count(book)["failures"] == 2
    assert (record.failure, record.answer, record.method) == ("crashed", None, None)


def test_parts_of_a_file_are_recorded_together(book: Casebook) -> None:
    answers = [NewAnswer(made("album.tif"), "print 1"), NewAnswer(made("album.tif", "5021"), "print 2")]
    recorded = book.record_answers(answers, METHOD, failures=[NewFailure("too small", part="print 3")])
    assert len(set(recorded.cases)) == 3
    assert [(one.part, one.failure) for one in book.iterate_records()] == [
        ("print 1", None),
        ("print 2", None),
        ("print 3", "too small"),
    ]
    assert book.known(sha("album.tif"), METHOD) is Known.ANSWERED


def test_photos_of_one_instrument_share_a_case(book: Casebook) -> None:
    case = book.new_case("bench")
    for name in ("left.jpg", "right.jpg"):
        assert book.record_answer(made(name), METHOD, case=case).cases == (case,)
    elsewhere = book.record_answer(made("left.jpg"), NEWER, case=book.new_case())
    assert elsewhere.cases == (case,), "a photo keeps the case that it has"
    assert book.find()[1].photos == 2


def test_paths_are_kept_below_the_root(book: Casebook, tmp_path: Path) -> None:
    answer = made("a.jpg")
    answer["photo"]["path"] = str(tmp_path / "scans" / "box 3" / "a.jpg")
    book.record_answer(answer, METHOD, root=tmp_path / "scans")
    (record,) = book.iterate_records()
    assert record.path == "box 3/a.jpg"
    assert record.answer is not None
    assert record.answer["photo"]["path"] == "box 3/a.jpg"
    with pytest.raises(CasebookError, match=r"a\.jpg is not below"):
        relative_path(tmp_path / "a.jpg", tmp_path / "scans")


def test_place_and_owner_of_a_photo_are_not_kept(book: Casebook) -> None:
    answer = made("a.jpg")
    answer["photo"] |= {"gps": [51.5, -0.1], "owner": "Somebody"}
    book.record_answer(answer, METHOD)
    (record,) = book.iterate_records()
    assert record.answer is not None
    assert set(record.answer["photo"]) == {"path", "sha256", "width", "height"}


@pytest.mark.parametrize("name", ["caf\udce9.jpg", "new\nline.jpg", "nul\0.jpg", "\N{MUSICAL SYMBOL G CLEF} 41873.jpg"])
def test_odd_file_names(book: Casebook, name: str) -> None:
    answer = made("a.jpg")
    answer["photo"]["path"] = name
    book.record_answer(answer, METHOD)
    book.record_failure(sha("b.jpg"), name, METHOD, f"{name}: is no picture")
    first, second = book.iterate_records()
    assert first.answer is not None
    assert first.answer["photo"]["path"] == name, "the answer keeps the name byte for byte"
    assert first.path == second.path == name.replace("\udce9", "\\udce9").replace("\0", "\\x00")


@pytest.mark.parametrize(
    "answer",
    [{**made("a.jpg"), "version": 2}, {"version": 1, "photo": {"path": "a", "sha256": sha("a.jpg")}}],
)
def test_what_is_no_answer_is_refused(book: Casebook, answer: dict[str, object]) -> None:
    with pytest.raises(CasebookError, match="no answer of version 1"):
        book.record_answer(answer, METHOD)
    assert not any(count(book).values())


def test_answers_of_two_files_or_one_part_twice_are_refused(book: Casebook) -> None:
    with pytest.raises(CasebookError, match="two files"):
        book.record_answers([NewAnswer(made("a.jpg"), "1"), NewAnswer(made("b.jpg"), "2")], METHOD)
    with pytest.raises(CasebookError, match="comes twice"):
        book.record_answers([NewAnswer(made("a.jpg")), NewAnswer(made("a.jpg"))], METHOD)
    assert not any(count(book).values())


def test_an_error_on_the_way_leaves_nothing(book: Casebook) -> None:
    answer = made("a.jpg")
    answer["marks"][2]["probability"] = None
    with pytest.raises(Exception, match=r"(?i)null"):
        book.record_answer(answer, METHOD)
    assert not any(count(book).values())


def test_an_unknown_case_is_refused(book: Casebook) -> None:
    with pytest.raises(CasebookError, match="there is no case 7"):
        book.record_answer(made("a.jpg"), METHOD, case=7)
    assert not any(count(book).values())


def test_years_at_stake() -> None:
    answer = made("a.jpg", probability=0.6, years=(1870, 1874, 1880))
    assert expected_years(answer) == pytest.approx(4.0)
    answer["dating"]["candidates"] = [
        {"text": "41873", "probability": 0.6, "year": 1874},
        {"text": "47873", "probability": 0.3, "year": 1884},
        {"text": "41873B", "probability": 0.1, "year": None},
    ]
    assert expected_years(answer) == pytest.approx(3.0)
    assert expected_years(made("a.jpg", years=None)) is None
    assert expected_years(made("a.jpg", None)) is None


def test_a_hundred_thousand_known_photos_are_found_in_time(book: Casebook) -> None:
    hashes = [sha(str(number)) for number in range(100_000)]
    with connect.writing(book.engine) as connection:
        moment = {"first_seen": now(), "path": "a.jpg", "part": ""}
        connection.execute(insert(tables.photos), [{**moment, "sha256": one} for one in hashes])
        book_method = {"fingerprint": METHOD.fingerprint, "reader": "r", "models": "{}", "settings": "{}"}
        connection.execute(insert(tables.methods), book_method)
        row = {"method_id": 1, "read_at": now(), "accepted": False, "width": 1, "height": 1, "body": "{}"}
        connection.execute(insert(tables.answers), [{**row, "photo_id": number} for number in range(1, 100_001)])
    started = time.perf_counter()
    known = book.known_hashes([*hashes, sha("new")], METHOD)
    assert time.perf_counter() - started < 30
    assert len(known) == 100_000
    assert set(known.values()) == {Known.ANSWERED}
