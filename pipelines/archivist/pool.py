"""Worker processes that a photo may crash, fill or hold up without harm to the run.

The library pebble starts, watches, ends and replaces the processes: a worker that dies or takes too long costs its own
photo and no other. Here its verdicts become results.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from typing import TYPE_CHECKING, Protocol

from pipelines.archivist.tasks import FileResult, Limits, ReadSettings, Task, set_aside
from pipelines.archivist.worker import THREAD_VARIABLES, read_task, start_worker
from reader.errors import RakelightError, SetupError, one_line

if TYPE_CHECKING:
    from pebble import ProcessPool

ReadTask = Callable[[Task, ReadSettings], FileResult]
"""What a worker does with a task. A module's own function: it is found by its name in the worker."""

CRASHES_MAX = 2
"""A photo is set aside when so many workers died over it: one may have died for another's sake."""

ATTEMPTS_MAX = 5
"""A photo is set aside when so many attempts were lost, for whatever reason."""

STOP_SECONDS = 10.0
"""How long stopping workers may take before they are left to end with this process."""

INSTALL = "install it with: python3 -m pip install 'rakelight[archive]'"


class Readers(Protocol):
    """Workers, wherever they run."""

    @property
    def slots(self) -> int:
        """How many photos they read at a time."""

    def submit(self, task: Task) -> Future[FileResult]:
        """Hand a task over. The future gives the result or raises what `judge_failure` understands."""

    def judge(self, task: Task, errors: Sequence[BaseException]) -> FileResult | None:
        """Return why a task gave no result after these attempts, or None to try again; see `judge_failure`."""

    def restart(self) -> None:
        """Replace all workers; nothing is waited for."""

    def stop(self, *, drop: bool) -> None:
        """End the workers; with `drop` without waiting for what they are reading."""


class LocalReaders:
    """Worker processes on this machine."""

    def __init__(self, settings: ReadSettings, limits: Limits, workers: int, read: ReadTask = read_task) -> None:
        self.settings = settings
        self.limits = limits
        self.workers = workers
        self.read = read
        self.pool = self._make_pool()

    @property
    def slots(self) -> int:
        """How many photos they read at a time."""
        return self.workers

    def _make_pool(self) -> ProcessPool:
        try:
            from pebble import ProcessPool
        except ImportError as error:
            raise SetupError(f"the archive run needs pebble; {INSTALL}") from error
        for variable in THREAD_VARIABLES:
            os.environ[variable] = "1"  # read when numpy and OpenCV are imported
        # A server that forks workers: it has read the modules already and runs no thread that a fork could harm.
        forks = sys.platform.startswith("linux")
        context = multiprocessing.get_context("forkserver" if forks else "spawn")
        if forks:
            context.set_forkserver_preload(["pipelines.archivist.prints"])
        return ProcessPool(self.workers, initializer=start_worker, initargs=(self.limits,), context=context)

    def submit(self, task: Task) -> Future[FileResult]:
        """Hand a task to the next free worker. A pool that broke is replaced first."""
        arguments = (task, self.settings)
        try:
            return self.pool.schedule(self.read, args=arguments, timeout=self.limits.seconds)
        except RuntimeError:  # pebble's word for a pool that broke since
            self.restart()
            return self.pool.schedule(self.read, args=arguments, timeout=self.limits.seconds)

    def judge(self, task: Task, errors: Sequence[BaseException]) -> FileResult | None:
        """See `judge_failure`."""
        return judge_failure(task, errors, self.limits)

    def restart(self) -> None:
        """Replace the pool."""
        self.stop(drop=True)
        self.pool = self._make_pool()

    def stop(self, *, drop: bool) -> None:
        """End the workers."""
        if drop:
            self.pool.stop()
        else:
            self.pool.close()
        with contextlib.suppress(TimeoutError):
            self.pool.join(STOP_SECONDS)


def judge_failure(task: Task, errors: Sequence[BaseException], limits: Limits) -> FileResult | None:
    """Return why a task gave no result, or None where it is to be tried again.

    `errors` are those of all its attempts, the latest last. Raises the latest where it is one that a person must mend.
    """
    shown = one_line(task.path)
    latest = errors[-1]
    if isinstance(latest, RakelightError):
        raise latest
    if isinstance(latest, TimeoutError):
        reason = f"{shown}: took longer than {limits.seconds:g} s; raise --time-limit and add --retry"
        return set_aside(task, "time", reason)
    codes = [error.exitcode for error in errors if hasattr(error, "exitcode")]
    if len(codes) >= CRASHES_MAX:
        reason = f"{shown}: its worker ended each time it was read ({say_ending(codes[-1])}); look at the file"
        return set_aside(task, "crash", reason)
    if len(errors) < ATTEMPTS_MAX:
        return None
    # Not the photo's fault: every other one would fare the same.
    problem = one_line(f"{type(latest).__name__}: {latest}")
    raise SetupError(f"the workers cannot work ({problem}); see that Rakelight is installed alike on all machines")


def say_ending(code: int) -> str:
    """Say how a process ended, by its exit code; negative is the signal that ended it."""
    if code >= 0:
        return f"exit status {code}"
    try:
        name = signal.Signals(-code).name
    except ValueError:
        name = str(-code)
    return f"signal {name}" + (", as when memory runs out" if name == "SIGKILL" else "")
