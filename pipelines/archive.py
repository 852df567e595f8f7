"""`rakelight archive`: read folders of photos into the casebook, unattended, again and again.

Takes folders; writes to the casebook alone. stdout carries the summary, stderr the progress. The work is in
pipelines/archivist/.
"""

from __future__ import annotations

import json
import os
import signal
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Any

import click

from pipelines.command import STATUS_STOPPED
from reader import settings
from reader.errors import MakerError, SettingsError, one_line

if TYPE_CHECKING:
    from pipelines.archivist.pool import Readers
    from pipelines.archivist.run import Stop, Summary
    from pipelines.archivist.tasks import Limits, ReadSettings
    from pipelines.casebook.records import Method

MEGAPIXEL = 1_000_000

STATUS_SOME_FAILED = 1

SHOWN_MAX = 20
"""Most lines of files set aside in the text; JSON has all."""


@click.command()
@click.argument("folders", metavar="FOLDER...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--casebook", "place", metavar="URL", help="The casebook: a file or a URL. Default: your own.")
@click.option(
    "--workers", metavar="N", type=click.IntRange(min=1), help="Photos read at a time. Default: one a processor core."
)
@click.option("--scheduler", metavar="URL", help="Read on the workers of a dask scheduler, tcp://HOST:8786.")
@click.option(
    "--time-limit",
    metavar="S",
    type=click.FloatRange(min=0, min_open=True),
    default=300,
    show_default=True,
    help="Most seconds for one photo.",
)
@click.option(
    "--memory-limit",
    metavar="MB",
    type=click.IntRange(min=300),
    default=2000,
    show_default=True,
    help="Most memory of one worker (Linux).",
)
@click.option("--maker", metavar="NAME", help="The maker of all instruments in the folders.")
@click.option("--no-split", is_flag=True, help="Take every scan for one picture, album pages too.")
@click.option("--no-treatments", is_flag=True, help="Never read again inverted or with a printer's screen taken out.")
@click.option("--retry", is_flag=True, help="Read again what was set aside before.")
@click.option("--rehash", is_flag=True, help="Read every file to know it, even if it seems unchanged.")
@click.option(
    "--max-megapixels",
    metavar="N",
    type=click.IntRange(min=1),
    default=settings.PIXEL_LIMIT // MEGAPIXEL,
    show_default=True,
    help="Refuse larger photos.",
)
@click.option(
    "--format", "form_name", type=click.Choice(["text", "json"]), default="text", show_default=True, help="The summary."
)
def archive(
    *,
    folders: tuple[Path, ...],
    place: str | None,
    workers: int | None,
    scheduler: str | None,
    time_limit: float,
    memory_limit: int,
    maker: str | None,
    no_split: bool,
    no_treatments: bool,
    retry: bool,
    rehash: bool,
    max_megapixels: int,
    form_name: str,
) -> int:
    """Read folders of photos into the casebook, all that is new.

    A second run reads only what is new, or all again where settings, tables or models have changed. Photos are never
    changed. A photo that crashes its worker, fills its memory or takes too long is set aside with its reason. Ctrl-C
    finishes the photos in flight; a second Ctrl-C drops them. Nothing is lost but those, however the run ends.

    Exit status: 0 everything was read or known; 1 something was set aside or could not be opened; 2 wrong usage or an
    unknown maker; 130 stopped by Ctrl-C.

    \b
    Examples:
      rakelight archive box-12 box-13 --casebook shop.sqlite
      rakelight archive /scans --casebook postgresql://archive@server/casebook --scheduler tcp://server:8786
    """  # noqa: D301  # \b is click's own sign: what follows keeps its lines
    from pipelines.archivist.folders import list_files
    from pipelines.archivist.places import Places, cache_file
    from pipelines.archivist.progress import Progress
    from pipelines.archivist.run import Run, run_archive
    from pipelines.archivist.tasks import Limits, ReadSettings
    from pipelines.casebook.store import open_casebook

    read_settings = ReadSettings(maker, max_megapixels * MEGAPIXEL, not no_split, not no_treatments)
    method = describe_method(read_settings)
    limits = Limits(time_limit, memory_limit)
    progress = Progress()
    listing = list_files(folders)
    with open_casebook(place) as casebook:
        places = Places(cache_file(casebook.place), trust=not rehash)
        readers = open_readers(read_settings, limits, workers, scheduler)
        run = Run(casebook, method, readers, places, progress, retry=retry, stall_seconds=60 + 3 * time_limit)
        with heeding_signals(run.stop, progress.say):
            summary = run_archive(run, listing)
    click.echo(json.dumps(asdict(summary)) if form_name == "json" else write_summary(summary))
    if summary.stopped:
        return STATUS_STOPPED
    return STATUS_SOME_FAILED if summary.set_aside or summary.problems else 0


