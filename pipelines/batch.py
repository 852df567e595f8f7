"""`rakelight read`: many photos and folders, one after the other, each answer printed as soon as it is there.

Paths come from the command line, answers from the reader, and go out through pipelines/output. A file that cannot be
read never stops the run. Originals are only read; what is written (picture, views) never replaces one.
"""

from __future__ import annotations

import contextlib
import shutil
import sys
import traceback
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from pipelines.command import say_bug
from reader import settings
from reader.errors import MakerError, PhotoError, RakelightError, SettingsError, one_line

if TYPE_CHECKING:
    from pipelines.output.picture import RgbPixels
    from reader.results import Answer

T = TypeVar("T")

TEXT_COLUMNS = 100
"""Width of the text where it does not go to a terminal, in characters."""

SMALLEST_COLUMNS = 40
"""A narrower terminal gets lines of this width all the same, in characters."""

MEGAPIXEL = 1_000_000

STATUS_SOME_FAILED = 1


@dataclass(frozen=True)
class Failure:
    """A path that gave no answer, the one line that says why, and the exception behind it."""

    path: Path
    error: str
    cause: Exception


@dataclass(frozen=True)
class Reader:
    """What a run needs of the reader, bound to the options of the run, so that a test can put its own here.

    `find` lists the photos in a folder; `read` reads one; `save_views` writes its views into a folder; `load_pixels`
    returns the upright (H, W, 3) uint8 sRGB pixels that the answer's quads lie in.
    """

    find: Callable[[Path], list[Path]]
    read: Callable[[Path], Answer]
    save_views: Callable[[Path, Path], list[Path]]
    load_pixels: Callable[[Path], RgbPixels]


@dataclass(frozen=True)
class Form:
    """A form of output: what stands at the start and between answers, how an answer and an error are written.

    `error` is None where errors go to stderr. `plain_bytes`: UTF-8 whatever the terminal, line ends as they are.
    """

    answer: Callable[[Answer], str]
    error: Callable[[Path, str], str] | None
    start: str = ""
    between: str = ""
    plain_bytes: bool = True


def open_reader(maker: str | None, page: int, pixel_limit: int) -> Reader:
    """Import the reader and bind the options to it. `page` is counted from 0.

    Raises MakerError for a maker's name that no table knows, before any photo is touched.
    """
    from reader.answer import ReadOptions, read_photo, save_views
    from reader.dating.makers import find_maker
    from reader.dating.tables import load_tables
    from reader.photo.load import find_photos, load_photo

    if maker is not None:
        find_maker(maker, load_tables())
    options = ReadOptions(maker=maker, page=page, pixel_limit=pixel_limit)
    return Reader(
        find=find_photos,
        read=lambda path: read_photo(path, options),
        save_views=lambda path, folder: save_views(path, options, folder),
        load_pixels=lambda path: load_photo(path, page=page, pixel_limit=pixel_limit).pixels,
    )


def list_sources(paths: Iterable[Path], find: Callable[[Path], list[Path]]) -> list[Path | Failure]:
    """Return the paths in order, each folder replaced by its photos, or by a failure where it has none."""
    sources: list[Path | Failure] = []
    for path in paths:
        if not _is_folder(path):
            sources.append(path)
            continue
        found = attempt(path, find)
        if isinstance(found, Failure):
            sources.append(found)
        elif found:
            sources.extend(found)
        else:
            empty = PhotoError(path, "no photos in this folder", "name the folder that they lie in")
            sources.append(Failure(path, str(empty), empty))
    return sources


def _is_folder(path: Path) -> bool:
    with contextlib.suppress(OSError):  # a name that is too long, a folder above that is closed: no folder
        return path.is_dir()
    return False


def read_all(sources: Iterable[Path | Failure], read: Callable[[Path], T]) -> Iterator[T | Failure]:
    """Yield what `read` makes of each path, in order, a Failure where it raises. Nothing but Ctrl-C stops it."""
    for source in sources:
        yield source if isinstance(source, Failure) else attempt(source, read)


def attempt(path: Path, work: Callable[[Path], T]) -> T | Failure:
    """Do something with one path and return what it gives, or a Failure for whatever it raises.

    What libraries print on the way goes to stderr: stdout is for data alone.
    """
    try:
        with contextlib.redirect_stdout(sys.stderr):
            return work(path)
    except RakelightError as error:
        return Failure(path, one_line(str(error)), error)
    except MemoryError as error:
        return _fail(path, "too little memory for it; close other programs, or make the photo smaller", error)
    except OSError as error:
        return _fail(path, f"{error.strerror or error}; look whether it is still there and may be opened", error)
    except Exception as error:
        return _fail(path, say_bug(error), error)


