"""Which cases are offered as one instrument, and which are not."""

from __future__ import annotations

import itertools
import tracemalloc

import numpy as np
import pytest

from pipelines.casebook.records import Outcome
from pipelines.casebook.store import Casebook
from pipelines.casebook.suggest import NEAR, _near_pairs
from tests.pipelines.casebook.made import HARROW, LARKFIELD, METHOD, made

ANN = {"by": "A. Reed", "because": "I looked"}

HASH = 0x0F1E2D3C4B5A6978


def flipped(bits: int) -> str:
    """Return HASH with so many bits flipped, spread over all of it."""
    mask = sum(1 << (place * 61 % 64) for place in range(bits))
    return f"{HASH ^ mask:016x}"


def pairs(book: Casebook, case: int | None = None) -> list[tuple[int, int]]:
    return [(one.first, one.second) for one in book.suggest_merges(case)]


def add(book: Casebook, name: str, number: str | None = "41873", **more: object) -> int:
    phash = more.pop("phash", None)
    return book.record_answer(made(name, number, **more), METHOD, phash=phash).cases[0]  # type: ignore[arg-type]


def test_one_number_at_two_places(book: Casebook) -> None:
    first, second, third = add(book, "a.jpg"), add(book, "b.jpg"), add(book, "c.jpg", "5021")
    (one,) = book.suggest_merges()
    assert (one.first, one.second, one.number, one.distance) == (first, second, "41873", None)
    assert pairs(book, first) == pairs(book, second) == [(first, second)]
    assert pairs(book, third) == []


@pytest.mark.parametrize(
    ("ours", "theirs", "offered"),
    [(HARROW, HARROW, True), (HARROW, None, True), (None, None, True), (HARROW, LARKFIELD, False)],
)
def test_makers(book: Casebook, ours: object, theirs: object, offered: bool) -> None:
    add(book, "a.jpg", maker=ours)
    add(book, "b.jpg", maker=theirs)
    assert bool(pairs(book)) is offered


def test_doubtful_readings_do_not_count_and_decisions_do(book: Casebook) -> None:
    first, second = add(book, "a.jpg"), add(book, "b.jpg", accepted=False)
    assert pairs(book) == []
    book.decide(second, Outcome.SERIAL, text="41873", **ANN)
    assert pairs(book) == [(first, second)]
    book.decide(first, Outcome.SERIAL, text="41878", **ANN)
    assert pairs(book) == []


def test_the_last_figures_prove_nothing(book: Casebook) -> None:
    add(book, "a.jpg")
    add(book, "leg.jpg", "873")
    assert pairs(book) == []


def test_copies_of_one_picture(book: Casebook) -> None:
    hashes = [flipped(0), flipped(NEAR), flipped(NEAR + NEAR + 1)]
    first, second, third = (add(book, f"{one}.jpg", None, phash=one) for one in hashes)
    (one,) = book.suggest_merges()
    assert (one.first, one.second, one.number, one.distance) == (first, second, None, NEAR)
    assert pairs(book, second) == [(first, second)]
    assert pairs(book, third) == []


def test_near_pairs_are_all_found() -> None:
    rng = np.random.default_rng(6)
    values = rng.integers(0, 1 << 63, 600, np.uint64) * np.uint64(2) + rng.integers(0, 2, 600, np.uint64)
    for bits in range(16):  # near copies of some, up to twice as far as counts
        mask = sum(1 << int(place) for place in rng.choice(64, bits, replace=False))
        values[bits + 100] = values[bits] ^ np.uint64(mask)
    owners = np.arange(600) // 2  # two photos a case
    expected = {
        (apart, int(owners[one]), int(owners[other]))
        for one, other in itertools.combinations(range(600), 2)
        if (apart := (int(values[one]) ^ int(values[other])).bit_count()) <= NEAR and owners[one] != owners[other]
    }
    assert len(expected) == NEAR + 1
    assert _near_pairs(owners, values) == expected


def test_many_black_photos_do_not_fill_the_memory() -> None:
    tracemalloc.start()
    pairs = _near_pairs(np.zeros(3000, np.int64), np.zeros(3000, np.uint64))
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert pairs == set()
    assert most < 100e6


def test_merged_and_parted_ones_are_offered_no_more(book: Casebook) -> None:
    first, second, third = (add(book, f"{name}.jpg") for name in "abc")
    assert pairs(book) == [(first, second), (first, third), (second, third)]
    book.keep_apart(third, first, **ANN)
    assert pairs(book) == [(first, second), (second, third)]
    book.merge_cases(first, second, **ANN)
    assert pairs(book) == [], "what was said of a case holds for the one it is part of"


def test_the_limit(book: Casebook) -> None:
    for name in "abcd":
        add(book, f"{name}.jpg")
    assert len(book.suggest_merges(limit=2)) == 2
