"""Writing what a reader said of a file: answers with their marks and datings, or why there is none.

All functions work on the writer's connection and leave it to the caller to keep or drop the whole.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Table, insert, select

from pipelines.casebook import tables
from pipelines.casebook.errors import CasebookError
from pipelines.casebook.records import Known, Method, NewAnswer, NewFailure, Recorded, canonical_json, search_key
from reader.errors import one_line

ANSWER_VERSION = 1

NO_NUMBER = -3.0
"""Urgency of an answer without a number, the least."""

HASHES_AT_ONCE = 500
"""Hashes in one question to the database; SQLite allowed 999 values in a statement before 3.32."""


@dataclass(frozen=True)
class FileResult:
    """All that one method said of one file. `case`: where its photos belong unless they have a case already."""

    sha256: str
    path: str
    method: Method
    answers: Sequence[NewAnswer] = ()
    failures: Sequence[NewFailure] = ()
    case: int | None = None
    origin: str = "archive"


def relative_path(path: str | Path, root: Path | None) -> str:
    """Return the path below `root` with slashes, or the path as it is without a root.

    Raises CasebookError for a path that does not lie below it. Nothing is looked up on disk.
    """
    if root is None:
        return str(path)
    try:
        return Path(os.path.abspath(path)).relative_to(os.path.abspath(root)).as_posix()  # noqa: PTH100  # no links
    except ValueError as error:
        raise CasebookError(f"{one_line(str(path))} is not below {one_line(str(root))}; name a folder above") from error


def check_result(result: FileResult) -> None:
    """Raise CasebookError where a result cannot be kept as it is."""
    shown = one_line(result.path)
    if not result.answers and not result.failures:
        raise CasebookError(f"{shown}: neither an answer nor a failure; nothing was recorded")
    parts = [one.part for one in result.answers] + [one.part for one in result.failures]
    if len(set(parts)) != len(parts):
        raise CasebookError(f"{shown}: a part of it comes twice; nothing was recorded")
    for new in result.answers:
        photo = new.answer.get("photo")
        if new.answer.get("version") != ANSWER_VERSION or not isinstance(photo, Mapping) or "marks" not in new.answer:
            raise CasebookError(f"{shown}: this is no answer of version {ANSWER_VERSION}; nothing was recorded")
        if photo.get("sha256") != result.sha256:
            raise CasebookError(f"{shown}: answers of two files cannot be recorded as one; nothing was recorded")


def record_file(connection: Connection, result: FileResult) -> Recorded:
    """Write all that one method said of a file; what is there already stays as it is."""
    check_result(result)
    method_id = ensure_method(connection, result.method)
    case = None if result.case is None else current_case(connection, result.case)
    cases = []
    new = False
    everything: list[NewAnswer | NewFailure] = [*result.answers, *result.failures]
    for one in everything:
        photo_id = _ensure_photo(connection, result, one.part)
        cases.append(_ensure_case(connection, photo_id, case, result.origin))
        if isinstance(one, NewAnswer):
            new |= _write_answer(connection, photo_id, method_id, one, result.path)
        else:
            new |= _write_failure(connection, photo_id, method_id, one)
    return Recorded(tuple(cases), new)


def current_case(connection: Connection, case: int) -> int:
    """Return the case that a case was merged into, or itself. Raises CasebookError for one that does not exist."""
    if connection.scalar(select(tables.cases.c.id).where(tables.cases.c.id == case)) is None:
        raise CasebookError(f"there is no case {case}; `rakelight cases` lists them")
    merges = tables.merges.c
    while (into := connection.scalar(select(merges.kept_id).where(merges.merged_id == case))) is not None:
        case = into
    return case


def open_case(connection: Connection, origin: str) -> int:
    """Write a new case and return it."""
    return _insert(connection, tables.cases, origin=origin, opened=now())


def now() -> datetime:
    """Return this moment in UTC."""
    return datetime.now(UTC)


def ensure_method(connection: Connection, method: Method) -> int:
    """Return the row of a method, written where it is new."""
    fingerprint = method.fingerprint
    known = connection.scalar(select(tables.methods.c.id).where(tables.methods.c.fingerprint == fingerprint))
    return known or _insert(
        connection,
        tables.methods,
        fingerprint=fingerprint,
        reader=method.reader,
        models=canonical_json(method.models),
        settings=canonical_json(method.settings),
    )


def find_known(connection: Connection, hashes: Iterable[str], method: Method) -> dict[str, Known]:
    """Return what is known of those files that this method answered or failed on."""
    found: dict[str, Known] = {}
    method_id = connection.scalar(select(tables.methods.c.id).where(tables.methods.c.fingerprint == method.fingerprint))
    if method_id is None:
        return found
    wanted = set(hashes)
    # Failures first: an answer that came later counts.
    for source, what in ((tables.failures, Known.FAILED), (tables.answers, Known.ANSWERED)):
        query = (
            select(tables.photos.c.sha256)
            .join(source, source.c.photo_id == tables.photos.c.id)
            .where(source.c.method_id == method_id)
        )
        if len(wanted) <= HASHES_AT_ONCE:
            query = query.where(tables.photos.c.sha256.in_(wanted))
        # More are sifted here: one pass over the tables is faster than many questions.
        found.update((sha256, what) for sha256 in connection.scalars(query) if sha256 in wanted)
    return found


def write_dating(connection: Connection, dating: Mapping[str, Any], **owner: int) -> None:
    """Write a dating in the answer's form; `owner` is answer_id or decision_id."""
    earliest, latest = dating["interval"]
    values = {"year": dating["year"], "earliest": earliest, "latest": latest, "edtf": dating["edtf"]}
    connection.execute(insert(tables.datings), {**owner, **values})


