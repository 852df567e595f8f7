"""Writes a picture's bytes into a file of its own, so that nothing there is lost by half a write or by surprise."""

from __future__ import annotations

import os
from pathlib import Path

from reader.errors import SettingsError, one_line


def save_file(target: Path, data: bytes, *, overwrite: bool) -> None:
    """Write bytes as a file.

    An existing file is left alone and reported, unless `overwrite`; then it is replaced as a whole, so that another
    name of the same file (a hard link, or what a symbolic link points to) keeps the old content. Raises SettingsError.
    """
    shown = one_line(str(target))
    try:
        _write(target, data, overwrite=overwrite)
    except FileExistsError as error:
        raise SettingsError(f"{shown} exists; choose another name, or add --overwrite") from error
    except OSError as error:
        reason = error.strerror or error
        raise SettingsError(f"the picture {shown} cannot be written ({reason}); choose another name") from error


def _write(target: Path, data: bytes, *, overwrite: bool) -> None:
    """Write a new file; with `overwrite` under another name first, then put in the old one's place."""
    new = target.with_name(f".{target.name}.{os.getpid()}") if overwrite else target
    with new.open("xb") as file:
        file.write(data)
    if overwrite:
        try:
            new.replace(target)
        except OSError:
            new.unlink()
            raise
