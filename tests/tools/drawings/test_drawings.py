"""The drawings in the guide are those that tools/drawings makes."""

from __future__ import annotations

import pytest

from reader.locations.guide import Form, load_guide, read_drawing
from tools.drawings.__main__ import DRAW, draw
from tools.drawings.page import Page

FORMS = load_guide()


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.id)
def test_the_drawing_is_up_to_date(form: Form) -> None:
    assert draw(form) == read_drawing(form), "run python -m tools.drawings"


def test_no_drawing_without_a_form() -> None:
    assert set(DRAW) == {form.id for form in FORMS}


def test_a_place_without_a_mark_stops_the_drawing() -> None:
    page = Page(FORMS[0])
    for place in (*FORMS[0].places[1:], *FORMS[0].not_serial):
        page.mark(place.sign, (100, 100))
    with pytest.raises(ValueError, match=r"no mark for 1$"):
        page.finish(500)


def test_a_mark_without_a_place_stops_the_drawing() -> None:
    with pytest.raises(KeyError):
        Page(FORMS[0]).mark("99", (100, 100))


def test_words_are_escaped() -> None:
    page = Page(FORMS[0])
    page.text(0, 0, "<script>&")
    assert "&lt;script&gt;&amp;" in page.parts[0]
