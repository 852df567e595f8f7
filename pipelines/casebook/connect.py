"""Opening a casebook's database: SQLite in WAL mode or PostgreSQL, at the newest schema version or brought to it.

Everything that differs between the two databases is in this file. Errors of the database become one line here.
"""

from __future__ import annotations

import contextlib
import os
import re
import sqlite3
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, inspect, make_url, text
from sqlalchemy.exc import ArgumentError, DBAPIError, InterfaceError, NoSuchModuleError, OperationalError

from pipelines.casebook.errors import CasebookError
from pipelines.casebook.tables import SCHEMA_VERSION, VERSION_TABLE
from reader.errors import SetupError, one_line

FILE_NAME = "casebook.sqlite"

LOCK_SECONDS, LOCK_PAUSE = 30, 0.02
"""How long a writer waits for another, and how long until it looks again where SQLite does not wait itself, in seconds.
One write takes milliseconds; a bulk import a few seconds."""

WRITER_LOCK = 0x52616B65
"""Key of PostgreSQL's advisory lock that lets one writer in at a time ('Rake' in ASCII)."""

MIGRATIONS = "pipelines.casebook:migrations"

INSTALL = "install it with: python3 -m pip install 'rakelight[casebook{}]'"

LOCKED = "is locked by another program; wait until that has ended, or stop it"

REASONS = (
    ("database is locked", True, LOCKED),
    ("LockNotAvailable", True, LOCKED),
    ("file is not a database", False, "is not a casebook; name another file"),
    ("readonly database", False, "cannot be written; look at the permissions of the file and its folder"),
    ("unable to open database file", False, "cannot be opened; look at the permissions of the file and its folder"),
    ("disk is full", True, "cannot grow, the disk is full; make room"),
    ("disk I/O error", True, "cannot be read or written (disk error); look at the disk, and at network folders"),
    ("malformed", False, "is damaged; take the last backup"),
    ("authentication failed", False, "does not let you in; look at user and password in its URL"),
    ("does not exist", False, "is not there; make it with createdb, or look at its URL"),
    ("permission denied", False, "does not let you write; ask for the rights on its tables"),
)
"""A piece of the database's message or of its error's name; whether it may pass; what to say instead."""

GONE = "cannot be reached; see that the database server runs"


def default_file() -> Path:
    """Return the casebook in the user's data folder, which is made where it is missing."""
    try:
        from platformdirs import user_data_path
    except ImportError as error:
        raise SetupError(f"the casebook needs platformdirs; {INSTALL.format('')}") from error
    return user_data_path("rakelight", appauthor=False) / FILE_NAME


def open_engine(place: str | Path | None, *, create: bool) -> Engine:
    """Return the engine of a casebook at the newest schema version; see `store.open_casebook`."""
    url = find_url(place)
    if url.get_backend_name() == "sqlite":
        _look_at_file(Path(url.database or ""), create=create, make_folder=place is None)
    engine = _make_engine(url)
    try:
        with translated(engine):
            _prepare(engine, create=create)
    except BaseException:
        engine.dispose()
        raise
    return engine


def find_url(place: str | Path | None) -> URL:
    """Return the database URL of a casebook. Raises CasebookError for a kind of database that is not supported."""
    if place is None:
        return URL.create("sqlite", database=str(default_file()))
    if "://" not in str(place):
        return URL.create("sqlite", database=os.fspath(place))
    try:
        url = make_url(str(place))
    except ArgumentError as error:
        raise CasebookError("the casebook's URL cannot be understood; use postgresql://user@host/name") from error
    kind = url.get_backend_name()
    if kind == "postgresql":
        return url.set(drivername="postgresql+psycopg")
    if kind != "sqlite" or not url.database or url.database == ":memory:":
        raise CasebookError(
            f"a casebook cannot be kept in {kind!r} like that; use a file, or postgresql://user@host/name"
        )
    return url


def show_place(engine: Engine) -> str:
    """Return the file or the URL without its password, ready for a message."""
    url = engine.url
    if url.get_backend_name() == "sqlite":
        return one_line(str(url.database))
    return one_line(url.set(drivername="postgresql").render_as_string(hide_password=True))


@contextlib.contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """Give a connection that sees one unchanging state of the casebook."""
    with translated(engine), engine.connect() as connection, connection.begin():
        yield connection


@contextlib.contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """Give the one writer's connection; its work is kept whole at the end, or not at all."""
    options: dict[str, Any] = {"writes": True}
    if engine.dialect.name == "postgresql":
        # After the wait for the lock, a writer must see what the one before it wrote.
        options["isolation_level"] = "READ COMMITTED"
    with translated(engine), engine.execution_options(**options).connect() as connection, connection.begin():
        if engine.dialect.name == "postgresql":
            connection.execute(text(f"SET LOCAL lock_timeout = '{LOCK_SECONDS}s'"))
            connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": WRITER_LOCK})
        yield connection


