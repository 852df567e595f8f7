"""`rakelight read` in this process, with the fake reader: what is printed, where, and the exit status."""

from __future__ import annotations

import csv
import io
import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result
from jsonschema import Draft202012Validator

from pipelines.batch import Failure, attempt, list_sources, read_all
from pipelines.output.json_lines import load_schema
from reader.errors import PhotoError
from tests.pipelines import fake_reader

Run = Callable[..., Result]

SCHEMA = Draft202012Validator(load_schema())


def test_read_all_goes_on_after_errors(shop: Path) -> None:
    outcomes = list(read_all(sorted(shop.iterdir()), fake_reader.read))
    failed = {o.path.name: o for o in outcomes if isinstance(o, Failure)}
    assert [type(o).__name__ for o in outcomes] == ["Answer", "Failure", "Answer", "Failure", "Failure", "Answer"]
    assert failed["2.jpg"].error == f"{shop / '2.jpg'}: is no picture; send the photo itself"
    assert failed["4.jpg"].error.startswith(f"{shop / '4.jpg'}: an error inside Rakelight (ValueError); please report")
    assert isinstance(failed["4.jpg"].cause, ValueError)


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (MemoryError(), "too little memory"),
        (PermissionError(13, "Permission denied"), "Permission denied"),
        (RecursionError(), "(RecursionError); please report"),
        (PhotoError("a\nb", "is no picture", "send it again"), "a\\nb: is no picture"),
    ],
)
def test_a_failure_is_one_line(error: Exception, words: str) -> None:
    def fail(path: Path) -> None:
        raise error

    failure = attempt(Path("a\nb"), fail)
    assert isinstance(failure, Failure)
    assert words in failure.error
    assert "\n" not in failure.error


def test_ctrl_c_is_not_swallowed() -> None:
    def stop(path: Path) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        attempt(Path("a.jpg"), stop)


def test_sources_keep_their_order_and_empty_folders(shop: Path, photo: Path, tmp_path: Path) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    long_name = tmp_path / ("x" * 5000)
    sources = list_sources([photo, empty, shop, long_name], lambda folder: sorted(folder.iterdir()))
    assert sources[0] == photo
    assert isinstance(sources[1], Failure)
    assert sources[1].error == f"{empty}: no photos in this folder; name the folder that they lie in"
    assert [s.name for s in sources[2:8] if isinstance(s, Path)] == [f"{n}.jpg" for n in range(1, 7)]
    assert sources[8:] == [long_name]


def test_json_has_one_valid_object_for_every_file(run: Run, shop: Path) -> None:
    result = run("read", shop, "--format", "json")
    assert result.exit_code == 1
    objects = [json.loads(line) for line in result.stdout.splitlines()]
    for data in objects:
        SCHEMA.validate(data)
    assert [Path(data["photo"]["path"]).name for data in objects] == [f"{n}.jpg" for n in range(1, 7)]
    assert ["error" in data for data in objects] == [False, True, False, True, True, False]
    assert result.stderr == "rakelight: 3 of 6 could not be read as photos\n"


def test_csv_has_a_header_and_one_row_for_every_file(run: Run, shop: Path) -> None:
    result = run("read", shop, "--format", "csv")
    assert result.exit_code == 1
    rows = list(csv.DictReader(io.StringIO(result.stdout_bytes.decode(), newline=""), strict=True))
    assert [bool(row["error"]) for row in rows] == [False, True, False, True, True, False]
    assert [row["serial"] for row in rows] == ["41873", "", "41873", "", "", ""]
    assert [row["accepted"] for row in rows] == ["true", "", "false", "", "", ""]
    assert result.stdout_bytes.count(b"\r\n") == result.stdout_bytes.count(b"\n") == 7


def test_text_has_blocks_on_stdout_and_errors_on_stderr(run: Run, shop: Path) -> None:
    result = run("read", shop)
    assert result.exit_code == 1
    blocks = result.stdout.split("\n\n")
    assert [block.splitlines()[0] for block in blocks] == [str(shop / f"{n}.jpg") for n in (1, 3, 6)]
    assert not result.stdout.startswith("\n")
    assert "error" not in result.stdout
    errors = result.stderr.splitlines()
    assert [Path(line.split(": ")[1]).name for line in errors[:3]] == ["2.jpg", "4.jpg", "5.jpg"]
    assert "ValueError" in errors[1]
    assert "Traceback" not in result.stderr


