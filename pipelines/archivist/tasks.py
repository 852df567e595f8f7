"""What goes to a worker and what comes back: plain types that can be sent to another process or machine."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from pipelines.casebook.records import NewAnswer, NewFailure
from reader import settings

SCAN_RULES = 1
"""Version of what prints.py does with a scan; raised when another version would find or read other pictures."""


@dataclass(frozen=True)
class ReadSettings:
    """What decides how a photo is read; a change means that it is read again."""

    maker: str | None = None
    pixel_limit: int = settings.PIXEL_LIMIT
    split_pages: bool = True
    offer_treatments: bool = True
    scan_rules: int = SCAN_RULES

    def as_json(self) -> dict[str, str | int | bool | None]:
        """Return the settings as plain values."""
        return asdict(self)


@dataclass(frozen=True)
class Limits:
    """What a worker may use for one photo: seconds, and megabytes of memory of its own."""

    seconds: float = 300.0
    memory_mb: int = 2000


@dataclass(frozen=True)
class Task:
    """One file to be read, and the SHA-256 that it had when it was listed."""

    path: str
    sha256: str


@dataclass(frozen=True)
class FileResult:
    """All that reading one file gave: an answer or a failure for each part of it.

    `sha256` is that of the bytes that were read. `gone`: the file is not there any more, or changed meanwhile, so that
    nothing is to be recorded. `seconds` and `peak_mb`: the time it took and the most memory its worker ever held.
    """

    path: str
    sha256: str
    answers: tuple[NewAnswer, ...] = ()
    failures: tuple[NewFailure, ...] = ()
    gone: str | None = None
    seconds: float = 0.0
    peak_mb: float = 0.0


def set_aside(task: Task, kind: str, reason: str) -> FileResult:
    """Return the result of a file that gave nothing."""
    return FileResult(task.path, task.sha256, failures=(NewFailure(reason, kind),))
