"""The page as a reviewer uses it: steps, keys' buttons, decisions, undo, two reviewers, missing photos."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from pipelines.casebook.errors import CasebookError
from pipelines.casebook.records import Outcome, State
from pipelines.casebook.store import Casebook
from pipelines.review import catalog
from pipelines.review.pictures import SHOWN_VIEWS
from tests.pipelines.review.conftest import Browser
from tests.pipelines.review.shop import add_case

Opener = Callable[[str], Browser]


def message(browser: Browser) -> str:
    found = re.search(r'role="status" class="message">([^<]*)<', browser.text)
    assert found is not None
    return found[1]


def test_the_hardest_case_comes_first_with_its_pictures(browser: Browser) -> None:
    assert browser.case == 1
    sources = re.findall(r'<img[^>]* src="(/pictures/[^"]+)" alt="([^"]+)"', browser.text)
    assert [source.rpartition("/")[2] for source, _ in sources] == [
        "crop.jpg",
        *(f"{name}.png" for name in SHOWN_VIEWS),
        "photo.jpg",
    ]
    for source, _ in sources:
        answer = browser.get(source)
        assert answer.status_code == 200
        with Image.open(io.BytesIO(answer.data)) as image:
            assert np.asarray(image).std() > 3, source  # no empty picture


def test_the_mark_is_outlined_in_the_photo(browser: Browser) -> None:
    source = re.search(r'src="(/pictures/[^"]+photo.jpg)"', browser.text)
    assert source is not None
    pixels = np.asarray(Image.open(io.BytesIO(browser.get(source[1]).data)).convert("RGB")).astype(int)
    vermillion = np.abs(pixels - np.array([213, 94, 0])).sum(axis=2) < 90
    rows, columns = np.nonzero(vermillion)
    assert 150 - 12 <= columns.min() <= 150
    assert 240 <= rows.max() <= 240 + 12


def test_rivals_have_keys_and_years(browser: Browser) -> None:
    buttons = re.findall(r'value="rival ([^"]+)" data-key="(\d)".*?<span>(.*?)</span>', browser.text, re.DOTALL)
    assert [(text, key) for text, key, _ in buttons] == [("41878", "1"), ("441873", "2"), ("1871", "3")]
    assert re.search(r"about 187\d \(18\d\d to 18\d\d\)", buttons[0][2])
    assert "no year" in buttons[1][2]
    assert "another mark: calendar-year" in buttons[2][2].replace("\n", " ")
    assert "about 1874 (1873 to 1876)" in browser.text
    assert "never a proof of age" in browser.text


def test_accept_records_name_time_and_why_and_goes_on(browser: Browser, book: Casebook) -> None:
    assert browser.press("accept 41873", note="the 3 is  clear").status_code == 303
    assert browser.case == 2
    assert message(browser) == "Case 1: recorded: 41873."
    detail = book.case(1)
    (made,) = detail.decisions
    assert (detail.summary.state, made.outcome, made.text, made.by) == (
        State.DECIDED,
        Outcome.SERIAL,
        "41873",
        "A. Reed",
    )
    photo = detail.photos[0]
    assert made.because == f"review: the reading was accepted: the 3 is clear [mark 0, photo {photo.sha256[:12]}]"
    assert detail.summary.year == 1874


def test_a_rival_is_dated_anew(browser: Browser, book: Casebook) -> None:
    browser.press("rival 41878")
    made = book.case(1).decisions[-1]
    assert made.text == "41878"
    assert made.dating is not None
    assert made.dating["interval"][0] <= made.dating["year"] <= made.dating["interval"][1]
    assert book.case(1).summary.year == made.dating["year"]


def test_a_rival_from_another_mark_keeps_that_mark(browser: Browser, book: Casebook) -> None:
    browser.press("rival 1871")
    assert "[mark 1, photo " in book.case(1).decisions[-1].because


def test_typing_corrects(browser: Browser, book: Casebook) -> None:
    browser.press("type", typed=" 00412 ")
    assert book.case(1).decisions[-1].text == "00412"


@pytest.mark.parametrize(
    ("action", "typed"),
    [("type", ""), ("type", "--"), ("type", "4" * 61), ("", "41873"), ("rival ", ""), ("drop", "1")],
)
def test_what_is_no_decision_is_not_recorded(browser: Browser, book: Casebook, action: str, typed: str) -> None:
    assert browser.press(action, typed=typed).status_code == 400
    assert book.case(1).decisions == ()
    assert "Nothing was recorded" in message(browser)
    assert f'name="typed" maxlength="60" value="{typed}"' in browser.text  # what was typed is not lost


@pytest.mark.parametrize("outcome", [Outcome.NOT_A_SERIAL, Outcome.CANNOT_BE_READ])
def test_cases_without_a_number(browser: Browser, book: Casebook, outcome: Outcome) -> None:
    browser.press(outcome.value)
    assert [(one.outcome, one.text) for one in book.case(1).decisions] == [(outcome, None)]
    assert browser.case == 2


def test_skipped_cases_wait_until_asked_for(browser: Browser, book: Casebook) -> None:
    for case in (1, 2, 3):
        assert browser.case == case
        browser.press("skip")
    assert "Only the cases that you skipped wait: 3." in browser.text
    browser.post("/again")
    assert browser.case == 1
    assert book.count_states()[State.OPEN] == 3


def test_undo_appends_and_shows_the_case(browser: Browser, book: Casebook) -> None:
    browser.press("cannot-be-read")
    browser.post("/undo")
    assert browser.case == 1
    assert [one.outcome for one in book.case(1).decisions] == [Outcome.CANNOT_BE_READ, Outcome.REOPENED]
    assert book.case(1).summary.state is State.OPEN
    browser.post("/undo")
    assert "nothing of this sitting to undo" in message(browser)
    assert len(book.case(1).decisions) == 2


def test_undo_goes_back_through_the_sitting(browser: Browser, book: Casebook) -> None:
    browser.press("accept 41873")
    browser.press("accept 52236")
    browser.post("/undo")
    browser.post("/undo")
    assert [book.case(case).summary.state for case in (1, 2)] == [State.OPEN, State.OPEN]


def test_a_second_reviewer_sees_the_first_decision(open_browser: Opener, book: Casebook) -> None:
    first, second = open_browser("A. Reed"), open_browser("B. Finch")
    first.press("accept 41873")
    assert second.press("rival 41878", note="a round 8").status_code == 409
    assert "A. Reed decided: 41873" in message(second)
    assert 'value="41878"' in second.text and 'value="a round 8"' in second.text  # what was pressed is kept to see
    assert len(book.case(1).decisions) == 1
    assert second.press("type", typed="41878").status_code == 303
    assert [(one.by, one.text) for one in book.case(1).decisions] == [("A. Reed", "41873"), ("B. Finch", "41878")]
    second.post("/undo")  # brings the first reviewer's back
    made = book.case(1).decisions[-1]
    assert (made.by, made.text) == ("B. Finch", "41873")
    assert "the decision of A. Reed counts again" in made.because
    first.post("/undo")
    assert "B. Finch has decided since; nothing was undone" in message(first)
    assert len(book.case(1).decisions) == 3


def test_a_decision_written_at_the_same_moment_is_shown(
    open_browser: Opener, book: Casebook, monkeypatch: pytest.MonkeyPatch
) -> None:
    browser = open_browser("A. Reed")
    decide = book.decide

    def decide_late(*arguments: object, **named: object) -> object:
        decide(1, Outcome.CANNOT_BE_READ, by="B. Finch", because="rust")  # after A. Reed's look, before the row
        return decide(*arguments, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(book, "decide", decide_late)
    browser.press("accept 41873")
    assert "B. Finch decided too at this moment: cannot be read" in message(browser)
    assert len(book.case(1).decisions) == 2


def test_a_merged_case_is_not_decided_unseen(browser: Browser, book: Casebook) -> None:
    book.merge_cases(2, 1, by="B. Finch", because="same lid")
    browser.press("accept 41873")
    assert book.case(2).decisions == ()
    assert message(browser) == "Case 1 is part of case 2 now."
    assert "Photo 1 of 2" in browser.text


def test_marks_and_photos_can_be_walked(browser: Browser, book: Casebook) -> None:
    link = re.search(r'<a href="([^"]+)" data-key="m"', browser.text)
    assert link is not None
    browser.page = browser.get(link[1].replace("&amp;", "&"))
    assert browser.hidden("mark") == "1"
    browser.press("not-a-serial")
    assert "[mark 1, photo " in book.case(1).decisions[-1].because


def test_a_missing_photo_is_said_and_what_is_stored_is_shown(
    open_browser: Opener, tmp_path: Path, book: Casebook
) -> None:
    content = (tmp_path / "leg.png").read_bytes()
    (tmp_path / "leg.png").unlink()
    browser = open_browser("A. Reed")
    browser.press("skip")
    assert browser.case == 2
    assert "The photo cannot be shown" in browser.text and "leg.png" in browser.text
    assert "<img" not in browser.text
    assert "52236 (serial, 60\u00a0%)" in browser.text
    (tmp_path / "leg.png").write_bytes(content)  # the disk is there again
    browser.page = browser.get("/")
    assert "crop.jpg" in browser.text
    assert browser.press("accept 52236").status_code == 303
    assert book.case(2).summary.state is State.DECIDED


def test_a_changed_photo_is_not_shown(open_browser: Opener, tmp_path: Path) -> None:
    with (tmp_path / "leg.png").open("ab") as file:
        file.write(b"more")
    browser = open_browser("A. Reed")
    browser.press("skip")
    assert "no longer the file that was read" in browser.text
    assert "<img" not in browser.text


def test_without_a_serial_marks_with_figures_are_offered(browser: Browser, book: Casebook, tmp_path: Path) -> None:
    answer = book.case(1).photos[0].answer
    assert answer is not None
    words = (("HARROW", "word"), ("PAT. 1871", "patent"), ("52", "other"), ("6", "part-position"))
    marks = [{**answer["marks"][0], "id": id, "text": text, "kind": kind} for id, (text, kind) in enumerate(words)]
    case = add_case(book, tmp_path, "plain.png", "1", serial=None, marks=marks, dating=None)
    browser.page = browser.get(f"/case/{case}")
    assert re.findall(r'value="rival ([^"]+)"', browser.text) == ["52"]
    assert browser.hidden("mark") == "2"


def test_a_photo_without_marks(browser: Browser, book: Casebook, tmp_path: Path) -> None:
    case = add_case(book, tmp_path, "dark.png", "1", serial=None, marks=[], dating=None, maker=None)
    browser.page = browser.get(f"/case/{case}")
    assert "No serial was read" in browser.text and "photo.jpg" in browser.text
    assert 'data-key="Enter"' not in browser.text
    browser.press("type", typed="777")
    assert book.case(case).decisions[-1].because.startswith("review: typed from the picture [no mark, photo ")


def test_originals_are_only_read(browser: Browser, tmp_path: Path) -> None:
    before = {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in tmp_path.glob("*.png")}
    browser.press("accept 41873")
    browser.press("rival 52238")
    assert {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in tmp_path.glob("*.png")} == before


def test_keys_can_be_turned_off(browser: Browser) -> None:
    assert 'data-keys="on"' in browser.text
    browser.post("/keys")
    assert 'data-keys="off"' in browser.text


def test_every_field_has_a_label_and_every_key_a_sign(browser: Browser) -> None:
    for name in re.findall(r'<input id="(\w+)"', browser.text):
        assert f'<label for="{name}">' in browser.text
    keyed = re.findall(r'data-key="(\w+)".*?</(?:button|a)>', browser.text, re.DOTALL)
    shown = [sign.upper() for sign in re.findall(r"<kbd>([^<]+)</kbd>", browser.text)]
    assert keyed and all(key.upper() in shown for key in keyed)
    assert all(alt for alt in re.findall(r'<img[^>]* alt="([^"]*)"', browser.text))


def luminance(color: str) -> float:
    """Relative luminance (WCAG 2.2) of #rrggbb."""
    shares = [int(color[start : start + 2], 16) / 255 for start in (1, 3, 5)]
    linear = [share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4 for share in shares]
    return float(np.dot(linear, (0.2126, 0.7152, 0.0722)))


