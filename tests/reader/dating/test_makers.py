"""Finding a maker by a name as people type it."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reader.dating.makers import find_maker
from reader.dating.names import plain_name
from reader.dating.tables import load_tables
from reader.errors import MakerError


@pytest.mark.parametrize(
    ("typed", "id_"),
    [
        ("Harrow & Thistle", "harrow-and-thistle"),
        ("harrow and thistle", "harrow-and-thistle"),
        ("HARROW & THISTLE.", "harrow-and-thistle"),
        ("  Harrow-&-Thistle ", "harrow-and-thistle"),
        ("Harrow&Thistle", "harrow-and-thistle"),
        ("Harrow & Thistle Piano Company", "harrow-and-thistle"),
        ("Pellwick Bros.", "pellwick-brothers"),
        ("PELLWICK BROS", "pellwick-brothers"),
        ("Péllwîck Brothers", "pellwick-brothers"),
        ("Pellwick", "pellwick-brothers"),
        ("Ostrava Lane Organ Works", "ostrava-lane"),
        ("ostrava lane organ co", "ostrava-lane"),
        ("Harrow und Thistle", "harrow-and-thistle"),
        ("Gebr. Ahornfels", "gebruder-ahornfels"),
        ("GEBRUEDER AHORNFELS", "gebruder-ahornfels"),
        ("Ahornfels Brothers", "gebruder-ahornfels"),
        ("Ahornfels & Söhne", "gebruder-ahornfels"),
        ("Ahornfels & Sohn", "gebruder-ahornfels"),
        ("Aubepin & Fils", "aubepin-et-fils"),
        ("AUBÉPIN ET FILS", "aubepin-et-fils"),
        ("Aubépin Frères & Compagnie", "aubepin-et-fils"),
        ("Aubepin Bros & Co", "aubepin-et-fils"),
        ("Skelmere Brothers", "skelmere-and-rook"),
        ("Erard", "erard"),
        ("É\N{COMBINING ACUTE ACCENT}rard".replace("É", "E"), "erard"),
        ("Bluethner", "julius-bluthner"),
        ("BLÜTHNER", "julius-bluthner"),
        ("Boesendorfer", "bosendorfer"),
        ("Pleyel Wolff et Cie", "pleyel"),
        ("Pleyel, Wolff & Co.", "pleyel"),
        ("J. Kerntopf & Son", "j-kerntopf-i-syn"),
        ("J. Kerntopf und Sohn", "j-kerntopf-i-syn"),
        ("John Broadwood & Son", "john-broadwood-and-sons"),
        ("J Estey and Company", "estey-organ-co"),
        ("Duetz", None),
        ("A. Duetz", "a-dutz"),
        ("\N{FULLWIDTH LATIN CAPITAL LETTER O}strava Lane", "ostrava-lane"),
    ],
)
def test_spellings_that_mean_a_maker(typed: str, id_: str | None) -> None:
    if id_ is None:
        with pytest.raises(MakerError):
            find_maker(typed, load_tables())
    else:
        assert find_maker(typed, load_tables()).id == id_


def test_every_name_and_alias_of_the_tables_is_found() -> None:
    tables = load_tables()
    for id_, table in tables.makers.items():
        for name in table.names:
            assert find_maker(name, tables).id == id_


@pytest.mark.parametrize(
    ("typed", "closest"),
    [
        ("Harow & Thistel", "closest known names: Harrow & Thistle"),
        ("Pelwick Brothers", "closest known names: Pellwick Brothers"),
        ("Ostrava Organs", "closest known names: Ostrava Lane Organ Works"),
        ("zzz", "or one close to it; `rakelight tables` lists the known makers"),
        ("Har\nrow", "closest known names: Harrow & Thistle"),
        ("x" * 100_000, "or one close to it"),
        ("Steinwey", r"closest known names: Steinway & Sons \(0.8\d\)"),
    ],
)
def test_an_unknown_name_is_told_the_closest(typed: str, closest: str) -> None:
    with pytest.raises(MakerError, match=closest) as caught:
        find_maker(typed, load_tables())
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 400


@pytest.mark.parametrize("typed", ["", "   ", "&", "...", "'"])
def test_a_name_without_letters_is_refused(typed: str) -> None:
    with pytest.raises(MakerError):
        find_maker(typed, load_tables())


def test_an_alias_of_two_makers_is_ambiguous_but_a_name_wins_over_an_alias(folder: Any) -> None:
    folder.set_cell("makers.csv", 1, "aliases", "The Old Works|Pellwick Brothers")
    folder.set_cell("makers.csv", 2, "aliases", "the old works")
    tables = load_tables(folder.path)
    with pytest.raises(MakerError, match=r"several makers: Harrow & Thistle .*; Ostrava Lane Organ Works"):
        find_maker("The Old Works", tables)
    assert find_maker("pellwick bros", tables).id == "pellwick-brothers"


def test_names_alike_but_for_case_are_told_apart_by_exact_spelling_only(folder: Any) -> None:
    folder.set_cell("makers.csv", 2, "name", "HARROW & THISTLE")
    tables = load_tables(folder.path)
    assert find_maker("HARROW & THISTLE", tables).id == "ostrava-lane"
    assert find_maker("Harrow & Thistle", tables).id == "harrow-and-thistle"
    with pytest.raises(MakerError, match="several makers"):
        find_maker("harrow & thistle", tables)


def test_empty_tables_say_so(folder: Any) -> None:
    for file in ("makers.csv", "break_points.csv"):
        folder.write(file, folder.rows(file)[:1])
    with pytest.raises(MakerError, match="tables are empty"):
        find_maker("Pellwick", load_tables(folder.path))


def test_an_error_gives_the_close_names_with_their_scores() -> None:
    with pytest.raises(MakerError) as caught:
        find_maker("Pelwick Brothers", load_tables())
    (name, score), *_ = caught.value.candidates
    assert name == "Pellwick Brothers"
    assert 0.9 < score < 1.0


@given(st.text(max_size=40))
def test_the_plain_spelling_is_stable_and_ignores_case(name: str) -> None:
    plain = plain_name(name)
    assert plain_name(plain) == plain
    assert plain_name(f" {name}. ") == plain


@given(st.text(max_size=40))
def test_any_text_is_found_or_refused_with_one_line(name: str) -> None:
    try:
        find_maker(name, load_tables())
    except MakerError as error:
        assert str(error).isprintable()