def _fail(path: Path, problem: str, cause: Exception) -> Failure:
    return Failure(path, one_line(f"{path}: {problem}"), cause)


@click.command()
@click.argument("paths", metavar="PHOTO_OR_FOLDER...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--format",
    "form_name",
    type=click.Choice(["text", "json", "csv"]),
    default="text",
    show_default=True,
    help="text for people; json: one object a line; csv: one row a photo.",
)
@click.option(
    "--picture", metavar="FILE", type=click.Path(path_type=Path), help="Draw the marks on a copy of the one photo."
)
@click.option(
    "--views",
    metavar="FOLDER",
    type=click.Path(path_type=Path),
    help="Save every enhanced view in a folder per photo below FOLDER.",
)
@click.option("--overwrite", is_flag=True, help="Let --picture replace an earlier picture; never a photo.")
@click.option("--maker", metavar="NAME", help="The maker's name; a serial has a year only with its maker.")
@click.option(
    "--page",
    metavar="N",
    type=click.IntRange(min=1),
    default=1,
    show_default=True,
    help="The page to read of files with several.",
)
@click.option(
    "--max-megapixels",
    metavar="N",
    type=click.IntRange(min=1),
    default=settings.PIXEL_LIMIT // MEGAPIXEL,
    show_default=True,
    help="Refuse larger photos.",
)
@click.pass_context
def read(
    ctx: click.Context,
    *,
    paths: tuple[Path, ...],
    form_name: str,
    picture: Path | None,
    views: Path | None,
    overwrite: bool,
    maker: str | None,
    page: int,
    max_megapixels: int,
) -> int:
    """Find, read and date the marks in photos.

    Each PHOTO_OR_FOLDER is a photo or a folder of photos; photos are never changed. A file that cannot be read as a
    photo gets a line that says why, and the run goes on.

    Exit status: 0 every file was read as a photo; 1 some were not, or something could not be saved; 2 wrong usage or
    an unknown maker; 130 stopped by Ctrl-C; 141 nobody reads the output any more.

    \b
    Examples:
      rakelight read stamp.jpg
      rakelight read stamp.jpg --maker "Harrow & Thistle" --picture stamp-marks.png
      rakelight read shop-photos --format csv > serials.csv
    """  # noqa: D301  # \b is click's own sign: what follows keeps its lines
    try:
        reader = open_reader(maker, page - 1, max_megapixels * MEGAPIXEL)
    except MakerError as error:
        raise SettingsError(f"--maker: {error}") from error
    sources = list_sources(paths, reader.find)
    if picture is not None:
        check_picture(picture, sources, overwrite=overwrite)
    if views is not None and views.exists() and not views.is_dir():
        raise click.UsageError(f"--views: {one_line(str(views))} is a file; name a folder")

    def save(path: Path, answer: Answer) -> None:
        if picture is not None:
            _save_picture(picture, reader.load_pixels(path), answer, overwrite=overwrite)
        if views is not None:
            _save_views(path, views, reader.save_views)

    printout = Printout(choose_form(form_name), save, debug=bool(ctx.find_root().params["debug"]))
    return print_all(sources, reader.read, printout, Progress(len(sources)))


def print_all(
    sources: Sequence[Path | Failure], read: Callable[[Path], Answer], printout: Printout, progress: Progress
) -> int:
    """Read every source, print each answer or error as soon as it is there, and return the exit status."""

    def read_and_write(path: Path) -> tuple[Path, Answer, str]:
        progress.show(path)
        answer = read(path)
        return path, answer, printout.form.answer(answer)

    _write(printout.form.start, printout.form)
    for outcome in read_all(sources, read_and_write):
        progress.clear()
        if isinstance(outcome, Failure):
            printout.print_failure(outcome)
        else:
            printout.print_answer(*outcome)
    if printout.unread and len(sources) > 1:
        click.echo(f"rakelight: {printout.unread} of {len(sources)} could not be read as photos", err=True)
    return STATUS_SOME_FAILED if printout.unread or printout.unsaved else 0


class Printout:
    """Prints answers and failures in one form, saves what was asked for beside them, and counts what went wrong."""

    def __init__(self, form: Form, save: Callable[[Path, Answer], None], *, debug: bool) -> None:
        self.form = form
        self.save = save
        self.debug = debug
        self.answers = self.unread = self.unsaved = 0

    def print_answer(self, path: Path, answer: Answer, text: str) -> None:
        """Print an answer that is written already, then save its picture and views."""
        _write((self.form.between if self.answers else "") + text, self.form)
        self.answers += 1
        failed = attempt(path, lambda photo: self.save(photo, answer))
        if isinstance(failed, Failure):
            self.unsaved += 1
            self._complain(failed)

    def print_failure(self, failure: Failure) -> None:
        """Print why a path gave no answer, where the form of output has it."""
        self.unread += 1
        if self.form.error is None:
            self._complain(failure)
            return
        self._trace(failure)
        _write(self.form.error(failure.path, failure.error), self.form)

    def _complain(self, failure: Failure) -> None:
        self._trace(failure)
        click.echo(f"rakelight: {failure.error}", err=True)

    def _trace(self, failure: Failure) -> None:
        if self.debug:
            click.echo("".join(traceback.format_exception(failure.cause)), err=True, nl=False)