def expected_years(answer: Mapping[str, Any]) -> float | None:
    """Return by how many years the date of an answer is expected to move if a person reads the number; None undated.

    Where the dating says what year each rival number would give, that is the mean distance of their years from the
    answer's, by their probabilities. Elsewhere it is the chance that the number is wrong, times the interval's length.
    """
    dating, serial = answer.get("dating"), answer.get("serial")
    if not dating or not serial:
        return None
    rivals = [one for one in dating.get("candidates", ()) if one["year"] is not None and one["text"] != serial["text"]]
    if rivals:
        return float(sum(one["probability"] * abs(one["year"] - dating["year"]) for one in rivals))
    earliest, latest = dating["interval"]
    return float((1 - serial["probability"]) * (latest - earliest))


def rank(answer: Mapping[str, Any], years_at_stake: float | None) -> float:
    """Return where an answer stands among those that wait for a person, the highest first.

    From 0 on it is the years at stake; from -1 to -2 an undated number, the doubtful before the sure; -3: no number.
    """
    if years_at_stake is not None:
        return max(years_at_stake, 0.0)
    serial = answer.get("serial")
    return float(-1 - serial["probability"]) if serial else NO_NUMBER


def _ensure_photo(connection: Connection, result: FileResult, part: str) -> int:
    photos = tables.photos.c
    known = connection.scalar(select(photos.id).where(photos.sha256 == result.sha256, photos.part == part))
    return known or _insert(
        connection, tables.photos, sha256=result.sha256, part=part, path=result.path, first_seen=now()
    )


def _ensure_case(connection: Connection, photo_id: int, case: int | None, origin: str) -> int:
    """Return the case that a photo belongs to; without one it goes to `case`, or to a new case."""
    links = tables.latest_links.c
    known = connection.scalar(select(links.case_id).where(links.photo_id == photo_id))
    if known is not None:
        return int(known)
    home = open_case(connection, origin) if case is None else case
    link_photo(connection, photo_id, home)
    return home


def link_photo(connection: Connection, photo_id: int, case: int) -> None:
    """Say that a photo belongs to a case from now on."""
    connection.execute(insert(tables.case_photos), {"photo_id": photo_id, "case_id": case, "at": now()})


def _write_answer(connection: Connection, photo_id: int, method_id: int, new: NewAnswer, path: str) -> bool:
    """Write an answer unless it is there; tell whether it was new."""
    answers = tables.answers.c
    there = select(answers.id).where(answers.photo_id == photo_id, answers.method_id == method_id)
    if connection.scalar(there) is not None:
        return False
    answer = new.answer
    photo = answer["photo"]
    # Only these four facts of a file are kept: never its place, its owner or its camera.
    kept = {"path": path, "sha256": photo["sha256"], "width": photo["width"], "height": photo["height"]}
    serial = answer.get("serial") or {}
    maker = answer.get("maker") or {}
    answer_id = _insert(
        connection,
        tables.answers,
        photo_id=photo_id,
        method_id=method_id,
        read_at=now(),
        accepted=bool(serial.get("accepted", False)),
        number=serial.get("text"),
        number_key=search_key(serial["text"]) if serial else None,
        probability=serial.get("probability"),
        maker_id=maker.get("id"),
        maker_name=maker.get("name"),
        maker_key=search_key(maker["name"]) if maker else None,
        width=photo["width"],
        height=photo["height"],
        phash=new.phash,
        body=json.dumps({**answer, "photo": kept}, allow_nan=False),
        urgency=rank(answer, expected_years(answer) if new.years_at_stake is None else new.years_at_stake),
    )
    if answer["marks"]:
        connection.execute(insert(tables.marks), [_mark_row(answer_id, mark) for mark in answer["marks"]])
    if answer.get("dating"):
        write_dating(connection, answer["dating"], answer_id=answer_id)
    return True


def _mark_row(answer_id: int, mark: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "answer_id": answer_id,
        "place": mark["id"],
        "text": mark["text"],
        "key": search_key(mark["text"]),
        "kind": mark["kind"],
        "probability": mark["probability"],
        "quad": canonical_json(mark["quad"]),
    }


def _write_failure(connection: Connection, photo_id: int, method_id: int, new: NewFailure) -> bool:
    """Write why a photo was set aside, unless it is there; tell whether it was new."""
    row = {"photo_id": photo_id, "method_id": method_id, "kind": new.kind, "reason": new.reason}
    failures = tables.failures.c
    if connection.scalar(select(failures.id).where(*(failures[name] == row[name] for name in row))) is not None:
        return False
    connection.execute(insert(tables.failures), {**row, "at": now()})
    return True


def _insert(connection: Connection, table: Table, **values: Any) -> int:
    key = connection.execute(insert(table).values(**values)).inserted_primary_key
    assert key is not None
    return int(key[0])
