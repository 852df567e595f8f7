"""Records as a contact sheet: one HTML file that holds everything it shows, for the screen and for paper.

In: Records. Out: contact-sheet.html with a card for each photo: the picture made small with the serial outlined, the
mark cut out upright, and what is known in words. Nothing is loaded from anywhere (a Content-Security-Policy forbids
it), and no meaning hangs on color: each state has its own words, sign and border.
"""

from __future__ import annotations

import base64
import re
from html import escape
from string import Template

from pipelines.export.boxes import as_quad
from pipelines.export.original import load_original
from pipelines.export.outcome import Outcome, outcome_of, say_maker, say_outcome
from pipelines.export.pictures import STRIP_HEIGHT_PX, Pixels, cut_mark, jpeg_bytes, thumbnail
from pipelines.export.record import DecisionKind, Record
from pipelines.export.target import Target
from pipelines.export.xml_text import xml_text
from pipelines.output.text import RIVAL_FROM, RIVALS_SHOWN, say_percent
from reader.results import Quad

NAME = "contact-sheet.html"

_BREAKS = re.compile(r"([/_-])")
"""Where a path may go on in the next line."""

HASH_SHOWN = 12
"""Figures of the SHA-256 that are printed: enough to tell a box's photos apart by eye."""

STATES = {
    "decided": ("\N{BLACK DIAMOND}", "decided by a person"),
    "sure": ("\N{CHECK MARK}", "read, sure enough to use"),
    "unsure": ("?", "read, not sure"),
    "none": ("\N{EN DASH}", "no serial found"),
}
"""What may be known of a serial: the sign and the words on the card."""

DECISIONS = {
    DecisionKind.SERIAL: "",
    DecisionKind.NOT_A_SERIAL: "No serial stands here, says ",
    DecisionKind.CANNOT_BE_READ: "It cannot be read, says ",
}
"""How a decision begins on the card; the number itself stands above it."""

_STYLE = """
:root { color-scheme: light; }
* { box-sizing: border-box; }
body { margin: 1.5rem; font: 15px/1.4 system-ui, sans-serif; color: #111; background: #fff; }
h1 { font-size: 1.4rem; margin: 0 0 .25rem; }
header p { margin: 0 0 .25rem; }
main { display: grid; grid-template-columns: repeat(auto-fill, minmax(17rem, 1fr)); gap: 1rem; margin-top: 1rem; }
article { border: 2px solid #111; border-radius: 4px; padding: .6rem; break-inside: avoid;
  display: flex; flex-direction: column; gap: .4rem; }
article.unsure { border-style: dashed; }
article.none { border: 1px dotted #555; }
article.decided { border: 4px double #111; }
.photo { display: flex; align-items: center; justify-content: center; height: 13rem; background: #eee; }
.mark { height: 3.4rem; display: flex; align-items: center; }
.photo img, .mark img { max-width: 100%; max-height: 100%; }
h2 { font-size: .95rem; margin: 0; overflow-wrap: anywhere; }
p { margin: 0; overflow-wrap: anywhere; }
.serial { font: bold 1.5rem/1.2 ui-monospace, monospace; min-height: 1.8rem; }
.state { font-weight: 600; }
.small { font-size: .8rem; color: #444; }
@media print {
  @page { margin: 12mm; }
  body { margin: 0 1px 0 0; font-size: 8pt; line-height: 1.3; }
  main { grid-template-columns: repeat(3, minmax(0, 1fr)); gap: 3mm; margin-top: 3mm; }
  article { padding: 1.5mm; gap: .8mm; }
  .photo { height: 34mm; background: none; }
  .mark { height: 8mm; }
  h1 { font-size: 13pt; }
  h2 { font-size: 8pt; }
  .small { font-size: 7pt; }
  .serial { font-size: 12pt; min-height: 0; }
}
"""

_HEAD = Template("""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="UTF-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; img-src data:; style-src 'unsafe-inline'">
<meta name="viewport" content="width=device-width">
<title>Contact sheet, $count</title>
<style>$style</style>
</head>
<body>
<header>
<h1>Contact sheet, $count</h1>
<p class="small">$legend</p>
<p class="small">A year is an estimate from the maker's numbers, never a proof of age.</p>
</header>
<main>
""")

_CARD = Template("""<article class="$state">
<div class="photo"><img src="$photo" alt="$photo_alt"></div>
<h2>$name</h2>
$mark$serial<p class="state"><span aria-hidden="true">$sign</span> $words</p>
$details<p class="small">$facts</p>
</article>
""")


