"""Remember which file had which content, so that files that have not changed need not be read to know them again.

A small SQLite file in the user's cache folder, one for each casebook. It holds nothing that reading the files again
would not give: it may be deleted at any time. A file counts as unchanged while its path, size, time of the last change
and number on the disk are the same.
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
import time
from pathlib import Path

from pipelines.archivist.folders import Found
from reader.errors import SetupError

SAVE_EVERY = 500
"""Files after which what was learned is written."""

SETTLED_NS = 2_000_000_000
"""A file that changed less than this before it was looked at may change again within the same tick of its clock (up to
2 s on FAT file systems), and is read again next time."""

CHUNK_BYTES = 1 << 20


class Places:
    """What is known of files, and what was learned since. Where the cache cannot be written it is done without."""

    def __init__(self, file: Path | None, *, trust: bool = True) -> None:
        self.file = file
        self.learned: dict[str, tuple[int, int, int, str]] = {}
        self.known = self._load() if trust else {}

    def find(self, found: Found) -> str | None:
        """Return the SHA-256 of a file that has not changed, else None."""
        row = self.known.get(found.path)
        return row[3] if row is not None and row[:3] == (found.size, found.changed_ns, found.inode) else None

    def learn(self, found: Found, sha256: str) -> None:
        """Remember a file's content, unless it changed too short a while ago to tell."""
        if time.time_ns() - found.changed_ns < SETTLED_NS:
            return
        self.learned[found.path] = (found.size, found.changed_ns, found.inode, sha256)
        if len(self.learned) >= SAVE_EVERY:
            self.save()

    def save(self) -> None:
        """Write what was learned."""
        if self.file is None or not self.learned:
            return
        try:
            with sqlite3.connect(self.file, timeout=5) as connection:
                connection.executemany(
                    "INSERT OR REPLACE INTO places VALUES (?, ?, ?, ?, ?)",
                    [(os.fsencode(path), *row) for path, row in self.learned.items()],
                )
            connection.close()
        except sqlite3.Error:
            self.file = None
        self.learned.clear()

    def _load(self) -> dict[str, tuple[int, int, int, str]]:
        if self.file is None:
            return {}
        try:
            self.file.parent.mkdir(parents=True, exist_ok=True)
            with sqlite3.connect(self.file, timeout=5) as connection:
                connection.execute(
                    "CREATE TABLE IF NOT EXISTS places"
                    " (path BLOB PRIMARY KEY, size INTEGER, changed_ns INTEGER, inode INTEGER, sha256 TEXT)"
                )
                rows = connection.execute("SELECT path, size, changed_ns, inode, sha256 FROM places").fetchall()
            connection.close()
        except (sqlite3.Error, OSError):
            self.file = None
            return {}
        return {os.fsdecode(path): (size, changed, inode, sha256) for path, size, changed, inode, sha256 in rows}


def cache_file(casebook: str) -> Path:
    """Return the cache of a casebook, by its place without a password. Raises SetupError without platformdirs."""
    try:
        from platformdirs import user_cache_path
    except ImportError as error:
        raise SetupError("the casebook needs platformdirs; python3 -m pip install 'rakelight[casebook]'") from error
    name = hashlib.sha256(casebook.encode("utf-8", "surrogateescape")).hexdigest()[:16]
    return user_cache_path("rakelight", appauthor=False) / f"places-{name}.sqlite"


def hash_file(path: str) -> str:
    """Return a file's SHA-256 as hexadecimal digits. Raises OSError."""
    digest = hashlib.sha256()
    with Path(path).open("rb") as file:
        while chunk := file.read(CHUNK_BYTES):
            digest.update(chunk)
    return digest.hexdigest()
