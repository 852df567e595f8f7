"""Web Annotations.

Outside check: a JSON-LD processor (PyLD), with a context of the terms used that was written for this test after the Web
Annotation Vocabulary (W3C, 2017); a term that the context lacks is lost on the way, and so found.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from pipelines.export.annotations import CONTEXT, render_annotations
from pipelines.export.original import find_orientation
from pipelines.export.record import Record
from tests.pipelines.export.samples import draw_photo, make_record
from tests.published.archive_rules import is_media_fragment

OA = "http://www.w3.org/ns/oa#"
CONTEXT_FILE = Path(__file__).parents[2] / "published" / "annotation_context.json"


def items(record: Record, orientation: int = 1, address: str = "") -> list[dict[str, Any]]:
    page = json.loads(render_annotations(record, orientation, address))
    assert page["@context"] == CONTEXT
    found: list[dict[str, Any]] = page["items"]
    return found


def fragments(annotations: list[dict[str, Any]]) -> list[str]:
    selectors = [selector for each in annotations for selector in each["target"].get("selector", ())]
    return [selector["value"] for selector in selectors if selector["type"] == "FragmentSelector"]


def test_a_json_ld_processor_keeps_every_term(decided: Record) -> None:
    jsonld = pytest.importorskip("pyld.jsonld", reason="needs PyLD, of the extra 'test'")
    context = json.loads(CONTEXT_FILE.read_text(encoding="utf-8"))

    def load(url: str, _: object) -> dict[str, Any]:
        assert url == CONTEXT
        return {"contentType": "application/ld+json", "contextUrl": None, "documentUrl": url, "document": context}

    page = json.loads(render_annotations(decided, 6))
    options = {"documentLoader": load, "base": "https://example.org/box/"}
    (expanded,) = jsonld.expand(page, options)
    first = expanded["http://www.w3.org/ns/activitystreams#items"][0]["@list"][0]
    assert first["@type"] == [f"{OA}Annotation"]
    assert first[f"{OA}motivatedBy"] == [{"@id": f"{OA}describing"}]
    assert first[f"{OA}hasTarget"][0][f"{OA}hasSource"] == [{"@id": "https://example.org/box/lid.jpg"}]

    back = jsonld.compact(expanded, CONTEXT, options)
    assert leaves(back) == leaves(json.loads(json.dumps(page).replace('"./lid', '"lid')))


def leaves(value: object) -> list[str]:
    """Return every key and value below an object; arrays of one are the same as what is in them."""
    if isinstance(value, dict):
        return sorted(f"{key}/{leaf}" for key, inner in value.items() for leaf in leaves(inner))
    if isinstance(value, list):
        return sorted(leaf for inner in value for leaf in leaves(inner))
    return [str(value)]


def test_a_mark(record: Record) -> None:
    photo, serial, _, patent = items(record)
    assert photo["target"] == {"source": "./lid.jpg"}
    choice, kind, why = serial["body"]
    assert (choice["type"], [body["value"] for body in choice["items"]]) == ("Choice", ["41873", "41878"])
    assert (kind["purpose"], kind["value"]) == ("classifying", "serial")
    assert why["value"] == "the reason for 41873"
    assert patent["body"][0]["value"] == "PAT. AUG. 1871"
    box, corners = serial["target"]["selector"]
    assert box["value"] == "xywh=10,20,61,21"
    assert 'points="10.5,20.5 70.5,20.5 70.5,40.5 10.5,40.5"' in corners["value"]


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("suffix", ["jpg", "png", "tif", "webp"])
def test_fragments_hold_the_stored_pixels(tmp_path: Path, orientation: int, suffix: str) -> None:
    """The white box of the drawn photo is where the fragment says, in the file as it is stored."""
    photo = draw_photo(tmp_path / f"lid.{suffix}", orientation)
    record = make_record(photo, f"lid.{suffix}")
    assert find_orientation(record) == orientation
    value = fragments(items(record, orientation))[0]
    x, y, width, height = map(int, value.removeprefix("xywh=").split(","))
    pixels = stored_gray(photo)
    assert (pixels[y + 2 : y + height - 2, x + 2 : x + width - 2] > 200).all()
    assert pixels.mean() < 120


def stored_gray(path: Path) -> np.ndarray:
    """Return a file's pixels as they are stored: Pillow turns a TIFF when it decodes it, and tifffile does not."""
    if path.suffix == ".tif":
        return np.asarray(Image.fromarray(tifffile.imread(path)).convert("L"))
    with Image.open(path) as image:
        return np.asarray(image.convert("L"))


def test_a_turned_picture_says_so(record: Record) -> None:
    assert "EXIF orientation 6" in items(record, 6)[0]["body"][0]["value"]
    assert "EXIF" not in items(record, 1)[0]["body"][0]["value"]


def test_a_decision_is_signed_and_dated(decided: Record) -> None:
    decision = items(decided)[-1]
    assert decision["motivation"] == "assessing"
    assert decision["creator"] == {"type": "Person", "name": "Ada Fenn"}
    assert decision["created"] == "2026-11-20T10:05:00+00:00"
    assert fragments([decision]) == ["xywh=10,20,61,21"]
    assert [body["value"] for body in items(decided)[1]["body"][0]["items"]] == ["41878", "41873"]


def test_an_address(record: Record) -> None:
    object.__setattr__(record, "relative", "box 7/Größe#1.jpg")
    assert items(record, 1, "https://example.org/")[0]["target"]["source"] == (
        "https://example.org/box%207/Gr%C3%B6%C3%9Fe%231.jpg"
    )


def test_names_are_lasting_and_different(record: Record, photo: Path) -> None:
    names = [item["id"] for item in items(record)]
    assert len(set(names)) == len(names)
    assert names == [item["id"] for item in items(make_record(photo, "moved/elsewhere.jpg"))]
    assert all(name.startswith("urn:uuid:") for name in names)


@given(
    corners=st.lists(st.lists(st.floats(-500, 800), min_size=2, max_size=2), min_size=4, max_size=4),
    orientation=st.integers(1, 8),
    text=st.text(),
)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_any_quad_gives_a_fragment_or_none(
    record: Record, corners: list[list[float]], orientation: int, text: str
) -> None:
    record.marks[0]["quad"], record.marks[0]["text"] = corners, text
    found = fragments(items(record, orientation))
    assert len(found) in (2, 3)
    assert all(is_media_fragment(value) for value in found)