def open_readers(read_settings: ReadSettings, limits: Limits, workers: int | None, scheduler: str | None) -> Readers:
    """Return the workers: those of a scheduler, or processes on this machine."""
    if scheduler is not None:
        from pipelines.archivist.cluster import ClusterReaders

        if workers is not None:
            raise click.UsageError("--workers goes without --scheduler: dask's workers are started by themselves")
        return ClusterReaders(scheduler, read_settings, limits)
    from pipelines.archivist.pool import LocalReaders

    return LocalReaders(read_settings, limits, workers or os.cpu_count() or 1)


def describe_method(read_settings: ReadSettings) -> Method:
    """Return what the run reads with: version, data files of the reader (models, calibration, tables), settings.

    Raises SettingsError for a maker that no table knows.
    """
    from hashlib import sha256
    from importlib.metadata import PackageNotFoundError, version
    from importlib.resources import files

    from pipelines.casebook.records import Method
    from reader.dating.makers import find_maker
    from reader.dating.tables import load_tables

    if read_settings.maker is not None:
        try:
            find_maker(read_settings.maker, load_tables())
        except MakerError as error:
            raise SettingsError(f"--maker: {error}") from error
    try:
        number = version("rakelight")
    except PackageNotFoundError:
        number = "not installed"
    root = Path(str(files("reader")))
    data = sorted(file for file in root.rglob("*") if file.suffix in (".onnx", ".json", ".csv"))
    models = {file.relative_to(root).as_posix(): sha256(file.read_bytes()).hexdigest() for file in data}
    return Method(f"rakelight {number}", models, read_settings.as_json())


class heeding_signals:  # noqa: N801  # used like a function: with heeding_signals(...)
    """While it holds, Ctrl-C and SIGTERM ask the run to finish; a second one drops what is in flight."""

    def __init__(self, stop: Stop, say: Callable[[str], None]) -> None:
        self.stop = stop
        self.say = say
        self.before: dict[int, Any] = {}

    def __enter__(self) -> None:
        for number in (signal.SIGINT, signal.SIGTERM):
            self.before[number] = signal.signal(number, self.heed)

    def __exit__(self, *_: object) -> None:
        for number, handler in self.before.items():
            signal.signal(number, handler)

    def heed(self, number: int, frame: FrameType | None) -> None:
        """Note the signal."""
        self.stop.now = self.stop.wanted
        self.stop.wanted = True
        self.say(
            "dropping the photos in flight" if self.stop.now else "finishing the photos in flight; again drops them"
        )


def write_summary(summary: Summary) -> str:
    """Return the summary in plain sentences."""
    from pipelines.archivist.progress import say_duration

    lines = [
        f"{summary.found} photos found: {summary.read} read, {summary.known} known before, "
        f"{summary.same_content} with the same content as another.",
        f"{summary.parts} pictures in them were recorded, {summary.accepted} of them with an accepted serial.",
    ]
    if summary.hidden or summary.others:
        lines.append(f"Left out: {summary.hidden} hidden names, {summary.others} files of other kinds.")
    lines += _shorten(f"Set aside ({kind}): {reason}" for _, kind, reason in summary.set_aside)
    lines += _shorten(one_line(problem) for problem in summary.problems)
    rate = f", {summary.read / summary.seconds:.2f} a second" if summary.read and summary.seconds else ""
    lines.append(f"{'Stopped after' if summary.stopped else 'Done in'} {say_duration(summary.seconds)}{rate}.")
    return "\n".join(lines)


def _shorten(lines: Any) -> list[str]:
    every = list(lines)
    if len(every) <= SHOWN_MAX:
        return every
    return [*every[:SHOWN_MAX], f"... and {len(every) - SHOWN_MAX} more; --format json lists all"]
