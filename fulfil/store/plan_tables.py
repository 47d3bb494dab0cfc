"""The tables of stored plans: one of headers, and one for each part of a plan.

A part's rows carry the plan's number and their place in it, so that a plan comes back in the
order it was made in. What is searched by has an index; the rest has none.
"""

from __future__ import annotations

import sqlalchemy as sa

from fulfil.store.tables import METADATA, Utc

PLANS = sa.Table(
    "plans",
    METADATA,
    sa.Column("number", sa.Integer, primary_key=True),
    sa.Column("created", Utc, nullable=False),
    sa.Column("as_of", sa.Date, nullable=False),
    sa.Column("status", sa.Text, nullable=False),
    # Fractions are exact as text, "numerator/denominator".
    sa.Column("lateness", sa.Text, nullable=False),
    sa.Column("transfers", sa.Text, nullable=False),
    sa.Column("alternates", sa.Text, nullable=False),
    sa.Column("expediting", sa.Text, nullable=False),
    sa.Column("deliveries", sa.Text, nullable=False),
    sa.Column("bound", sa.Text, nullable=False),
    sa.Column("weighted_late_minutes", sa.Text, nullable=False),
    sa.Column("seconds", sa.Float, nullable=False),
    sa.Column("input_hash", sa.Text, nullable=False),
    sa.Column("options", sa.Text, nullable=False),
    sa.Column("versions", sa.Text, nullable=False),
    sa.Column("accepted", Utc),
    sa.Column("retimed_from", sa.Integer),
    sa.ForeignKeyConstraint(["retimed_from"], ["plans.number"]),
    # A number that was seen once is never given to another plan.
    sqlite_autoincrement=True,
)


def _part(name: str, *columns: sa.schema.SchemaItem) -> sa.Table:
    """A table of one part of plans; rows go when their plan goes."""
    return sa.Table(
        name,
        METADATA,
        sa.Column("plan", sa.Integer, nullable=False),
        sa.Column("row", sa.Integer, nullable=False),
        *columns,
        sa.PrimaryKeyConstraint("plan", "row"),
        sa.ForeignKeyConstraint(["plan"], ["plans.number"], ondelete="CASCADE"),
    )


PLAN_BUILDS = _part(
    "plan_builds",
    sa.Column("build", sa.Text, nullable=False),
    sa.Column("product", sa.Text, nullable=False),
    sa.Column("point", sa.Text, nullable=False),
    sa.Column("ordered", sa.Date, nullable=False),
    sa.Column("promised", sa.Text),
    sa.Column("finish", sa.DateTime, nullable=False),
    sa.Column("ships", sa.Date, nullable=False),
    sa.Column("late_minutes", sa.BigInteger, nullable=False),
    sa.Column("late_days", sa.BigInteger, nullable=False),
    sa.Column("lead_days", sa.BigInteger, nullable=False),
    sa.UniqueConstraint("plan", "build"),
)

PLAN_REASONS = _part(
    "plan_reasons",
    sa.Column("build", sa.Text, nullable=False),
    sa.Column("job", sa.Text, nullable=False),
    sa.Column("operation", sa.BigInteger),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("what", sa.Text, nullable=False),
    sa.Column("at", sa.DateTime, nullable=False),
    sa.Column("why", sa.Text, nullable=False),
    sa.Index(None, "plan", "build"),
)

PLAN_BLOCKERS = _part(
    "plan_blockers",
    sa.Column("build", sa.Text, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("what", sa.Text, nullable=False),
    sa.Column("until", sa.DateTime),
    sa.Column("days", sa.BigInteger, nullable=False),
    sa.Column("why", sa.Text, nullable=False),
    sa.Column("supply", sa.Text),
    sa.Column("ahead", sa.Text, nullable=False),
    sa.Index(None, "plan", "build"),
)

PLAN_JOBS = _part(
    "plan_jobs",
    sa.Column("job", sa.Text, nullable=False),
    sa.Column("build", sa.Text, nullable=False),
    sa.Column("part", sa.Text, nullable=False),
    sa.Column("quantity_milli", sa.BigInteger, nullable=False),
    sa.Column("for_job", sa.Text),
    sa.Column("for_operation", sa.BigInteger),
    sa.UniqueConstraint("plan", "job"),
    sa.Index(None, "plan", "build"),
)

PLAN_OPERATIONS = _part(
    "plan_operations",
    sa.Column("job", sa.Text, nullable=False),
    sa.Column("operation", sa.BigInteger, nullable=False),
    sa.Column("work_centre", sa.Text, nullable=False),
    sa.Column("start", sa.DateTime, nullable=False),
    sa.Column("end", sa.DateTime, nullable=False),
    sa.UniqueConstraint("plan", "job", "operation"),
    sa.Index(None, "plan", "work_centre"),
)

PLAN_PEGS = _part(
    "plan_pegs",
    sa.Column("job", sa.Text, nullable=False),
    sa.Column("operation", sa.BigInteger),
    sa.Column("part", sa.Text, nullable=False),
    sa.Column("used", sa.Text, nullable=False),
    sa.Column("quantity_milli", sa.BigInteger, nullable=False),
    sa.Column("supply", sa.Text, nullable=False),
    sa.Column("point", sa.Text, nullable=False),
    sa.Column("usable", sa.DateTime, nullable=False),
    sa.Index(None, "plan", "job"),
    sa.Index(None, "plan", "part"),
    sa.Index(None, "plan", "used"),
)

PLAN_SHIPMENTS = _part(
    "plan_shipments",
    sa.Column("order", sa.Text, nullable=False),
    sa.Column("line", sa.Text, nullable=False),
    sa.Column("part", sa.Text, nullable=False),
    sa.Column("used", sa.Text, nullable=False),
    sa.Column("quantity_milli", sa.BigInteger, nullable=False),
    sa.Column("supply", sa.Text, nullable=False),
    sa.Column("point", sa.Text, nullable=False),
    sa.Column("ships", sa.Date, nullable=False),
    sa.Column("arrives", sa.Date, nullable=False),
    sa.Column("late_days", sa.BigInteger, nullable=False),
)

PLAN_SUPPLIES = _part(
    "plan_supplies",
    sa.Column("supply", sa.Text, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("part", sa.Text, nullable=False),
    sa.Column("point", sa.Text, nullable=False),
    sa.Column("quantity_milli", sa.BigInteger, nullable=False),
    sa.Column("usable", sa.DateTime, nullable=False),
    sa.Column("order", sa.Text),
    sa.Column("line", sa.Text),
    sa.Column("supplier", sa.Text),
    sa.Column("place_on", sa.Date),
    sa.Column("expedited", sa.Boolean),
    sa.Column("origin", sa.Text),
    sa.Column("from_supply", sa.Text),
    sa.Column("leaves_on", sa.Date),
    sa.Column("arrives_on", sa.Date),
    sa.Column("job", sa.Text),
    sa.UniqueConstraint("plan", "supply"),
    sa.Index(None, "plan", "part"),
)

PLAN_STRANDED = _part(
    "plan_stranded",
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("key", sa.Text, nullable=False),
    sa.Column("parts", sa.Text, nullable=False),
)

PLAN_NOTES = _part("plan_notes", sa.Column("note", sa.Text, nullable=False))

PLAN_TAKEN = sa.Table(
    "plan_taken",
    METADATA,
    sa.Column("plan", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("taken", sa.Text, nullable=False),
    sa.ForeignKeyConstraint(["plan"], ["plans.number"], ondelete="CASCADE"),
)
"""what plans have taken, as `taken_text` writes it; of older plans there is none"""
