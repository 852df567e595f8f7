"""Faults outside the run: the database server goes away for a while, a dask worker is killed."""

from __future__ import annotations

import os
import random
import re
import subprocess
import sys
import time
from pathlib import Path

from tests.pipelines.archivist.contents import check_whole, count_files, file_facts, read_contents
from tests.pipelines.archivist.trial import ROOT, Command
from tests.pipelines.postgresql_server import PostgresqlServer, find_programs

AWAY_SECONDS = 3.0
"""How long the database server is away."""


def restart_postgresql(command: Command, folder: Path, times: int) -> dict[str, float]:
    """Stop and start the server `times` times during one run; the run must end by itself with the same rows."""
    programs = find_programs()
    assert programs is not None, "needs PostgreSQL's programs"
    server = PostgresqlServer(programs)
    dice = random.Random(times)
    before = file_facts(command.photos)
    try:
        command.place = server.make_database("undisturbed")
        started = time.monotonic()
        status = command.finish(folder / "log")
        seconds = time.monotonic() - started
        whole = read_contents(command.place)
        command.place = server.make_database("disturbed")
        process = command.start(folder / "log")
        during = 0
        while count_files(command.place) == 0 and process.poll() is None:
            time.sleep(0.1)
        for number in range(times):
            time.sleep(dice.uniform(0.1, seconds / (times + 1)))
            during += process.poll() is None
            server.stop("immediate" if number % 2 == 0 else "fast")
            time.sleep(AWAY_SECONDS)
            server.start()
        assert process.wait(600) == status
        check_whole(read_contents(command.place), whole)
    finally:
        server.remove()
    assert file_facts(command.photos) == before
    return {"restarts during the run": during, "files": len(whole), "rows": sum(map(len, whole.values()))}


def kill_dask_worker(command: Command, folder: Path, times: int) -> dict[str, float]:
    """Kill one of three dask workers during a run, and compare with a run on this machine's own processes."""
    before = file_facts(command.photos)
    command.place = str(folder / "undisturbed.sqlite")
    status = command.finish(folder / "log")
    whole = read_contents(command.place)
    log = folder / "dask.log"
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1"}

    def start(*words: str) -> subprocess.Popen[bytes]:
        with log.open("ab") as file:
            words = (sys.executable, "-m", "distributed.cli." + words[0], *words[1:])
            return subprocess.Popen(words, cwd=folder, stdout=file, stderr=file, env=environment)

    scheduler = start("dask_scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard")
    workers = []
    try:
        address = _wait_for(log, r"tcp://127\.0\.0\.1:\d+")
        workers = [start("dask_worker", address, "--nthreads", "1", "--no-nanny", "--no-dashboard") for _ in range(3)]
        for _ in range(100):
            if log.read_text().count("Registered to") >= len(workers):
                break
            time.sleep(0.2)
        command.place = str(folder / "cluster.sqlite")
        command.words = (*command.words[2:], "--scheduler", address)
        process = command.start(folder / "log")
        until = time.monotonic() + 120
        while (recorded := count_files(command.place)) < len(whole) / 4 and time.monotonic() < until:
            time.sleep(0.1)
        during = process.poll() is None
        workers[0].kill()
        assert process.wait(600) == status
        check_whole(read_contents(command.place), whole)
    finally:
        for one in [*workers, scheduler]:
            one.kill()
            one.wait()
    assert file_facts(command.photos) == before
    return {
        "workers killed during the run": int(during),
        "files recorded when it was killed": recorded,
        "files": len(whole),
        "rows": sum(map(len, whole.values())),
    }


def _wait_for(log: Path, pattern: str) -> str:
    """Return what a pattern finds in a log, waiting for it."""
    for _ in range(150):
        found = re.search(pattern, log.read_text()) if log.exists() else None
        if found:
            return found.group()
        time.sleep(0.2)
    raise AssertionError(f"{pattern} did not come in {log.read_text()}")
