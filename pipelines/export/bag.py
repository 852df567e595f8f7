"""Records as a BagIt bag, version 1.0 (RFC 8493): originals' copies, crops of their marks, and all records.

In: Records. Out: a folder with

    bagit.txt  bag-info.txt  manifest-sha512.txt  tagmanifest-sha512.txt
    data/originals/<path of the photo>          the file, byte for byte
    data/crops/<path of the photo>.mark-<id>.png  each mark upright, made from the original by its quad
    data/records/records.jsonl, photos.csv, marks.csv, datapackage.json, files.csv

files.csv says of every picture in the bag which photo it is, or is made from. bagit.txt comes last: a bag that was
not finished is none yet, and the next run goes on with it. A finished bag takes nothing more, unless it may be
overwritten. The tags are written here, not with the bagit library: version 1.9.0 of it writes the older version 0.97
and leaves a percent sign in names unencoded (measured).
"""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

from pipelines.export.boxes import as_quad
from pipelines.export.csv_table import CsvExport
from pipelines.export.original import copy_original, keep_time, load_original
from pipelines.export.pictures import cut_mark, png_bytes
from pipelines.export.record import ExportError, Record
from pipelines.export.record_lines import record_line
from pipelines.export.target import PASSING, Target, Written, safe_path
from pipelines.output.csv_rows import write_row
from reader.errors import one_line
from reader.results import Photo

BAGIT = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
ALGORITHM = "sha512"
FILES_COLUMNS = ("file", "role", "path", "part", "mark", "sha512")

_BAGGING_DATE = re.compile(r"^Bagging-Date: (\d{4}-\d\d-\d\d)$", re.MULTILINE)


class BagExport:
    """Copies originals and crops into the bag one record at a time, and closes the bag at the end."""

    def __init__(self, target: Target) -> None:
        self._target = target
        target.sealed = (target.folder / "bagit.txt").is_file() and not target.overwrite
        self._lines = target.begin("data/records/records.jsonl")
        self._files = target.begin("data/records/files.csv")
        self._files.write(write_row(FILES_COLUMNS).encode())
        self._tables = CsvExport(target, "data/records/")

    def add(self, record: Record) -> None:
        """Add a record with its original's copy and its crops; where one of them fails, the record stays out."""
        name = safe_path(record.relative)
        photo = load_original(record)
        rows = [self._add_original(record, f"data/originals/{name}")]
        rows += self._add_crops(record, photo, f"data/crops/{safe_path(_with_part(record))}")
        self._tables.add(record)
        self._lines.write(record_line(record))
        for row in rows:
            self._files.write(write_row(row).encode("utf-8", "backslashreplace"))

    def _add_original(self, record: Record, name: str) -> tuple[str, ...]:
        if name not in self._target.files:  # another part of the same scan brought it
            with self._target.begin(name) as draft:
                copy_original(record, draft.write)
                draft.commit()
            keep_time(self._target.folder / name, record.photo)
        return name, "original", record.relative, record.part, "", self._target.files[name].sha512

    def _add_crops(self, record: Record, photo: Photo, stem: str) -> list[tuple[str, ...]]:
        rows: list[tuple[str, ...]] = []
        for mark in record.marks:
            crop = cut_mark(photo.pixels, as_quad(mark["quad"]))
            if crop is None:
                continue
            name = f"{stem}.mark-{mark['id']}.png"
            self._target.write(name, png_bytes(crop))
            digest = self._target.files[name].sha512
            rows.append((name, "crop of a mark", record.relative, record.part, str(mark["id"]), digest))
        return rows

    def finish(self) -> None:
        """Write the tables, the manifests, and bagit.txt. Raises ExportError where data/ holds what is of no record."""
        for part in (self._tables, self._lines, self._files):
            part.require_whole()
        self._tables.finish()
        self._lines.commit()
        self._files.commit()
        payload = {name: file for name, file in sorted(self._target.files.items()) if name.startswith("data/")}
        _refuse_strangers(self._target.folder, set(payload))
        manifest = _manifest(payload)
        day = _earlier_day(self._target.folder, manifest) or date.today().isoformat()
        octets = sum(file.size for file in payload.values())
        info = f"Bagging-Date: {day}\nPayload-Oxum: {octets}.{len(payload)}\n"
        tags = {f"manifest-{ALGORITHM}.txt": manifest, "bag-info.txt": info.encode(), "bagit.txt": BAGIT}
        for name in (f"manifest-{ALGORITHM}.txt", "bag-info.txt"):
            self._target.write(name, tags[name])
        described = {name: Written.of(data) for name, data in sorted(tags.items())}
        self._target.write(f"tagmanifest-{ALGORITHM}.txt", _manifest(described))
        self._target.write("bagit.txt", BAGIT)

    def close(self) -> None:
        """Drop what was not put in place."""
        self._tables.close()
        self._lines.drop()
        self._files.drop()


def encode_name(name: str) -> str:
    """Return a path as it stands in a manifest: only CR, LF and the percent sign are encoded (RFC 8493, 2.1.3)."""
    return name.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")


def _manifest(files: dict[str, Written]) -> bytes:
    return "".join(f"{file.sha512}  {encode_name(name)}\n" for name, file in files.items()).encode()


def _with_part(record: Record) -> str:
    return f"{record.relative}.{record.part.replace(' ', '-')}" if record.part else record.relative


def _earlier_day(folder: Path, manifest: bytes) -> str | None:
    """Return the day on which the same payload was bagged before."""
    old_manifest, old_info = folder / f"manifest-{ALGORITHM}.txt", folder / "bag-info.txt"
    if not (old_manifest.is_file() and old_info.is_file()) or old_manifest.read_bytes() != manifest:
        return None
    found = _BAGGING_DATE.search(old_info.read_text(encoding="utf-8"))
    return found[1] if found else None


def _refuse_strangers(folder: Path, payload: set[str]) -> None:
    """Raise ExportError where a file lies in the payload that no record brought; leftovers of a killed run go."""
    for path in sorted((folder / "data").rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_dir() and not path.is_symlink():
            continue
        if path.name.startswith(".") and path.name.endswith(PASSING):
            path.unlink()
        elif name not in payload:
            place = one_line(str(path))
            raise ExportError(f"{place}: is in the bag's payload, but of no record; move it away and run again")
