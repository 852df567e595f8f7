"""Files of the fake kind, the command in this process with the fake reader in it, and places for a casebook."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pipelines import batch
from pipelines.command import main
from tests.pipelines import fake_reader
from tests.pipelines.postgresql_server import PostgresqlServer, find_programs

SHOP = {"1.jpg": "good", "2.jpg": "broken", "3.jpg": "doubtful", "4.jpg": "bug", "5.jpg": "broken", "6.jpg": "none"}
"""Three files that give an answer, two that are no photos, one on which the reader has a bug."""


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A folder with the six files of SHOP."""
    folder = tmp_path / "shop"
    folder.mkdir()
    for name, word in SHOP.items():
        (folder / name).write_text(word)
    return folder


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    """One file that gives an answer."""
    path = tmp_path / "lid.jpg"
    path.write_text("good")
    return path


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch) -> Callable[..., Result]:
    """Run the command with the fake reader; the result has stdout, stderr and exit_code."""
    monkeypatch.setattr(batch, "open_reader", fake_reader.open_reader)

    def invoke(*arguments: str | Path) -> Result:
        return CliRunner().invoke(main, [str(argument) for argument in arguments])

    return invoke


@pytest.fixture(scope="session")
def postgresql() -> Iterator[PostgresqlServer]:
    """A running PostgreSQL server; skips where its programs are missing."""
    programs = find_programs()
    if programs is None:
        pytest.skip("needs PostgreSQL's programs initdb and pg_ctl (Debian: apt-get install postgresql)")
    server = PostgresqlServer(programs)
    yield server
    server.remove()


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The file or URL of a casebook that is not there yet, in both kinds of database."""
    if request.param == "sqlite":
        return str(tmp_path / "casebook.sqlite")
    server: PostgresqlServer = request.getfixturevalue("postgresql")
    return server.make_place()
