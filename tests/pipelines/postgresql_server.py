"""A real PostgreSQL server for tests, in a temporary folder, reached by its socket alone."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
import uuid
from pathlib import Path

OWNERS = ("postgres", "nobody")
"""Who runs the server where the tests run as root, which PostgreSQL refuses."""

USER = "rakelight"

SECONDS = 60


def find_programs() -> Path | None:
    """Return the folder with initdb and pg_ctl, or None. Debian keeps them off the PATH."""
    known = shutil.which("initdb")
    folders = [Path(known).resolve().parent] if known else []
    folders += sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    return next((folder for folder in folders if (folder / "initdb").exists() and (folder / "pg_ctl").exists()), None)


class PostgresqlServer:
    """One server with its own data; `start` and `stop` may follow each other."""

    def __init__(self, programs: Path) -> None:
        self.programs = programs
        # Not pytest's folder: the path of a socket may have about 100 characters, and another user must get in.
        self.folder = Path(tempfile.mkdtemp(prefix="pg-"))
        self.owner = self._find_owner()
        if self.owner:
            shutil.chown(self.folder, self.owner)
        self._run(
            "initdb", "-D", self.data, "-U", USER, "-A", "trust", "--no-sync", "-E", "UTF8", "--locale", "C.UTF-8"
        )
        self.start()

    @property
    def data(self) -> str:
        return str(self.folder / "data")

    def start(self) -> None:
        """Start the server and wait until it answers."""
        options = (
            f"-c listen_addresses='' -c unix_socket_directories={self.folder} -c fsync=off -c full_page_writes=off"
        )
        self._run("pg_ctl", "-D", self.data, "-w", "-l", str(self.folder / "log"), "-o", options, "start")

    def stop(self, mode: str = "fast") -> None:
        """Stop the server: fast ends open connections, immediate is as if it crashed."""
        self._run("pg_ctl", "-D", self.data, "-w", "-m", mode, "stop")

    def remove(self) -> None:
        """Stop the server and delete its data."""
        self.stop("immediate")
        shutil.rmtree(self.folder)

    def make_place(self) -> str:
        """Return the URL of an empty place for a casebook: a schema of its own, which is faster than a database."""
        import psycopg

        name = f"place_{uuid.uuid4().hex}"
        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            connection.execute(f"CREATE SCHEMA {name}".encode())
        return f"{self.url('postgres')}&options=-csearch_path%3D{name}"

    def make_database(self, name: str) -> str:
        """Make a new database, and return its URL."""
        import psycopg

        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            connection.execute(f'CREATE DATABASE "{name}"'.encode())
        return self.url(name)

    def url(self, name: str) -> str:
        """Return the URL of a database."""
        return f"postgresql://{USER}@/{name}?host={self.folder}"

    def _find_owner(self) -> str | None:
        if os.geteuid() != 0:
            return None
        import pwd  # not on Windows

        names = {entry.pw_name for entry in pwd.getpwall()}
        return next(owner for owner in OWNERS if owner in names)

    def _run(self, program: str, *words: str) -> None:
        subprocess.run(
            [str(self.programs / program), *words],
            user=self.owner,
            cwd=self.folder,
            env={"PATH": os.defpath, "LC_ALL": "C.UTF-8"},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            check=True,
            timeout=SECONDS,
        )
