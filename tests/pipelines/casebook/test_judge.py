"""Decisions, merges and cases kept apart: each is added, the newest counts, none is lost."""

from __future__ import annotations

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from pipelines.casebook import connect, tables
from pipelines.casebook.errors import CasebookError
from pipelines.casebook.records import Outcome, Query, State
from pipelines.casebook.store import Casebook
from tests.pipelines.casebook.made import HARROW, METHOD, NEWER, made

ANN = {"by": "A. Reed", "because": "raking light shows it"}
BEN = {"by": "B. Stop", "because": "the lyre has it too"}


def add(book: Casebook, name: str, number: str | None = "41873", *, accepted: bool = False) -> int:
    """Record a photo and return its case."""
    return book.record_answer(made(name, number, accepted=accepted, probability=0.6), METHOD).cases[0]


def test_a_later_decision_counts_and_the_earlier_stays(book: Casebook) -> None:
    case = add(book, "a.jpg")
    book.decide(case, Outcome.CANNOT_BE_READ, **ANN)
    book.decide(case, Outcome.SERIAL, text="41878", **BEN)
    detail = book.case(case)
    assert (detail.summary.state, detail.summary.number, detail.summary.probability) == (State.DECIDED, "41878", None)
    assert [(one.outcome, one.text, one.by) for one in detail.decisions] == [
        (Outcome.CANNOT_BE_READ, None, "A. Reed"),
        (Outcome.SERIAL, "41878", "B. Stop"),
    ]
    assert detail.decisions[0].at <= detail.decisions[1].at


def test_reopening_takes_back(book: Casebook) -> None:
    case = add(book, "a.jpg", accepted=True)
    book.decide(case, Outcome.NOT_A_SERIAL, **ANN)
    book.decide(case, Outcome.REOPENED, by="A. Reed", because="pressed the wrong key")
    detail = book.case(case)
    assert (detail.summary.state, detail.summary.number) == (State.OPEN, "41873")
    assert len(detail.decisions) == 2


def test_a_decision_outlives_a_new_reading(book: Casebook) -> None:
    case = add(book, "a.jpg")
    book.decide(case, Outcome.SERIAL, text="41878", **ANN)
    book.record_answer(made("a.jpg", "47878"), NEWER)
    (found,) = book.find()
    assert (found.state, found.number) == (State.DECIDED, "41878")


def test_the_year_goes_with_the_number(book: Casebook) -> None:
    case = add(book, "a.jpg")
    book.decide(case, Outcome.SERIAL, text="No. 41873", **ANN)
    assert book.case(case).summary.year is None, "'No.' makes it another text"
    book.decide(case, Outcome.SERIAL, text="41873", **ANN)
    assert book.case(case).summary.year == 1874
    book.decide(case, Outcome.SERIAL, text="47873", **ANN)
    assert book.case(case).summary.year is None
    assert book.find(Query(years=(1870, 1880))) == []
    dating = {"edtf": "1883~", "year": 1883, "interval": [1882, 1885], "probability": 0.9}
    book.decide(case, Outcome.SERIAL, text="47873", maker=HARROW, dating=dating, **ANN)
    (found,) = book.find(Query(years=(1885, 1890)))
    assert (found.year, found.interval, found.maker) == (1883, (1882, 1885), "Harrow & Thistle")


@pytest.mark.parametrize(
    ("outcome", "number"), [(Outcome.SERIAL, None), (Outcome.SERIAL, " . "), (Outcome.NOT_A_SERIAL, "41873")]
)
def test_half_a_decision_is_refused(book: Casebook, outcome: Outcome, number: str | None) -> None:
    case = add(book, "a.jpg")
    with pytest.raises(CasebookError, match="a decision is"):
        book.decide(case, outcome, text=number, **ANN)
    assert book.case(case).decisions == ()


def test_who_and_why_must_be_said(book: Casebook) -> None:
    case, other = add(book, "a.jpg"), add(book, "b.jpg")
    for nobody in ({"by": " ", "because": "so"}, {"by": "A. Reed", "because": ""}):
        with pytest.raises(CasebookError, match="who decides, and why"):
            book.decide(case, Outcome.CANNOT_BE_READ, **nobody)
        with pytest.raises(CasebookError, match="who decides, and why"):
            book.merge_cases(case, other, **nobody)
        with pytest.raises(CasebookError, match="who decides, and why"):
            book.keep_apart(case, other, **nobody)


