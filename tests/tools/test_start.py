"""start.py without a network: what it decides, what it heals, what it says; pip and venv are replaced by a fake."""

from __future__ import annotations

import ast
import subprocess
import sys
import time
import tomllib
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import IO

import pytest

from tools import start

CHECKOUT = start.ROOT
OVERHEAD_LIMIT_S = 0.2
"""What a start may add to the command itself once everything is ready."""


class FakeMachine:
    """Stands in for start.run_logged: makes the files that venv and pip would make, or fails as it was told."""

    def __init__(self, environment: start.Environment) -> None:
        self.environment = environment
        self.ran: list[str] = []
        self.fails: Callable[[str], str | None] = lambda line: None
        """Given the command's line, the output with which it fails; None where it succeeds."""

    def __call__(self, environment: start.Environment, words: Sequence[str], lock: IO[str]) -> bool:
        line = " ".join(words)
        self.ran.append("venv" if "venv" in words else words[-1].removeprefix(str(environment.root)))
        assert not environment.stamp.exists(), "the stamp must go before anything is changed"
        made = environment.python if "venv" in words else environment.command
        made.parent.mkdir(parents=True, exist_ok=True)
        made.write_text("", encoding="utf-8")
        if "venv" in words:
            environment.config.write_text(f"home = {Path(sys.executable).parent}\n", encoding="utf-8")
        output = self.fails(line)
        environment.log.write_text(output or "", encoding="utf-8")
        return output is None


@pytest.fixture
def environment(tmp_path: Path) -> start.Environment:
    root = tmp_path / "a checkout with ü"
    (root / "tools").mkdir(parents=True)
    (root / "pyproject.toml").write_text("[project]\n", encoding="utf-8")
    (root / "tools" / "constraints.txt").write_text("numpy==2.0\n", encoding="utf-8")
    return start.Environment(root)


@pytest.fixture
def machine(environment: start.Environment, monkeypatch: pytest.MonkeyPatch) -> FakeMachine:
    fake = FakeMachine(environment)
    monkeypatch.setattr(start, "run_logged", fake)
    return fake


def run(machine: FakeMachine, *extras: str) -> list[str]:
    """Prepare, and return what was run for it."""
    machine.ran.clear()
    start.prepare(machine.environment, extras or start.RUN_EXTRAS)
    return list(machine.ran)


def target(*extras: str) -> str:
    return "/.[" + ",".join(extras) + "]"


