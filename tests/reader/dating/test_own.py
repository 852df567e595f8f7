"""The user's own tables: checked with everything that is wrong at once, kept, joined, taken out."""

from __future__ import annotations

import csv
import io
import json
import shutil
import time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from reader.dating.makers import find_maker
from reader.dating.own import add_file, check_file, own_folder, own_names, remove_own
from reader.dating.tables import DATA_FOLDER, PUBLISHED_FOLDER, MakerTable, built_in_tables, load_tables
from reader.errors import SettingsError, TableError

HEADER = "maker,series,serial,year,year_kind,basis,source"
GOOD = f"""{HEADER}
Oakhanger & Pryce,grand,100,1880,built,first-of-year,my copy of the works' book
Oakhanger & Pryce,grand,900,1885,built,last-of-year,my copy of the works' book
Lumley Bros.,upright,50,1890,sold,seen,bill of sale
"""
INVENTED = GOOD.replace("Oakhanger & Pryce", "Pellwick Bros.")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "my list.csv"
    path.write_text(GOOD, encoding="utf-8")
    return path


def problems(path: Path) -> list[tuple[int | None, str | None]]:
    return [(problem.row, problem.column) for problem in check_file(path).problems]


def add(path: Path, name: str, *, replacing: bool = False) -> None:
    add_file(path, name, built_in_tables(), replacing=replacing)


def used(name: str) -> MakerTable:
    tables = load_tables()
    return tables.makers[find_maker(name, tables).id]


def test_a_good_file_is_kept_used_and_taken_out(file: Path) -> None:
    assert problems(file) == []
    add(file, "mine")
    assert own_names() == ("mine",)
    maker = used("oakhanger & pryce")
    assert (maker.origin, maker.instead_of, maker.sparse, maker.maker.invented) == ("mine", False, False, False)
    assert [(p.serial, p.year, p.found) for p in maker.series[0].points] == [(100, 1880, "yes"), (900, 1885, "yes")]
    assert used("Lumley Brothers").sparse
    remove_own("mine")
    assert own_names() == ()
    assert load_tables().makers.keys() == built_in_tables().makers.keys()


def test_what_is_kept_is_a_data_package_that_can_be_added_again(file: Path, tmp_path: Path) -> None:
    add(file, "mine")
    copy = tmp_path / "copy"
    shutil.copytree(own_folder() / "mine", copy)
    assert json.loads((copy / "datapackage.json").read_text(encoding="utf-8"))["name"] == "mine"
    before = check_file(file)
    for again in (copy, copy / "datapackage.json", copy / "break_points.csv"):
        found = check_file(again)
        assert found.problems == ()
        assert [(t.maker.name, [s.points for s in t.series]) for t in found.makers.values()] == [
            (t.maker.name, [s.points for s in t.series]) for t in before.makers.values()
        ]


@pytest.mark.parametrize("folder", [DATA_FOLDER, PUBLISHED_FOLDER])
def test_the_built_in_packages_pass_but_for_the_mark_of_the_demo(folder: Path) -> None:
    found = check_file(folder)
    assert len(found.makers) > 5
    assert {problem.column for problem in found.problems} == ({"found"} if folder == DATA_FOLDER else set())


def test_nothing_is_replaced_without_being_told_to(file: Path) -> None:
    add(file, "mine")
    with pytest.raises(SettingsError, match="--replace"):
        add(file, "mine")
    file.write_text(GOOD.replace("900,1885", "950,1886"), encoding="utf-8")
    assert used("Oakhanger & Pryce").series[0].last.serial == 900
    add(file, "mine", replacing=True)
    assert used("Oakhanger & Pryce").series[0].last.serial == 950
    assert [path.name for path in own_folder().iterdir()] == ["mine"]


def test_a_broken_file_leaves_the_old_table(file: Path) -> None:
    add(file, "mine")
    file.write_text(GOOD.replace(",1885,", ",85,"), encoding="utf-8")
    with pytest.raises(TableError, match="no year"):
        add(file, "mine", replacing=True)
    assert used("Oakhanger & Pryce").series[0].last.year == 1885


