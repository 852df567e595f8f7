"""What Alembic runs for a migration: on the connection that connect.py hands over, inside its transaction."""

from __future__ import annotations

from alembic import context

from pipelines.casebook.tables import VERSION_TABLE, metadata

context.configure(
    connection=context.config.attributes["connection"], target_metadata=metadata, version_table=VERSION_TABLE
)
context.run_migrations()
