"""A scan's pages, prints and treatments, with a reader that says what it was given."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import tifffile

from pipelines.archivist import prints
from pipelines.archivist.prints import Treatment, choose_answer, read_page, read_scan
from pipelines.archivist.tasks import ReadSettings
from reader.errors import PhotoError
from reader.results import Answer, MarkKind, Photo
from tests.pipelines.fake_reader import make_answer, make_empty_answer, make_mark
from tools.trials.old_prints import compose_page, load_samples, make_negative, screen_print


def read_corner(photo: Photo) -> Answer:
    """Return an answer whose one mark lies 10 px from the picture's upper left corner."""
    answer = make_answer(photo.path, accepted=True)
    marks = (make_mark(0, "41873", MarkKind.SERIAL, 10, 10),)
    return replace(answer, sha256=photo.sha256, width=photo.width, height=photo.height, marks=marks)


def read_nothing(photo: Photo) -> Answer:
    return replace(make_empty_answer(photo.path), width=photo.width, height=photo.height)


def test_prints_of_a_page_keep_their_place_on_it() -> None:
    page = compose_page(np.random.default_rng(4), list(load_samples(600).values()), "cream paper", 3)
    photo = Photo(page.pixels, "page.tif", "ab" * 32)
    new = list(read_page(photo, "page 2", ReadSettings(offer_treatments=False), read_corner))
    assert [one.part for one in new] == ["page 2 print 1", "page 2 print 2", "page 2 print 3", "page 2"]
    for one, quad in zip(new[:3], page.quads, strict=True):
        corner = np.array(one.answer["marks"][0]["quad"][0])
        assert np.linalg.norm(corner - quad[0]) < 30
        assert (one.answer["photo"]["width"], one.answer["photo"]["height"]) == (photo.width, photo.height)
        assert one.answer["advice"][-1]["code"] == "print-on-scan"
    assert len({one.phash for one in new}) == 4


def test_a_page_with_nothing_around_its_prints_is_no_part_of_its_own() -> None:
    page = compose_page(np.random.default_rng(4), list(load_samples(600).values()), "cream paper", 3)
    new = list(read_page(Photo(page.pixels, "p", "ab" * 32), "", ReadSettings(), read_nothing))
    assert [one.part for one in new] == ["print 1", "print 2", "print 3"]
    whole = list(read_page(Photo(page.pixels, "p", "ab" * 32), "", ReadSettings(split_pages=False), read_nothing))
    assert [one.part for one in whole] == [""]


@pytest.mark.parametrize(
    ("make", "name"), [(make_negative, "inverted"), (lambda picture: screen_print(picture, 6.0, 45.0), "descreened")]
)
def test_negatives_and_halftones_are_read_twice(make: object, name: str) -> None:
    assert callable(make)
    pixels = make(load_samples(800)["archivist_old_shop_photograph.jpg"])
    given: list[np.ndarray[tuple[int, ...], np.dtype[np.uint8]]] = []

    def read(photo: Photo) -> Answer:
        given.append(photo.pixels)
        return read_corner(photo)

    new = next(read_page(Photo(pixels, "p", "ab" * 32), "", ReadSettings(), read))
    assert len(given) >= 2  # a halftone's tones are so hard that it is offered an inversion too
    assert np.array_equal(given[0], pixels)
    assert not np.array_equal(given[1], pixels)
    assert f"also-{name}" in [one["code"] for one in new.answer["advice"]]
    given.clear()
    next(read_page(Photo(pixels, "p", "ab" * 32), "", ReadSettings(offer_treatments=False), read))
    assert len(given) == 1


def test_the_more_probable_reading_is_taken_and_a_contradiction_is_not_accepted() -> None:
    treatment = Treatment("inverted", "its tones are odd", np.zeros((1, 1, 3), np.uint8))
    sure, unsure = make_answer(), make_answer(accepted=False)
    assert sure.serial is not None
    other = replace(sure, serial=replace(sure.serial, text="99999"))
    same = choose_answer(unsure, sure, treatment)
    assert same.serial is not None
    assert (same.serial.text, same.serial.accepted, same.advice[-1].code) == ("41873", True, "read-inverted")
    against = choose_answer(unsure, other, treatment)
    assert against.serial is not None
    assert (against.serial.text, against.serial.accepted) == ("99999", False)
    assert "41873" in against.advice[-1].text
    kept = choose_answer(sure, make_empty_answer(), treatment)
    assert (kept.serial, kept.advice[-1].code) == (sure.serial, "also-inverted")


def test_every_page_is_a_part_and_a_broken_one_a_failure(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "scan.tif"
    with tifffile.TiffWriter(file) as writer:
        writer.write(np.full((40, 50, 3), 90, np.uint8), photometric="rgb")
        writer.write(np.full((40, 50), 0.5, np.float32), photometric="minisblack")
        writer.write(np.full((40, 50), 30_000, np.uint16), photometric="minisblack")
    monkeypatch.setattr(prints, "read_loaded", lambda photo, options: read_corner(photo))
    answers, failures = read_scan(file, ReadSettings())
    assert [one.part for one in answers] == ["page 1", "page 3"]
    assert [(one.part, one.kind) for one in failures] == [("page 2", "unreadable")]
    with pytest.raises(PhotoError):
        read_scan(tmp_path / "none.tif", ReadSettings())
