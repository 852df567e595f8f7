"""One rule of comparison for all, and the string of a peer that serves it best."""

from __future__ import annotations

import pytest

from tools.benchmark.pictures import Item
from tools.benchmark.scoring import Way, best_way, judge, plain, take, ways_of

LEFT, RIGHT = (0.0, 5.0, 40.0, 20.0), (50.0, 0.0, 30.0, 30.0)


def item(name: str, *texts: str, figures: bool = True) -> Item:
    return Item(name, f"{name}.png", texts, "kind", figures, False, False)


@pytest.mark.parametrize(
    ("text", "figures", "expected"),
    [
        ("No. 41 873-a", False, "NO41873A"),
        ("No. 41 873-a", True, "41873"),
        ("１２３", True, "123"),  # full-width forms, as East Asian models give them
        ("编号 7", False, "7"),
        ("", True, ""),
    ],
)
def test_plain_keeps_letters_and_figures(text, figures, expected):
    assert plain(text, figures) == expected


def test_lookalikes_become_figures_only_where_asked():
    assert plain("23o", True) == "23"
    assert plain("23o", True, lookalikes=True) == "230"
    assert plain("23o", False, lookalikes=True) == "23O"


@pytest.mark.parametrize(
    ("way", "expected"),
    [
        (Way("joined"), ("187341", 0.4)),
        (Way("best score"), ("41", 0.9)),
        (Way("most figures"), ("1873", 0.4)),
        (Way("tallest"), ("41", 0.9)),
        (Way("joined", least_score=0.5), ("41", 0.9)),
        (Way("first"), ("41", 0.9)),
    ],
)
def test_take_one_string_of_several(way, expected):
    assert take([("41", 0.9, RIGHT), ("1873", 0.4, LEFT), ("MADE", 0.95, (0, 90, 99, 99))], way, True) == expected


def test_a_number_among_words_of_one_box_can_be_taken_alone():
    boxes = [("died Jan. 8, 1798", 0.9, LEFT), ("ae. 41", 0.8, RIGHT)]
    assert take(boxes, Way("most figures"), True) == ("81798", 0.9)
    assert take(boxes, Way("most figures", words=True), True) == ("1798", 0.9)
    (judged,) = judge([item("a", "1798")], {"a": {"boxes": [[*box[:2], list(box[2])] for box in boxes]}}, Way("joined"))
    assert judged.among
    assert any(way.words for way in ways_of(own=False, figures=True, job="find", limit=0.0))


def test_words_are_no_candidates_for_the_one_string():
    assert take([("MADE", 0.95, LEFT), ("A7", 0.5, RIGHT)], Way("best score"), False) == ("A7", 0.5)
    assert take([("MADE", 0.95, LEFT)], Way("tallest"), False) == ("", 0.0)
    assert take([], Way("first"), True) == ("", 0.0)


def test_a_peer_gets_the_way_that_is_right_most_often():
    items = [item("a", "230"), item("b", "77"), item("c", "5")]
    replies = {
        "a": {"boxes": [["23o", 0.9, list(LEFT)]]},
        "b": {"boxes": [["77", 0.9, list(LEFT)], ["8", 0.1, list(RIGHT)]]},
        "c": {"boxes": [["5", 0.8, list(LEFT)]]},
    }
    way, judged = best_way(items, replies, ways_of(own=False, figures=True, job="find", limit=0.5))
    assert [one.right for one in judged] == [True, True, True]
    assert way.spelling == "look-alikes as figures"


def test_ours_has_one_way_and_no_hindsight():
    def ways(job: str, serials: bool) -> list[Way]:
        return ways_of(own=True, figures=True, job=job, limit=0.0, serials=serials)

    assert ways("line", False) == ways("find", True) == [Way("first")]
    assert ways("find", False) == [Way("first or surest")]


def test_ours_answers_with_its_serial_or_the_surest_figures():
    nothing, word, mark = ("", 0.0, LEFT), ("MADE", 0.9, LEFT), ("41", 0.6, RIGHT)
    assert take([nothing, word, mark], Way("first"), False) == ("", 0.0)
    assert take([nothing, word, mark], Way("first or surest"), False) == ("41", 0.6)
    assert take([("873", 0.3, LEFT), mark], Way("first or surest"), False) == ("873", 0.3)
    assert take([nothing], Way("first or surest"), False) == ("", 0.0)


def test_nothing_to_read_is_right_without_an_answer():
    judged = judge([item("a"), item("b")], {"a": {"boxes": []}, "b": {"boxes": [["7", 0.3, list(LEFT)]]}}, Way("first"))
    assert [one.right for one in judged] == [True, False]


def test_among_counts_any_string_and_any_truth():
    replies = {"a": {"boxes": [["9", 0.9, list(LEFT)], ["1812", 0.2, list(RIGHT)]]}}
    (judged,) = judge([item("a", "1798", "1812")], replies, Way("first"))
    assert (judged.right, judged.among) == (False, True)


def test_items_without_an_answer_are_left_out():
    assert judge([item("a", "1")], {}, Way("first")) == []
