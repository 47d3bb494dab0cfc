"""Migrations: they make the tables the code works with, and never lose a row."""

from __future__ import annotations

import shutil
import sqlite3
import sys
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.script import ScriptDirectory
from fulfil_models.columns import TABLES
from fulfil_models.plan import Plan
from fulfil_models.tables import Dataset

from fulfil.store import StoreError, migrate, open_store
from fulfil.store.session import Store
from fulfil.store.tables import data_tables, everything

MakeDataset = Callable[..., Dataset]
MakePlan = Callable[..., Plan]
Ask = Callable[..., list[tuple[Any, ...]]]


def test_the_migrations_make_just_the_tables_of_the_code(store: Store) -> None:
    with store.writing() as connection:
        command.check(migrate.config(connection))  # raises where anything differs


def test_checking_finds_a_difference(store: Store) -> None:
    with store.writing() as connection:
        connection.exec_driver_sql("ALTER TABLE builds DROP COLUMN customer")
        with pytest.raises(Exception, match="customer"):
            command.check(migrate.config(connection))


def test_the_revisions_known_without_the_library_are_those_in_the_folder(store: Store) -> None:
    with store.reading() as connection:
        scripts = ScriptDirectory.from_config(migrate.config(connection))
    in_folder = [script.revision for script in scripts.walk_revisions()]
    assert tuple(reversed(in_folder)) == migrate.REVISIONS
    assert scripts.get_heads() == [migrate.REVISIONS[-1]]


def test_every_table_of_a_data_set_has_one_in_the_database() -> None:
    assert list(data_tables()) == list(TABLES)
    for name, table in data_tables().items():
        columns = [column.attribute for column in TABLES[name].columns]
        assert list(table.columns.keys()) == ["row", *columns]


def test_no_number_of_a_table_can_lose_a_digit() -> None:
    """Quantities and money are integers; the one float is the seconds a search took."""
    floats = [
        f"{table.name}.{column.name}"
        for table in everything().tables.values()
        for column in table.columns
        if isinstance(column.type, sa.Float | sa.Numeric)
    ]
    assert floats == ["plans.seconds"]


def test_every_constraint_and_index_has_a_name(database: Path) -> None:
    with closing(sqlite3.connect(database)) as raw:
        made = raw.execute("SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL").fetchall()
    assert len(made) > 40
    for name, sql in made:
        if name in ("sqlite_sequence", migrate.VERSION_TABLE):
            continue
        for kind in ("PRIMARY KEY", "UNIQUE", "FOREIGN KEY", "CHECK"):
            unnamed = sql.count(f"{kind} (") - sql.count(f'"{kind} (')
            named = sum(
                line.strip().startswith("CONSTRAINT") and f" {kind} (" in line
                for line in sql.splitlines()
            )
            assert unnamed == named, f"{name}: {kind}"


@pytest.fixture
def older(
    new_address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ask: Ask
) -> Callable[[int], str]:
    """Makes a database as so many of the first revisions left it, with data in it."""

    def make(revisions: int) -> str:
        with monkeypatch.context() as patch:
            patch.setattr(migrate, "REVISIONS", migrate.REVISIONS[:revisions])
            folder = tmp_path / "older"
            shutil.copytree(migrate.FOLDER, folder)
            for later in sorted((folder / "versions").glob("*.py"))[revisions:]:
                later.unlink()
            patch.setattr(migrate, "FOLDER", folder)
            open_store(new_address).close()
        ask(
            new_address,
            "INSERT INTO suppliers VALUES (1, 'ACME', NULL)",
            "UPDATE data_state SET data_hash = 'abc'",
        )
        return new_address

    return make


@pytest.fixture
def first_revision(older: Callable[[int], str]) -> str:
    return older(1)


