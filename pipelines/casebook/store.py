"""The casebook as its users see it: open it, record, decide, find. Each call is one transaction.

Takes and returns the types of records.py. The work is done in record.py, judge.py, search.py, detail.py and suggest.py.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any

from sqlalchemy import Engine

from pipelines.casebook import connect, detail, judge, record, search, suggest
from pipelines.casebook.records import (
    CaseDetail,
    CaseSummary,
    Decision,
    Known,
    Method,
    NewAnswer,
    NewFailure,
    Outcome,
    PhotoRecord,
    Query,
    Recorded,
    State,
    Suggestion,
)


def open_casebook(place: str | Path | None = None, *, create: bool = True) -> Casebook:
    """Open a casebook, made where it is missing (with `create`) and brought to the newest schema version.

    `place` is a file, a URL (sqlite:///FILE, postgresql://USER@HOST/NAME), or None for the user's data folder.
    Raises CasebookError where it cannot be opened, is no casebook, or was written by a newer Rakelight; SetupError
    where a library is missing.
    """
    return Casebook(connect.open_engine(place, create=create))


class Casebook:
    """An open casebook. Threads may share it, processes may not: open it after a fork.

    Every call may raise CasebookError; with `transient` set it may be tried again, and nothing was half done.
    """

    def __init__(self, engine: Engine) -> None:
        self.engine = engine

    @property
    def place(self) -> str:
        """The file or URL, without a password."""
        return connect.show_place(self.engine)

    def __enter__(self) -> Casebook:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close all connections."""
        self.engine.dispose()

    def record_answer(
        self,
        answer: Mapping[str, Any],
        method: Method,
        *,
        part: str = "",
        phash: str | None = None,
        years_at_stake: float | None = None,
        case: int | None = None,
        root: Path | None = None,
        origin: str = "archive",
    ) -> Recorded:
        """Record the one answer of a file; see `record_answers`."""
        new = NewAnswer(answer, part, phash, years_at_stake)
        return self.record_answers([new], method, case=case, root=root, origin=origin)

    def record_answers(
        self,
        answers: Sequence[NewAnswer],
        method: Method,
        *,
        failures: Sequence[NewFailure] = (),
        case: int | None = None,
        root: Path | None = None,
        origin: str = "archive",
    ) -> Recorded:
        """Record all answers of one file, one for each part of it, with the parts that gave none.

        The file's hash and path are those in the answers; with `root` the path is kept relative to it. What the
        casebook has for a part and method already stays. A photo that is new goes to `case`, or opens a case.
        """
        photo = answers[0].answer["photo"]
        path = record.relative_path(photo["path"], root)
        return self._record(record.FileResult(photo["sha256"], path, method, answers, failures, case, origin))

    def record_failure(
        self,
        sha256: str,
        path: str | Path,
        method: Method,
        reason: str,
        *,
        kind: str = "unreadable",
        part: str = "",
        case: int | None = None,
        root: Path | None = None,
        origin: str = "archive",
    ) -> Recorded:
        """Record that a file gave no answer, and why. An answer by the same method that comes later counts."""
        failures = [NewFailure(reason, kind, part)]
        shown = record.relative_path(path, root)
        return self._record(record.FileResult(sha256, shown, method, (), failures, case, origin))

    def known(self, sha256: str, method: Method) -> Known:
        """Return whether this method answered a file or failed on it."""
        return self.known_hashes([sha256], method).get(sha256, Known.NO)

    def known_hashes(self, hashes: Iterable[str], method: Method) -> dict[str, Known]:
        """Return those of the hashes that this method answered or failed on."""
        with connect.reading(self.engine) as connection:
            return record.find_known(connection, hashes, method)

    def new_case(self, origin: str = "bench") -> int:
        """Open a case that has no photo yet, and return its number."""
        with connect.writing(self.engine) as connection:
            return record.open_case(connection, origin)

    def decide(
        self,
        case: int,
        outcome: Outcome,
        *,
        by: str,
        because: str,
        text: str | None = None,
        maker: Mapping[str, Any] | None = None,
        dating: Mapping[str, Any] | None = None,
        at: datetime | None = None,
    ) -> Decision:
        """Record what a person decided; `text` goes with Outcome.SERIAL; `maker`, `dating` in the answer's form."""
        decision = judge.new_decision(outcome, by, because, text=text, maker=maker, dating=dating, at=at)
        with connect.writing(self.engine) as connection:
            judge.decide(connection, case, decision)
        return decision

    def merge_cases(self, kept: int, merged: int, *, by: str, because: str) -> None:
        """Make two cases of one instrument one. Raises CasebookError where persons decided them differently."""
        with connect.writing(self.engine) as connection:
            judge.merge_cases(connection, kept, merged, by, because)

    def keep_apart(self, first: int, second: int, *, by: str, because: str) -> None:
        """Record that two cases are two instruments, so that they are no longer suggested."""
        with connect.writing(self.engine) as connection:
            judge.keep_apart(connection, first, second, by, because)

    def find(self, query: Query | None = None, *, limit: int = 50, before: int | None = None) -> list[CaseSummary]:
        """Return cases that fit, newest first; `before` is the last case of the page before."""
        with connect.reading(self.engine) as connection:
            return search.find(connection, query or Query(), limit, before)

    def open_cases(self, *, limit: int = 50, offset: int = 0) -> list[CaseSummary]:
        """Return cases that wait for a person, those first whose date hangs most on it."""
        with connect.reading(self.engine) as connection:
            return search.open_cases(connection, limit, offset)

    def case(self, case: int) -> CaseDetail:
        """Return all of a case."""
        with connect.reading(self.engine) as connection:
            return detail.show_case(connection, case)

    def suggest_merges(self, case: int | None = None, *, limit: int = 50) -> list[Suggestion]:
        """Return pairs of cases that may be one instrument, of all cases or with `case`; a person merges them."""
        with connect.reading(self.engine) as connection:
            return suggest.suggest_merges(connection, case, limit)

    def iterate_records(self, query: Query | None = None) -> Iterator[PhotoRecord]:
        """Yield every photo of the cases that fit, oldest case first, as the casebook was when it began."""
        with connect.reading(self.engine) as connection:
            yield from detail.iterate_records(connection, query or Query())

    def count_states(self) -> dict[State, int]:
        """Return how many cases are in each state."""
        with connect.reading(self.engine) as connection:
            return search.count_states(connection)

    def _record(self, result: record.FileResult) -> Recorded:
        with connect.writing(self.engine) as connection:
            return record.record_file(connection, result)
