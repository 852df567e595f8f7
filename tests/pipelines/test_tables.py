"""`rakelight tables` and its subcommands, as a person sees them."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pipelines.command import main
from reader.dating.own import own_folder
from reader.dating.tables import built_in_tables

GOOD = """maker,series,serial,year,year_kind,basis,source
Oakhanger & Pryce,grand,100,1880,built,seen,bill of sale
Oakhanger & Pryce,grand,900,1875,built,seen,year under the soundboard
"""


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "My List.csv"
    path.write_text(GOOD, encoding="utf-8")
    return path


@pytest.fixture
def run() -> Callable[..., Result]:
    def invoke(*arguments: str | Path) -> Result:
        return CliRunner().invoke(main, ["tables", *map(str, arguments)])

    return invoke


def test_the_list_names_every_maker_series_span_and_source(run: Callable[..., Result]) -> None:
    result = run()
    assert result.exit_code == 0
    assert result.stderr == ""
    for table in built_in_tables().makers.values():
        assert table.maker.name in result.stdout
    assert "  piano: no. 20000 to 310000, 1884 to 1929, 17 points, works' list\n" in result.stdout
    assert "  uprights: no. 30818, 1867, 1 point, single numbers only\n" in result.stdout
    assert "    sources: National Music Museum 02673" in result.stdout
    assert "    sources, partly from memory: Newspaper article" in result.stdout
    assert max(map(len, result.stdout.splitlines())) < 260
    assert "6 makers are invented for the demo, 0 are your own" in result.stdout.splitlines()[-1]


def test_one_maker_and_a_name_that_is_none(run: Callable[..., Result]) -> None:
    assert run("--maker", "ERARD").stdout.startswith("Érard, Paris and London\n")
    wrong = run("--maker", "Steinwax")
    assert wrong.exit_code == 1
    assert wrong.stdout == ""
    assert "closest known names: Steinway & Sons (0.8" in wrong.stderr


def test_json_has_one_maker_a_line_with_every_point(run: Callable[..., Result]) -> None:
    makers = [json.loads(line) for line in run("--format", "json").stdout.splitlines()]
    known = built_in_tables().makers
    assert [maker["id"] for maker in makers] == list(known)
    for maker in makers:
        table = known[maker["id"]]
        assert maker["sparse"] == table.sparse
        for found, series in zip(maker["series"], table.series, strict=True):
            assert len(found["points"]) == len(series.points) + len(series.limits)
            assert all(point["source"] and point["year_kind"] for point in found["points"])
            serials = [point["serial"] for point in found["points"]]
            assert found["numbers"] == [min(serials), max(serials)]
    steinway = next(maker for maker in makers if maker["id"] == "steinway-and-sons")
    assert (steinway["origin"], steinway["instead_of_built_in"], steinway["invented"]) == (None, False, False)


def test_check_tells_everything_on_stdout_and_keeps_nothing(run: Callable[..., Result], file: Path) -> None:
    file.write_text(GOOD.replace("1880", "80").replace(",year under the soundboard", ","), encoding="utf-8")
    result = run("check", file)
    assert result.exit_code == 1
    assert [line.split(": ")[0] for line in result.stdout.splitlines()] == [
        f"{file}, row 1, column year",
        f"{file}, row 2, column source",
    ]
    assert result.stderr == "rakelight: 2 things wrong; nothing was added\n"
    assert not own_folder().exists()


def test_check_of_a_good_file_tells_what_is_in_it(run: Callable[..., Result], file: Path) -> None:
    result = run("check", file)
    assert result.exit_code == 0
    assert "  grand: no. 100 to 900, 1875 to 1880, 2 points, single numbers only" in result.stdout
    assert "note: grand: 100 (1880) and 900 (1875) contradict each other; both are kept" in result.stdout
    assert not own_folder().exists()


def test_add_list_and_remove(run: Callable[..., Result], file: Path) -> None:
    added = run("add", file)
    assert added.exit_code == 0
    assert added.stdout.startswith(f"added my-list in {own_folder() / 'my-list'}\n")
    assert "Oakhanger & Pryce [your table my-list]\n" in run().stdout
    assert run().stdout.splitlines()[-1].endswith("1 are your own")
    again = run("add", file)
    assert (again.exit_code, again.stdout) == (2, "")
    assert again.stderr.startswith("rakelight: you have a table 'my-list' already; add --replace")
    assert run("add", file, "--replace").exit_code == 0
    assert run("add", file, "--name", "second").exit_code == 2
    removed = run("remove", "my-list")
    assert (removed.exit_code, removed.stdout) == (0, "removed my-list\n")
    gone = run("remove", "my-list")
    assert (gone.exit_code, gone.stderr) == (2, "rakelight: you have no table 'my-list'; your tables: none\n")
    assert file.read_text(encoding="utf-8") == GOOD


def test_a_maker_that_comes_with_it_is_set_aside_in_the_open(run: Callable[..., Result], file: Path) -> None:
    file.write_text(GOOD.replace("Oakhanger & Pryce", "Pellwick Bros."), encoding="utf-8")
    assert "note: Pellwick Brothers comes with Rakelight too; yours is used instead" in run("check", file).stdout
    refused = run("add", file)
    assert refused.exit_code == 2
    assert "add --replace to use your numbers instead of those" in refused.stderr
    assert "yours is used instead" in run("add", file, "--replace").stdout
    listed = run().stdout
    assert "Pellwick Bros. [your table my-list, used instead of the one that comes with Rakelight]" in listed
    assert "\nPellwick Brothers" not in listed


def test_a_broken_table_of_the_users_is_told_and_can_be_taken_out(run: Callable[..., Result], file: Path) -> None:
    run("add", file)
    (own_folder() / "my-list" / "break_points.csv").write_text("broken", encoding="utf-8")
    listed = run()
    assert listed.exit_code == 1
    assert "Pellwick Brothers" in listed.stdout
    assert "take the table out with `rakelight tables remove my-list`" in listed.stderr
    assert run("remove", "my-list").exit_code == 0
    assert run().exit_code == 0


@pytest.mark.parametrize("arguments", [("check",), ("add",), ("remove",), ("--format", "xml"), ("check", "a", "b")])
def test_wrong_usage_is_status_2(run: Callable[..., Result], arguments: tuple[str, ...]) -> None:
    assert run(*arguments).exit_code == 2


@pytest.mark.parametrize("command", ["check", "add"])
def test_a_file_that_is_not_there(run: Callable[..., Result], command: str) -> None:
    result = run(command, "no-such.csv")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.startswith("rakelight: no-such.csv: cannot be read")
