"""`rakelight export`, whole: originals untouched, nothing private, nothing twice, nothing lost."""

from __future__ import annotations

import hashlib
import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pipelines.command import main
from pipelines.export.target import Draft
from pipelines.export_command import FORMAT_NAMES
from tests.pipelines.export.samples import answer_line, draw_photo, write_lines

ROOT = Path(__file__).resolve().parents[3]

FILES = {
    "csv": {"photos.csv", "marks.csv", "datapackage.json"},
    "jsonl": {"records.jsonl"},
    "alto": {"a/1.jpg.alto.xml", "a/2.jpg.alto.xml", "a/=1+1.jpg.alto.xml", "b/1.jpg.alto.xml", "b/1.png.alto.xml"},
    "hocr": {"a/1.jpg.hocr.html", "b/Größe.jpg.hocr.html"},
    "annotations": {"a/1.jpg.annotations.json", "b/1.png.annotations.json"},
    "xmp": {"a/1.xmp", "a/2.xmp", "b/1.jpg.xmp", "b/1.png.xmp", "b/Größe.xmp"},  # b/1 is two photos
    "bag": {"bagit.txt", "data/originals/b/Größe.jpg", "data/crops/a/2.jpg.mark-0.png", "data/records/records.jsonl"},
    "sheet": {"contact-sheet.html"},
}


def export(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["export", *map(str, arguments)])


def state(folder: Path) -> dict[str, tuple[object, ...]]:
    """Return bytes, times, permissions and owner of everything in a folder, folders included."""
    found: dict[str, tuple[object, ...]] = {}
    for path in sorted([folder, *folder.rglob("*")]):
        status = path.lstat()
        digest = hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else ""
        facts = (digest, status.st_mtime_ns, status.st_ctime_ns, status.st_mode, status.st_uid, status.st_ino)
        found[path.relative_to(folder).as_posix()] = facts
    return found


