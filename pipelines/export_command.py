"""`rakelight export`: what was read, and what people decided, in the formats that archives use.

Records come from a JSON Lines file or a casebook, go through pipelines/export, and end as files in a folder.
Originals are only read; nothing is replaced without --overwrite; a record that cannot be exported never stops the
others.
"""

from __future__ import annotations

import traceback
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import click

from pipelines.batch import Failure, Progress, attempt
from reader.errors import one_line

if TYPE_CHECKING:
    from pipelines.export.formats import Export
    from pipelines.export.record import Record
    from pipelines.export.sources import Records

STATUS_SOME_FAILED = 1

FORMAT_NAMES = ("csv", "jsonl", "alto", "hocr", "annotations", "xmp", "bag", "sheet")
"""What export/formats.py opens."""


@click.command()
@click.argument("format_name", metavar="FORMAT", type=click.Choice(FORMAT_NAMES))
@click.option("--from", "source", metavar="SOURCE", required=True, help="A JSON Lines file, - or a casebook.")
@click.option(
    "--to",
    "folder",
    metavar="FOLDER",
    required=True,
    type=click.Path(path_type=Path, file_okay=False),
    help="Where the files go.",
)
@click.option(
    "--photos",
    metavar="FOLDER",
    type=click.Path(path_type=Path, file_okay=False, exists=True),
    help="The folder that the photos' paths count from; the current one otherwise.",
)
@click.option("--overwrite", is_flag=True, help="Replace files of an earlier export that differ; never a photo.")
@click.option("--address", metavar="URL", help="annotations: the address that the photos are found under.")
@click.option("--copies", is_flag=True, help="xmp: copies of the photos beside the sidecars.")
@click.pass_context
def export(
    ctx: click.Context,
    *,
    format_name: str,
    source: str,
    folder: Path,
    photos: Path | None,
    overwrite: bool,
    address: str | None,
    copies: bool,
) -> int:
    """Write what was read in formats that archives use.

    \b
    FORMAT is one of
      csv          two tables, photos and marks, with a Data Package descriptor
      jsonl        records.jsonl, one object a line, which --from reads again
      alto         ALTO 4.4, one XML file a photo
      hocr         hOCR 1.2, one HTML page a photo
      annotations  W3C Web Annotations, one JSON-LD page a photo
      xmp          XMP sidecars with IPTC fields, one a photo
      bag          a BagIt 1.0 bag of copies, crops of the marks, and records
      sheet        one HTML contact sheet

    SOURCE is what `rakelight read --format json` printed (- takes it from stdin), records.jsonl of an earlier export,
    or a casebook: its file or its address. Run it again to go on with an export that was stopped: what is there already
    stays as it is.

    Exit status: 0 every record was exported; 1 some were not; 2 wrong usage.

    \b
    Examples:
      rakelight read scans --format json > scans.jsonl
      rakelight export csv --from scans.jsonl --to tables
      rakelight export bag --from scans.jsonl --to bag-2026
    """  # noqa: D301  # \b is click's own sign: what follows keeps its lines
    check_options(format_name, address, copies=copies)
    from pipelines.export.formats import Options, open_format
    from pipelines.export.sources import open_records
    from pipelines.export.target import Target

    debug = bool(ctx.find_root().params["debug"])
    with open_records(source, photos) as records:
        target = Target(folder, overwrite=overwrite)
        target.protect(records.photos)
        for problem in records.problems:
            click.echo(f"rakelight: {one_line(source)}, {problem}", err=True)
        work = open_format(format_name, records, target, Options(address or "", copies))
        try:
            failed = run(records, work, debug=debug)
            work.finish()
        finally:
            work.close()
    done, lost = len(records) - failed, failed + len(records.problems)
    click.echo(
        f"rakelight: {done} records exported, {lost} not; {target.new} files new, {target.kept} as before", err=True
    )
    return STATUS_SOME_FAILED if lost else 0


def check_options(format_name: str, address: str | None, *, copies: bool) -> None:
    """Raise click.UsageError for an option that the format does not have, or that has no sense."""
    if copies and format_name != "xmp":
        raise click.UsageError("--copies goes with xmp; a bag holds copies by itself")
    if address is None:
        return
    if format_name != "annotations":
        raise click.UsageError("--address goes with annotations")
    parts = urlsplit(address)
    if not parts.scheme or parts.query or parts.fragment or not address.endswith("/"):
        raise click.UsageError("--address: give an address of a folder, with its slash: https://example.org/scans/")


def run(records: Records, work: Export, *, debug: bool) -> int:
    """Take all records to a format, saying on stderr what fails, and return how many failed.

    Raises TargetError where nothing can be written any more.
    """
    from pipelines.export.record import TargetError

    progress = Progress(len(records))
    failed = 0
    for record in records:

        def add(_: Path, record: Record = record) -> None:
            work.add(record)

        progress.show(record.photo)
        outcome = attempt(record.photo, add)
        progress.clear()
        if isinstance(outcome, Failure):
            if isinstance(outcome.cause, TargetError):
                raise outcome.cause
            failed += 1
            if debug:
                click.echo("".join(traceback.format_exception(outcome.cause)), err=True, nl=False)
            click.echo(f"rakelight: {outcome.error}", err=True)
    return failed
