"""A record as W3C Web Annotations (Recommendation of 2017), one AnnotationPage of JSON-LD a photo.

In: a Record, the EXIF orientation of its photo, and the address that photos are found under. Out: bytes of JSON. Each
mark is an Annotation whose target is a part of the **stored** picture, as Media Fragments 1.0 (W3C, 2012) demands:
whole pixels before any EXIF turn, `xywh=`, and the exact corners as SVG. Without an address the picture is named as
if the page lay beside it. Names (`id`) come from the photo's SHA-256, so that the same record always gets the same.
"""

from __future__ import annotations

import json
import re
import uuid
from typing import Any
from urllib.parse import quote

from pipelines.export.boxes import Box, as_quad, outer_box, polygon, stored_quad, stored_size
from pipelines.export.outcome import Outcome, outcome_of, say_dating, say_outcome
from pipelines.export.record import Record
from pipelines.export.words import Line, read_lines
from reader.results import Quad

CONTEXT = "http://www.w3.org/ns/anno.jsonld"
MEDIA_FRAGMENTS = "http://www.w3.org/TR/media-frags/"
SVG = "http://www.w3.org/TR/SVG11/"
SUFFIX = ".annotations.json"

NAMES = uuid.UUID("b4cb2532-0bf4-4e2d-9f1c-921eeb78995b")
"""The space in which this export's names are made (RFC 9562, version 5); drawn once, at random."""

_DATE_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)")
"""An xsd:dateTime with an offset, which `created` must be."""


def render_annotations(record: Record, orientation: int, address: str = "") -> bytes:
    """Return the AnnotationPage of a record. `address` ends with a slash, or is empty."""
    picture = _source(record, address)
    outcome = outcome_of(record)
    items = [_about_photo(record, outcome, orientation, picture)]
    items += [_about_mark(record, line, orientation, picture) for line in read_lines(record, outcome)]
    if record.decision is not None:
        items.append(_about_decision(record, outcome, orientation, picture))
    page = {"@context": CONTEXT, "id": _name(record, "page"), "type": "AnnotationPage", "items": items}
    text = json.dumps(page, ensure_ascii=False, indent=1)
    return text.encode("utf-8", "backslashreplace") + b"\n"


def _about_photo(record: Record, outcome: Outcome, orientation: int, picture: str) -> dict[str, Any]:
    says = [say_outcome(record), say_dating(outcome)]
    if orientation != 1:
        says.append(f"The picture is stored turned (EXIF orientation {orientation}); places count in stored pixels")
    body = _text(". ".join(part for part in says if part) + ".", "describing", "en")
    return _annotation(record, "photo", "describing", [body], {"source": picture})


def _about_mark(record: Record, line: Line, orientation: int, picture: str) -> dict[str, Any]:
    """Return a mark's annotation: its text, with rivals as a Choice, its kind, and the reason."""
    text: dict[str, Any] = _text(line.text, "describing")
    others = [other for word in line.words for other, _, _ in word.others]
    if others:
        text = {"type": "Choice", "items": [text, *(_text(other, "describing") for other in others)]}
    bodies = [text, _text(line.kind, "classifying", "en"), _text(line.why, "commenting", "en")]
    target = _target(record, line.quad, orientation, picture)
    return _annotation(record, f"mark {line.id}", "describing", bodies, target)


def _about_decision(record: Record, outcome: Outcome, orientation: int, picture: str) -> dict[str, Any]:
    made = record.decision
    assert made is not None
    says = [say_outcome(record), made.because]
    target: dict[str, Any] = {"source": picture}
    if outcome.mark is not None:
        quad = next(as_quad(mark["quad"]) for mark in record.marks if mark["id"] == outcome.mark)
        target = _target(record, quad, orientation, picture)
    body = _text(". ".join(part for part in says if part), "assessing", "en")
    annotation = _annotation(record, "decision", "assessing", [body], target)
    annotation["creator"] = {"type": "Person", "name": made.by}
    if _DATE_TIME.fullmatch(made.when):
        annotation["created"] = made.when
    return annotation


def _annotation(
    record: Record, about: str, motivation: str, bodies: list[dict[str, Any]], target: dict[str, Any]
) -> dict[str, Any]:
    name = _name(record, about)
    return {"id": name, "type": "Annotation", "motivation": motivation, "body": bodies, "target": target}


def _target(record: Record, quad: Quad, orientation: int, picture: str) -> dict[str, Any]:
    """Return the part of the stored picture that a quad covers; the whole picture where it lies outside."""
    width, height = stored_size(record.width, record.height, orientation)
    stored = stored_quad(quad, record.width, record.height, orientation)
    box = outer_box(stored, width, height)
    if box is None:
        return {"source": picture}
    corners = " ".join(f"{x:g},{y:g}" for x, y in polygon(stored))
    return {
        "source": picture,
        "selector": [
            {"type": "FragmentSelector", "conformsTo": MEDIA_FRAGMENTS, "value": fragment(box)},
            {
                "type": "SvgSelector",
                "conformsTo": SVG,
                "value": f'<svg xmlns="http://www.w3.org/2000/svg"><polygon points="{corners}"/></svg>',
            },
        ],
    }


def fragment(box: Box) -> str:
    """Return a box as a media fragment: left, top, width and height in whole pixels."""
    return f"xywh={box.left},{box.top},{box.width},{box.height}"


def _text(value: str, purpose: str, language: str = "") -> dict[str, Any]:
    body = {"type": "TextualBody", "value": value, "format": "text/plain", "purpose": purpose}
    return {**body, "language": language} if language else body


def _source(record: Record, address: str) -> str:
    path = record.relative if address else record.relative.rpartition("/")[2]
    relative = quote(path, errors="surrogateescape")
    return address + relative if address else f"./{relative}"


def _name(record: Record, about: str) -> str:
    return uuid.uuid5(NAMES, f"{record.sha256} {record.part} {about}").urn
