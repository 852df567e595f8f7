"""Pictures, workers and kept answers, with tiny pictures and a reader that needs no package."""

from __future__ import annotations

from pathlib import Path
from typing import ClassVar

import cv2
import numpy as np
import pytest

from tools.benchmark import contestants, report
from tools.benchmark.contestants import FIND, LINE, OWN, Contestant, answers, load_answers, named, stamp
from tools.benchmark.failures import worst, write_sheet
from tools.benchmark.measure import result_of
from tools.benchmark.pictures import (
    RENDERED_CROPS,
    RENDERED_FAINT,
    RENDERED_NOTHING,
    Item,
    Task,
    frame,
    real_items,
    rendered_crops,
    rendered_photos,
    slug,
    window,
)
from tools.benchmark.workers.inside import open_reader as open_inside
from tools.benchmark.workers.own import read_whole
from tools.benchmark.workers.preparation import VARIANTS, dark_on_bright, prepare, sauvola
from tools.benchmark.workers.serve import Request, answer, bounds

PEER = Contestant("peer", "none")
SAMPLE = Path(__file__).resolve().parents[3] / "sample_images" / "customer_upright_plate_stencil.jpg"
SAMPLE_TEXT = "86254"


@pytest.fixture
def data(tmp_path: Path) -> Path:
    folder = tmp_path / "data" / "plates"
    folder.mkdir(parents=True)
    picture = np.full((40, 60, 3), 200, np.uint8)
    picture[10:30, 20:40] = (10, 20, 30)
    for name in "abc":
        cv2.imwrite(str(folder / f"{name}.png"), picture)
    (folder / "labels.csv").write_text(
        "file,text,kind,part,notes\n"
        'a.png,12|34,plate,measure,"crop; box=20,10,20,20"\n'
        "b.png,56,plate,train,\n"
        "c.png,,plate,measure,no label\n",
        encoding="utf-8",
    )
    return folder.parent


def test_only_labeled_measure_rows_are_taken(data, tmp_path):
    (item,) = real_items(data, Task("plates, framed", "plates", boxes=True), tmp_path / "work")
    assert (item.id, item.texts, item.rendered) == ("a", ("12", "34"), False)
    cut = cv2.imread(item.file)
    assert cut.shape == (30, 30, 3)
    assert tuple(cut[15, 15]) == (10, 20, 30)  # in color


def test_whole_photos_are_given_as_they_are(data, tmp_path):
    (item,) = real_items(data, Task("plates", "plates", whole=True), tmp_path)
    assert Path(item.file) == data / "plates" / "a.png"


def test_cuts_stay_inside_the_picture():
    pixels = np.arange(100 * 50, dtype=np.uint32).astype(np.uint8).reshape(50, 100)
    assert frame(pixels, (0, 0, 20, 40)).shape == (50, 30)
    assert window(pixels, (0.1, 0.2, 0.9, 0.6)).shape == (20, 80)


def test_rendered_crops_are_split_by_what_a_person_can_read(tmp_path):
    pixels = np.zeros((4, 48, 96), np.uint8)
    pixels[:, :, 64:] = 255
    np.savez(
        tmp_path / "held.npz",
        pixels=pixels,
        width=np.array([64, 96, 64, 64]),
        text=np.array(["41", "7", "", "A9"]),
        kind=np.array(["cast", "coin", "cast", "coin"]),
        readable=np.array([True, False, False, True]),
    )
    sets = rendered_crops(tmp_path / "held.npz", tmp_path / "work")
    assert {name: sorted(item.texts for item in items) for name, items in sets.items()} == {
        RENDERED_CROPS: [("41",), ("A9",)],
        RENDERED_FAINT: [("7",)],
        RENDERED_NOTHING: [()],
    }
    first = next(item for item in sets[RENDERED_CROPS] if item.texts == ("41",))
    assert cv2.imread(first.file, cv2.IMREAD_GRAYSCALE).shape == (48, 64)  # without the padding
    assert first.rendered and first.kind == "cast" and not first.figures
    again = rendered_crops(tmp_path / "held.npz", tmp_path / "work")
    assert again == sets