def test_a_built_in_maker_is_set_aside_only_when_told_and_comes_back(file: Path) -> None:
    file.write_text(INVENTED, encoding="utf-8")
    with pytest.raises(SettingsError, match=r"comes? with Rakelight \(Pellwick Brothers\).*--replace"):
        add(file, "mine")
    assert own_names() == ()
    add(file, "mine", replacing=True)
    maker = used("Pellwick Bros. Piano Co.")
    assert (maker.origin, maker.instead_of, maker.maker.name) == ("mine", True, "Pellwick Bros.")
    assert not [table for table in load_tables().makers.values() if table.maker.name == "Pellwick Brothers"]
    remove_own("mine")
    assert used("Pellwick Brothers").origin == ""


def test_a_maker_of_another_own_table_is_refused(file: Path) -> None:
    add(file, "mine")
    for replacing in (False, True):
        with pytest.raises(SettingsError, match="in your table 'mine' already"):
            add(file, "other", replacing=replacing)


def test_a_maker_whose_id_is_taken_gets_another(file: Path) -> None:
    file.write_text(GOOD.replace("Oakhanger & Pryce", "Erard'"), encoding="utf-8")
    add(file, "mine", replacing=True)
    file.write_text(GOOD.replace("Oakhanger & Pryce", "Ω").replace("Lumley Bros.", "Ж"), encoding="utf-8")
    add(file, "greek")
    tables = load_tables()
    assert [id_ for id_, table in tables.makers.items() if table.origin] == [
        "maker-1",
        "maker-2",
        "erard",
        "lumley-brothers",
    ]
    assert all(table.maker.id == id_ for id_, table in tables.makers.items())


@pytest.mark.parametrize("name", ["", "..", "a/b", "Mine", "my list", "-x", "nul", "com1", "x" + "\0"])
def test_a_name_that_is_no_folder_name_is_refused(file: Path, name: str) -> None:
    with pytest.raises(SettingsError, match="cannot name a table"):
        add(file, name)
    with pytest.raises(SettingsError, match="you have no table"):
        remove_own(name)


def test_a_table_that_somebody_broke_says_how_to_mend_it(file: Path) -> None:
    add(file, "mine")
    path = own_folder() / "mine" / "break_points.csv"
    path.write_text(path.read_text(encoding="utf-8").replace(",1885,", ",85,"), encoding="utf-8")
    with pytest.raises(TableError, match="rakelight tables remove mine") as caught:
        load_tables()
    assert (caught.value.file, caught.value.row, caught.value.column) == (str(path), 2, "year")
    remove_own("mine")
    load_tables()


WRONG = f"""{HEADER}
Oakhanger & Pryce,grand,100,1880,built,first-of-year,my copy
Oakhanger & Pryce,grand,9o0,1885,built,first-of-year,my copy
Oakhanger & Pryce,grand,950,85,made,first-of-year,my copy
Oakhanger & Pryce,grand,970,2185,built,first-of-year,
Oakhanger & Pryce,grand,970,1884,built,start,my copy
Oakhanger & Pryce,grand,980,1879,built,first-of-year,my copy
Oakhanger & Pryce,grand,980,1887,built,first-of-year,my copy
oakhanger & pryce,grand,990,1888,built,first-of-year,my copy
Oakhanger & Pryce,grand,995,1888,built,first-of-year,=HYPERLINK("x")
Oakhanger & Pryce,grand,999,1889,built
Lumley,upright,50,1890,sold,first-of-year,bill
"""


def test_everything_that_is_wrong_is_told_at_once(file: Path) -> None:
    file.write_text(WRONG, encoding="utf-8")
    found = check_file(file).problems
    assert {(p.row, p.column) for p in found} >= {
        (2, "serial"),
        (3, "year"),
        (3, "year_kind"),
        (4, "year"),
        (4, "source"),
        (5, "basis"),
        (6, "year"),
        (7, "serial"),
        (8, "maker"),
        (9, "source"),
        (10, "basis"),
    }
    rows = [p.row or 0 for p in found]
    assert rows == sorted(rows)
    assert all(p.file == str(file) and str(p).isprintable() for p in found)
    with pytest.raises(TableError, match="more, see `rakelight tables check`"):
        add(file, "mine")
    assert own_names() == ()