def test_an_older_database_is_migrated_after_a_file_was_copied(
    first_revision: str, ask: Ask
) -> None:
    newest = migrate.REVISIONS[-1]
    with open_store(first_revision) as store:
        copied = store.copied
        assert store.data_hash() == "abc"
        assert [row.supplier for row in store.dataset(["suppliers"]).suppliers] == ["ACME"]
        assert store.plan_headers() == []
        with store.writing() as connection:
            command.check(migrate.config(connection))
    assert ask(first_revision, REVISION) == [(newest,)]
    if "://" in first_revision:
        assert copied is None  # a server's backups are its own
    else:
        assert str(copied) == f"{first_revision}.before-{newest}"
        assert ask(str(copied), REVISION) == [("0001",)]
        assert ask(str(copied), "SELECT supplier FROM suppliers") == [("ACME",)]
    with open_store(first_revision) as store:
        assert store.copied is None


OLD_PLAN = """
INSERT INTO plans (
    created, as_of, status, lateness, transfers, alternates, expediting, deliveries, bound,
    weighted_late_minutes, seconds, input_hash, options, versions, accepted
) VALUES (
    '2026-03-02 08:00:00.000000', '2026-03-02', 'feasible', '1/3', '5', '0', '0', '0', '1/7',
    '22/7', 1.5, 'abc', '{"seed": 7}', '{}', '2026-03-02 09:00:00.000000'
)
"""
OLD_BUILD = """
INSERT INTO plan_builds VALUES (
    1, 1, 'B1', 'LT-1', 'BOI', '2026-03-02', NULL, '2026-03-02 12:00:00.000000', '2026-03-02',
    0, 0, 0
)
"""
OLD_NOTE = "INSERT INTO plan_notes VALUES ({}, 1, 'a note of {}')"


def test_plans_of_the_second_revision_are_kept(
    older: Callable[[int], str], ask: Ask, make_plan: MakePlan
) -> None:
    address = older(2)
    notes = [OLD_NOTE.format(number, number) for number in (1, 2, 3)]
    ask(address, *[OLD_PLAN] * 3, OLD_BUILD, *notes, "DELETE FROM plans WHERE number = 3")
    ask(address, "DELETE FROM plan_notes WHERE plan = 3")
    with open_store(address) as store:
        assert (store.copied is None) == ("://" in address)
        assert [header.number for header in store.plan_headers()] == [2, 1]
        header = store.plan_header(1)
        assert (header.retimed_from, header.builds, header.input_hash) == (None, 1, "abc")
        assert header.options == {"seed": 7}
        assert header.accepted == datetime(2026, 3, 2, 9, tzinfo=UTC)
        assert [build.build for build in store.planned_builds(1)] == ["B1"]
        assert [store.plan(number).plan.notes for number in (1, 2)] == [
            ("a note of 1",),
            ("a note of 2",),
        ]
        # The third is gone, but its number was given once.
        new = store.save_plan(
            make_plan(), input_hash="abc", options={}, seconds=1.0, versions={}, retimed_from=2
        )
        assert new == 4
        assert store.plan_header(4).retimed_from == 2
        assert (store.quotes(), store.changes_since("abc")) == ([], [])
        with store.writing() as connection:
            command.check(migrate.config(connection))
        with pytest.raises(StoreError, match="contradict"), store.writing() as connection:
            connection.exec_driver_sql("UPDATE plans SET retimed_from = 3 WHERE number = 2")


REVISION = "SELECT version_num FROM fulfil_revision"
NEXT = f"{len(migrate.REVISIONS) + 1:04}"
HEAD = f"""
import sqlalchemy as sa
from alembic import op
revision = "{NEXT}"
down_revision = "{migrate.REVISIONS[-1]}"
def upgrade():
"""


