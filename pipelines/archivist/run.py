"""The run itself: what is to be read, who reads it, and one writer that records it, a file at a time.

    folders -> listing -> [known?] -> task -> workers -> result -> casebook

Everything is written by the thread that calls `run_archive`: one transaction holds all that a file gave, so that the
run may be ended at any moment. What is known is asked by content, reader, models and settings (the casebook's method).
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, CancelledError, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any, TypeVar

from pipelines.archivist.folders import Found, Listing
from pipelines.archivist.places import Places, hash_file
from pipelines.archivist.pool import Readers
from pipelines.archivist.progress import Progress
from pipelines.archivist.tasks import FileResult, Task
from pipelines.casebook.errors import CasebookError
from pipelines.casebook.records import Known, Method
from reader.errors import one_line

if TYPE_CHECKING:
    from pipelines.casebook.store import Casebook

T = TypeVar("T")

CASEBOOK_WAIT_S = 3600.0
"""How long the run waits for a casebook that does not answer, in seconds: a server's restart or a short repair."""

CASEBOOK_PAUSE_S = 2.0
"""Time between two attempts, in seconds."""

TICK_S = 0.5
"""How often the run looks at Ctrl-C and the progress is renewed, in seconds."""

BLOCK_FILES, BLOCK_S = 200, 1.0
"""Most files that the casebook is asked about at once, and most seconds that they are gathered."""


@dataclass
class Stop:
    """Set from a signal: `wanted`, finish what is in flight and end; `now`, drop it."""

    wanted: bool = False
    now: bool = False


@dataclass
class Summary:
    """What a run did. `problems` are lines about files of which nothing could be recorded."""

    found: int = 0
    known: int = 0
    same_content: int = 0
    read: int = 0
    parts: int = 0
    accepted: int = 0
    set_aside: list[tuple[str, str, str]] = field(default_factory=list)
    """Path, kind and reason of each file or part that was set aside by this run."""
    problems: list[str] = field(default_factory=list)
    hidden: int = 0
    others: int = 0
    seconds: float = 0.0
    reading_seconds: float = 0.0
    peak_mb: float = 0.0
    stopped: bool = False


@dataclass
class Run:
    """The parts of a run: where results go, what was read with what, who reads, how far it is, whether to stop."""

    casebook: Casebook
    method: Method
    readers: Readers
    places: Places
    progress: Progress
    stop: Stop = field(default_factory=Stop)
    retry: bool = False
    stall_seconds: float = 960.0


class StoppedError(Exception):
    """The run was told to stop while it waited for the casebook."""


def run_archive(run: Run, listing: Listing) -> Summary:
    """Read what is new and record it. Raises CasebookError where the casebook fails for good."""
    started = time.monotonic()
    summary = Summary(found=len(listing.files), hidden=listing.hidden, others=listing.others)
    summary.problems += listing.problems
    drop = True
    try:
        with ThreadPoolExecutor(1, "planner") as planner:
            _read_all(run, _plan(run, listing.files, summary), planner, summary)
        drop = False
    except StoppedError:
        summary.stopped = True
    finally:
        run.progress.finish()
        run.readers.stop(drop=drop)
        run.places.save()
    summary.stopped = summary.stopped or run.stop.wanted
    summary.seconds = time.monotonic() - started
    return summary


def _plan(run: Run, files: list[Found], summary: Summary) -> Iterator[Task]:
    """Yield the files whose content was not read with this method, each content once. Runs in the planner's thread."""
    remembered = {found.path: run.places.find(found) for found in files}
    hashes = {sha256 for sha256 in remembered.values() if sha256 is not None}
    known = patiently(run, lambda: run.casebook.known_hashes(hashes, run.method))
    taken: set[str] = set()
    run.progress.total = len(files)
    for block in _hash_blocks(run, files, remembered, summary):
        new = {sha256 for found, sha256 in block if remembered[found.path] is None}
        known.update(patiently(run, partial(run.casebook.known_hashes, new, run.method)) if new else {})
        for found, sha256 in block:
            state = known.get(sha256, Known.NO)
            if state == Known.ANSWERED or (state == Known.FAILED and not run.retry):
                summary.known += 1
                run.progress.skip()
            elif sha256 in taken:
                summary.same_content += 1
                run.progress.skip()
            else:
                taken.add(sha256)
                yield Task(found.path, sha256)


