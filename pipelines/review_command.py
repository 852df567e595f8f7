"""`rakelight review`: serve the review page on this computer alone, or export what was decided as a training set.

What is typed goes to pipelines/review. Flask, waitress and SQLAlchemy are imported when they are needed.
"""

from __future__ import annotations

import secrets
import socket
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipelines.cases import casebook_option, open_book
from reader.errors import SettingsError, SetupError

if TYPE_CHECKING:
    from pipelines.casebook.store import Casebook

INSTALL = "the review page needs Flask and waitress; install them with: python3 -m pip install 'rakelight[review]'"

HOST = "127.0.0.1"
"""The page is for this computer: it is never served to a network."""

PORT = 8420

THREADS = 4
"""A page and its pictures are asked for at once."""


@click.command()
@casebook_option
@click.option("--by", metavar="NAME", help="Who reviews; kept with every decision.")
@click.option(
    "--port", metavar="N", type=click.IntRange(1024, 65535), default=PORT, show_default=True, help="Where it listens."
)
@click.option(
    "--photos",
    metavar="FOLDER",
    type=click.Path(path_type=Path, file_okay=False, exists=True),
    default=Path(),
    help="The folder that relative paths of photos count from; the current one otherwise.",
)
@click.option(
    "--export",
    "target",
    metavar="FOLDER",
    type=click.Path(path_type=Path),
    help="Serve nothing; write the decided marks into a new FOLDER as a training set.",
)
def review(*, place: str | None, by: str | None, port: int, photos: Path, target: Path | None) -> int:
    """Decide doubtful cases on a page in your browser.

    Those come first whose date hangs most on it. The page is served on this computer alone. Open the address that is
    printed; Ctrl-C ends it. Every decision is kept at once, with your name and why.

    \b
    Examples:
      rakelight review --casebook shop.sqlite --by "A. Reed"
      rakelight review --casebook shop.sqlite --export corrections
    """  # noqa: D301  # \b is click's own sign: what follows keeps its lines
    if target is None and not (by or "").strip():
        raise click.UsageError("--by NAME: say who reviews; every decision is kept with a name")
    with open_book(place) as book:
        if target is not None:
            return export(book, target, photos)
        serve_page(book, (by or "").strip(), port, photos)
    return 0


def export(book: Casebook, target: Path, photos: Path) -> int:
    """Write the training set and say on stderr what went into it."""
    from pipelines.review.training import export_training

    count, left_out = export_training(book, target, photos)
    click.echo(f"rakelight: {count} crops in {target}, with labels.csv", err=True)
    for reason, cases in sorted(left_out.items()):
        click.echo(f"rakelight: {cases} left out: {reason}", err=True)
    return 0


def serve_page(book: Casebook, by: str, port: int, photos: Path) -> None:
    """Serve until Ctrl-C. Raises SetupError without Flask or waitress, SettingsError for a port that is taken."""
    try:
        import waitress

        from pipelines.review.app import create_app
    except ImportError as error:
        raise SetupError(INSTALL) from error
    import cv2

    from pipelines.review.pictures import Pictures
    from pipelines.review.steps import Desk

    cv2.setNumThreads(1)
    key = secrets.token_urlsafe(16)
    pictures = Pictures(photos)
    try:
        app = create_app(Desk(book, by), pictures, key, {f"{HOST}:{port}", f"localhost:{port}"})
        try:
            listening = socket.create_server((HOST, port))
        except OSError as error:
            raise SettingsError(f"--port {port} cannot be used ({error.strerror}); name another one") from error
        with listening:
            server = waitress.create_server(app, sockets=[listening], threads=THREADS, ident=None)
            click.echo(f"rakelight: open http://{HOST}:{port}/enter/{key} in your browser; Ctrl-C ends it", err=True)
            server.run()
    finally:
        pictures.close()