@pytest.fixture
def next_revision(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
    """Adds a migration after the last one, whose body is given, for the length of a test."""

    def add(body: str) -> None:
        folder = tmp_path / "next"
        shutil.copytree(migrate.FOLDER, folder)
        (folder / "versions" / f"{NEXT}_next.py").write_text(HEAD + body)
        monkeypatch.setattr(migrate, "FOLDER", folder)
        monkeypatch.setattr(migrate, "REVISIONS", (*migrate.REVISIONS, NEXT))

    return add


def _fill(address: str, dataset: Dataset, plan: Plan) -> None:
    with open_store(address) as store:
        told = store.replace_dataset(dataset)
        store.save_plan(plan, input_hash=told.data_hash, options={}, seconds=0.0, versions={})


def test_changing_a_table_keeps_the_rows_that_point_to_it(
    address: str,
    make_dataset: MakeDataset,
    make_plan: MakePlan,
    next_revision: Callable[[str], None],
) -> None:
    """SQLite changes a column by dropping the table: with foreign keys on, the parts of all plans
    would go with it."""
    _fill(address, make_dataset(), make_plan())
    next_revision(
        '    with op.batch_alter_table("plans") as batch:\n'
        '        batch.alter_column("input_hash", nullable=True)\n'
    )
    with open_store(address) as store:
        assert store.plan().plan == make_plan()
        with store.writing() as connection:
            if connection.dialect.name == "sqlite":
                assert store.copied is not None
                assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1
            connection.exec_driver_sql("UPDATE plans SET input_hash = NULL")  # it was changed
            connection.exec_driver_sql("DELETE FROM plans")  # and they still go with their plan
            assert connection.exec_driver_sql("SELECT count(*) FROM plan_pegs").scalar() == 0


def test_a_migration_that_leaves_rows_without_owner_is_undone(
    database: Path,
    make_dataset: MakeDataset,
    make_plan: MakePlan,
    next_revision: Callable[[str], None],
    ask: Ask,
) -> None:
    """SQLite alone has to be asked; PostgreSQL keeps the rule all the time."""
    _fill(str(database), make_dataset(), make_plan())
    next_revision('    op.execute("DELETE FROM plans")\n')
    with pytest.raises(StoreError, match=r"would leave rows without their owners in .*plan_pegs"):
        open_store(str(database))
    assert ask(str(database), REVISION) == [(migrate.REVISIONS[-2],)]
    assert ask(str(database), "SELECT count(*) FROM plans") == [(1,)]


def test_what_the_migrations_say_is_no_answer(database: Path) -> None:
    # standard output belongs to the one JSON document of a command
    engine = sa.create_engine(f"sqlite:///{database}")
    with engine.connect() as connection:
        assert migrate.config(connection).stdout is sys.stderr
    engine.dispose()


def _tables(address: str, ask: Ask) -> set[str]:
    listed = "SELECT name FROM sqlite_schema WHERE type = 'table'"
    if "://" in address:
        listed = "SELECT tablename FROM pg_tables WHERE schemaname = 'public'"
    return {str(name) for (name,) in ask(address, listed)}


def test_a_migration_that_fails_half_way_is_undone(
    address: str,
    make_dataset: MakeDataset,
    make_plan: MakePlan,
    next_revision: Callable[[str], None],
    ask: Ask,
) -> None:
    _fill(address, make_dataset(), make_plan())
    before = _tables(address, ask)
    assert "plan_pegs" in before
    next_revision(
        '    op.create_table("extra", sa.Column("x", sa.Integer))\n'
        '    op.execute("DELETE FROM builds")\n'
        '    op.execute("SELECT * FROM no_such_table")\n'
    )
    with pytest.raises(StoreError, match="no_such_table"):
        open_store(address)
    assert ask(address, REVISION) == [(migrate.REVISIONS[-2],)]
    assert ask(address, "SELECT count(*) FROM builds") == [(3,)]
    assert _tables(address, ask) == before


def test_the_tables_are_made_whole_or_not_at_all(
    new_address: str, next_revision: Callable[[str], None], ask: Ask
) -> None:
    next_revision('    op.execute("SELECT * FROM no_such_table")\n')
    with pytest.raises(StoreError, match="no_such_table"):
        open_store(new_address)
    assert _tables(new_address, ask) == set()
    if "://" not in new_address:
        path = Path(new_address)
        assert [entry.name for entry in path.parent.glob("new.db*")] == ["new.db"]
