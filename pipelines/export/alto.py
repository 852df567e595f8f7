"""A record as ALTO 4.4 (Library of Congress, 2023), one file a photo.

In: a Record and the EXIF orientation of its photo. Out: bytes of XML. Pixels of the upright picture; a TextBlock a
mark, with its exact corners as Shape and its direction as ROTATION (degrees counter-clockwise); a String a word, with
its confidence as WC (1 = sure) and each character's as CC, which runs the other way (0 = sure, 9 = unsure). Rival
readings of the serial are ALTERNATIVEs, rivals of a character Variants of its Glyph. CS tells that a person decided a
text.
"""

from __future__ import annotations

from xml.etree import ElementTree as ET

from pipelines.export.boxes import Box, counter_clockwise_deg, outer_box, polygon
from pipelines.export.outcome import outcome_of
from pipelines.export.record import Record
from pipelines.export.words import Line, Word, read_lines
from pipelines.export.xml_text import add, xml_bytes

NAMESPACE = "http://www.loc.gov/standards/alto/ns-v4#"
SCHEMA_VERSION = "4.4"
SUFFIX = ".alto.xml"

CC_UNSURE = 9
"""CC's figure for a character of which nothing is sure; 0 stands for a sure one."""


def render_alto(record: Record, orientation: int) -> bytes:
    """Return the ALTO document of a record. `orientation` is the EXIF value that was applied to show it upright."""
    root = ET.Element("alto", {"xmlns": NAMESPACE, "SCHEMAVERSION": SCHEMA_VERSION})
    lines = read_lines(record, outcome_of(record))
    _describe(root, record, orientation)
    kinds = sorted({line.kind for line in lines})
    if kinds:
        tags = add(root, "Tags")
        for kind in kinds:
            add(tags, "OtherTag", ID=f"kind-{kind}", LABEL=kind, TYPE="kind of mark")
    whole = Box(0, 0, record.width, record.height)
    size = {"WIDTH": str(record.width), "HEIGHT": str(record.height)}
    page = add(add(root, "Layout"), "Page", ID="page-1", PHYSICAL_IMG_NR=str(record.page + 1), **size)
    space = add(page, "PrintSpace", **_place(whole))
    for line in lines:
        _add_line(space, line, record)
    return xml_bytes(root)


def _describe(root: ET.Element, record: Record, orientation: int) -> None:
    """Say which picture it is, how it was turned, and who had a hand in the text."""
    description = add(root, "Description")
    add(description, "MeasurementUnit", "pixel")
    image = add(description, "sourceImageInformation")
    add(image, "fileName", record.name)
    add(image, "fileIdentifier", record.sha256, fileIdentifierLocation="SHA-256 of the file")
    reading = add(description, "Processing", ID="reading")
    add(reading, "processingCategory", "contentGeneration")
    add(reading, "processingStepDescription", "marks found and read in the upright picture")
    add(reading, "processingStepSettings", f"EXIF orientation {orientation} applied to show it upright")
    add(add(reading, "processingSoftware"), "softwareName", "Rakelight")
    if record.decision is not None:
        made = record.decision
        decided = add(description, "Processing", ID="decision")
        add(decided, "processingCategory", "contentModification")
        add(decided, "processingAgency", made.by)
        words = f"{made.when}: {made.kind.value} {made.text}".rstrip()
        add(decided, "processingStepDescription", f"{words}; {made.because}" if made.because else words)


def _add_line(space: ET.Element, line: Line, record: Record) -> None:
    box = _place(outer_box(line.quad, record.width, record.height))
    number = line.id
    block = add(space, "TextBlock", ID=f"mark-{number}", TAGREFS=f"kind-{line.kind}", **box)
    block.set("ROTATION", f"{counter_clockwise_deg(line.quad):g}")
    if line.decided:
        block.set("CS", "true")
    block.set("PROCESSINGREFS", "reading decision" if line.decided else "reading")
    corners = " ".join(f"{x:g},{y:g}" for x, y in polygon(line.quad))
    add(add(block, "Shape"), "Polygon", POINTS=corners)
    if not line.words:
        return  # a TextLine without a String is invalid
    text_line = add(block, "TextLine", ID=f"line-{number}", **box)
    for place, word in enumerate(line.words):
        if place:
            add(text_line, "SP")
        _add_word(text_line, word, f"string-{number}-{place}", record)


def _add_word(text_line: ET.Element, word: Word, name: str, record: Record) -> None:
    string = add(text_line, "String", ID=name, CONTENT=word.text)
    for key, value in _place(outer_box(word.quad, record.width, record.height)).items():
        string.set(key, value)
    if word.probability is not None:
        string.set("WC", f"{word.probability:g}")
    if word.characters:
        string.set("CC", " ".join(str(unsureness(character["probability"])) for character in word.characters))
    for text, probability, what in word.others:
        purpose = what if probability is None else f"{what}, probability {probability:g}"
        add(string, "ALTERNATIVE", text, PURPOSE=purpose)
    for character in word.characters:
        glyph = add(string, "Glyph", CONTENT=character["text"], GC=f"{character['probability']:g}")
        for text, probability in character["rivals"]:
            add(glyph, "Variant", CONTENT=text, VC=f"{probability:g}")


def unsureness(probability: float) -> int:
    """Return CC's figure for a character's probability: 0 for a sure one, 9 for a hopeless one."""
    return round((1 - probability) * CC_UNSURE)


def _place(box: Box | None) -> dict[str, str]:
    """Return a box as attributes, none where the mark lies outside the picture."""
    if box is None:
        return {}
    return {"HPOS": str(box.left), "VPOS": str(box.top), "WIDTH": str(box.width), "HEIGHT": str(box.height)}