class SheetExport:
    """Writes the sheet card by card; no more than one photo is held at a time."""

    def __init__(self, target: Target, photos: int) -> None:
        self._sheet = target.begin(NAME)
        count = "1 photo" if photos == 1 else f"{photos} photos"
        legend = " \N{MIDDLE DOT} ".join(f"{sign} {words}" for sign, words in STATES.values())
        self._sheet.write(_HEAD.substitute(count=count, style=_STYLE, legend=_html(legend)).encode())

    def add(self, record: Record) -> None:
        """Add a photo's card."""
        self._sheet.write(card(record, load_original(record).pixels).encode())

    def finish(self) -> None:
        """Put the sheet in place."""
        self._sheet.write(b"</main>\n</body>\n</html>\n")
        self._sheet.commit()

    def close(self) -> None:
        """Drop what was not put in place."""
        self._sheet.drop()


def card(record: Record, pixels: Pixels) -> str:
    """Return the card of a photo, whose upright pixels are (H, W, 3) uint8."""
    outcome = outcome_of(record)
    state = state_of(outcome)
    sign, words = STATES[state]
    quad = next((as_quad(mark["quad"]) for mark in record.marks if mark["id"] == outcome.mark), None)
    details = [_year(outcome), f"Maker: {say_maker(outcome)}" if outcome.maker else ""]
    if record.decision is not None:
        says = f"{DECISIONS[record.decision.kind]}{record.decision.by}"
        details.insert(0, f"{says}: {record.decision.because}" if record.decision.because else says)
    elif not outcome.sure:
        details.insert(0, _rivals(outcome))
    facts = [f"{record.width} x {record.height} pixels", f"SHA-256 {record.sha256[:HASH_SHOWN]}\N{HORIZONTAL ELLIPSIS}"]
    if record.case is not None:
        facts.insert(0, f"case {record.case}")
    outlined = " The serial is outlined." if quad is not None else ""
    return _CARD.substitute(
        state=state,
        photo=_data_address(jpeg_bytes(thumbnail(pixels, quad)), "image/jpeg"),
        photo_alt=_html(f"Photo {record.name}. {say_outcome(record)}.{outlined}"),
        mark=_mark(pixels, quad, outcome),
        serial=f'<p class="serial">{_html(outcome.serial)}</p>\n' if outcome.serial else "",
        sign=sign,
        words=words,
        details="".join(f"<p>{_html(detail)}</p>\n" for detail in details if detail),
        name=_BREAKS.sub(r"\1<wbr>", _html(record.name)),
        facts=_html(" \N{MIDDLE DOT} ".join(facts)),
    )


def state_of(outcome: Outcome) -> str:
    """Return the key in STATES of what is known of a serial."""
    if outcome.decided:
        return "decided"
    if not outcome.serial:
        return "none"
    return "sure" if outcome.sure else "unsure"


def _year(outcome: Outcome) -> str:
    """Return the year in few words; that it proves nothing stands at the head of the sheet."""
    if outcome.dating is None:
        return ""
    first, last = outcome.dating["interval"]
    doubt = "" if outcome.sure else ", if read right"
    return f"About {outcome.dating['year']} ({first} to {last}){doubt}"


def _rivals(outcome: Outcome) -> str:
    """Return the other readings that are worth a look, as many and as likely as the text output shows."""
    worth = [other for other in outcome.alternatives if other["probability"] >= RIVAL_FROM][:RIVALS_SHOWN]
    shown = (f"{other['text']} ({say_percent(other['probability'])})" for other in worth)
    return "Or " + ", ".join(shown) if worth else ""


def _mark(pixels: Pixels, quad: Quad | None, outcome: Outcome) -> str:
    """Return the serial's mark cut out upright as an image, empty where there is none."""
    crop = None if quad is None else cut_mark(pixels, quad, STRIP_HEIGHT_PX)
    if crop is None:
        return ""
    from PIL import Image

    address = _data_address(jpeg_bytes(Image.fromarray(crop)), "image/jpeg")
    return f'<div class="mark"><img src="{address}" alt="{_html(f"The mark, read as {outcome.serial}")}"></div>\n'


def _data_address(data: bytes, kind: str) -> str:
    return f"data:{kind};base64,{base64.b64encode(data).decode()}"


def _html(text: str) -> str:
    return escape(xml_text(text))
