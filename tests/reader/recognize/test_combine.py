"""Several raw lines of one region become one reading: votes, direction, rivals, probabilities."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reader.errors import TableError
from reader.geometry import box_quad, quad_angle_deg
from reader.recognize import calibrate
from reader.recognize.calibrate import Calibration, Features, load_calibration
from reader.recognize.combine import combine_lines, drop_repeated
from reader.recognize.half_turn import half_turned
from reader.recognize.recognizer import LinePicture, RawCharacter, RawLine
from reader.results import Candidate, Reading, Region, View

REGION = Region(box_quad(100, 50, 300, 90), 1.0)
CALIBRATION = Calibration({"intercept": -4.0, "score": 6.0, "share": 2.0})


def raw(text: str, score: float = 0.9, view: str = "a", half_turn: bool = False, rivals=()) -> RawLine:
    to_photo = np.array([[1, 0, 100], [0, 1, 50], [0, 0, 1]], float)
    picture = LinePicture(REGION, View(view, "ink", np.full((40, 200), 255, np.uint8), to_photo), 40, half_turn)
    width = 1 / max(1, len(text))
    characters = tuple(
        RawCharacter(c, score, rivals if c == "8" else (), (k * width, (k + 1) * width)) for k, c in enumerate(text)
    )
    return RawLine(picture, characters)


def test_the_string_most_views_stand_behind_wins():
    reading = combine_lines([raw("41873", 0.8, "a"), raw("41873", 0.8, "b"), raw("41378", 0.9, "c")], CALIBRATION)
    assert reading.text == "41873"
    assert reading.candidates[1].text == "41378"
    assert reading.recognizer == "a+b+c"


def test_upside_down_wins_by_votes_and_turns_the_region():
    reading = combine_lines([raw("3", 0.3), raw("41873", 0.9, half_turn=True)], CALIBRATION)
    assert reading.text == "41873"
    assert abs(quad_angle_deg(reading.region.quad)) == pytest.approx(180)


def opinion(*strings: tuple[str, float], half_turn: bool = False, view: str = "a") -> RawLine:
    """Return a line whose recognizer offers whole strings with probabilities, the first one spelled out."""
    line = raw(strings[0][0], 0.9, view, half_turn)
    return RawLine(line.picture, line.characters, strings, 1 - sum(p for _, p in strings), "network")


def test_whole_strings_of_several_views_are_pooled():
    # 41873: 0.4 + 0.45, 41878: 0.5 + 0.1; a string that is nowhere first cannot win
    lines = [opinion(("41878", 0.5), ("41873", 0.4)), opinion(("41873", 0.45), ("41878", 0.1), view="b")]
    reading = combine_lines(lines, CALIBRATION)
    assert [candidate.text for candidate in reading.candidates[:2]] == ["41873", "41878"]
    nowhere_first = [opinion(("4187", 0.4), ("41873", 0.39)), opinion(("1873", 0.4), ("41873", 0.39), view="b")]
    assert combine_lines(nowhere_first, CALIBRATION).text in ("4187", "1873")


def test_a_number_cut_short_gives_way_to_the_whole():
    close, wide = opinion(("384", 0.99)), opinion(("23849", 0.95), view="wide")
    assert combine_lines([close, wide], CALIBRATION).text == "23849"
    # a doubtful addition does not: an edge beside the figures often looks like a 1
    assert combine_lines([close, opinion(("1384", 0.4), ("384", 0.3), view="wide")], CALIBRATION).text == "384"
    # what announces the number joins it
    assert combine_lines([close, opinion(("NO. 384", 0.9), view="wide")], CALIBRATION).text == "NO. 384"


def test_the_other_way_up_is_a_candidate_where_both_make_sense():
    lines = [opinion(("61809", 0.6)), opinion(("60819", 0.5), half_turn=True)]
    reading = combine_lines(lines, CALIBRATION)
    assert (reading.text, reading.candidates[1].text) == ("61809", "60819")
    assert reading.region.half_turn_open
    decided = combine_lines([opinion(("61809", 0.9)), opinion(("1", 0.02), half_turn=True)], CALIBRATION)
    assert not decided.region.half_turn_open
    assert combine_lines([opinion(("61809", 0.9))], CALIBRATION).region.half_turn_open


def test_what_is_read_twice_in_one_place_is_one_string():
    def reading(text, probability, left=100.0, top=50.0):
        quad = box_quad(left, top, left + 200, top + 40)
        return Reading(Region(quad, 1.0), (), (Candidate(text, probability),), "test")

    once, again, elsewhere = reading("41873", 0.8), reading("No. 41873", 0.9), reading("41873", 0.7, top=200)
    plain, other = reading("NO 41873", 0.7, left=110, top=55), reading("41878", 0.3)
    assert drop_repeated([once, plain, again, elsewhere, other]) == [once, again, elsewhere, other]


def test_half_turned_figures():
    assert half_turned("6018") == "8109"
    assert half_turned("1961") == "1961"
    assert half_turned("41873") is None
    assert half_turned("") is None


def test_rivals_come_from_the_recognizer_and_from_other_views():
    reading = combine_lines([raw("41873", 0.8, rivals=(("3", 0.4),)), raw("41073", 0.5, "b")], CALIBRATION)
    doubted = reading.characters[2]
    assert doubted.text == "8"
    assert {rival.text for rival in doubted.rivals} == {"3", "0"}
    assert {"41373", "41073"} <= {candidate.text for candidate in reading.candidates}


def test_specks_at_the_ends_fall_away_and_inches_stay():
    assert combine_lines([raw("|41873.,")], CALIBRATION).text == "41873"
    assert combine_lines([raw("#41873")], CALIBRATION).text == "#41873"
    assert combine_lines([raw("5'8\"")], CALIBRATION).text == "5'8\""


def test_nothing_read_is_an_empty_reading():
    for lines in ([raw("")], [raw("--"), raw(" ")]):
        reading = combine_lines(lines, CALIBRATION)
        assert (reading.text, reading.probability, reading.characters) == ("", 0.0, ())


def test_spans_lead_back_into_the_region():
    reading = combine_lines([raw("4187")], CALIBRATION)
    assert [c.span[0] for c in reading.characters] == pytest.approx([0, 0.25, 0.5, 0.75], abs=0.01)


texts = st.text("0123456789OIB .", min_size=0, max_size=9)
lines = st.builds(raw, texts, st.floats(0, 1), st.sampled_from("abc"), st.booleans())


@given(st.lists(lines, min_size=1, max_size=8))
def test_probabilities_are_probabilities(many):
    reading = combine_lines(many, CALIBRATION)
    assert sum(candidate.probability for candidate in reading.candidates) <= 1 + 1e-9
    assert all(0 <= candidate.probability <= reading.probability for candidate in reading.candidates)
    for character in reading.characters:
        assert 0 <= character.probability + sum(rival.probability for rival in character.rivals) <= 1 + 1e-9
    if reading.characters:
        product = np.prod([character.probability for character in reading.characters])
        assert product == pytest.approx(reading.probability, rel=1e-6)
        assert "".join(character.text for character in reading.characters) == reading.text


@given(st.lists(lines, min_size=1, max_size=5), st.randoms())
def test_the_order_of_the_lines_changes_nothing_but_ties(many, random):
    shuffled = list(many)
    random.shuffle(shuffled)
    first, second = combine_lines(many, CALIBRATION), combine_lines(shuffled, CALIBRATION)
    assert first.probability == pytest.approx(second.probability) or first.text != second.text


def test_a_better_score_is_never_less_probable_with_the_shipped_calibration():
    calibration = load_calibration()
    values = [
        calibration.probability(Features(s, s, s, 0.1, 2, 0.8, 0.1, 1, 5, 5)) for s in np.linspace(0.05, 0.99, 30)
    ]
    assert values == sorted(values)


@pytest.mark.parametrize("text", ["", "{", "[]", '{"weights": {"score": "x"}}', '{"weights": {"beauty": 1}}'])
def test_a_damaged_calibration_is_named(monkeypatch, tmp_path, text):
    file = tmp_path / "calibration.json"
    file.write_text(text)
    monkeypatch.setattr(calibrate, "CALIBRATION_FILE", file)
    with pytest.raises(TableError, match="again"):
        load_calibration.__wrapped__()
