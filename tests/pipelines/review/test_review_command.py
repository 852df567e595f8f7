"""`rakelight review` as it is typed: served on this computer alone, ended by Ctrl-C, and its export."""

from __future__ import annotations

import re
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from http.cookiejar import CookieJar
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pipelines.casebook.records import Outcome
from pipelines.casebook.store import Casebook
from pipelines.command import main
from tests.pipelines.review.conftest import Browser

ROOT = Path(__file__).resolve().parents[3]


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["review", *map(str, arguments)])


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


@contextmanager
def serving(folder: Path, port: int) -> Iterator[tuple[subprocess.Popen[str], str]]:
    words = ["review", "--casebook", str(folder / "casebook.sqlite"), "--by", "A. Reed", "--photos", str(folder)]
    # A shell starts what runs in its background deaf to Ctrl-C, and so is everything started from there.
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    with subprocess.Popen(
        [sys.executable, "-m", "pipelines", *words, "--port", str(port)],
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    ) as process:
        try:
            assert process.stderr is not None
            line = process.stderr.readline()
            address = re.search(r"http://\S+", line)
            assert address is not None, line
            yield process, address[0]
        finally:
            process.kill()
            signal.signal(signal.SIGINT, before)


def test_it_serves_this_computer_alone_until_ctrl_c(book: Casebook, tmp_path: Path) -> None:
    port = free_port()
    with serving(tmp_path, port) as (process, address):
        assert address.startswith(f"http://127.0.0.1:{port}/enter/")
        opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
        with opener.open(address, timeout=60) as page:
            assert b"41873" in page.read()
        with pytest.raises(OSError), socket.create_connection(("127.0.0.2", port), timeout=5):
            pass  # every 127.x.x.x is this computer, and only the one is listened on
        process.send_signal(signal.SIGINT)
        assert process.wait(60) == 0


def test_a_port_that_is_taken(book: Casebook, tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        result = run("--casebook", tmp_path / "casebook.sqlite", "--by", "A. Reed", "--port", port)
    assert result.exit_code == 2
    assert f"--port {port} cannot be used" in result.stderr


@pytest.mark.parametrize("name", [[], ["--by", "  "]])
def test_a_reviewer_has_a_name(book: Casebook, tmp_path: Path, name: list[str]) -> None:
    result = run("--casebook", tmp_path / "casebook.sqlite", *name)
    assert result.exit_code == 2
    assert "--by NAME" in result.stderr


def test_a_casebook_that_is_not_there(tmp_path: Path) -> None:
    result = run("--casebook", tmp_path / "none.sqlite", "--by", "A. Reed")
    assert result.exit_code == 1
    assert result.stderr.count("\n") == 1
    assert not (tmp_path / "none.sqlite").exists()


def test_export(browser: Browser, book: Casebook, tmp_path: Path) -> None:
    browser.press("accept 41873")
    book.decide(2, Outcome.CANNOT_BE_READ, by="A. Reed", because="rust")
    words = ("--casebook", tmp_path / "casebook.sqlite", "--photos", tmp_path, "--export", tmp_path / "set")
    result = run(*words)
    assert result.exit_code == 0
    assert result.stdout == ""
    assert "1 crops in" in result.stderr and "1 left out: no number was decided" in result.stderr
    again = run(*words)
    assert again.exit_code == 2
    assert "is not empty" in again.stderr
