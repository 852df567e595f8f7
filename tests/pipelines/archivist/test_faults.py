"""The whole command against faults: troubles in photos, kill -9, Ctrl-C, a database that goes away, a lost worker.

Small versions of the trials in faults.py and faults_elsewhere.py, with the fake reader.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from pathlib import Path

import pytest

from tests.pipelines.archivist.contents import check_whole, count_files, file_facts, read_contents
from tests.pipelines.archivist.faults import FAKE, kill_again_and_again
from tests.pipelines.archivist.faults_elsewhere import kill_dask_worker, restart_postgresql
from tests.pipelines.archivist.trial import LIMITS, Command, end_session, make_photos
from tests.pipelines.postgresql_server import find_programs

pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="looks at processes in /proc")


@pytest.fixture
def command(tmp_path: Path) -> Command:
    photos = tmp_path / "photos"
    make_photos(photos, 30, troubles=False)
    return Command(FAKE, photos, str(tmp_path / "casebook.sqlite"), tmp_path / "cache", ("--workers", "2"))


def test_troubles_are_set_aside_and_a_second_run_knows_them(command: Command, tmp_path: Path) -> None:
    make_photos(command.photos, 30)
    command.words += (*LIMITS, "--format", "json")
    before = file_facts(command.photos)
    assert command.finish(tmp_path / "first") == 1
    first = json.loads((tmp_path / "first").read_text().splitlines()[-1])
    kinds = sorted(kind for path, kind, _ in first["set_aside"] if "part" not in path)
    wanted = {"crash": 1, "error": 1, "memory": 1, "time": 1}
    assert {kind: kinds.count(kind) for kind in wanted} == wanted
    assert first["read"] == first["found"] - first["same_content"]
    assert command.finish(tmp_path / "second") == 0
    second = json.loads((tmp_path / "second").read_text().splitlines()[-1])
    assert (second["read"], second["known"]) == (0, second["found"])
    assert file_facts(command.photos) == before


def test_only_what_is_new_or_changed_is_read_until_the_settings_change(command: Command, tmp_path: Path) -> None:
    command.words += ("--format", "json")
    command.finish(tmp_path / "log")
    changed = command.photos / "box 1" / "photo 0.jpg"
    changed.chmod(0o640)
    changed.write_text("good, and changed")
    (command.photos / "new.jpg").write_text("good and new")
    (command.photos / "moved.jpg").write_bytes((command.photos / "box 2" / "photo 1.jpg").read_bytes())
    command.finish(tmp_path / "log")
    command.words += ("--maker", "Harrow & Thistle")
    command.finish(tmp_path / "log")
    first, second, third = [json.loads(line) for line in (tmp_path / "log").read_text().splitlines()]
    assert (first["read"], second["read"], third["read"]) == (29, 2, 30)
    assert second["known"] == 30


def test_kill_9_loses_nothing_and_doubles_nothing(command: Command, tmp_path: Path) -> None:
    figures = kill_again_and_again(command, 2, tmp_path, seed=7)
    assert figures["kills"] == 2
    assert figures["processes left over"] == 0


def test_ctrl_c_finishes_the_photos_in_flight(command: Command, tmp_path: Path) -> None:
    make_photos(command.photos, 150, troubles=False)
    whole_command = Command(FAKE, command.photos, str(tmp_path / "whole.sqlite"), command.cache, command.words)
    whole_command.finish(tmp_path / "log")
    process = command.start(tmp_path / "stopped")
    until = time.monotonic() + 60
    while time.monotonic() < until and count_files(command.place) == 0:
        time.sleep(0.05)
    os.killpg(process.pid, signal.SIGINT)
    assert process.wait(60) == 130
    assert end_session(process.pid) == []
    log = (tmp_path / "stopped").read_text()
    assert "Traceback" not in log
    command.finish(tmp_path / "log")
    check_whole(read_contents(command.place), read_contents(whole_command.place))


@pytest.mark.skipif(find_programs() is None, reason="needs PostgreSQL's programs")
def test_a_database_that_goes_away_is_waited_for(command: Command, tmp_path: Path) -> None:
    figures = restart_postgresql(command, tmp_path, 1)
    assert figures["files"] == 29


def test_a_killed_dask_worker_is_survived(command: Command, tmp_path: Path) -> None:
    pytest.importorskip("distributed")
    figures = kill_dask_worker(command, tmp_path, 1)
    assert figures["workers killed during the run"] == 1
