"""How far a run is, on stderr: rate and time left. One line that changes on a terminal, a line a minute elsewhere."""

from __future__ import annotations

import shutil
import sys
import time

import click

from reader.errors import one_line

LOG_EVERY_S = 60.0
"""Time between two lines where stderr is no terminal, in seconds."""

SHOW_EVERY_S = 0.5
"""Time between two changes of the line on a terminal, in seconds."""


class Progress:
    """Counts files and says how many are done. `total` is set when the files are listed."""

    def __init__(self) -> None:
        self.total = 0
        self.skipped = 0
        self.done = 0
        self.terminal = sys.stderr.isatty()
        self.started = time.monotonic()
        self.shown = self.started
        self.width = 0

    def skip(self) -> None:
        """Count a file that need not be read."""
        self.skipped += 1

    def count(self) -> None:
        """Count a file that was read and recorded."""
        self.done += 1

    def show(self) -> None:
        """Say how far it is, if it is time to."""
        every = SHOW_EVERY_S if self.terminal else LOG_EVERY_S
        if time.monotonic() - self.shown < every:
            return
        self.shown = time.monotonic()
        if self.terminal:
            columns = max(shutil.get_terminal_size().columns - 1, 1)
            line = self.line()[:columns]
            click.echo("\r" + line.ljust(self.width), err=True, nl=False)
            self.width = len(line)
        else:
            click.echo(f"rakelight: {self.line()}", err=True)

    def line(self) -> str:
        """Return the line: photos done, rate, time left."""
        seconds = time.monotonic() - self.started
        through = self.done + self.skipped
        words = f"{through} of {self.total} photos, {self.done} read"
        if not self.done:
            return words
        rate = self.done / max(seconds, 1e-3)
        left = max(self.total - through, 0) / rate
        return f"{words}, {rate:.2f} a second, at most {say_duration(left)} left"

    def say(self, text: str) -> None:
        """Say something else, on a line of its own."""
        self.clear()
        click.echo(f"rakelight: {one_line(text)}", err=True)

    def clear(self) -> None:
        """Take the line away."""
        if self.width:
            click.echo("\r" + " " * self.width + "\r", err=True, nl=False)
            self.width = 0

    finish = clear


def say_duration(seconds: float) -> str:
    """Return a time in words, in its two largest units: '3 h 20 min'."""
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    days, hours = divmod(hours, 24)
    if days:
        return f"{days} d {hours} h"
    if hours:
        return f"{hours} h {minutes} min"
    return f"{minutes} min {rest} s" if minutes else f"{rest} s"
