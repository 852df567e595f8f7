"""A record as hOCR 1.2 (kba.github.io/hocr-spec), one page a photo, which a browser shows as readable text too.

In: a Record and the EXIF orientation of its photo. Out: bytes of XHTML. Whole pixels of the upright picture; x_wconf
and x_confs run from 0 to 100, rivals of hardly any probability are left to ALTO, textangle counts degrees
counter-clockwise. The picture is named as if this file lay beside it.
"""

from __future__ import annotations

import math
from html import escape
from urllib.parse import quote

from pipelines.export.boxes import Box, counter_clockwise_deg, outer_box
from pipelines.export.outcome import outcome_of, say_dating, say_maker, say_outcome
from pipelines.export.record import Record
from pipelines.export.words import Line, Word, read_lines
from pipelines.export.xml_text import xml_text
from pipelines.output.text import RIVAL_FROM, plain_blanks, say_percent

SUFFIX = ".hocr.html"

_STYLE = (
    "body{font:1rem/1.5 system-ui,sans-serif;max-width:44rem;margin:2rem auto;padding:0 1rem}"
    "body{color:#111;background:#fff}"
    "h1{font-size:1.2rem;overflow-wrap:anywhere}"
    ".ocr_carea{border-top:1px solid #bbb;padding:.5rem 0}"
    ".ocr_par{margin:0}"
    ".ocr_line{display:block;font-size:1.4rem;font-weight:bold;overflow-wrap:anywhere}"
    ".ocr_line del{text-decoration:none;font-size:1rem;font-weight:normal;color:#444}"
    ".ocr_line del::before{content:' or '}"
    "ins{text-decoration:none}"
    ".note{margin:0;color:#444}"
    "h1~.note{margin:0 0 .3rem}"
)


def render_hocr(record: Record, orientation: int) -> bytes:
    """Return the hOCR page of a record. `orientation` is the EXIF value that was applied to show it upright."""
    outcome = outcome_of(record)
    name = _html(record.name)
    notes = [say_outcome(record), say_dating(outcome), f"Maker: {say_maker(outcome)}" if outcome.maker else ""]
    lines = "".join(_line(line, record) for line in read_lines(record, outcome))
    picture = f'image "{_picture(record)}"; bbox 0 0 {record.width} {record.height}; ppageno {record.page}'
    said = "".join(f'<p class="note">{_html(note)}</p>\n' for note in notes if note)
    text = f"""<?xml version="1.0" encoding="UTF-8"?>
<!DOCTYPE html>
<html xmlns="http://www.w3.org/1999/xhtml" lang="en" xml:lang="en">
<head>
<meta charset="UTF-8"/>
<title>{name}</title>
<meta name="ocr-system" content="Rakelight"/>
<meta name="ocr-capabilities" content="ocr_page ocr_carea ocr_par ocr_line ocrx_word ocrp_wconf"/>
<meta name="ocr-number-of-pages" content="1"/>
<meta name="exif-orientation-applied" content="{orientation}"/>
<meta name="viewport" content="width=device-width"/>
<style>{_STYLE}</style>
</head>
<body>
<div class="ocr_page" id="page_1" title="{_html(picture)}">
<h1>{name}</h1>
{said}{lines}</div>
</body>
</html>
"""
    return text.encode()


def _line(line: Line, record: Record) -> str:
    """Return a mark as an area with one paragraph of one line."""
    number, box = line.id + 1, _box(outer_box(line.quad, record.width, record.height))
    turned = "; ".join(part for part in (box, f"textangle {counter_clockwise_deg(line.quad):g}") if part)
    words = " ".join(_word(word, f"word_{number}_{place}", record) for place, word in enumerate(line.words, 1))
    says = f"{line.kind}, decided by a person"
    if not line.decided:
        says = f"{line.kind} ({plain_blanks(say_percent(line.probability))}): {line.why}"
    return (
        f'<div class="ocr_carea" id="area_{number}" title="{box}"><p class="ocr_par" id="par_{number}" title="{box}">'
        f'<span class="ocr_line" id="line_{number}" title="{turned}">{words}</span></p>'
        f'<p class="note">{_html(says)}</p></div>\n'
    )


def _word(word: Word, name: str, record: Record) -> str:
    title = [_box(outer_box(word.quad, record.width, record.height))]
    if word.probability is not None:
        title.append(f"x_wconf {_percent(word.probability)}")
    if word.characters:
        title.append("x_confs " + " ".join(str(_percent(each["probability"])) for each in word.characters))
    text = _html(word.text)
    worth = [(other, chance) for other, chance, _ in word.others if chance is None or chance >= RIVAL_FROM]
    if worth:
        choices = [("ins", word.text, word.probability), *(("del", *other) for other in worth)]
        text = f'<span class="alternatives">{"".join(_choice(*choice) for choice in choices)}</span>'
    return f'<span class="ocrx_word" id="{name}" title="{"; ".join(part for part in title if part)}">{text}</span>'


def _choice(tag: str, text: str, probability: float | None) -> str:
    """Return one of several readings, with its probability as hOCR's negative logarithm."""
    title = f' title="nlp {abs(math.log(probability)):.2f}"' if probability else ""
    return f'<{tag} class="alt"{title}>{_html(text)}</{tag}>'


def _box(box: Box | None) -> str:
    """Return a box as hOCR's property: left, top, right, bottom; empty where the mark lies outside the picture."""
    return "" if box is None else f"bbox {box.left} {box.top} {box.right} {box.bottom}"


def _percent(probability: float) -> int:
    return round(probability * 100)


def _picture(record: Record) -> str:
    """Return the picture's name as a relative address: no quote, blank or semicolon is left to end the property."""
    return quote(record.relative.rpartition("/")[2], errors="surrogateescape")


def _html(text: str) -> str:
    return escape(xml_text(text))
