"""ALTO 4.4: small documents and what the schema says of them.

Source: altoxml/schema, alto-4-4.xsd, commit 1a67f01 (7 April 2023); the verdicts were measured with xmlschema 4.3.2
and lxml 6.1.3 in November 2026, and both are asked again here where they and the schema are installed. The schema is
not part of this repository: its license sentences pull apart.
"""

from __future__ import annotations

from xml.etree import ElementTree as ET

import pytest

from pipelines.export.alto import NAMESPACE, SCHEMA_VERSION, unsureness
from tests.published.archive_rules import break_alto, load_alto_schema

N = f'xmlns="{NAMESPACE}"'
PAGE = f'<alto {N}><Layout><Page ID="a" PHYSICAL_IMG_NR="1"><PrintSpace>%s</PrintSpace></Page></Layout></alto>'
BLOCK = PAGE % '<TextBlock ID="b"%s><TextLine>%s</TextLine></TextBlock>'
LAYOUT = '<Layout><Page ID="a" PHYSICAL_IMG_NR="1"/></Layout>'
VARIANT = '<Variant CONTENT="7" VC="0.1"/>'
GLYPHS = f'<String CONTENT="12"><Glyph CONTENT="1" GC="0.8">{VARIANT}</Glyph><Glyph CONTENT="2"/></String>'
UNIT = "<Description><MeasurementUnit>%s</MeasurementUnit></Description>"

VALID = {
    "smallest": f"<alto {N}>{LAYOUT}</alto>",
    "unit": f"<alto {N}>{UNIT % 'pixel'}{LAYOUT}</alto>",
    "block with ID alone": PAGE % '<TextBlock ID="b"/>',
    "string with CONTENT alone": BLOCK % ("", '<String CONTENT="1"/>'),
    "alternative": BLOCK % ("", '<String CONTENT="12"><ALTERNATIVE PURPOSE="x">17</ALTERNATIVE></String>'),
    "glyph and variant": BLOCK % ("", GLYPHS),
    "rotation": BLOCK % (' ROTATION="90"', '<String CONTENT="1"/>'),
}
INVALID = {
    "no page": f"<alto {N}><Layout/></alto>",
    "page without ID": f'<alto {N}><Layout><Page PHYSICAL_IMG_NR="1"/></Layout></alto>',
    "page without number": f'<alto {N}><Layout><Page ID="a"/></Layout></alto>',
    "no namespace": f"<alto>{LAYOUT}</alto>",
    "version 3": f'<alto xmlns="http://www.loc.gov/standards/alto/ns-v3#">{LAYOUT}</alto>',
    "no unit": f"<alto {N}><Description/>{LAYOUT}</alto>",
    "px": f"<alto {N}>{UNIT % 'px'}{LAYOUT}</alto>",
    "block without ID": PAGE % "<TextBlock/>",
    "empty line": BLOCK % ("", ""),
    "string without CONTENT": BLOCK % ("", "<String/>"),
    "WC above 1": BLOCK % ("", '<String CONTENT="1" WC="1.2"/>'),
    "ID that starts with a figure": f'<alto {N}><Layout><Page ID="1a" PHYSICAL_IMG_NR="1"/></Layout></alto>',
}


@pytest.mark.parametrize("library", ["lxml", "xmlschema"])
def test_the_schema(library: str) -> None:
    is_valid = load_alto_schema(library)
    assert [name for name, text in VALID.items() if not is_valid(text.encode())] == []
    assert [name for name, text in INVALID.items() if is_valid(text.encode())] == []


@pytest.mark.parametrize("name", VALID)
def test_our_rules_pass_what_is_valid(name: str) -> None:
    assert list(break_alto(VALID[name].encode())) == []


@pytest.mark.parametrize("name", INVALID)
def test_our_rules_find_what_is_not(name: str) -> None:
    assert list(break_alto(INVALID[name].encode())) != []


@pytest.mark.parametrize(("probability", "figure"), [(1, 0), (0, 9), (0.9, 1), (0.5, 4), (0.62, 3)])
def test_cc_runs_from_sure_to_unsure(probability: float, figure: int) -> None:
    """'A list of numbers, one number between 0 (sure) and 9 (unsure) for each character' (attribute CC)."""
    assert unsureness(probability) == figure


def test_the_version() -> None:
    assert (SCHEMA_VERSION, NAMESPACE) == ("4.4", "http://www.loc.gov/standards/alto/ns-v4#")
    assert ET.fromstring(VALID["smallest"]).tag == f"{{{NAMESPACE}}}alto"
