"""ALTO documents. Outside check: the 4.4 schema, with lxml and xmlschema, where it is at hand."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipelines.export.alto import render_alto
from pipelines.export.record import Record
from tests.pipelines.export.samples import make_record
from tests.published.archive_rules import ALTO, break_alto, load_alto_schema


def tree(record: Record, orientation: int = 1) -> ET.Element:
    data = render_alto(record, orientation)
    assert list(break_alto(data)) == []
    return ET.fromstring(data)


def samples(photo: Path, decided: Record) -> list[Record]:
    outside = make_record(photo)
    outside.marks[1]["quad"] = [[-90.0, -90.0], [-50.0, -90.0], [-50.0, -50.0], [-90.0, -50.0]]
    blank = make_record(photo)
    blank.marks[1]["text"], blank.marks[1]["characters"] = "", []
    pages = make_record(photo, part="page 3 print 2")
    return [
        make_record(photo),
        make_record(photo, accepted=False),
        make_record(photo, empty=True),
        decided,
        outside,
        blank,
        pages,
    ]


@pytest.mark.parametrize("library", ["lxml", "xmlschema"])
def test_the_schema_takes_every_kind_of_record(library: str, photo: Path, decided: Record) -> None:
    is_valid = load_alto_schema(library)
    for record in samples(photo, decided):
        assert is_valid(render_alto(record, 6))


def test_the_rules_take_every_kind_of_record(photo: Path, decided: Record) -> None:
    for record in samples(photo, decided):
        tree(record)


def test_a_reading(record: Record) -> None:
    root = tree(record, 6)
    (page,) = root.iter(f"{ALTO}Page")
    assert (page.get("WIDTH"), page.get("HEIGHT"), page.get("PHYSICAL_IMG_NR")) == ("320", "200", "1")
    assert root.get("SCHEMAVERSION") == "4.4"
    assert root.findtext(f".//{ALTO}fileName") == "box/lid.jpg"
    assert "EXIF orientation 6" in (root.findtext(f".//{ALTO}processingStepSettings") or "")
    string = next(root.iter(f"{ALTO}String"))
    assert string.get("CONTENT") == "41873"
    assert [string.get(key) for key in ("HPOS", "VPOS", "WIDTH", "HEIGHT")] == ["10", "20", "61", "21"]
    assert string.get("WC") == "0.9"
    assert string.get("CC") == "0 3 0 0 0"  # 0.99 and 0.64: the other way round
    (alternative,) = string.iter(f"{ALTO}ALTERNATIVE")
    assert alternative.text == "41878"
    glyphs = list(string.iter(f"{ALTO}Glyph"))
    assert [glyph.get("CONTENT") for glyph in glyphs] == list("41873")
    assert [variant.attrib for variant in glyphs[1].iter(f"{ALTO}Variant")] == [
        {"CONTENT": "7", "VC": "0.3"},
        {"CONTENT": "4", "VC": "0.001"},
    ]


def test_words_of_a_line(record: Record) -> None:
    line = list(tree(record).iter(f"{ALTO}TextLine"))[2]
    assert [child.tag.removeprefix(ALTO) for child in line] == ["String", "SP", "String", "SP", "String"]
    assert [string.get("CONTENT") for string in line.iter(f"{ALTO}String")] == ["PAT.", "AUG.", "1871"]
    assert [len((string.get("CC") or "").split()) for string in line.iter(f"{ALTO}String")] == [4, 4, 4]
    lefts = [int(string.get("HPOS", "")) for string in line.iter(f"{ALTO}String")]
    assert lefts == sorted(lefts)


def test_a_decision_is_a_correction(decided: Record) -> None:
    root = tree(decided)
    block = next(root.iter(f"{ALTO}TextBlock"))
    string = next(block.iter(f"{ALTO}String"))
    assert (block.get("CS"), string.get("CONTENT"), string.get("WC"), string.get("CC")) == ("true", "41878", None, None)
    assert [(a.text, a.get("PURPOSE")) for a in string.iter(f"{ALTO}ALTERNATIVE")] == [
        ("41873", "read before a person decided, probability 0.9")
    ]
    assert list(string.iter(f"{ALTO}Glyph")) == []
    steps = {step.get("ID"): step for step in root.iter(f"{ALTO}Processing")}
    assert steps["decision"].findtext(f"{ALTO}processingAgency") == "Ada Fenn"
    assert block.get("PROCESSINGREFS") == "reading decision"


@pytest.mark.parametrize(
    ("quad", "expected"),
    [
        ([[10, 20], [70, 20], [70, 40], [10, 40]], "0"),
        ([[40, 20], [40, 80], [20, 80], [20, 20]], "270"),  # read downward: a quarter turn clockwise
        ([[70, 40], [10, 40], [10, 20], [70, 20]], "180"),
        ([[20, 80], [20, 20], [40, 20], [40, 80]], "90"),
    ],
)
def test_rotation_runs_counter_clockwise(record: Record, quad: list[list[float]], expected: str) -> None:
    record.marks[0]["quad"] = quad
    assert next(tree(record).iter(f"{ALTO}TextBlock")).get("ROTATION") == expected


def test_the_same_record_gives_the_same_bytes(photo: Path) -> None:
    assert render_alto(make_record(photo), 1) == render_alto(make_record(photo), 1)


@given(text=st.text(min_size=1), relative=st.text(min_size=1))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_any_text_is_xml(record: Record, text: str, relative: str) -> None:
    mark = record.marks[1]
    mark["text"], mark["why"] = text, text
    mark["characters"] = [{"text": sign, "probability": 0.5, "rivals": [[sign, 0.5]]} for sign in text]
    record.answer["serial"]["alternatives"] = [{"text": text, "probability": 0.1}]
    object.__setattr__(record, "relative", relative)
    tree(record)