def test_an_unknown_case(book: Casebook) -> None:
    with pytest.raises(CasebookError, match="there is no case 9"):
        book.decide(9, Outcome.CANNOT_BE_READ, **ANN)
    with pytest.raises(CasebookError, match="there is no case 9"):
        book.case(9)


def test_merging(book: Casebook) -> None:
    kept, merged = add(book, "a.jpg", accepted=True), add(book, "b.jpg", accepted=True)
    book.merge_cases(kept, merged, **ANN)
    (found,) = book.find()
    assert (found.id, found.photos, found.state) == (kept, 2, State.ACCEPTED)
    assert [one.path for one in book.case(kept).photos] == ["shop/a.jpg", "shop/b.jpg"]
    (merge,) = book.case(kept).merges
    assert (merge.kept, merge.merged, merge.by, merge.because) == (kept, merged, "A. Reed", "raking light shows it")
    assert (book.case(merged).merged_into, book.case(merged).summary.state) == (kept, State.MERGED)
    assert sum(book.count_states().values()) == 1


def test_what_is_said_of_a_merged_case_is_said_of_the_kept(book: Casebook) -> None:
    first, second, third = (add(book, name) for name in ("a.jpg", "b.jpg", "c.jpg"))
    book.merge_cases(second, third, **ANN)
    book.merge_cases(first, second, **ANN)
    book.decide(third, Outcome.SERIAL, text="41873", **ANN)
    assert book.case(first).summary.state is State.DECIDED
    assert book.record_answer(made("d.jpg"), METHOD, case=third).cases == (first,)
    with pytest.raises(CasebookError, match=f"case {first} already"):
        book.merge_cases(third, second, **ANN)


def test_a_merge_takes_the_decision_over(book: Casebook) -> None:
    kept, merged = add(book, "a.jpg"), add(book, "b.jpg")
    decision = book.decide(merged, Outcome.SERIAL, text="41873", **ANN)
    book.merge_cases(kept, merged, **BEN)
    summary = book.case(kept).summary
    assert (summary.state, summary.number) == (State.DECIDED, "41873")
    assert summary.decision is not None
    assert (summary.decision.by, summary.decision.taken_over_from) == ("A. Reed", merged)
    assert abs(summary.decision.at - decision.at).total_seconds() < 1e-3


def test_cases_decided_differently_are_not_merged(book: Casebook) -> None:
    first, second = add(book, "a.jpg"), add(book, "b.jpg")
    book.decide(first, Outcome.SERIAL, text="41873", **ANN)
    book.decide(second, Outcome.SERIAL, text="41878", **BEN)
    with pytest.raises(CasebookError, match="decided differently"):
        book.merge_cases(first, second, **ANN)
    assert len(book.find()) == 2
    book.decide(second, Outcome.SERIAL, text="41873", **BEN)
    book.merge_cases(first, second, **ANN)
    assert len(book.find()) == 1


def test_two_accepted_numbers_in_one_case_are_open(book: Casebook) -> None:
    first, second = add(book, "a.jpg", accepted=True), add(book, "b.jpg", "5021", accepted=True)
    book.merge_cases(first, second, **ANN)
    assert [case.state for case in book.find()] == [State.OPEN]


EVERY_TABLE = sorted(tables.metadata.tables)


def fill(book: Casebook) -> None:
    """Put a row in every table."""
    first, second, third = (add(book, name) for name in ("a.jpg", "b.jpg", "c.jpg"))
    book.record_failure("0" * 64, "d.jpg", METHOD, "is no picture")
    book.decide(first, Outcome.SERIAL, text="41873", **ANN)
    book.merge_cases(first, second, **ANN)
    book.keep_apart(first, third, **ANN)


def test_history_cannot_be_changed(book: Casebook) -> None:
    fill(book)
    for name in EVERY_TABLE:
        for statement in (f"UPDATE {name} SET id = id", f"DELETE FROM {name}"):
            with pytest.raises(DBAPIError, match="the casebook only grows"), connect.writing(book.engine) as connection:
                assert connection.execute(text(f"SELECT count(*) FROM {name}")).scalar_one() > 0
                connection.execute(text(statement))


def test_history_cannot_be_pushed_out(book: Casebook) -> None:
    fill(book)
    for name in EVERY_TABLE:
        # What each database has for it beside UPDATE and DELETE.
        sqlite = f"INSERT OR REPLACE INTO {name} SELECT * FROM {name}"
        statement = sqlite if book.engine.dialect.name == "sqlite" else f"TRUNCATE {name} CASCADE"
        with pytest.raises(DBAPIError, match="the casebook only grows"), connect.writing(book.engine) as connection:
            connection.execute(text(statement))
