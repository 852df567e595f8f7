"""The casebook's tables, as SQLAlchemy Core knows them; `migrations/` makes them in a database.

Every table only grows: triggers refuse UPDATE and DELETE. What is current is the newest row, found by the views at the
end. Identity numbers rise in the order of writing, since there is one writer at a time.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    DateTime,
    Dialect,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
    column,
    table,
)
from sqlalchemy.types import TypeDecorator

SCHEMA_VERSION = "0002"
"""The newest revision in migrations/versions; a casebook of a newer one is refused."""

VERSION_TABLE = "casebook_version"
"""Holds the revision. A name of our own, so that another program's database is not taken for a casebook."""


class UtcTime(TypeDecorator[datetime]):
    """A moment in UTC; SQLite keeps no zone, so it is put back on reading."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Turn the moment to UTC. Raises ValueError for one without a zone."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a moment in the casebook needs its time zone")
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Return the moment in UTC."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class PlainText(TypeDecorator[str]):
    """Text that every database takes: NUL and half characters (bytes of a file name that are no UTF-8) are escaped."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:
        """Escape what UTF-8 or PostgreSQL has not."""
        return None if value is None else value.encode("utf-8", "backslashreplace").decode().replace("\0", "\\x00")


def _id() -> Column[int]:
    return Column("id", BigInteger().with_variant(Integer, "sqlite"), primary_key=True)


def _to(name: str, target: str, **options: Any) -> Column[int]:
    kind = BigInteger().with_variant(Integer, "sqlite")
    return Column(name, kind, ForeignKey(f"{target}.id"), **{"nullable": False, **options})


def _text(name: str, *, nullable: bool = False) -> Column[str]:
    return Column(name, PlainText, nullable=nullable)


def _key(name: str, *, nullable: bool = False) -> Column[str]:
    """A column of `records.search_key`; in PostgreSQL ordered by code points, so that a prefix is a range."""
    return Column(name, Text().with_variant(Text(collation="C"), "postgresql"), nullable=nullable)


def _moment(name: str) -> Column[datetime]:
    return Column(name, UtcTime, nullable=False)


NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s",
    "pk": "pk_%(table_name)s",
}

metadata = MetaData(naming_convention=NAMES)

methods = Table(
    "methods",
    metadata,
    _id(),
    _text("fingerprint"),
    _text("reader"),
    _text("models"),
    _text("settings"),
    UniqueConstraint("fingerprint"),
)
"""What photos were read with; `models` and `settings` are JSON."""

photos = Table(
    "photos",
    metadata,
    _id(),
    _text("sha256"),
    _text("part"),
    _text("path"),
    _moment("first_seen"),
    UniqueConstraint("sha256", "part"),
)
"""The content of a file, or a part of it, under the path where it was first seen."""

cases = Table("cases", metadata, _id(), _text("origin"), _moment("opened"))
"""One instrument. `origin`: archive, bench or customer."""

case_photos = Table(
    "case_photos",
    metadata,
    _id(),
    _to("case_id", "cases"),
    _to("photo_id", "photos"),
    _moment("at"),
    Index(None, "photo_id", "id"),
    Index(None, "case_id"),
)
"""Which case a photo belongs to; the newest row of a photo counts."""

answers = Table(
    "answers",
    metadata,
    _id(),
    _to("photo_id", "photos"),
    _to("method_id", "methods"),
    _moment("read_at"),
    Column("accepted", Boolean(create_constraint=False), nullable=False),
    _text("number", nullable=True),
    _key("number_key", nullable=True),
    Column("probability", Float, nullable=True),
    _text("maker_id", nullable=True),
    _text("maker_name", nullable=True),
    _key("maker_key", nullable=True),
    Column("width", Integer, nullable=False),
    Column("height", Integer, nullable=False),
    _text("phash", nullable=True),
    _text("body"),
    Column("urgency", Float, nullable=False, server_default="-3"),
    UniqueConstraint("photo_id", "method_id"),
    Index(None, "photo_id", "id", "phash"),  # holds all that comparing pictures needs, without the long bodies
    Index(None, "number_key"),
    Index(None, "urgency", "id"),
)
"""What one method said of one photo: `body` is the whole answer as JSON, the rest is what lists and searches need.
`urgency` orders what waits for a person, see `record.rank`."""