def test_rendered_photos_are_a_set(tmp_path):
    folder = tmp_path / "easy"
    folder.mkdir()
    (folder / "labels.csv").write_text("file,text,kind\na.jpg,417,chalk\nb.jpg,,chalk\n", encoding="utf-8")
    (items,) = rendered_photos(folder).values()
    assert [item.texts for item in items] == [("417",), ()]
    assert all(item.whole and item.rendered for item in items)


@pytest.mark.parametrize("variant", VARIANTS)
@pytest.mark.parametrize("job", ["line", "find"])
def test_preparation_gives_dark_strokes_on_a_bright_ground(variant, job):
    chalk = np.full((60, 200), 60, np.uint8)
    cv2.putText(chalk, "417", (20, 45), cv2.FONT_HERSHEY_SIMPLEX, 1.5, 220, 4)
    prepared = prepare(chalk, variant, job)
    assert prepared.dtype == np.uint8
    assert np.median(prepared) > 127  # mostly ground
    assert prepared.min() < 100
    if job == "line":
        assert prepared.shape[0] == 64 + 2 * 12
        assert (prepared[0] == 255).all()
    else:
        assert prepared.shape == chalk.shape


def test_dark_strokes_stay_dark():
    ink = np.full((20, 20), 220, np.uint8)
    ink[5:8] = 30
    assert (dark_on_bright(ink) == ink).all()
    assert (dark_on_bright(255 - ink) == ink).all()


def test_sauvola_against_scikit_image():
    from skimage.filters import threshold_sauvola

    rng = np.random.default_rng(2)
    gray = cv2.GaussianBlur(rng.integers(0, 255, (80, 90), np.uint8), (5, 5), 0)
    expected = np.where(gray > threshold_sauvola(gray, 15, k=0.2, r=128), 255, 0)
    inner = (slice(8, -8), slice(8, -8))  # the two differ in how they mirror the border
    assert (sauvola(gray, 15)[inner] == expected[inner]).mean() > 0.999


def test_a_worker_answers_and_survives_a_reader_that_fails(tmp_path):
    file = tmp_path / "a.png"
    cv2.imwrite(str(file), np.zeros((8, 9, 3), np.uint8))
    request = {"id": "a", "file": str(file), "figures": True, "job": "line"}

    def read(asked: Request):
        assert (asked.picture.shape, asked.figures, asked.job) == ((8, 9, 3), True, "line")
        return [("7", 0.5, (0.0, 0.0, 9.0, 8.0))]

    def fail(asked: Request):
        raise ZeroDivisionError("a peer's own fault")

    good, bad = (answer(request, reader, clock=iter([0.0, 1.0, 3.5]).__next__) for reader in (read, fail))
    assert (good["boxes"][0][0], good["decode"], good["seconds"]) == ("7", 1.0, 2.5)
    assert (bad["boxes"], bad["error"]) == ([], "ZeroDivisionError: a peer's own fault")


def test_bounds_of_a_turned_quad():
    assert bounds([[5, 0], [9, 4], [5, 8], [1, 4]]) == (1.0, 0.0, 8.0, 8.0)


class FakeWorker:
    """Reads the number out of the item's name; ends after two pictures."""

    asked: ClassVar[list[str]] = []

    def __init__(self, contestant: Contestant, work: Path) -> None:
        self.left = 2

    def ask(self, item: Item, job: str) -> dict[str, object]:
        if not self.left:
            raise RuntimeError("its process ended")
        self.left -= 1
        self.asked.append(item.id)
        return {"id": item.id, "boxes": [[item.id, 0.9, [0, 0, 9, 9]]], "seconds": 0.1}

    def close(self) -> None:
        pass


