"""Where records come from: a JSON Lines file, or the casebook. Both end as one sorted list that is read line by line.

In: what `rakelight read --format json` wrote, or records.jsonl of an earlier export, or a casebook's file or address.
Out: Records in the order of their names, and one line for each that cannot be used. Only an index is held in memory:
a record is parsed when its turn comes.
"""

from __future__ import annotations

import json
import math
import os
import sys
import tempfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, NoReturn

from pipelines.export.record import Data, Decision, DecisionKind, ExportError, Record, is_relative
from pipelines.export.record_lines import open_check, write_line
from reader.errors import RakelightError, SettingsError, SetupError, one_line

if TYPE_CHECKING:
    from pipelines.casebook.records import PhotoRecord

NO_OBJECT = "is no JSON object; the file must be what `rakelight read --format json` prints"
CASEBOOK_NEEDS = "a casebook needs SQLAlchemy and Alembic; install the extra 'casebook', e.g. pip install '.[casebook]'"
SQLITE_START = b"SQLite format 3\0"


@dataclass(frozen=True)
class Entry:
    """Where a record's line begins, where its photo lies, and what sorts it."""

    offset: int
    photo: str
    part: str


@dataclass
class Records:
    """The records of one export, sorted by name; iterating parses them anew each time. A context that closes its file.

    `problems` has one line for every line of the source that is no record.
    """

    file: BinaryIO
    root: str
    entries: list[Entry]
    problems: list[str] = field(default_factory=list)

    def __len__(self) -> int:
        return len(self.entries)

    def __iter__(self) -> Iterator[Record]:
        for entry in self.entries:
            self.file.seek(entry.offset)
            yield _record(json.loads(self.file.readline()), Path(entry.photo), self._relative(entry))

    def __enter__(self) -> Records:
        return self

    def __exit__(self, *_: object) -> None:
        self.file.close()

    @property
    def photos(self) -> Iterator[Path]:
        """The originals."""
        return (Path(entry.photo) for entry in self.entries)

    @property
    def names(self) -> Iterator[str]:
        """The relative paths, sorted; a path comes once for each of its parts."""
        return (self._relative(entry) for entry in self.entries)

    def _relative(self, entry: Entry) -> str:
        return os.path.relpath(entry.photo, self.root).replace(os.sep, "/")


def open_records(source: str, photos: Path | None = None) -> Records:
    """Open a JSON Lines file ('-' for stdin), a casebook's SQLite file, or a casebook's address (with '://').

    `photos` is the folder that relative paths in the source count from, and that exports name photos from; without
    it, the current folder, or the deepest one that holds all photos where one lies outside. Raises SettingsError for a
    source that is none of the three.
    """
    folder = None if photos is None else os.path.normpath(Path.cwd() / photos)
    casebook = "://" in source or (source != "-" and _starts_like_sqlite(Path(source)))
    if casebook:
        file = _spool(_casebook_lines(source))
    elif source == "-":
        file = _spool(sys.stdin.buffer)
    else:
        file = Path(source).open("rb")  # noqa: SIM115  # Records closes it
    try:
        return _index(file, folder, trusted=casebook)
    except BaseException:
        file.close()
        raise


