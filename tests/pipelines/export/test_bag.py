"""Bags. Outside check: the bagit library validates them, where it is installed."""

from __future__ import annotations

import csv
import hashlib
import io
import os
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from pipelines.export import bag as bag_module
from pipelines.export.bag import BagExport
from pipelines.export.record import ExportError, Record
from pipelines.export.sources import open_records
from pipelines.export.target import PASSING, Target
from reader.geometry import box_quad, crop_quad
from reader.photo.load import load_photo
from tests.pipelines.export.samples import draw_photo, make_record


def fill(folder: Path, *records: Record, overwrite: bool = False) -> Target:
    target = Target(folder, overwrite=overwrite)
    target.protect(record.photo for record in records)
    export = BagExport(target)
    try:
        for record in records:
            export.add(record)
        export.finish()
    finally:
        export.close()
    return target


def validate(folder: Path) -> Any:
    bagit = pytest.importorskip("bagit", reason="needs bagit, of the extra 'test'")
    bag = bagit.Bag(str(folder))
    bag.validate()
    return bag


def contents(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_the_library_finds_it_valid(tmp_path: Path, decided: Record) -> None:
    fill(tmp_path / "bag", decided)
    bag = validate(tmp_path / "bag")
    assert bag.version_info == (1, 0)
    assert bag.algorithms == ["sha512"]
    assert bag.info["Bagging-Date"] == date.today().isoformat()
    files = contents(tmp_path / "bag")
    payload = {name: data for name, data in files.items() if name.startswith("data/")}
    assert bag.info["Payload-Oxum"] == f"{sum(map(len, payload.values()))}.{len(payload)}"
    assert set(payload) == {
        "data/originals/box/lid.jpg",
        *(f"data/crops/box/lid.jpg.mark-{number}.png" for number in range(3)),
        *(
            f"data/records/{name}"
            for name in ("records.jsonl", "photos.csv", "marks.csv", "datapackage.json", "files.csv")
        ),
    }
    assert payload["data/originals/box/lid.jpg"] == decided.photo.read_bytes()


@pytest.mark.parametrize("spoil", ["change", "remove", "add"])
def test_the_library_finds_a_spoiled_one(tmp_path: Path, record: Record, spoil: str) -> None:
    bagit = pytest.importorskip("bagit", reason="needs bagit, of the extra 'test'")
    fill(tmp_path / "bag", record)
    copy = tmp_path / "bag/data/originals/box/lid.jpg"
    if spoil == "change":
        copy.write_bytes(copy.read_bytes()[:-1] + b"x")
    elif spoil == "remove":
        copy.unlink()
    else:
        copy.with_name("more.jpg").write_bytes(b"x")
    with pytest.raises(bagit.BagValidationError):
        validate(tmp_path / "bag")


def test_copies_keep_their_time_and_crops_are_the_readers(tmp_path: Path, record: Record) -> None:
    os.utime(record.photo, ns=(1_000_000_000, 1_234_567_890_123_456_789))
    fill(tmp_path / "bag", record)
    copy = tmp_path / "bag/data/originals/box/lid.jpg"
    assert copy.stat().st_mtime_ns == 1_234_567_890_123_456_789
    with Image.open(tmp_path / "bag/data/crops/box/lid.jpg.mark-0.png") as image:
        crop = np.asarray(image)
        assert image.info == {}
    expected, _ = crop_quad(load_photo(record.photo).pixels, box_quad(10, 20, 70, 40), 20, 0.25)
    assert np.array_equal(crop, expected)


def test_files_csv_says_what_everything_is(tmp_path: Path, record: Record) -> None:
    fill(tmp_path / "bag", record)
    text = (tmp_path / "bag/data/records/files.csv").read_bytes().decode()
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert [(row["role"], row["mark"]) for row in rows] == [
        ("original", ""),
        *(("crop of a mark", str(number)) for number in range(3)),
    ]
    for row in rows:
        data = (tmp_path / "bag" / row["file"]).read_bytes()
        assert hashlib.sha512(data).hexdigest() == row["sha512"]
        assert row["path"] == "box/lid.jpg"


def test_the_records_of_a_bag_can_be_exported_again(tmp_path: Path, decided: Record) -> None:
    fill(tmp_path / "bag", decided)
    with open_records(str(tmp_path / "bag/data/records/records.jsonl"), tmp_path / "bag/data/originals") as records:
        (record,) = records
    assert (record.relative, record.answer, record.decision) == (decided.relative, decided.answer, decided.decision)
    assert record.photo.is_file()


@pytest.mark.parametrize("name", ["a%1.jpg", "two\nlines.jpg", "Größe 日本.jpg", "semi;colon 'q'.jpg", "\udcff.jpg"])
def test_difficult_names(tmp_path: Path, name: str) -> None:
    photo = draw_photo(tmp_path / "photos" / name)
    fill(tmp_path / "bag", make_record(photo, name))
    validate(tmp_path / "bag")
    (copy,) = (tmp_path / "bag/data/originals").iterdir()
    assert copy.read_bytes() == photo.read_bytes()


def test_two_parts_of_a_scan_bring_one_copy(tmp_path: Path, photo: Path) -> None:
    parts = [make_record(photo, part=f"page 1 print {number}") for number in (1, 2)]
    target = fill(tmp_path / "bag", *parts)
    validate(tmp_path / "bag")
    assert [name for name in target.files if "originals" in name] == ["data/originals/box/lid.jpg"]
    assert "data/crops/box/lid.jpg.page-1-print-2.mark-0.png" in target.files


def test_again_on_another_day_changes_nothing(tmp_path: Path, record: Record, monkeypatch: pytest.MonkeyPatch) -> None:
    fill(tmp_path / "bag", record)
    before = contents(tmp_path / "bag")

    class LaterDate(date):
        @classmethod
        def today(cls) -> date:
            return date(2031, 1, 1)

    monkeypatch.setattr(bag_module, "date", LaterDate)
    target = fill(tmp_path / "bag", record)
    assert contents(tmp_path / "bag") == before
    assert target.new == 0


def test_an_unfinished_bag_is_gone_on_with(tmp_path: Path, record: Record) -> None:
    fill(tmp_path / "whole", record)
    target = Target(tmp_path / "bag")
    export = BagExport(target)
    export.add(record)
    left = tmp_path / "bag/data/originals/box" / f".other.jpg{PASSING}"
    left.write_bytes(b"half")
    assert not (tmp_path / "bag/bagit.txt").exists()  # no bag yet

    fill(tmp_path / "bag", record)

    validate(tmp_path / "bag")
    assert contents(tmp_path / "bag") == contents(tmp_path / "whole")
    export.close()  # only now, since a killed run closes nothing


def test_a_finished_bag_takes_nothing_more_unasked(tmp_path: Path, record: Record) -> None:
    fill(tmp_path / "bag", record)
    before = contents(tmp_path / "bag")
    more = make_record(draw_photo(tmp_path / "photos/box/more.jpg", seed=5), "box/more.jpg")
    with pytest.raises(ExportError, match="finished"):
        fill(tmp_path / "bag", record, more)
    assert contents(tmp_path / "bag") == before
    validate(tmp_path / "bag")
    fill(tmp_path / "bag", record, more, overwrite=True)
    validate(tmp_path / "bag")


def test_a_stranger_in_the_payload_stops_the_bag(tmp_path: Path, record: Record) -> None:
    stranger = tmp_path / "bag/data/notes.txt"
    stranger.parent.mkdir(parents=True)
    stranger.write_text("mine")
    with pytest.raises(ExportError, match=r"notes\.txt"):
        fill(tmp_path / "bag", record)
    assert stranger.read_text() == "mine"
    assert not (tmp_path / "bag/bagit.txt").exists()


def test_a_photo_that_changed_is_refused(tmp_path: Path, record: Record) -> None:
    draw_photo(record.photo, seed=9)
    with pytest.raises(ExportError, match="has changed"):
        fill(tmp_path / "bag", record)
