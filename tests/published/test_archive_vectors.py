"""Published examples of the small forms that exports write: hOCR titles, fragments, regions, BagIt lines, CSV cells.

Sources: hOCR 1.2 (kba.github.io/hocr-spec); Media Fragments URI 1.0 (W3C, 2012); RFC 8493 (BagIt 1.0), 2.1; RFC 4180
and OWASP, "CSV Injection"; Frictionless specs, version 1 (Data Package). The examples were collected from these in
November 2026, those of hOCR and Media Fragments from memory of the texts. IIIF's forms are not checked: nothing here
writes them, save that the shares of its example box are those of an XMP region.
"""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import pytest

from pipelines.export import xmp
from pipelines.export.annotations import fragment
from pipelines.export.bag import BAGIT, encode_name
from pipelines.export.boxes import Box
from pipelines.export.csv_table import describe
from pipelines.export.target import Written
from pipelines.output.csv_rows import write_row
from tests.published.archive_rules import break_hocr_title, is_media_fragment

PICTURE = (4032, 3024)
BOX = Box(1200, 900, 1900, 1060)


@pytest.mark.parametrize(
    "title", ["bbox 1200 900 1900 1060; x_wconf 62", 'image "file.jpg"; ppageno 0', "x_confs 98 61; textangle 7.3"]
)
def test_good_hocr_titles(title: str) -> None:
    assert list(break_hocr_title(title)) == []


@pytest.mark.parametrize(
    "title",
    [
        "bbox 1200 900 700 160",
        "bbox 1200,900,1900,1060",
        "bbox 1.5 900 1900 1060",
        "x_wconf 162",
        'image "a"b"',
        "box 1",
    ],
)
def test_bad_hocr_titles(title: str) -> None:
    assert list(break_hocr_title(title)) != []


@pytest.mark.parametrize("text", ["xywh=160,120,320,240", "xywh=pixel:160,120,320,240", "xywh=percent:25,25,50,50"])
def test_good_fragments(text: str) -> None:
    assert is_media_fragment(text)


@pytest.mark.parametrize(
    "text", ["xywh=160,120", "xywh=-5,0,10,10", "xywh=1.5,0,10,10", "xywh=percent:25,25,0,50", "xywh=0,0,0,10"]
)
def test_bad_fragments(text: str) -> None:
    assert not is_media_fragment(text)


def test_our_fragment_of_the_example_box() -> None:
    assert fragment(BOX) == "xywh=1200,900,700,160"
    assert is_media_fragment(fragment(BOX))


def test_the_shares_of_the_example_box() -> None:
    """Picture 4032 x 3024, box 1200,900,700,160: pct:29.762,29.762,17.361,5.291 (IIIF Image API 3.0, region)."""
    width, height = PICTURE
    shares = (BOX.left / width, BOX.top / height, BOX.width / width, BOX.height / height)
    assert [f"{share:.{xmp.SHARE_DECIMALS}f}" for share in shares] == ["0.29762", "0.29762", "0.17361", "0.05291"]


def test_namespaces() -> None:
    """XMP, part 1 (ISO 16684-1), and IPTC Photo Metadata: namespaces of the fields that are written."""
    assert (xmp.DC, xmp.TIFF) == ("http://purl.org/dc/elements/1.1/", "http://ns.adobe.com/tiff/1.0/")
    assert xmp.IPTC_EXT == "http://iptc.org/std/Iptc4xmpExt/2008-02-29/"


def test_bagit_txt_is_two_lines() -> None:
    assert BAGIT.decode("ascii").split("\n") == ["BagIt-Version: 1.0", "Tag-File-Character-Encoding: UTF-8", ""]


def test_bagit_digest_and_oxum() -> None:
    """One file data/a.txt that holds 'x': Payload-Oxum 1.1, and this SHA-512."""
    written = Written.of(b"x")
    assert written.size == 1
    assert written.sha512 == hashlib.sha512(b"x").hexdigest()
    assert written.sha512 == (
        "a4abd4448c49562d828115d13a1fccea927f52b4d5459297f8b43e42da89238b"
        "c13626e43dcb38ddb082488927ec904fb42057443983e88585179d50551afe62"
    )


@pytest.mark.parametrize(
    ("name", "encoded"),
    [
        ("data/a.txt", "data/a.txt"),
        ("data/a%1.txt", "data/a%251.txt"),
        ("data/a\nb\r", "data/a%0Ab%0D"),
        ("ä b", "ä b"),
    ],
)
def test_bagit_encodes_cr_lf_and_percent_alone(name: str, encoded: str) -> None:
    assert encode_name(name) == encoded


@pytest.mark.parametrize(
    ("cell", "row"),
    [
        ("=1+1", "'=1+1"),
        ("+49 30 123", "'+49 30 123"),
        ("-5", "'-5"),
        (-5, "-5"),
        ("@x", "'@x"),
        ("\t=1", "'\t=1"),
        (" =cmd", "' =cmd"),
        ("Pellwick & Sons", "Pellwick & Sons"),
        ("12,345", '"12,345"'),
        ('No. "7"', '"No. ""7"""'),
        ("a\n=b", '"a\n\'=b"'),
    ],
)
def test_csv_cells(cell: str | int, row: str) -> None:
    assert write_row([cell]) == row + "\r\n"


def test_the_descriptor_keeps_the_rules_of_names_and_paths() -> None:
    package = describe()
    assert re.fullmatch(r"[a-z0-9._-]+", package["name"])
    assert package["resources"]
    for resource in package["resources"]:
        assert re.fullmatch(r"[a-z0-9._-]+", resource["name"])
        assert not Path(resource["path"]).is_absolute()
        assert ".." not in resource["path"]


@pytest.mark.parametrize(
    "bad",
    [
        {"name": "My Package", "resources": []},
        {"name": "a", "resources": [{"name": "x", "path": "../x.csv"}]},
        {"name": "a", "resources": [{"name": "x", "path": "/etc/x"}]},
    ],
)
def test_frictionless_refuses_bad_packages_and_takes_ours(bad: dict[str, object], tmp_path: Path) -> None:
    frictionless = pytest.importorskip("frictionless", reason="needs frictionless, of the extra 'test'")
    with pytest.raises(frictionless.FrictionlessException):
        frictionless.Package.from_descriptor(bad)
    assert len(frictionless.Package.from_descriptor(describe()).resources) == 2
