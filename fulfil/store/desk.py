"""One transaction in which a use case looks, decides and writes, with nobody else writing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from fulfil.store import plans, quotes
from fulfil.store.results import LoadResult, PlanHeader, Quote

if TYPE_CHECKING:
    from fulfil_models.plan import Plan
    from fulfil_models.taken import Taken

    from fulfil.store.write import Prepared


class Desk:
    """What can be looked at and decided in one transaction; made by `Store.deciding`.

    What it answers stays true until the transaction ends. Others wait meanwhile, so nothing long
    is computed at it.
    """

    def __init__(self, connection: sa.Connection) -> None:
        self._connection = connection

    # The data set

    def data_hash(self) -> str | None:
        """What the stored data are known by; None where none were ever loaded."""
        from fulfil.store import read

        return read.data_hash(self._connection)

    def replace_dataset(self, prepared: Prepared) -> LoadResult:
        """Stores a data set, made ready by `write.prepared` before, in the place of the last."""
        from fulfil.store import write

        return write.replace_dataset(self._connection, prepared)

    # Plans

    def plan_header(self, number: int | None = None) -> PlanHeader:
        """The header of a plan; of the newest where no number is given."""
        return plans.header(self._connection, number)

    def plan_headers(self) -> list[PlanHeader]:
        """The headers of all plans, newest first."""
        return plans.headers(self._connection)

    def accepted_header(self) -> PlanHeader | None:
        """The header of the plan that was accepted last; None where none ever was."""
        return plans.accepted_header(self._connection)

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
        """Stores a plan and returns its number; see `Store.save_plan`."""
        return plans.save_plan(
            self._connection,
            plan,
            input_hash=input_hash,
            options=options,
            seconds=seconds,
            versions=versions,
            retimed_from=retimed_from,
            taken=taken,
        )

    def accept_plan(self, number: int) -> None:
        """Marks a plan as the one to work by from now on."""
        plans.accept(self._connection, number)

    # Quotes

    def quote(self, number: int) -> Quote:
        return quotes.quote(self._connection, number)

    def quotes(
        self, states: Iterable[str] | None = None, numbers: Iterable[int] | None = None
    ) -> list[Quote]:
        """The quotes in any of these states, or all, newest first; see `quotes.quotes`."""
        return quotes.quotes(self._connection, states, numbers)

    def held_keys(self, on: date) -> tuple[tuple[int, int], ...]:
        """What is held on a day: (quote, what was chosen of it), the oldest first."""
        return quotes.held_keys(self._connection, on)

    def save_quote(
        self,
        *,
        plan: int,
        data_hash: str,
        as_of: date,
        asked: Mapping[str, Any],
        answer: Mapping[str, Any],
    ) -> int:
        """Stores a quote and returns its number; see `Store.save_quote`."""
        return quotes.save_quote(
            self._connection,
            plan=plan,
            data_hash=data_hash,
            as_of=as_of,
            asked=asked,
            answer=answer,
        )

    def hold(self, number: int, *, chosen: int, until: date, customer: str | None) -> None:
        """Writes down that an offer of a quote is held for somebody, up to a day."""
        quotes.hold(self._connection, number, chosen=chosen, until=until, customer=customer)

    def release(self, number: int) -> None:
        """Writes down that a quote is held no longer."""
        quotes.release(self._connection, number)

    def accept(
        self, number: int, *, chosen: int, promised: date, name: str | None, customer: str | None
    ) -> None:
        """Writes down that an offer of a quote became an order."""
        quotes.accept(
            self._connection,
            number,
            chosen=chosen,
            promised=promised,
            name=name,
            customer=customer,
        )

    def renew(self, number: int, *, name: str) -> None:
        """Writes down that another quote, of that name, took the place of one."""
        quotes.renew(self._connection, number, name=name)

    def keep(self, number: int) -> None:
        """Writes down that a load brought what was accepted."""
        quotes.keep(self._connection, number)
