"""Pairs of cases that may be one instrument: the same number at two places, or two copies of one picture.

A pair is only suggested. A person merges the two, or says that they are two instruments.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, select

from pipelines.casebook import tables
from pipelines.casebook.likeness import HASH_BITS
from pipelines.casebook.records import Outcome, State, Suggestion
from pipelines.casebook.search import ANSWERS, DECISIONS, LINKS

NEAR = 8
"""Perceptual hashes that differ in no more bits than this are taken for copies of one picture. Measured on the 19
sample images: copies (smaller, JPEG quality 30, brighter, darker, gray) differ in 0 to 4 bits, one of them, brightened
until much of it is white, in 8; different pictures in 20 or more, 20 being one stamp under two lights."""

BANDS = NEAR + 1
"""Hashes that differ in NEAR bits agree in at least one of NEAR + 1 pieces."""


ROWS_AT_ONCE = 256
"""Hashes that are compared with all of their bucket at once; bounds the memory where thousands of photos are black."""


def suggest_merges(connection: Connection, case: int | None, limit: int) -> list[Suggestion]:
    """Return up to `limit` pairs, those with the same number first, then the most alike pictures."""
    apart = _read_apart(connection)
    found: dict[frozenset[int], Suggestion] = {}
    for one in itertools.chain(_same_number(connection, case), _same_picture(connection, case)):
        pair = frozenset((one.first, one.second))
        if pair not in apart and (case is None or case in pair):
            found.setdefault(pair, one)
        if len(found) == limit:
            break
    return list(found.values())


def _read_apart(connection: Connection) -> set[frozenset[int]]:
    """Return the pairs that a person keeps apart, under the numbers that their cases have now."""
    into = {row.merged_id: row.kept_id for row in connection.execute(select(tables.merges))}

    def current(case: int) -> int:
        while case in into:
            case = into[case]
        return case

    rows = connection.execute(select(tables.kept_apart.c.first_id, tables.kept_apart.c.second_id))
    return {frozenset((current(first), current(second))) for first, second in rows}


def _same_number(connection: Connection, case: int | None) -> Iterator[Suggestion]:
    """Yield pairs of cases with one number, accepted or decided, and makers that do not differ."""
    groups: dict[str, dict[int, tuple[str, set[str]]]] = {}
    for owner, key, number, maker in _read_numbers(connection, case):
        _, makers = groups.setdefault(key, {}).setdefault(owner, (number, set()))
        makers |= {maker} if maker else set()
    for group in groups.values():
        for (first, (number, ours)), (second, (_, theirs)) in itertools.combinations(sorted(group.items()), 2):
            if not ours or not theirs or ours & theirs:
                yield Suggestion(first, second, f"both have the number {number}", number=number)


def _read_numbers(connection: Connection, case: int | None) -> list[tuple[int, str, str, str | None]]:
    """Return case, key, number and maker of accepted readings and of decisions: all, or those that `case` has too."""
    states = tables.case_states.c
    state = select(states.state).where(states.case_id == LINKS.case_id).scalar_subquery()
    decided = select(DECISIONS.case_id, DECISIONS.number_key, DECISIONS.number, DECISIONS.maker_key).where(
        DECISIONS.outcome == Outcome.SERIAL.value, DECISIONS.case_id.in_(select(LINKS.case_id))
    )
    accepted = (
        select(LINKS.case_id, ANSWERS.number_key, ANSWERS.number, ANSWERS.maker_key)
        .join(tables.latest_answers, ANSWERS.photo_id == LINKS.photo_id)
        .where(ANSWERS.accepted, state == State.ACCEPTED.value)
    )
    if case is not None:
        own = [
            *connection.execute(decided.where(DECISIONS.case_id == case)),
            *connection.execute(accepted.where(LINKS.case_id == case)),
        ]
        keys = {row.number_key for row in own}
        decided = decided.where(DECISIONS.number_key.in_(keys))
        accepted = accepted.where(ANSWERS.number_key.in_(keys))
    rows: list[Any] = [*connection.execute(decided), *connection.execute(accepted)]
    return [(row.case_id, row.number_key, row.number, row.maker_key) for row in rows]


def _same_picture(connection: Connection, case: int | None) -> Iterator[Suggestion]:
    """Yield pairs of cases that hold near copies of one picture, the most alike first."""
    # The newest rows are sifted here: for all photos at once that is much faster than the views.
    links, answers = tables.case_photos.c, tables.answers.c
    home = {row.photo_id: row.case_id for row in connection.execute(select(tables.case_photos).order_by(links.id))}
    query = select(answers.photo_id, answers.phash).order_by(answers.photo_id, answers.id)
    newest = {row.photo_id: row.phash for row in connection.execute(query)}
    hashes = sorted({(home[photo], phash) for photo, phash in newest.items() if phash is not None})
    owners = np.array([owner for owner, _ in hashes], np.int64)
    values = np.array([int(one, 16) for _, one in hashes], np.uint64)
    pairs = _near_pairs(owners, values) if case is None else _compare(owners == case, owners, values)
    for apart, first, second in sorted(pairs):
        yield Suggestion(first, second, "two copies of one picture", distance=apart)


def _near_pairs(owners: NDArray[np.int64], values: NDArray[np.uint64]) -> set[tuple[int, int, int]]:
    """Return distance and cases of all near pairs of (N,) hashes; only those that share a piece are compared."""
    found: set[tuple[int, int, int]] = set()
    for low, high in itertools.pairwise(HASH_BITS * band // BANDS for band in range(BANDS + 1)):
        pieces = values >> np.uint64(low) & np.uint64((1 << (high - low)) - 1)
        order = np.argsort(pieces, kind="stable")
        borders = np.flatnonzero(np.diff(pieces[order])) + 1
        for bucket in np.split(order, borders):
            for start in range(0, len(bucket) if len(bucket) > 1 else 0, ROWS_AT_ONCE):
                some = np.zeros(len(bucket), bool)
                some[start : start + ROWS_AT_ONCE] = True
                found |= _compare(some, owners[bucket], values[bucket])
    return found


def _compare(
    some: NDArray[np.bool_], owners: NDArray[np.int64], values: NDArray[np.uint64]
) -> set[tuple[int, int, int]]:
    """Return distance and cases of the near pairs of some of the hashes with all of them."""
    apart = np.bitwise_count(values[some][:, None] ^ values[None, :])
    rows, columns = np.nonzero((apart <= NEAR) & (owners[some][:, None] != owners[None, :]))
    ours, theirs = owners[some][rows], owners[columns]
    firsts, seconds = np.minimum(ours, theirs), np.maximum(ours, theirs)
    return set(zip(apart[rows, columns].tolist(), firsts.tolist(), seconds.tolist(), strict=True))
