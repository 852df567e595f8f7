"""A box of drawn photos, one of them stored turned, with what was read and decided of them."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import pytest

from pipelines.export.record import Record
from tests.pipelines.export.samples import DECIDED, answer_line, draw_photo, make_record, write_lines


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    return draw_photo(tmp_path / "photos" / "box" / "lid.jpg")


@pytest.fixture
def record(photo: Path) -> Record:
    """An accepted reading that nobody decided on."""
    return make_record(photo)


@pytest.fixture
def decided(photo: Path) -> Record:
    """The same photo, on which a person decided for the rival."""
    return make_record(photo, case="7", decision=DECIDED)


@pytest.fixture
def box(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with six photos in two folders and records.jsonl of them; it is the current folder."""
    root = tmp_path / "shop"
    names = ["a/1.jpg", "a/2.jpg", "a/=1+1.jpg", "b/1.jpg", "b/1.png", "b/Größe.jpg"]
    lines = []
    for number, name in enumerate(names):
        photo = draw_photo(root / name, orientation=6 if name == "a/2.jpg" else 1, seed=number)
        answer = answer_line(photo, name, accepted=number % 2 == 0, empty=name == "b/1.png")
        decision = asdict(DECIDED) if name == "b/1.jpg" else None
        lines.append({"record": 1, "case": str(number), "part": "", "decision": decision, "answer": answer})
    write_lines(root / "records.jsonl", lines)
    monkeypatch.chdir(root)
    return root