def test_first_start_installs_and_second_does_nothing(machine: FakeMachine, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(machine) == ["venv", target("heic")]
    assert run(machine) == []
    output = capsys.readouterr()
    assert output.out == ""
    assert output.err.splitlines()[0] == start.PREPARING
    assert len(output.err.splitlines()) == 2


def test_more_extras_are_added_and_stay(machine: FakeMachine, capsys: pytest.CaptureFixture[str]) -> None:
    run(machine)
    assert run(machine, "heic", "test") == [target("heic", "test")]
    assert start.ADDING in capsys.readouterr().err
    assert run(machine) == []
    assert run(machine, "test") == []


@pytest.mark.parametrize("name", ["pyproject.toml", "tools/constraints.txt"])
def test_changed_needs_are_installed_in_place(machine: FakeMachine, name: str) -> None:
    run(machine, "heic", "test")
    with (machine.environment.root / name).open("a", encoding="utf-8") as file:
        file.write("# changed\n")
    assert run(machine) == [target("heic", "test")]
    assert run(machine) == []


def test_a_moved_checkout_is_prepared_anew(machine: FakeMachine) -> None:
    run(machine)
    moved = machine.environment.root.with_name("moved")
    machine.environment.root.rename(moved)
    machine.environment = start.Environment(moved)
    assert run(machine) == ["venv", target("heic")]
    assert run(machine) == []


def test_another_python_means_anew(machine: FakeMachine, monkeypatch: pytest.MonkeyPatch) -> None:
    run(machine)
    monkeypatch.setattr(sys.implementation, "cache_tag", "cpython-399")
    assert run(machine)[0] == "venv"


def test_a_deleted_python_is_healed(machine: FakeMachine) -> None:
    run(machine)
    machine.environment.python.unlink()
    assert run(machine) == ["venv", target("heic")]
    machine.environment.config.write_text("home = /nowhere/at/all\n", encoding="utf-8")
    assert run(machine) == ["venv", target("heic")]


def test_a_deleted_command_is_healed(machine: FakeMachine) -> None:
    run(machine)
    machine.environment.command.unlink()
    assert run(machine) == [target("heic")]


@pytest.mark.parametrize("text", ["", "{", "[]", '{"foundation": 1}', '{"extras": "heic"}', "\0"])
def test_a_broken_stamp_counts_as_none(machine: FakeMachine, text: str) -> None:
    run(machine)
    machine.environment.stamp.write_text(text, encoding="utf-8")
    assert run(machine) == ["venv", target("heic")]


@pytest.mark.parametrize("step", ["-m venv", "pip install"])
def test_an_interrupted_start_leaves_no_stamp_and_heals(machine: FakeMachine, step: str) -> None:
    def interrupt(line: str) -> None:
        if step in line:
            raise KeyboardInterrupt

    machine.fails = interrupt
    with pytest.raises(KeyboardInterrupt):
        run(machine)
    assert not machine.environment.stamp.exists()
    leftover = machine.environment.folder / "lib" / "half" / "written"
    leftover.mkdir(parents=True)
    machine.fails = lambda line: None
    assert run(machine) == ["venv", target("heic")]
    assert not leftover.exists()


def test_a_foreign_environment_is_left_alone(machine: FakeMachine) -> None:
    machine.environment.folder.mkdir()
    machine.environment.config.write_text("home = /usr/bin\n", encoding="utf-8")
    with pytest.raises(start.PrepareError, match="was not made by"):
        run(machine)
    assert machine.environment.config.read_text(encoding="utf-8") == "home = /usr/bin\n"


def test_a_file_in_the_place_of_the_folder_is_named(machine: FakeMachine) -> None:
    machine.environment.folder.write_text("mine", encoding="utf-8")
    with pytest.raises(start.PrepareError, match=r"cannot be prepared.*\.venv"):
        run(machine)


def test_without_heic_it_goes_on(machine: FakeMachine, capsys: pytest.CaptureFixture[str]) -> None:
    machine.fails = lambda line: "No matching distribution found" if "[heic]" in line else None
    assert run(machine) == ["venv", target("heic"), "/."]
    assert capsys.readouterr().err.splitlines()[1] == start.NO_HEIC
    assert run(machine) == []


def test_a_failed_installation_shows_the_last_lines(machine: FakeMachine) -> None:
    machine.fails = lambda line: "\n".join(f"line {n}" for n in range(40)) if "pip" in line else None
    with pytest.raises(start.PrepareError) as caught:
        run(machine)
    lines = str(caught.value).splitlines()
    assert len(lines) == start.LAST_LINES + 1
    assert lines[-1] == "  line 39"
    assert str(machine.environment.log) in lines[0]


def test_without_network_one_line_says_so(machine: FakeMachine) -> None:
    refusal = "WARNING: Retrying after connection broken by 'NewConnectionError'\nERROR: No matching distribution found"
    machine.fails = lambda line: refusal if "pip" in line else None
    with pytest.raises(start.PrepareError, match="no connection") as caught:
        run(machine)
    assert "\n" not in str(caught.value)
    assert machine.ran == ["venv", target("heic")]


def test_without_venv_one_line_says_what_to_install(
    machine: FakeMachine, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None if name == "ensurepip" else object())
    with pytest.raises(start.PrepareError, match="sudo apt install python3-venv") as caught:
        run(machine)
    assert "\n" not in str(caught.value)
    assert capsys.readouterr().err == ""


def test_old_python_is_told_and_new_is_not() -> None:
    assert start.version_problem((3, 11, 0), "python3") == ""
    assert start.version_problem((4, 0, 0), "python3") == ""
    problem = start.version_problem((3, 8, 18), "/usr/bin/python3")
    assert problem.startswith("Rakelight needs Python 3.11 or newer, and /usr/bin/python3 is 3.8.18.")
    assert "\n" not in problem


def test_the_version_needed_is_the_one_declared() -> None:
    declared = tomllib.loads((CHECKOUT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["requires-python"]
    assert declared == ">=" + ".".join(str(part) for part in start.NEEDED_PYTHON)


@pytest.mark.parametrize("script", ["start.py", "check.py"])
def test_an_old_python_can_parse_the_scripts(script: str) -> None:
    ast.parse((CHECKOUT / "tools" / script).read_text(encoding="utf-8"), feature_version=(3, 6))


def test_only_the_standard_library_is_imported() -> None:
    tree = ast.parse((CHECKOUT / "tools" / "start.py").read_text(encoding="utf-8"))
    nodes = [node for node in ast.walk(tree) if isinstance(node, ast.Import | ast.ImportFrom)]
    names = {alias.name for node in nodes if isinstance(node, ast.Import) for alias in node.names}
    names |= {node.module or "" for node in nodes if isinstance(node, ast.ImportFrom)}
    assert {name.split(".")[0] for name in names} <= sys.stdlib_module_names


def test_a_held_lock_is_waited_for(tmp_path: Path) -> None:
    with start.locked(tmp_path / "lock"), (tmp_path / "lock").open("a", encoding="utf-8") as second:
        assert not start.take_lock(second)
    with (tmp_path / "lock").open("a", encoding="utf-8") as third:
        assert start.take_lock(third)


def test_the_log_has_command_and_output(environment: start.Environment) -> None:
    environment.folder.mkdir()
    words = [sys.executable, "-c", "import sys; print('one'); sys.stdout.flush(); sys.exit('two')"]
    with start.locked(environment.lock) as lock:
        assert not start.run_logged(environment, words, lock)
        assert start.run_logged(environment, [sys.executable, "-c", ""], lock)
    lines = start.last_lines(environment.log, None)
    assert lines[0].startswith("$ ")
    assert lines[1:3] == ["one", "two"]


def test_check_takes_its_own_word_and_passes_the_rest(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(CHECKOUT / "tools"))
    from tools import check

    assert check.split_words(["--all", "-k", "layers"]) == (True, ["-k", "layers"])
    assert check.split_words(["tests/reader"]) == (False, ["tests/reader"])


def test_a_ready_start_adds_little() -> None:
    environment = start.Environment(CHECKOUT)
    if not start.is_ready(environment, start.RUN_EXTRAS):
        pytest.skip("measured only where tools/start.py has prepared this checkout")
    command = [str(environment.python), str(environment.command), "--version"]
    through_start = [sys.executable, str(CHECKOUT / "tools" / "start.py"), "--version"]
    assert fastest(through_start) - fastest(command) < OVERHEAD_LIMIT_S


def fastest(words: list[str]) -> float:
    """Return the seconds of the fastest of five runs: the one that others on the machine disturbed least."""
    seconds = []
    for _ in range(5):
        started = time.perf_counter()
        subprocess.run(words, check=True, capture_output=True)
        seconds.append(time.perf_counter() - started)
    return min(seconds)


def test_a_command_brings_its_own_extra_and_every_one_of_them_is_described():
    described = tomllib.loads((CHECKOUT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    described = described["optional-dependencies"]
    assert {extra for extras in start.COMMAND_EXTRAS.values() for extra in extras} <= described.keys()
    from pipelines.command import COMMANDS

    assert start.COMMAND_EXTRAS.keys() <= COMMANDS.keys()
