"""`rakelight cases` and `rakelight decide`: what is printed, where, and the exit status."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pipelines.casebook.store import open_casebook
from pipelines.command import main
from tests.pipelines.casebook.made import LARKFIELD, METHOD, made, sha

Run = Callable[..., Result]

ANN = ("--by", "A. Reed", "--because", "raking light shows it")


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run the command on five cases: 1 accepted, 2 open, 3 accepted like 1, 4 failed, 5 without a number."""
    place = tmp_path / "casebook.sqlite"
    monkeypatch.setenv("RAKELIGHT_CASEBOOK", str(place))
    with open_casebook(place) as book:
        book.record_answer(made("a.jpg"), METHOD)
        book.record_answer(made("b.jpg", "5021", accepted=False, probability=0.62, maker=LARKFIELD), METHOD)
        book.record_answer(made("c.jpg"), METHOD)
        book.record_failure(sha("d.jpg"), "shop/d\n.jpg", METHOD, "is no picture")
        book.record_answer(made("e.jpg", None, maker=None), METHOD)

    def invoke(*words: str) -> Result:
        return CliRunner().invoke(main, words)

    return invoke


def ids(result: Result) -> list[int]:
    """Return the cases of a list in JSON."""
    return [json.loads(line)["case"] for line in result.stdout.splitlines()]


def test_the_list(run: Run) -> None:
    result = run("cases")
    assert result.exit_code == 0
    assert result.stderr == ""
    assert result.stdout.splitlines() == [
        "case  state     number  sure  made   maker                  photos  first photo",
        "5     open      -       -     -      -                      1       shop/e.jpg",
        "4     failed    -       -     -      -                      1       shop/d\\n.jpg",
        "3     accepted  41873   0.97  1874~  Harrow & Thistle       1       shop/c.jpg",
        "2     open      5021?   0.62  1874~  Larkfield Organ Works  1       shop/b.jpg",
        "1     accepted  41873   0.97  1874~  Harrow & Thistle       1       shop/a.jpg",
    ]


def test_pages_say_how_to_go_on(run: Run) -> None:
    result = run("cases", "--limit", "2", "--format", "json")
    assert ids(result) == [5, 4]
    assert result.stderr == "rakelight: for older ones add --before 4\n"
    assert ids(run("cases", "--before", "4", "--format", "json")) == [3, 2, 1]


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (["--number", "41873"], [3, 1]),
        (["--number", "50", "--begins"], [2]),
        (["--maker", "larkfield", "--years", "1870-1880"], [2]),
        (["--years", "1874", "--state", "accepted"], [3, 1]),
        (["--state", "failed"], [4]),
        (["--text", "aug"], [3, 2, 1]),
        (["--number", "50"], []),
    ],
)
def test_find(run: Run, words: list[str], found: list[int]) -> None:
    result = run("cases", "find", *words, "--format", "json")
    assert ids(result) == found
    assert result.exit_code == (0 if found else 1)


@pytest.mark.parametrize("words", [["--years", "1880-1870"], ["--years", "soon"], ["--begins"], ["--state", "merged"]])
def test_wrong_usage_of_find(run: Run, words: list[str]) -> None:
    assert run("cases", "find", *words).exit_code == 2


def test_open_cases(run: Run) -> None:
    assert ids(run("cases", "open", "--format", "json")) == [2, 5]
    assert ids(run("cases", "open", "--skip", "1", "--format", "json")) == [5]


def test_deciding(run: Run) -> None:
    result = run("decide", "2", "5027", *ANN)
    assert result.exit_code == 0
    assert result.stdout.splitlines()[1].split()[:3] == ["2", "decided", "5027"]
    assert ids(run("cases", "find", "--number", "5027", "--state", "decided", "--format", "json")) == [2]
    run("decide", "2", "--cannot-be-read", *ANN)
    run("decide", "2", "--reopen", *ANN)
    shown = run("cases", "show", "2").stdout
    assert [line.split(" by ")[0] for line in shown.splitlines() if "decided" in line] == [
        "  decided  5027",
        "  decided  cannot be read",
        "  decided  opened again",
    ]
    assert "A. Reed" in shown
    assert "raking light shows it" in shown


