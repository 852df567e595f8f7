"""Whole photos against their goals, with made-up answers."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from tools.benchmark import empties, photos
from tools.benchmark.contestants import FIND, INSIDE, OWN
from tools.benchmark.figures import share_interval
from tools.benchmark.photo_risk import false_table, is_serial_like, risk_table, serial_way
from tools.benchmark.photo_sets import OWN_FOUND, Gathered, PhotoSet
from tools.benchmark.photo_tables import (
    among_table,
    complete,
    exact_table,
    inside_table,
    large_lines,
    region_table,
    section,
    serial_results,
    speed_table,
)
from tools.benchmark.pictures import Item
from tools.benchmark.report import verdict
from tools.benchmark.speed import Speed
from tools.benchmark.timing import Timing
from tools.benchmark.workers.inside import directions

PEER = "RapidOCR 3.10"
QUAD = [[0.0, 0.0], [60.0, 0.0], [60.0, 20.0], [0.0, 20.0]]
FAR = [[300.0, 0.0], [360.0, 0.0], [360.0, 20.0], [300.0, 20.0]]


def item(name: str, *texts: str, rendered: bool = True) -> Item:
    return Item(name, f"{name}.jpg", texts, "chalk", False, True, rendered)


def reply(text: str, score: float, *, accepted: bool | None = None, lines: tuple[str, ...] = ()) -> dict[str, Any]:
    """An answer whose one box is also a region; with `accepted` it is one of ours."""
    found: dict[str, Any] = {"boxes": [[text, score, [0, 0, 60, 20]]] if text or accepted is not None else []}
    found["regions"] = [[line, score, QUAD] for line in (lines or (text,)) if line]
    if accepted is not None:
        found |= {"accepted": accepted, "found": [QUAD, FAR]}
    return found | {"seconds": 0.1}


@pytest.fixture
def gathered(tmp_path: Path) -> Gathered:
    rows = ["file,text,quads"]
    for name, text in (("a", "4187"), ("b", "992"), ("c", "")):
        marks = [{"text": text or "WARRANTED", "kind": "serial" if text else "word", "quad": QUAD}]
        rows.append(f'{name}.jpg,{text},"{json.dumps(marks).replace(chr(34), chr(34) * 2)}"')
    (tmp_path / "labels.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    easy = PhotoSet("rendered photos, easy", "rendered", (item("a", "4187"), item("b", "992"), item("c")), tmp_path)
    plates = PhotoSet("plates, photos", "real", (item("a", "RK143AT", rendered=False),))
    bare = PhotoSet("textures, photos", "real empty", (item("a", rendered=False), item("b", rendered=False)))
    ours = {
        easy.name: {
            "a": reply("4187", 0.97, accepted=True),
            "b": reply("99", 0.5, accepted=False),
            "c": reply("", 0.0, accepted=False),
        },
        plates.name: {"a": reply("143", 0.95, accepted=True, lines=("RK-143AT",))},
        bare.name: {"a": reply("", 0.0, accepted=False), "b": reply("777", 0.99, accepted=True)},
    }
    peer = {
        easy.name: {"a": reply("4187", 0.99), "b": reply("992", 0.98), "c": reply("WARRANTED", 0.9)},
        plates.name: {"a": reply("143AT", 0.9)},
        bare.name: {"a": reply("100", 0.6), "b": reply("12345678", 0.9)},
    }
    replies = {(OWN, name): own for name, own in ours.items()} | {(PEER, name): own for name, own in peer.items()}
    inside = {
        (reader, name): {key: {"texts": [list(texts)] * count} for key, texts in read.items()}
        for name, read in (
            (easy.name, {"a": ["4187"], "b": ["902"], "c": ["WARRANTED"]}),
            (plates.name, {"a": ["ERK-143AT"]}),
        )
        for reader, count in ((OWN, 1), (PEER, 1), (OWN_FOUND, 2))
    }
    inside[OWN, easy.name]["c"] = {"texts": []}  # ours gave no region there
    return Gathered((easy, plates, bare), replies, inside)


def rows_of(lines: list[str]) -> list[list[str]]:
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines if line.startswith("| ")]


def test_exact_match_counts_photos_with_a_serial_beside_its_goal(gathered):
    head, easy, plates = rows_of(exact_table(gathered, serial_results(gathered)))
    assert head[:7] == ["set", "n", "ours (95 %)", "goal", "ours, a peer's choice", "goal", PEER]
    assert easy[1] == "2"  # the third photo holds none
    assert easy[2].startswith("**.500**")
    assert easy[3] == ".950: missed"
    assert easy[6] == "1.000"
    # our answer is the serial alone; of our lines, as a peer's are taken, one is right
    assert plates[2].startswith("**.000**")
    assert plates[3:7] == ["ahead: missed", "1.000", "ahead: met", ".000"]
    text = " ".join(exact_table(gathered, serial_results(gathered)))
    assert "ours +0% (goal 50%: missed); with a peer's choice +100% (goal 50%: met)" in text


def test_our_lines_count_among_our_strings(gathered):
    results = serial_results(gathered)
    assert results[OWN, FIND, "plates, photos"].among == 1.0
    assert results[PEER, FIND, "plates, photos"].among == 0.0
    assert results[OWN, FIND, "rendered photos, easy"].among == 0.5
    _, easy, plates = rows_of(among_table(gathered, results))
    assert easy == ["rendered photos, easy", "2", ".500", "", "1.000"]
    assert plates == ["plates, photos", "1", "1.000", "ahead: met", ".000"]


def test_regions_of_all_readers_against_the_same_marks(gathered):
    _, ours, before, peer = rows_of(region_table(gathered))
    assert ours[:4] == ["rendered photos, easy", OWN, "3", "3"]
    assert ours[5:7] == [".667", "1.000"]  # two of three marks, both regions right
    assert before[1] == OWN_FOUND
    assert before[5:7] == ["1.000", ".500"]
    assert peer[5:7] == ["1.000", "1.000"]
    assert ours[-2:] == [".500", ".333"]  # 992 is read as 902


def test_truth_inside_without_quads(gathered):
    _, plates = rows_of(inside_table(gathered))
    assert plates == ["plates, photos", "1", "1.000", "1.000", "1.000"]


def test_false_serials_are_counted_in_100_photos(gathered):
    rows = {(row[0], row[1]): row for row in rows_of(false_table(gathered))[1:]}
    ours, peer = rows["all", OWN], rows["all", PEER]
    assert ours[2:4] == ["3", "33.3"]
    assert ours[4].startswith("33.3")
    assert ours[5] == "1: missed"
    assert peer[2:4] == ["3", "33.3"]  # a word is no serial, nor are eight figures
    assert peer[4].startswith("0.0")  # 0.6 is under the threshold
    assert peer[5] == ""


def test_a_year_that_stands_there_is_told_from_grain(gathered):
    easy = gathered.sets[0]
    labels = easy.folder / "labels.csv"
    labels.write_text(labels.read_text(encoding="utf-8").replace("WARRANTED", "1872"), encoding="utf-8")
    replies = gathered.replies | {
        (OWN, easy.name): gathered.of(OWN, easy) | {"c": reply("1872", 0.5, accepted=False)},
        (PEER, easy.name): gathered.of(PEER, easy) | {"c": reply("1873", 0.5)},
    }
    rows = rows_of(false_table(Gathered(gathered.sets, replies, gathered.inside)))
    found = {row[1]: row for row in rows if row[0] == "held-out rendered photos, those without a serial"}
    assert found[OWN][3] == found[PEER][3] == "100.0"
    assert (found[OWN][6], found[PEER][6]) == ("1", "0")


def test_a_peer_keeps_the_way_that_reads_most_serials(gathered):
    assert str(serial_way(gathered, OWN)) == "first"
    assert not serial_way(gathered, PEER).words


@pytest.mark.parametrize(("text", "like"), [("41873", True), ("12", False), ("12345678", False), ("A12", False)])
def test_what_looks_like_a_serial(text, like):
    assert is_serial_like(text) == like


def test_risk_takes_what_the_reader_itself_accepts(gathered):
    rows = {row[0]: row for row in rows_of(risk_table(gathered))}
    assert rows["rendered photos, easy"][3] == "1 of 1"
    assert rows["plates, photos"][3] == "0 of 1"
    assert rows["plates, photos"][-1] == "1"  # 143 is a piece of RK143AT
    assert rows["textures, photos"][3] == "0 of 1"
    whole = rows["**all that is held out**"]
    assert whole[1:4] == ["6", "3", "1 of 3"]
    assert whole[5] == ".990: missed"


def test_exact_interval_of_a_share():
    # 0 of n: 1 - (alpha / 2) ** (1 / n) at most (Clopper and Pearson 1934)
    assert share_interval(0, 20) == pytest.approx((0.0, 1 - 0.025 ** (1 / 20)))
    assert share_interval(61, 61)[0] == pytest.approx(0.025 ** (1 / 61))
    assert np.isnan(share_interval(0, 0)).all()


def test_verdicts():
    assert verdict(0.95, 0.95, ".950") == ".950: met"
    assert verdict(1.2, 1.0, "1", most=True) == "1: missed"
    assert verdict(float("nan"), 0.95, ".950") == ".950"
    assert verdict(0.5, float("nan"), "") == "–"


def test_speed_goal_stands_at_the_fastest_peer_that_finds_as_much(gathered):
    def timing(reader: str, ratio: float) -> Timing:
        return Timing(reader, FIND, 9, 0.2 * ratio, 0.5, ratio, 10.0, 99.0)

    results = serial_results(gathered)
    results["Tesseract, plain", FIND, "plates, photos"] = results[PEER, FIND, "plates, photos"]
    times = [timing(OWN, 1.0), timing(PEER, 2.5), timing("Tesseract, plain", 0.1)]
    rows = {row[0]: row for row in rows_of(speed_table(results, times))[1:]}
    assert rows[PEER][5] == "2: met"
    assert rows["Tesseract, plain"][5] == ""  # ten times as fast, but it finds nothing


def test_a_large_photo_beside_its_goals():
    text = " ".join(large_lines(Speed(4000, 3000, 0.1, 0.7, 1.5, {}, 300.0, 20.0)))
    assert "goal 0.65 s, 3 decodings and 0.35 s: missed" in text
    assert "goal 500 MB: met" in text


def test_the_whole_section(gathered):
    times = [Timing(OWN, FIND, 9, 0.2, 0.5, 1.0, 10.0, 99.0)]
    lines = section(gathered, times, Speed(4000, 3000, 0.1, 0.6, 1.5, {}, 300.0, 20.0))
    assert sum(line.startswith("### ") for line in lines) == 8
    assert lines[0] == "## Whole photos and their goals"


def test_gathering_asks_once_and_reads_inside_all_regions(tmp_path, monkeypatch):
    asked: list[tuple[str, str]] = []

    def fake(contestant, job, name, items, work, *, ask=True, regions=False, more=None):
        asked.append((contestant.name, job))
        if job == INSIDE:
            return {one.id: {"texts": [["7"]] * len(more[one.id]["quads"])} for one in items}
        if not ask:
            return {}
        return {one.id: reply("41", 0.9, accepted=False if contestant.name == OWN else None) for one in items}

    monkeypatch.setattr(photos, "answers", fake)
    sets = [PhotoSet("easy", "rendered", (item("a", "41"),)), PhotoSet("none", "empty", (item("a"),))]
    found = photos.gather(sets, tmp_path, {OWN, PEER}, 2)
    assert found.readers == [OWN, PEER]
    assert found.inside[OWN, "easy"]["a"]["texts"] == [["7"]]
    assert found.inside[OWN_FOUND, "easy"]["a"]["texts"] == [["7"], ["7"]]
    assert (OWN, "none") not in found.inside
    assert ("EasyOCR", FIND) in asked  # kept answers are looked for, nobody is asked


def test_sets_are_told_apart(tmp_path):
    for name in ("easy", "none"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "labels.csv").write_text("file,text,kind\na.jpg,,chalk\nb.jpg,,chalk\n", encoding="utf-8")
    options = argparse.Namespace(
        photos=[tmp_path / "easy"], seen=[], empty=[tmp_path / "none"], real=None, work=tmp_path, most=1
    )
    sets = photos.load_sets(options)
    assert [(one.name, one.group, one.empty, len(one.items)) for one in sets] == [
        ("rendered photos, easy", "rendered", False, 1),
        ("rendered photos, none", "empty", True, 1),
    ]
    assert sets[0].goal == 0.95


def test_scenes_without_a_serial_are_picked_and_a_run_goes_on(tmp_path, monkeypatch):
    pictures: list[int] = []

    def fake(spec, number):
        pictures.append(number)
        return np.full((30, 40, 3), 128, np.uint8), empties_truth()

    def empties_truth():
        from tools.renderer.spec import Truth

        return Truth(text="", model="", part_mark="", kind="chalk", maker="", notes="easy", marks=())

    monkeypatch.setattr(empties, "render", fake)
    chosen = [next_scene for _, next_scene in zip(range(4), empties.scenes(3), strict=False)]
    assert all(mark.kind != "serial" for _, _, spec in chosen for mark in spec.marks)
    empties.write_empties(tmp_path, 2, 3)
    empties.write_empties(tmp_path, 3, 3)
    assert pictures == [number for _, number, _ in chosen[:3]]
    labels = (tmp_path / "labels.csv").read_text(encoding="utf-8").splitlines()
    assert len(labels) == 4
    assert cv2.imread(str(tmp_path / labels[1].split(",")[0])) is not None


def test_directions_in_which_a_region_may_be_read():
    starts = {tuple(quad[0].tolist()) for quad in directions(QUAD)}
    assert starts == {(0.0, 0.0), (60.0, 20.0)}
    tall = [[0.0, 0.0], [20.0, 0.0], [20.0, 60.0], [0.0, 60.0]]
    assert {tuple(quad[0].tolist()) for quad in directions(tall)} == {(20.0, 0.0), (0.0, 60.0)}
    assert len(directions([[0.0, 0.0], [20.0, 0.0], [20.0, 20.0], [0.0, 20.0]])) == 4
    assert directions([[0.0, 0.0], [20.0, 0.0], [20.0, 0.2], [0.0, 0.2]]) == []


def test_a_peer_asked_less_is_not_yet_beaten(gathered):
    results = serial_results(gathered)
    assert complete(results, "rendered photos, easy")
    results[PEER, FIND, "rendered photos, easy"] = results[PEER, FIND, "rendered photos, easy"].only({"a"})
    assert not complete(results, "rendered photos, easy")
