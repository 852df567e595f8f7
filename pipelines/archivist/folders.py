"""Walk folders and list the files in them that may be photos, with what tells that a file has not changed.

Only names and file status are looked at. Links are followed, no folder is entered twice. Hidden files, other files and
folders that cannot be opened are counted and named, so that nothing is left out in silence.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from reader.errors import PhotoError, one_line
from reader.photo.load import PHOTO_SUFFIXES, natural_order


@dataclass(frozen=True)
class Found:
    """A file and its status: size in bytes, time of the last change in nanoseconds, number of the file on its disk."""

    path: str
    size: int
    changed_ns: int
    inode: int


@dataclass
class Listing:
    """What a walk gave. `problems` are lines, one for each thing that could not be looked at."""

    files: list[Found] = field(default_factory=list)
    hidden: int = 0
    others: int = 0
    problems: list[str] = field(default_factory=list)


def list_files(places: Iterable[Path]) -> Listing:
    """List the photos in folders and below, in natural order, each file once. A place may be a file as well.

    Raises PhotoError for a place that is not there or cannot be opened; what lies below becomes a problem.
    """
    listing = Listing()
    entered: set[tuple[int, int]] = set()
    seen: set[str] = set()
    for place in places:
        top = os.path.abspath(place)  # noqa: PTH100  # links stay links: the name is the user's
        try:
            status = os.stat(top)  # noqa: PTH116
            if not stat.S_ISDIR(status.st_mode):
                _add(listing, seen, top, status)
                continue
            with os.scandir(top):
                pass
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or "no valid name"
            raise PhotoError(
                place, f"cannot be opened ({reason})", "name a folder that exists and may be read"
            ) from error
        _walk(listing, top, entered, seen)
    return listing


def _walk(listing: Listing, top: str, entered: set[tuple[int, int]], seen: set[str]) -> None:
    waiting = [top]
    while waiting:
        folder = waiting.pop()
        try:
            status = os.stat(folder)  # noqa: PTH116
            if (status.st_dev, status.st_ino) in entered:
                continue
            entered.add((status.st_dev, status.st_ino))
            with os.scandir(folder) as entries:
                ordered = sorted(entries, key=lambda entry: natural_order(entry.name))
        except OSError as error:
            listing.problems.append(
                f"{one_line(folder)}: cannot be opened ({error.strerror}); its photos were left out"
            )
            continue
        below = [entry.path for entry in ordered if _look(listing, seen, entry)]
        waiting.extend(reversed(below))


def _look(listing: Listing, seen: set[str], entry: os.DirEntry[str]) -> bool:
    """Add what a photo may be to the listing; tell whether the entry is a folder to be entered."""
    if entry.name.startswith("."):
        listing.hidden += 1
        return False
    try:
        if entry.is_dir():
            return True
        if Path(entry.name).suffix.lower() not in PHOTO_SUFFIXES:
            listing.others += 1
            return False
        _add(listing, seen, entry.path, entry.stat())
    except OSError as error:
        listing.problems.append(f"{one_line(entry.path)}: cannot be opened ({error.strerror}); left out")
    return False


def _add(listing: Listing, seen: set[str], path: str, status: os.stat_result) -> None:
    if not stat.S_ISREG(status.st_mode):
        listing.others += 1
    elif path not in seen:
        seen.add(path)
        listing.files.append(Found(path, status.st_size, status.st_mtime_ns, status.st_ino))