def choose_form(name: str) -> Form:
    """Return the form of output with this name: text, json or csv."""
    if name == "json":
        from pipelines.output.json_lines import write_answer, write_error

        return Form(write_answer, write_error)
    if name == "csv":
        from pipelines.output.csv_rows import write_answer_row, write_error_row, write_header

        return Form(write_answer_row, write_error_row, start=write_header())
    from pipelines.output.text import write_text

    columns = shutil.get_terminal_size().columns if sys.stdout.isatty() else TEXT_COLUMNS
    columns = max(columns, SMALLEST_COLUMNS)
    return Form(lambda answer: write_text(answer, columns), None, between="\n", plain_bytes=False)


def _write(text: str, form: Form) -> None:
    """Write to stdout and flush. What the encoding does not have (half of a broken file name, say) is escaped.

    In JSON the escape of a lone surrogate, backslash, u, dc80 to dcff, is at the same time JSON's own, so that
    Python's json and os.fsencode lead back to the file.
    """
    encoding = "utf-8" if form.plain_bytes else (sys.stdout.encoding or "utf-8")
    data = text.encode(encoding, "backslashreplace")
    click.echo(data if form.plain_bytes else data.decode(encoding), nl=False)


def check_picture(target: Path, sources: Sequence[Path | Failure], *, overwrite: bool) -> None:
    """Raise click.UsageError where a picture may not or cannot be written, before any photo is read."""
    from pipelines.output.picture import SUFFIXES

    shown = one_line(str(target))
    if len(sources) != 1:
        raise click.UsageError(f"--picture goes with one photo, not with {len(sources)}; use it once for each")
    if target.suffix.lower() not in SUFFIXES:
        raise click.UsageError(f"--picture: {shown} does not end in one of {', '.join(SUFFIXES)}")
    if not target.parent.is_dir():
        raise click.UsageError(f"--picture: there is no folder {one_line(str(target.parent))}; make it first")
    if not target.exists():
        return
    if any(isinstance(source, Path) and source.exists() and target.samefile(source) for source in sources):
        raise click.UsageError(f"--picture: {shown} is the photo itself, which is never changed; choose another name")
    if target.is_dir() or not overwrite:
        remedy = "name a file" if target.is_dir() else "choose another name, or add --overwrite"
        raise click.UsageError(f"--picture: {shown} exists; {remedy}")


def _save_picture(target: Path, pixels: RgbPixels, answer: Answer, *, overwrite: bool) -> None:
    from pipelines.output.picture import draw_marks, save_picture

    save_picture(draw_marks(pixels, answer), target, overwrite=overwrite)


def _save_views(path: Path, folder: Path, save_views: Callable[[Path, Path], list[Path]]) -> None:
    """Save a photo's views in a new folder of its own below `folder`, so that nothing there is ever replaced."""
    try:
        own = _new_folder(folder, path.name)
        written = save_views(path, own)
    except OSError as error:
        reason = error.strerror or error
        raise SettingsError(f"the views of {path} cannot be saved in {folder}: {reason}; choose another") from error
    click.echo(f"rakelight: {len(written)} views in {one_line(str(own))}", err=True)


def _new_folder(parent: Path, name: str) -> Path:
    """Make and return parent/name, or parent/name-2, -3 ... where that is taken."""
    number = 1
    while True:
        folder = parent / (name if number == 1 else f"{name}-{number}")
        try:
            folder.mkdir(parents=True)
        except FileExistsError:
            number += 1
        else:
            return folder


class Progress:
    """One line on the terminal that says which photo is being read; nothing where stderr is no terminal."""

    def __init__(self, total: int) -> None:
        self.total = total
        self.number = 0
        self.shown = 0
        self.on = sys.stderr.isatty()

    def show(self, path: Path) -> None:
        """Say that the next photo is being read."""
        if self.on:
            line = f"reading {self.number + 1} of {self.total}: {one_line(path.name)}"
            line = line[: max(shutil.get_terminal_size().columns - 1, 1)]
            self.shown = len(line)
            click.echo(line, err=True, nl=False)

    def clear(self) -> None:
        """Take the line away, so that what is printed next stands alone, and count one source as done."""
        self.number += 1
        if self.shown:
            click.echo("\r" + " " * self.shown + "\r", err=True, nl=False)
            self.shown = 0
