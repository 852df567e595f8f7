"""Cases as text for people and as JSON, one object a line (version 1). Times are UTC, paths as they were recorded."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from pipelines.casebook.records import (
    CaseDetail,
    CaseSummary,
    Decision,
    Merge,
    Outcome,
    PhotoRecord,
    Suggestion,
)
from reader.errors import one_line

VERSION = 1
"""Version of the JSON forms here; raised when a reader of the old form would break."""

HEADINGS = ("case", "state", "number", "sure", "made", "maker", "photos", "first photo")

SHOWN_MARKS = 12
"""Most marks of a photo that the text lists; JSON has them all."""

SAID = {
    Outcome.NOT_A_SERIAL: "not a serial",
    Outcome.CANNOT_BE_READ: "cannot be read",
    Outcome.REOPENED: "opened again",
}


def write_line(data: Mapping[str, Any]) -> str:
    """Return one object as a line of JSON with its line end."""
    return json.dumps(data, ensure_ascii=False, allow_nan=False) + "\n"


def summary_object(case: CaseSummary) -> dict[str, Any]:
    """Return a case as plain dicts, lists, strings and numbers."""
    dating = None if case.year is None else {"edtf": case.edtf, "year": case.year, "interval": case.interval}
    return {
        "version": VERSION,
        "case": case.id,
        "state": case.state.value,
        "number": case.number,
        "probability": case.probability,
        "maker": case.maker,
        "dating": dating,
        "photos": case.photos,
        "path": case.path,
        "opened": case.opened.isoformat(),
        "years_at_stake": case.years_at_stake,
        "decision": None if case.decision is None else decision_object(case.decision),
    }


def decision_object(decision: Decision) -> dict[str, Any]:
    """Return a decision as plain dicts, lists, strings and numbers."""
    return {
        "outcome": decision.outcome.value,
        "text": decision.text,
        "by": decision.by,
        "at": decision.at.isoformat(),
        "because": decision.because,
        "maker": decision.maker,
        "dating": decision.dating,
        "taken_over_from": decision.taken_over_from,
    }


def detail_object(case: CaseDetail) -> dict[str, Any]:
    """Return all of a case as plain dicts, lists, strings and numbers."""
    return {
        **summary_object(case.summary),
        "merged_into": case.merged_into,
        "readings": [_photo_object(photo) for photo in case.photos],
        "decisions": [decision_object(one) for one in case.decisions],
        "merges": [_merge_object(one) for one in case.merges],
    }


def suggestion_object(one: Suggestion) -> dict[str, Any]:
    """Return a pair of cases as plain strings and numbers."""
    return {
        "version": VERSION,
        "cases": [one.first, one.second],
        "reason": one.reason,
        "number": one.number,
        "distance": one.distance,
    }


def write_table(cases: Sequence[CaseSummary]) -> str:
    """Return cases as lines in columns under headings; nothing for none."""
    if not cases:
        return ""
    rows = [HEADINGS, *(_cells(case) for case in cases)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(HEADINGS))]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    return "\n".join(lines) + "\n"


def write_detail(case: CaseDetail, alike: Sequence[Suggestion]) -> str:
    """Return all of a case in lines for people, with the cases that may be the same instrument."""
    summary = case.summary
    lines = [f"Case {summary.id}: {summary.state.value}, opened {_moment(summary.opened)}"]
    if case.merged_into is not None:
        lines.append(f"Its photos belong to case {case.merged_into} now.")
    if summary.number is not None:
        lines.append("  number   " + one_line(summary.number) + ("" if case_sure(summary) else " (doubtful)"))
    if summary.maker:
        lines.append("  maker    " + one_line(summary.maker))
    if summary.year is not None and summary.interval:
        lines.append(f"  made     {summary.year} ({summary.interval[0]} to {summary.interval[1]}), EDTF {summary.edtf}")
    for photo in case.photos:
        lines += _photo_lines(photo)
    lines += [f"  decided  {_say_decision(one)}" for one in case.decisions]
    lines += [f"  merged   {_say_merge(one)}" for one in case.merges]
    lines += [f"  alike    {say_suggestion(one)}" for one in alike]
    return "\n".join(lines) + "\n"


def case_sure(case: CaseSummary) -> bool:
    """Tell whether the number of a case needs no doubt mark: accepted, or decided by a person."""
    return case.state.value in {"accepted", "decided"}


def say_suggestion(one: Suggestion) -> str:
    """Return a pair of cases in one line."""
    apart = "" if one.distance is None else f" ({one.distance} bits apart)"
    return f"cases {one.first} and {one.second}: {one_line(one.reason)}{apart}"


def say_outcome(decision: Decision) -> str:
    """Return what was decided, in words."""
    return one_line(decision.text or "") if decision.outcome is Outcome.SERIAL else SAID[decision.outcome]


def _cells(case: CaseSummary) -> tuple[str, ...]:
    decision = case.decision
    said = say_outcome(decision) if decision and decision.outcome is not Outcome.REOPENED else None
    number = said or one_line(case.number or "-")
    return (
        str(case.id),
        case.state.value,
        number if case_sure(case) or case.number is None else f"{number}?",
        "-" if case.probability is None else f"{case.probability:.2f}",
        case.edtf or "-",
        one_line(case.maker or "-"),
        str(case.photos),
        one_line(case.path),
    )


def _photo_lines(photo: PhotoRecord) -> list[str]:
    name = one_line(photo.path) + (f", {one_line(photo.part)}" if photo.part else "")
    if photo.answer is None:
        return [f"  photo    {name}: {one_line(photo.failure or 'not read yet')}"]
    marks = photo.answer["marks"]
    words = [f"{one_line(mark['text'])} ({mark['kind']}, {mark['probability']:.2f})" for mark in marks[:SHOWN_MARKS]]
    more = [f"and {len(marks) - SHOWN_MARKS} more"] if len(marks) > SHOWN_MARKS else []
    return [f"  photo    {name}, {photo.width} x {photo.height}: " + (", ".join([*words, *more]) or "no marks")]


def _say_decision(one: Decision) -> str:
    before = f" (in case {one.taken_over_from})" if one.taken_over_from is not None else ""
    return f"{say_outcome(one)} by {one_line(one.by)}, {_moment(one.at)}{before}: {one_line(one.because)}"


def _say_merge(one: Merge) -> str:
    return f"case {one.merged} into case {one.kept} by {one_line(one.by)}, {_moment(one.at)}: {one_line(one.because)}"


def _photo_object(photo: PhotoRecord) -> dict[str, Any]:
    method = photo.method
    return {
        "path": photo.path,
        "sha256": photo.sha256,
        "part": photo.part,
        "read_at": None if photo.read_at is None else photo.read_at.isoformat(),
        "method": None
        if method is None
        else {"reader": method.reader, "models": method.models, "settings": method.settings},
        "answer": photo.answer,
        "failure": photo.failure,
    }


def _merge_object(one: Merge) -> dict[str, Any]:
    return {
        "kept": one.kept,
        "merged": one.merged,
        "by": one.by,
        "at": one.at.isoformat(),
        "because": one.because,
    }


def _moment(at: datetime) -> str:
    return at.strftime("%Y-%m-%d %H:%M UTC")
