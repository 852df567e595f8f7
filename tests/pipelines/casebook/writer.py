"""A writer to be killed: `python -m tests.pipelines.casebook.writer PLACE FIRST` records photos from FIRST on."""

from __future__ import annotations

import itertools
import sys

from pipelines.casebook.records import Outcome
from pipelines.casebook.store import open_casebook
from tests.pipelines.casebook.made import METHOD, made

MARKS = [f"word {number}" for number in range(40)]


def main(place: str, first: int) -> None:
    """Record photos without end, deciding and merging now and then, and print each number when it is done."""
    with open_casebook(place, create=False) as book:
        before = None
        for number in itertools.count(first):
            case = book.record_answer(made(f"{number}.jpg", marks=MARKS), METHOD).cases[0]
            if number % 3 == 0:
                book.decide(case, Outcome.SERIAL, text="41873", by="A. Reed", because="it can be read")
            if number % 3 == 2 and before:
                book.merge_cases(before, case, by="A. Reed", because="one instrument")
            before = case
            print(number, flush=True)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
