"""Which marks count as found, by hand-made boxes."""

from __future__ import annotations

import numpy as np
import pytest

from tools.benchmark.pictures import Item
from tools.benchmark.regions import (
    FoundRegion,
    Tally,
    TrueMark,
    add_photo,
    contains_truth,
    draw_in,
    found_in,
    is_readable,
    match,
    overlap,
    true_marks,
    union_overlap,
    upright_polygon,
)


def box(left: float, top: float, width: float, height: float) -> np.ndarray:
    return np.array([[left, top], [left + width, top], [left + width, top + height], [left, top + height]], np.float32)


NO, SERIAL = box(0, 0, 40, 20), box(50, 0, 60, 20)
LINE = box(0, 0, 110, 20)


def test_overlap_by_hand():
    assert overlap(box(0, 0, 10, 10), box(5, 0, 10, 10)) == pytest.approx((50 / 150, 0.5))
    assert overlap(box(0, 0, 10, 10), box(2, 2, 5, 5)) == pytest.approx((0.25, 1.0))
    assert overlap(box(0, 0, 10, 10), box(20, 0, 10, 10)) == (0.0, 0.0)
    assert overlap(box(0, 0, 10, 10), box(0, 0, 0, 10)) == (0.0, 0.0)


def test_the_order_of_corners_does_not_count():
    crossed = box(0, 0, 10, 10)[[0, 2, 1, 3]]
    assert overlap(box(0, 0, 10, 10), crossed)[0] == pytest.approx(1.0)


def test_a_union_counts_shared_area_once():
    assert union_overlap([box(0, 0, 10, 10)], [box(0, 0, 6, 10), box(4, 0, 6, 10)]) == pytest.approx(1, abs=0.02)
    assert union_overlap([NO, SERIAL], [LINE]) == pytest.approx(100 / 110, abs=0.02)


def test_one_to_one_takes_the_best_pair_first_and_each_side_once():
    # the second region fits best; the first one fits too, but the mark is taken
    found = match([SERIAL], [box(50, 0, 80, 20), box(50, 0, 62, 20)])
    assert found.pairs == ((0, 1),)
    assert found.marks == {0}


def test_two_marks_found_as_one_line_are_found_when_grouped():
    found = match([NO, SERIAL], [LINE])
    assert found.pairs == ((1, 0),)  # 60 of 110 alone
    assert (found.marks, found.regions) == ({0, 1}, {0})


def test_one_mark_found_in_pieces_is_found_when_grouped():
    pieces = [box(x, 0, 25, 20) for x in (0, 28, 56, 84)]
    found = match([LINE], pieces)
    assert found.pairs == ()
    assert (found.marks, found.regions) == ({0}, {0, 1, 2, 3})


def test_a_region_that_leaves_room_around_a_mark_is_drawn_in():
    wide = box(40, -10, 80, 40)
    assert overlap(SERIAL, wide)[0] < 0.5
    assert draw_in(wide, 0.25).tolist() == SERIAL.tolist()
    assert draw_in(wide, 0.0).tolist() == wide.tolist()


def test_a_region_as_large_as_the_picture_finds_nothing():
    found = match([NO, SERIAL], [box(0, 0, 1000, 800)])
    assert not (found.pairs or found.marks or found.regions)


def test_a_stray_region_is_wrong_and_harms_no_mark():
    found = match([SERIAL], [SERIAL, box(400, 300, 50, 20)])
    assert (found.marks, found.regions) == ({0}, {0})


def test_a_mark_is_readable_where_every_word_is_read_on_it():
    regions = [FoundRegion(box(0, 0, 50, 20), 0.9, ("PATENTED", "03LN31Vd")), FoundRegion(SERIAL, 0.9, ("1872.",))]
    assert is_readable("Patented 1872", LINE, regions)
    assert not is_readable("Patented 1873", LINE, regions)
    assert not is_readable("1872", box(0, 300, 60, 20), regions)  # read, but elsewhere


def test_truth_in_a_region_of_a_photo_without_quads():
    item = Item("a", "a.png", ("RK-143AT",), "", False, True, False)
    assert contains_truth(item, [["x"], ["E RK 143 AT", "LV"]])
    assert not contains_truth(item, [["RK", "143AT"]])


def test_upright_boxes_are_held_against_upright_boxes():
    turned = np.array([[10, 0], [20, 10], [10, 20], [0, 10]], np.float32)
    assert upright_polygon(turned).tolist() == box(0, 0, 20, 20).tolist()
    counts = {}
    for upright in (False, True):
        tally = Tally()
        add_photo(
            tally, [TrueMark("41", "serial", turned)], [FoundRegion(box(0, 0, 20, 20), 0.4, ("41",))], upright=upright
        )
        counts[upright] = overlap(upright_polygon(turned) if upright else turned, box(0, 0, 20, 20))[0]
        assert (tally.photos, tally.marks, tally.regions, tally.sure, tally.serials) == (1, 1, 1, 0, 1)
        assert (tally.matched, tally.serials_grouped, tally.serials_readable) == (1, 1, 1)
    assert counts == {False: pytest.approx(0.5), True: pytest.approx(1.0)}


def test_truth_and_answers_are_read(tmp_path):
    (tmp_path / "labels.csv").write_text(
        'file,text,quads\nphoto_1.jpg,41,"[{""text"": ""41"", ""kind"": ""serial"", ""quad"": '
        '[[0, 0], [9, 0], [9, 4], [0, 4]]}]"\nphoto_2.jpg,,\n',
        encoding="utf-8",
    )
    marks = true_marks(tmp_path)
    assert [(mark.text, mark.kind, mark.polygon.shape) for mark in marks["photo_1"]] == [("41", "serial", (4, 2))]
    assert marks["photo_2"] == []
    reply = {"regions": [["4l", 0.7, [[0, 0], [9, 0], [9, 4], [0, 4]]]]}
    (region,) = found_in(reply, {"texts": [["41", "14"]]})
    assert (region.score, region.texts) == (0.7, ("41", "14"))
    assert found_in(reply, None)[0].texts == ()
