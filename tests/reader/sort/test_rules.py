"""Checks the trade's rules by a table of own examples and by what must hold for any text.

The examples are invented, in the forms that the sources beside them describe. CP: common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reader.geometry import quad_size
from reader.results import Character, Mark, MarkKind, Reading
from reader.sort.choose import choose_serial
from reader.sort.drafts import draft_line
from reader.sort.rules import RULES, sort_readings

Make = Callable[..., Reading]

WIDTH = 0.6
"""Width of a character as a share of its height, as conftest.py makes it."""

EXAMPLES = {
    # serials, CP
    "41873": ["serial 41873"],
    "318": ["serial 318"],
    "3321": ["serial 3321"],
    "198409": ["serial 198409"],
    "1304417": ["serial 1304417"],
    "No. 41873": ["serial 41873"],
    "No.41873": ["serial 41873"],
    "No 41873": ["serial 41873"],
    "N0. 41873": ["serial 41873"],
    "Ne 41873": ["serial 41873"],
    "No, 41873": ["serial 41873"],
    "NO41873": ["serial 41873"],
    "N° 3321": ["serial 3321"],
    "Nº 3321": ["serial 3321"],
    "№ 3321": ["serial 3321"],
    "N. 3321": ["serial 3321"],
    "Nr. 22031": ["serial 22031"],
    "# 22031": ["serial 22031"],
    "SERIAL 22031": ["serial 22031"],
    "Serial No. 22031": ["serial 22031"],
    "FABRIK No. 22031": ["serial 22031"],
    "NUMBER 22031": ["serial 22031"],
    "41,873": ["serial 41873"],
    "41.873": ["serial 41873"],
    "41 873": ["serial 41873"],
    "4 1 8 7 3": ["serial 41873"],
    "No. 739 70": ["serial 73970"],  # a string crosses the number
    "965 71": ["serial 96571"],
    "41873.": ["serial 41873"],
    "(41873)": ["serial 41873"],
    "No. 1872": ["serial 1872"],
    "1872": ["serial 1872"],  # a year only where another number is more like a serial
    "１８７３４": ["serial 18734"],  # full-width figures are figures: Unicode compatibility decomposition
    # serials with a model letter: intunepianosupply.com (models nearly always start with a letter), CP
    "M 41873": ["model M", "serial 41873"],
    "M41873": ["model M", "serial 41873"],
    "M-41873": ["model M", "serial 41873"],
    "41873 M": ["serial 41873", "model M"],
    "41873M": ["serial 41873", "model M"],
    "XR 198409": ["model XR", "serial 198409"],
    "M No. 41873": ["model M", "serial 41873"],
    "No. M 41873": ["model M", "serial 41873"],
    "No. M41873": ["model M", "serial 41873"],
    "M41,873": ["model M", "serial 41873"],
    "WELLOW & DENE M 41873": ["word WELLOW & DENE", "model M", "serial 41873"],
    "STYLE M 41873": ["model STYLE M", "serial 41873"],
    "STYLE 14 No. 22031": ["model STYLE 14", "serial 22031"],
    "STYLE 14 22031": ["model STYLE 14", "serial 22031"],
    # model, style, cast pattern: Nat. Music Museum 02673, Theatre museum no. 80, mmdigest 2014.02.26.05
    "STYLE 14": ["model STYLE 14"],
    "MODEL M": ["model MODEL M"],
    "Modell 120": ["model Modell 120"],
    "STYLE No. 7": ["model STYLE No. 7"],
    "No 4 SCALE": ["model No 4 SCALE"],
    "SCALE 4": ["model SCALE 4"],
    "No 14 STYLE": ["model No 14 STYLE"],
    "14 STYLE 7": ["other 14", "model STYLE 7"],
    "M/P": ["model M/P"],
    "A3": ["model A3"],
    "AX6": ["model AX6"],
    "M": ["model M"],
    # case, pool and other series: moypiano 2004-April/152091, mmdigest 2009.06.25.06, Chopin Institute 25 and 96
    "F1019": ["model F", "serial 1019"],
    "K0862": ["other K0862"],
    "3F456": ["other 3F456"],  # Paris music museum, archive guide
    "CASE No. 22814": ["other CASE No. 22814"],
    "CD 207": ["other CD 207"],
    "C-60": ["other C-60"],
    "HIRE 14": ["other HIRE 14"],
    "LOT 86": ["other LOT 86"],
    "STACK 22031": ["other STACK 22031"],
    "MOTOR 9921": ["other MOTOR 9921"],
    "ACTION Co. 884213": ["other ACTION Co. 884213"],
    "1985.407": ["other 1985.407"],  # museum records
    "MHP 40/I": ["other MHP 40/I"],  # museum records
    "$ 350": ["other $ 350"],
    "12345678": ["other 12345678"],
    "No. 12345678": ["other 12345678"],
    # parts and keys: Nat. Music Museum 8184, CP
    "1": ["part-position 1"],
    "4": ["part-position 4"],
    "I": ["part-position I"],
    "II": ["part-position II"],
    "III": ["part-position III"],
    "IIII": ["part-position IIII"],
    "IV": ["part-position IV"],
    "2|2": ["part-position 2|2"],
    "7": ["key-number 7"],
    "30": ["key-number 30"],
    "88": ["key-number 88"],
    "97": ["other 97"],
    "1 2 3 4 5": ["key-number 1 2 3 4 5"],
    "61 60 59": ["key-number 61 60 59"],
    "13 13 13½ 14": ["size 13 13 13½ 14"],  # Chopin Institute 13
    "13 13 1/2 14": ["size 13 13 1/2 14"],
    # patents: Nat. Music Museum 8184 and 14517, USPTO issue-years table, CP
    "PAT. MAY 14 1872": ["patent PAT. MAY 14 1872"],
    "PAT MAY 22 1855 & JUNE 24 1862": ["patent PAT MAY 22 1855 & JUNE 24 1862"],
    "Pat'd July 3d 1866": ["patent Pat'd July 3d 1866"],
    "PATENTED MAY 14 1872 No 3321": ["patent PATENTED MAY 14 1872", "serial 3321"],
    "PATENTED 1872": ["patent PATENTED 1872"],
    "PATD JAN 171875": ["patent PATD JAN 171875"],
    "PAID JAN 171875": ["word PAID", "patent JAN 171875"],
    "PATDAUG 21 1884": ["patent PATDAUG 21 1884"],  # blanks lost in reading
    "PATDAUG": ["patent PATDAUG"],
    "PATJAN 6 1884": ["patent PATJAN 6 1884"],
    "PATENTEDMAY141872": ["patent PATENTEDMAY141872"],
    "23 1873": ["other 23", "calendar-year 1873"],  # a day and a year, the rest of a date
    "PAT. 1,234,567": ["patent PAT. 1,234,567"],
    "PAT. No. 741299": ["patent PAT. No. 741299"],
    "PAT. 741,299 41873": ["patent PAT. 741,299", "serial 41873"],
    "PATENT APPLIED FOR": ["patent PATENT APPLIED FOR"],
    "REG. U.S. PAT. OFF.": ["patent REG. U.S. PAT. OFF."],
    "D.R.G.M. 61234": ["patent D.R.G.M. 61234"],
    "BREVETÉ": ["patent BREVETÉ"],
    "0CT 3 1881": ["patent 0CT 3 1881"],
    "APR1L 3 1881": ["patent APR1L 3 1881"],
    "MAR 4 1927": ["patent MAR 4 1927"],
    "14.5.1872": ["patent 14.5.1872"],
    "MAY": ["patent MAY"],
    # years: wengleemusic.blogspot.com, Victorian Collections, Chopin Institute 14 and 18, MINIM-UK 40180
    "ESTD 1851": ["calendar-year ESTD 1851"],
    "ESTABLISHED 1851": ["calendar-year ESTABLISHED 1851"],
    "Founded in 1851": ["calendar-year Founded in 1851"],
    "ESTABLISHED IN THE YEAR 1851": ["calendar-year ESTABLISHED IN THE YEAR 1851"],
    "SINCE 1851": ["calendar-year SINCE 1851"],
    "© 1912": ["calendar-year © 1912"],
    "GEGRÜNDET 1851": ["calendar-year GEGRÜNDET 1851"],
    "1851-1901": ["calendar-year 1851-1901"],
    "PARIS 1867 · VIENNA 1873": ["calendar-year PARIS 1867", "calendar-year VIENNA 1873"],
    "FIRST PRIZE LONDON 1851": ["calendar-year FIRST PRIZE LONDON 1851"],
    "ESTD 1851 No. 4187": ["calendar-year ESTD 1851", "serial 4187"],
    "tuned 3/9/12": ["calendar-year tuned 3/9/12"],
    # sizes: mmdigest 2014.02.26.05, CP
    "5'8\"": ["size 5'8\""],
    "5 ft 8 in": ["size 5 ft 8 in"],
    "131 cm": ["size 131 cm"],
    "7 1/3 OCT": ["size 7 1/3 OCT"],
    "7⅓ OCTAVES": ["size 7⅓ OCTAVES"],
    "85 NOTES": ["size 85 NOTES"],
    "14 LB": ["size 14 LB"],
    # addresses: squeezyboy.blogs.com, CP
    "200 MAIN ST.": ["address 200 MAIN ST."],
    "No. 4187 MAIN STREET": ["address No. 4187 MAIN STREET"],
    "200 BROADWAY": ["address 200 BROADWAY"],
    "14 HOLM, WELLOW": ["address 14 HOLM, WELLOW"],
    "12, RUE DU LAC": ["address 12, RUE DU LAC"],
    "LINDENSTR. 14": ["address LINDENSTR. 14"],
    "TEL. 4187": ["address TEL. 4187"],
    # words, CP
    "WELLOW & DENE": ["word WELLOW & DENE"],
    "C C# D": ["word C C# D"],  # Chopin Institute 13
    "No.": ["word No."],
    "CO": ["word CO"],
}


def said(marks: Sequence[Mark]) -> list[str]:
    return [f"{mark.kind} {mark.text}" for mark in marks]


def serial_sureness(marks: Sequence[Mark], text: str) -> float:
    return max((m.kind_probability for m in marks if m.kind is MarkKind.SERIAL and m.text == text), default=0.0)


@pytest.mark.parametrize("line", EXAMPLES)
def test_examples(line: str, make_reading: Make) -> None:
    marks = sort_readings([make_reading(line)])
    assert said(marks) == EXAMPLES[line]
    assert all(mark.why and mark.rule == mark.rule.lower() and " " not in mark.rule for mark in marks)


def test_there_are_enough_examples() -> None:
    assert len(EXAMPLES) >= 80
    assert {kind for kinds in EXAMPLES.values() for kind in (entry.split()[0] for entry in kinds)} == set(MarkKind)


def test_why_names_the_announcing_word(make_reading: Make) -> None:
    (mark,) = sort_readings([make_reading("No. 41873")])
    assert mark.why == "five figures after 'No.'; common practice"
    assert mark.rule == "serial-announced"
    assert mark.surface == "wood-stamp"


def test_case_number_doubt_is_said_and_weighed(make_reading: Make) -> None:
    joined = sort_readings([make_reading("F1019")])[1]
    apart = sort_readings([make_reading("F 1019")])[1]
    assert "case number" in joined.why
    assert joined.kind_probability < 0.7 < apart.kind_probability


# --- characters, places and probabilities -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "plain", "probability"),
    [("000000", "137524", 0.7), ("22232", "27532", 0.7), ("0418", "2418", 0.99), ("1118", "2718", 0.5)],
)
def test_figures_as_rows_of_pins_give_them_are_less_like_a_serial(
    text: str, plain: str, probability: float, make_reading: Make
) -> None:
    doubted, other = (sort_readings([make_reading(line, probability=probability)])[0] for line in (text, plain))
    assert doubted.kind is MarkKind.SERIAL
    assert doubted.kind_probability < other.kind_probability


def test_a_surely_read_number_of_like_figures_is_a_serial_as_any(make_reading: Make) -> None:
    alike, other = (sort_readings([make_reading(line, probability=0.99)])[0] for line in ("32222", "32917"))
    assert alike.kind_probability == other.kind_probability


def test_mark_has_its_own_characters_and_quad(make_reading: Make) -> None:
    model, serial = sort_readings([make_reading("M 41,873", at=(100, 50))])
    assert "".join(sign.text for sign in model.characters) == "M"
    assert "".join(sign.text for sign in serial.characters) == "41873"
    # WIDTH of a character is 0.6 * 20 = 12 px; the number runs from the third to the eighth
    np.testing.assert_allclose(serial.quad[:, 0], [124, 196, 196, 124], atol=1e-3)
    np.testing.assert_allclose(serial.quad[:, 1], [50, 50, 70, 70], atol=1e-3)


def test_quad_leaves_out_the_announcing_word(make_reading: Make) -> None:
    (serial,) = sort_readings([make_reading("No. 41873")])
    assert quad_size(serial.quad)[0] == pytest.approx(5 * 12, abs=1e-3)


def test_part_of_a_line_is_as_sure_as_its_own_characters(make_reading: Make) -> None:
    reading = make_reading("M 41873", probability=0.5)
    model, serial = sort_readings([reading])
    assert model.probability * serial.probability == pytest.approx(0.5)
    assert sort_readings([make_reading("41873", probability=0.5)])[0].probability == pytest.approx(0.5)


def test_candidates_that_agree_on_the_number_add_up(make_reading: Make) -> None:
    others = [("N 41873", 0.3), ("M 41878", 0.06)]
    _, serial = sort_readings([make_reading("M 41873", probability=0.6, others=others)])
    assert serial.probability == pytest.approx(0.9)
    assert [(a.text, pytest.approx(a.probability)) for a in serial.alternatives] == [("41878", 0.06)]


def test_rivals_become_alternatives(make_reading: Make) -> None:
    reading = make_reading(
        "41873", probability=0.9, rivals={4: [("8", 0.02), ("B", 0.01), ("x", 0.01)], 0: [("1", 0.01)]}
    )
    (serial,) = sort_readings([reading])
    assert [a.text for a in serial.alternatives] == ["41878", "11873"]
    own = reading.characters[4].probability
    assert serial.alternatives[0].probability == pytest.approx(0.9 * 0.02 / own)


def test_letter_read_as_figure_keeps_its_doubt(make_reading: Make) -> None:
    reading = make_reading("418O3", probability=0.6, others=[("41803", 0.3)], rivals={3: [("0", 0.05), ("6", 0.01)]})
    (serial,) = sort_readings([reading])
    assert serial.text == "41803"
    assert serial.characters[3].text == "0"
    assert [rival.text for rival in serial.characters[3].rivals] == ["O", "6"]
    total = serial.characters[3].probability + serial.characters[3].rivals[0].probability
    assert total == pytest.approx(reading.characters[3].probability + 0.05)
    assert serial.probability == pytest.approx(0.6 * 0.9 + 0.3)
    assert "read as the figure" in serial.why


def test_leading_b_may_be_an_eight(make_reading: Make) -> None:
    model, serial = sort_readings([make_reading("B41873")])
    assert (model.kind, serial.text) == (MarkKind.MODEL, "41873")
    assert [a.text for a in serial.alternatives] == ["841873"]
    assert "841873" in serial.why
    apart = sort_readings([make_reading("B 41873")])[1]
    assert apart.probability > serial.probability
    assert not apart.alternatives


def test_a_ligature_is_split_and_keeps_its_doubt(make_reading: Make) -> None:
    reading = make_reading("x")
    reading = Reading(reading.region, (Character("41", 0.81), Character("873", 0.8), Character("", 1.0)), (), "test")
    (serial,) = sort_readings([reading])
    assert serial.text == "41873"
    assert serial.probability == pytest.approx(0.81 * 0.8)


def test_reading_without_characters_gives_no_mark(make_reading: Make) -> None:
    empty = Reading(make_reading("x").region, (), (), "test")
    marks = sort_readings([empty, make_reading("M 41873"), empty, make_reading("88")])
    assert [mark.id for mark in marks] == [0, 1, 2]
    assert said(marks) == ["model M", "serial 41873", "key-number 88"]


# --- several strings on one photo ---------------------------------------------------------------------------------


@pytest.mark.parametrize("turn_deg", [0.0, 35.0, 90.0, 180.0])
@pytest.mark.parametrize(
    ("place", "height", "kind"),
    [
        ((-4.0, 0.0), 20, MarkKind.MODEL),  # left, gap of about two heights
        ((4.0, 0.0), 20, MarkKind.MODEL),
        ((0.0, -2.5), 40, MarkKind.MODEL),  # above, stencil of double height
        ((0.0, 2.5), 20, MarkKind.WORD),  # below
        ((0.0, -6.0), 20, MarkKind.WORD),  # too far above
        ((-9.0, 0.0), 20, MarkKind.WORD),  # too far
        ((4.0, -2.5), 20, MarkKind.WORD),  # neither beside nor above
        ((-6.0, 0.0), 100, MarkKind.WORD),  # another size altogether
    ],
)
def test_model_letters_near_a_number(
    place: tuple[float, float], height: float, kind: MarkKind, turn_deg: float, make_reading: Make
) -> None:
    turn = np.deg2rad(turn_deg)
    x, y = place[0] * 20, place[1] * 20
    at = (300 + x * np.cos(turn) - y * np.sin(turn), 300 + x * np.sin(turn) + y * np.cos(turn))
    number = make_reading("41873", at=(300, 300), turn_deg=turn_deg or 360)
    letters = make_reading("XR", at=at, height=height, turn_deg=turn_deg or 360)
    marks = sort_readings([letters, number])
    assert marks[0].kind is kind
    assert marks[1].text == "41873"
    assert marks[1].rule == ("serial-with-letter" if kind is MarkKind.MODEL else "serial-figures")


@pytest.mark.parametrize(
    ("word", "number", "at", "expected"),
    [
        ("No.", "41873", (50, 100), MarkKind.SERIAL),
        ("ESTABLISHED", "1851", (100, 75), MarkKind.CALENDAR_YEAR),
        ("PATENT", "741299", (60, 75), MarkKind.PATENT),
        ("STYLE", "318", (30, 100), MarkKind.MODEL),
        ("MAIN ST.", "4187", (160, 100), MarkKind.ADDRESS),
        ("NOTES", "85", (130, 100), MarkKind.SIZE),
        ("MAY", "14", (50, 100), MarkKind.PATENT),
    ],
)
def test_word_in_a_string_of_its_own(
    word: str, number: str, at: tuple[float, float], expected: MarkKind, make_reading: Make
) -> None:
    readings = [make_reading(number, at=(100, 100)), make_reading(word, at=at)]
    mark = sort_readings(readings)[0]
    assert mark.kind is expected
    assert f"'{word}'" in mark.why
    far = sort_readings([readings[0], make_reading(word, at=(at[0] + 900, at[1] + 900))])[0]
    assert far.rule in ("serial-figures", "key-number")


def test_keys_that_count_up(make_reading: Make) -> None:
    row = [make_reading(str(n), at=(30.0 * n, 5.0 * (n % 2))) for n in range(3, 9)]
    assert {mark.rule for mark in sort_readings(row)} == {"key-row"}


def test_legs_that_count_up_are_no_keys(make_reading: Make) -> None:
    row = [make_reading(str(n), at=(200.0 * n, 0)) for n in (1, 2, 3)]
    assert {mark.kind for mark in sort_readings(row)} == {MarkKind.PART_POSITION}


def test_numbers_that_do_not_stand_in_a_row(make_reading: Make) -> None:
    spread = [make_reading(str(n), at=at) for n, at in ((5, (0, 0)), (6, (500, 0)), (7, (60, 40)))]
    assert {mark.rule for mark in sort_readings(spread)} == {"key-number"}


def test_bare_year_by_a_longer_or_announced_number(make_reading: Make) -> None:
    year = make_reading("1872")
    alone = sort_readings([year])[0]
    assert (alone.kind, alone.kind_probability < 0.6) == (MarkKind.SERIAL, True)
    assert "year" in alone.why
    for other in ("41873", "No. 4187"):
        assert sort_readings([year, make_reading(other, at=(500, 500))])[0].rule == "bare-year"
    for other in ("4187", "318"):
        assert sort_readings([year, make_reading(other, at=(500, 500))])[0].kind is MarkKind.SERIAL
    badly_read = make_reading("41873", probability=0.1, at=(500, 500))
    assert sort_readings([year, badly_read])[0].kind is MarkKind.SERIAL


@pytest.mark.parametrize(("text", "supports"), [("73", True), ("873", True), ("1873", True), ("874", False)])
def test_last_figures_on_a_loose_part(text: str, supports: bool, make_reading: Make) -> None:
    mark = sort_readings([make_reading(text), make_reading("41873", at=(500, 500))])[0]
    assert (mark.rule == "serial-suffix") is supports
    assert not supports or ("41873" in mark.why and "proves nothing" in mark.why)


@pytest.mark.parametrize("line", ["41873 318", "22031 14", "3 41873", "21 1884", "73 97", "12345 67", "4187 3321"])
def test_groups_that_are_no_number_in_pieces(line: str, make_reading: Make) -> None:
    """One is a full serial by itself, a day before a year, small, or both together are too long."""
    assert [mark.text for mark in sort_readings([make_reading(line)])] == line.split()


@pytest.mark.parametrize("line", ["965 71", "No. 739 70"])
def test_number_in_groups_is_not_accepted(line: str, make_reading: Make) -> None:
    (mark,) = sort_readings([make_reading(line, probability=0.99)])
    assert "hides a figure" in mark.why
    serial = choose_serial([mark])
    assert serial is not None
    assert not serial.accepted


@pytest.mark.parametrize("turn_deg", [0.0, 50.0, 180.0])
@pytest.mark.parametrize(
    ("beside", "doubted"),
    [
        (("71", (45.0, 0.0), 20, 0.9), True),  # ends of the two are 15 px, 0.75 heights, apart
        (("71", (-45.0, 3.0), 20, 0.9), True),
        (("71", (65.0, 0.0), 20, 0.9), False),  # too far
        (("71", (45.0, 14.0), 20, 0.9), False),  # off the line
        (("71", (60.0, 0.0), 40, 0.9), False),  # of another size
        (("71", (45.0, 0.0), 20, 0.2), False),  # hardly read
        (("1", (39.0, 0.0), 20, 0.6), False),  # a lone figure is often a screw
        (("1", (39.0, 0.0), 20, 0.9), True),
        (("71333", (63.0, 0.0), 20, 0.9), False),  # eight figures in all
    ],
)
def test_number_close_beside_is_doubted(
    beside: tuple[str, tuple[float, float], float, float], doubted: bool, turn_deg: float, make_reading: Make
) -> None:
    text, place, height, probability = beside
    turn = np.deg2rad(turn_deg)
    at = (
        300 + place[0] * np.cos(turn) - place[1] * np.sin(turn),
        300 + place[0] * np.sin(turn) + place[1] * np.cos(turn),
    )
    first = make_reading("965", at=(300, 300), turn_deg=turn_deg or 360, probability=0.99)
    other = make_reading(text, at=at, height=height, turn_deg=turn_deg or 360, probability=probability)
    alone = sort_readings([first])[0]
    mark = sort_readings([first, other])[0]
    assert mark.kind is MarkKind.SERIAL
    assert (mark.kind_probability < alone.kind_probability) is doubted
    assert (f"but {text} close beside it" in mark.why) is doubted


def test_part_of_a_number_read_whole_in_the_same_place(make_reading: Make) -> None:
    part, whole = make_reading("464576", probability=0.98), make_reading("4645766", probability=0.91, at=(0, 8))
    marks = sort_readings([part, whole])
    assert [mark.rule for mark in marks] == ["cut-short", "serial-figures"]
    assert "4645766" in marks[0].why
    serial = choose_serial(marks)
    assert serial is not None
    assert serial.text == "4645766"
    doubtful = make_reading("4645766", probability=0.4, at=(0, 8))
    assert sort_readings([part, doubtful])[0].kind is MarkKind.SERIAL
    elsewhere = make_reading("4645766", probability=0.91, at=(0, 100))
    assert sort_readings([part, elsewhere])[0].kind is MarkKind.SERIAL


def test_number_that_a_fuller_reading_gives_to_a_patent(make_reading: Make) -> None:
    full = make_reading("PATENT 741299")
    part = make_reading("741299", at=(7 * 12.0, 2.0))
    assert sort_readings([part, full])[0].rule == "cut-short"
    assert sort_readings([part])[0].kind is MarkKind.SERIAL
    announced = make_reading("No. 41873")
    assert sort_readings([make_reading("41873", at=(4 * 12.0, 2.0)), announced])[0].kind is MarkKind.SERIAL


@pytest.mark.parametrize(
    ("others", "kind"),
    [
        ([("PATDAUG", (0, 100)), ("21", (100, 100))], MarkKind.PATENT),  # the year stands 76 px right of the month
        ([("PAT JAN 12", (180, 75))], MarkKind.PATENT),  # year on the next line
        ([("AUG 21", (100, 100))], MarkKind.PATENT),
        ([("AUG 21", (0, 100))], MarkKind.SERIAL),  # more than six heights away
        ([("6", (170, 100))], MarkKind.CALENDAR_YEAR),  # a day, its month not read
        ([("6", (100, 100))], MarkKind.SERIAL),
        ([("47", (164, 100))], MarkKind.SERIAL),  # no day
        ([("PAT. MAY 14 1872", (150, 75))], MarkKind.SERIAL),  # a date that has its year
        ([("PAT. 741,299", (150, 75))], MarkKind.SERIAL),
    ],
)
def test_year_of_a_date_in_pieces(
    others: list[tuple[str, tuple[float, float]]], kind: MarkKind, make_reading: Make
) -> None:
    year = make_reading("1884", at=(200, 100))
    marks = sort_readings([year, *(make_reading(text, at=at) for text, at in others)])
    assert marks[0].kind is kind
    assert (marks[0].rule == "date-in-pieces") is (kind is not MarkKind.SERIAL)
    announced = sort_readings([make_reading("No. 1884", at=(152, 100)), *(make_reading(t, at=at) for t, at in others)])
    assert announced[0].kind is MarkKind.SERIAL


@pytest.mark.parametrize(
    ("text", "probability", "rule"),
    [
        ("0", 0.7, "doubtful-figure"),
        ("6", 0.6, "doubtful-figure"),
        ("1", 0.5, "doubtful-figure"),
        ("1", 0.9, "part-position"),
        ("73", 0.5, "key-number"),
        ("No. 3", 0.5, "serial-announced"),
    ],
)
def test_lone_figure_needs_more_sureness(text: str, probability: float, rule: str, make_reading: Make) -> None:
    (mark,) = sort_readings([make_reading(text, probability=probability)])
    assert mark.rule == rule


# --- what must hold for any text ----------------------------------------------------------------------------------

WORDS = (
    "No. N° # M XR B F1019 PAT. MAY 14 1872 41873 3321 318 4 73 1/3 13½ III | & - STYLE ESTD PARIS ST. MAIN , "
    "OCT cm 41,873 4I8O3 I41873 200"
)
LINES = st.one_of(
    st.text(max_size=25),
    st.text("0123456789OIl|BSZGM No.PATx,-/", max_size=25),
    st.lists(st.sampled_from(WORDS.split()), max_size=6).map(" ".join),
)
PLACED = st.tuples(
    LINES,
    st.floats(0.0, 1.0),
    st.tuples(st.integers(0, 400), st.integers(0, 400)),
    st.sampled_from([15.0, 20.0, 40.0]),
    st.lists(st.tuples(LINES, st.floats(0.0, 0.3)), max_size=3),
)


@settings(max_examples=200, deadline=None)
@given(photo=st.lists(PLACED, max_size=5))
def test_marks_of_any_text_are_well_formed(photo: list[tuple[object, ...]], make_reading: Make) -> None:
    readings = [make_reading(text, probability=p, at=at, height=h, others=others) for text, p, at, h, others in photo]
    marks = sort_readings(readings)
    assert [mark.id for mark in marks] == list(range(len(marks)))
    for mark in marks:
        assert 0 <= mark.probability <= 1
        assert 0 < mark.kind_probability <= 1
        assert mark.probability + sum(a.probability for a in mark.alternatives) <= 1 + 1e-9
        assert len({mark.text, *(a.text for a in mark.alternatives)}) == 1 + len(mark.alternatives)
        shown = [a.probability for a in mark.alternatives]
        assert shown == sorted(shown, reverse=True)
        assert mark.quad.shape == (4, 2)
        assert mark.why
        assert "\n" not in mark.rule
        if mark.kind is MarkKind.SERIAL:
            numbers = [mark.text, *(a.text for a in mark.alternatives)]
            assert all(number.isascii() and number.isdigit() for number in numbers)
            assert "".join(sign.text for sign in mark.characters) == mark.text
            assert all(0 <= sign.probability <= 1 + 1e-9 for sign in mark.characters)


@settings(max_examples=150, deadline=None)
@given(photo=st.lists(PLACED, min_size=2, max_size=6), data=st.data())
def test_order_of_readings_does_not_matter(
    photo: list[tuple[object, ...]], data: st.DataObject, make_reading: Make
) -> None:
    readings = [make_reading(text, probability=p, at=at, height=h, others=others) for text, p, at, h, others in photo]
    order = data.draw(st.permutations(range(len(readings))))
    straight = _by_reading(readings)
    shuffled = _by_reading([readings[number] for number in order])
    assert [straight[number] for number in order] == shuffled


def _by_reading(readings: Sequence[Reading]) -> list[list[tuple[object, ...]]]:
    """Return what is said of each reading's marks, without ids."""
    marks = iter(sort_readings(readings))
    counts = [len(draft_line(0, reading)) for reading in readings]
    taken = [[next(marks) for _ in range(count)] for count in counts]
    return [[(m.text, m.kind, m.rule, m.why, m.probability, m.kind_probability) for m in own] for own in taken]


