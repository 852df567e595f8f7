"""Answers and a filled casebook for the tests: everything about the instruments is invented."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import Any

from pipelines.casebook.records import Method
from pipelines.output.json_lines import answer_object
from tests.pipelines.fake_reader import make_answer, make_empty_answer

METHOD = Method("rakelight 0.0", {"figures": "a" * 64}, {"maker": None, "page": 0})
NEWER = Method("rakelight 0.1", {"figures": "b" * 64}, {"maker": None, "page": 0})

HARROW = {"id": "harrow-and-thistle", "name": "Harrow & Thistle", "place": "Thistleford", "invented": True}
LARKFIELD = {"id": "larkfield", "name": "Larkfield Organ Works", "place": "Larkfield", "invented": True}


def sha(name: str) -> str:
    """Return the hash that the photo of this name has here."""
    return hashlib.sha256(name.encode()).hexdigest()


def made(
    name: str,
    number: str | None = "41873",
    *,
    accepted: bool = True,
    probability: float = 0.97,
    maker: dict[str, Any] | None = HARROW,
    years: tuple[int, int, int] | None = (1873, 1874, 1876),
    marks: Sequence[str] = (),
) -> dict[str, Any]:
    """Return the answer for the photo `name`; `years` are earliest, likeliest, latest; `marks` are words beside it."""
    answer = answer_object(make_answer(f"shop/{name}") if number else make_empty_answer(f"shop/{name}"))
    answer["photo"]["sha256"] = sha(name)
    answer["maker"] = maker
    answer["dating"] = None
    if number:
        answer["serial"] |= {"text": number, "accepted": accepted, "probability": probability}
        answer["marks"][0]["text"] = number
    if number and years:
        dating = {"edtf": f"{years[1]}~", "year": years[1], "interval": [years[0], years[2]], "probability": 0.9}
        answer["dating"] = {**dating, "evidence": [], "warnings": []}
    pattern = answer_object(make_answer())["marks"][1]
    for text in marks:
        answer["marks"].append({**pattern, "id": len(answer["marks"]), "text": text, "kind": "word"})
    return answer
