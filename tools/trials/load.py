"""Figures on load: photos a second, memory of a worker, passing over known photos, one very large scan."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import tifffile

from reader.photo.load import find_photos, load_photo
from tools.trials.old_prints import SAMPLES

ROOT = Path(__file__).resolve().parent.parent.parent

RECORDED_AT_ONCE = 10_000
"""Photos in one transaction while a casebook is filled."""


def run_archive(place: Path, cache: Path, *words: str | Path) -> dict[str, Any]:
    """Run `rakelight archive` as a process and return its summary, with the whole time as `wall`."""
    command = [sys.executable, "-m", "pipelines", "archive", "--casebook", str(place), "--format", "json"]
    environment = {**os.environ, "XDG_CACHE_HOME": str(cache)}
    started = time.monotonic()
    done = subprocess.run(
        [*command, *map(str, words)], cwd=ROOT, env=environment, capture_output=True, text=True, check=False
    )
    if not done.stdout:
        raise RuntimeError(done.stderr)
    summary: dict[str, Any] = json.loads(done.stdout)
    return {**summary, "wall": time.monotonic() - started}


def measure_throughput(folder: Path, chunks: int) -> None:
    """Print the rates of 1 and 2 workers beside the sum of decode times; they take turns on parts of the folder."""
    cv2.setNumThreads(1)
    files = find_photos(folder)
    decode = 0.0
    sums = {workers: {"seconds": 0.0, "reading": 0.0, "peak": 0.0} for workers in (1, 2)}
    with tempfile.TemporaryDirectory(prefix="throughput-") as name:
        scratch = Path(name)
        for number in range(chunks):
            part = files[number::chunks]
            order = (0, 1, 2) if number % 2 == 0 else (2, 1, 0)
            for workers in order:
                if workers == 0:
                    started = time.monotonic()
                    for file in part:
                        load_photo(file)
                    decode += time.monotonic() - started
                    continue
                place = scratch / f"{number}-{workers}.sqlite"
                summary = run_archive(place, scratch / str(place.stem), "--workers", str(workers), *part)
                sums[workers]["seconds"] += summary["seconds"]
                sums[workers]["reading"] += summary["reading_seconds"]
                sums[workers]["peak"] = max(sums[workers]["peak"], summary["peak_mb"])
    print(f"{len(files)} photos of {folder.name}, decode times together {decode:.1f} s")
    for workers, figures in sums.items():
        print(
            f"{workers} workers: {figures['seconds']:.1f} s, {len(files) / figures['seconds']:.2f} photos a second, "
            f"{figures['seconds'] / decode:.1f} times the decode times; reading {figures['reading']:.1f} s of worker "
            f"time, peak {figures['peak']:.0f} MB a worker"
        )
    print(f"2 workers are {sums[1]['seconds'] / sums[2]['seconds']:.2f} times as fast as 1")


def measure_known(count: int) -> None:
    """Print how long a run over known photos takes: with the cache of places, and by reading every file again."""
    from pipelines.archive import describe_method
    from pipelines.archivist.places import hash_file
    from pipelines.archivist.tasks import ReadSettings
    from pipelines.casebook import connect
    from pipelines.casebook.record import FileResult, record_file
    from pipelines.casebook.records import NewFailure
    from pipelines.casebook.store import open_casebook

    with tempfile.TemporaryDirectory(prefix="known-") as name:
        scratch = Path(name)
        photos = scratch / "photos"
        old = time.time() - 3600
        results = []
        method = describe_method(ReadSettings())
        for number in range(count):
            file = photos / f"box {number // 1000}" / f"{number}.jpg"
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_text(f"photo {number}")
            os.utime(file, (old, old))
            failure = NewFailure("made for a trial")
            results.append(FileResult(hash_file(str(file)), str(file), method, failures=[failure]))
        with open_casebook(scratch / "casebook.sqlite") as casebook:
            for start in range(0, count, RECORDED_AT_ONCE):
                with connect.writing(casebook.engine) as connection:  # many at once, for the sake of the trial's time
                    for result in results[start : start + RECORDED_AT_ONCE]:
                        record_file(connection, result)
                print(f"  {start} recorded", file=sys.stderr, flush=True)
        cold = run_archive(scratch / "casebook.sqlite", scratch / "cache", photos)
        warm = run_archive(scratch / "casebook.sqlite", scratch / "cache", photos)
        rehash = run_archive(scratch / "casebook.sqlite", scratch / "cache", photos, "--rehash")
    for what, summary in (("first time", cold), ("again", warm), ("--rehash", rehash)):
        print(f"{summary['known']} of {summary['found']} known photos passed over, {what}: {summary['wall']:.1f} s")


def measure_large() -> None:
    """Print the most memory that a worker takes for TIFFs of 200 megapixels, stored plain and compressed."""
    sample = load_photo(SAMPLES / "customer_square_grand_pin_block.jpg").pixels
    large = np.asarray(cv2.resize(sample, (16_000, 12_500), interpolation=cv2.INTER_CUBIC), np.uint8)
    with tempfile.TemporaryDirectory(prefix="large-", dir=os.environ.get("TMPDIR")) as name:
        scratch = Path(name)
        for kind in ("none", "deflate", "gray 16 bits"):
            file = scratch / f"{kind}.tif"
            if kind == "gray 16 bits":
                deep = large[..., 1].astype(np.uint16) * 257
                tifffile.imwrite(file, deep, photometric="minisblack", compression="deflate", rowsperstrip=64)
            else:
                tifffile.imwrite(
                    file, large, photometric="rgb", compression=None if kind == "none" else kind, rowsperstrip=64
                )
            summary = run_archive(scratch / f"{kind}.sqlite", scratch / kind, "--workers", "1", file)
            aside = [reason for _, _, reason in summary["set_aside"]]
            took = f"peak {summary['peak_mb']:.0f} MB, {summary['seconds']:.0f} s"
            print(f"200 megapixels, {kind}: {took}, {aside or 'read'}", flush=True)
            file.unlink()
