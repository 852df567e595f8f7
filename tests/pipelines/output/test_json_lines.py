"""The answer as data: its form, its rounding, and the published schema.

Outside checks: the schema is held against the JSON Schema 2020-12 metaschema as the jsonschema package ships it; lines
are read back by Python's json, with constants that RFC 8259 does not have refused.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator, ValidationError

from pipelines.output.json_lines import answer_object, load_schema, write_answer, write_dated, write_error
from reader.results import ANSWER_VERSION, Answer, MarkKind
from tests.pipelines.fake_reader import MAKER, make_answer, make_dating, make_empty_answer

SCHEMA = Draft202012Validator(load_schema())


def parse(line: str) -> dict[str, Any]:
    def refuse(constant: str) -> None:
        raise AssertionError(f"{constant} is no JSON (RFC 8259, section 6)")

    assert line.endswith("\n")
    assert line.count("\n") == 1
    data: dict[str, Any] = json.loads(line, parse_constant=refuse)
    return data


def keys_of(data: object) -> object:
    """The keys of an object and of all inside; of lists those of the first item."""
    if isinstance(data, dict):
        return {key: keys_of(value) for key, value in data.items()}
    if isinstance(data, list) and data:
        return [keys_of(data[0])]
    return None


def test_schema_is_a_schema() -> None:
    Draft202012Validator.check_schema(load_schema())
    assert load_schema()["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert load_schema()["$id"] == "urn:rakelight:answer:1"


def test_schema_agrees_with_the_types() -> None:
    defs = load_schema()["$defs"]
    assert defs["version"]["const"] == ANSWER_VERSION
    assert defs["mark"]["properties"]["kind"]["enum"] == [kind.value for kind in MarkKind]


def test_no_object_in_the_schema_is_open() -> None:
    def walk(part: object) -> None:
        if isinstance(part, dict):
            if part.get("type") == "object":
                assert part["additionalProperties"] is False
                assert sorted(part["required"]) == sorted(part["properties"])
            for value in part.values():
                walk(value)
        if isinstance(part, list):
            for value in part:
                walk(value)

    walk(load_schema())


def test_keys_and_nesting() -> None:
    data = answer_object(make_answer())
    assert list(data) == ["version", "photo", "serial", "marks", "maker", "dating", "advice", "seconds"]
    candidate = {"text": None, "probability": None}
    assert keys_of(data) == {
        "version": None,
        "photo": {"path": None, "sha256": None, "width": None, "height": None},
        "serial": {**candidate, "accepted": None, "mark": None, "alternatives": [candidate]},
        "marks": [
            {
                "id": None,
                "text": None,
                "kind": None,
                "why": None,
                "probability": None,
                "quad": [[None]],
                "surface": None,
                "characters": [{**candidate, "rivals": None}],
            }
        ],
        "maker": {"id": None, "name": None, "place": None, "invented": None},
        "dating": {
            "edtf": None,
            "year": None,
            "interval": [None],
            "probability": None,
            "interval_50": [None],
            "years": [None],
            "probabilities": [None],
            "candidates": [{**candidate, "series": None, "year": None, "interval": [None], "why": None}],
            "figures": [{"place": None, "rivals": [{**candidate, "year": None, "interval": [None]}]}],
            "alternatives": [{"text": None, "slip": None, "year": None, "interval": [None]}],
            "evidence": [{"kind": None, "says": None, "source": None, "not_before": None, "not_after": None}],
            "warnings": [None],
        },
        "advice": [{"code": None, "text": None}],
        "seconds": {"load": None, "locate": None, "recognize": None, "total": None},
    }
    assert data["marks"][0]["characters"][1]["rivals"] == [["7", 0.3], ["4", 0.001]]


@pytest.mark.parametrize("answer", [make_answer(), make_answer(accepted=False), make_empty_answer()])
def test_answers_are_valid(answer: Answer) -> None:
    SCHEMA.validate(parse(write_answer(answer)))


def test_nothing_found_is_null() -> None:
    data = parse(write_answer(make_empty_answer()))
    assert (data["serial"], data["marks"], data["maker"], data["dating"]) == (None, [], None, None)


def test_error_object() -> None:
    data = parse(write_error("a/b.jpg", "a/b.jpg: is no picture; send it again"))
    assert data == {"version": 1, "photo": {"path": "a/b.jpg"}, "error": "a/b.jpg: is no picture; send it again"}
    SCHEMA.validate(data)


def test_rounding_and_numpy_numbers() -> None:
    answer = make_answer()
    assert answer.serial is not None
    quad = np.array([[1.26, -0.04], [9.94, 0], [10, 5], [1, 5]], np.float32)
    float32: Any = np.float32(0.123456)
    bool_: Any = np.bool_(True)
    mark = replace(answer.marks[0], quad=quad, probability=float32)
    serial = replace(answer.serial, probability=np.float64(0.97006), accepted=bool_)
    data = parse(write_answer(replace(answer, marks=(mark,), serial=serial)))
    assert data["marks"][0]["quad"][:2] == [[1.3, 0.0], [9.9, 0.0]]
    assert "-0.0" not in write_answer(replace(answer, marks=(mark,)))
    assert data["marks"][0]["probability"] == 0.1235
    assert data["serial"]["probability"] == 0.9701
    assert data["serial"]["accepted"] is True
    assert data["dating"]["probability"] == 0.8731
    assert data["seconds"]["load"] == 0.012


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_numbers_that_json_has_not_are_refused(bad: float) -> None:
    answer = make_answer()
    with pytest.raises(ValueError, match="JSON"):
        write_answer(replace(answer, marks=(replace(answer.marks[0], probability=bad),)))


@given(st.text(min_size=1))
def test_any_name_stays_on_one_line_and_comes_back(path: str) -> None:
    assert parse(write_answer(make_answer(path)))["photo"]["path"] == path
    assert parse(write_error(path, "wrong"))["photo"]["path"] == path


def change(path: str, value: object) -> Callable[[dict[str, Any]], None]:
    """Return what sets one value, found by keys and numbers joined by dots."""

    def apply(data: dict[str, Any]) -> None:
        *way, last = [int(part) if part.isdigit() else part for part in path.split(".")]
        place: Any = data
        for part in way:
            place = place[part]
        place[last] = value

    return apply


BREAKS = [
    ("version", 2),
    ("more", 1),
    ("error", "also an error"),
    ("photo.sha256", "AB" * 32),
    ("photo.sha256", "ab"),
    ("photo.width", 0),
    ("photo.more", 1),
    ("serial.text", 41873),
    ("serial.text", ""),
    ("serial.probability", 1.01),
    ("serial.probability", "0.9"),
    ("serial.accepted", "yes"),
    ("serial.mark", -1),
    ("serial.alternatives.0.more", 1),
    ("serial", {}),
    ("marks.0.kind", "number"),
    ("marks.0.quad", [[0, 0], [1, 0], [1, 1]]),
    ("marks.0.quad.0", [0, 0, 0]),
    ("marks.0.quad.0.0", "0"),
    ("marks.0.characters.1.rivals.0", ["7"]),
    ("marks.0.characters.1.rivals.0", ["7", 0.3, 1]),
    ("marks.0.characters.1.rivals.0", [7, 0.3]),
    ("maker.invented", None),
    ("dating.year", "1874"),
    ("dating.interval", [1873]),
    ("dating.evidence.0.source", None),
    ("dating.evidence.0.not_before", "1873"),
    ("dating.interval_50", [1874]),
    ("dating.probabilities.0", 1.2),
    ("dating.candidates.0.year", "1874"),
    ("dating.candidates.0.interval", [1873]),
    ("dating.figures.0.place", 0),
    ("dating.figures.0.rivals.0.text", "17"),
    ("dating.alternatives.0.slip", None),
    ("advice", [{"code": "a"}]),
    ("seconds.total", -1),
    ("seconds.more", 1),
]


@pytest.mark.parametrize(("path", "value"), BREAKS)
def test_broken_answers_are_refused(path: str, value: object) -> None:
    data = copy.deepcopy(answer_object(make_answer()))
    SCHEMA.validate(data)
    change(path, value)(data)
    with pytest.raises(ValidationError):
        SCHEMA.validate(data)


@pytest.mark.parametrize("key", ["version", "photo", "serial", "marks", "maker", "dating", "advice", "seconds"])
def test_answers_with_a_key_missing_are_refused(key: str) -> None:
    data = answer_object(make_answer())
    del data[key]
    with pytest.raises(ValidationError):
        SCHEMA.validate(data)


@pytest.mark.parametrize(
    ("path", "value"),
    [("error", ""), ("error", "two\nlines"), ("error", None), ("photo.sha256", "ab" * 32), ("serial", None)],
)
def test_broken_error_objects_are_refused(path: str, value: object) -> None:
    data = parse(write_error("a.jpg", "wrong"))
    change(path, value)(data)
    with pytest.raises(ValidationError):
        SCHEMA.validate(data)


def test_a_typed_number_has_a_line_of_its_own() -> None:
    line = write_dated("41873", MAKER, make_dating(), ("Mind.",))
    data = parse(line)
    SCHEMA.validate(data)
    assert list(data) == ["version", "input", "maker", "dating", "warnings"]
    assert data["dating"] == answer_object(make_answer())["dating"]
    none = parse(write_dated("?", None, None, ("No year.",)))
    SCHEMA.validate(none)
    assert (none["dating"], none["maker"], none["warnings"]) == (None, None, ["No year."])
    with pytest.raises(ValidationError):
        SCHEMA.validate({**none, "more": 1})
