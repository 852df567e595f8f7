"""The contact sheet: complete in itself, readable without color and without pictures."""

from __future__ import annotations

import base64
import io
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from PIL import Image

from pipelines.export.pictures import THUMBNAIL_PX
from pipelines.export.record import Decision, DecisionKind, Record
from pipelines.export.sheet import NAME, STATES, SheetExport, card
from pipelines.export.target import Target
from reader.photo.load import load_photo
from tests.pipelines.export.samples import make_record

VOID = ("img", "meta", "wbr")


class Page(HTMLParser):
    """Collects elements with their attributes and the text, and checks that what is opened is closed."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.open: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.elements if name == tag]


def sheet(folder: Path, *records: Record) -> Page:
    export = SheetExport(Target(folder), len(records))
    for record in records:
        export.add(record)
    export.finish()
    page = Page((folder / NAME).read_text(encoding="utf-8"))
    assert page.open == []
    return page


@pytest.fixture
def every(photo: Path, decided: Record) -> list[Record]:
    """A record of each state."""
    return [
        make_record(photo),
        make_record(photo, "doubtful.jpg", accepted=False),
        make_record(photo, "none.jpg", empty=True),
        decided,
    ]


def test_nothing_is_loaded_from_anywhere(tmp_path: Path, every: list[Record]) -> None:
    page = sheet(tmp_path, *every)
    addresses = [
        value for _, attributes in page.elements for key, value in attributes.items() if key in ("src", "href")
    ]
    assert len(addresses) == 7  # a thumbnail each, and a mark where there is one
    assert all(str(address).startswith("data:image/jpeg;base64,") for address in addresses)
    (policy,) = [meta["content"] for meta in page.all("meta") if meta.get("http-equiv") == "Content-Security-Policy"]
    assert str(policy).startswith("default-src 'none'")
    text = (tmp_path / NAME).read_text(encoding="utf-8")
    assert not re.search(r"https?:|url\(|@import|<script|<link", text)


def test_every_picture_has_words(tmp_path: Path, every: list[Record]) -> None:
    page = sheet(tmp_path, *every)
    alts = [image["alt"] for image in page.all("img")]
    assert all(alts)
    assert alts[0] == "Photo box/lid.jpg. Serial 41873 (sure enough to use: 97 %). The serial is outlined."
    assert alts[1] == "The mark, read as 41873"
    assert page.all("html")[0]["lang"] == "en"


def test_states_differ_in_words_sign_and_border(tmp_path: Path, every: list[Record]) -> None:
    page = sheet(tmp_path, *every)
    assert [article["class"] for article in page.all("article")] == ["sure", "unsure", "none", "decided"]
    assert len({sign for sign, _ in STATES.values()}) == len({words for _, words in STATES.values()}) == len(STATES)
    style = (tmp_path / NAME).read_text(encoding="utf-8").partition("</style>")[0]
    borders = [
        re.search(rf"article{name} {{[^}}]*border(?:-style)?: ([^;]+);", style)
        for name in ("", ".unsure", ".none", ".decided")
    ]
    assert len({found[1] for found in borders if found}) == 4


def test_what_a_card_says(every: list[Record]) -> None:
    pixels = load_photo(every[0].photo).pixels
    texts = [Page(card(record, pixels)).text for record in every]
    assert "About 1874 (1873 to 1876)\n" in texts[0]
    assert "Harrow & Thistle (invented for the demo)" in texts[0]
    assert "Or 41878 (20\N{NO-BREAK SPACE}%)" in texts[1]
    assert ", if read right" in texts[1]
    assert "no serial found" in texts[2]
    assert "41878" in texts[3]
    assert "Ada Fenn: the 8 is closed" in texts[3]
    assert "About" not in texts[3]


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        (DecisionKind.NOT_A_SERIAL, "No serial stands here, says Ada Fenn: a leg"),
        (DecisionKind.CANNOT_BE_READ, "It cannot be read, says Ada Fenn: a leg"),
    ],
)
def test_a_card_says_what_was_decided(photo: Path, kind: DecisionKind, words: str) -> None:
    record = make_record(photo, decision=Decision(kind, "", "Ada Fenn", "2026-11-20", "a leg"))
    assert words in Page(card(record, load_photo(photo).pixels)).text


def test_thumbnails_are_small_and_carry_no_metadata(photo: Path) -> None:
    text = card(make_record(photo), load_photo(photo).pixels)
    for data in re.findall(r"base64,([A-Za-z0-9+/=]+)", text):
        with Image.open(io.BytesIO(base64.b64decode(data))) as image:
            assert max(image.size) <= THUMBNAIL_PX
            assert dict(image.getexif()) == {}
            assert "icc_profile" not in image.info


def test_the_serial_is_outlined_and_not_covered(photo: Path) -> None:
    text = card(make_record(photo), load_photo(photo).pixels)
    data = re.findall(r"base64,([A-Za-z0-9+/=]+)", text)[0]
    with Image.open(io.BytesIO(base64.b64decode(data))) as image:
        red, _, blue = image.getpixel((40, 47))  # the middle of the lower line, 6 pixels below the mark
        assert blue - red > 60
        assert min(image.getpixel((40, 30))) > 200


def test_texts_are_escaped(photo: Path) -> None:
    decision = Decision(DecisionKind.SERIAL, "<b>7", "<script>alert(1)</script>", "2026-11-20", "$state & \x00")
    page = Page(card(make_record(photo, "<img>.jpg", decision=decision), load_photo(photo).pixels))
    assert page.all("script") == page.all("b") == []
    assert "<script>alert(1)</script>: $state & \ufffd" in page.text
