"""Every error that Rakelight raises on purpose.

The reader raises these and never prints or exits; pipelines/command.py turns them into one line and an
exit status in one place. A message is one line that says what was wrong with which file or value and what to do.
"""

from __future__ import annotations

from pathlib import Path


class RakelightError(Exception):
    """Base of all errors that are the caller's business; the text is one line, ready to show."""

    exit_status = 1


class PhotoError(RakelightError):
    """A file that cannot be read as a photo."""

    def __init__(self, path: Path | str, problem: str, remedy: str) -> None:
        self.path = str(path)
        self.problem = problem
        self.remedy = remedy
        super().__init__(f"{one_line(self.path)}: {problem}; {remedy}")


class TableError(RakelightError):
    """A data table that breaks its own rules; names the file, and the row and column where there is one."""

    def __init__(self, file: Path | str, problem: str, row: int | None = None, column: str | None = None) -> None:
        self.file = str(file)
        self.problem = problem
        self.row = row
        self.column = column
        place = one_line(self.file)
        if row is not None:
            place += f", row {row}"
        if column is not None:
            place += f", column {column}"
        super().__init__(f"{place}: {problem}")


class MakerError(RakelightError):
    """A maker's name that no table knows, or that fits several.

    `candidates` are the nearest names with their scores, 0 to 1, best first.
    """

    def __init__(self, message: str, candidates: tuple[tuple[str, float], ...] = ()) -> None:
        self.candidates = candidates
        super().__init__(message)


class SettingsError(RakelightError):
    """An option or setting outside its allowed values."""

    exit_status = 2


class SetupError(RakelightError):
    """Something that must be installed is missing."""


def one_line(text: str) -> str:
    """Return the text with control characters (a newline in a file name, say) written as escapes."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)
