"""What a person says of cases: decisions, merges, and cases kept apart. Each is a new row; none replaces another.

All functions work on the writer's connection and leave it to the caller to keep or drop the whole.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, insert, select

from pipelines.casebook import tables
from pipelines.casebook.errors import CasebookError
from pipelines.casebook.record import current_case, link_photo, now, write_dating
from pipelines.casebook.records import Decision, Outcome, canonical_json, search_key

AnyRow = Row[*tuple[Any, ...]]
"""A row of a query, its columns as attributes."""


def decide(connection: Connection, case: int, decision: Decision) -> None:
    """Write a decision on a case, or on the one that it was merged into."""
    _check_person(decision.by, decision.because)
    text = (decision.text or "").strip()
    if (decision.outcome is Outcome.SERIAL) != bool(search_key(text)):
        raise CasebookError("a decision is a serial number, or that there is none; give the one or the other")
    _write_decision(connection, current_case(connection, case), decision, text or None, None)


def merge_cases(connection: Connection, kept: int, merged: int, by: str, because: str) -> None:
    """Move the photos of `merged` to `kept`, with its decision where `kept` has none."""
    _check_person(by, because)
    kept, merged = current_case(connection, kept), current_case(connection, merged)
    if kept == merged:
        raise CasebookError(f"this is case {kept} already; nothing to merge")
    ours, theirs = find_decision(connection, kept), find_decision(connection, merged)
    if ours is not None and theirs is not None and _differ(ours, theirs):
        raise CasebookError(f"cases {kept} and {merged} were decided differently; decide one of them anew, then merge")
    links = tables.latest_links.c
    for photo_id in connection.scalars(select(links.photo_id).where(links.case_id == merged).order_by(links.id)).all():
        link_photo(connection, photo_id, kept)
    row = {"kept_id": kept, "merged_id": merged, "by": by, "because": because, "at": now()}
    connection.execute(insert(tables.merges), row)
    if ours is None and theirs is not None:
        decision = read_decision(theirs)
        _write_decision(connection, kept, decision, decision.text, theirs.id)


def keep_apart(connection: Connection, first: int, second: int, by: str, because: str) -> None:
    """Write that two cases are two instruments. Raises CasebookError where they are one case already."""
    _check_person(by, because)
    first, second = current_case(connection, first), current_case(connection, second)
    if first == second:
        raise CasebookError(f"this is one case, {first}; merged cases cannot be kept apart")
    row = {"first_id": first, "second_id": second, "by": by, "because": because, "at": now()}
    connection.execute(insert(tables.kept_apart), row)


def find_decision(connection: Connection, case: int) -> AnyRow | None:
    """Return the newest decision of a case."""
    latest = tables.latest_decisions
    return connection.execute(select(latest).where(latest.c.case_id == case)).first()


def read_decision(row: AnyRow, taken_over_from: int | None = None) -> Decision:
    """Return a row of decisions as a type."""
    return Decision(
        outcome=Outcome(row.outcome),
        text=row.number,
        by=row.by,
        at=row.at,
        because=row.because,
        maker=_read_json(row.maker),
        dating=_read_json(row.dating),
        taken_over_from=taken_over_from,
    )


def _write_decision(
    connection: Connection, case: int, decision: Decision, text: str | None, taken_over_id: int | None
) -> None:
    maker = decision.maker or {}
    values = {
        "case_id": case,
        "outcome": decision.outcome.value,
        "number": text,
        "number_key": None if text is None else search_key(text),
        "by": decision.by,
        "at": decision.at,
        "because": decision.because,
        "maker": canonical_json(decision.maker) if decision.maker else None,
        "maker_id": maker.get("id"),
        "maker_key": search_key(maker["name"]) if maker else None,
        "dating": canonical_json(decision.dating) if decision.dating else None,
        "taken_over_id": taken_over_id,
    }
    key = connection.execute(insert(tables.decisions).values(**values)).inserted_primary_key
    assert key is not None
    if decision.dating:
        write_dating(connection, decision.dating, decision_id=int(key[0]))


def _differ(one: AnyRow, other: AnyRow) -> bool:
    reopened = Outcome.REOPENED.value
    if reopened in (one.outcome, other.outcome):
        return False
    return bool((one.outcome, one.number_key) != (other.outcome, other.number_key))


def _check_person(by: str, because: str) -> None:
    if not by.strip() or not because.strip():
        raise CasebookError("who decides, and why, must be said; nothing was recorded")


def _read_json(text: str | None) -> Mapping[str, Any] | None:
    if text is None:
        return None
    data: Mapping[str, Any] = json.loads(text)
    return data


def new_decision(
    outcome: Outcome,
    by: str,
    because: str,
    *,
    text: str | None = None,
    maker: Mapping[str, Any] | None = None,
    dating: Mapping[str, Any] | None = None,
    at: datetime | None = None,
) -> Decision:
    """Return a decision made now, or at the moment given."""
    return Decision(outcome, text, by, at or now(), because, maker, dating)
