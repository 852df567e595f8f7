"""Small readers that are programs of the system (gocr, ocrad): `python -m ... gocr|ocrad`. They give no score."""

from __future__ import annotations

import shutil
import subprocess
import sys

import cv2
import numpy as np

from tools.benchmark.workers.preparation import prepare
from tools.benchmark.workers.serve import Box, Read, Request, processor_seconds, serve, whole

COMMANDS = {"gocr": ["gocr", "-i", "-"], "ocrad": ["ocrad", "-"]}
FIGURES_OPTIONS = {"gocr": ["-C", "0-9"], "ocrad": ["--filter=numbers_only"]}
SECONDS_MAX = 20.0


def open_reader(name: str) -> Read:
    """Return the reader of one program; pictures are enlarged and given dark on bright, as their manuals ask.

    Ends the process where the program is missing.
    """
    if shutil.which(name) is None:
        sys.exit(f"{name} is not installed (a Debian package)")

    def read(request: Request) -> list[Box]:
        gray = np.asarray(cv2.cvtColor(request.picture, cv2.COLOR_BGR2GRAY), np.uint8)
        data = cv2.imencode(".pgm", prepare(gray, "otsu", request.job))[1].tobytes()
        command = COMMANDS[name] + (FIGURES_OPTIONS[name] if request.figures else [])
        done = subprocess.run(command, input=data, capture_output=True, timeout=SECONDS_MAX, check=False)
        text = " ".join(done.stdout.decode("utf-8", "replace").split())
        return [(text, 1.0, whole(request.picture))] if text else []

    return read


if __name__ == "__main__":
    if len(sys.argv) != 2 or sys.argv[1] not in COMMANDS:
        sys.exit(f"usage: python -m tools.benchmark.workers.program {'|'.join(COMMANDS)}")
    serve(open_reader(sys.argv[1]), clock=processor_seconds)