@pytest.mark.parametrize(
    ("header", "column"),
    [
        ("maker,series,serial,year,year_kind,basis", "source"),
        (f"{HEADER},colour", "colour"),
        (f"{HEADER},year", "year"),
        ("", "maker"),
        ("just some text", "just some text"),
    ],
)
def test_a_wrong_header_names_the_column(file: Path, header: str, column: str) -> None:
    file.write_text(GOOD.replace(HEADER, header, 1), encoding="utf-8")
    assert problems(file) == [(None, column)]


def test_columns_may_stand_in_any_order_and_optional_ones_be_missing(file: Path) -> None:
    rows = list(csv.DictReader(io.StringIO(GOOD)))
    names = ["source", "year_kind", "year", "serial", "maker"]
    lines = [",".join(names), *(",".join(row[name] for name in names) for row in rows)]
    file.write_text("\n".join(lines), encoding="utf-8")
    found = check_file(file)
    assert found.problems == ()
    points = found.makers["oakhanger-and-pryce"].series[0].points
    assert {(p.basis.value, p.found) for p in points} == {("seen", "yes")}
    assert found.makers["oakhanger-and-pryce"].series[0].name == "all"


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.replace(",", ";"),
        lambda text: text.replace(",", "\t"),
        lambda text: text.replace("\n", "\r\n"),
        lambda text: "\ufeff" + text.replace(",", ";").replace("\n", "\r\n"),
        lambda text: text.rstrip("\n"),
        lambda text: text.replace("bill of sale", '"bill\nof sale"'),
    ],
    ids=["semicolons", "tabs", "crlf", "spreadsheet", "no last line end", "quoted line end"],
)
def test_what_spreadsheets_write_is_read(file: Path, change: object) -> None:
    file.write_bytes(change(GOOD).encode("utf-8"))  # type: ignore[operator]
    found = check_file(file)
    assert found.problems == ()
    assert found.makers["lumley-brothers"].series[0].points[0].source == "bill of sale"
    assert [t.maker.name for t in found.makers.values()] == ["Oakhanger & Pryce", "Lumley Bros."]


def test_a_latin_1_file_says_what_to_do(file: Path) -> None:
    file.write_bytes(GOOD.replace("Lumley", "Lümley").encode("latin-1"))
    (problem,) = check_file(file).problems
    assert (problem.row, "save it as UTF-8" in str(problem)) == (3, True)


@pytest.mark.parametrize("cell", ["=1+1", "+49 x", "-x", "@x", " =x", "＝x", "a\n=x", "\tx=\n-y"])
def test_a_cell_that_a_spreadsheet_would_run_is_refused(file: Path, cell: str) -> None:
    file.write_text(GOOD.replace("bill of sale", f'"{cell}"'), encoding="utf-8")
    assert problems(file) == [(3, "source")]


@pytest.mark.parametrize("cell", ["-5", "+49 30 123", "1/2", "a=b", "x-y", "no. 5 -> 6"])
def test_a_harmless_cell_passes(file: Path, cell: str) -> None:
    file.write_text(GOOD.replace("bill of sale", cell), encoding="utf-8")
    assert problems(file) == []


def test_a_huge_cell_file_and_number_are_refused(file: Path) -> None:
    for big in ("x" * 2_000, "x" * 200_000):
        file.write_text(GOOD.replace("bill of sale", big), encoding="utf-8")
        assert len(check_file(file).problems) == 1
    file.write_text(GOOD.replace("50,1890", f"{'9' * 5_000},1890"), encoding="utf-8")
    assert problems(file) == [(3, "serial")]
    file.write_bytes(b"x" * 20_000_001)
    with pytest.raises(TableError, match="million bytes"):
        check_file(file)


def test_too_many_rows_are_refused_and_the_most_are_not_slow(file: Path) -> None:
    rows = [f"Lumley,all,{n + 1},{1800 + n % 7},built,seen,x" for n in range(5001)]
    file.write_text("\n".join([HEADER, *rows]), encoding="utf-8")
    assert problems(file) == [(5001, None)]
    started = time.perf_counter()
    file.write_text("\n".join([HEADER, *sorted(rows[:5000], key=lambda row: int(row.split(",")[2]))]), encoding="utf-8")
    assert problems(file) == []
    assert time.perf_counter() - started < 15


