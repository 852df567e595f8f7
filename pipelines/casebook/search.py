"""Finding cases, and showing them on one line each. Everything here only reads."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Select, and_, exists, func, or_, select, union

from pipelines.casebook import tables
from pipelines.casebook.errors import CasebookError
from pipelines.casebook.judge import AnyRow, read_decision
from pipelines.casebook.records import CaseSummary, Decision, Outcome, Query, State, search_key

AFTER_PREFIX = "\U0010ffff"
"""Stands after every character that a key may hold, so that a prefix is a range of the index."""

MANY_HITS = 3000
"""From so many marks on, that a number fits, a search goes through the cases instead. With 8 marks a photo, a page of
50 is then full after about 2,000 of a million marks' 125,000 cases."""

CASES_AT_ONCE = 500
"""Cases in one question to the database; SQLite allowed 999 values in a statement before 3.32."""

LINKS, ANSWERS, DECISIONS = tables.latest_links.c, tables.latest_answers.c, tables.latest_decisions.c


def select_cases(connection: Connection, query: Query) -> Select[int]:
    """Return the SELECT of the ids of all cases that fit. Raises CasebookError for words without a letter or figure."""
    case = tables.cases.c.id
    found = select(case).where(~exists().where(tables.merges.c.merged_id == case))
    if query.number is not None:
        found = found.where(_has_number(connection, query.number, prefix=query.prefix))
    if query.text is not None:
        found = found.where(case.in_(_with_text(query.text)))
    if query.maker is not None:
        found = found.where(_has_maker(query.maker))
    if query.years is not None:
        first, last = query.years
        dated = tables.case_datings.c
        found = found.where(exists().where(dated.case_id == case, dated.earliest <= last, dated.latest >= first))
    if query.state is not None:
        states = tables.case_states.c
        state = select(states.state).where(states.case_id == case).scalar_subquery()
        found = found.where(state == query.state.value, *_hint(query.state))
    return found


def find(connection: Connection, query: Query, limit: int, before: int | None) -> list[CaseSummary]:
    """Return the cases that fit, newest first, from the one before `before`."""
    found = select_cases(connection, query).order_by(tables.cases.c.id.desc()).limit(limit)
    if before is not None:
        found = found.where(tables.cases.c.id < before)
    return summarize(connection, connection.scalars(found).all())


def open_cases(connection: Connection, limit: int, offset: int) -> list[CaseSummary]:
    """Return the open cases that have an answer: most years at stake first, then undated numbers, then the rest."""
    states = tables.case_states.c
    state = select(states.state).where(states.case_id == LINKS.case_id).scalar_subquery()
    rows = connection.execute(
        select(LINKS.case_id)
        .join(tables.latest_answers, ANSWERS.photo_id == LINKS.photo_id)
        .where(state == State.OPEN.value)
        .order_by(ANSWERS.urgency.desc(), ANSWERS.id.desc())
        .execution_options(yield_per=CASES_AT_ONCE)
    )
    found: dict[int, None] = {}  # a case stands where its most urgent photo does
    for row in rows:
        found.setdefault(row.case_id)
        if len(found) == offset + limit:
            break
    rows.close()
    return summarize(connection, list(found)[offset:])


def count_states(connection: Connection) -> dict[State, int]:
    """Return how many cases are in each state; merged ones are left out."""
    state = tables.case_states.c.state
    counted = {State(name): number for name, number in connection.execute(select(state, func.count()).group_by(state))}
    return {one: counted.get(one, 0) for one in State if one is not State.MERGED}


def walk_cases(connection: Connection, query: Query) -> Iterator[list[int]]:
    """Yield the ids of all cases that fit, oldest first, some at a time."""
    last = 0
    found = select_cases(connection, query).order_by(tables.cases.c.id).limit(CASES_AT_ONCE)
    while some := list(connection.scalars(found.where(tables.cases.c.id > last))):
        yield some
        last = some[-1]


@dataclass(frozen=True)
class _Facts:
    """What the one-line form of some cases is put together from."""

    opened: dict[int, datetime]
    states: dict[int, State]
    decisions: dict[int, Decision]
    photos: dict[int, list[AnyRow]]
    datings: dict[int, list[AnyRow]]


def summarize(connection: Connection, ids: Sequence[int]) -> list[CaseSummary]:
    """Return the cases on one line each, in the order of their ids here."""
    lines: list[CaseSummary] = []
    for some in batches(ids):
        facts = _collect(connection, some)
        lines += [_summarize(case, facts) for case in some]
    return lines


def find_states(connection: Connection, ids: Sequence[int]) -> dict[int, State]:
    """Return the state of each of these cases."""
    states = tables.case_states.c
    rows = connection.execute(select(states.case_id, states.state).where(states.case_id.in_(ids)))
    return {case: State(state) for case, state in rows}


def find_decisions(connection: Connection, ids: Sequence[int], *, newest: bool = True) -> dict[int, list[Decision]]:
    """Return the newest decision of each of these cases that has one, or all of them, oldest first."""
    source = tables.latest_decisions if newest else tables.decisions
    origin = tables.decisions.alias("origin")
    rows = connection.execute(
        select(*source.c, origin.c.case_id.label("from_case"))
        .outerjoin(origin, origin.c.id == source.c.taken_over_id)
        .where(source.c.case_id.in_(ids))
        .order_by(source.c.id)
    )
    found: dict[int, list[Decision]] = {}
    for row in rows:
        found.setdefault(row.case_id, []).append(read_decision(row, row.from_case))
    return found


