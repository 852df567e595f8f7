"""A small shop's casebook and a browser (Flask's test client) that was let in."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from pipelines.casebook.store import Casebook, open_casebook
from pipelines.review.app import create_app
from pipelines.review.pictures import Pictures
from pipelines.review.steps import Desk
from tests.pipelines.review.shop import add_case

KEY, HOST = "the-key", "127.0.0.1:8420"


class Browser:
    """A reviewer's browser: opens pages, and presses buttons with what the page's form carries."""

    def __init__(self, client: FlaskClient, key: str = KEY) -> None:
        self.client = client
        self.page = self.get(f"/enter/{key}")
        self.page = self.get("/")

    def get(self, address: str, host: str = HOST) -> TestResponse:
        """Open a page; redirects are not followed."""
        return self.client.get(address, headers={"Host": host}, buffered=True)

    @property
    def text(self) -> str:
        """The page's HTML."""
        return self.page.get_data(as_text=True)

    @property
    def case(self) -> int:
        """The case that the page shows."""
        found = re.search(r'action="/case/(\d+)"', self.text)
        assert found is not None, self.text
        return int(found[1])

    def hidden(self, name: str) -> str:
        """The value of a hidden field."""
        found = re.search(rf'name="{name}" value="([^"]*)"', self.text)
        assert found is not None, name
        return found[1]

    def press(self, action: str, **fields: str) -> TestResponse:
        """Press a button of the case's form; the page is what comes after it. Returns the first answer."""
        names = [name for name in ("token", "seen", "photo", "mark") if f'name="{name}"' in self.text]
        data = {name: self.hidden(name) for name in names} | {"action": action} | fields
        return self.post(f"/case/{self.case}", data)

    def post(self, address: str, data: dict[str, str] | None = None) -> TestResponse:
        """Send a form and follow its redirect."""
        fields = data if data is not None else {"token": self.hidden("token")}
        first = self.client.post(address, data=fields, headers={"Host": HOST})
        self.page = self.get(first.headers["Location"]) if first.status_code == 303 else first
        return first


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Casebook]:
    """A casebook with three open cases; the first is the most urgent."""
    with open_casebook(tmp_path / "casebook.sqlite") as opened:
        for stake, name, text in ((9, "lid.png", "41873"), (5, "leg.png", "52236"), (2, "plate.png", "60417")):
            add_case(opened, tmp_path, name, text, stake=float(stake))
        yield opened


@pytest.fixture
def open_browser(book: Casebook, tmp_path: Path) -> Iterator[Callable[[str], Browser]]:
    """Return a function that starts the page for a reviewer and opens it in a browser."""
    started: list[Pictures] = []

    def start(by: str = "A. Reed") -> Browser:
        pictures = Pictures(tmp_path)
        started.append(pictures)
        return Browser(create_app(Desk(book, by), pictures, KEY, {HOST}).test_client())

    yield start
    for pictures in started:
        pictures.close()


@pytest.fixture
def browser(open_browser: Callable[[str], Browser]) -> Browser:
    """The browser of A. Reed."""
    return open_browser("A. Reed")
