"""The command `rakelight`: finds its subcommands and turns every error into one line and an exit status.

Arguments come from the shell. A subcommand is a click command in a module of its own, named in COMMANDS and imported
only when it is used, so that `rakelight --help` answers at once. A subcommand's function returns its exit status.
"""

from __future__ import annotations

import contextlib
import os
import sys
import traceback
from importlib import import_module

import click

from reader.errors import RakelightError, one_line

COMMANDS = {
    "read": ("pipelines.batch", "read", "Find, read and date the marks in photos."),
    "archive": ("pipelines.archive", "archive", "Read folders of photos into the casebook, all that is new."),
    "cases": ("pipelines.cases", "cases", "List, show, find and merge the cases in the casebook."),
    "decide": ("pipelines.cases", "decide", "Record what you decided on a case: its number, or why there is none."),
    "review": ("pipelines.review_command", "review", "Decide doubtful cases on a page in your browser."),
    "export": ("pipelines.export_command", "export", "Write what was read in formats that archives use."),
    "date": ("pipelines.date", "date", "Date typed serial numbers by their maker and other evidence."),
    "where": ("pipelines.where", "where", "Say where the serial number sits on an instrument."),
    "tables": ("pipelines.tables", "tables", "List the known makers' tables, and keep your own."),
}
"""Name of each subcommand: its module, its function there, and its line in the help."""

STATUS_BUG = 1
STATUS_STOPPED = 130
"""128 + 2, what a shell reports of a program stopped by Ctrl-C (SIGINT)."""
STATUS_PIPE_CLOSED = 141
"""128 + 13, what a shell reports of a program whose output nobody reads any more (SIGPIPE)."""


class RakelightGroup(click.Group):
    """A group that imports a subcommand on use, and the one place where errors become exit statuses."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of the subcommands, in the order of the help."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import a subcommand; None for a name that is none."""
        if cmd_name not in COMMANDS:
            return None
        module, function, _ = COMMANDS[cmd_name]
        command = getattr(import_module(module), function)
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the subcommands from COMMANDS, without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, _, line) in COMMANDS.items()])

    def invoke(self, ctx: click.Context) -> None:
        """Run the subcommand and leave with its status."""
        try:
            status = super().invoke(ctx)
        except (click.ClickException, click.exceptions.Exit, click.Abort):
            raise  # click's own: usage errors (status 2), --help
        except KeyboardInterrupt:
            click.echo("\nrakelight: stopped; what was printed so far stands", err=True)
            status = STATUS_STOPPED
        except BrokenPipeError:
            _silence_stdout()
            status = STATUS_PIPE_CLOSED
        except Exception as error:
            status = report_error(error, debug=bool(ctx.params.get("debug")))
        ctx.exit(status or 0)


def report_error(error: Exception, *, debug: bool) -> int:
    """Print an error as one line on stderr, with `debug` its traceback before it; return the exit status."""
    if debug:
        click.echo("".join(traceback.format_exception(error)), err=True, nl=False)
    if isinstance(error, RakelightError):
        click.echo(f"rakelight: {one_line(str(error))}", err=True)
        return error.exit_status
    if isinstance(error, OSError):
        _silence_stdout()  # what could not be written now cannot be written at exit either
        place = one_line(str(error.filename)) if error.filename else "the output"
        click.echo(f"rakelight: {place}: {error.strerror or error}; look at free space and permissions", err=True)
        return STATUS_BUG
    click.echo(f"rakelight: {say_bug(error)}", err=True)
    return STATUS_BUG


def say_bug(error: BaseException) -> str:
    """Return the line for an exception that nobody raised on purpose."""
    return f"an error inside Rakelight ({type(error).__name__}); please report it, with what `rakelight --debug` shows"


def _silence_stdout() -> None:
    """Send what is still buffered for stdout nowhere, or Python complains about it while it exits."""
    with contextlib.suppress(OSError):  # a stdout that is no file has nothing to silence
        number = sys.stdout.fileno()
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, number)
        os.close(nowhere)


def _show_version(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
    if not wanted or ctx.resilient_parsing:
        return
    from importlib.metadata import PackageNotFoundError, version

    try:
        number = version("rakelight")
    except PackageNotFoundError:
        number = "of this folder, not installed"
    click.echo(f"rakelight {number}")
    ctx.exit()


@click.group(cls=RakelightGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--version", is_flag=True, expose_value=False, is_eager=True, callback=_show_version, help="Show the version."
)
@click.option("--debug", is_flag=True, help="Show the traceback of every error. Stands before the command's name.")
def main(debug: bool) -> None:
    """Find, read and date the serial numbers of old pianos and reed organs in photographs.

    A year that Rakelight gives is an estimate, never a proof of age.
    """
