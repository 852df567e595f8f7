"""The tables. Outside check: the frictionless library reads and validates them by their own descriptor."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.export.csv_table import EDTF_PATTERN, MARK_FIELDS, PHOTO_FIELDS, CsvExport, photo_cells
from pipelines.export.outcome import outcome_of
from pipelines.export.record import Record
from pipelines.export.target import Target
from pipelines.output.csv_rows import write_answer_row, write_header
from reader.dating.edtf import write_dating
from tests.pipelines.export.samples import make_record
from tests.pipelines.fake_reader import make_answer


def write(folder: Path, *records: Record) -> Path:
    export = CsvExport(Target(folder, overwrite=True))
    for record in records:
        export.add(record)
    export.finish()
    return folder


def rows(path: Path) -> list[dict[str, str]]:
    text = path.read_bytes().decode()
    assert "\r\n" in text
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def test_an_accepted_reading(tmp_path: Path, record: Record) -> None:
    (row,) = rows(write(tmp_path, record) / "photos.csv")
    assert row == {
        **dict.fromkeys(PHOTO_FIELDS, ""),
        "path": "box/lid.jpg",
        "sha256": record.sha256,
        "width": "320",
        "height": "200",
        "serial": "41873",
        "accepted": "true",
        "probability": "0.97",
        "serial_read": "41873",
        "model": "B",
        "year": "1874",
        "edtf": "1874~",
        "earliest": "1873",
        "latest": "1876",
        "year_probability": "0.8731",
        "maker": "Harrow & Thistle",
        "advice": "Hold the lamp low, at the side.",
    }


def test_a_decision(tmp_path: Path, decided: Record) -> None:
    write(tmp_path, decided)
    (row,) = rows(tmp_path / "photos.csv")
    expected = {
        "serial": "41878",
        "serial_read": "41873",
        "accepted": "true",
        "probability": "",
        "year": "",
        "case": "7",
    }
    expected |= {"decision": "serial", "decided_by": "Ada Fenn", "because": "the 8 is closed"}
    assert {key: row[key] for key in expected} == expected
    marks = rows(tmp_path / "marks.csv")
    assert [(mark["mark"], mark["text"], mark["kind"]) for mark in marks] == [
        ("0", "41878", "serial"),
        ("1", "B", "model"),
        ("2", "PAT. AUG. 1871", "patent"),
    ]
    assert [marks[0][key] for key in ("x1", "y1", "x3", "y3", "probability")] == ["10.0", "20.0", "70.0", "40.0", ""]


def test_it_says_the_same_as_the_table_of_read(photo: Path) -> None:
    """pipelines/output writes answers; columns that both tables have agree."""
    record = make_record(photo, "shop/lid.jpg")
    read = next(csv.DictReader(io.StringIO(write_header() + write_answer_row(make_answer()), newline="")))
    cells = {name: str(cell) for name, cell in photo_cells(record, outcome_of(record)).items()}
    assert {name for name in read if name in cells} == set(read) - {"error"}
    assert {name: cells[name] for name in cells if name in read and name != "sha256"} == {
        name: cell for name, cell in read.items() if name not in ("error", "sha256")
    }


def test_frictionless_finds_nothing_wrong(tmp_path: Path, record: Record, decided: Record, photo: Path) -> None:
    frictionless = pytest.importorskip("frictionless", reason="needs frictionless, of the extra 'test'")
    others = [make_record(photo, f"=box/{n}.jpg", empty=n == 1, accepted=False) for n in range(3)]
    pages = [make_record(photo, "scan.tif", part=f"page {n}") for n in (1, 2)]
    write(tmp_path, record, make_record(photo, "b.jpg", decision=decided.decision), *others, *pages)
    report = frictionless.validate(str(tmp_path / "datapackage.json"))
    assert report.valid, report.flatten(["type", "message"])
    resource = frictionless.Package(str(tmp_path / "datapackage.json")).get_resource("photos")
    first = resource.read_rows()[0]
    assert (first["serial"], first["accepted"], first["year"]) == ("41873", True, 1874)
    assert isinstance(first["serial"], str)


@pytest.mark.parametrize(
    ("old", "new"),
    [("41873", "41873,x"), (",0.97,", ",1.97,"), ("1874~", "c. 1874"), (",true,", ",maybe,"), (",320,", ",0,")],
)
def test_frictionless_finds_what_is_wrong(tmp_path: Path, record: Record, old: str, new: str) -> None:
    """The descriptor is tight enough: a spoiled table does not pass."""
    frictionless = pytest.importorskip("frictionless", reason="needs frictionless, of the extra 'test'")
    table = write(tmp_path, record) / "photos.csv"
    table.write_bytes(table.read_bytes().replace(old.encode(), new.encode(), 1))
    assert not frictionless.validate(str(tmp_path / "datapackage.json")).valid


def test_a_mark_of_no_photo_is_found(tmp_path: Path, record: Record) -> None:
    frictionless = pytest.importorskip("frictionless", reason="needs frictionless, of the extra 'test'")
    table = write(tmp_path, record) / "marks.csv"
    table.write_bytes(table.read_bytes().replace(b"box/lid.jpg", b"box/other.jpg", 1))
    assert not frictionless.validate(str(tmp_path / "datapackage.json")).valid


def test_the_pattern_takes_every_dating() -> None:
    import re

    texts = [write_dating(1874, [(1873, 1876)], doubtful=doubtful) for doubtful in (True, False)]
    texts += [write_dating(1874, runs, doubtful=False) for runs in ([(1850, 1890)], [(1873, 1876), (1891, 1891)])]
    texts += ["1874", "1874?", "189X", "1885/..", "[1878,1891]"]
    assert all(re.fullmatch(EDTF_PATTERN, text) for text in texts)


def test_leading_zeros_stay(tmp_path: Path, record: Record) -> None:
    record.answer["serial"]["text"] = "00718"
    (row,) = rows(write(tmp_path, record) / "photos.csv")
    assert row["serial"] == "00718"


TEXTS = st.text(st.characters(exclude_categories=("Cs",)), min_size=1, max_size=30)
NAMES = TEXTS.filter(lambda text: not set(text) & set("/\0") and text not in (".", ".."))


@given(name=NAMES, serial=TEXTS, because=TEXTS)
def test_no_cell_begins_a_formula(
    tmp_path_factory: pytest.TempPathFactory, name: str, serial: str, because: str
) -> None:
    record = make_record(Path("missing"), name)
    record.answer["serial"]["text"] = serial
    record.answer["advice"][0]["text"] = because
    (row,) = rows(write(tmp_path_factory.mktemp("csv"), record) / "photos.csv")
    numbers = ("probability", "year", "earliest", "latest", "width", "height")
    for column, cell in row.items():
        if column not in numbers:
            for line in cell.replace("\r", "\n").split("\n"):
                assert line.lstrip()[:1] not in tuple("=+-@＝＋－＠")
            assert cell[:1] not in ("\t", "\r")


def test_the_descriptor_names_every_column(tmp_path: Path, record: Record) -> None:
    folder = write(tmp_path, record)
    package = json.loads((folder / "datapackage.json").read_bytes())
    for resource, fields in zip(package["resources"], (PHOTO_FIELDS, MARK_FIELDS), strict=True):
        header = (folder / resource["path"]).read_bytes().split(b"\r\n")[0].decode().split(",")
        assert [field["name"] for field in resource["schema"]["fields"]] == header == list(fields)
        assert all(field["description"] for field in resource["schema"]["fields"])
