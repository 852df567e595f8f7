"""The first tables: photos, answers and their marks, cases, decisions, failures, merges, and views of what counts."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from pipelines.casebook.migrations.append_only import refuse_changes

revision = "0001"
down_revision = None

NUMBER = sa.BigInteger().with_variant(sa.Integer, "sqlite")
KEY = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
MOMENT = sa.DateTime(timezone=True)

VIEWS = {
    "latest_links": """
        SELECT l.id, l.case_id, l.photo_id FROM case_photos l
        WHERE l.id = (SELECT max(x.id) FROM case_photos x WHERE x.photo_id = l.photo_id)""",
    "latest_answers": """
        SELECT a.* FROM answers a WHERE a.id = (SELECT max(x.id) FROM answers x WHERE x.photo_id = a.photo_id)""",
    "latest_decisions": """
        SELECT d.* FROM decisions d WHERE d.id = (SELECT max(x.id) FROM decisions x WHERE x.case_id = d.case_id)""",
    "case_states": """
        SELECT c.id AS case_id, CASE
            WHEN EXISTS (SELECT 1 FROM merges m WHERE m.merged_id = c.id) THEN 'merged'
            WHEN EXISTS (SELECT 1 FROM latest_decisions d WHERE d.case_id = c.id AND d.outcome = 'reopened') THEN 'open'
            WHEN EXISTS (SELECT 1 FROM decisions d WHERE d.case_id = c.id) THEN 'decided'
            WHEN 1 = (SELECT count(DISTINCT a.number_key) FROM latest_links l
                      JOIN latest_answers a ON a.photo_id = l.photo_id
                      WHERE l.case_id = c.id AND a.accepted) THEN 'accepted'
            WHEN EXISTS (SELECT 1 FROM latest_links l JOIN answers a ON a.photo_id = l.photo_id
                         WHERE l.case_id = c.id) THEN 'open'
            WHEN EXISTS (SELECT 1 FROM latest_links l JOIN failures f ON f.photo_id = l.photo_id
                         WHERE l.case_id = c.id) THEN 'failed'
            ELSE 'open' END AS state
        FROM cases c""",
    "case_datings": """
        SELECT l.case_id, x.answer_id, x.decision_id, x.year, x.earliest, x.latest, x.edtf
        FROM latest_links l
        JOIN latest_answers a ON a.photo_id = l.photo_id
        JOIN datings x ON x.answer_id = a.id
        WHERE NOT EXISTS (SELECT 1 FROM latest_decisions d WHERE d.case_id = l.case_id AND d.outcome <> 'reopened'
                          AND (d.outcome <> 'serial' OR d.dating IS NOT NULL OR d.number_key <> a.number_key))
        UNION ALL
        SELECT d.case_id, x.answer_id, x.decision_id, x.year, x.earliest, x.latest, x.edtf
        FROM latest_decisions d JOIN datings x ON x.decision_id = d.id""",
}


def upgrade() -> None:
    """Make everything in an empty database."""
    make_photos()
    make_answers()
    make_decisions()
    refuse_changes(
        *("methods", "photos", "cases", "case_photos", "answers", "marks", "decisions", "datings", "failures", "merges")
    )
    for name, query in VIEWS.items():
        op.execute(f"CREATE VIEW {name} AS {query}")


def make_photos() -> None:
    """Make methods, photos, cases and which photo belongs to which case."""
    op.create_table(
        "methods",
        sa.Column("id", NUMBER, primary_key=True),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("fingerprint", "reader", "models", "settings")),
        sa.UniqueConstraint("fingerprint", name="uq_methods_fingerprint"),
    )
    op.create_table(
        "photos",
        sa.Column("id", NUMBER, primary_key=True),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("sha256", "part", "path")),
        sa.Column("first_seen", MOMENT, nullable=False),
        sa.UniqueConstraint("sha256", "part", name="uq_photos_sha256_part"),
    )
    op.create_table(
        "cases",
        sa.Column("id", NUMBER, primary_key=True),
        sa.Column("origin", sa.Text, nullable=False),
        sa.Column("opened", MOMENT, nullable=False),
    )
    op.create_table(
        "case_photos",
        sa.Column("id", NUMBER, primary_key=True),
        refer("case_photos", "case_id", "cases"),
        refer("case_photos", "photo_id", "photos"),
        sa.Column("at", MOMENT, nullable=False),
    )
    index("case_photos", "photo_id", "id")
    index("case_photos", "case_id")


def make_answers() -> None:
    """Make answers, their marks, and failures."""
    op.create_table(
        "answers",
        sa.Column("id", NUMBER, primary_key=True),
        refer("answers", "photo_id", "photos"),
        refer("answers", "method_id", "methods"),
        sa.Column("read_at", MOMENT, nullable=False),
        sa.Column("accepted", sa.Boolean(create_constraint=False), nullable=False),
        sa.Column("number", sa.Text),
        sa.Column("number_key", KEY),
        sa.Column("probability", sa.Float),
        sa.Column("maker_id", sa.Text),
        sa.Column("maker_name", sa.Text),
        sa.Column("maker_key", KEY),
        sa.Column("width", sa.Integer, nullable=False),
        sa.Column("height", sa.Integer, nullable=False),
        sa.Column("phash", sa.Text),
        sa.Column("body", sa.Text, nullable=False),
        sa.UniqueConstraint("photo_id", "method_id", name="uq_answers_photo_id_method_id"),
    )
    index("answers", "photo_id", "id", "phash")
    index("answers", "number_key")
    op.create_table(
        "marks",
        sa.Column("id", NUMBER, primary_key=True),
        refer("marks", "answer_id", "answers"),
        sa.Column("place", sa.Integer, nullable=False),
        sa.Column("text", sa.Text, nullable=False),
        sa.Column("key", KEY, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("probability", sa.Float, nullable=False),
        sa.Column("quad", sa.Text, nullable=False),
    )
    index("marks", "answer_id")
    index("marks", "key", "answer_id")
    op.create_table(
        "failures",
        sa.Column("id", NUMBER, primary_key=True),
        refer("failures", "photo_id", "photos"),
        refer("failures", "method_id", "methods"),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("reason", sa.Text, nullable=False),
        sa.UniqueConstraint(
            "photo_id", "method_id", "kind", "reason", name="uq_failures_photo_id_method_id_kind_reason"
        ),
    )
    index("failures", "photo_id")


def make_decisions() -> None:
    """Make decisions, datings (of answers and of decisions) and merges."""
    op.create_table(
        "decisions",
        sa.Column("id", NUMBER, primary_key=True),
        refer("decisions", "case_id", "cases"),
        sa.Column("outcome", sa.Text, nullable=False),
        sa.Column("number", sa.Text),
        sa.Column("number_key", KEY),
        sa.Column("by", sa.Text, nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("because", sa.Text, nullable=False),
        sa.Column("maker", sa.Text),
        sa.Column("maker_id", sa.Text),
        sa.Column("maker_key", KEY),
        sa.Column("dating", sa.Text),
        refer("decisions", "taken_over_id", "decisions", nullable=True),
        sa.CheckConstraint(
            "outcome IN ('serial', 'not-a-serial', 'cannot-be-read', 'reopened')", name="ck_decisions_outcome"
        ),
        sa.CheckConstraint("(outcome = 'serial') = (number IS NOT NULL)", name="ck_decisions_number"),
    )
    index("decisions", "case_id", "id")
    index("decisions", "number_key")
    op.create_table(
        "datings",
        sa.Column("id", NUMBER, primary_key=True),
        refer("datings", "answer_id", "answers", nullable=True),
        refer("datings", "decision_id", "decisions", nullable=True),
        *(sa.Column(name, sa.Integer, nullable=False) for name in ("year", "earliest", "latest")),
        sa.Column("edtf", sa.Text, nullable=False),
        sa.CheckConstraint("(answer_id IS NULL) <> (decision_id IS NULL)", name="ck_datings_one_owner"),
    )
    index("datings", "answer_id")
    index("datings", "decision_id")
    index("datings", "earliest", "latest")
    op.create_table(
        "merges",
        sa.Column("id", NUMBER, primary_key=True),
        refer("merges", "kept_id", "cases"),
        refer("merges", "merged_id", "cases"),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("by", "because")),
        sa.Column("at", MOMENT, nullable=False),
        sa.UniqueConstraint("merged_id", name="uq_merges_merged_id"),
        sa.CheckConstraint("kept_id <> merged_id", name="ck_merges_two_cases"),
    )
    index("merges", "kept_id")


def refer(owner: str, name: str, target: str, *, nullable: bool = False) -> sa.Column[int]:
    """Return a column that names a row of another table."""
    return sa.Column(name, NUMBER, sa.ForeignKey(f"{target}.id", name=f"fk_{owner}_{name}"), nullable=nullable)


def index(owner: str, *names: str) -> None:
    """Make an index over these columns."""
    op.create_index(f"ix_{owner}_{'_'.join(names)}", owner, list(names))
