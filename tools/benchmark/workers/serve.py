"""The loop of every worker: a request a line on standard input, an answer a line on standard output.

Request: {"id": str, "file": str, "figures": bool, "job": "line" or "find"}; 'line' says that the picture holds one
line, 'find' that lines have to be found first. Answer: {"id", "boxes": [[text, score, [x, y, width, height]]],
"seconds", "decode", "peak_mb"} with processor seconds of reading and of decoding the file alone, measured apart, and
the largest memory so far. A reader that looked for lines adds "regions": [[text, score, [[x, y] x4]]], and what else it
has to say. A request of the job 'inside' also has "quads", the regions to be read. A reader that fails answers with
"error" and goes on. Only numpy and OpenCV are needed here.
"""

from __future__ import annotations

import json
import os
import resource
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Box = tuple[str, float, tuple[float, float, float, float]]
"""Text, the reader's own score (0 to 1), and the upright box x, y, width, height in pixels."""

Corners = list[list[float]]
"""Four points x, y in pixels, in order around a region."""

Region = tuple[str, float, Corners]
"""Text, the reader's own score, and the region's corners."""


@dataclass(frozen=True)
class Request:
    """One picture to read: (H, W, 3) uint8 BGR, its file, whether only figures count, the job, regions if given."""

    picture: NDArray[np.uint8]
    file: Path
    figures: bool
    job: str
    quads: Sequence[Corners] = ()


@dataclass(frozen=True)
class Found:
    """What a reader found in a whole picture: boxes, regions, and more facts for the answer."""

    boxes: list[Box]
    regions: list[Region]
    more: dict[str, Any] = field(default_factory=dict)


Read = Callable[[Request], list[Box] | Found]


def whole(picture: NDArray[np.uint8]) -> tuple[float, float, float, float]:
    """Return the box of a whole picture, for readers that give no place."""
    return (0.0, 0.0, float(picture.shape[1]), float(picture.shape[0]))


def bounds(points: Any) -> tuple[float, float, float, float]:
    """Return the upright box around (N, 2) points."""
    corners = np.asarray(points, np.float64).reshape(-1, 2)
    low, high = corners.min(0), corners.max(0)
    return (float(low[0]), float(low[1]), float(high[0] - low[0]), float(high[1] - low[1]))


def corners(points: Any) -> Corners:
    """Return (N, 2) points as plain lists, to a tenth of a pixel."""
    return [[round(float(x), 1), round(float(y), 1)] for x, y in np.asarray(points, np.float64).reshape(-1, 2)]


def found_regions(regions: list[Region], **more: Any) -> Found:
    """Return what was found by a reader whose boxes are its regions."""
    return Found([(text, score, bounds(points)) for text, score, points in regions], regions, more)


def decode(data: bytes) -> NDArray[np.uint8]:
    """Return a picture file's pixels, (H, W, 3) uint8 BGR. Raises ValueError where it is no picture."""
    pixels = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    if pixels is None:
        raise ValueError("no readable picture")
    return np.asarray(pixels, np.uint8)


def processor_seconds() -> float:
    """Return processor seconds of this process and of the programs that it has run."""
    both = (resource.getrusage(resource.RUSAGE_SELF), resource.getrusage(resource.RUSAGE_CHILDREN))
    return sum(usage.ru_utime + usage.ru_stime for usage in both)


def own_seconds() -> float:
    """Return this process's processor seconds, finer than processor_seconds."""
    return time.process_time()


def peak_megabytes() -> float:
    """Return the largest memory of this process, or of a program it ran where that is larger, in megabytes."""
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    children = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    return max(own, children) / 1024


def answer(request: dict[str, Any], read: Read, clock: Callable[[], float]) -> dict[str, Any]:
    """Read one request's picture and return the answer."""
    data = Path(request["file"]).read_bytes()
    started = clock()
    picture = decode(data)
    decoded = clock()
    reply: dict[str, Any] = {"id": request["id"], "decode": decoded - started}
    asked = Request(
        picture, Path(request["file"]), bool(request["figures"]), str(request["job"]), request.get("quads", ())
    )
    try:
        found = read(asked)
    except Exception as error:  # a peer may raise anything; its answer is then empty and says so
        found, reply["error"] = Found([], []), f"{type(error).__name__}: {error}"
    reply["seconds"] = clock() - decoded
    if isinstance(found, Found):
        reply |= {"boxes": found.boxes, "regions": found.regions, **found.more}
    else:
        reply["boxes"] = found
    reply["peak_mb"] = round(peak_megabytes(), 1)
    return reply


def serve(read: Read, clock: Callable[[], float] = own_seconds) -> None:
    """Answer requests until standard input ends; what a reader prints goes to standard error."""
    cv2.setNumThreads(1)
    out = os.fdopen(os.dup(sys.stdout.fileno()), "w", encoding="utf-8")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    for line in sys.stdin:
        out.write(json.dumps(answer(json.loads(line), read, clock=clock)) + "\n")
        out.flush()
