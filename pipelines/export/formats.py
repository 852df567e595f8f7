"""The formats by name: what turns records into files of a target.

In: a format's name, Records and a Target. Out: an Export, to which ../export_command.py gives one record after the
other.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from pipelines.export.original import copy_original, find_orientation, keep_time
from pipelines.export.record import Record
from pipelines.export.record_lines import record_line
from pipelines.export.sources import Records
from pipelines.export.target import Target, safe_path


@dataclass(frozen=True)
class Options:
    """What some formats can be told: the address that photos are found under, and whether to put copies beside."""

    address: str = ""
    copies: bool = False


class Export(Protocol):
    """A format at work. `add` raises RakelightError for a record that cannot be written, without a trace of it."""

    def add(self, record: Record) -> None:
        """Take one record."""

    def finish(self) -> None:
        """Put everything in its place."""

    def close(self) -> None:
        """Drop what is not in its place; after `finish` nothing is."""


class LinesExport:
    """Writes records.jsonl."""

    def __init__(self, target: Target) -> None:
        self._file = target.begin("records.jsonl")

    def add(self, record: Record) -> None:
        """Add a line."""
        self._file.write(record_line(record))

    def finish(self) -> None:
        """Put the file in place."""
        self._file.commit()

    def close(self) -> None:
        """Drop what is not in its place."""
        self._file.drop()


class PerPhotoExport:
    """Writes one file a record, in folders like the photos' own."""

    def __init__(self, target: Target, name: Callable[[Record], str], render: Callable[[Record, int], bytes]) -> None:
        self._target, self._name, self._render = target, name, render

    def add(self, record: Record) -> None:
        """Write a record's file."""
        self._target.write(self._name(record), self._render(record, find_orientation(record)))

    def finish(self) -> None:
        """Nothing is left to do."""

    def close(self) -> None:
        """Nothing is left to drop."""


class SidecarExport(PerPhotoExport):
    """Writes XMP sidecars, and copies of the originals beside them."""

    def add(self, record: Record) -> None:
        """Write a record's sidecar, then the copy."""
        super().add(record)
        name = safe_path(record.relative)
        if name not in self._target.files:
            with self._target.begin(name) as draft:
                copy_original(record, draft.write)
                draft.commit()
            keep_time(self._target.folder / name, record.photo)


def open_format(name: str, records: Records, target: Target, options: Options) -> Export:
    """Return a format at work on a target."""
    if name == "csv":
        from pipelines.export.csv_table import CsvExport

        return CsvExport(target)
    if name == "jsonl":
        return LinesExport(target)
    if name == "bag":
        from pipelines.export.bag import BagExport

        return BagExport(target)
    if name == "sheet":
        from pipelines.export.sheet import SheetExport

        return SheetExport(target, len(records))
    return _open_per_photo(name, records, target, options)


def _open_per_photo(name: str, records: Records, target: Target, options: Options) -> Export:
    if name == "alto":
        from pipelines.export import alto

        return PerPhotoExport(target, lambda record: _beside(record, alto.SUFFIX), alto.render_alto)
    if name == "hocr":
        from pipelines.export import hocr

        return PerPhotoExport(target, lambda record: _beside(record, hocr.SUFFIX), hocr.render_hocr)
    if name == "annotations":
        from pipelines.export import annotations

        return PerPhotoExport(
            target,
            lambda record: _beside(record, annotations.SUFFIX),
            lambda record, orientation: annotations.render_annotations(record, orientation, options.address),
        )
    from pipelines.export import xmp

    shared = Counter(_stem(relative).casefold() for relative in set(records.names))

    def sidecar(record: Record) -> str:
        alone = shared[_stem(record.relative).casefold()] == 1 and not record.part
        return safe_path(_stem(record.relative)) + xmp.SUFFIX if alone else _beside(record, xmp.SUFFIX)

    kind = SidecarExport if options.copies else PerPhotoExport
    return kind(target, sidecar, xmp.render_xmp)


def _beside(record: Record, suffix: str) -> str:
    """Return the name of a record's file beside its photo: all of the photo's name, its part, and the ending."""
    part = "." + record.part.replace(" ", "-") if record.part else ""
    return safe_path(record.relative + part) + suffix


def _stem(relative: str) -> str:
    """Return a path without its last name's ending."""
    folder, slash, name = relative.rpartition("/")
    stem = name.rpartition(".")[0]
    return folder + slash + (stem or name)