def test_a_missing_file_or_folder_says_so(tmp_path: Path) -> None:
    for path in (tmp_path / "none.csv", tmp_path):
        with pytest.raises(TableError, match="cannot be read"):
            check_file(path)


def test_a_package_of_the_users_is_held_against_both_descriptors(file: Path) -> None:
    fields = [{"name": name} for name in HEADER.split(",")]
    fields[2] = {"name": "serial", "type": "integer", "constraints": {"maximum": 500}}
    fields.append({"name": "colour"})
    descriptor = {
        "name": "my-list",
        "resources": [
            {
                "name": "break-points",
                "path": "list.csv",
                "dialect": {"delimiter": ";"},
                "schema": {"fields": fields, "missingValues": ["", "-"]},
            }
        ],
    }
    lines = GOOD.replace(",", ";").splitlines()
    (file.parent / "list.csv").write_text("\n".join(line + ";red" for line in lines), encoding="utf-8")
    text = (file.parent / "list.csv").read_text(encoding="utf-8").replace("source;red", "source;colour")
    (file.parent / "list.csv").write_text(text.replace("bill of sale", "-"), encoding="utf-8")
    (file.parent / "datapackage.json").write_text(json.dumps(descriptor), encoding="utf-8")
    for path in (file.parent, file.parent / "datapackage.json", file.parent / "list.csv"):
        assert problems(path) == [(2, "serial"), (3, "source")]
    assert problems(file) == []


def test_a_package_of_something_else_in_the_folder_does_not_matter(file: Path) -> None:
    for text in ("", '{"resources": [{"name": "x", "path": "other.csv", "schema": {"fields": [{"name": 3}]}}]}'):
        (file.parent / "datapackage.json").write_text(text, encoding="utf-8")
        assert problems(file) == []
    (file.parent / "datapackage.json").write_text('{"resources": [{"path": "my list.csv"}]}', encoding="utf-8")
    with pytest.raises(TableError, match="'name' is missing"):
        check_file(file)


def test_one_maker_in_two_spellings_is_told(file: Path) -> None:
    file.write_text(GOOD + "Gebr. Lumley,upright,70,1892,built,seen,x\n", encoding="utf-8")
    (problem,) = check_file(file).problems
    assert (problem.row, problem.column) == (4, "maker")
    assert "stands as 'Lumley Bros.' above" in str(problem)


TEXT = st.text(st.characters(codec="utf-8"), max_size=30) | st.sampled_from(
    ["=1", "-", '"', '"a', "a\0b", "\r", "|", "x" * 2000]
)
CELLS = st.lists(st.lists(TEXT | st.integers(0, 3000).map(str), min_size=0, max_size=9), max_size=6)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.binary(max_size=300))
def test_any_bytes_are_read_or_refused_in_one_line(file: Path, data: bytes) -> None:
    file.write_bytes(data)
    assert_answered(file)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(CELLS, st.sampled_from([",", ";", "\t"]), st.sampled_from(["\n", "\r\n"]), st.booleans())
def test_any_cells_are_read_or_refused_in_one_line(
    file: Path, rows: list[list[str]], sign: str, end: str, quoted: bool
) -> None:
    quoting = csv.QUOTE_ALL if quoted else csv.QUOTE_MINIMAL
    with file.open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out, delimiter=sign, lineterminator=end, quoting=quoting)
        writer.writerow(HEADER.split(","))
        writer.writerows(rows)
    assert_answered(file)


def assert_answered(file: Path) -> None:
    """Everything is told in one line of a bearable length, or the file can be kept and read again."""
    found = check_file(file)
    for problem in found.problems:
        assert str(problem).isprintable()
        assert len(str(problem)) < len(str(file)) + 600
    if not found.problems:
        assert found.makers
        add_file(file, "any", built_in_tables(), replacing=True)
        assert {t.maker.name for t in load_tables().makers.values() if t.origin} == {
            t.maker.name for t in found.makers.values()
        }