marks = Table(
    "marks",
    metadata,
    _id(),
    _to("answer_id", "answers", index=True),
    Column("place", Integer, nullable=False),
    _text("text"),
    _key("key"),
    _text("kind"),
    Column("probability", Float, nullable=False),
    _text("quad"),
    Index(None, "key", "answer_id"),
)
"""The marks of an answer; `place` is the mark's id there, `quad` its corners as JSON."""

decisions = Table(
    "decisions",
    metadata,
    _id(),
    _to("case_id", "cases"),
    _text("outcome"),
    _text("number", nullable=True),
    _key("number_key", nullable=True),
    _text("by"),
    _moment("at"),
    _text("because"),
    _text("maker", nullable=True),
    _text("maker_id", nullable=True),
    _key("maker_key", nullable=True),
    _text("dating", nullable=True),
    _to("taken_over_id", "decisions", nullable=True),
    CheckConstraint("outcome IN ('serial', 'not-a-serial', 'cannot-be-read', 'reopened')", name="outcome"),
    CheckConstraint("(outcome = 'serial') = (number IS NOT NULL)", name="number"),
    Index(None, "case_id", "id"),
    Index(None, "number_key"),
)
"""What persons decided; the newest row of a case counts. `maker` and `dating` are JSON in the answer's form."""

datings = Table(
    "datings",
    metadata,
    _id(),
    _to("answer_id", "answers", nullable=True, index=True),
    _to("decision_id", "decisions", nullable=True, index=True),
    Column("year", Integer, nullable=False),
    Column("earliest", Integer, nullable=False),
    Column("latest", Integer, nullable=False),
    _text("edtf"),
    CheckConstraint("(answer_id IS NULL) <> (decision_id IS NULL)", name="one_owner"),
    Index(None, "earliest", "latest"),
)
"""When an instrument was made, as an answer or a decision says."""

failures = Table(
    "failures",
    metadata,
    _id(),
    _to("photo_id", "photos", index=True),
    _to("method_id", "methods"),
    _moment("at"),
    _text("kind"),
    _text("reason"),
    UniqueConstraint("photo_id", "method_id", "kind", "reason"),
)
"""Photos set aside, and why."""

merges = Table(
    "merges",
    metadata,
    _id(),
    _to("kept_id", "cases", index=True),
    _to("merged_id", "cases"),
    _text("by"),
    _moment("at"),
    _text("because"),
    UniqueConstraint("merged_id"),
    CheckConstraint("kept_id <> merged_id", name="two_cases"),
)
"""Two cases that a person called one instrument; a case is merged into another once."""

kept_apart = Table(
    "kept_apart",
    metadata,
    _id(),
    _to("first_id", "cases", index=True),
    _to("second_id", "cases", index=True),
    _text("by"),
    _moment("at"),
    _text("because"),
)
"""Two cases that a person called two instruments, so that they are not suggested again."""

# Views, made by the migrations.
latest_links = table("latest_links", column("id"), column("case_id", BigInteger), column("photo_id", BigInteger))
"""The case that each photo belongs to now."""
latest_answers = table("latest_answers", *(column(one.name, one.type) for one in answers.columns))
"""The newest answer of each photo."""
latest_decisions = table("latest_decisions", *(column(one.name, one.type) for one in decisions.columns))
"""The newest decision of each case."""
case_states = table("case_states", column("case_id", BigInteger), column("state", Text))
"""The state of each case, see `records.State`."""
case_datings = table(
    "case_datings",
    column("case_id", BigInteger),
    column("answer_id", BigInteger),
    column("decision_id", BigInteger),
    column("year", Integer),
    column("earliest", Integer),
    column("latest", Integer),
    column("edtf", Text),
)
"""The datings that count for each case: of its newest decision, or of answers that no decision contradicts."""
