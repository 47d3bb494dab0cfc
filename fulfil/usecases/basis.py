"""What an answer rests on: which plan, of which day, and whether the data are still those."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any, Protocol

from fulfil_models.findings import counted

from fulfil.clock import today
from fulfil.errors import Refused

if TYPE_CHECKING:
    from fulfil_models.believing import Choice
    from fulfil_models.problem import Problem
    from fulfil_models.settings import Settings
    from fulfil_models.tables import Dataset

    from fulfil.store.results import PlanHeader
    from fulfil.store.session import Store


MOST_NAMES = 5
"""names that are told where one is not known and none looks like it"""

LEAST_TYPED = 2
"""characters of a name by which names that begin so are told"""

LEAD_TIMES = "lead_times"
"""option kept with a plan that believes the record of suppliers: for how many of 100 deliveries"""

ORDERS_FROM = "orders_from"
"""option kept with a plan that was asked to wait with new purchases: the day, as ISO text"""

LEAD_TIME_TABLES = ("sources", "purchases", "receipts")
"""what lead times are learnt from"""


class Plans(Protocol):
    """Where headers of plans can be looked up: the store, or a transaction of it."""

    def plan_headers(self) -> list[PlanHeader]: ...

    def accepted_header(self) -> PlanHeader | None: ...


@dataclass(frozen=True, slots=True)
class Premises:
    """What a plan was asked to take otherwise than the data have it.

    Attributes
    ----------
    lead_times: whose word on them it takes.
    orders_from: first day on which it places new purchases, in place of that of the settings; None
        for that.
    """

    lead_times: Choice = "stated"
    orders_from: date | None = None

    @property
    def options(self) -> dict[str, Any]:
        """As options to keep with the plan; none for what is as the data have it."""
        found: dict[str, Any] = {}
        if self.lead_times != "stated":
            found[LEAD_TIMES] = self.lead_times
        if self.orders_from is not None:
            found[ORDERS_FROM] = self.orders_from.isoformat()
        return found

    def settings(self, settings: Settings) -> Settings:
        """Settings of the data as the plan takes them."""
        if self.orders_from is None:
            return settings
        return dataclasses.replace(settings, orders_from=self.orders_from)


def premises_of(options: Mapping[str, Any]) -> Premises:
    """What a plan was asked to take otherwise, by the options that are kept with it."""
    day = options.get(ORDERS_FROM)
    choice: Choice = options.get(LEAD_TIMES, "stated")
    return Premises(choice, None if day is None else date.fromisoformat(day))


@dataclass(frozen=True, slots=True)
class Basis:
    """The plan an answer is taken from.

    Attributes
    ----------
    plan: its number.
    as_of: its planning date.
    data_changed: the stored data are no longer those it was made from.
    age_days: days by which the planning date of the data, that of today where they name none, is
        after its own.
    lead_times: whose word on them the plan takes.
    orders_from: first day on which the plan places new purchases; None where it is `as_of`.
    """

    plan: int
    as_of: date
    data_changed: bool
    age_days: int = 0
    lead_times: Choice = "stated"
    orders_from: date | None = None

    @property
    def notes(self) -> tuple[str, ...]:
        notes = [f"plan {self.plan}, planning date {self.as_of}"]
        if self.lead_times != "stated":
            notes.append(
                f"plan {self.plan} believes the record of suppliers ({self.lead_times}): purchases "
                "come when it says, where that is later than stated"
            )
        if self.orders_from is not None:
            notes.append(f"plan {self.plan} places no new purchase before {self.orders_from}")
        if self.data_changed:
            notes.append(
                f"the data were changed after plan {self.plan}; `fulfil plan` makes a new one"
            )
        if self.age_days:
            days, now = counted(self.age_days, "day", "days"), self.as_of + timedelta(self.age_days)
            notes.append(
                f"plan {self.plan} is {days} old, and answers as on its own planning date; `fulfil "
                f"plan` makes one of {now}"
            )
        return tuple(notes)


def basis_of(store: Store, number: int | None) -> Basis:
    """The basis of answers from a plan; None means the newest."""
    header = store.plan_header(number)
    stored = store.dataset(["settings"])
    age = max((settings_of(stored, today()).as_of - header.as_of).days, 0)
    changed = header.input_hash != store.data_hash()
    premises = premises_of(header.options)
    settings = dataclasses.replace(settings_of(stored, header.as_of), as_of=header.as_of)
    waits_until = waiting_until(premises.settings(settings))
    return Basis(header.number, header.as_of, changed, age, premises.lead_times, waits_until)


def standing_plan(store: Store) -> int | None:
    """Number of the plan to promise from, see `standing`; None without any."""
    header = standing_header(store)
    return None if header is None else header.number


def standing_header(plans: Plans) -> PlanHeader | None:
    """The plan to promise from: the accepted one, or what it was gone on with since; where none is
    accepted, the newest. None without any."""
    headers = sorted(plans.plan_headers(), key=lambda header: header.number)
    accepted = plans.accepted_header()
    if accepted is None:
        return headers[-1] if headers else None
    line = {accepted.number: accepted}
    for header in headers:  # each goes on with one before it
        if header.retimed_from in line:
            line[header.number] = header
    return line[max(line)]


def settings_of(dataset: Dataset, day: date) -> Settings:
    """Settings of stored data, whose planning date is `day` where they name none."""
    from fulfil_models.settings import parse_settings

    return parse_settings(dataset.settings, day)


def settings_at(dataset: Dataset, basis: Basis) -> Settings:
    """Settings as on the planning date of a plan, with the day from which it orders."""
    settings = settings_of(dataset, basis.as_of)
    return dataclasses.replace(settings, as_of=basis.as_of, orders_from=basis.orders_from)


def waiting_until(settings: Settings) -> date | None:
    """First day of new purchases; None where it is the planning date."""
    return settings.first_order_day if settings.orders_wait else None


# ---- what a plan takes otherwise than the data have it


def as_planned(
    dataset: Dataset, settings: Settings, premises: Premises
) -> tuple[Dataset, Settings, tuple[str, ...]]:
    """Stored data and their settings as a plan takes them, and what is said of lead times."""
    settings = premises.settings(settings)
    dataset, beliefs = believed_data(dataset, settings, premises.lead_times)
    return dataset, settings, beliefs


def believed_data(
    dataset: Dataset, settings: Settings, choice: Choice
) -> tuple[Dataset, tuple[str, ...]]:
    """Stored data with the lead times that a plan believes, and what is said of that."""
    if choice == "stated":
        return dataset, ()
    from fulfil_models.believing import as_believed, beliefs

    found = as_believed(dataset, settings, choice)
    return found, beliefs(dataset, found, settings, choice)


def planned_data(store: Store, basis: Basis, tables: Iterable[str]) -> Dataset:
    """Tables of the stored data with the lead times that a plan believes."""
    tables = tuple(tables)
    dataset = store.dataset(tables)
    if basis.lead_times == "stated":
        return dataset
    known = store.dataset({*LEAD_TIME_TABLES, "settings"})
    found, _ = believed_data(known, settings_at(known, basis), basis.lead_times)
    learnt = {name: getattr(found, name) for name in LEAD_TIME_TABLES if name in tables}
    return dataclasses.replace(dataset, **learnt)


def problem_of(dataset: Dataset, settings: Settings) -> Problem:
    from fulfil_models.problem import Problem

    return Problem(dataset, settings)


def require_data(store: Store) -> None:
    """Raises Refused where nothing was ever loaded."""
    if store.data_hash() is None:
        raise Refused(
            f"there are no data in {store.name} yet",
            "load a data set with `fulfil load PATH`, or try `fulfil demo`",
        )


def refuse_unknown(kind: str, name: str, known: list[str]) -> Refused:
    """The error for a name that is not among those known, with those that look like it."""
    from fulfil_models.findings import nearest

    near = nearest(name, known) or _begun(name, known)
    if near:
        remedy = f"did you mean {' or '.join(near)}?"
    elif known:
        remedy = f"known are {_some(sorted(known))}"
    else:
        remedy = f"there is no {kind} in the data"
    return Refused(f"no {kind} is called {name}", remedy)


def _begun(name: str, known: list[str]) -> list[str]:
    """The first few names that begin with what was typed, or else have it in them."""
    typed = name.strip().casefold()
    if len(typed) < LEAST_TYPED:
        return []
    begins = [other for other in sorted(known) if other.casefold().startswith(typed)]
    within = [other for other in sorted(known) if typed in other.casefold()]
    return (begins or within)[:MOST_NAMES]


def _some(names: list[str]) -> str:
    """Names from all over a list: those of one kind, such as postal codes, stand together in it."""
    if len(names) <= MOST_NAMES:
        return ", ".join(names)
    told = (names[place * len(names) // MOST_NAMES] for place in range(MOST_NAMES))
    return f"{', '.join(told)} and more"
