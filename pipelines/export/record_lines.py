"""Records as JSON Lines (RFC 8259, one object a line, UTF-8): what the export writes, it can read again.

In: Records. Out: lines after record.schema.json beside this file. The check takes such lines and the plain answers and
errors of `rakelight read --format json` (../output/answer.schema.json).
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict
from importlib.resources import files

from pipelines.export.record import Data, ExportError, Record
from pipelines.output.json_lines import load_schema
from reader.errors import SetupError, one_line

SHOWN_LENGTH = 120
"""Most characters of a schema's complaint that are shown."""


def load_record_schema() -> Data:
    """Return the JSON Schema of a record."""
    text = files("pipelines.export").joinpath("record.schema.json").read_text(encoding="utf-8")
    schema: Data = json.loads(text)
    return schema


def write_line(line: Data) -> bytes:
    """Return one line with its end.

    Half of a broken file name (a lone surrogate) is escaped, which is JSON's own escape at the same time.
    """
    text = json.dumps(line, ensure_ascii=False, allow_nan=False) + "\n"
    return text.encode("utf-8", "backslashreplace")


def record_line(record: Record) -> bytes:
    """Return a record as one line."""
    decision = None if record.decision is None else asdict(record.decision)
    line = {
        "record": 1,
        "case": record.case,
        "part": record.part,
        "decision": decision,
        "answer": record.answer,
    }
    return write_line(line)


def open_check() -> Callable[[Data], None]:
    """Return a function that raises ExportError for a line of neither form. Raises SetupError without jsonschema."""
    try:
        from jsonschema import Draft202012Validator
        from jsonschema.exceptions import best_match
        from referencing import Registry, Resource
    except ImportError as error:
        raise SetupError("jsonschema is missing; install the extra 'export', e.g. pip install '.[export]'") from error
    answers, records = load_schema(), load_record_schema()
    registry = Registry().with_resources(
        (schema["$id"], Resource.from_contents(schema)) for schema in (answers, records)
    )
    check_record = Draft202012Validator(records, registry=registry)
    parts = {
        kind: Draft202012Validator({"$ref": f"{answers['$id']}#/$defs/{kind}"}, registry=registry)
        for kind in ("answer", "failure")
    }

    def check(line: Data) -> None:
        validator = check_record if "record" in line else parts["failure" if "error" in line else "answer"]
        worst = best_match(validator.iter_errors(line))
        if worst is not None:
            place = "/".join(str(step) for step in worst.absolute_path) or "the object"
            raise ExportError(f"is no record: {one_line(place)}: {one_line(worst.message)[:SHOWN_LENGTH]}")
        _check_marks(line.get("answer", line))

    return check


def _check_marks(answer: Data) -> None:
    """Check what a schema cannot say: every mark has its own id, and the serial stands in one of them."""
    ids = [mark["id"] for mark in answer.get("marks", ())]
    if len(set(ids)) < len(ids):
        raise ExportError("is no record: two marks have the same id")
    if answer.get("serial") and answer["serial"]["mark"] not in ids:
        raise ExportError("is no record: the serial's mark is none of its marks")
