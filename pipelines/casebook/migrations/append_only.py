"""Triggers that refuse to change or delete what was written."""

from __future__ import annotations

from alembic import op

REFUSAL = "the casebook only grows"
"""What the database says to UPDATE, DELETE and TRUNCATE."""

POSTGRESQL_FUNCTION = f"""
CREATE OR REPLACE FUNCTION casebook_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION '{REFUSAL}: % on %', TG_OP, TG_TABLE_NAME; END $$
"""


def refuse_changes(*names: str) -> None:
    """Let these tables take new rows alone."""
    if op.get_bind().dialect.name == "postgresql":
        op.execute(POSTGRESQL_FUNCTION)
        for name in names:
            op.execute(
                f"CREATE TRIGGER {name}_only_grows BEFORE UPDATE OR DELETE OR TRUNCATE ON {name} "
                "FOR EACH STATEMENT EXECUTE FUNCTION casebook_refuse()"
            )
        return
    for name in names:
        for event in ("update", "delete"):
            op.execute(
                f"CREATE TRIGGER {name}_no_{event} BEFORE {event.upper()} ON {name} "
                f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}: {event} on {name}'); END"
            )
