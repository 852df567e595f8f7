"""Several raw lines of one region become one reading: votes, direction, rivals, probabilities."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reader.errors import TableError
from reader.geometry import box_quad, quad_angle_deg
from reader.recognize import calibrate
from reader.recognize.calibrate import Calibration, Features, load_calibration
from reader.recognize.combine import combine_lines
from reader.recognize.recognizer import LinePicture, RawCharacter, RawLine
from reader.results import Region, View

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
    values = [calibration.probability(Features(s, 0.8, 2, 5, 5, 0.5)) for s in np.linspace(0.05, 0.99, 30)]
    assert values == sorted(values)


@pytest.mark.parametrize("text", ["", "{", "[]", '{"weights": {"score": "x"}}', '{"weights": {"beauty": 1}}'])
def test_a_damaged_calibration_is_named(monkeypatch, tmp_path, text):
    file = tmp_path / "calibration.json"
    file.write_text(text)
    monkeypatch.setattr(calibrate, "CALIBRATION_FILE", file)
    with pytest.raises(TableError, match="again"):
        load_calibration.__wrapped__()
