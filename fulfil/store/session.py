"""The store as the rest of the program sees it: one object, one transaction for each question."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

import sqlalchemy as sa

from fulfil.store import dialect, migrate
from fulfil.store.dialect import Address
from fulfil.store.results import DataChange, LoadResult, PlanHeader, PlanUses, Quote, StoredPlan

if TYPE_CHECKING:
    from fulfil_models.plan import (
        Peg,
        Plan,
        PlannedBuild,
        PlannedJob,
        PlannedOperation,
        Supply,
    )
    from fulfil_models.tables import Dataset
    from fulfil_models.taken import Taken

    from fulfil.store.desk import Desk

# What a method needs is imported in it: a question about plans does not wait for the tables of
# data sets to be described, nor the other way round.


class Store:
    """The data set, plans and quotes of one database; made by `open_store`, closed by `close`.

    Every method is one transaction, and raises StoreError where the database cannot do it.
    Where a plan's number is left out, the newest plan is meant.

    Attributes
    ----------
    copied: the copy that was made of the database because opening it migrated it, else None.
    """

    def __init__(
        self, engine: sa.Engine, address: Address, wait_seconds: float, copied: Path | None
    ) -> None:
        self.copied = copied
        self._engine = engine
        self._address = address
        self._wait_seconds = wait_seconds

    @property
    def name(self) -> str:
        """How to call the database in a message; holds no password."""
        return self._address.shown

    def close(self) -> None:
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """A transaction that sees one state of the database from its first question on."""
        with (
            errors_explained(self._address, self._wait_seconds),
            self._engine.connect() as connection,
            dialect.reader(connection).begin(),
        ):
            yield connection

    @contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """A transaction that is alone in writing; committed at the end, undone by an error.

        Never held while something is computed: others wait for it.
        """
        with (
            errors_explained(self._address, self._wait_seconds),
            self._engine.connect() as connection,
            dialect.writer(connection).begin(),
        ):
            yield connection

    @contextmanager
    def deciding(self) -> Iterator[Desk]:
        """A transaction to look, decide and write in, alone; see `writing`.

        An error raised inside undoes all that was written at the desk.
        """
        from fulfil.store.desk import Desk

        with self.writing() as connection:
            yield Desk(connection)

    # The data set

    def replace_dataset(self, dataset: Dataset) -> LoadResult:
        """Stores a data set in the place of the last one, all of it or nothing.

        Nothing is written where the same rows are stored already, in whatever order.
        """
        from fulfil.store import write

        prepared = write.prepared(dataset)
        with self.writing() as connection:
            return write.replace_dataset(connection, prepared)

    def data_hash(self) -> str | None:
        """What the stored data are known by; None where none were ever loaded."""
        from fulfil.store import read

        with self.reading() as connection:
            return read.data_hash(connection)

    def dataset(self, tables: Iterable[str] | None = None) -> Dataset:
        """The stored data set, each table's rows by key.

        Raises KeyError for a name that is no table. Looking into a table that was not asked for
        raises LookupError.
        """
        from fulfil.store import read

        with self.reading() as connection:
            return read.dataset(connection, tables)

    def changes_since(self, data_hash: str) -> list[DataChange] | None:
        """The changes that led from data known by this hash to the stored ones, oldest first.

        They count from the last time that those data were stored, and are none where they are
        stored now. None stands for a way that is not known.
        """
        from fulfil.store import change_log

        with self.reading() as connection:
            return change_log.changes_since(connection, data_hash)

    # Plans

    def save_plan(
        self,
        plan: Plan,
        *,
        input_hash: str,
        options: Mapping[str, Any],
        seconds: float,
        versions: Mapping[str, str],
        retimed_from: int | None = None,
        taken: Taken | None = None,
    ) -> int:
        """Stores a plan and returns its number; `retimed_from` is the plan that it re-times.

        Raises StaleData where the stored data are no longer those of `input_hash`.
        """
        from fulfil.store import plans

        with self.writing() as connection:
            return plans.save_plan(
                connection,
                plan,
                input_hash=input_hash,
                options=options,
                seconds=seconds,
                versions=versions,
                retimed_from=retimed_from,
                taken=taken,
            )

    def plan(self, number: int | None = None) -> StoredPlan:
        """A plan as it was stored, whole."""
        from fulfil.store import plans

        with self.reading() as connection:
            return plans.stored_plan(connection, number)

    def plan_taken(self, number: int) -> Taken | None:
        """What a plan has taken, as it was kept with it; None where it was not."""
        from fulfil.store import plans

        with self.reading() as connection:
            return plans.plan_taken(connection, number)

    def plan_uses(self, number: int) -> PlanUses:
        """Who has what in a plan; less to read than all of it."""
        from fulfil.store import plans

        with self.reading() as connection:
            return plans.plan_uses(connection, number)

    def plan_header(self, number: int | None = None) -> PlanHeader:
        from fulfil.store import plans

        with self.reading() as connection:
            return plans.header(connection, number)

    def plan_headers(self) -> list[PlanHeader]:
        """The headers of all plans, newest first."""
        from fulfil.store import plans

        with self.reading() as connection:
            return plans.headers(connection)

    def accept_plan(self, number: int) -> None:
        """Marks a plan as the one to work by from now on."""
        from fulfil.store import plans

        with self.writing() as connection:
            plans.accept(connection, number)

    def accepted_header(self) -> PlanHeader | None:
        """The header of the plan that was accepted last; None where none ever was."""
        from fulfil.store import plans

        with self.reading() as connection:
            return plans.accepted_header(connection)

    # Quotes

    def save_quote(
        self,
        *,
        plan: int,
        data_hash: str,
        as_of: date,
        asked: Mapping[str, Any],
        answer: Mapping[str, Any],
    ) -> int:
        """Stores a quote that stands on a plan and returns its number.

        Raises StaleData where the stored data are no longer those of `data_hash`.
        """
        with self.deciding() as desk:
            return desk.save_quote(
                plan=plan, data_hash=data_hash, as_of=as_of, asked=asked, answer=answer
            )

    def quote(self, number: int) -> Quote:
        from fulfil.store import quotes

        with self.reading() as connection:
            return quotes.quote(connection, number)

    def quotes(
        self, states: Iterable[str] | None = None, numbers: Iterable[int] | None = None
    ) -> list[Quote]:
        """The quotes in any of these states, or all, newest first; see `quotes.quotes`."""
        from fulfil.store import quotes

        with self.reading() as connection:
            return quotes.quotes(connection, states, numbers)

    def held_keys(self, on: date) -> tuple[tuple[int, int], ...]:
        """What is held on a day: (quote, what was chosen of it), the oldest first."""
        from fulfil.store import quotes

        with self.reading() as connection:
            return quotes.held_keys(connection, on)

    def quote_numbers(self) -> list[int]:
        """The numbers of all quotes, newest first."""
        from fulfil.store import quotes

        with self.reading() as connection:
            return quotes.quote_numbers(connection)

    # Parts of a plan

    def planned_builds(
        self, number: int | None = None, builds: Iterable[str] | None = None
    ) -> tuple[PlannedBuild, ...]:
        """Builds with reasons and blockers: those named, or all."""
        from fulfil.store import plan_parts

        with self.reading() as connection:
            return plan_parts.builds(connection, number, names=builds)

    def plan_jobs(
        self, number: int | None = None, builds: Iterable[str] | None = None
    ) -> tuple[PlannedJob, ...]:
        """Jobs: of some builds, or all."""
        from fulfil.store import plan_parts

        with self.reading() as connection:
            return plan_parts.jobs(connection, number, of_builds=builds)

    def plan_operations(
        self, number: int | None = None, builds: Iterable[str] | None = None
    ) -> tuple[PlannedOperation, ...]:
        """Operations: of some builds (all their jobs), or all."""
        from fulfil.store import plan_parts

        with self.reading() as connection:
            return plan_parts.operations(connection, number, of_builds=builds)

    def plan_pegs(
        self, number: int | None = None, builds: Iterable[str] | None = None
    ) -> tuple[Peg, ...]:
        """Pegs: of some builds (all their jobs), or all."""
        from fulfil.store import plan_parts

        with self.reading() as connection:
            return plan_parts.pegs(connection, number, of_builds=builds)

    def plan_supplies(
        self, number: int | None = None, supplies: Iterable[str] | None = None
    ) -> tuple[Supply, ...]:
        """Supplies: those named, or all."""
        from fulfil.store import plan_parts

        with self.reading() as connection:
            return plan_parts.supplies(connection, number, names=supplies)


@contextmanager
def errors_explained(address: Address, wait_seconds: float) -> Iterator[None]:
    """Turns what a driver raises inside into a StoreError."""
    try:
        yield
    except dialect.DRIVER_ERRORS as error:
        raise dialect.explained(error, address, wait_seconds) from error


def open_store(url: str | None = None, *, wait_seconds: float = 30.0) -> Store:
    """See `fulfil.store.open_store`."""
    address = dialect.address_of(url)
    with errors_explained(address, wait_seconds):
        engine = dialect.engine_for(address, wait_seconds)
        try:
            copied = migrate.bring_up_to_date(engine, address)
        except BaseException:
            engine.dispose()
            raise
    return Store(engine, address, wait_seconds, copied)
