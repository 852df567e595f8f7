"""`rakelight date`: forms of output, standard input, options, errors, pictures, start time."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from jsonschema import Draft202012Validator

from pipelines.command import main
from pipelines.output.json_lines import load_schema

MAKER = ("--maker", "Harrow & Thistle")
SCHEMA = Draft202012Validator(load_schema())


def run(*arguments: str | Path, stdin: str = "") -> Result:
    return CliRunner().invoke(main, ["date", *map(str, arguments)], input=stdin)


def test_text_says_year_reasons_and_doubts() -> None:
    result = run("41873", *MAKER)
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert lines[0] == "41873, Harrow & Thistle"
    assert lines[1].startswith("  Made about 1874, from 187")
    assert lines[2] == "  As a standard date: 1874~"
    assert "no. 38700: the first number of 1873" in result.stdout and "[invented for the demo" in result.stdout
    assert "not a proof of age" in result.stdout and "invented maker of the demo" in result.stdout
    assert "\u00a0" not in result.stdout and "\\xa0" not in result.stdout
    assert max(map(len, lines)) <= 100


def test_json_is_one_object_a_line_and_valid() -> None:
    result = run("41873", "999999999", "4l873", "418[17]3", *MAKER, "--format", "json")
    assert result.exit_code == 1  # '4l873' is no number
    rows = [json.loads(line) for line in result.stdout.splitlines()]
    for row in rows:
        SCHEMA.validate(row)
    assert [row["input"] for row in rows] == ["41873", "999999999", "4l873", "418[17]3"]
    assert [row["dating"] is None for row in rows] == [False, True, True, False]
    assert rows[1]["warnings"][0].startswith("No year") and "is no number" in rows[2]["warnings"][0]
    assert [figure["place"] for figure in rows[3]["dating"]["figures"]] == [4]


def test_numbers_come_from_standard_input() -> None:
    result = run("-", *MAKER, "--format", "csv", stdin="41873\r\n\n 12000 \nnone\n=1+1\n")
    rows = list(csv.DictReader(io.StringIO(result.stdout, newline="")))
    assert [row["input"] for row in rows] == ["41873", "12000", "none", "'=1+1"]
    assert [row["year"] != "" for row in rows] == [True, True, False, False]
    assert rows[0]["edtf"] == "1874~" and float(rows[0]["probability"]) > 0.9
    assert result.exit_code == 1


def test_each_kind_of_evidence_has_its_option() -> None:
    options = ["--form", "square-grand", "--feature", "85-notes", "--patent", "MAY 14 1872", "--medal", "1867"]
    options += ["--founded", "1851", "--not-before", "187X", "--not-after", "1876~"]
    result = run("41873", *MAKER, *options, "--format", "json")
    evidence = json.loads(result.stdout)["dating"]["evidence"]
    kinds = [piece["kind"] for piece in evidence if piece["kind"] not in ("break-point", "interpolation")]
    assert sorted(kinds) == ["compass", "form", "founding", "medal", "patent", "user", "user"]


def test_the_same_number_in_two_places_is_combined() -> None:
    alone = json.loads(run("4[17]8?3", *MAKER, "--format", "json").stdout)["dating"]
    both = json.loads(run("4[17]8?3", "--again", "[49]187?", *MAKER, "--format", "json").stdout)["dating"]
    assert (alone["edtf"], both["edtf"]) != (both["edtf"], alone["edtf"])
    assert both["candidates"][0]["text"] == "41873" and both["candidates"][0]["probability"] > 0.99
    assert run("41873", "41874", "--again", "41873", *MAKER).exit_code == 2


def test_bytes_that_are_no_text_are_answered_too() -> None:
    words = [sys.executable, "-m", "pipelines", "date", "-", "--format", "json"]
    done = subprocess.run(
        words, input=b"\xef\xbb\xbf41873\n\xff\xfe\x00\n" + b"9" * 100_000, capture_output=True, check=False
    )
    rows = [json.loads(line) for line in done.stdout.splitlines()]
    assert done.returncode == 1 and len(rows) == 3 and rows[0]["input"] == "41873"
    assert all(row["dating"] is None and row["warnings"] for row in rows)


def test_a_contradiction_is_told_and_gives_null() -> None:
    data = json.loads(run("41873", *MAKER, "--patent", "1,234,567", "--format", "json").stdout)
    assert data["dating"] is None
    assert any("issued 1917" in warning and "Check the maker" in warning for warning in data["warnings"])


def test_without_a_maker_only_bounds_are_told() -> None:
    result = run("41873", "--medal", "1876")
    assert result.exit_code == 0
    assert "41873, maker unknown" in result.stdout and "Not before 1876" in result.stdout


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "give a number"),
        (["41873", "--maker", "Nobody"], "--maker"),
        (["41873", *MAKER, "--series", "organs"], "--series"),
        (["41873", *MAKER, "--form", "sqare"], "--form"),
        (["41873", *MAKER, "--feature", "x"], "--feature"),
        (["41873", *MAKER, "--patent", "soon"], "--patent"),
        (["41873", *MAKER, "--medal", "76"], "--medal"),
        (["41873", *MAKER, "--not-before", "c. 1872"], "--not-before"),
        (["41873", *MAKER, "--not-after", "1872/.."], "--not-after"),
        (["41873", *MAKER, "--picture", "a.gif"], ".svg, .png"),
        (["41873", "41874", *MAKER, "--picture", "a.svg"], "one number"),
        (["-", *MAKER, "--picture", "a.svg"], "one number"),
        (["41873", *MAKER, "--picture", "no/such/folder/a.svg"], "no folder"),
        (["41873", *MAKER, "--format", "xml"], "xml"),
    ],
)
def test_wrong_usage_is_status_2_and_one_line(arguments: list[str], words: str) -> None:
    result = run(*arguments)
    assert result.exit_code == 2
    assert words in result.stderr and "Traceback" not in result.stderr
    assert result.stdout == ""


def test_the_list_names_every_form_and_feature() -> None:
    from reader.dating.forms import load_features

    result = run("--list")
    assert result.exit_code == 0
    assert len(result.stdout.splitlines()) == len(load_features())
    assert "square-grand" in result.stdout and "firm" in result.stdout


@pytest.mark.parametrize("suffix", [".svg", ".png"])
def test_a_picture_is_written_and_not_written_over(tmp_path: Path, suffix: str) -> None:
    target = tmp_path / f"years{suffix}"
    assert run("41873", *MAKER, "--picture", target).exit_code == 0
    data = target.read_bytes()
    assert data.startswith(b"<svg" if suffix == ".svg" else b"\x89PNG")
    assert run("12000", *MAKER, "--picture", target).exit_code == 2 and target.read_bytes() == data
    assert run("12000", *MAKER, "--picture", target, "--overwrite").exit_code == 0 and target.read_bytes() != data


def test_no_year_no_picture(tmp_path: Path) -> None:
    target = tmp_path / "years.svg"
    result = run("999999", *MAKER, "--picture", target)
    assert result.exit_code == 0 and not target.exists() and "no picture" in result.stderr


def test_a_closed_pipe_is_no_error() -> None:
    words = f"{sys.executable} -m pipelines date - --maker 'Harrow & Thistle' | head -1"
    numbers = "\n".join(map(str, range(40000, 40400)))
    done = subprocess.run(["sh", "-c", words], input=numbers, capture_output=True, text=True, check=False)
    assert done.stdout.count("\n") == 1 and done.stderr == ""


def test_no_image_library_is_imported() -> None:
    code = (
        "import sys\nfrom click.testing import CliRunner\nfrom pipelines.command import main\n"
        "CliRunner().invoke(main, ['date', '41873', '--maker', 'Harrow & Thistle', '--format', 'json'])\n"
        "print([m for m in ('cv2', 'skimage', 'PIL', 'scipy', 'edtf', 'rapidfuzz') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
