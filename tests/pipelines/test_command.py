"""The group: help, version, what it imports, how errors become exit statuses."""

from __future__ import annotations

import errno
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from pipelines import command
from pipelines.command import COMMANDS, main, report_error
from reader.errors import MakerError, RakelightError, SettingsError

ROOT = Path(__file__).parents[2]

HEAVY = ("cv2", "numpy", "skimage", "scipy", "PIL", "pytesseract", "reader.answer", "reader.results")


def run_python(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, *arguments], cwd=ROOT, capture_output=True, text=True, check=False)


def seconds(*arguments: str) -> float:
    """The best of five: other work on the machine only ever adds."""
    times = []
    for _ in range(5):
        started = time.perf_counter()
        assert run_python(*arguments).returncode == 0
        times.append(time.perf_counter() - started)
    return min(times)


def test_every_command_stands_in_the_help_and_has_its_own() -> None:
    listed = CliRunner().invoke(main, ["--help"])
    assert listed.exit_code == 0
    for name, (_, _, line) in COMMANDS.items():
        assert name in listed.stdout
        assert line in listed.stdout
        own = CliRunner().invoke(main, [name, "--help"])
        assert own.exit_code == 0
        assert line in own.stdout


def test_help_keeps_the_examples_in_lines() -> None:
    assert "\n    rakelight read stamp.jpg\n" in CliRunner().invoke(main, ["read", "--help"]).stdout


def test_module_runs_as_the_command() -> None:
    result = run_python("-m", "pipelines", "--help")
    assert result.returncode == 0
    assert result.stdout.startswith("Usage: rakelight ")


def test_version() -> None:
    result = CliRunner().invoke(main, ["--version"])
    assert result.exit_code == 0
    assert result.stdout.startswith("rakelight ")


@pytest.mark.parametrize("imports", ["import pipelines.command", "import pipelines.command, pipelines.batch"])
def test_command_does_not_import_the_reader(imports: str) -> None:
    result = run_python("-c", f"{imports}, sys; print([m for m in {HEAVY!r} if m in sys.modules])")
    assert result.stdout.strip() == "[]", result.stderr


@pytest.mark.parametrize("arguments", [["--help"], ["read", "--help"]])
def test_help_answers_soon(arguments: Sequence[str]) -> None:
    bare = seconds("-c", "import click")
    assert seconds("-m", "pipelines", *arguments) < bare + 0.3


@pytest.mark.parametrize(
    "arguments", [["reed"], ["--no-such-option"], ["read"], ["read", "--format", "xml", "a.jpg"], []]
)
def test_wrong_usage_is_status_2(arguments: Sequence[str]) -> None:
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "Usage:" in result.stderr


@pytest.mark.parametrize(
    ("error", "status", "words"),
    [
        (RakelightError("a thing is wrong; mend it"), 1, "rakelight: a thing is wrong; mend it\n"),
        (MakerError("who is that"), 1, "rakelight: who is that\n"),
        (SettingsError("two\nlines"), 2, "rakelight: two\\nlines\n"),
        (OSError(errno.ENOSPC, "No space left on device"), 1, "rakelight: the output: No space left on device"),
        (PermissionError(errno.EACCES, "Permission denied", "a/b"), 1, "rakelight: a/b: Permission denied"),
        (KeyError("secret"), 1, "rakelight: an error inside Rakelight (KeyError); please report it"),
    ],
)
def test_errors_are_one_line_and_a_status(error: Exception, status: int, words: str) -> None:
    @click.command()
    def fail() -> None:
        sys.exit(report_error(error, debug=False))

    result = CliRunner().invoke(fail)
    assert result.exit_code == status
    assert result.stderr.startswith(words)
    assert result.stderr.count("\n") == 1
    assert "secret" not in result.stderr


def test_an_error_outside_the_photos_is_caught_too(monkeypatch: pytest.MonkeyPatch) -> None:
    @click.command()
    def fail() -> None:
        raise ZeroDivisionError

    monkeypatch.setitem(COMMANDS, "fail", ("tests.pipelines.test_command", "fail", "Fail."))
    monkeypatch.setattr(command, "import_module", lambda _: type("Module", (), {"fail": fail}))
    quiet = CliRunner().invoke(main, ["fail"])
    assert quiet.exit_code == 1
    assert "Traceback" not in quiet.stderr
    assert "(ZeroDivisionError); please report" in quiet.stderr
    loud = CliRunner().invoke(main, ["--debug", "fail"])
    assert loud.exit_code == 1
    assert "Traceback" in loud.stderr
