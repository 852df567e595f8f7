"""What a casebook holds, without what may differ between two runs over the same photos: row numbers and times."""

from __future__ import annotations

import json
from collections import defaultdict
from pathlib import Path
from typing import Any

from sqlalchemy import create_engine, inspect, select

from pipelines.casebook import connect, tables

VARYING = {"id", "at", "opened", "first_seen", "read_at"}
"""Columns of row numbers and times."""

Contents = dict[str, list[str]]
"""For each file, by its SHA-256, everything that the casebook says of it, sorted."""


def read_contents(place: str) -> Contents:
    """Return what a casebook says of each file; a row that hangs on no file raises KeyError."""
    engine = create_engine(connect.find_url(place))
    with engine.connect() as connection:
        rows = {
            name: [dict(row) for row in connection.execute(select(table)).mappings()]
            for name, table in tables.metadata.tables.items()
        }
    engine.dispose()
    photos = {row["id"]: row for row in rows["photos"]}
    methods = {row["id"]: row["fingerprint"] for row in rows["methods"]}
    answers = {row["id"]: row for row in rows["answers"]}
    cases = {row["id"]: row for row in rows["cases"]}
    said: Contents = defaultdict(list)
    for photo in photos.values():
        said[photo["sha256"]].append(_line("photos", photo))
    for row in rows["answers"]:
        body = json.loads(row["body"])
        body.pop("seconds")
        shown = {
            **row,
            "body": body,
            "photo_id": photos[row["photo_id"]]["part"],
            "method_id": methods[row["method_id"]],
        }
        said[photos[row["photo_id"]]["sha256"]].append(_line("answers", shown))
    for row in rows["failures"]:
        shown = {**row, "photo_id": photos[row["photo_id"]]["part"], "method_id": methods[row["method_id"]]}
        said[photos[row["photo_id"]]["sha256"]].append(_line("failures", shown))
    for name in ("marks", "datings"):
        for row in rows[name]:
            photo = photos[answers[row["answer_id"]]["photo_id"]]
            said[photo["sha256"]].append(_line(name, {**row, "answer_id": photo["part"]}))
    homes = defaultdict(list)
    for row in rows["case_photos"]:
        homes[row["case_id"]].append(photos[row["photo_id"]])
    assert set(homes) == set(cases), "a case without a photo"
    for number, members in homes.items():
        shown = {"origin": cases[number]["origin"], "photos": sorted(one["part"] for one in members)}
        said[members[0]["sha256"]].append(_line("cases", shown))
    return {sha256: sorted(lines) for sha256, lines in said.items()}


def check_part(part: Contents, whole: Contents) -> int:
    """Return how many files a casebook holds; AssertionError where one is half there or differs."""
    for sha256, lines in part.items():
        assert lines == whole[sha256], f"{sha256}: {sorted(set(lines) ^ set(whole[sha256]))}"
    return len(part)


def check_whole(contents: Contents, whole: Contents) -> None:
    """Raise AssertionError where a casebook does not hold exactly the same."""
    assert check_part(contents, whole) == len(whole), f"lost: {sorted(whole.keys() - contents.keys())}"


def count_files(place: str) -> int:
    """Return how many files a casebook holds; 0 where it is not made yet."""
    if "://" not in place and not Path(place).exists():
        return 0
    engine = create_engine(connect.find_url(place))
    try:
        with engine.connect() as connection:
            if not inspect(connection).has_table("photos"):
                return 0
            return len(connection.execute(select(tables.photos.c.sha256).distinct()).all())
    finally:
        engine.dispose()


def _line(name: str, row: dict[str, Any]) -> str:
    return name + " " + json.dumps({key: row[key] for key in sorted(row.keys() - VARYING)}, sort_keys=True)


def file_facts(folder: Path) -> dict[str, tuple[int, int, int, bytes]]:
    """Return size, time of the last change, permissions and content of every file below a folder."""
    facts = {}
    for file in sorted(path for path in folder.rglob("*") if path.is_file()):
        status = file.stat()
        facts[str(file)] = (status.st_size, status.st_mtime_ns, status.st_mode, file.read_bytes())
    return facts
