"""A reader that needs no photos: the first word in a file says what becomes of it.

    good, doubtful, none     an answer: accepted serial, doubtful serial, no serial
    broken                   PhotoError
    bug                      ValueError, which nobody raises on purpose
    nan                      an answer with a probability that JSON has not
    print                    a good answer, with a stray print on the way
    slow                     a good answer after a minute
    missing file             PhotoError

`python -m tests.pipelines.fake_reader read ...` is the real command with this reader in it.
"""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pipelines import batch
from pipelines.batch import Reader
from reader.errors import MakerError, PhotoError
from reader.results import (
    Advice,
    Answer,
    Candidate,
    Character,
    DatedNumber,
    Dating,
    DoubtfulFigure,
    Evidence,
    FigureRival,
    Maker,
    Mark,
    MarkKind,
    NamedAlternative,
    Rival,
    Serial,
)

MAKER = Maker("harrow-and-thistle", "Harrow & Thistle", "Thistleford (invented town)", invented=True)

SECONDS = {"load": 0.0123456, "locate": 0.1, "recognize": 2.0, "total": 2.2}


def make_mark(number: int, text: str, kind: MarkKind, left: float = 10, top: float = 20) -> Mark:
    """Return a mark of 20 pixels height, read left to right; its second character is doubtful."""
    width = 12 * len(text)
    quad = np.array([[left, top], [left + width, top], [left + width, top + 20], [left, top + 20]], np.float32)
    characters = tuple(
        Character(sign, 0.64 if place == 1 else 0.99, (Rival("7", 0.3), Rival("4", 0.001)) if place == 1 else ())
        for place, sign in enumerate(text)
    )
    return Mark(number, text, kind, "a-rule", f"the reason for {text}", 0.9, 0.95, quad, "wood-stamp", characters)


def make_answer(path: str = "shop/lid.jpg", *, accepted: bool = True) -> Answer:
    """Return an answer with a serial, a model letter, a patent date, a year and advice."""
    marks = (
        make_mark(0, "41873", MarkKind.SERIAL),
        make_mark(1, "B", MarkKind.MODEL, 120),
        make_mark(2, "PAT. AUG. 1871", MarkKind.PATENT, 10, 120),
    )
    serial = Serial("41873", 0.97, True, 0, (Candidate("41878", 0.02),))
    if not accepted:
        serial = Serial("41873", 0.62, False, 0, (Candidate("41878", 0.2), Candidate("47873", 0.001)))
    advice = (Advice("rake", "Hold the lamp low, at the side."),)
    return Answer(path, "ab" * 32, 320, 200, serial, marks, MAKER, make_dating(), advice, SECONDS)


def make_dating() -> Dating:
    """Return a dating with everything in it: candidates with and without a year, a doubtful figure, an alternative."""
    return Dating(
        edtf="1874~",
        year=1874,
        interval=(1873, 1876),
        probability=0.87309,
        evidence=(Evidence("break-point", "no. 38700: the first number of 1873", "invented for the demo", 1873, 1873),),
        warnings=("Years here are invented.",),
        interval_50=(1874, 1875),
        years=(1873, 1874, 1875, 1876, 1877),
        probabilities=(0.2, 0.4, 0.2, 0.15, 0.05),
        candidates=(
            DatedNumber("41873", "piano", 0.97, 1874, (1873, 1876)),
            DatedNumber("418730", "piano", 0.003, why="418730 lies outside 1200 (1851) to 98000 (1912)"),
        ),
        figures=(
            DoubtfulFigure(2, (FigureRival("1", 0.64, 1874, (1873, 1876)), FigureRival("7", 0.3, 1878, (1877, 1879)))),
        ),
        alternatives=(NamedAlternative("14873", "two figures are swapped", 1867, (1866, 1868)),),
    )


def make_empty_answer(path: str = "shop/dark.jpg") -> Answer:
    """Return an answer in which nothing was found."""
    return Answer(path, "0" * 64, 320, 200, None, (), None, None, (Advice("light", "Use a lamp."),), SECONDS)


def read(path: Path) -> Answer:
    """Read a file of the fake kind."""
    if not path.is_file():
        raise PhotoError(path, "there is no such file", "look at its name")
    word = path.read_bytes().split()[0].decode()
    if word == "broken":
        raise PhotoError(path, "is no picture", "send the photo itself")
    if word == "bug":
        raise ValueError("a\nmessage of two lines")
    if word == "slow":
        time.sleep(60)
    if word == "print":
        print("a stray line")
    if word == "none":
        return make_empty_answer(str(path))
    answer = make_answer(str(path), accepted=word != "doubtful")
    if word == "nan" and answer.serial:
        return replace(answer, serial=replace(answer.serial, probability=float("nan")))
    return answer


def save_views(path: Path, folder: Path) -> list[Path]:
    """Write one file as if it were a view."""
    target = folder / f"{path.stem}.relief.png"
    target.write_text("a view")
    return [target]


def load_pixels(path: Path) -> NDArray[np.uint8]:
    """Return a gray photo."""
    return np.full((200, 320, 3), 128, np.uint8)


def open_reader(maker: str | None, page: int, pixel_limit: int) -> Reader:
    """Stand in for batch.open_reader; the only maker is Harrow & Thistle."""
    if maker not in (None, MAKER.name):
        raise MakerError(f"no table knows the maker {maker!r}; leave it out")
    return Reader(lambda folder: sorted(folder.glob("*.jpg")), read, save_views, load_pixels)


if __name__ == "__main__":
    from pipelines.command import main

    batch.open_reader = open_reader
    main(prog_name="rakelight")
