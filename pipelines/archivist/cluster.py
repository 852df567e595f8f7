"""The same workers on several machines, by dask.distributed.

Each dask worker holds the same guarded processes as a run on one machine (pool.py), so that a photo that crashes or
fills its process costs no dask worker. A dask worker that is lost is survived: the scheduler gives its photos to
another one. Results come back to the one process that writes the casebook.
"""

from __future__ import annotations

import multiprocessing
import threading
from collections.abc import Sequence
from concurrent.futures import CancelledError, Future
from typing import TYPE_CHECKING

from pipelines.archivist.pool import LocalReaders, ReadTask, judge_failure
from pipelines.archivist.tasks import FileResult, Limits, ReadSettings, Task, set_aside
from pipelines.archivist.worker import read_task
from reader.errors import SetupError, one_line

if TYPE_CHECKING:
    from distributed import Client

CONNECT_SECONDS = 20.0
"""How long the scheduler may take to answer, and at least one worker to be there."""

RETRIES = 1
"""How often dask repeats a task that raised an error; what a lost worker was doing it repeats by itself."""

START_WORKERS = "start them with: dask worker {} --nthreads 2 --no-nanny"

_readers: dict[tuple[ReadSettings, Limits], LocalReaders] = {}
_readers_lock = threading.Lock()


class ClusterReaders:
    """The workers of a dask scheduler. `slots` follows the number of their threads."""

    def __init__(self, address: str, settings: ReadSettings, limits: Limits, read: ReadTask = read_task) -> None:
        self.settings = settings
        self.limits = limits
        self.read = read
        self.client = _connect(address)
        self.executor = self.client.get_executor(pure=False, retries=RETRIES)

    @property
    def slots(self) -> int:
        """How many photos the workers that are there now read at a time."""
        return max(1, int(sum(self.client.nthreads().values())))

    def submit(self, task: Task) -> Future[FileResult]:
        """Hand a task to the scheduler."""
        future: Future[FileResult] = self.executor.submit(read_guarded, task, self.settings, self.limits, self.read)
        return future

    def judge(self, task: Task, errors: Sequence[BaseException]) -> FileResult | None:
        """See `judge_failure`. dask has given up on a photo that several of its workers were lost over."""
        from distributed import KilledWorker

        if isinstance(errors[-1], KilledWorker):
            return set_aside(
                task, "crash", f"{one_line(task.path)}: dask lost several workers over it; look at the file"
            )
        return judge_failure(task, errors, self.limits)

    def restart(self) -> None:
        """Forget what was handed over; the scheduler watches the workers itself."""
        self.executor.shutdown(wait=False, cancel_futures=True)
        self.executor = self.client.get_executor(pure=False, retries=RETRIES)

    def stop(self, *, drop: bool) -> None:
        """Leave the scheduler; the workers stay for the next run."""
        self.executor.shutdown(wait=not drop, cancel_futures=drop)
        self.client.close()


def _connect(address: str) -> Client:
    try:
        from distributed import Client
    except ImportError as error:
        remedy = "install it with: python3 -m pip install 'rakelight[cluster]'"
        raise SetupError(f"--scheduler needs dask.distributed; {remedy}") from error
    try:
        client = Client(address, timeout=CONNECT_SECONDS, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise SetupError(f"--scheduler {address}: no answer; see that `dask scheduler` runs there") from error
    try:
        client.wait_for_workers(1, timeout=CONNECT_SECONDS)
    except TimeoutError as error:
        client.close()
        raise SetupError(f"--scheduler {address}: has no workers; {START_WORKERS.format(address)}") from error
    return client


def read_guarded(task: Task, settings: ReadSettings, limits: Limits, read: ReadTask) -> FileResult:
    """Read a task in a process of its own; runs in a dask worker's thread. Returns a result for whatever happens."""
    readers = _own_readers(settings, limits, read)
    errors: list[BaseException] = []
    while True:
        try:
            return readers.submit(task).result()
        except (Exception, CancelledError) as error:
            errors.append(error)
            result = readers.judge(task, errors)
            if result is not None:
                return result


def _own_readers(settings: ReadSettings, limits: Limits, read: ReadTask) -> LocalReaders:
    """Return this dask worker's processes, started with the first task."""
    if multiprocessing.current_process().daemon:
        raise SetupError("this dask worker may start no processes; " + START_WORKERS.format("tcp://..."))
    from distributed import get_worker

    with _readers_lock:
        key = (settings, limits)
        if key not in _readers:
            _readers[key] = LocalReaders(settings, limits, get_worker().state.nthreads, read)
        return _readers[key]
