"""Trials of the whole command against faults: photos, one run of it as a process, and how to end it."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]

TROUBLES = ("crash", "fill", "slow", "error", "broken", "broken")

LIMITS = ("--time-limit", "6", "--memory-limit", "600")
"""Seconds that the fake reader's slow photo exceeds, and megabytes that its filling one does."""


def make_photos(folder: Path, count: int, *, troubles: bool = True) -> None:
    """Write photos of the fake kind into three folders: good ones, album pages, the same ones twice, troubles."""
    words = ["parts" if n % 7 == 0 else "none" if n % 11 == 0 else "good" for n in range(count)]
    if troubles:
        places = random.Random(count).sample(range(count), len(TROUBLES))
        for place, word in zip(places, TROUBLES, strict=True):
            words[place] = word
    old = time.time() - 3600
    for number, word in enumerate(words):
        file = folder / f"box {number % 3 + 1}" / f"photo {number}.jpg"
        file.parent.mkdir(parents=True, exist_ok=True)
        file.unlink(missing_ok=True)
        same = number - 3 if number % 29 == 5 and word == words[number - 3] else number
        file.write_text(f"{word} {same}")
        file.chmod(0o444 if number % 2 else 0o640)
        os.utime(file, (old, old + number))


@dataclass
class Command:
    """How to start the run: the module (real or fake reader), the photos, the casebook, further words."""

    module: str
    photos: Path
    place: str
    cache: Path
    words: tuple[str, ...] = ()

    def start(self, log: Path) -> subprocess.Popen[bytes]:
        """Start the run in a session of its own; what it prints is appended to a log."""
        words = [sys.executable, "-m", self.module, "archive", str(self.photos), "--casebook", self.place, *self.words]
        with log.open("ab") as file:
            environment = {**os.environ, "XDG_CACHE_HOME": str(self.cache), "OMP_NUM_THREADS": "1"}
            return subprocess.Popen(words, cwd=ROOT, stdout=file, stderr=file, start_new_session=True, env=environment)

    def finish(self, log: Path, seconds: float = 600) -> int:
        """Run to the end, and return the exit status."""
        process = self.start(log)
        try:
            return process.wait(seconds)
        finally:
            end_session(process.pid)


def kill(process: subprocess.Popen[bytes]) -> bool:
    """Kill the run's main process, as kill -9 does; tell whether it was still running."""
    running = process.poll() is None
    if running:
        process.kill()
    process.wait()
    return running


def session_processes(leader: int) -> list[int]:
    """Return the processes of a session, by /proc (Linux)."""
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            fields = (folder / "stat").read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[3]) == leader and fields[0] != "Z":
            found.append(int(folder.name))
    return found


def end_session(leader: int, patience_s: float = 10.0) -> list[int]:
    """Wait until a session has no process left; kill and return those that stay."""
    until = time.monotonic() + patience_s
    while (left := session_processes(leader)) and time.monotonic() < until:
        time.sleep(0.05)
    for number in left:
        os.kill(number, signal.SIGKILL)
    return left
