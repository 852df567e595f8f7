"""What runs in a worker process: one photo at a time, one thread, within a memory limit.

A worker reads files and returns results; it never writes anything. What it prints goes to stderr. Whatever goes wrong
with a photo becomes a failure with its reason; what ends the process itself is seen from outside (pool.py).
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import sys
import threading
import time
from pathlib import Path

from pipelines.archivist.places import hash_file
from pipelines.archivist.tasks import FileResult, Limits, ReadSettings, Task, set_aside
from reader.errors import PhotoError, RakelightError, one_line

MB = 1_000_000

NO_MEMORY = -4
"""OpenCV's error code for memory that it did not get (cv::Error::StsNoMem)."""

THREAD_VARIABLES = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_THREAD_LIMIT")


def start_worker(limits: Limits) -> None:
    """Make this process a worker: one thread, bounded memory, and an end with the process that started it."""
    for variable in THREAD_VARIABLES:
        os.environ[variable] = "1"  # for Tesseract, which runs as a process of its own
    import cv2

    cv2.setNumThreads(1)
    limit_memory(limits.memory_mb)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def limit_memory(memory_mb: int) -> None:
    """Limit what this process may allocate (RLIMIT_DATA: Linux; other systems do not hold to it, Windows has none)."""
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        _, most = resource.getrlimit(resource.RLIMIT_DATA)
        resource.setrlimit(resource.RLIMIT_DATA, (memory_mb * MB, most))


def _end_with_parent() -> None:
    """End at once when the main process is gone, however it went: nobody would take the result."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def read_task(task: Task, settings: ReadSettings) -> FileResult:
    """Read one file. Never raises, whatever the file or the reader does."""
    started = time.perf_counter()
    with contextlib.redirect_stdout(sys.stderr):
        result = _read(task, settings)
    return FileResult(
        result.path,
        result.sha256,
        result.answers,
        result.failures,
        result.gone,
        time.perf_counter() - started,
        peak_memory_mb(),
    )


def _read(task: Task, settings: ReadSettings) -> FileResult:
    try:
        from pipelines.archivist.prints import read_scan

        answers, failures = read_scan(Path(task.path), settings)
    except Exception as error:
        return explain_error(task, error)
    read = {answer.answer["photo"]["sha256"] for answer in answers}
    if len(read) != 1:
        return FileResult(task.path, task.sha256, gone=f"{one_line(task.path)}: changed while it was read")
    return FileResult(task.path, read.pop(), tuple(answers), tuple(failures))


def explain_error(task: Task, error: Exception) -> FileResult:
    """Return the result of a file that raised an error."""
    if MemoryError in (type(error), type(error.__cause__)) or getattr(error, "code", None) == NO_MEMORY:
        remedy = "raise --memory-limit and add --retry"
        return set_aside(task, "memory", f"{one_line(task.path)}: needs more memory than a worker may use; {remedy}")
    if isinstance(error, PhotoError):
        return _unreadable(task, error)
    if isinstance(error, RakelightError):
        return set_aside(task, "error", one_line(str(error)))
    from pipelines.command import say_bug

    return set_aside(task, "error", f"{one_line(task.path)}: {say_bug(error)}")


def _unreadable(task: Task, error: PhotoError) -> FileResult:
    """Tell a file that is no photo from one that is not there any more or was exchanged."""
    with contextlib.suppress(OSError):
        if hash_file(task.path) == task.sha256:
            return set_aside(task, "unreadable", one_line(str(error)))
    return FileResult(task.path, task.sha256, gone=one_line(str(error)))


def peak_memory_mb() -> float:
    """Return the most memory (resident) that this process ever held, in MB; 0 where the system does not say."""
    try:
        import resource
    except ImportError:
        return 0.0
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / MB if sys.platform == "darwin" else peak * 1024 / MB