@pytest.mark.parametrize(
    ("ink", "ground"),
    [(ink, ground) for ink in ("ink", "quiet", "strong") for ground in ("ground", "panel")] + [("ground", "strong")],
)
def test_texts_have_enough_contrast(browser: Browser, ink: str, ground: str) -> None:
    colors = dict(re.findall(r"--(\w+): (#\w{6});", browser.get("/static/review.css").get_data(as_text=True)))
    dark, bright = sorted((luminance(colors[ink]), luminance(colors[ground])))
    assert (bright + 0.05) / (dark + 0.05) >= 4.5


def test_a_casebook_that_is_away_is_said(browser: Browser, book: Casebook, monkeypatch: pytest.MonkeyPatch) -> None:
    def away(*_: object, **__: object) -> None:
        raise CasebookError("the server is restarting", transient=True)

    monkeypatch.setattr(book, "decide", away)
    assert browser.press("accept 41873").status_code == 503
    assert "The casebook did not answer: the server is restarting" in browser.text
    monkeypatch.undo()
    browser.page = browser.get("/")
    assert browser.case == 1


def test_every_text_is_used() -> None:
    folder = Path(catalog.__file__).parent
    files = [file for file in (*folder.glob("*.py"), *folder.glob("templates/*.html")) if file.name != "catalog.py"]
    used = set(re.findall(r"""say\(\s*["'](\w+)["']""", "".join(file.read_text(encoding="utf-8") for file in files)))
    assert used == set(catalog.TEXTS)