def _collect(connection: Connection, ids: Sequence[int]) -> _Facts:
    opened = connection.execute(select(tables.cases.c.id, tables.cases.c.opened).where(tables.cases.c.id.in_(ids)))
    photos = connection.execute(
        select(
            LINKS.case_id,
            tables.photos.c.path,
            ANSWERS.id.label("answer_id"),
            *(ANSWERS[name] for name in ("accepted", "number", "probability", "maker_name", "urgency")),
        )
        .join(tables.photos, tables.photos.c.id == LINKS.photo_id)
        .outerjoin(tables.latest_answers, ANSWERS.photo_id == LINKS.photo_id)
        .where(LINKS.case_id.in_(ids))
        .order_by(LINKS.id)
    )
    datings = connection.execute(select(tables.case_datings).where(tables.case_datings.c.case_id.in_(ids)))
    return _Facts(
        opened={case: moment for case, moment in opened},
        states=find_states(connection, ids),
        decisions={case: found[-1] for case, found in find_decisions(connection, ids).items()},
        photos=_group(photos),
        datings=_group(datings),
    )


def _group(rows: Iterable[AnyRow]) -> dict[int, list[AnyRow]]:
    groups: dict[int, list[AnyRow]] = {}
    for row in rows:
        groups.setdefault(row.case_id, []).append(row)
    return groups


def _summarize(case: int, facts: _Facts) -> CaseSummary:
    photos = facts.photos.get(case, [])
    decision = facts.decisions.get(case)
    decided = decision is not None and decision.outcome is not Outcome.REOPENED
    # Accepted readings first, then the surest.
    best = max(
        (row for row in photos if row.number is not None), key=lambda row: (row.accepted, row.probability), default=None
    )
    number: str | None = decision.text if decided and decision else best.number if best else None
    dating = _choose_dating(facts.datings.get(case, []), best.answer_id if best else None, number)
    maker = (decision.maker["name"] if decision and decision.maker else None) or next(
        (row.maker_name for row in photos if row.maker_name), None
    )
    return CaseSummary(
        id=case,
        state=facts.states[case],
        number=number,
        probability=None if best is None or decided else best.probability,
        maker=maker,
        edtf=dating.edtf if dating else None,
        year=dating.year if dating else None,
        interval=(dating.earliest, dating.latest) if dating else None,
        photos=len(photos),
        path=photos[0].path if photos else "",
        opened=facts.opened[case],
        years_at_stake=max(
            (row.urgency for row in photos if row.urgency is not None and row.urgency >= 0), default=None
        ),
        decision=decision,
    )


def _choose_dating(datings: list[AnyRow], answer_id: int | None, number: str | None) -> AnyRow | None:
    """Return the decision's own dating, else that of the best reading, else any; None without a number."""
    if number is None:
        return None
    return next(
        itertools.chain(
            (row for row in datings if row.decision_id is not None),
            (row for row in datings if row.answer_id == answer_id),
            datings,
        ),
        None,
    )


def _has_number(connection: Connection, number: str, *, prefix: bool) -> Any:
    """Return the condition that a case has a mark or a decision with this number.

    Few hits are looked up in the index, and their cases listed. With many, the cases are gone through from the newest
    on until a page is full.
    """
    key = _need_key(number, "number")

    def fits(column: Any) -> Any:
        return and_(column >= key, column < key + AFTER_PREFIX) if prefix else column == key

    case = tables.cases.c.id
    read = (
        select(LINKS.case_id)
        .join(tables.latest_answers, ANSWERS.photo_id == LINKS.photo_id)
        .join(tables.marks, tables.marks.c.answer_id == ANSWERS.id)
        .where(fits(tables.marks.c.key))
    )
    decided = select(DECISIONS.case_id).where(fits(DECISIONS.number_key))
    hits = select(tables.marks.c.id).where(fits(tables.marks.c.key)).limit(MANY_HITS).subquery()
    if connection.scalar(select(func.count()).select_from(hits)) == MANY_HITS:
        return or_(read.where(LINKS.case_id == case).exists(), decided.where(DECISIONS.case_id == case).exists())
    return case.in_(union(read, decided))


def _with_text(text: str) -> Any:
    return (
        select(LINKS.case_id)
        .join(tables.latest_answers, ANSWERS.photo_id == LINKS.photo_id)
        .join(tables.marks, tables.marks.c.answer_id == ANSWERS.id)
        .where(tables.marks.c.key.contains(_need_key(text, "text"), autoescape=True))
    )


def _has_maker(maker: str) -> Any:
    key = _need_key(maker, "maker")
    case = tables.cases.c.id
    read = (
        select(LINKS.case_id)
        .join(tables.latest_answers, ANSWERS.photo_id == LINKS.photo_id)
        .where(or_(ANSWERS.maker_id == maker, ANSWERS.maker_key.contains(key, autoescape=True)), LINKS.case_id == case)
    )
    decided = select(DECISIONS.case_id).where(
        or_(DECISIONS.maker_id == maker, DECISIONS.maker_key.contains(key, autoescape=True)), DECISIONS.case_id == case
    )
    return or_(read.exists(), decided.exists())


def _need_key(words: str, what: str) -> str:
    key = search_key(words)
    if not key:
        raise CasebookError(f"a {what} to look for has a letter or a figure; nothing was looked for")
    return key


def _hint(state: State) -> list[Any]:
    """Return what else is true of every case in a state, for the states that few are in: it saves looking at all."""
    case = tables.cases.c.id
    if state is State.DECIDED:
        return [case.in_(select(tables.decisions.c.case_id))]
    if state is State.FAILED:
        failed = select(LINKS.case_id).join(tables.failures, tables.failures.c.photo_id == LINKS.photo_id)
        return [case.in_(failed)]
    return []


def batches(ids: Sequence[int]) -> Iterator[Sequence[int]]:
    """Yield the ids, as many at a time as one question to the database may hold."""
    for start in range(0, len(ids), CASES_AT_ONCE):
        yield ids[start : start + CASES_AT_ONCE]
