"""How urgent it is that a person looks at an answer, and cases that a person keeps apart."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from pipelines.casebook.migrations.append_only import refuse_changes

revision = "0002"
down_revision = "0001"

NUMBER = sa.BigInteger().with_variant(sa.Integer, "sqlite")


def upgrade() -> None:
    """Add the column and the table; answers recorded before are the least urgent."""
    op.add_column("answers", sa.Column("urgency", sa.Float, nullable=False, server_default="-3"))
    op.create_index("ix_answers_urgency_id", "answers", ["urgency", "id"])
    if op.get_bind().dialect.name == "postgresql":  # it fixes the columns of a view when it is made; SQLite does not
        op.execute(
            "CREATE OR REPLACE VIEW latest_answers AS SELECT a.* FROM answers a "
            "WHERE a.id = (SELECT max(x.id) FROM answers x WHERE x.photo_id = a.photo_id)"
        )
    op.create_table(
        "kept_apart",
        sa.Column("id", NUMBER, primary_key=True),
        *(
            sa.Column(name, NUMBER, sa.ForeignKey("cases.id", name=f"fk_kept_apart_{name}"), nullable=False)
            for name in ("first_id", "second_id")
        ),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("by", "because")),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
    )
    for name in ("first_id", "second_id"):
        op.create_index(f"ix_kept_apart_{name}", "kept_apart", [name])
    refuse_changes("kept_apart")
