"""What the page refuses: other hosts, other pages' forms, browsers without the key, and scripts in readings."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from pipelines.casebook.records import Outcome
from pipelines.casebook.store import Casebook
from tests.pipelines.review.conftest import HOST, KEY, Browser
from tests.pipelines.review.shop import HARROW, add_case

EVIL = "\"><script>alert(1)</script>'&\x07\ud800"


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:8420", "127.0.0.1", "127.0.0.1:9", "127.0.0.1.evil:8420"]
)
@pytest.mark.parametrize("address", ["/", "/case/1", "/static/review.js", f"/enter/{KEY}", "/nothing"])
def test_other_hosts_are_refused(browser: Browser, host: str, address: str) -> None:
    answer = browser.get(address, host)
    assert answer.status_code == 421
    assert b"41873" not in answer.data and "Set-Cookie" not in answer.headers


def test_without_the_key_nothing_is_shown(browser: Browser) -> None:
    fresh = browser.client.application.test_client()
    for address in ("/", "/case/1", "/enter/other-key"):
        answer = fresh.get(address, headers={"Host": HOST})
        assert answer.status_code == 403
        assert b"41873" not in answer.data
    assert fresh.post("/case/1", data={"action": "skip"}, headers={"Host": HOST}).status_code == 403


def test_the_cookie_is_kept_from_scripts_and_other_sites(browser: Browser) -> None:
    fresh = browser.client.application.test_client()
    cookie = fresh.get(f"/enter/{KEY}", headers={"Host": HOST}).headers["Set-Cookie"]
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie and "Path=/" in cookie


@pytest.mark.parametrize("token", [None, "", "x", "\u00e9"])
def test_a_form_without_its_token_decides_nothing(browser: Browser, book: Casebook, token: str | None) -> None:
    data = {"action": "accept 41873", "seen": "0"} | ({} if token is None else {"token": token})
    for address in ("/case/1", "/undo", "/again", "/keys"):
        assert browser.client.post(address, data=data, headers={"Host": HOST}).status_code == 403
    assert book.case(1).decisions == ()


def test_a_token_is_good_for_its_own_sitting_alone(browser: Browser, book: Casebook) -> None:
    other = Browser(browser.client.application.test_client())
    data = {"action": "accept 41873", "seen": "0", "token": browser.hidden("token")}
    assert other.client.post("/case/1", data=data, headers={"Host": HOST}).status_code == 403
    assert book.case(1).decisions == ()


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://127.0.0.1:9"])
def test_a_form_from_another_origin_decides_nothing(browser: Browser, book: Casebook, origin: str) -> None:
    data = {"action": "accept 41873", "seen": "0", "token": browser.hidden("token")}
    headers = {"Host": HOST, "Origin": origin}
    assert browser.client.post("/case/1", data=data, headers=headers).status_code == 403
    assert book.case(1).decisions == ()
    headers["Origin"] = f"http://{HOST}"
    assert browser.client.post("/case/1", data=data, headers=headers).status_code == 303


def test_pages_are_asked_for_without_deciding(browser: Browser, book: Casebook) -> None:
    assert browser.get(f"/case/1?action=skip&token={browser.hidden('token')}").status_code == 200
    assert browser.get("/undo").status_code == 405
    assert book.case(1).decisions == ()


def test_every_answer_has_the_policy(browser: Browser) -> None:
    for address in ("/", "/static/review.css", "/case/99", "/nothing"):
        headers = browser.get(address).headers
        policy = headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy and "script-src 'self'" in policy
        assert headers["X-Content-Type-Options"] == "nosniff"
    assert browser.get("/").headers["Cache-Control"] == "no-store"


def test_the_page_asks_nothing_of_other_servers_and_has_no_inline_script(browser: Browser) -> None:
    assert not re.search(r'(?:src|href|action)="(?!/)', browser.text)
    assert not re.search(r"<script(?! src=)|<style|\sstyle=|\son\w+=", browser.text)


def test_readings_names_and_paths_are_escaped(
    open_browser: Callable[[str], Browser], book: Casebook, tmp_path: Path
) -> None:
    template = book.case(1).photos[0].answer
    assert template is not None
    evil_mark = {**template["marks"][0], "text": EVIL}
    case = add_case(
        book,
        tmp_path,
        "evil.png",
        marks=[evil_mark, {**evil_mark, "id": 1, "text": EVIL + "22"}],
        serial={**template["serial"], "text": EVIL, "alternatives": [{"text": EVIL + "1", "probability": 0.1}]},
        maker={**HARROW, "name": EVIL},
        advice=[{"code": "x", "text": EVIL}],
    )
    book.decide(case, Outcome.SERIAL, by=EVIL.replace("\ud800", ""), because="<b>why</b>", text="<i>5</i>")
    browser = open_browser("<u>Reed</u>")
    browser.page = browser.get(f"/case/{case}")
    assert browser.page.status_code == 200
    for raw in ("<script>alert", "<b>", "<i>", "<u>", "\x07"):
        assert raw not in browser.text
    assert "&lt;script&gt;" in browser.text and "&lt;u&gt;Reed" in browser.text
    browser.press("type", typed="<img src=x>9", note="<svg onload=x>")
    assert "<img src=x" not in browser.text and "<svg" not in browser.text


@pytest.mark.parametrize(
    "address", ["/case/0", "/case/99", "/case/99999999999999999999", "/pictures/x/y.png", "/nothing"]
)
def test_what_is_not_there_is_said(browser: Browser, address: str) -> None:
    answer = browser.get(address)
    assert answer.status_code == 404
    assert "This did not work" in answer.get_data(as_text=True)


def test_a_large_form_is_refused(browser: Browser) -> None:
    data = {"token": browser.hidden("token"), "action": "type", "typed": "1" * 30_000}
    assert browser.client.post("/case/1", data=data, headers={"Host": HOST}).status_code == 413
