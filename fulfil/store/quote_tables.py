"""The table of quotes: what was asked, what was answered, and what was decided on it."""

from __future__ import annotations

import sqlalchemy as sa

from fulfil.store.plan_tables import PLANS
from fulfil.store.tables import METADATA, Utc

QUOTES = sa.Table(
    "quotes",
    METADATA,
    sa.Column("quote", sa.Integer, primary_key=True),
    sa.Column("created", Utc, nullable=False),
    sa.Column("plan", sa.Integer, nullable=False),
    sa.Column("data_hash", sa.Text, nullable=False),
    sa.Column("as_of", sa.Date, nullable=False),
    sa.Column("state", sa.Text, nullable=False),
    sa.Column("decided", Utc, nullable=False),
    sa.Column("chosen", sa.Integer),
    sa.Column("held_until", sa.Date),
    sa.Column("held_for", sa.Text),
    sa.Column("promised", sa.Date),
    sa.Column("name", sa.Text),
    # Whole documents, last: who looks for a state does not have to read past them.
    sa.Column("asked", sa.Text, nullable=False),
    sa.Column("answer", sa.Text, nullable=False),
    sa.ForeignKeyConstraint(["plan"], [PLANS.c.number]),
    sa.Index(None, "state"),
    # A number that a customer was told is never given to another quote.
    sqlite_autoincrement=True,
)
