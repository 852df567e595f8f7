"""What goes into the casebook and what comes out of it, as plain types. Only the standard library is imported.

A *photo* is the content of a file (SHA-256) or one part of it (a page, a print on an album page). A *method* is what it
was read with. A *case* is one instrument. Answers have the form of `pipelines/output/answer.schema.json`, version 1.
"""

from __future__ import annotations

import hashlib
import json
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import Any


class State(StrEnum):
    """Where a case stands. Worked out from its history, never stored."""

    OPEN = "open"
    """Waits for a person: no accepted reading, two accepted readings that differ, or reopened."""
    ACCEPTED = "accepted"
    """Read surely enough, and no person has said otherwise."""
    DECIDED = "decided"
    """A person has decided."""
    FAILED = "failed"
    """No photo of it gave an answer."""
    MERGED = "merged"
    """Its photos belong to another case now. Such cases are in no list."""


class Outcome(StrEnum):
    """What a person decided."""

    SERIAL = "serial"
    NOT_A_SERIAL = "not-a-serial"
    CANNOT_BE_READ = "cannot-be-read"
    REOPENED = "reopened"
    """The decision before is taken back; the case is open again."""


class Known(StrEnum):
    """What the casebook knows of a photo and a method."""

    NO = "no"
    ANSWERED = "answered"
    FAILED = "failed"


@dataclass(frozen=True)
class Method:
    """What a photo was read with: the reader's name and version, its models and its settings (any JSON values)."""

    reader: str
    models: Mapping[str, Any] = field(default_factory=dict)
    settings: Mapping[str, Any] = field(default_factory=dict)

    @property
    def fingerprint(self) -> str:
        """SHA-256 over all of it, 64 hexadecimal digits; the order of keys does not matter."""
        return hashlib.sha256(canonical_json([self.reader, self.models, self.settings]).encode("ascii")).hexdigest()


@dataclass(frozen=True)
class NewAnswer:
    """An answer to be recorded.

    `answer`: the version 1 object. `part`: "" for the whole photo, else which part of the file, "page 2" for one.
    `phash`: the perceptual hash of `likeness.perceptual_hash`. `years_at_stake`: how many years the date is expected to
    move if a person looks; None: worked out from the answer's own interval.
    """

    answer: Mapping[str, Any]
    part: str = ""
    phash: str | None = None
    years_at_stake: float | None = None


@dataclass(frozen=True)
class NewFailure:
    """Why a photo, or a part of it, gave no answer. `kind`: unreadable, crash, memory, time, or another short word."""

    reason: str
    kind: str = "unreadable"
    part: str = ""


@dataclass(frozen=True)
class Recorded:
    """The cases of what was recorded, one for each part, and whether anything was new."""

    cases: tuple[int, ...]
    new: bool


@dataclass(frozen=True)
class Query:
    """What to look for; what is None or empty does not narrow the search.

    `number` is compared by letters and digits alone; `prefix`: it is only the beginning. `years`: first and last, cases
    whose interval touches them. `text` is a part of any mark. `maker`: a part of its name, or its id.
    """

    number: str | None = None
    prefix: bool = False
    maker: str | None = None
    years: tuple[int, int] | None = None
    state: State | None = None
    text: str | None = None


@dataclass(frozen=True)
class Decision:
    """What a person said of a case, when and why. `taken_over_from`: the merged case in which it was said."""

    outcome: Outcome
    text: str | None
    by: str
    at: datetime
    because: str
    maker: Mapping[str, Any] | None = None
    dating: Mapping[str, Any] | None = None
    taken_over_from: int | None = None


@dataclass(frozen=True)
class Merge:
    """Two cases that a person called one instrument."""

    kept: int
    merged: int
    by: str
    at: datetime
    because: str


@dataclass(frozen=True)
class CaseSummary:
    """A case on one line.

    `number` is the decided text, or else the best reading; `probability` belongs to the reading. `year`, `edtf` and
    `interval` belong to the number and are None where it was corrected without dating it anew.
    """

    id: int
    state: State
    number: str | None
    probability: float | None
    maker: str | None
    edtf: str | None
    year: int | None
    interval: tuple[int, int] | None
    photos: int
    path: str
    opened: datetime
    years_at_stake: float | None
    decision: Decision | None


@dataclass(frozen=True)
class PhotoRecord:
    """A photo with its latest answer (or why there is none) and its case. `answer` is the version 1 object."""

    case: int
    state: State
    path: str
    sha256: str
    part: str
    phash: str | None
    width: int | None
    height: int | None
    answer: Mapping[str, Any] | None
    method: Method | None
    read_at: datetime | None
    failure: str | None
    decision: Decision | None


@dataclass(frozen=True)
class CaseDetail:
    """All of a case: its photos, every decision (oldest first) and every merge that it took part in."""

    summary: CaseSummary
    photos: tuple[PhotoRecord, ...]
    decisions: tuple[Decision, ...]
    merges: tuple[Merge, ...]
    merged_into: int | None


@dataclass(frozen=True)
class Suggestion:
    """Two cases that may be one instrument, and why. `distance`: bits in which the perceptual hashes differ."""

    first: int
    second: int
    reason: str
    number: str | None = None
    distance: int | None = None


def canonical_json(value: Any) -> str:
    """Return JSON with sorted keys, ASCII alone. Raises ValueError for NaN and infinity."""
    return json.dumps(value, sort_keys=True, ensure_ascii=True, allow_nan=False, separators=(",", ":"))


def search_key(text: str) -> str:
    """Return what a text is found by: its letters and digits, capital (NFKC), so that 'No 41-873' is 'NO41873'."""
    return "".join(sign for sign in unicodedata.normalize("NFKC", text).upper() if sign.isalnum())
