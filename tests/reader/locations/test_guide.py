"""The guide's data: against its descriptor, and the promises that keep people from harm."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest

from reader.dating.schema import read_package
from reader.errors import SettingsError, TableError
from reader.locations import guide
from reader.locations.guide import DATA_FOLDER, Form, Hazard, Holds, Place, Who, find_form, load_guide

FORMS = load_guide()
WHO_ORDER = list(Who)

by_form = pytest.mark.parametrize("form", FORMS, ids=lambda form: form.id)


def all_places(form: Form) -> tuple[Place, ...]:
    return (*form.places, *form.not_serial, *form.everywhere)


def test_the_data_keep_to_their_descriptor() -> None:
    tables = read_package(DATA_FOLDER)
    assert {table.path.name for table in tables.values()} == {path.name for path in DATA_FOLDER.glob("*.csv")}
    assert all(table.rows for table in tables.values())


def test_every_place_of_the_table_is_in_the_guide() -> None:
    rows = read_package(DATA_FOLDER)["places"].rows
    assert {row["form"] for row in rows} == {form.id for form in FORMS} | {guide.ANY_FORM}
    in_guide = {(form.id, place.id) for form in FORMS for place in (*form.places, *form.not_serial)}
    assert in_guide == {(row["form"], row["id"]) for row in rows if row["form"] != guide.ANY_FORM}


@by_form
def test_every_hazard_has_a_caution(form: Form) -> None:
    for place in all_places(form):
        assert place.cautions or place.hazard is Hazard.NONE, place.id


@by_form
def test_what_a_place_warns_of_stands_among_the_first_cautions(form: Form) -> None:
    named = {caution.id for place in all_places(form) for caution in place.cautions}
    assert named <= {caution.id for caution in form.cautions}
    assert form.cautions[0].id == "force"
    assert "technician" in form.cautions[0].text
    assert "local rules" in form.cautions[0].text


@by_form
def test_nobody_goes_to_a_dangerous_place_alone_or_first(form: Form) -> None:
    ranks = [WHO_ORDER.index(place.who) for place in form.places]
    assert ranks == sorted(ranks)
    assert all(place.who is not Who.ANYONE for place in all_places(form) if place.hazard is Hazard.HIGH)


@pytest.mark.parametrize(
    ("name", "cautions"),
    [
        ("square-grand", {"weight-square", "square-legs", "lid-square", "strings", "lead", "mice", "mold"}),
        ("upright", {"weight-upright", "tipping", "strings", "lead", "mice", "mold"}),
        ("player-upright", {"weight-upright", "tipping", "tubing", "electric", "lead"}),
        ("grand", {"weight-grand", "lid-grand", "under-grand", "strings", "lead", "mice", "mold"}),
        ("spinet", {"weight-spinet", "tipping", "strings", "mice", "mold"}),
        ("reed-organ", {"weight-organ", "bellows", "reeds", "mice", "mold"}),
        ("melodeon", {"turning", "bellows", "reeds", "mice", "mold"}),
        ("harmonium", {"turning", "bellows", "reeds", "mice", "mold"}),
    ],
)
def test_the_great_dangers_of_a_form_are_named(name: str, cautions: set[str]) -> None:
    assert cautions <= {caution.id for caution in find_form(name).cautions}


@by_form
def test_numbers_and_letters_run_without_a_gap(form: Form) -> None:
    assert [place.sign for place in form.places] == [str(number + 1) for number in range(len(form.places))]
    assert [place.sign for place in form.not_serial] == list("ABCDEFGH"[: len(form.not_serial)])
    assert all(place.holds is Holds.SERIAL for place in form.places)


@by_form
def test_every_fact_has_its_source(form: Form) -> None:
    facts = (form, *all_places(form), *form.cautions, *form.mistaken_for, *form.photographing, form.no_proof)
    assert all(fact.source.strip() for fact in facts)
    assert form.mistaken_for
    assert form.photographing


def test_every_caution_and_every_kind_of_mark_is_used() -> None:
    tables = read_package(DATA_FOLDER)
    used = {caution.id for form in FORMS for caution in form.cautions} | {guide.PROOF}
    assert used == {row["id"] for row in tables["cautions"].rows}
    forms = {form.id for form in FORMS}
    for row in tables["mistaken-for"].rows:
        assert set(str(row["forms"]).split("|")) <= forms, row["id"]


def test_see_also_names_other_forms() -> None:
    forms = {form.id for form in FORMS}
    for form in FORMS:
        assert set(form.see_also) <= forms - {form.id}


@pytest.mark.parametrize(
    ("name", "form"),
    [
        ("square-grand", "square-grand"),
        ("Square Grand", "square-grand"),
        ("square_grand", "square-grand"),
        ("square piano", "square-grand"),
        ("SPINET", "spinet"),
        ("console", "spinet"),
        ("pump organ", "reed-organ"),
        ("parlour  organ", "reed-organ"),
        ("Parlor organ", "reed-organ"),
        ("player piano", "player-upright"),
        ("baby grand", "grand"),
        ("harmonium", "harmonium"),
    ],
)
def test_names_and_aliases(name: str, form: str) -> None:
    assert find_form(name).id == form


def test_no_name_means_two_forms() -> None:
    names = [guide._plain(name) for form in FORMS for name in {form.id, form.name, *form.aliases}]
    owners = [form.id for form in FORMS for _ in {form.id, form.name, *form.aliases}]
    meant = {(name, owner) for name, owner in zip(names, owners, strict=True)}
    assert len({name for name, _ in meant}) == len(meant)


@pytest.mark.parametrize("name", ["uprite", "", "-", "any", "squar", "grand\nupright", "x" * 500])
def test_a_wrong_name_is_not_guessed(name: str) -> None:
    with pytest.raises(SettingsError) as caught:
        find_form(name)
    message = str(caught.value)
    assert all(form.id in message for form in FORMS)
    assert "\n" not in message
    assert len(message) < 250


def copy_data(folder: Path, file: str, old: str, new: str) -> Path:
    """Return a copy of the tables in which one text of one file is changed."""
    for path in DATA_FOLDER.iterdir():
        text = path.read_text(encoding="utf-8")
        if path.name == file:
            assert old in text
            text = text.replace(old, new, 1)
        (folder / path.name).write_text(text, encoding="utf-8")
    return folder


@pytest.mark.parametrize(
    ("file", "old", "new", "words"),
    [
        ("places.csv", ",high,", ",deadly,", "'deadly' is not allowed; use one of none, low, medium, high"),
        (
            "places.csv",
            ",lid-square|strings,",
            ",lid-squre,",
            "row 1, column cautions: no caution is called 'lid-squre'",
        ),
        ("places.csv", "square-grand,1,", "square-grand,first,", "row 1, column order: 'first' is no number"),
        ("places.csv", "square-grand,1,serial,", "square-grand,1,", "row 1: has too many or too few cells"),
        ("forms.csv", "\nspinet,", "\nspinnet,", "no place is known for 'spinnet'"),
    ],
)
def test_broken_data_are_refused_with_their_place(tmp_path: Path, file: str, old: str, new: str, words: str) -> None:
    with pytest.raises(TableError) as caught:
        load_guide(copy_data(tmp_path, file, old, new))
    assert words in str(caught.value)


def test_missing_data_are_refused(tmp_path: Path) -> None:
    with pytest.raises(TableError, match="cannot be read"):
        load_guide(tmp_path)


def test_labels_differ_within_a_drawing() -> None:
    for form in FORMS:
        labels = [place.label for place in (*form.places, *form.not_serial)]
        assert all(one != other for one, other in itertools.combinations(labels, 2))
