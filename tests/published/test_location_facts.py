"""The guide's places and cautions against the trade facts that they were written from.

location_facts.csv holds the facts by value: tools, hazard, how common it is, and the source of each (a published page,
or common practice). The sentences of the guide are our own. The weights below name their sources too.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from reader.locations.guide import ANY_FORM, Place, load_guide

FACTS = Path(__file__).parent / "location_facts.csv"

FIGURES = [
    ("weight-upright", ["225 to 360 kg"], "savvypianist.com"),
    ("weight-grand", ["225 to 360 kg", "590 kg"], "savvypianist.com"),
    ("weight-square", ["250 to 500 kg"], "common practice; from memory"),
    ("weight-spinet", ["90 to 180 kg", "160 to 205 kg"], "savvypianist.com"),
    ("weight-organ", ["60 to 150 kg"], "MFA 2006.1358"),
    ("lid-grand", ["20 to 35 kg"], "common practice"),
    ("strings", ["15 to 20 tons"], "morristownnhpmuseum.blogspot.com 2013"),
    ("action", ["10 to 15 kg"], "common practice"),
    ("tipping", ["backward"], "mmdigest 2005.11.03.09"),
    ("mice", ["hantavirus"], "mmdigest 2000.06.09.07"),
    ("lead", ["lead"], "mmdigest 2016.03.04.05"),
]
"""A caution, the figures and words that it must hold, and the source that gives them."""


def read_facts() -> list[dict[str, str]]:
    with FACTS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


def guide_places() -> dict[tuple[str, str], Place]:
    forms = load_guide()
    own = {(form.id, place.id): place for form in forms for place in (*form.places, *form.not_serial)}
    return own | {(ANY_FORM, place.id): place for place in forms[0].everywhere}


@pytest.mark.parametrize("fact", read_facts(), ids=lambda fact: f"{fact['form']}-{fact['id']}")
def test_a_place_says_what_its_source_says(fact: dict[str, str]) -> None:
    place = guide_places()[fact["form"], fact["id"]]
    assert place.hazard == fact["hazard"]
    assert place.tools == (fact["tools"] or "none")
    assert place.how_common == fact["how_common"]
    assert place.source.startswith(fact["source"])


def test_no_place_without_a_fact() -> None:
    assert {(fact["form"], fact["id"]) for fact in read_facts()} == guide_places().keys()


@pytest.mark.parametrize(("caution", "words", "source"), FIGURES)
def test_a_caution_gives_the_figures_of_its_source(caution: str, words: list[str], source: str) -> None:
    cautions = {one.id: one for form in load_guide() for one in form.cautions}
    assert all(word in cautions[caution].text for word in words)
    assert source in cautions[caution].source
