"""Corrections as a training set: what goes into it, what stays out, and that nothing is replaced."""

from __future__ import annotations

import csv
from pathlib import Path

import cv2
import numpy as np
import pytest

from pipelines.casebook.records import Outcome
from pipelines.casebook.store import Casebook
from pipelines.review.training import COLUMNS, export_training
from reader.errors import SettingsError
from tests.pipelines.review.conftest import Browser
from tests.pipelines.review.shop import METHOD, make_answer, make_photo


def read_rows(folder: Path) -> list[dict[str, str]]:
    with (folder / "labels.csv").open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        rows = list(reader)
    assert tuple(reader.fieldnames or ()) == COLUMNS
    return rows


def test_decided_marks_become_crops_and_labels(browser: Browser, book: Casebook, tmp_path: Path) -> None:
    browser.press("accept 41873")
    browser.press("type", typed="05223")
    browser.press("cannot-be-read")
    count, left_out = export_training(book, tmp_path / "set", tmp_path)
    assert count == 2
    assert left_out == {"no number was decided": 1}
    rows = read_rows(tmp_path / "set")
    assert [(row["text"], row["kind"], row["part"]) for row in rows] == [
        ("41873", "wood-stamp", "train"),
        ("05223", "wood-stamp", "train"),
    ]
    assert "read=52236" in rows[1]["notes"]
    assert sorted(path.name for path in (tmp_path / "set" / "crop").iterdir()) == sorted(
        row["file"].removeprefix("crop/") for row in rows
    )
    crop = cv2.imread(str(tmp_path / "set" / rows[0]["file"]), cv2.IMREAD_GRAYSCALE)
    photo = cv2.imread(str(tmp_path / "lid.png"), cv2.IMREAD_GRAYSCALE)
    assert crop is not None and photo is not None
    found = cv2.matchTemplate(photo, np.asarray(crop, np.uint8), cv2.TM_CCOEFF_NORMED)
    assert found.max() > 0.9  # the photo's own pixels, at their own size
    answer = book.case(1).photos[0].answer
    assert answer is not None
    top, bottom = (answer["marks"][0]["quad"][corner][1] for corner in (0, 2))
    assert abs(crop.shape[0] - 1.6 * (bottom - top)) < 2  # 0.3 of the figures' height above and below


def test_the_mark_that_was_looked_at_is_cut(browser: Browser, book: Casebook, tmp_path: Path) -> None:
    browser.page = browser.get("/case/1?mark=1")
    browser.press("type", typed="777")
    export_training(book, tmp_path / "set", tmp_path)
    (row,) = read_rows(tmp_path / "set")
    assert (row["text"], "read=1871;" in row["notes"]) == ("777", True)


def test_a_correction_without_a_mark_is_left_out(book: Casebook, tmp_path: Path) -> None:
    book.decide(1, Outcome.SERIAL, by="A. Reed", because="the owner's letter", text="777")
    assert export_training(book, tmp_path / "set", tmp_path) == (0, {"it is not known which mark was decided": 1})


def test_open_and_reopened_cases_are_left_out(browser: Browser, book: Casebook, tmp_path: Path) -> None:
    browser.press("accept 41873")
    browser.post("/undo")
    assert export_training(book, tmp_path / "set", tmp_path) == (0, {})
    assert read_rows(tmp_path / "set") == []


def test_a_photo_that_is_gone_or_changed_is_left_out(browser: Browser, book: Casebook, tmp_path: Path) -> None:
    browser.press("accept 41873")
    browser.press("accept 52236")
    (tmp_path / "lid.png").unlink()
    make_photo(tmp_path / "leg.png", "99999")
    assert export_training(book, tmp_path / "set", tmp_path) == (0, {"the photo is missing or has changed": 2})


def test_of_several_photos_those_with_the_number_go_out(book: Casebook, tmp_path: Path) -> None:
    for name, text in (("second.png", "41873"), ("third.png", "1")):
        quad = make_photo(tmp_path / name, text, (800, 525))
        book.record_answer(make_answer(tmp_path / name, text, quad), METHOD, case=1)
    book.decide(1, Outcome.SERIAL, by="A. Reed", because="by daylight", text="41873")
    assert export_training(book, tmp_path / "set", tmp_path) == (2, {})


def test_nothing_is_replaced(browser: Browser, book: Casebook, tmp_path: Path) -> None:
    browser.press("accept 41873")
    target = tmp_path / "set"
    target.mkdir()
    (target / "mine.txt").write_text("mine")
    with pytest.raises(SettingsError, match="is not empty"):
        export_training(book, target, tmp_path)
    assert [path.name for path in target.iterdir()] == ["mine.txt"]
    export_training(book, tmp_path / "new", tmp_path)
    with pytest.raises(SettingsError, match="is not empty"):
        export_training(book, tmp_path / "new", tmp_path)
    with pytest.raises(SettingsError, match="is not empty"):
        export_training(book, tmp_path / "lid.png", tmp_path)
