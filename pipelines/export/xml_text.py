"""Text and trees for XML 1.0: what XML cannot hold is replaced, and the same tree always gives the same bytes."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

REPLACEMENT = "\N{REPLACEMENT CHARACTER}"

_NO_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What is no character of XML 1.0 (fifth edition, production 2): most control characters, surrogates, U+FFFE, FFFF."""


def xml_text(text: str) -> str:
    """Return the text with everything that XML 1.0 cannot hold as U+FFFD."""
    return _NO_XML.sub(REPLACEMENT, text)


def add(parent: ET.Element, name: str, text: str | None = None, **attributes: str) -> ET.Element:
    """Add and return a child; `name` is a tag or '{namespace}tag'. Texts are made fit for XML."""
    child = ET.SubElement(parent, name, {key: xml_text(value) for key, value in attributes.items()})
    child.text = None if text is None else xml_text(text)
    return child


def xml_bytes(root: ET.Element) -> bytes:
    """Return a tree as an indented UTF-8 document."""
    ET.indent(root)
    text = ET.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'.encode()
