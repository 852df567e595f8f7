"""An empty casebook, in both kinds of database."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from pipelines.casebook.store import Casebook, open_casebook


@pytest.fixture
def book(place: str) -> Iterator[Casebook]:
    """An open, empty casebook."""
    with open_casebook(place) as opened:
        yield opened