def _starts_like_sqlite(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            return file.read(len(SQLITE_START)) == SQLITE_START
    except OSError as error:
        place = one_line(str(path))
        raise SettingsError(f"--from: {place} cannot be read ({error.strerror}); check its name") from error


def read_casebook(place: str) -> Iterator[Data | str]:
    """Yield a casebook's photos as lines of records.jsonl, and a sentence for each that was never read.

    This function is all that the exports know of the casebook.
    """
    try:
        from pipelines.casebook.store import open_casebook
    except ImportError as error:
        raise SetupError(CASEBOOK_NEEDS) from error
    with open_casebook(place, create=False) as casebook:
        for _, photos in groupby(casebook.iterate_records(), key=lambda photo: photo.case):
            case = list(photos)
            for photo in case:
                if photo.answer is None:
                    yield f"{one_line(photo.path)}: was not read ({photo.failure or 'no reason kept'})"
                else:
                    yield _line_of_photo(photo, shared=len(case) > 1)


def _line_of_photo(photo: PhotoRecord, *, shared: bool) -> Data:
    answer = dict(photo.answer or {})
    answer["photo"] = {**answer["photo"], "path": photo.path}
    line: Data = {"record": 1, "case": str(photo.case), "part": photo.part, "decision": None, "answer": answer}
    made = photo.decision
    kinds = {kind.value for kind in DecisionKind}
    if made is not None and made.outcome.value in kinds:  # 'reopened' takes a decision back
        line["decision"] = {
            "kind": made.outcome.value,
            "text": made.text or "",
            "by": made.by,
            "when": made.at.isoformat(timespec="seconds"),
            "because": made.because,
            "maker": None if made.maker is None else dict(made.maker),
            "dating": None if made.dating is None else dict(made.dating),
            "shared": shared,
        }
    return line


def _casebook_lines(place: str) -> Iterator[bytes]:
    for line in read_casebook(place):
        yield write_line(line if isinstance(line, dict) else {"problem": line})


def _spool(lines: Iterable[bytes]) -> BinaryIO:
    """Write lines into a passing file, so that they can be sorted without holding them."""
    spool = tempfile.TemporaryFile()  # noqa: SIM115  # it lives as long as its Records
    try:
        spool.writelines(lines)
    except BaseException:
        spool.close()
        raise
    return spool


def _index(file: BinaryIO, folder: str | None, *, trusted: bool) -> Records:
    """Read through a source once and sort it."""
    check = None if trusted else open_check()
    base, problems = folder or str(Path.cwd()), []
    found: dict[tuple[str, str], Entry] = {}
    file.seek(0)
    offset = 0
    for number, raw in enumerate(file, 1):
        start, offset = offset, offset + len(raw)
        if not raw.strip():
            continue
        try:
            line = _parse(raw)
            if "problem" in line and trusted:
                raise ExportError(line["problem"])
            if check is not None:
                check(line)
            entry = _entry(line, base, start)
        except RakelightError as error:
            problems.append(f"line {number}: {error}" if not trusted else str(error))
            continue
        key = (entry.photo, entry.part)
        if key in found:
            problems.append(f"line {number}: {one_line(entry.photo)} was there before; this later line counts")
        found[key] = entry
    entries = sorted(found.values(), key=lambda entry: (entry.photo, entry.part))
    root = _root([entry.photo for entry in entries], base, given=folder is not None)
    inside = [entry for entry in entries if is_relative(os.path.relpath(entry.photo, root).replace(os.sep, "/"))]
    outside = [entry.photo for entry in entries if entry not in set(inside)]
    problems += [f"{one_line(photo)}: lies outside the folder of --photos; name one that holds it" for photo in outside]
    return Records(file, root, inside, problems)


def _parse(raw: bytes) -> Data:
    try:
        line = json.loads(raw, parse_constant=_refuse_number, parse_float=_finite)
    except (ValueError, RecursionError) as error:
        raise ExportError(NO_OBJECT) from error
    if not isinstance(line, dict):
        raise ExportError(NO_OBJECT)
    return line


def _finite(text: str) -> float:
    number = float(text)
    return number if math.isfinite(number) else _refuse_number(text)


def _refuse_number(text: str) -> NoReturn:
    raise ValueError(f"{text} is no number of JSON")


def _entry(line: Data, base: str, offset: int) -> Entry:
    answer: dict[str, Any] = line.get("answer", line)
    path: str = answer["photo"]["path"]
    if "error" in answer:
        raise ExportError(f"{one_line(path)}: was not read ({one_line(answer['error'])})")
    if "\0" in path:
        raise ExportError(f"{one_line(path)}: is no path of a file")
    return Entry(offset, os.path.normpath(Path(base, path)), line.get("part", ""))


def _root(photos: list[str], base: str, *, given: bool) -> str:
    """Return the folder that exports name photos from."""
    if given or not photos or os.path.commonpath([base, *photos]) == base:
        return base
    return os.path.commonpath([Path(photo).parent for photo in photos])


def _record(line: Data, photo: Path, relative: str) -> Record:
    """Make a record of a line that was checked."""
    answer = dict(line.get("answer", line))
    answer["photo"] = {**answer["photo"], "path": relative}
    picture = answer["photo"]
    made = line.get("decision")
    decision = None if made is None else Decision(**{**made, "kind": DecisionKind(made["kind"])})
    return Record(
        photo=photo,
        relative=relative,
        sha256=picture["sha256"],
        width=picture["width"],
        height=picture["height"],
        answer=answer,
        case=line.get("case"),
        decision=decision,
        part=line.get("part", ""),
    )
