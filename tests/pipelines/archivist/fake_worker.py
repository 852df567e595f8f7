"""The real command `rakelight archive` with a fake reader in its worker processes, quick and with known troubles.

A photo of the fake kind is a text file; its first word says what becomes of it:
    good      one answer                 parts   three answers and a failed part, as of an album page
    none      an answer without serial   broken  no photo
    crash     its worker dies of SIGSEGV fill    takes memory until there is none
    slow      takes a minute             error   raises what nobody expected

`python -m tests.pipelines.archivist.fake_worker archive FOLDER ...` is the command.
"""

from __future__ import annotations

import contextlib
import os
import signal
import time
from pathlib import Path

from pipelines import archive
from pipelines.archivist.pool import LocalReaders, Readers
from pipelines.archivist.tasks import FileResult, Limits, ReadSettings, Task
from pipelines.archivist.worker import explain_error
from pipelines.casebook.records import NewAnswer, NewFailure
from pipelines.output.json_lines import answer_object
from reader.errors import PhotoError
from tests.pipelines.fake_reader import make_answer, make_empty_answer

READING_SECONDS = 0.02

MORE_THAN_LIMIT = 2_000_000_000
"""Bytes that no worker under trial may have."""


def read_fake(task: Task, settings: ReadSettings) -> FileResult:
    """Read a file of the fake kind."""
    time.sleep(READING_SECONDS)
    word = Path(task.path).read_text().split()[0]
    if word == "crash":
        os.kill(os.getpid(), signal.SIGSEGV)
    if word == "slow":
        time.sleep(60)
    try:
        if word == "fill":
            bytearray(MORE_THAN_LIMIT)
        if word == "error":
            raise ValueError("a\nmessage of two lines")
        if word == "broken":
            raise PhotoError(task.path, "is no picture", "send the photo itself")
    except Exception as error:
        return explain_error(task, error)
    return FileResult(task.path, task.sha256, *_answers(task, word), seconds=READING_SECONDS)


def _answers(task: Task, word: str) -> tuple[tuple[NewAnswer, ...], tuple[NewFailure, ...]]:
    answer = make_empty_answer() if word == "none" else make_answer()
    whole = answer_object(answer)
    whole["photo"] |= {"path": task.path, "sha256": task.sha256}
    if whole["serial"]:
        whole["serial"]["text"] = str(int(task.sha256[:8], 16))
    if word != "parts":
        return (NewAnswer(whole),), ()
    prints = [NewAnswer({**whole, "serial": {**whole["serial"], "text": str(n)}}, f"print {n}") for n in (1, 2, 3)]
    return tuple(prints), (NewFailure("cannot be read", part="page 2"),)


def open_readers(read_settings: ReadSettings, limits: Limits, workers: int | None, scheduler: str | None) -> Readers:
    """Stand in for archive.open_readers."""
    # By its module's name, not as part of the program that was started: workers elsewhere look it up.
    from tests.pipelines.archivist.fake_worker import read_fake

    if scheduler is None:
        return LocalReaders(read_settings, limits, workers or 2, read_fake)
    from pipelines.archivist.cluster import ClusterReaders

    return ClusterReaders(scheduler, read_settings, limits, read_fake)


if __name__ == "__main__":
    from pipelines.command import main

    with contextlib.suppress(BrokenPipeError):
        archive.open_readers = open_readers
        main(prog_name="rakelight")
