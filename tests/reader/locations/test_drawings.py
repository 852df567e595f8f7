"""The drawings: the same places as in the data, safe to open, readable in print and without color."""

from __future__ import annotations

import re
from collections.abc import Iterator
from xml.etree import ElementTree

import pytest

from reader.errors import TableError
from reader.locations import guide
from reader.locations.guide import DRAWINGS_FOLDER, Form, load_guide, read_drawing

FORMS = load_guide()
SVG = "{http://www.w3.org/2000/svg}"
ALLOWED = {"svg", "title", "desc", "g", "rect", "path", "polygon", "circle", "text"}
DRAWN_ATTRIBUTES = {"fill", "stroke"}

LOWEST_CONTRAST = 4.5
"""For text, WCAG 2.2, success criterion 1.4.3 (level AA)."""

LETTER_WIDTH = 0.62
"""Width of a letter in heights of its font: an upper bound of the mean in wide sans-serif fonts (DejaVu Sans)."""

by_form = pytest.mark.parametrize("form", FORMS, ids=lambda form: form.id)


def parse(form: Form) -> ElementTree.Element:
    return ElementTree.fromstring(read_drawing(form).encode())


def group(root: ElementTree.Element, name: str) -> ElementTree.Element:
    return next(element for element in root.iter(f"{SVG}g") if element.get("class") == name)


def marks_in(element: ElementTree.Element) -> Iterator[ElementTree.Element]:
    return (one for one in element.iter(f"{SVG}g") if one.get("class") == "mark")


def sign_of(mark: ElementTree.Element) -> str:
    return "".join(mark.find(f"{SVG}text").itertext())  # type: ignore[union-attr]


def luminance(color: str) -> float:
    """Relative luminance of #rrggbb, WCAG 2.2."""
    assert re.fullmatch("#[0-9a-f]{6}", color), color
    parts = [int(color[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    dark, bright = sorted((luminance(one), luminance(other)))
    return (bright + 0.05) / (dark + 0.05)


def text_box(text: ElementTree.Element) -> tuple[float, float, float, float]:
    """Left, top, right, bottom of a text, by the bound on its letters' width."""
    size, x, y = (float(text.get(name, "0")) for name in ("font-size", "x", "y"))
    width = size * LETTER_WIDTH * len(text.text or "")
    left = x - width * {"start": 0, "middle": 0.5, "end": 1}[text.get("text-anchor", "start")]
    return left, y - 0.75 * size, left + width, y + 0.22 * size


def test_one_drawing_for_each_form_and_no_other() -> None:
    assert {path.name for path in DRAWINGS_FOLDER.iterdir()} == {f"{form.id}.svg" for form in FORMS}


@by_form
def test_the_marks_are_the_places_of_the_data(form: Form) -> None:
    expected = {place.sign for place in (*form.places, *form.not_serial)}
    assert {sign_of(mark) for mark in marks_in(group(parse(form), "marks"))} == expected


@by_form
def test_the_legend_says_what_the_data_say(form: Form) -> None:
    legend = list(group(parse(form), "legend"))
    pairs = [(sign_of(mark), words.text) for mark, words in zip(legend[::2], legend[1::2], strict=True)]
    assert pairs == [(place.sign, place.label) for place in (*form.places, *form.not_serial)]


@by_form
def test_screen_readers_get_a_title_and_every_place(form: Form) -> None:
    root = parse(form)
    assert root.get("role") == "img"
    first, second = root[0], root[1]
    assert (first.tag, second.tag) == (f"{SVG}title", f"{SVG}desc")
    assert root.get("aria-labelledby") == f"{first.get('id')} {second.get('id')}"
    assert all(str(one.get("id")).startswith(form.id) for one in (first, second))  # unlike on a page of all drawings
    assert form.name in (first.text or "")
    for place in (*form.places, *form.not_serial):
        assert f"{place.sign}: {place.label}" in (second.text or "")


@by_form
def test_nothing_runs_and_nothing_is_fetched(form: Form) -> None:
    text = read_drawing(form)
    assert "<!DOCTYPE" not in text
    assert "<!ENTITY" not in text
    for element in parse(form).iter():
        assert element.tag.removeprefix(SVG) in ALLOWED
        for name, value in element.attrib.items():
            assert not name.lower().startswith("on")
            assert not name.endswith("href")
            assert name != "style"
            assert "url(" not in value
            assert "javascript" not in value.lower()
    assert re.findall(r"https?://[^\"]*", text) == ["http://www.w3.org/2000/svg"]


@by_form
def test_text_stands_out_from_everything_it_may_lie_on(form: Form) -> None:
    root = parse(form)
    in_marks = {text for mark in marks_in(root) for text in mark.iter(f"{SVG}text")}
    fills = {one.get("fill", "none") for one in root.iter() if one.tag != f"{SVG}text"} - {"none", "#111111"}
    for text in root.iter(f"{SVG}text"):
        if text not in in_marks:
            assert min(contrast(text.get("fill", ""), fill) for fill in fills) >= LOWEST_CONTRAST
    for mark in marks_in(root):
        *shapes, text = mark
        assert contrast(text.get("fill", ""), shapes[-1].get("fill", "")) >= LOWEST_CONTRAST


@by_form
def test_no_text_lies_on_a_black_key(form: Form) -> None:
    root = parse(form)
    in_marks = {text for mark in marks_in(root) for text in mark.iter(f"{SVG}text")}
    black = [
        (x, y, x + width, y + height)
        for rect in root.iter(f"{SVG}rect")
        if rect.get("fill") == "#111111"
        for x, y, width, height in [[float(rect.get(name, "0")) for name in ("x", "y", "width", "height")]]
    ]
    for text in root.iter(f"{SVG}text"):
        if text not in in_marks:
            a = text_box(text)
            assert not [b for b in black if a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]], text.text


@by_form
def test_every_text_lies_on_the_page(form: Form) -> None:
    root = parse(form)
    width, height = (float(part) for part in root.get("viewBox", "").split()[2:])
    for text in root.iter(f"{SVG}text"):
        left, top, right, bottom = text_box(text)
        assert left >= 0, text.text
        assert right <= width, text.text
        assert top >= 0, text.text
        assert bottom <= height, text.text


@by_form
def test_kinds_of_marks_differ_without_color(form: Form) -> None:
    shapes: dict[str, set[str]] = {}
    for place, mark in zip((*form.places, *form.not_serial), marks_in(group(parse(form), "legend")), strict=True):
        kind = place.holds if place.holds == "other" else place.who
        drawn = "".join(one.tag.removeprefix(SVG) for one in mark) + str(mark[1].get("fill"))
        shapes.setdefault(drawn, set()).add(kind)
    assert all(len(kinds) == 1 for kinds in shapes.values())
    colors = {one.get(name) for mark in marks_in(parse(form)) for one in mark for name in DRAWN_ATTRIBUTES}
    assert colors <= {None, "#111111", "#ffffff"}


def test_contrast_by_known_values() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


def test_a_missing_drawing_is_said(monkeypatch: pytest.MonkeyPatch, tmp_path: object) -> None:
    monkeypatch.setattr(guide, "DRAWINGS_FOLDER", tmp_path)
    with pytest.raises(TableError, match="cannot be read"):
        read_drawing(FORMS[0])
