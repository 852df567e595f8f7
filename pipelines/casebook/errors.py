"""The one error of the casebook. Nothing heavy is imported, so that a caller can name it before opening one."""

from __future__ import annotations

from reader.errors import RakelightError


class CasebookError(RakelightError):
    """A casebook that cannot be opened, read or written, or a request that it must refuse.

    `transient`: the same call may work later (locked by another writer, database server restarting). Every write is
    atomic and recording is idempotent, so that it can be tried again without harm.
    """

    def __init__(self, message: str, *, transient: bool = False) -> None:
        self.transient = transient
        super().__init__(message)
