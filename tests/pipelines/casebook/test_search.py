"""Finding cases by what is known of them, page by page, and the order in which persons should look at them."""

from __future__ import annotations

import pytest

from pipelines.casebook import search
from pipelines.casebook.errors import CasebookError
from pipelines.casebook.records import Outcome, Query, State, search_key
from pipelines.casebook.store import Casebook
from tests.pipelines.casebook.made import LARKFIELD, METHOD, NEWER, made, sha

ANN = {"by": "A. Reed", "because": "raking light shows it"}


@pytest.fixture
def shop(book: Casebook) -> Casebook:
    """Five cases: 1 accepted, 2 open, 3 decided as 5121, 4 failed, 5 open without a number."""
    book.record_answer(made("a.jpg", "41873"), METHOD)
    book.record_answer(
        made("b.jpg", "5021", accepted=False, maker=LARKFIELD, years=(1890, 1891, 1895), marks=["BOSTON"]), METHOD
    )
    book.record_answer(made("c.jpg", "5127", accepted=False, maker=None, years=None), METHOD)
    book.decide(3, Outcome.SERIAL, text="5121", **ANN)
    book.record_failure(sha("d.jpg"), "shop/d.jpg", METHOD, "is no picture")
    book.record_answer(made("e.jpg", None, maker=None), METHOD)
    return book


FOUND = (
    (Query(), [5, 4, 3, 2, 1]),
    (Query(number="41873"), [1]),
    (Query(number=" 41-873 "), [1]),
    (Query(number="4187"), []),
    (Query(number="4187", prefix=True), [1]),
    (Query(number="5", prefix=True), [3, 2]),
    (Query(number="5121"), [3]),
    (Query(number="5127"), [3]),
    (Query(maker="larkfield"), [2]),
    (Query(maker="Organ works"), [2]),
    (Query(maker="harrow-and-thistle"), [1]),
    (Query(maker="100%"), []),
    (Query(years=(1876, 1890)), [2, 1]),
    (Query(years=(1877, 1889)), []),
    (Query(state=State.ACCEPTED), [1]),
    (Query(state=State.OPEN), [5, 2]),
    (Query(state=State.DECIDED), [3]),
    (Query(state=State.FAILED), [4]),
    (Query(state=State.MERGED), []),
    (Query(text="ost"), [2]),
    (Query(number="5021", state=State.OPEN, years=(1895, 1900), maker="lark", text="boston"), [2]),
    (Query(number="5021", state=State.ACCEPTED), []),
)
"""Queries, and the cases of `shop` that fit, newest first."""


@pytest.mark.parametrize("many", [1, search.MANY_HITS])
def test_find(shop: Casebook, monkeypatch: pytest.MonkeyPatch, many: int) -> None:
    monkeypatch.setattr(search, "MANY_HITS", many)
    assert [(query, [case.id for case in shop.find(query)]) for query, _ in FOUND] == list(FOUND)


def test_words_without_letters_and_figures(shop: Casebook) -> None:
    for query in (Query(text="_"), Query(number="-"), Query(maker=" ")):
        with pytest.raises(CasebookError, match="has a letter or a figure"):
            shop.find(query)


def test_old_readings_are_not_searched(shop: Casebook) -> None:
    shop.record_answer(made("a.jpg", "41878"), NEWER)
    assert shop.find(Query(number="41873")) == []
    assert [case.id for case in shop.find(Query(number="41878"))] == [1]


def test_pages(shop: Casebook) -> None:
    pages = [shop.find(limit=2)]
    while pages[-1]:
        pages.append(shop.find(limit=2, before=pages[-1][-1].id))
    assert [[case.id for case in page] for page in pages] == [[5, 4], [3, 2], [1], []]


def test_a_case_on_one_line(shop: Casebook) -> None:
    second = shop.find()[3]
    assert (second.number, second.maker, second.edtf, second.year) == ("5021", "Larkfield Organ Works", "1891~", 1891)
    assert (second.interval, second.photos, second.path) == ((1890, 1895), 1, "shop/b.jpg")
    fourth = shop.find()[1]
    assert (fourth.number, fourth.probability, fourth.year, fourth.photos) == (None, None, None, 1)


def test_states_are_counted(shop: Casebook) -> None:
    assert shop.count_states() == {State.OPEN: 2, State.ACCEPTED: 1, State.DECIDED: 1, State.FAILED: 1}


def test_hardest_first(book: Casebook) -> None:
    wanted = [
        book.record_answer(made("wide.jpg", accepted=False, probability=0.5, years=(1850, 1860, 1890)), METHOD),
        book.record_answer(made("narrow.jpg", accepted=False, probability=0.5, years=(1873, 1874, 1876)), METHOD),
        book.record_answer(made("undated, doubtful.jpg", accepted=False, probability=0.3, years=None), METHOD),
        book.record_answer(made("undated, surer.jpg", accepted=False, probability=0.8, years=None), METHOD),
        book.record_answer(made("nothing.jpg", None), METHOD),
    ]
    book.record_answer(made("accepted.jpg"), METHOD)
    told = book.record_answer(made("told.jpg", accepted=False), METHOD, years_at_stake=99.0)
    order = [one.cases[0] for one in (told, *wanted)]
    assert [case.id for case in book.open_cases()] == order
    assert [case.id for case in book.open_cases(limit=2, offset=1)] == order[1:3]


def test_records_for_exports(shop: Casebook) -> None:
    records = list(shop.iterate_records())
    assert [(one.case, one.path, one.state) for one in records] == [
        (1, "shop/a.jpg", State.ACCEPTED),
        (2, "shop/b.jpg", State.OPEN),
        (3, "shop/c.jpg", State.DECIDED),
        (4, "shop/d.jpg", State.FAILED),
        (5, "shop/e.jpg", State.OPEN),
    ]
    assert records[2].decision is not None
    assert records[2].decision.text == "5121"
    assert [one.case for one in shop.iterate_records(Query(state=State.FAILED))] == [4]


def test_search_key() -> None:
    assert search_key(" No. 41-873b ") == "NO41873B"
    assert search_key("\N{FULLWIDTH DIGIT FOUR}1873") == "41873"
    assert search_key("---") == ""
