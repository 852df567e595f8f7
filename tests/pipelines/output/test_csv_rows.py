"""Rows of CSV.

Outside checks: RFC 4180, section 2 (line ends, quotes), and the table of dangerous cells of OWASP, "CSV Injection":
cells that begin with = + - @ tab or carriage return.
"""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.output.csv_rows import (
    COLUMNS,
    best_model,
    guard,
    write_answer_row,
    write_error_row,
    write_header,
    write_row,
)
from reader.results import Advice, MarkKind
from tests.pipelines.fake_reader import make_answer, make_empty_answer, make_mark


def read_back(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text, newline=""), strict=True))


def row_of(line: str) -> dict[str, str]:
    rows = read_back(write_header() + line)
    assert len(rows) == 2
    return dict(zip(rows[0], rows[1], strict=True))


def test_header() -> None:
    assert write_header() == (
        "path,sha256,serial,accepted,probability,model,year,edtf,earliest,latest,year_probability,maker,advice,error\r\n"
    )


def test_answer() -> None:
    assert row_of(write_answer_row(make_answer())) == {
        "path": "shop/lid.jpg",
        "sha256": "ab" * 32,
        "serial": "41873",
        "accepted": "true",
        "probability": "0.97",
        "model": "B",
        "year": "1874",
        "edtf": "1874~",
        "earliest": "1873",
        "latest": "1876",
        "year_probability": "0.8731",
        "maker": "Harrow & Thistle",
        "advice": "Hold the lamp low, at the side.",
        "error": "",
    }


def test_nothing_found_leaves_cells_empty() -> None:
    row = row_of(write_answer_row(make_empty_answer()))
    assert {name for name, cell in row.items() if cell} == {"path", "sha256", "advice"}


def test_error() -> None:
    row = row_of(write_error_row("a.jpg", "a.jpg: is no picture; send it again"))
    assert {name: cell for name, cell in row.items() if cell} == {
        "path": "a.jpg",
        "error": "a.jpg: is no picture; send it again",
    }


def test_serial_keeps_its_zeros() -> None:
    answer = make_answer()
    assert answer.serial is not None
    assert row_of(write_answer_row(replace(answer, serial=replace(answer.serial, text="00412"))))["serial"] == "00412"


def test_most_probable_model() -> None:
    marks = [
        replace(make_mark(n, text, MarkKind.MODEL), probability=p)
        for n, (text, p) in enumerate([("A", 0.2), ("K", 0.8)])
    ]
    assert best_model(replace(make_empty_answer(), marks=tuple(marks))) == "K"
    assert best_model(make_empty_answer()) == ""


@pytest.mark.parametrize(
    ("cell", "written"),
    [
        ("=1+1", "'=1+1"),
        ("+49 30 123", "'+49 30 123"),
        ("-5", "'-5"),
        (-5, "-5"),
        ("@x", "'@x"),
        ("\t=1", "'\t=1"),
        ("\tx", "'\tx"),
        ("\rx", '"\'\rx"'),
        (" =cmd", "' =cmd"),
        ("\u00a0=cmd", "'\u00a0=cmd"),
        ("＝1", "'＝1"),
        ("Harrow & Sons", "Harrow & Sons"),
        ("a=b-c@d+e", "a=b-c@d+e"),
        ("12,345", '"12,345"'),
        ('No. "7"', '"No. ""7"""'),
        ("a\n=b", '"a\n\'=b"'),
        ("a\r\n  @b", '"a\r\n\'  @b"'),
        ("a\nb", '"a\nb"'),
        (0.0, "0.0"),
        ("", '""'),
    ],
)
def test_dangerous_cells(cell: str | float, written: str) -> None:
    assert write_row([cell]) == written + "\r\n"


def test_examples_of_rfc_4180() -> None:
    """Section 2, rules 1, 6 and 7: the cells behind the published example lines (from memory)."""
    assert write_row(["aaa", "bbb", "ccc"]) == "aaa,bbb,ccc\r\n"
    assert read_back(write_row(["aaa", "b\r\nbb", "ccc"])) == read_back('"aaa","b\r\nbb","ccc"\r\n')
    assert read_back(write_row(["aaa", 'b"bb', "ccc"])) == read_back('"aaa","b""bb","ccc"\r\n')


def test_dangerous_text_from_everywhere_is_guarded() -> None:
    answer = make_answer("=path.jpg")
    assert answer.serial is not None
    assert answer.maker is not None
    answer = replace(
        answer,
        serial=replace(answer.serial, text="-41873"),
        marks=(make_mark(1, "+B", MarkKind.MODEL),),
        maker=replace(answer.maker, name="@maker"),
        advice=(Advice("a", "=advice"),),
    )
    row = row_of(write_answer_row(answer))
    assert [row[name] for name in ("path", "serial", "model", "maker", "advice")] == [
        "'=path.jpg",
        "'-41873",
        "'+B",
        "'@maker",
        "'=advice",
    ]
    assert row_of(write_error_row("=path.jpg", "=path.jpg: wrong"))["error"] == "'=path.jpg: wrong"


@given(st.text())
def test_no_line_of_a_guarded_cell_begins_dangerously_and_nothing_is_lost(text: str) -> None:
    guarded = guard(text)
    assert not guarded.startswith(("\t", "\r"))
    for line in guarded.replace("\r", "\n").split("\n"):
        assert not line.lstrip().startswith(("=", "+", "-", "@", "＝", "＋", "－", "＠"))
    kept = iter(guarded)
    assert all(sign in kept for sign in text)  # the text is left in order, with quotes put between
    assert len(guarded) - len(text) == guarded.count("'") - text.count("'")


@given(st.lists(st.text(st.characters(exclude_categories=["Cs"])), min_size=len(COLUMNS), max_size=len(COLUMNS)))
def test_rows_come_back(cells: list[str]) -> None:
    line = write_row(cells)
    assert line.endswith("\r\n")
    assert read_back(line) == [[guard(cell) for cell in cells]]