def contents(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("name", FORMAT_NAMES)
def test_a_format(name: str, box: Path, tmp_path: Path) -> None:
    for photo in box.rglob("*.jpg"):
        photo.chmod(0o444)
    before = state(box)

    result = export(name, "--from", "records.jsonl", "--to", tmp_path / "out")

    assert result.exit_code == 0, result.output
    assert result.stdout == ""
    assert result.stderr.startswith("rakelight: 6 records exported, 0 not;")
    assert state(box) == before
    files = contents(tmp_path / "out")
    assert FILES[name] <= set(files)
    here = os.fsencode(tmp_path)
    assert [file for file, data in files.items() if here in data or os.fsencode(Path.cwd()) in data] == []

    again = export(name, "--from", "records.jsonl", "--to", tmp_path / "out")
    assert again.exit_code == 0
    assert f"; 0 files new, {len(files)} as before" in again.stderr

    export(name, "--from", "records.jsonl", "--to", tmp_path / "other")
    assert contents(tmp_path / "other") == files


@pytest.mark.parametrize("name", FORMAT_NAMES)
def test_the_order_of_the_source_does_not_matter(name: str, box: Path, tmp_path: Path) -> None:
    lines = (box / "records.jsonl").read_text().splitlines()
    (box / "turned.jsonl").write_text("\n".join(reversed(lines)))
    export(name, "--from", "records.jsonl", "--to", tmp_path / "one")
    export(name, "--from", "turned.jsonl", "--to", tmp_path / "two")
    assert contents(tmp_path / "one") == contents(tmp_path / "two") != {}


@pytest.mark.parametrize("name", ["alto", "hocr", "annotations", "xmp", "bag", "sheet"])
def test_bad_records_stop_nothing(name: str, box: Path, tmp_path: Path) -> None:
    (box / "a/1.jpg").unlink()
    draw_photo(box / "b/1.png", seed=99)
    with (box / "records.jsonl").open("a") as file:
        file.write("nonsense\n")

    result = export(name, "--from", "records.jsonl", "--to", tmp_path / "out")

    assert result.exit_code == 1
    lines = result.stderr.splitlines()
    assert lines[0].startswith("rakelight: records.jsonl, line 7: is no JSON object")
    assert any("a/1.jpg" in line and ("there is no such file" in line or "No such file" in line) for line in lines)
    assert any(line.startswith("rakelight: b/1.png: has changed since it was read") for line in lines)
    assert lines[-1].startswith("rakelight: 4 records exported, 3 not;")
    assert len(lines) == 4
    assert any("2.jpg" in file or "sheet" in file or file == "a/2.xmp" for file in contents(tmp_path / "out"))


def test_tables_need_no_photos(box: Path, tmp_path: Path) -> None:
    for photo in [*box.rglob("*.jpg"), *box.rglob("*.png")]:
        photo.unlink()
    for name in ("csv", "jsonl"):
        assert export(name, "--from", "records.jsonl", "--to", tmp_path / name).exit_code == 0


def test_an_earlier_export_that_differs_is_kept(box: Path, tmp_path: Path) -> None:
    (tmp_path / "out/a").mkdir(parents=True)
    (tmp_path / "out/a/1.xmp").write_text("mine")
    result = export("xmp", "--from", "records.jsonl", "--to", tmp_path / "out")
    assert result.exit_code == 1
    assert "exists with other contents; add --overwrite" in result.stderr
    assert (tmp_path / "out/a/1.xmp").read_text() == "mine"
    assert export("xmp", "--from", "records.jsonl", "--to", tmp_path / "out", "--overwrite").exit_code == 0
    assert (tmp_path / "out/a/1.xmp").read_text() != "mine"


def test_sidecars_beside_copies(box: Path, tmp_path: Path) -> None:
    before = state(box)
    assert export("xmp", "--from", "records.jsonl", "--to", tmp_path / "out", "--copies").exit_code == 0
    assert state(box) == before
    files = contents(tmp_path / "out")
    assert files["a/1.jpg"] == (box / "a/1.jpg").read_bytes()
    assert (tmp_path / "out/a/1.jpg").stat().st_mtime_ns == (box / "a/1.jpg").stat().st_mtime_ns
    assert len(files) == 12


def test_an_address(box: Path, tmp_path: Path) -> None:
    address = "https://example.org/scans/"
    assert (
        export("annotations", "--from", "records.jsonl", "--to", tmp_path / "out", "--address", address).exit_code == 0
    )
    page = json.loads((tmp_path / "out/b/Größe.jpg.annotations.json").read_bytes())
    assert page["items"][0]["target"]["source"] == "https://example.org/scans/b/Gr%C3%B6%C3%9Fe.jpg"


@pytest.mark.parametrize(
    "arguments",
    [
        ("pdf", "--from", "records.jsonl", "--to", "../out"),
        ("csv", "--from", "missing.jsonl", "--to", "../out"),
        ("csv", "--from", "records.jsonl", "--to", "../out", "--copies"),
        ("csv", "--from", "records.jsonl", "--to", "../out", "--address", "https://example.org/"),
        ("annotations", "--from", "records.jsonl", "--to", "../out", "--address", "https://example.org/x"),
        ("annotations", "--from", "records.jsonl", "--to", "../out", "--address", "scans/"),
        ("csv", "--from", "records.jsonl", "--to", "."),
        ("csv", "--from", "records.jsonl", "--to", "a"),
        ("csv", "--from", "records.jsonl", "--to", ".."),
        ("csv", "--from", "records.jsonl", "--to", "../out", "--photos", "missing"),
    ],
)
def test_wrong_usage(box: Path, arguments: tuple[str, ...]) -> None:
    before = state(box)
    result = export(*arguments)
    assert result.exit_code == 2
    assert "Traceback" not in result.stderr
    assert state(box) == before
    assert not (box.parent / "out").exists()


def test_what_read_printed_is_enough(box: Path, tmp_path: Path) -> None:
    lines = [
        answer_line(box / "a/1.jpg", str(box / "a/1.jpg")),
        {"version": 1, "photo": {"path": "x"}, "error": "no photo"},
    ]
    write_lines(tmp_path / "scans.jsonl", lines)
    result = export("csv", "--from", tmp_path / "scans.jsonl", "--to", tmp_path / "out")
    assert result.exit_code == 1
    assert "line 2: x: was not read (no photo)" in result.stderr
    assert b"\r\na/1.jpg,," in (tmp_path / "out/photos.csv").read_bytes()


def test_stdin(box: Path, tmp_path: Path) -> None:
    data = (box / "records.jsonl").read_bytes()
    arguments = ["export", "csv", "--from", "-", "--to", str(tmp_path / "out")]
    assert CliRunner().invoke(main, arguments, input=data).exit_code == 0
    export("csv", "--from", "records.jsonl", "--to", tmp_path / "other")
    assert contents(tmp_path / "out") == contents(tmp_path / "other")


@pytest.mark.parametrize("name", FORMAT_NAMES)
def test_a_full_disk(name: str, box: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever the format, one line, no file that is not whole, and with more room the next run finishes it."""
    export(name, "--from", "records.jsonl", "--to", tmp_path / "whole")
    room = sum(map(len, contents(tmp_path / "whole").values())) // 2
    real_write = Draft.write

    def write(draft: Draft, data: bytes) -> None:
        nonlocal room
        room -= len(data)
        if room < 0:
            draft._file.close()
            draft._file = Path("/dev/full").open("wb", buffering=0)  # noqa: SIM115  # the draft closes it
        real_write(draft, data)

    with monkeypatch.context() as patch:
        patch.setattr(Draft, "write", write)
        result = export(name, "--from", "records.jsonl", "--to", tmp_path / "out")
    assert result.exit_code == 1
    (line,) = result.stderr.splitlines()
    assert line.endswith("cannot be written (No space left on device); look at free space and permissions")
    whole = contents(tmp_path / "whole")
    assert all(data == whole[file] for file, data in contents(tmp_path / "out").items())
    assert not (tmp_path / "out/bagit.txt").exists()
    assert export(name, "--from", "records.jsonl", "--to", tmp_path / "out").exit_code == 0
    assert contents(tmp_path / "out") == whole


def test_names_of_formats() -> None:
    shown = CliRunner().invoke(main, ["export", "--help"]).stdout
    assert all(f"  {name} " in shown for name in FORMAT_NAMES)
    assert set(FILES) == set(FORMAT_NAMES)


def count_files(folder: Path) -> int:
    """Return how many files are there, counted safely while another process writes."""
    return sum(len(files) for _, _, files in os.walk(folder))


@pytest.mark.parametrize("name", ["bag", "alto"])
def test_a_run_that_is_killed_goes_on(name: str, box: Path, tmp_path: Path) -> None:
    """Killed at random moments until it is through; then the same files as from one run, and no leftovers."""
    export(name, "--from", "records.jsonl", "--to", tmp_path / "whole")
    command = [
        sys.executable,
        "-m",
        "pipelines",
        "export",
        name,
        "--from",
        "records.jsonl",
        "--to",
        str(tmp_path / "out"),
    ]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    whole = contents(tmp_path / "whole")
    before = state(box)
    moments = sorted(random.Random(20261125).sample(range(1, len(whole)), 4))
    killed = 0
    for files in moments:
        with subprocess.Popen(command, env=environment, stderr=subprocess.DEVNULL) as process:
            deadline = time.monotonic() + 60
            while process.poll() is None and count_files(tmp_path / "out") < files and time.monotonic() < deadline:
                time.sleep(0.001)
            killed += process.poll() is None
            process.send_signal(signal.SIGKILL)
        for file, data in contents(tmp_path / "out").items():
            assert ".rakelight-part" in file or data == whole[file]
    assert killed > 0

    assert export(name, "--from", "records.jsonl", "--to", tmp_path / "out").exit_code == 0
    assert contents(tmp_path / "out") == whole
    assert state(box) == before
