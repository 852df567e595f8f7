"""`rakelight cases` and `rakelight decide`: the casebook from the command line.

What is typed goes to pipelines/casebook, what comes back goes to stdout as text or JSON. Only a person's command here
merges cases or decides one. SQLAlchemy is imported when a casebook is opened, not before.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

import click

from pipelines.casebook.records import Outcome, Query, State
from reader.errors import MakerError, SetupError

if TYPE_CHECKING:
    from pipelines.casebook.records import CaseSummary
    from pipelines.casebook.store import Casebook

F = TypeVar("F", bound=Callable[..., Any])

LISTED_STATES = [state.value for state in State if state is not State.MERGED]

PAGE = 50
"""Cases in one list."""

YEARS = re.compile(r"(\d{4})(?:-(\d{4}))?")

INSTALL = "the casebook needs SQLAlchemy and Alembic; install them with: python3 -m pip install 'rakelight[casebook]'"


def open_book(place: str | None, *, create: bool = False) -> Casebook:
    """Open the casebook that `--casebook` names, or the one in the user's data folder."""
    try:
        from pipelines.casebook.store import open_casebook
    except ImportError as error:
        raise SetupError(INSTALL) from error
    return open_casebook(place, create=create)


def casebook_option(function: F) -> F:
    """Add --casebook, which also stands in the environment as RAKELIGHT_CASEBOOK."""
    return click.option(
        "--casebook",
        "place",
        metavar="FILE_OR_URL",
        envvar="RAKELIGHT_CASEBOOK",
        help="The casebook: a file, or postgresql://USER@HOST/NAME. Without it the one in your data folder.",
    )(function)


def form_option(function: F) -> F:
    """Add --format."""
    return click.option(
        "--format",
        "form",
        type=click.Choice(["text", "json"]),
        default="text",
        show_default=True,
        help="text for people; json: one object a line.",
    )(function)


def person_options(function: F) -> F:
    """Add --by and --because."""
    function = click.option("--because", metavar="TEXT", required=True, help="Why; kept with the decision.")(function)
    return click.option("--by", metavar="NAME", required=True, help="Who decides; kept with the decision.")(function)


def paging_options(function: F) -> F:
    """Add --limit and --before."""
    function = click.option("--before", metavar="CASE", type=click.IntRange(min=1), help="Only cases older than this.")(
        function
    )
    return click.option(
        "--limit", metavar="N", type=click.IntRange(min=1), default=PAGE, show_default=True, help="Most cases to list."
    )(function)


@click.group(invoke_without_command=True)
@casebook_option
@paging_options
@form_option
@click.pass_context
def cases(ctx: click.Context, *, place: str | None, limit: int, before: int | None, form: str) -> int:
    """List, show, find and merge the cases in the casebook.

    Without a command: all cases, newest first. A number with a question mark is in doubt.

    \b
    Examples:
      rakelight cases
      rakelight cases open
      rakelight cases find --number 41873 --years 1870-1880
    """  # noqa: D301  # \b is click's own sign: what follows keeps its lines
    ctx.obj = place
    if ctx.invoked_subcommand is not None:
        return 0
    with open_book(place) as book:
        print_page(book.find(limit=limit, before=before), limit, form)
    return 0


@cases.command()
@click.argument("case", type=click.IntRange(min=1))
@casebook_option
@form_option
@click.pass_obj
def show(group_place: str | None, *, case: int, place: str | None, form: str) -> int:
    """Show all of one case: photos, marks, every decision and merge, and cases that may be the same instrument."""
    from pipelines.casebook.forms import detail_object, suggestion_object, write_detail, write_line

    with open_book(place or group_place) as book:
        detail = book.case(case)
        alike = [] if detail.merged_into is not None else book.suggest_merges(case)
    if form == "json":
        say(write_line({**detail_object(detail), "alike": [suggestion_object(one) for one in alike]}))
    else:
        say(write_detail(detail, alike))
    return 0


def read_years(_: click.Context, __: click.Parameter, value: str | None) -> tuple[int, int] | None:
    """Return the first and last year of 1870-1880, or of 1874 alone."""
    if value is None:
        return None
    found = YEARS.fullmatch(value.strip())
    first = int(found[1]) if found else 0
    last = int(found[2] or first) if found else 0
    if not found or last < first:
        raise click.BadParameter("write 1874, or 1870-1880 with the earlier year first")
    return first, last


@cases.command()
@click.option("--number", metavar="NUMBER", help="A number that was read or decided; letters and figures count alone.")
@click.option("--begins", is_flag=True, help="--number is only how it begins.")
@click.option("--maker", metavar="NAME", help="A part of the maker's name, or its id in the tables.")
@click.option("--years", metavar="FIRST-LAST", callback=read_years, help="Made at some time in these years.")
@click.option("--state", type=click.Choice(LISTED_STATES), help="Where the case stands.")
@click.option("--text", metavar="TEXT", help="A part of any mark on a photo of it.")
@casebook_option
@paging_options
@form_option
@click.pass_obj
def find(
    group_place: str | None,
    *,
    number: str | None,
    begins: bool,
    maker: str | None,
    years: tuple[int, int] | None,
    state: str | None,
    text: str | None,
    place: str | None,
    limit: int,
    before: int | None,
    form: str,
) -> int:
    """Find cases by number, maker, years, state and text; all that is given must fit. Newest first.

    Exit status: 0 something was found; 1 nothing was.
    """
    if begins and number is None:
        raise click.UsageError("--begins goes with --number")
    query = Query(number, begins, maker, years, State(state) if state else None, text)
    with open_book(place or group_place) as book:
        found = book.find(query, limit=limit, before=before)
    print_page(found, limit, form)
    return 0 if found else 1


