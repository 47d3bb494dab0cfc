"""Migrations: they make the tables the code works with, and never lose a row."""

from __future__ import annotations

import shutil
import sqlite3
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

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
def first_revision(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A database as the first revision left it, with data in it."""
    path = tmp_path / "old.db"
    with monkeypatch.context() as patch:
        patch.setattr(migrate, "REVISIONS", migrate.REVISIONS[:1])
        folder = tmp_path / "first"
        shutil.copytree(migrate.FOLDER, folder)
        (folder / "versions" / "0002_plan_tables.py").unlink()
        patch.setattr(migrate, "FOLDER", folder)
        open_store(str(path)).close()
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("INSERT INTO suppliers VALUES (1, 'ACME', NULL)")
        raw.execute("UPDATE data_state SET data_hash = 'abc'")
        raw.commit()
    return path


def test_an_older_database_is_migrated_after_it_was_copied(first_revision: Path) -> None:
    with open_store(str(first_revision)) as store:
        assert store.copied == first_revision.with_name("old.db.before-0002")
        assert store.data_hash() == "abc"
        assert [row.supplier for row in store.dataset(["suppliers"]).suppliers] == ["ACME"]
        assert store.plan_headers() == []
        with store.writing() as connection:
            command.check(migrate.config(connection))
    with closing(sqlite3.connect(store.copied)) as copy:
        assert copy.execute("SELECT version_num FROM fulfil_revision").fetchall() == [("0001",)]
        assert copy.execute("SELECT supplier FROM suppliers").fetchall() == [("ACME",)]
    with open_store(str(first_revision)) as store:
        assert store.copied is None


HEAD = """
import sqlalchemy as sa
from alembic import op
revision = "0003"
down_revision = "0002"
def upgrade():
"""


@pytest.fixture
def third_revision(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
    """Adds a third migration, whose body is given, for the length of a test."""

    def add(body: str) -> None:
        folder = tmp_path / "three"
        shutil.copytree(migrate.FOLDER, folder)
        (folder / "versions" / "0003_next.py").write_text(HEAD + body)
        monkeypatch.setattr(migrate, "FOLDER", folder)
        monkeypatch.setattr(migrate, "REVISIONS", (*migrate.REVISIONS, "0003"))

    return add


def _fill(database: Path, dataset: Dataset, plan: Plan) -> None:
    with open_store(str(database)) as store:
        told = store.replace_dataset(dataset)
        store.save_plan(plan, input_hash=told.data_hash, options={}, seconds=0.0, versions={})


def test_rebuilding_a_table_keeps_the_rows_that_point_to_it(
    database: Path,
    make_dataset: MakeDataset,
    make_plan: MakePlan,
    third_revision: Callable[[str], None],
) -> None:
    """SQLite changes a column by dropping the table: with foreign keys on, the parts of all plans
    would go with it."""
    _fill(database, make_dataset(), make_plan())
    third_revision(
        '    with op.batch_alter_table("plans", recreate="always") as batch:\n'
        '        batch.alter_column("input_hash", nullable=True)\n'
    )
    with open_store(str(database)) as store:
        assert store.plan().plan == make_plan()
        assert store.copied is not None
        with store.writing() as connection:
            assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1
            connection.exec_driver_sql("DELETE FROM plans")  # and they still go with their plan
            assert connection.exec_driver_sql("SELECT count(*) FROM plan_pegs").scalar() == 0


def test_a_migration_that_leaves_rows_without_owner_is_undone(
    database: Path,
    make_dataset: MakeDataset,
    make_plan: MakePlan,
    third_revision: Callable[[str], None],
) -> None:
    _fill(database, make_dataset(), make_plan())
    third_revision('    op.execute("DELETE FROM plans")\n')
    with pytest.raises(StoreError, match=r"would leave rows without their owners in .*plan_pegs"):
        open_store(str(database))
    assert _revision(database) == "0002"
    with closing(sqlite3.connect(database)) as raw:
        assert raw.execute("SELECT count(*) FROM plans").fetchone() == (1,)


def test_what_the_migrations_say_is_no_answer(database: Path) -> None:
    # standard output belongs to the one JSON document of a command
    engine = sa.create_engine(f"sqlite:///{database}")
    with engine.connect() as connection:
        assert migrate.config(connection).stdout is sys.stderr
    engine.dispose()


def test_a_migration_that_fails_half_way_is_undone(
    database: Path,
    make_dataset: MakeDataset,
    make_plan: MakePlan,
    third_revision: Callable[[str], None],
) -> None:
    _fill(database, make_dataset(), make_plan())
    third_revision(
        '    op.create_table("extra", sa.Column("x", sa.Integer))\n'
        '    op.execute("DELETE FROM builds")\n'
        '    op.execute("SELECT * FROM no_such_table")\n'
    )
    with pytest.raises(StoreError, match="no_such_table"):
        open_store(str(database))
    assert _revision(database) == "0002"
    with closing(sqlite3.connect(database)) as raw:
        assert raw.execute("SELECT count(*) FROM builds").fetchone() == (3,)
        tables = raw.execute("SELECT count(*) FROM sqlite_schema WHERE name = 'extra'").fetchone()
    assert tables == (0,)


def _revision(database: Path) -> str:
    with closing(sqlite3.connect(database)) as raw:
        ((revision,),) = raw.execute("SELECT version_num FROM fulfil_revision").fetchall()
    return str(revision)


def test_the_tables_are_made_whole_or_not_at_all(
    tmp_path: Path, third_revision: Callable[[str], None]
) -> None:
    third_revision('    op.execute("SELECT * FROM no_such_table")\n')
    path = tmp_path / "new.db"
    with pytest.raises(StoreError, match="no_such_table"):
        open_store(str(path))
    with closing(sqlite3.connect(path)) as raw:
        assert raw.execute("SELECT count(*) FROM sqlite_schema").fetchone() == (0,)
    assert [entry.name for entry in tmp_path.glob("new.db*")] == ["new.db"]
