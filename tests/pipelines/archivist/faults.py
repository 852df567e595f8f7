"""The fault trial: `python -m tests.pipelines.archivist.faults [OPTIONS]`, see --help.

Kills the run with kill -9 at random moments, again and again over the same photos, and compares the casebook with that
of an undisturbed run: after each kill every file must be there whole or not at all, at the end every row must be
equal. Prints its figures. With --postgresql the server is stopped and started again during runs instead; with --dask
one of three dask workers is killed.
"""

from __future__ import annotations

import argparse
import random
import sqlite3
import tempfile
import time
from pathlib import Path

from tests.pipelines.archivist.contents import check_part, check_whole, file_facts, read_contents
from tests.pipelines.archivist.trial import LIMITS, Command, end_session, kill, make_photos

FAKE = "tests.pipelines.archivist.fake_worker"
REAL = "pipelines"

KILL_WITHIN = 0.2
"""A run is killed at a random moment of this first share of an undisturbed run's time, so that a casebook sees several
kills before it is complete."""


def kill_again_and_again(
    command: Command, kills: int, folder: Path, seed: int, within: float = KILL_WITHIN
) -> dict[str, float]:
    """Kill runs of a command until there were enough kills, beginning a new casebook whenever one is complete."""
    log = folder / "log"
    dice = random.Random(seed)
    before = file_facts(command.photos)
    started = time.monotonic()
    command.place = str(folder / "undisturbed.sqlite")
    status = command.finish(log)
    seconds = time.monotonic() - started
    whole = read_contents(command.place)
    done = series = orphans = 0
    recorded: list[int] = []
    while done < kills:
        series += 1
        command.place = str(folder / f"series{series}.sqlite")
        while True:
            process = command.start(log)
            time.sleep(dice.uniform(0, seconds * within))
            running = done < kills and kill(process)
            if not running:
                process.wait(600)
            orphans += len(end_session(process.pid))
            if Path(command.place).exists() and _has_tables(command.place):
                recorded.append(check_part(read_contents(command.place), whole))
            done += running
            if not running:
                break
        again = command.finish(log)
        assert status in (0, 1)
        assert again == 0, "one more run finds everything known"
        check_whole(read_contents(command.place), whole)
        assert _integrity(command.place) == "ok"
    assert file_facts(command.photos) == before
    middle = sum(0 < count < len(whole) for count in recorded)
    return {
        "kills": done,
        "kills with some but not all files recorded": middle,
        "casebooks completed and equal": series,
        "files": len(whole),
        "rows": sum(map(len, whole.values())),
        "processes left over": orphans,
        "undisturbed seconds": round(seconds, 1),
    }


def _has_tables(place: str) -> bool:
    with sqlite3.connect(place) as connection:
        found = connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'photos'").fetchone()
    connection.close()
    return found is not None


def _integrity(place: str) -> str:
    with sqlite3.connect(place) as connection:
        answer = str(connection.execute("PRAGMA integrity_check").fetchone()[0])
    connection.close()
    return answer


def main() -> None:
    """Run the trial that is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--photos", type=int, default=300)
    parser.add_argument("--within", type=float, default=KILL_WITHIN, help="share of an undisturbed run's time")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--real", type=Path, help="a folder of real photos, read by the real reader")
    parser.add_argument("--postgresql", type=int, default=0, metavar="TIMES")
    parser.add_argument("--dask", action="store_true")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="faults-") as name:
        folder = Path(name)
        photos = chosen.real or folder / "photos"
        if not chosen.real:
            make_photos(photos, chosen.photos)
        command = Command(REAL if chosen.real else FAKE, photos, "", folder / "cache", ("--workers", "2"))
        command.words += () if chosen.real else LIMITS
        if chosen.postgresql or chosen.dask:
            from tests.pipelines.archivist import faults_elsewhere

            trial = faults_elsewhere.restart_postgresql if chosen.postgresql else faults_elsewhere.kill_dask_worker
            figures = trial(command, folder, chosen.postgresql or 1)
        else:
            figures = kill_again_and_again(command, chosen.kills, folder, chosen.seed, chosen.within)
    for key, value in figures.items():
        print(f"{key}: {value}")


if __name__ == "__main__":
    main()
