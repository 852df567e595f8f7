"""hOCR pages: well-formed, with titles that keep the specification's forms (tests/published/archive_rules.py)."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree as ET

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipelines.export.hocr import render_hocr
from pipelines.export.record import Record
from tests.pipelines.export.samples import make_record
from tests.published.archive_rules import break_hocr_title

HTML = "{http://www.w3.org/1999/xhtml}"


def page(record: Record, orientation: int = 1) -> ET.Element:
    root = ET.fromstring(render_hocr(record, orientation))
    for element in root.iter():
        assert list(break_hocr_title(element.get("title", ""))) == []
    return root


def of_class(root: ET.Element, name: str) -> list[ET.Element]:
    return [element for element in root.iter() if element.get("class") == name]


def test_a_page(record: Record) -> None:
    root = page(record, 6)
    metas = {meta.get("name"): meta.get("content") for meta in root.iter(f"{HTML}meta")}
    assert metas["ocr-system"] == "Rakelight"
    used = {element.get("class") for element in root.iter() if str(element.get("class")).startswith("ocr")}
    assert used == {"ocr_page", "ocr_carea", "ocr_par", "ocr_line", "ocrx_word"}
    assert used <= set(str(metas["ocr-capabilities"]).split())
    assert metas["exif-orientation-applied"] == "6"
    (whole,) = of_class(root, "ocr_page")
    assert whole.get("title") == 'image "lid.jpg"; bbox 0 0 320 200; ppageno 0'


def test_words(record: Record) -> None:
    words = of_class(page(record), "ocrx_word")
    assert ["".join(word.itertext()) for word in words][1:] == ["B", "PAT.", "AUG.", "1871"]
    assert words[0].get("title") == "bbox 10 20 71 41; x_wconf 90; x_confs 99 64 99 99 99"


def test_alternatives(record: Record) -> None:
    (span,) = of_class(page(record), "alternatives")
    assert [(child.tag, child.get("class"), child.get("title"), child.text) for child in span] == [
        (f"{HTML}ins", "alt", "nlp 0.11", "41873"),  # -ln 0.9
        (f"{HTML}del", "alt", "nlp 3.91", "41878"),  # -ln 0.02
    ]


def test_hardly_probable_rivals_are_left_out(record: Record) -> None:
    record.answer["serial"]["alternatives"] = [{"text": "9", "probability": 0.0003}]
    record.marks[0]["probability"] = 1.0
    assert of_class(page(record), "alternatives") == []
    record.answer["serial"]["alternatives"].append({"text": "41878", "probability": 0.02})
    (span,) = of_class(page(record), "alternatives")
    assert [(child.text, child.get("title")) for child in span] == [("41873", "nlp 0.00"), ("41878", "nlp 3.91")]


def test_lines_tell_their_turn(record: Record) -> None:
    record.marks[0]["quad"] = [[40, 20], [40, 80], [20, 80], [20, 20]]
    assert of_class(page(record), "ocr_line")[0].get("title") == "bbox 20 20 41 81; textangle 270"


def test_a_decision(decided: Record) -> None:
    root = page(decided)
    word = of_class(root, "ocrx_word")[0]
    assert word.get("title") == "bbox 10 20 71 41"
    assert [child.text for child in of_class(root, "alternatives")[0]] == ["41878", "41873"]
    assert "decided by Ada Fenn" in "".join(root.itertext())


@given(text=st.text(min_size=1), name=st.text(st.characters(exclude_characters="/"), min_size=1))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_any_text_is_a_page(photo: Path, text: str, name: str) -> None:
    record = make_record(photo)
    record.marks[1]["text"] = record.marks[1]["why"] = text
    object.__setattr__(record, "relative", f"box/{name}")
    page(record)
