"""One photo's record, as every archive format is written from it: what was read, and what a person decided.

Records come from a JSON Lines file or from the casebook (sources.py) and go into the formats, one file each in this
folder. Nothing here opens the photo.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any

from reader.errors import RakelightError, one_line

Data = dict[str, Any]
"""A part of the version-1 answer as plain data (../output/answer.schema.json)."""

_PAGE = re.compile(r"page ([1-9][0-9]{0,3})")


class ExportError(RakelightError):
    """A record, or a whole export, that cannot be written; the text is one line."""


class TargetError(ExportError):
    """The place of the export takes nothing more, whatever record comes: the disk is full, or gone."""


class DecisionKind(StrEnum):
    """What a person decided about the serial of an instrument."""

    SERIAL = "serial"
    """The number is `Decision.text`, whether it was read so or not."""
    NOT_A_SERIAL = "not-a-serial"
    """What was read is something else, a part number say."""
    CANNOT_BE_READ = "cannot-be-read"
    """Nobody can read it from the photos."""


@dataclass(frozen=True)
class Decision:
    """A person's decision on a case.

    `text` is the serial, empty unless `kind` says serial. `when` is ISO 8601, `because` the person's own words or
    empty. `maker` and `dating` are in the answer's form where the decision brought them anew. `shared`: the case has
    more photos than one, so that the number may stand on another photo than this one.
    """

    kind: DecisionKind
    text: str
    by: str
    when: str
    because: str = ""
    maker: Data | None = None
    dating: Data | None = None
    shared: bool = False

    def __post_init__(self) -> None:
        if (self.kind == DecisionKind.SERIAL) != bool(self.text):
            raise ValueError(f"a decision of the kind {self.kind} has {'no' if self.text else 'a'} text")


@dataclass(frozen=True)
class Record:
    """What is known of one photo.

    `photo` is the original, which is only ever read. `relative` names it in exports: with slashes, from the folder of
    all photos, never absolute and without '..'. `sha256` is of the original's bytes, in lower-case hexadecimal.
    `width` and `height` are pixels of the upright photo. `answer` is the version-1 answer as plain data; its quads lie
    in the upright photo, and the path in it is `relative`. `case` names the case in the casebook. `part` is empty for
    a whole photo, else 'page 2' or 'page 1 print 3', as the casebook names parts of a scan.
    """

    photo: Path
    relative: str
    sha256: str
    width: int
    height: int
    answer: Data
    case: str | None = None
    decision: Decision | None = None
    part: str = ""

    def __post_init__(self) -> None:
        if not is_relative(self.relative):
            raise ValueError(f"{one_line(self.relative)!r} is no relative path below the folder of photos")

    @property
    def page(self) -> int:
        """The page of the file that was read, counted from 0."""
        found = _PAGE.match(self.part)
        return int(found[1]) - 1 if found else 0

    @property
    def name(self) -> str:
        """What the record is called in exports and messages: the relative path, and the part where there is one."""
        return f"{self.relative}, {self.part}" if self.part else self.relative

    @property
    def marks(self) -> list[Data]:
        """The marks of the answer."""
        marks: list[Data] = self.answer["marks"]
        return marks


def is_relative(path: str) -> bool:
    """Return whether a path with slashes stays below the folder it starts in, and is written the one plain way."""
    return "\0" not in path and all(part not in ("", ".", "..") for part in path.split("/"))
