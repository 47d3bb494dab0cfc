"""When would what is held ship, as the data and the day are now?

What a quote counts on may have moved since: an engine that slipped, an order that was to be placed
yesterday. All that is held is put where accepting it would put it, beside the plan that is worked
by, and nothing of that is kept.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING

from fulfil.errors import Refused
from fulfil.usecases.basis import as_planned, premises_of, settings_of, standing_header
from fulfil.usecases.current import go_on
from fulfil.usecases.held_quotes import Hold, orders_of, taken_by_holds
from fulfil.usecases.quote_documents import names_of, ships_of, with_request

if TYPE_CHECKING:
    from fulfil_models.plan import Plan
    from fulfil_models.settings import Settings
    from fulfil_models.tables import Dataset

    from fulfil.store.session import Store
    from fulfil.usecases.basis import Premises


@dataclass(frozen=True, slots=True)
class HoldsNow:
    """When what is held would ship now.

    Attributes
    ----------
    ships: by the number of the quote; one that is missing has no place, or cannot be told.
    refused: by the number of the quote: why it has no place.
    wrong: why nothing can be told of those whose data, or day, are not those of today.
    """

    ships: Mapping[int, date] = field(default_factory=dict)
    refused: Mapping[int, str] = field(default_factory=dict)
    wrong: str = ""


def holds_now(store: Store, dataset: Dataset, there: tuple[Hold, ...], day: date) -> HoldsNow:
    """Parameters
    ----------
    there: all that is held on the day.
    """
    settings, data_hash = settings_of(dataset, day), store.data_hash()
    ships: dict[int, date] = {}
    outdated: list[Hold] = []
    for hold in there:
        quote = hold.quote
        if (quote.data_hash, quote.as_of) == (data_hash, settings.as_of):
            ships[quote.number] = hold.offer.ships
        elif hold.is_of(dataset):
            outdated.append(hold)
    if not outdated:
        return HoldsNow(ships)
    try:
        beside = _Beside(store, dataset, settings, data_hash, there)
    except Refused as error:
        return HoldsNow(ships, wrong=error.wrong)
    refused: dict[int, str] = {}
    for group in beside.groups(outdated):
        try:
            ships |= beside.ships(group)
        except Refused as error:
            if len(group) == 1:
                refused[group[0].quote.number] = error.wrong
                continue
            for hold in group:  # one of them has no place: which?
                try:
                    ships |= beside.ships([hold])
                except Refused as error_of_one:
                    refused[hold.quote.number] = error_of_one.wrong
    return HoldsNow(ships, refused)


class _Beside:
    """The plan that is worked by, gone on with where the data or the day are others."""

    def __init__(
        self,
        store: Store,
        dataset: Dataset,
        settings: Settings,
        data_hash: str | None,
        there: tuple[Hold, ...],
    ) -> None:
        header = standing_header(store)
        if header is None:
            raise Refused("there is no plan", "run: fulfil plan")
        self.store, self.dataset, self.settings, self.there = store, dataset, settings, there
        self.premises: Premises = premises_of(header.options)
        self.believed, _, _ = as_planned(dataset, settings, self.premises)
        self.name, self.number = f"plan {header.number}", header.number
        self.plan: Plan = store.plan(header.number).plan
        if (header.input_hash, header.as_of) != (data_hash, settings.as_of):
            self.plan = self._gone_on(self.plan, dataset, there)
            self.number = 0  # one that has no number yet

    def _gone_on(self, plan: Plan, dataset: Dataset, others: tuple[Hold, ...]) -> Plan:
        return go_on(self.store, self.name, plan, dataset, self.settings, others, self.premises)

    def groups(self, holds: list[Hold]) -> list[list[Hold]]:
        """Holds to be put there together: all but those whose builds or orders bear a name that
        others bear, too."""
        there = [row.build for row in self.dataset.builds]
        there += [row.order for row in self.dataset.parts_orders]
        names = Counter(set(there))
        for hold in holds:
            names.update(names_of(hold.request))
        alone = [hold for hold in holds if any(names[name] > 1 for name in names_of(hold.request))]
        known = set(there)
        together = [hold for hold in holds if hold not in alone]
        found = [together] if together else []
        # what has its name in the data already cannot be accepted under that
        return found + [[hold] for hold in alone if not known & set(names_of(hold.request))]

    def ships(self, holds: list[Hold]) -> dict[int, date]:
        """When some of them would ship, the others held."""
        from fulfil_models.taken import joined

        plan, dataset = self.plan, self.dataset
        for hold in holds:
            plan = joined(plan, self._piece(hold))
            dataset = with_request(dataset, hold.request)
        others = tuple(hold for hold in self.there if hold not in holds)
        made = self._gone_on(plan, dataset, others)
        return {hold.quote.number: ships_of(made, names_of(hold.request)) for hold in holds}

    def _piece(self, hold: Hold) -> Plan:
        """What is held, as it draws on the data as they are, apart from the plan."""
        orders = orders_of(self.plan, self.number)
        others = [row for row in self.there if row.key != hold.key]
        taken = taken_by_holds(others, self.believed, orders)
        return hold.piece(self.believed, orders, taken)
