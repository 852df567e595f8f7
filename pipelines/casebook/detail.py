"""A case in full, and all photos with their answers one after the other, as exports take them. Only reads."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence

from sqlalchemy import Connection, or_, select

from pipelines.casebook import tables
from pipelines.casebook.errors import CasebookError
from pipelines.casebook.judge import AnyRow
from pipelines.casebook.records import CaseDetail, Merge, Method, PhotoRecord, Query
from pipelines.casebook.search import ANSWERS, LINKS, find_decisions, find_states, summarize, walk_cases


def show_case(connection: Connection, case: int) -> CaseDetail:
    """Return all of a case. Raises CasebookError for one that does not exist."""
    if connection.scalar(select(tables.cases.c.id).where(tables.cases.c.id == case)) is None:
        raise CasebookError(f"there is no case {case}; `rakelight cases` lists them")
    table = tables.merges.c
    rows = connection.execute(
        select(tables.merges).where(or_(table.kept_id == case, table.merged_id == case)).order_by(table.id)
    )
    merges = tuple(Merge(row.kept_id, row.merged_id, row.by, row.at, row.because) for row in rows)
    return CaseDetail(
        summary=summarize(connection, [case])[0],
        photos=tuple(photo_records(connection, [case])),
        decisions=tuple(find_decisions(connection, [case], newest=False).get(case, ())),
        merges=merges,
        merged_into=next((one.kept for one in merges if one.merged == case), None),
    )


def iterate_records(connection: Connection, query: Query) -> Iterator[PhotoRecord]:
    """Yield every photo of every case that fits, oldest case first, photos in the order in which they came to it."""
    for some in walk_cases(connection, query):
        yield from photo_records(connection, some)


def photo_records(connection: Connection, cases: Sequence[int]) -> Iterator[PhotoRecord]:
    """Yield the photos of some cases (as many as one question may hold), case by case."""
    states = find_states(connection, cases)
    decisions = find_decisions(connection, cases)
    failures = _find_failures(connection, cases)
    rows = connection.execute(
        select(
            LINKS.case_id,
            LINKS.photo_id,
            *(tables.photos.c[name] for name in ("path", "sha256", "part")),
            *(ANSWERS[name] for name in ("phash", "width", "height", "body", "read_at")),
            *(tables.methods.c[name] for name in ("reader", "models", "settings")),
        )
        .join(tables.photos, tables.photos.c.id == LINKS.photo_id)
        .outerjoin(tables.latest_answers, ANSWERS.photo_id == LINKS.photo_id)
        .outerjoin(tables.methods, tables.methods.c.id == ANSWERS.method_id)
        .where(LINKS.case_id.in_(cases))
        .order_by(LINKS.case_id, LINKS.id)
    )
    for row in rows:
        yield PhotoRecord(
            case=row.case_id,
            state=states[row.case_id],
            path=row.path,
            sha256=row.sha256,
            part=row.part,
            phash=row.phash,
            width=row.width,
            height=row.height,
            answer=None if row.body is None else json.loads(row.body),
            method=_read_method(row),
            read_at=row.read_at,
            failure=failures.get(row.photo_id) if row.body is None else None,
            decision=decisions[row.case_id][-1] if row.case_id in decisions else None,
        )


def _read_method(row: AnyRow) -> Method | None:
    if row.reader is None:
        return None
    return Method(row.reader, json.loads(row.models), json.loads(row.settings))


def _find_failures(connection: Connection, cases: Sequence[int]) -> dict[int, str]:
    """Return the newest reason for each photo of these cases that was ever set aside."""
    failures = tables.failures.c
    rows = connection.execute(
        select(failures.photo_id, failures.reason)
        .join(tables.latest_links, LINKS.photo_id == failures.photo_id)
        .where(LINKS.case_id.in_(cases))
        .order_by(failures.id)
    )
    return {photo: reason for photo, reason in rows}