def test_all_read_is_status_0(run: Run, shop: Path) -> None:
    result = run("read", shop / "1.jpg", shop / "3.jpg", shop / "6.jpg")
    assert result.exit_code == 0
    assert result.stderr == ""


def test_a_missing_file_is_one_photos_error(run: Run, shop: Path) -> None:
    result = run("read", shop / "none.jpg", shop / "1.jpg", "--format", "json")
    assert result.exit_code == 1
    first, second = map(json.loads, result.stdout.splitlines())
    assert first["error"] == f"{shop / 'none.jpg'}: there is no such file; look at its name"
    assert second["serial"]["text"] == "41873"


def test_a_folder_without_photos_is_status_1_with_a_line(run: Run, tmp_path: Path) -> None:
    result = run("read", tmp_path)
    assert result.exit_code == 1
    assert result.stdout == ""
    assert result.stderr == f"rakelight: {tmp_path}: no photos in this folder; name the folder that they lie in\n"


def test_unknown_maker_stops_before_any_photo(run: Run, shop: Path) -> None:
    result = run("read", shop, "--maker", "Nobody", "--format", "csv")
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr == "rakelight: --maker: no table knows the maker 'Nobody'; leave it out\n"


@pytest.mark.parametrize("form", ["text", "json", "csv"])
def test_debug_shows_the_traceback_on_stderr(run: Run, shop: Path, form: str) -> None:
    quiet = run("read", shop / "4.jpg", "--format", form)
    loud = run("--debug", "read", shop / "4.jpg", "--format", form)
    assert quiet.exit_code == loud.exit_code == 1
    assert "Traceback" not in quiet.stderr
    assert "Traceback" in loud.stderr
    assert "message of two lines" in loud.stderr
    assert quiet.stdout == loud.stdout


def test_stray_prints_do_not_reach_stdout(run: Run, photo: Path) -> None:
    clean = run("read", photo, "--format", "json").stdout
    photo.write_text("print")
    noisy = run("read", photo, "--format", "json")
    assert noisy.stdout == clean
    assert noisy.stderr == "a stray line\n"


def test_a_number_that_json_has_not_is_an_error_not_bad_json(run: Run, photo: Path) -> None:
    photo.write_text("nan")
    result = run("read", photo, "--format", "json")
    assert result.exit_code == 1
    assert "ValueError" in json.loads(result.stdout)["error"]


@pytest.mark.parametrize(("option", "value"), [("--page", "0"), ("--max-megapixels", "0"), ("--page", "two")])
def test_options_outside_their_range_are_wrong_usage(run: Run, photo: Path, option: str, value: str) -> None:
    assert run("read", photo, option, value).exit_code == 2