@settings(max_examples=300, deadline=None)
@given(
    number=st.from_regex(r"[0-9]{1,9}", fullmatch=True),
    announcing=st.sampled_from(["No. ", "No ", "N° ", "Nr. ", "# ", "Serial ", "No.", "N0. "]),
    around=st.lists(PLACED, max_size=3),
)
def test_no_before_a_number_never_lowers_the_serial(
    number: str, announcing: str, around: list[tuple[object, ...]], make_reading: Make
) -> None:
    others = [make_reading(text, probability=p, at=at, height=h) for text, p, at, h, _ in around]
    place = 200 + len(announcing) * WIDTH * 20.0  # its figures stand where the announced one's do
    bare = sort_readings([make_reading(number, at=(place, 200)), *others])[:1]
    announced = sort_readings([make_reading(announcing + number, at=(200, 200)), *others])[:1]
    assert serial_sureness(announced, number) >= serial_sureness(bare, number)


@settings(max_examples=200, deadline=None)
@given(letter=st.sampled_from("ACEFHJKLMNPRTUVWXY"), number=st.from_regex(r"[1-9][0-9]{3,6}", fullmatch=True))
def test_letters_never_enter_a_serial(letter: str, number: str, make_reading: Make) -> None:
    for line in (f"{letter}{number}", f"{letter} {number}", f"{number} {letter}", f"No. {letter}{number}"):
        marks = sort_readings([make_reading(line)])
        assert sorted(said(marks)) == sorted([f"model {letter}", f"serial {number}"])
        assert all(a.text.isdigit() for mark in marks if mark.kind is MarkKind.SERIAL for a in mark.alternatives)


def test_every_rule_is_used_by_an_example(make_reading: Make) -> None:
    """A rule that no example needs is a rule that nobody checks; rules that need two strings are checked above."""
    needs_more = {"announced_nearby", "row_across_lines", "serial_suffix", "bare_year"}
    needs_more |= {"cut_short", "doubtful_figure"}
    used = set()
    for line in EXAMPLES:
        scene = draft_line(0, make_reading(line))
        used |= {next((rule.__name__ for rule in RULES if rule(draft, scene)), "none") for draft in scene}
    assert used == {rule.__name__ for rule in RULES} - needs_more