def _hash_blocks(
    run: Run, files: list[Found], remembered: dict[str, str | None], summary: Summary
) -> Iterator[list[tuple[Found, str]]]:
    """Yield the files with their SHA-256, as many together as are asked of the casebook at once."""
    block: list[tuple[Found, str]] = []
    began = time.monotonic()
    for found in files:
        sha256 = remembered[found.path]
        if sha256 is None:
            try:
                sha256 = hash_file(found.path)
            except OSError as error:
                summary.problems.append(f"{one_line(found.path)}: cannot be read ({error.strerror}); left out")
                run.progress.skip()
                continue
            run.places.learn(found, sha256)
        block.append((found, sha256))
        if len(block) >= BLOCK_FILES or time.monotonic() - began > BLOCK_S:
            yield block
            block, began = [], time.monotonic()
    yield block


def _read_all(run: Run, tasks: Iterator[Task], planner: ThreadPoolExecutor, summary: Summary) -> None:
    """Keep the workers busy and record what comes back, until all is done or a stop is wanted."""
    reading: dict[Future[FileResult], Task] = {}
    errors: dict[Task, list[BaseException]] = {}
    upcoming: Future[Task | None] | None = planner.submit(next, tasks, None)
    latest = time.monotonic()
    while reading or upcoming is not None:
        if run.stop.now:
            raise StoppedError
        if run.stop.wanted:
            upcoming = None
        elif upcoming is not None and upcoming.done() and len(reading) < 2 * run.readers.slots:
            task = upcoming.result()
            upcoming = None if task is None else planner.submit(next, tasks, None)
            if task is not None:
                reading[run.readers.submit(task)] = task
            continue
        # A planner that is ahead is not waited for, or the wait would return at once.
        ahead: list[Future[Any]] = [upcoming] if upcoming is not None and not upcoming.done() else []
        done, _ = wait([*reading, *ahead], timeout=TICK_S, return_when=FIRST_COMPLETED)
        for future in [future for future in done if future in reading]:
            task = reading.pop(future)
            result = _take(run, future, task, errors)
            if result is None:
                reading[run.readers.submit(task)] = task
            else:
                _record(run, result, summary)
        if done or not reading:
            latest = time.monotonic()
        elif time.monotonic() - latest > run.stall_seconds:
            run.readers.restart()
            reading = {run.readers.submit(task): task for task in reading.values()}
            latest = time.monotonic()
        run.progress.show()


def _take(
    run: Run, future: Future[FileResult], task: Task, errors: dict[Task, list[BaseException]]
) -> FileResult | None:
    """Return a task's result, the failure that it ended with, or None where it is to be tried again."""
    try:
        return future.result()
    except (Exception, CancelledError) as error:
        errors.setdefault(task, []).append(error)
        return run.readers.judge(task, errors[task])


def _record(run: Run, result: FileResult, summary: Summary) -> None:
    """Write all that a file gave in one transaction, and count it."""
    if result.gone is not None:
        summary.problems.append(result.gone)
        run.progress.skip()
        return
    patiently(run, lambda: _write(run, result))
    summary.read += 1
    summary.parts += len(result.answers)
    summary.accepted += sum(bool((new.answer["serial"] or {}).get("accepted")) for new in result.answers)
    summary.set_aside += [(result.path, failure.kind, failure.reason) for failure in result.failures]
    summary.reading_seconds += result.seconds
    summary.peak_mb = max(summary.peak_mb, result.peak_mb)
    run.progress.count()


def _write(run: Run, result: FileResult) -> None:
    if result.answers:
        run.casebook.record_answers(result.answers, run.method, failures=result.failures)
        return
    for failure in result.failures:
        run.casebook.record_failure(result.sha256, result.path, run.method, failure.reason, kind=failure.kind)


def patiently(run: Run, ask: Callable[[], T]) -> T:
    """Do something with the casebook, again and again while it does not answer, up to CASEBOOK_WAIT_S.

    Raises StoppedError where a stop is wanted meanwhile.
    """
    until = time.monotonic() + CASEBOOK_WAIT_S
    told = False
    while True:
        try:
            return ask()
        except CasebookError as error:
            if not error.transient or time.monotonic() > until:
                raise
            if run.stop.wanted:
                raise StoppedError from error
            if not told:
                run.progress.say(f"{error}; the run waits for it")
                told = True
            threading.Event().wait(CASEBOOK_PAUSE_S)