def test_options_reach_the_reader(run: Run, photo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[tuple[str | None, int, int]] = []

    def spy(maker: str | None, page: int, pixel_limit: int) -> object:
        seen.append((maker, page, pixel_limit))
        return fake_reader.open_reader(maker, page, pixel_limit)

    monkeypatch.setattr("pipelines.batch.open_reader", spy)
    run("read", photo)
    run("read", photo, "--maker", "Harrow & Thistle", "--page", "3", "--max-megapixels", "12")
    assert seen == [(None, 0, 200_000_000), ("Harrow & Thistle", 2, 12_000_000)]


def test_picture_is_written(run: Run, photo: Path, tmp_path: Path) -> None:
    target = tmp_path / "marks.png"
    result = run("read", photo, "--picture", target)
    assert result.exit_code == 0
    assert target.read_bytes().startswith(b"\x89PNG")


def test_picture_of_a_file_that_is_no_photo_is_not_written(run: Run, shop: Path) -> None:
    target = shop / "marks.png"
    assert run("read", shop / "2.jpg", "--picture", target).exit_code == 1
    assert not target.exists()


@pytest.mark.parametrize("overwrite", [[], ["--overwrite"]])
@pytest.mark.parametrize("kind", ["same", "hard link", "symbolic link", "another way"])
def test_picture_never_replaces_the_photo(
    run: Run, photo: Path, tmp_path: Path, kind: str, overwrite: list[str]
) -> None:
    target = {"same": photo, "another way": tmp_path / "x" / ".." / photo.name}.get(kind, tmp_path / "other.jpg")
    (tmp_path / "x").mkdir()
    if kind == "hard link":
        os.link(photo, target)
    if kind == "symbolic link":
        target.symlink_to(photo)
    result = run("read", photo, "--picture", target, *overwrite)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "is the photo itself" in result.stderr
    assert photo.read_text() == "good"
    if kind == "symbolic link":  # and the other way round: the photo is named by the link, the target by its name
        assert run("read", target, "--picture", photo, *overwrite).exit_code == 2
        assert photo.read_text() == "good"


def test_picture_replaces_an_earlier_one_only_when_told(run: Run, photo: Path, tmp_path: Path) -> None:
    target = tmp_path / "marks.png"
    target.write_text("earlier")
    os.link(target, tmp_path / "second-name.png")
    refused = run("read", photo, "--picture", target)
    assert refused.exit_code == 2
    assert "exists; choose another name, or add --overwrite" in refused.stderr
    assert target.read_text() == "earlier"
    assert run("read", photo, "--picture", target, "--overwrite").exit_code == 0
    assert target.read_bytes().startswith(b"\x89PNG")
    assert (tmp_path / "second-name.png").read_text() == "earlier"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["lid.jpg", "marks.png", "second-name.png"]


def test_picture_is_for_one_photo(run: Run, shop: Path) -> None:
    result = run("read", shop, "--picture", shop / "marks.png")
    assert result.exit_code == 2
    assert "goes with one photo, not with 6" in result.stderr


@pytest.mark.parametrize(("name", "words"), [("marks.gif", "does not end in"), ("no/marks.png", "there is no folder")])
def test_picture_names_that_cannot_be(run: Run, photo: Path, tmp_path: Path, name: str, words: str) -> None:
    result = run("read", photo, "--picture", tmp_path / name)
    assert result.exit_code == 2
    assert words in result.stderr


def test_a_picture_that_cannot_be_saved_keeps_the_answer(
    run: Run, photo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_space(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pipelines.output.save._write", no_space)
    result = run("read", photo, "--format", "json", "--picture", tmp_path / "marks.png")
    assert result.exit_code == 1
    SCHEMA.validate(json.loads(result.stdout))
    assert "No space left on device" in result.stderr
    assert result.stderr.count("\n") == 1


def test_views_go_into_new_folders_and_replace_nothing(run: Run, shop: Path, tmp_path: Path) -> None:
    folder = tmp_path / "views"
    for _ in range(2):
        result = run("read", shop / "1.jpg", shop / "2.jpg", "--views", folder, "--format", "json")
        assert len(result.stdout.splitlines()) == 2
    assert sorted(str(p.relative_to(folder)) for p in folder.rglob("*.png")) == [
        "1.jpg-2/1.relief.png",
        "1.jpg/1.relief.png",
    ]
    assert f"rakelight: 1 views in {folder / '1.jpg-2'}" in result.stderr


def test_views_folder_that_is_a_file(run: Run, photo: Path) -> None:
    result = run("read", photo, "--views", photo)
    assert result.exit_code == 2
    assert photo.read_text() == "good"


def test_names_with_control_characters_and_foreign_letters(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "Klavier\nnö \x1b[31m.jpg"
    path.write_text("good")
    text = run("read", path).stdout
    assert "Klavier\\nnö \\x1b[31m.jpg\n" in text
    assert "\x1b" not in text
    assert json.loads(run("read", path, "--format", "json").stdout)["photo"]["path"] == str(path)
    row = next(csv.DictReader(io.StringIO(run("read", path, "--format", "csv").stdout_bytes.decode(), newline="")))
    assert row["path"] == str(path)
