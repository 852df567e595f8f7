"""Measure one large photo: `python -m tools.benchmark.speed PHOTO`.

Prints, side by side in one run, the time of decoding the file alone, of the path from file to answer, their ratio,
and the peak memory, the recognizer's own processes apart. The first photo of a process also pays for imports.
"""

from __future__ import annotations

import resource
import sys
import time
from pathlib import Path
from statistics import median

import cv2
import numpy as np

from reader.answer import read_photo

REPEATS = 5


def main() -> None:
    """Print the measurements for one photo."""
    if len(sys.argv) != 2:
        sys.exit("usage: python -m tools.benchmark.speed PHOTO")
    path = Path(sys.argv[1])
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
    print(f"photo: {first.width} x {first.height}")
    print(
        f"decoding alone: {median(decode):.3f} s; file to answer: {median(whole):.2f} s (first: {first_seconds:.2f} s)"
    )
    print(
        f"ratio: {median(whole) / median(decode):.0f}; stages: "
        + ", ".join(f"{name} {value:.2f}" for name, value in first.seconds.items())
    )
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    recognizer = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"peak memory: {own:.0f} MB, largest recognizer process {recognizer:.0f} MB")


if __name__ == "__main__":
    main()
