"""Several at a time, and one that dies: every record is whole and there once."""

from __future__ import annotations

import random
import subprocess
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from sqlalchemy import text

from pipelines.casebook import connect
from pipelines.casebook.records import Query
from pipelines.casebook.store import Casebook, open_casebook
from tests.pipelines.casebook.made import METHOD, made
from tests.pipelines.casebook.writer import MARKS

ROOT = Path(__file__).parents[3]

KILLS = 20

BROKEN = {
    "a photo without a case": "SELECT count(*) FROM photos p WHERE NOT EXISTS "
    "(SELECT 1 FROM case_photos l WHERE l.photo_id = p.id)",
    "a photo without an answer": "SELECT count(*) FROM photos p WHERE NOT EXISTS "
    "(SELECT 1 FROM answers a WHERE a.photo_id = p.id)",
    "an answer without all its marks": f"SELECT count(*) FROM answers a WHERE {len(MARKS) + 3} <> "
    "(SELECT count(*) FROM marks m WHERE m.answer_id = a.id)",
    "an answer without its dating": "SELECT count(*) FROM answers a WHERE 1 <> "
    "(SELECT count(*) FROM datings d WHERE d.answer_id = a.id)",
    "a photo twice": "SELECT count(*) - count(DISTINCT sha256) FROM photos",
    "a case that nothing belongs to": "SELECT count(*) FROM cases c WHERE NOT EXISTS "
    "(SELECT 1 FROM case_photos l WHERE l.case_id = c.id)",
    "a merged case that still has photos": "SELECT count(*) FROM merges m JOIN latest_links l "
    "ON l.case_id = m.merged_id",
}


def find_broken(book: Casebook) -> list[str]:
    """Return what is half recorded."""
    with connect.reading(book.engine) as connection:
        return [name for name, query in BROKEN.items() if connection.execute(text(query)).scalar_one()]


def test_a_writer_killed_at_any_moment(place: str) -> None:
    rng = random.Random(6)
    open_casebook(place).close()
    said: list[int] = []
    for _ in range(KILLS):
        words = [sys.executable, "-m", "tests.pipelines.casebook.writer", place, str(len(said))]
        writer = subprocess.Popen(words, cwd=ROOT, stdout=subprocess.PIPE, text=True)
        assert writer.stdout is not None
        said.append(int(writer.stdout.readline()))  # the first one is done: from here on it is writing
        time.sleep(rng.uniform(0, 0.08))
        writer.kill()
        said += map(int, writer.stdout.read().split())
        writer.wait()
        writer.stdout.close()
    assert said == list(range(len(said)))
    with open_casebook(place, create=False) as book:
        assert find_broken(book) == []
        paths = {record.path for record in book.iterate_records()}
        assert paths >= {f"shop/{number}.jpg" for number in said}, "what was said to be done is there"
        assert len(paths) <= len(said) + 1
        if book.engine.dialect.name == "sqlite":
            with connect.reading(book.engine) as connection:
                assert connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"


def test_the_check_sees_what_is_broken(book: Casebook) -> None:
    book.record_answer(made("a.jpg"), METHOD)
    assert find_broken(book) == ["an answer without all its marks"]


def test_writers_of_the_same_photos_at_once(place: str) -> None:
    open_casebook(place).close()

    def write(_: int) -> int:
        with open_casebook(place) as book:
            return sum(book.record_answer(made(f"{number}.jpg", marks=MARKS), METHOD).new for number in range(20))

    with ThreadPoolExecutor(4) as pool:
        new = list(pool.map(write, range(4)))
    with open_casebook(place) as book:
        assert sum(new) == 20
        assert len(book.find()) == 20
        assert find_broken(book) == []


def test_casebooks_made_at_the_same_time(place: str) -> None:
    start = threading.Barrier(3)

    def make(number: int) -> None:
        start.wait()
        with open_casebook(place) as book:
            book.record_answer(made(f"{number}.jpg"), METHOD)

    with ThreadPoolExecutor(3) as pool:
        list(pool.map(make, range(3)))
    with open_casebook(place, create=False) as book:
        assert len(book.find()) == 3


def test_a_reader_sees_one_state_while_others_write(book: Casebook) -> None:
    for number in range(3):
        book.record_answer(made(f"{number}.jpg"), METHOD)
    records = book.iterate_records(Query())
    next(records)
    book.record_answer(made("later.jpg"), METHOD)
    assert len(book.find()) == 4
    assert len(list(records)) == 2
