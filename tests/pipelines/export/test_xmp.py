"""XMP sidecars. Outside check: exiftool reads them back, where it is installed."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipelines.export.record import Decision, DecisionKind, Record
from pipelines.export.xmp import IPTC_EXT, RDF, render_xmp
from tests.pipelines.export.samples import DECIDED, make_record


def read_back(tmp_path: Path, data: bytes) -> dict[str, Any]:
    """Return what exiftool reads; structures stay structures."""
    exiftool = shutil.which("exiftool")
    if exiftool is None:
        pytest.skip("needs exiftool (Debian: apt-get install libimage-exiftool-perl)")
    path = tmp_path / "lid.xmp"
    path.write_bytes(data)
    command = [exiftool, "-json", "-struct", "-n", "-XMP:all", "-validate", "-warning", str(path)]
    text = subprocess.run(command, capture_output=True, check=True, timeout=60).stdout
    (found,) = json.loads(text)
    assert "Warning" not in found, found
    result: dict[str, Any] = found
    return result


def test_exiftool_reads_it_back(tmp_path: Path, record: Record) -> None:
    found = read_back(tmp_path, render_xmp(record, 6))
    assert found["Description"] == (
        "Serial 41873 (sure enough to use: 97 %). Made about 1874 (1873 to 1876), an estimate and no proof of age. "
        "Maker: Harrow & Thistle (invented for the demo)."
    )
    assert found["Orientation"] == 6
    assert found["Subject"] == ["serial number 41873"]
    assert found["Identifier"] == f"sha256:{record.sha256}"
    (instrument,) = found["ArtworkOrObject"]
    assert instrument == {
        "AOTitle": "Keyboard instrument, serial number 41873",
        "AOCreator": ["Harrow & Thistle"],
        "AOCircaDateCreated": "1874~",
    }
    assert "DateCreated" not in found
    assert [region["RId"] for region in found["ImageRegion"]] == ["mark-0", "mark-1", "mark-2"]
    region = found["ImageRegion"][0]
    assert region["Name"] == "serial: 41873"
    # Upright x 10 to 71 and y 20 to 41 of 320 x 200; stored 200 x 320, turned back by a quarter turn.
    assert region["RegionBoundary"] == {
        "RbShape": "rectangle",
        "RbUnit": "relative",
        "RbX": pytest.approx(20 / 200),
        "RbY": pytest.approx((320 - 71) / 320, abs=1e-5),
        "RbW": pytest.approx(21 / 200),
        "RbH": pytest.approx(61 / 320, abs=1e-5),
    }


@pytest.mark.parametrize(
    ("accepted", "decision"),
    [(False, None), (True, Decision(DecisionKind.CANNOT_BE_READ, "", "Ada Fenn", "2026-11-20T10:05:00+00:00"))],
)
def test_what_is_not_sure_stands_in_no_field(photo: Path, accepted: bool, decision: Decision | None) -> None:
    text = render_xmp(make_record(photo, accepted=accepted, decision=decision), 1).decode()
    assert "AOCircaDateCreated" not in text
    assert "AOTitle" not in text
    assert "subject" not in text
    assert "not sure (62" in text or "cannot be read, decided by Ada Fenn" in text


def test_a_decision(decided: Record) -> None:
    root = ET.fromstring(render_xmp(decided, 1))
    assert [title.findtext(f".//{{{RDF}}}li") for title in root.iter(f"{{{IPTC_EXT}}}AOTitle")] == [
        "Keyboard instrument, serial number 41878"
    ]
    assert list(root.iter(f"{{{IPTC_EXT}}}AOCircaDateCreated")) == []  # the dating was of another number
    assert DECIDED.text in (next(root.iter(f"{{{IPTC_EXT}}}Name")).findtext(f".//{{{RDF}}}li") or "")


def test_nothing_found(tmp_path: Path, photo: Path) -> None:
    found = read_back(tmp_path, render_xmp(make_record(photo, empty=True), 1))
    assert found["Description"] == "No serial found."
    assert "ArtworkOrObject" not in found
    assert "ImageRegion" not in found


@given(text=st.text(min_size=1), maker=st.text(min_size=1))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_any_text_is_xml(photo: Path, text: str, maker: str) -> None:
    record = make_record(photo)
    record.answer["serial"]["text"] = record.marks[0]["text"] = text
    record.answer["maker"]["name"] = maker
    ET.fromstring(render_xmp(record, 1))
