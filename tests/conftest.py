"""What every test needs: no table of whoever runs them may be in the way."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def own_data(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give the test an empty data folder of the user's; commands that it starts have it too."""
    folder = tmp_path_factory.mktemp("data")
    monkeypatch.setenv("RAKELIGHT_DATA", str(folder))
    return folder
