"""A record as an XMP sidecar (ISO 16684-1) with IPTC Photo Metadata, never written into a picture.

In: a Record and the EXIF orientation of its photo. Out: bytes of RDF/XML. The instrument is the Artwork or Object in
the Image, its dating in EDTF goes into AOCircaDateCreated (never into the photo's own date), each mark is an Image
Region with a rectangle in shares of the **stored** picture's size, before any EXIF turn. What is not sure is said in
the description alone, in words: a field that other software takes for a fact holds only what was accepted or decided.
"""

from __future__ import annotations

from xml.etree import ElementTree as ET

from pipelines.export.boxes import as_quad, outer_box, stored_quad, stored_size
from pipelines.export.outcome import Outcome, mark_kind, mark_text, outcome_of, say_dating, say_maker, say_outcome
from pipelines.export.record import Data, Record
from pipelines.export.xml_text import add, xml_bytes
from reader.results import MarkKind

SUFFIX = ".xmp"

RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
DC = "http://purl.org/dc/elements/1.1/"
TIFF = "http://ns.adobe.com/tiff/1.0/"
IPTC_EXT = "http://iptc.org/std/Iptc4xmpExt/2008-02-29/"
META = "adobe:ns:meta/"
XML = "http://www.w3.org/XML/1998/namespace"

for _prefix, _namespace in (("rdf", RDF), ("dc", DC), ("tiff", TIFF), ("Iptc4xmpExt", IPTC_EXT), ("x", META)):
    ET.register_namespace(_prefix, _namespace)

SHARE_DECIMALS = 5
"""Decimals of a region's shares: a tenth of a pixel in a picture of 10,000."""


def render_xmp(record: Record, orientation: int) -> bytes:
    """Return the sidecar of a record. `orientation` is the EXIF value that was applied to show it upright."""
    outcome = outcome_of(record)
    root = ET.Element(f"{{{META}}}xmpmeta")
    about = add(add(root, f"{{{RDF}}}RDF"), f"{{{RDF}}}Description", **{f"{{{RDF}}}about": ""})
    says = [say_outcome(record), say_dating(outcome)]
    if outcome.maker is not None:
        says.append(f"Maker: {say_maker(outcome)}")
    _add_alternatives(about, DC, "description", ". ".join(part for part in says if part) + ".")
    add(about, f"{{{DC}}}identifier", f"sha256:{record.sha256}")
    add(about, f"{{{TIFF}}}Orientation", str(orientation))
    if outcome.sure and outcome.serial:
        _add_bag(about, DC, "subject", [f"serial number {outcome.serial}"])
    _add_object(about, outcome)
    regions = [region for mark in record.marks if (region := _region(record, outcome, mark, orientation)) is not None]
    if regions:
        bag = add(add(about, f"{{{IPTC_EXT}}}ImageRegion"), f"{{{RDF}}}Bag")
        bag.extend(regions)
    return xml_bytes(root)


def _add_object(about: ET.Element, outcome: Outcome) -> None:
    """Add the instrument: title, maker and date, as far as they are sure."""
    sure = outcome.sure and bool(outcome.serial)
    if not sure and outcome.maker is None:
        return
    bag = add(add(about, f"{{{IPTC_EXT}}}ArtworkOrObject"), f"{{{RDF}}}Bag")
    item = add(bag, f"{{{RDF}}}li", **{f"{{{RDF}}}parseType": "Resource"})
    if sure:
        _add_alternatives(item, IPTC_EXT, "AOTitle", f"Keyboard instrument, serial number {outcome.serial}")
    if outcome.maker is not None:
        creators = add(add(item, f"{{{IPTC_EXT}}}AOCreator"), f"{{{RDF}}}Seq")
        add(creators, f"{{{RDF}}}li", outcome.maker["name"])
    if sure and outcome.dating is not None:
        add(item, f"{{{IPTC_EXT}}}AOCircaDateCreated", outcome.dating["edtf"])


def _region(record: Record, outcome: Outcome, mark: Data, orientation: int) -> ET.Element | None:
    """Return a mark as an Image Region, None where it lies outside the picture."""
    width, height = stored_size(record.width, record.height, orientation)
    stored = stored_quad(as_quad(mark["quad"]), record.width, record.height, orientation)
    box = outer_box(stored, width, height)
    if box is None:
        return None
    region = ET.Element(f"{{{RDF}}}li", {f"{{{RDF}}}parseType": "Resource"})
    kind, text = mark_kind(record, outcome, mark), mark_text(record, outcome, mark)
    doubt = ", not sure" if kind == MarkKind.SERIAL and not outcome.sure else ""
    add(region, f"{{{IPTC_EXT}}}rId", f"mark-{mark['id']}")
    _add_alternatives(region, IPTC_EXT, "Name", f"{kind}: {text}{doubt}")
    boundary = add(region, f"{{{IPTC_EXT}}}RegionBoundary", **{f"{{{RDF}}}parseType": "Resource"})
    shares = {
        "rbX": box.left / width,
        "rbY": box.top / height,
        "rbW": box.width / width,
        "rbH": box.height / height,
    }
    add(boundary, f"{{{IPTC_EXT}}}rbShape", "rectangle")
    add(boundary, f"{{{IPTC_EXT}}}rbUnit", "relative")
    for name, share in shares.items():
        add(boundary, f"{{{IPTC_EXT}}}{name}", f"{share:.{SHARE_DECIMALS}f}")
    return region


def _add_alternatives(parent: ET.Element, namespace: str, name: str, text: str) -> None:
    """Add a text in the form of language alternatives, with the default alone."""
    alternatives = add(add(parent, f"{{{namespace}}}{name}"), f"{{{RDF}}}Alt")
    add(alternatives, f"{{{RDF}}}li", text, **{f"{{{XML}}}lang": "x-default"})


def _add_bag(parent: ET.Element, namespace: str, name: str, texts: list[str]) -> None:
    bag = add(add(parent, f"{{{namespace}}}{name}"), f"{{{RDF}}}Bag")
    for text in texts:
        add(bag, f"{{{RDF}}}li", text)
