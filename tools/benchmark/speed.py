"""Measure one large photo: `python -m tools.benchmark.speed PHOTO [--json]`.

Prints, side by side in one run, the time of decoding the file alone, of the path from file to answer, their ratio,
and the peak memory, the second recognizer's own processes apart. Both are taken in turn. The first photo of a process
also pays for imports. Times are by the clock and on all cores, so the machine should be quiet.
"""

from __future__ import annotations

import argparse
import json
import resource
import time
from dataclasses import asdict, dataclass
from pathlib import Path
from statistics import median

import cv2
import numpy as np

from reader.answer import read_photo

REPEATS = 5


@dataclass(frozen=True)
class Speed:
    """Seconds by the clock (medians; of the first photo; of the first photo's stages), pixels and megabytes."""

    width: int
    height: int
    decoding: float
    answer: float
    first: float
    stages: dict[str, float]
    peak_mb: float
    helper_mb: float


def measure(path: Path) -> Speed:
    """Measure one photo, decoding alone and the whole path in turn."""
    started = time.perf_counter()
    first = read_photo(path)
    first_seconds = time.perf_counter() - started
    decode, whole = [], []
    for _ in range(REPEATS):
        data = np.frombuffer(path.read_bytes(), np.uint8)
        started = time.perf_counter()
        cv2.imdecode(data, cv2.IMREAD_COLOR)
        decode.append(time.perf_counter() - started)
        started = time.perf_counter()
        read_photo(path)
        whole.append(time.perf_counter() - started)
    return Speed(
        first.width,
        first.height,
        median(decode),
        median(whole),
        first_seconds,
        dict(first.seconds),
        resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
        resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024,
    )


def main() -> None:
    """Print the measurements for one photo."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photo", type=Path)
    parser.add_argument("--json", action="store_true", help="print the figures as one line of JSON")
    options = parser.parse_args()
    found = measure(options.photo)
    if options.json:
        print(json.dumps(asdict(found)))
        return
    stages = ", ".join(f"{name} {value:.2f}" for name, value in found.stages.items())
    print(f"photo: {found.width} x {found.height}")
    print(f"decoding alone: {found.decoding:.3f} s; file to answer: {found.answer:.2f} s (first: {found.first:.2f} s)")
    print(f"ratio: {found.answer / found.decoding:.1f}; stages: {stages}")
    print(f"peak memory: {found.peak_mb:.0f} MB, largest recognizer process {found.helper_mb:.0f} MB")


if __name__ == "__main__":
    main()
