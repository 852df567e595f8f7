"""The answer as data, version 1: one JSON object a line (RFC 8259), UTF-8.

Takes an Answer, an error or the dating of a typed number; the text goes to stdout or into a file. The form is published
as answer.schema.json beside this file (JSON Schema, draft 2020-12). Rounding: probabilities to 4 decimals, corners to
0.1 px, times to 1 ms.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from importlib.resources import files
from pathlib import Path
from typing import Any

from reader.results import ANSWER_VERSION, Answer, Candidate, DatedNumber, Dating, FigureRival, Maker, Mark, Serial


def write_answer(answer: Answer) -> str:
    """Return an answer as one line of JSON with its line end. Raises ValueError for a number that JSON has not."""
    return _line(answer_object(answer))


def write_error(path: Path | str, error: str) -> str:
    """Return what is printed for a file that is no readable photo: one line of JSON with its line end."""
    return _line({"version": ANSWER_VERSION, "photo": {"path": str(path)}, "error": error})


def write_dated(number: str, maker: Maker | None, dating: Dating | None, warnings: Sequence[str]) -> str:
    """Return what is known of a typed number's year as one line of JSON with its line end."""
    return _line(
        {
            "version": ANSWER_VERSION,
            "input": number,
            "maker": None if maker is None else asdict(maker),
            "dating": None if dating is None else _dating(dating),
            "warnings": list(warnings),
        }
    )


def load_schema() -> dict[str, Any]:
    """Return the published JSON Schema of all kinds of line."""
    text = files("pipelines.output").joinpath("answer.schema.json").read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema


def answer_object(answer: Answer) -> dict[str, Any]:
    """Return an answer as plain dicts, lists, strings and numbers."""
    return {
        "version": answer.version,
        "photo": {
            "path": answer.path,
            "sha256": answer.sha256,
            "width": int(answer.width),
            "height": int(answer.height),
        },
        "serial": None if answer.serial is None else _serial(answer.serial),
        "marks": [_mark(mark) for mark in answer.marks],
        "maker": None if answer.maker is None else asdict(answer.maker),
        "dating": None if answer.dating is None else _dating(answer.dating),
        "advice": [asdict(advice) for advice in answer.advice],
        "seconds": {name: round(float(seconds), 3) for name, seconds in answer.seconds.items()},
    }


def _line(data: dict[str, Any]) -> str:
    return json.dumps(data, ensure_ascii=False, allow_nan=False) + "\n"


def _serial(serial: Serial) -> dict[str, Any]:
    return {
        "text": serial.text,
        "probability": _probability(serial.probability),
        "accepted": bool(serial.accepted),
        "mark": int(serial.mark),
        "alternatives": _candidates(serial.alternatives),
    }


def _mark(mark: Mark) -> dict[str, Any]:
    return {
        "id": int(mark.id),
        "text": mark.text,
        "kind": mark.kind.value,
        "why": mark.why,
        "probability": _probability(mark.probability),
        "quad": [[_pixels(x), _pixels(y)] for x, y in mark.quad],
        "surface": mark.surface,
        "characters": [
            {
                "text": character.text,
                "probability": _probability(character.probability),
                "rivals": [[rival.text, _probability(rival.probability)] for rival in character.rivals],
            }
            for character in mark.characters
        ],
    }


def _dating(dating: Dating) -> dict[str, Any]:
    return {
        "edtf": dating.edtf,
        "year": int(dating.year),
        "interval": [int(year) for year in dating.interval],
        "probability": _probability(dating.probability),
        "interval_50": [int(year) for year in dating.interval_50],
        "years": [int(year) for year in dating.years],
        "probabilities": [_probability(probability) for probability in dating.probabilities],
        "candidates": [_number(candidate) for candidate in dating.candidates],
        "figures": [
            {"place": int(figure.place), "rivals": [_rival(rival) for rival in figure.rivals]}
            for figure in dating.figures
        ],
        "alternatives": [{**asdict(other), "interval": list(other.interval)} for other in dating.alternatives],
        "evidence": [asdict(evidence) for evidence in dating.evidence],
        "warnings": list(dating.warnings),
    }


def _number(number: DatedNumber) -> dict[str, Any]:
    interval = None if number.interval is None else list(number.interval)
    return {**asdict(number), "probability": _probability(number.probability), "interval": interval}


def _rival(rival: FigureRival) -> dict[str, Any]:
    interval = None if rival.interval is None else list(rival.interval)
    return {**asdict(rival), "probability": _probability(rival.probability), "interval": interval}


def _candidates(candidates: Sequence[Candidate]) -> list[dict[str, Any]]:
    return [{"text": one.text, "probability": _probability(one.probability)} for one in candidates]


def _pixels(value: float) -> float:
    return round(float(value), 1) + 0.0  # no minus zero


def _probability(value: float) -> float:
    return round(float(value), 4)