@cases.command("open")
@casebook_option
@click.option("--limit", metavar="N", type=click.IntRange(min=1), default=PAGE, show_default=True, help="Most cases.")
@click.option("--skip", metavar="N", type=click.IntRange(min=0), default=0, help="Leave out the first N.")
@form_option
@click.pass_obj
def open_(group_place: str | None, *, place: str | None, limit: int, skip: int, form: str) -> int:
    """List cases that wait for a person, those first whose date hangs most on it."""
    with open_book(place or group_place) as book:
        print_cases(book.open_cases(limit=limit, offset=skip), form)
    return 0


@cases.command()
@casebook_option
@click.option("--limit", metavar="N", type=click.IntRange(min=1), default=PAGE, show_default=True, help="Most pairs.")
@form_option
@click.pass_obj
def alike(group_place: str | None, *, place: str | None, limit: int, form: str) -> int:
    """List pairs of cases that may be one instrument: the same number, or two copies of one picture."""
    from pipelines.casebook.forms import say_suggestion, suggestion_object, write_line

    with open_book(place or group_place) as book:
        for one in book.suggest_merges(limit=limit):
            say(write_line(suggestion_object(one)) if form == "json" else say_suggestion(one) + "\n")
    return 0


@cases.command()
@click.argument("kept", type=click.IntRange(min=1))
@click.argument("merged", type=click.IntRange(min=1))
@person_options
@casebook_option
@click.pass_obj
def merge(group_place: str | None, *, kept: int, merged: int, by: str, because: str, place: str | None) -> int:
    """Make two cases of one instrument one: the photos of MERGED move to KEPT."""
    with open_book(place or group_place) as book:
        book.merge_cases(kept, merged, by=by, because=because)
    click.echo(f"rakelight: case {merged} is part of case {kept} now", err=True)
    return 0


@cases.command()
@click.argument("first", type=click.IntRange(min=1))
@click.argument("second", type=click.IntRange(min=1))
@person_options
@casebook_option
@click.pass_obj
def apart(group_place: str | None, *, first: int, second: int, by: str, because: str, place: str | None) -> int:
    """Record that two cases are two instruments, so that `alike` no longer lists them."""
    with open_book(place or group_place) as book:
        book.keep_apart(first, second, by=by, because=because)
    click.echo(f"rakelight: cases {first} and {second} are kept apart", err=True)
    return 0


@click.command()
@click.argument("case", type=click.IntRange(min=1))
@click.argument("text", required=False)
@click.option("--not-a-serial", is_flag=True, help="The marks are there, but none is the instrument's serial.")
@click.option("--cannot-be-read", is_flag=True, help="The photos do not show it.")
@click.option("--reopen", is_flag=True, help="Take the decision before back; it stays in the case's history.")
@click.option("--maker", metavar="NAME", help="The maker, to date the number by; without it the one of the case.")
@person_options
@casebook_option
@form_option
def decide(
    *,
    case: int,
    text: str | None,
    not_a_serial: bool,
    cannot_be_read: bool,
    reopen: bool,
    maker: str | None,
    by: str,
    because: str,
    place: str | None,
    form: str,
) -> int:
    """Record what you decided on a case: its number, or why there is none.

    Where the maker is known the number is dated anew. Nothing is overwritten: a later decision counts, and the earlier
    ones stay to be seen.

    \b
    Examples:
      rakelight decide 12 41873 --by "A. Reed" --because "raking light from the left shows the 3"
      rakelight decide 13 --cannot-be-read --by "A. Reed" --because "rust"
    """  # noqa: D301  # \b is click's own sign: what follows keeps its lines
    flags = {
        Outcome.SERIAL: text is not None,
        Outcome.NOT_A_SERIAL: not_a_serial,
        Outcome.CANNOT_BE_READ: cannot_be_read,
        Outcome.REOPENED: reopen,
    }
    chosen = [outcome for outcome, given in flags.items() if given]
    if len(chosen) != 1:
        raise click.UsageError("give the number, or one of --not-a-serial, --cannot-be-read, --reopen")
    with open_book(place) as book:
        known, dating = _date_decided(text, maker, book.case(case).summary.maker)
        book.decide(case, chosen[0], text=text, by=by, because=because, maker=known, dating=dating)
        print_cases([book.case(case).summary], form)
    return 0


def _date_decided(
    text: str | None, typed: str | None, of_case: str | None
) -> tuple[dict[str, Any] | None, dict[str, Any] | None]:
    """Date a decided number; the case's maker may be one that no table here knows, a typed one may not."""
    if text is None:
        return None, None
    from pipelines.redating import date_again

    try:
        return date_again(text, typed or of_case)
    except MakerError:
        if typed:
            raise
        return None, None


def print_page(found: Sequence[CaseSummary], limit: int, form: str) -> None:
    """Print one page of a list, and say on stderr how to see the next."""
    print_cases(found, form)
    if len(found) == limit:
        click.echo(f"rakelight: for older ones add --before {found[-1].id}", err=True)


def print_cases(found: Sequence[CaseSummary], form: str) -> None:
    """Print cases in columns or as JSON."""
    from pipelines.casebook.forms import summary_object, write_line, write_table

    say("".join(write_line(summary_object(case)) for case in found) if form == "json" else write_table(found))


def say(text: str) -> None:
    """Write to stdout; what its encoding does not have is escaped."""
    encoding = sys.stdout.encoding or "utf-8"
    click.echo(text.encode(encoding, "backslashreplace").decode(encoding), nl=False)