@contextlib.contextmanager
def translated(engine: Engine) -> Iterator[None]:
    """Turn what the database complains of, and what is no mistake of the program, into a CasebookError."""
    try:
        yield
    except DBAPIError as error:
        message = f"{type(error.orig).__name__}: {error.orig}"
        for piece, transient, reason in REASONS:
            if piece in message:
                raise CasebookError(f"{show_place(engine)}: {reason}", transient=transient) from error
        if error.connection_invalidated or isinstance(error, OperationalError | InterfaceError):
            raise CasebookError(f"{show_place(engine)}: {GONE}", transient=True) from error
        raise


def _make_engine(url: URL) -> Engine:
    if url.get_backend_name() == "sqlite":
        engine = create_engine(url, connect_args={"timeout": LOCK_SECONDS, "check_same_thread": False})
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
        return engine
    try:
        return create_engine(url, pool_pre_ping=True, isolation_level="REPEATABLE READ")
    except (NoSuchModuleError, ImportError) as error:
        raise SetupError(f"PostgreSQL needs psycopg; {INSTALL.format(',postgresql')}") from error


def _prepare_sqlite(connection: Any, _: Any) -> None:
    """Set a new connection up: transactions begin where we say so, readers and one writer at the same time."""
    connection.isolation_level = None
    _keep_log_ahead(connection)
    # Rows that INSERT OR REPLACE would push out must meet the triggers too.
    for pragma in ("synchronous = FULL", "foreign_keys = ON", "recursive_triggers = ON"):
        connection.execute(f"PRAGMA {pragma}")


def _keep_log_ahead(connection: Any) -> None:
    """Switch to the write-ahead log. While another program switches a new file, SQLite refuses without waiting."""
    end = time.monotonic() + LOCK_SECONDS
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > end:
                raise
            time.sleep(LOCK_PAUSE)


def _begin_sqlite(connection: Connection) -> None:
    """Take the writer's lock at the start: a transaction that begins as a reader cannot wait for it later."""
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _look_at_file(file: Path, *, create: bool, make_folder: bool) -> None:
    """Raise CasebookError for a file that is missing and may not be made, or cannot be."""
    shown = one_line(str(file))
    if file.is_dir():
        raise CasebookError(f"{shown} is a folder; name a file in it")
    if file.exists():
        return
    if not create:
        raise CasebookError(f"{shown}: there is no casebook; name the right one with --casebook")
    if make_folder:
        try:
            file.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise CasebookError(f"{shown}: the folder cannot be made ({error.strerror}); use --casebook") from error
    if not file.parent.is_dir():
        raise CasebookError(f"{shown}: there is no such folder; make it first")


def _prepare(engine: Engine, *, create: bool) -> None:
    """Make or upgrade the tables where that is needed. Raises CasebookError for what is no casebook of ours."""
    with engine.connect() as connection:
        version = read_version(connection)
        if version is None:
            _check_empty(connection, show_place(engine), create=create)
    if version == SCHEMA_VERSION:
        return
    if version is not None and (not re.fullmatch(r"\d{4}", version) or version > SCHEMA_VERSION):
        raise CasebookError(
            f"{show_place(engine)}: was written by a newer Rakelight (version {one_line(version)}, this one knows up "
            f"to {SCHEMA_VERSION}); update Rakelight"
        )
    with writing(engine) as connection:
        if read_version(connection) != SCHEMA_VERSION:  # another program may have been faster
            upgrade(connection)


def read_version(connection: Connection) -> str | None:
    """Return the schema version that a database says it has, or None."""
    if not inspect(connection).has_table(VERSION_TABLE):
        return None
    value = connection.execute(text(f"SELECT version_num FROM {VERSION_TABLE}")).scalar()
    return None if value is None else str(value)


def _check_empty(connection: Connection, shown: str, *, create: bool) -> None:
    if inspect(connection).get_table_names():
        raise CasebookError(f"{shown} is not a casebook; name another file or database")
    if not create:
        raise CasebookError(f"{shown}: there is no casebook; name the right one with --casebook")


def upgrade(connection: Connection, revision: str = "head") -> None:
    """Bring the tables to a revision, inside the connection's transaction."""
    from alembic import command

    command.upgrade(migration_config(connection), revision)


def migration_config(connection: Connection) -> Any:
    """Return Alembic's configuration for a connection."""
    from alembic.config import Config

    config = Config(attributes={"connection": connection})
    config.set_main_option("script_location", MIGRATIONS)
    config.set_main_option("path_separator", "os")
    return config
