"""Quotes, the log of what changed in the data, what plans have taken, and whom they re-time.

The tables are spelled out here and never imported: a migration stays as it was.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    _add_retimed_from()
    op.create_table(
        "plan_taken",
        sa.Column("plan", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("taken", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("plan", name=op.f("pk_plan_taken")),
        sa.ForeignKeyConstraint(
            ["plan"], ["plans.number"], name=op.f("fk_plan_taken_plan"), ondelete="CASCADE"
        ),
    )
    op.create_table(
        "quotes",
        sa.Column("quote", sa.Integer(), nullable=False),
        sa.Column("created", sa.DateTime(), nullable=False),
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("data_hash", sa.Text(), nullable=False),
        sa.Column("as_of", sa.Date(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("decided", sa.DateTime(), nullable=False),
        sa.Column("chosen", sa.Integer(), nullable=True),
        sa.Column("held_until", sa.Date(), nullable=True),
        sa.Column("held_for", sa.Text(), nullable=True),
        sa.Column("promised", sa.Date(), nullable=True),
        sa.Column("name", sa.Text(), nullable=True),
        sa.Column("asked", sa.Text(), nullable=False),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("quote", name=op.f("pk_quotes")),
        sa.ForeignKeyConstraint(["plan"], ["plans.number"], name=op.f("fk_quotes_plan")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_quotes_state"), "quotes", ["state"])
    op.create_table(
        "data_changes",
        sa.Column("change", sa.Integer(), nullable=False),
        sa.Column("created", sa.DateTime(), nullable=False),
        sa.Column("hash_before", sa.Text(), nullable=False),
        sa.Column("hash_after", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("change", name=op.f("pk_data_changes")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_data_changes_hash_before"), "data_changes", ["hash_before"])


def _add_retimed_from() -> None:
    """SQLite makes the table anew for it, and would forget which numbers were used already."""
    anew = {"sqlite_autoincrement": True}
    last = _last_number()
    with op.batch_alter_table("plans", table_kwargs=anew) as batch:
        batch.add_column(sa.Column("retimed_from", sa.Integer(), nullable=True))
        batch.create_foreign_key(
            op.f("fk_plans_retimed_from"), "plans", ["retimed_from"], ["number"]
        )
    if last is not None:
        op.execute("DELETE FROM sqlite_sequence WHERE name = 'plans'")
        op.execute(f"INSERT INTO sqlite_sequence (name, seq) VALUES ('plans', {last})")


def _last_number() -> int | None:
    """The largest number a plan ever had, where SQLite keeps it; None where no plan was stored."""
    connection = op.get_bind()
    if connection.dialect.name != "sqlite":
        return None
    kept = sa.text("SELECT seq FROM sqlite_sequence WHERE name = 'plans'")
    number: int | None = connection.scalar(kept)
    return number


def downgrade() -> None:
    raise NotImplementedError("put the copy that was made before the upgrade in its place")
