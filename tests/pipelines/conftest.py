"""Files of the fake kind, and the command in this process with the fake reader in it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pipelines import batch
from pipelines.command import main
from tests.pipelines import fake_reader

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
