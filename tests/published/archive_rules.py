"""Rules of archive standards as small checks of our own, for where no validator is installed.

Each function yields what breaks a rule. Sources: ALTO 4.4 schema (altoxml/schema, commit 1a67f01, 7 April 2023), its
rules spelled out from memory and compared with the schema's own verdict in test_alto.py; hOCR 1.2
(kba.github.io/hocr-spec); Media Fragments URI 1.0 (W3C, 2012), 4.2.2.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest

ALTO = "{http://www.loc.gov/standards/alto/ns-v4#}"
NC_NAME = re.compile(r"[A-Za-z_][\w.-]*")
XLINK_ADDRESS = "http://www.loc.gov/standards/xlink/xlink.xsd"

ROOT = Path(__file__).resolve().parents[2]


def find_schemas() -> Path | None:
    """Return the folder with ALTO's schema: in ALTO_SCHEMAS, or where this project's shared notes lie."""
    named = os.environ.get("ALTO_SCHEMAS")
    folder = Path(named) if named else ROOT.parent / "shared" / "trade" / "xsd"
    return folder if (folder / "alto-4-4.xsd").is_file() else None


def load_alto_schema(library: str) -> Any:
    """Return a function (bytes) -> valid, by 'lxml' or 'xmlschema'; skips where something is missing."""
    folder = find_schemas()
    if folder is None:
        pytest.skip("needs alto-4-4.xsd and xlink-simple-shim.xsd in a folder that ALTO_SCHEMAS names")
    shim = (folder / "xlink-simple-shim.xsd").as_uri()
    source = (folder / "alto-4-4.xsd").read_text(encoding="utf-8").replace(XLINK_ADDRESS, shim)
    if library == "lxml":
        etree = pytest.importorskip("lxml.etree", reason="needs lxml, of the extra 'test'")
        schema = etree.XMLSchema(etree.fromstring(source.encode()))
        return lambda data: bool(schema.validate(etree.fromstring(data)))
    xmlschema = pytest.importorskip("xmlschema", reason="needs xmlschema, of the extra 'test'")
    checked = xmlschema.XMLSchema(source, allow="local")
    return lambda data: bool(checked.is_valid(data.decode()))


def break_alto(data: bytes) -> Iterator[str]:
    """Yield what in a document breaks the rules of ALTO 4.4 that an exporter is likely to break."""
    root = ET.fromstring(data)
    if root.tag != f"{ALTO}alto":
        yield f"root {root.tag}"
    for description in root.iter(f"{ALTO}Description"):
        if description.findtext(f"{ALTO}MeasurementUnit") not in ("pixel", "mm10", "inch1200"):
            yield "MeasurementUnit"
    if not list(root.iter(f"{ALTO}Page")):
        yield "no Page"
    ids = [element.get("ID", "") for element in root.iter() if "ID" in element.attrib]
    if len(set(ids)) < len(ids) or not all(NC_NAME.fullmatch(each) for each in ids):
        yield "IDs"
    needed = {"Page": ("ID", "PHYSICAL_IMG_NR"), "TextBlock": ("ID",), "String": ("CONTENT",), "Glyph": ("CONTENT",)}
    for tag, attributes in needed.items():
        for element in root.iter(ALTO + tag):
            yield from (f"{tag} without {attribute}" for attribute in attributes if attribute not in element.attrib)
    yield from _break_text(root, set(ids))


def _break_text(root: ET.Element, ids: set[str]) -> Iterator[str]:
    """Yield empty lines, confidences outside 0 to 1, and references to nothing."""
    for line in root.iter(f"{ALTO}TextLine"):
        if line.find(f"{ALTO}String") is None and line.find(f"{ALTO}Shape") is None:
            yield "empty TextLine"
    for element in root.iter():
        yield from (name for name in ("WC", "GC", "VC") if not 0 <= float(element.get(name, "0")) <= 1)
        references = (element.get("TAGREFS", "") + " " + element.get("PROCESSINGREFS", "")).split()
        yield from (f"{name} is the ID of nothing" for name in references if name not in ids)


_NUMBER = r"-?[0-9]+(?:\.[0-9]+)?"
HOCR_PROPERTIES = {
    "bbox": r"[0-9]+(?: [0-9]+){3}",
    "image": r'"[^"]*"',
    "ppageno": r"[0-9]+",
    "x_wconf": r"[0-9]+(?:\.[0-9]+)?",
    "x_confs": r"[0-9]+(?:\.[0-9]+)?(?: [0-9]+(?:\.[0-9]+)?)*",
    "textangle": _NUMBER,
    "nlp": r"[0-9]+(?:\.[0-9]+)?",
}


def break_hocr_title(title: str) -> Iterator[str]:
    """Yield what in an element's title breaks the form of hOCR's properties."""
    for part in re.findall(r'(?:"[^"]*"|[^;"])+', title):
        name, _, value = part.strip().partition(" ")
        if name not in HOCR_PROPERTIES or not re.fullmatch(HOCR_PROPERTIES[name], value):
            yield part.strip()
            continue
        if name == "bbox":
            left, top, right, bottom = map(int, value.split())
            if left >= right or top >= bottom:
                yield f"{part.strip()}: corners, not a size"
        if name in ("x_wconf", "x_confs") and not all(0 <= float(each) <= 100 for each in value.split()):
            yield part.strip()


_WHOLE = r"[0-9]+"
_DECIMAL = r"[0-9]+(?:\.[0-9]+)?"


def is_media_fragment(text: str) -> bool:
    """Return whether a fragment is a spatial one of Media Fragments 1.0 that selects something."""
    pixels = re.fullmatch(rf"xywh=(?:pixel:)?({_WHOLE}),({_WHOLE}),({_WHOLE}),({_WHOLE})", text)
    shares = re.fullmatch(rf"xywh=percent:({_DECIMAL}),({_DECIMAL}),({_DECIMAL}),({_DECIMAL})", text)
    found = pixels or shares
    if found is None:
        return False
    x, y, width, height = map(float, found.groups())
    return width > 0 and height > 0 and (pixels is not None or (x + width <= 100 and y + height <= 100))