@pytest.mark.parametrize(
    "words",
    [["2", *ANN], ["2", "5021", "--not-a-serial", *ANN], ["2", "5021", "--by", "A. Reed"], ["two", "5021", *ANN]],
)
def test_wrong_usage_of_decide(run: Run, words: list[str]) -> None:
    result = run("decide", *words)
    assert result.exit_code == 2
    assert result.stdout == ""


def test_merging_and_keeping_apart(run: Run) -> None:
    assert run("cases", "alike").stdout == "cases 1 and 3: both have the number 41873\n"
    assert "alike    cases 1 and 3: both have the number 41873\n" in run("cases", "show", "1").stdout
    assert run("cases", "merge", "1", "3", *ANN).exit_code == 0
    assert run("cases", "alike").stdout == ""
    assert ids(run("cases", "--format", "json")) == [5, 4, 2, 1]
    assert run("cases", "show", "3").stdout.splitlines()[1] == "Its photos belong to case 1 now."
    assert run("cases", "apart", "1", "2", *ANN).exit_code == 0


def test_a_case_in_json(run: Run) -> None:
    run("decide", "1", "41873", *ANN)
    shown = json.loads(run("cases", "show", "1", "--format", "json").stdout)
    assert (shown["case"], shown["state"], shown["dating"]["interval"]) == (1, "decided", [1873, 1876])
    assert shown["readings"][0]["answer"] == made("a.jpg")
    assert shown["readings"][0]["method"]["reader"] == METHOD.reader
    assert shown["decisions"][0]["because"] == "raking light shows it"
    assert shown["alike"][0]["cases"] == [1, 3]


def test_what_is_no_picture_is_shown_with_its_reason(run: Run) -> None:
    assert "  photo    shop/d\\n.jpg: is no picture\n" in run("cases", "show", "4").stdout


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["cases", "show", "9"], "there is no case 9"),
        (["decide", "9", "41873", *ANN], "there is no case 9"),
        (["cases", "merge", "1", "1", *ANN], "this is case 1 already"),
        (["cases", "--casebook", "missing.sqlite"], "missing.sqlite: there is no casebook"),
        (["cases", "show", "1", "--casebook", "missing.sqlite"], "missing.sqlite: there is no casebook"),
        (["decide", "1", " ", *ANN], "a decision is a serial number"),
    ],
)
def test_errors_are_one_line(run: Run, words: list[str], message: str) -> None:
    result = run(*words)
    assert result.exit_code == 1
    assert result.stdout == ""
    assert result.stderr.startswith(f"rakelight: {message}")
    assert result.stderr.count("\n") == 1


def test_without_sqlalchemy(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [name for name in sys.modules if name.startswith("pipelines.casebook.store")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "sqlalchemy", None)
    result = run("cases")
    assert result.exit_code == 1
    assert "rakelight[casebook]" in result.stderr


def test_the_command_does_not_import_the_database() -> None:
    code = (
        "import sys, pipelines.cases; print([m for m in ('sqlalchemy', 'alembic', 'numpy', 'PIL') if m in sys.modules])"
    )
    words = [sys.executable, "-c", code]
    result = subprocess.run(words, cwd=Path(__file__).parents[2], capture_output=True, text=True, check=True)
    assert result.stdout == "[]\n"


def test_a_corrected_number_is_dated_anew_by_the_cases_maker_or_a_typed_one(run: Run) -> None:
    by_case = json.loads(run("decide", "1", "60900", *ANN, "--format", "json").stdout)
    assert by_case["dating"]["year"] in (1884, 1885)  # the demo's table: 60900 is the first number of 1885
    typed = json.loads(run("decide", "2", "60900", "--maker", "Harrow & Thistle", *ANN, "--format", "json").stdout)
    assert typed["dating"]["year"] == by_case["dating"]["year"]
    unknown = run("decide", "2", "60900", "--maker", "Nobody at all", *ANN)
    assert unknown.exit_code != 0
    assert "Nobody at all" in unknown.stderr


def test_a_number_of_a_maker_that_no_table_knows_is_decided_without_a_year(run: Run) -> None:
    assert json.loads(run("decide", "2", "5027", *ANN, "--format", "json").stdout)["dating"] is None
