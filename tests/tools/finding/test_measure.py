"""How found regions are measured: strings are compared without 'No.', and a set gives its shares."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from reader.geometry import box_quad, turn_quad
from reader.results import Region
from tools.finding.measure import labelled, measure_set, plain, turn_photo, way_up


def test_plain_leaves_out_what_only_announces_the_number() -> None:
    assert plain("No. 41873") == plain("NO 41873") == plain("41 873") == "41873"
    assert plain("NOON") == "NOON"
    assert plain("B 12") == "B12"


def test_a_set_is_measured(tmp_path: Path) -> None:
    photo = np.full((480, 640), 190, np.uint8)
    cv2.putText(photo, "41873", (200, 250), cv2.FONT_HERSHEY_DUPLEX, 2.0, 40, 4, cv2.LINE_AA)
    cv2.imwrite(str(tmp_path / "a.png"), cv2.GaussianBlur(photo, (0, 0), 1.0))
    cv2.imwrite(str(tmp_path / "b.png"), np.full((480, 640), 190, np.uint8))
    quad = [[200, 205], [400, 205], [400, 252], [200, 252]]
    marks = json.dumps([{"text": "41873", "kind": "serial", "quad": quad}]).replace('"', '""')
    lines = [f'{name},"{marks}"' for name in ("a.png", "b.png")]
    (tmp_path / "labels.csv").write_text("\n".join(["file,quads", *lines]), encoding="utf-8")
    assert [(path.name, text) for path, text, _ in labelled(tmp_path)] == [("a.png", "41873"), ("b.png", "41873")]
    tally = measure_set(tmp_path, 1, tmp_path, read=True)
    row = tally.row()
    assert row["photos"] == 2 and row["read"] == 0.5 and row["covered by best 10"] == 0.5
    assert row["way up right"] + row["way up open"] == 1
    assert tally.missed == ["b.png"]
    assert (tmp_path / f"{tmp_path.name}-b-uncovered-unread.jpg").exists()


@pytest.mark.parametrize("quarters", [0, 1, 2, 3])
def test_quads_turn_with_their_photo(quarters: int) -> None:
    photo = np.zeros((60, 100), np.uint8)
    photo[10, 20], photo[30, 70] = 100, 200
    gray, quad = turn_photo(photo, box_quad(20, 10, 70, 30), quarters)
    assert gray.shape == ((60, 100) if quarters % 2 == 0 else (100, 60))
    start, end = quad[0].astype(int), quad[2].astype(int)
    assert gray[start[1], start[0]] == 100 and gray[end[1], end[0]] == 200


def test_way_up_is_right_wrong_or_open() -> None:
    quad = box_quad(20, 10, 120, 40)
    far = Region(box_quad(300, 300, 400, 330), 0.9, half_turn_open=True)
    assert way_up([far, Region(quad, 0.5, half_turn_open=False)], quad) is True
    assert way_up([far, Region(turn_quad(quad, 2), 0.5, half_turn_open=False)], quad) is False
    assert way_up([far, Region(quad, 0.5, half_turn_open=True)], quad) is None
