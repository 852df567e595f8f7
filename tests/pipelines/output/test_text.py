"""The answer in plain sentences."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.output.text import NO_PROOF, say_percent, say_serial, say_year, write_text
from reader.results import Advice, MarkKind, Rival
from tests.pipelines.fake_reader import make_answer, make_empty_answer, make_mark

WHOLE = """\
shop/lid.jpg
  Serial 41873 (sure enough to use: 97 %)
  Doubtful, figure 2 of 5: 1 (64 %), or 7 (30 %)
  Less likely: 41878 (2 %)
  Why this number: the reason for 41873
  Model B (90 %): the reason for B
  Other marks:
    - PAT. AUG. 1871 (90 %), patent: the reason for PAT. AUG. 1871
  Maker: Harrow & Thistle, Thistleford (invented town); invented for the demo
  Made about 1874, from 1873 to 1876 with a probability of 87 %. This is an estimate, not a proof of age.
  It rests on:
    - no. 38700: the first number of 1873 [invented for the demo]
  Mind:
    - Years here are invented.
  What would help:
    - Hold the lamp low, at the side.
"""


def test_whole_block() -> None:
    assert write_text(make_answer(), 110) == WHOLE


def test_doubtful_serial_is_said_with_its_rivals_and_on_condition() -> None:
    answer = make_answer(accepted=False)
    assert say_serial(answer.serial).replace("\u00a0", " ") == (
        "Serial: not sure. It may read 41873 (62 %), 41878 (20 %)"
    )
    assert say_year(answer).startswith("If this is the serial, it was made about 1874")


def test_nothing_found() -> None:
    assert write_text(make_empty_answer()) == (
        "shop/dark.jpg\n  No serial found\n  What would help:\n    - Use a lamp.\n"
    )


def test_proof_is_disclaimed_once_and_always() -> None:
    answer = make_answer()
    assert answer.dating is not None
    told = replace(answer, dating=replace(answer.dating, warnings=("An estimate, not a proof of age: ask.",)))
    silent = replace(answer, dating=replace(answer.dating, warnings=()))
    assert write_text(told, 200).count("proof of age") == 1
    assert write_text(silent, 200).count("proof of age") == 1
    assert NO_PROOF in write_text(silent, 200)


def test_interval_of_one_year() -> None:
    answer = make_answer()
    assert answer.dating is not None
    assert "Made in 1874 with" in say_year(replace(answer, dating=replace(answer.dating, interval=(1874, 1874))))


def test_confirming_marks_are_told_once() -> None:
    answer = make_answer()
    assert answer.serial is not None
    again = make_mark(3, "41873", MarkKind.SERIAL, 10, 60)
    text = write_text(replace(answer, marks=(*answer.marks, again), serial=replace(answer.serial, confirmed_by=(3,))))
    assert "The same number was read in 1 more place of the photo" in text
    assert "of a serial's form" not in text
    assert "of a serial's form" in write_text(replace(answer, marks=(*answer.marks, again)))


def test_figures_are_counted_within_the_serial() -> None:
    answer = make_answer()
    head = make_mark(0, "N 41873", MarkKind.SERIAL)
    signs = [replace(c, probability=0.99, rivals=()) for c in head.characters]
    signs[-1] = replace(signs[-1], probability=0.5, rivals=(Rival("8", 0.4),))
    text = write_text(replace(answer, marks=(replace(head, characters=tuple(signs)), *answer.marks[1:])))
    assert "Doubtful, figure 5 of 5: 3 (50 %), or 8 (40 %)" in text
    elsewhere = replace(head, characters=tuple(signs[:3]))
    assert "Doubtful" not in write_text(replace(answer, marks=(elsewhere, *answer.marks[1:])))


def test_words_that_could_hardly_be_read_are_counted_only() -> None:
    dim = [replace(make_mark(n, f"dim{n}", MarkKind.WORD), probability=0.4) for n in range(3)]
    clear = make_mark(3, "clear", MarkKind.WORD)
    patent = replace(make_mark(4, "PAT. 1871", MarkKind.PATENT), probability=0.4)
    text = write_text(replace(make_empty_answer(), marks=(*dim, clear, patent)))
    assert "dim" not in text
    assert "clear (90 %)" in text
    assert "PAT. 1871 (40 %)" in text
    assert "    - 3 more that could hardly be read\n" in text
    assert "    - 3 that could hardly be read\n" in write_text(replace(make_empty_answer(), marks=tuple(dim)))


@pytest.mark.parametrize("kind", list(MarkKind))
def test_every_kind_has_words(kind: MarkKind) -> None:
    answer = replace(make_empty_answer(), marks=(make_mark(0, "X12", kind),))
    assert "X12 (90 %)" in write_text(answer)


@pytest.mark.parametrize(
    ("probability", "words"),
    [
        (0, "0 %"),
        (0.001, "under 1 %"),
        (0.014, "1 %"),
        (0.97, "97 %"),
        (0.994, "99 %"),
        (0.9951, "over 99 %"),
        (1, "100 %"),
    ],
)
def test_percent_never_claims_certainty_by_rounding(probability: float, words: str) -> None:
    assert say_percent(probability) == words.replace(" %", "\u00a0%")


@given(st.integers(40, 160))
def test_lines_fit_and_percents_stay_whole(columns: int) -> None:
    lines = write_text(make_answer(), columns).splitlines()
    assert max(map(len, lines)) <= columns
    assert not any(line.lstrip(" -").startswith("%") for line in lines)


@given(st.text())
def test_no_control_characters_from_outside(text: str) -> None:
    answer = replace(
        make_empty_answer(), path=text, advice=(Advice("a", text),), marks=(make_mark(0, text, MarkKind.WORD),)
    )
    assert all(line.isprintable() for line in write_text(answer).split("\n"))