def test_an_interrupted_run_goes_on_where_it_stopped(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(contestants, "Worker", FakeWorker)
    monkeypatch.setattr(FakeWorker, "asked", [])
    items = [Item(str(k), "", (str(k),), "", True, False, True) for k in range(4)]
    with pytest.raises(RuntimeError, match="ended"):
        answers(PEER, LINE, "numbers", items, tmp_path)
    kept = tmp_path / "answers" / stamp(PEER, LINE) / "numbers.jsonl"
    with kept.open("a", encoding="utf-8") as file:
        file.write('{"id": "2", "boxes": [[')  # a line cut short
    assert sorted(load_answers(kept)) == ["0", "1"]
    assert sorted(answers(PEER, LINE, "numbers", items, tmp_path, ask=False)) == ["0", "1"]
    assert capsys.readouterr().out == ""  # progress goes to standard error


def test_answers_without_regions_do_not_count_where_regions_are_asked_for(tmp_path, monkeypatch):
    class Finder(FakeWorker):
        def ask(self, item: Item, job: str) -> dict[str, object]:
            return {**super().ask(item, job), "regions": []}

    items = [Item("1", "", ("1",), "", True, True, True)]
    monkeypatch.setattr(FakeWorker, "asked", [])
    for worker, regions in ((FakeWorker, False), (Finder, True), (Finder, True), (FakeWorker, False)):
        monkeypatch.setattr(contestants, "Worker", worker)
        answers(PEER, FIND, "photos", items, tmp_path, regions=regions)
    assert FakeWorker.asked == ["1", "1"]


def test_a_failure_of_our_own_reader_is_no_wrong_answer(tmp_path, monkeypatch):
    class Failing(FakeWorker):
        def ask(self, item: Item, job: str) -> dict[str, object]:
            return {"id": item.id, "boxes": [], "seconds": 0.1, "error": "KeyError: 'x'"}

    monkeypatch.setattr(contestants, "Worker", Failing)
    item = Item("1", "one.jpg", ("1",), "", True, True, True)
    with pytest.raises(RuntimeError, match=r"ours failed at one\.jpg: KeyError"):
        answers(named(OWN), FIND, "photos", [item], tmp_path)
    assert answers(PEER, FIND, "photos", [item], tmp_path)["1"]["boxes"] == []


def test_our_worker_tells_the_lines_that_the_marks_were_made_of():
    found = read_whole(SAMPLE)
    assert found.boxes[0][0] == SAMPLE_TEXT
    assert found.more["accepted"] in (True, False)
    assert len(found.more["found"]) >= len(found.regions) > 0
    assert any(SAMPLE_TEXT in text.replace(" ", "") for text, _, _ in found.regions)
    assert all(len(corners) == 4 for _, _, corners in found.regions)


def test_our_recognizer_reads_inside_given_regions():
    pixels = cv2.imread(str(SAMPLE))
    quads = [corners for text, _, corners in read_whole(SAMPLE).regions if SAMPLE_TEXT in text.replace(" ", "")]
    reply = open_inside()(Request(pixels, SAMPLE, False, "inside", [quads[0], [[0.0, 0.0]] * 4]))
    texts = reply.more["texts"]
    assert any(SAMPLE_TEXT in text.replace(" ", "") for text in texts[0])
    assert texts[1] == []


def test_answers_of_ours_are_kept_by_the_hash_of_its_files(tmp_path, monkeypatch):
    (tmp_path / "reader" / "recognize").mkdir(parents=True)
    (tmp_path / "reader" / "answer.py").write_text("1")
    (tmp_path / "reader" / "recognize" / "network.py").write_text("1")
    monkeypatch.setattr(contestants, "ROOT", tmp_path)
    (tmp_path / "reader" / "recognize" / "combine.py").write_text("1")
    before = {job: stamp(named(OWN), job) for job in ("line", "find")}
    (tmp_path / "reader" / "recognize" / "combine.py").write_text("2")
    after = {job: stamp(named(OWN), job) for job in ("line", "find")}
    assert before["line"] == after["line"]
    assert before["find"] != after["find"]
    (tmp_path / "reader" / "recognize" / "network.py").write_text("2")
    assert stamp(named(OWN), "line") != before["line"]


def test_a_real_worker_process_is_driven_by_lines(tmp_path):
    file = tmp_path / "blank.png"
    cv2.imwrite(str(file), np.full((48, 96, 3), 128, np.uint8))
    item = Item("blank", str(file), (), "", True, False, True)
    reply = answers(named(OWN), LINE, "blank", [item], tmp_path)["blank"]
    assert "error" not in reply
    assert reply["boxes"] == []  # nothing can be read in a blank picture
    assert reply["seconds"] > 0


def test_report_is_put_between_its_marks_and_keeps_the_rest(tmp_path):
    file = tmp_path / "RESULTS.md"
    file.write_text("# Measured results\n\n## Baseline\n\nold\n", encoding="utf-8")
    report.write_section(file, ["## Readers side by side", "one"])
    report.write_section(file, ["## Readers side by side", "two"])
    text = file.read_text(encoding="utf-8")
    assert text.startswith("# Measured results\n")
    assert text.count("## Readers side by side") == 1
    assert "two" in text and "one" not in text
    assert "## Baseline\n\nold\n" in text


def test_tables_show_every_reader_and_compare_on_the_same_pictures():
    items = [Item(str(k), "", (str(k),), "chalk", True, False, True) for k in range(4)]
    replies = {item.id: {"boxes": [[item.id, 0.9, [0, 0, 9, 9]]], "seconds": 0.1} for item in items}
    wrong = {item.id: {"boxes": [["77", 0.4, [0, 0, 9, 9]]], "seconds": 0.1} for item in items}
    peer, other = named("RapidOCR 3.10"), named("RapidOCR 1.4")
    results = {
        (OWN, LINE, "rendered"): result_of(named(OWN), LINE, "rendered", items, replies),
        (peer.name, LINE, "rendered"): result_of(peer, LINE, "rendered", items, wrong),
        (other.name, LINE, "rendered"): result_of(other, LINE, "rendered", items[:2], replies),
        (peer.name, FIND, "rendered"): result_of(peer, FIND, "rendered", items, wrong | {"0": replies["0"]}),
    }
    text = "\n".join(report.exact_table(results, LINE))
    assert f"| {peer.name} | {other.name} | {peer.name}, finding too |" in text
    # the one that was asked less is shown, but the best peer is the one asked the same; finding helped it
    assert "| rendered | 4 | **1.000** (1.000 to 1.000) | .000 | 1.000 (n 2) | .250 | +0.750" in text
    assert "+100%" in text
    assert "chalk | 4 | 1.000 | .000 | 1.000" in "\n".join(report.kind_table(results, LINE, "rendered"))
    assert "| rendered | ours | 4 | 4 of 4 | 1.000 | 1.000 | .000 | .100 |" in "\n".join(
        report.certainty_table(results, LINE, [OWN], 0.5)
    )


def test_failures_are_shown_surest_first(tmp_path):
    file = tmp_path / "a.png"
    cv2.imwrite(str(file), np.zeros((20, 90, 3), np.uint8))
    items = [Item(str(k), str(file), ("1",), "", True, False, True) for k in range(3)]
    replies = {
        str(k): {"boxes": [[text, score, [0, 0, 9, 9]]], "seconds": 0.1}
        for k, (text, score) in enumerate([("1", 0.9), ("2", 0.3), ("3", 0.8)])
    }
    shown = worst([result_of(named(OWN), LINE, "set", items, replies)], 9)
    assert [one.text for _, one in shown] == ["3", "2"]
    write_sheet(tmp_path / "sheet.jpg", shown)
    assert cv2.imread(str(tmp_path / "sheet.jpg")) is not None


def test_names_of_files_are_safe():
    assert slug("RapidOCR 3.10, line/photos") == "rapidocr-3-10-line-photos"
