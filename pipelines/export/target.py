"""The folder that an export goes to: files appear there whole or not at all, and none is replaced unasked.

In: names below the folder and bytes. Out: files, and for each its size and SHA-512. A file is written under a passing
name beside its place and renamed; a run that is killed leaves nothing half, and the next one goes over the same names
again. A file that is there already with the same bytes is left as it is, one with other bytes is an ExportError unless
`overwrite` is set. Nothing is ever written into a folder that holds an original.
"""

from __future__ import annotations

import errno
import hashlib
import os
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import BinaryIO

from pipelines.export.record import ExportError, TargetError
from reader.errors import SettingsError, one_line

PASSING = ".rakelight-part"
"""Ending of a file that is still being written; its name begins with a dot."""

NAME_BYTES_MAX = 200
"""Longest name of a file from a photo's name; file systems stop at 255 bytes, and endings come to it."""

_UNSAFE = re.compile('[\x00-\x1f\x7f-\x9f%\\\\:*?"<>|\u2028\u2029\ud800-\udfff]|[. ]$|^ ')
"""What some file system, or a BagIt manifest, cannot hold in a name as it stands."""

NOTHING_GOES = (errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EIO)
"""Errors after which no other file could be written either."""

BLOCK_BYTES = 1 << 20


@dataclass(frozen=True)
class Written:
    """A file of the export: its size in bytes and its SHA-512 in hexadecimal."""

    size: int
    sha512: str

    @classmethod
    def of(cls, data: bytes) -> Written:
        """Describe bytes."""
        return cls(len(data), hashlib.sha512(data).hexdigest())


class Target:
    """The folder of one export.

    `files` has everything that the export consists of, old and new. `sealed`: no file may come to those that are there.
    """

    def __init__(self, folder: Path, *, overwrite: bool = False) -> None:
        self.folder = folder
        self.overwrite = overwrite
        self.sealed = False
        self.files: dict[str, Written] = {}
        self.new = self.kept = 0
        self._closed: set[Path] = set()

    def protect(self, originals: Iterable[Path]) -> None:
        """Close the folders of the originals. Raises SettingsError where the export would go over or beside them."""
        self._closed |= {folder.resolve() for folder in {photo.parent for photo in originals}}
        own = self.folder.resolve()
        if any(folder == own or own in folder.parents for folder in self._closed):
            place = one_line(str(self.folder))
            raise SettingsError(f"--to: {place} holds originals, and nothing is written beside them; name another")

    def begin(self, name: str) -> Draft:
        """Begin a file; `name` is a path with slashes below the folder. Raises ExportError where it may not be."""
        place = self.folder / name
        with _writing(place):
            place.parent.mkdir(parents=True, exist_ok=True)
            if place.parent.resolve() in self._closed:
                raise ExportError(f"{one_line(str(place))}: would lie beside originals; export into another folder")
            return Draft(self, name, place)

    def write(self, name: str, data: bytes) -> None:
        """Write a whole file."""
        with self.begin(name) as draft:
            draft.write(data)
            draft.commit()


class Draft:
    """A file that is being written, and does not show under its name until `commit`."""

    def __init__(self, target: Target, name: str, place: Path) -> None:
        self._target, self._name, self._place = target, name, place
        self._passing = place.with_name(f".{place.name}{PASSING}")
        self._hash, self._size = hashlib.sha512(), 0
        self._broken = False
        self._file: BinaryIO = self._passing.open("wb")

    def write(self, data: bytes) -> None:
        """Add bytes."""
        try:
            with _writing(self._place):
                self._file.write(data)
        except ExportError:
            self._broken = True
            raise
        self._hash.update(data)
        self._size += len(data)

    def require_whole(self) -> None:
        """Raise ExportError where a write failed before."""
        if self._broken:
            raise ExportError(f"{one_line(str(self._place))}: is not complete, as said before; run the export again")

    def commit(self) -> None:
        """Put the file in its place. Raises ExportError where another one is there and may not be replaced."""
        self.require_whole()
        place = one_line(str(self._place))
        with _writing(self._place):
            self._file.flush()
            os.fsync(self._file.fileno())
            self._file.close()
        written = Written(self._size, self._hash.hexdigest())
        if self._place.is_symlink() or self._place.exists():
            if self._place.is_file() and _describe(self._place) == written:
                self._target.kept += 1
                self._target.files[self._name] = written
                return
            if self._place.is_dir() or not self._target.overwrite:
                raise ExportError(f"{place}: exists with other contents; add --overwrite")
        elif self._target.sealed:
            raise ExportError(f"{place}: is not in the finished export; name another folder, or add --overwrite")
        with _writing(self._place):
            self._passing.replace(self._place)
        self._target.new += 1
        self._target.files[self._name] = written

    def drop(self) -> None:
        """Give the file up, unless it is in its place already."""
        self._file.close()
        self._passing.unlink(missing_ok=True)

    def __enter__(self) -> Draft:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.drop()


@contextmanager
def _writing(place: Path) -> Iterator[None]:
    """Turn what the system refuses into an ExportError that names the file; a TargetError where nothing more goes."""
    try:
        yield
    except OSError as error:
        kind = TargetError if error.errno in NOTHING_GOES else ExportError
        reason = error.strerror or str(error)
        shown = one_line(str(place))
        raise kind(f"{shown}: cannot be written ({reason}); look at free space and permissions") from error


def _describe(path: Path) -> Written:
    with path.open("rb") as file:
        return Written(path.stat().st_size, hashlib.file_digest(file, "sha512").hexdigest())


def safe_path(relative: str) -> str:
    """Return a photo's relative path as every file system and BagIt can hold it.

    A part of the path that had to be changed, or shortened, gets 8 figures of its own hash, so that no two become one.
    """
    return "/".join(_safe_part(part) for part in relative.split("/"))


def _safe_part(part: str) -> str:
    plain = _UNSAFE.sub("_", part)
    encoded = plain.encode()
    if plain == part and len(encoded) <= NAME_BYTES_MAX:
        return part
    digest = hashlib.sha256(part.encode("utf-8", "surrogatepass")).hexdigest()[:8]
    stem, dot, suffix = encoded.rpartition(b".")
    if not stem or len(suffix) > 10:
        stem, dot, suffix = encoded, b"", b""
    room = NAME_BYTES_MAX - len(suffix) - 10
    return f"{stem[:room].decode('utf-8', 'ignore')}~{digest}{(dot + suffix).decode()}"
