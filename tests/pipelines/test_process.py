"""`rakelight read` as a real process with the fake reader: signals, pipes, terminals, encodings."""

from __future__ import annotations

import hashlib
import json
import os
import select
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from PIL import Image

from pipelines.output.json_lines import load_schema
from tests.pipelines.test_command import ROOT

pytestmark = pytest.mark.skipif(os.name == "nt", reason="signals, pipes and terminals of POSIX")

COMMAND = [sys.executable, "-m", "tests.pipelines.fake_reader"]

PATIENCE_SECONDS = 30
"""Longer than anything here takes; a test that waits for it has failed."""


def heed_ctrl_c() -> None:
    """Undo what a background job of a shell passes on: there Ctrl-C is ignored, and children would ignore it too."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def start(*arguments: str | Path, **options: Any) -> subprocess.Popen[bytes]:
    streams = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **options}
    return subprocess.Popen([*COMMAND, *map(str, arguments)], cwd=ROOT, preexec_fn=heed_ctrl_c, **streams)  # noqa: PLW1509 (no threads here)


def finish(process: subprocess.Popen[bytes]) -> tuple[str, str]:
    stdout, stderr = process.communicate(timeout=PATIENCE_SECONDS)
    return (stdout or b"").decode(), (stderr or b"").decode()


def test_statuses_of_the_real_command(shop: Path, tmp_path: Path) -> None:
    cases: list[tuple[str | Path, int]] = [(shop / "1.jpg", 0), (shop, 1), (tmp_path / "none.jpg", 1), ("--no", 2)]
    for argument, status in cases:
        process = start("read", argument, "--format", "json")
        stdout, _ = finish(process)
        assert process.returncode == status
        assert all(json.loads(line)["version"] == 1 for line in stdout.splitlines())


def test_with_the_real_reader(tmp_path: Path) -> None:
    """An empty wall, and a file that is no photo, from file to answer."""
    photo, target = tmp_path / "wall.png", tmp_path / "marks.png"
    Image.new("RGB", (320, 240), (120, 110, 100)).save(photo)
    before = photo.read_bytes()
    command = [sys.executable, "-m", "pipelines", "read", str(photo), "--format", "json"]
    extras = ["--maker", "Harrow & Thistle", "--picture", str(target), "--views", str(tmp_path / "views")]
    result = subprocess.run([*command, *extras], cwd=ROOT, capture_output=True, check=False)
    assert result.returncode == 0, result.stderr
    answer = json.loads(result.stdout)
    Draft202012Validator(load_schema()).validate(answer)
    assert answer["photo"]["sha256"] == hashlib.sha256(before).hexdigest()
    assert (answer["serial"], answer["maker"]["name"]) == (None, "Harrow & Thistle")
    assert photo.read_bytes() == before
    assert target.read_bytes().startswith(b"\x89PNG")
    assert len(list((tmp_path / "views" / "wall.png").glob("*.png"))) > 1

    (tmp_path / "note.jpg").write_text("no photo")
    result = subprocess.run([*command, str(tmp_path)], cwd=ROOT, capture_output=True, check=False)
    assert result.returncode == 1
    objects = [json.loads(line) for line in result.stdout.splitlines()]
    assert [name for name in ("wall.png", "note.jpg") if any("error" in o and name in o["error"] for o in objects)] == [
        "note.jpg"
    ]

    result = subprocess.run([*command, "--maker", "Nobody"], cwd=ROOT, capture_output=True, check=False)
    assert (result.returncode, result.stdout, result.stderr.count(b"\n")) == (2, b"", 1)


def test_ctrl_c_stops_with_130_and_keeps_what_was_printed(shop: Path) -> None:
    (shop / "2.jpg").write_text("slow")
    process = start("read", shop, "--format", "json")
    assert process.stdout is not None
    first = process.stdout.readline()  # comes while the second is still being read: each answer is flushed
    assert process.poll() is None
    process.send_signal(signal.SIGINT)
    rest, stderr = finish(process)
    assert process.returncode == 130
    assert json.loads(first)["serial"]["text"] == "41873"
    assert rest == ""
    assert stderr == "\nrakelight: stopped; what was printed so far stands\n"


@pytest.mark.parametrize("form", ["text", "json", "csv"])
def test_a_reader_that_goes_away_is_no_error_to_shout_about(tmp_path: Path, form: str) -> None:
    for number in range(300):
        (tmp_path / f"{number}.jpg").write_text("good")
    process = start("read", tmp_path, "--format", form)
    assert process.stdout is not None
    assert process.stdout.readline()
    process.stdout.close()
    assert process.stderr is not None
    with process.stderr as stderr:
        assert stderr.read() == b""
    assert process.wait(PATIENCE_SECONDS) == 141


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device that is always full is Linux's own")
def test_a_full_disk_is_one_line(photo: Path) -> None:
    with Path("/dev/full").open("wb") as full:
        process = start("read", photo, stdout=full)
        _, stderr = finish(process)
    assert process.returncode == 1
    assert stderr == "rakelight: the output: No space left on device; look at free space and permissions\n"


def test_a_name_that_is_no_utf_8_leads_back_to_the_file(tmp_path: Path) -> None:
    name = os.fsencode(tmp_path) + b"/lid-\xff.jpg"
    try:
        with open(name, "wb") as file:  # noqa: PTH123  # bytes are no Path
            file.write(b"good")
    except OSError:
        pytest.skip("this file system has UTF-8 names only")
    for form in ("text", "json", "csv"):
        process = start("read", tmp_path, "--format", form)
        stdout, stderr = finish(process)
        assert (process.returncode, stderr) == (0, "")
        assert "lid-\\udcff.jpg" in stdout
        if form == "json":
            assert os.fsencode(json.loads(stdout)["photo"]["path"]) == name


def test_text_in_an_encoding_without_the_letters(tmp_path: Path) -> None:
    (tmp_path / "Flügel.jpg").write_text("good")
    environment = {**os.environ, "PYTHONIOENCODING": "ascii"}
    text, _ = finish(start("read", tmp_path, env=environment))
    assert "Fl\\xfcgel.jpg" in text
    data, _ = finish(start("read", tmp_path, "--format", "json", env=environment))
    assert json.loads(data)["photo"]["path"].endswith("Flügel.jpg")


def read_terminal(main_end: int) -> str:
    """What a process wrote to a terminal that it has left."""
    data = b""
    while select.select([main_end], [], [], 1)[0]:
        try:
            piece = os.read(main_end, 65536)
        except OSError:  # Linux's way to say that the other end is closed
            break
        if not piece:
            break
        data += piece
    return data.decode()


def test_progress_goes_to_a_terminal_and_leaves_it_clean(shop: Path) -> None:
    main_end, process_end = os.openpty()
    process = start("read", shop, "--format", "json", stderr=process_end)
    os.close(process_end)
    stdout, _ = finish(process)
    shown = read_terminal(main_end)
    os.close(main_end)
    assert len([json.loads(line) for line in stdout.splitlines()]) == 6
    for number in range(1, 7):
        assert f"reading {number} of 6: {number}.jpg" in shown
    line, blank, after = shown.rpartition("reading 6 of 6: 6.jpg")[2].split("\r", 2)
    assert (line, blank.strip(), after.strip()) == ("", "", "rakelight: 3 of 6 could not be read as photos")


def test_text_is_as_wide_as_the_terminal(photo: Path) -> None:
    import fcntl
    import struct
    import termios

    main_end, process_end = os.openpty()
    fcntl.ioctl(process_end, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 50, 0, 0))
    environment = {name: value for name, value in os.environ.items() if name not in ("COLUMNS", "LINES")}
    process = start("read", photo, stdout=process_end, stderr=subprocess.DEVNULL, env=environment)
    os.close(process_end)
    process.wait(PATIENCE_SECONDS)
    lines = read_terminal(main_end).splitlines()[1:]
    os.close(main_end)
    assert 40 < max(map(len, lines)) <= 50
