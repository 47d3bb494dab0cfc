"""Is a plan true to the data and to the rules? The checker every plan passes before it is shown.

It knows only the rows of the data set, the settings and the plan, computes everything anew, and
shares nothing with the models that made the plan. How it reads what could be read otherwise:

- Working time is counted from the planning date on; what was due before it is due at its opening.
- Quantities of a need are rounded up to the called-for part's step; an alternate's quantity is that
  times the ratio, rounded up to its own step.
- Finished operations have no entry and no pegs. A started one keeps its recorded start, and its
  parts were issued then, so it has no pegs either; if its time is over it ends when the planning
  date opens. What stands before a finished or started operation is finished.
- Lead times, lane days and carrier days are exact, not least, durations, and a shipment leaves on
  the first day it can: what ships later must be usable later.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from fulfil_models import (
    audit_needs,
    audit_orders,
    audit_plan,
    audit_supply,
    audit_time,
)
from fulfil_models.audit_frame import Finding, Frame, Terms
from fulfil_models.plan import Plan
from fulfil_models.tables import Dataset


@dataclass(frozen=True, slots=True)
class Violation:
    """One rule that a plan breaks: which, where, and what is wrong there."""

    rule: str
    subject: str
    wrong: str

    def text(self) -> str:
        return f"{self.rule}: {self.subject} {self.wrong}"


RULES: tuple[tuple[str, Callable[[Frame], Iterator[Finding]]], ...] = (
    ("names", audit_plan.names),
    ("builds", audit_plan.builds),
    ("stranded", audit_plan.stranded),
    ("jobs", audit_plan.jobs),
    ("operations", audit_plan.operations),
    ("working time", audit_time.working_time),
    ("duration", audit_time.duration),
    ("earliest", audit_time.earliest),
    ("sequence", audit_time.sequence),
    ("stations", audit_time.stations),
    ("progress", audit_time.progress),
    ("freeze", audit_time.freeze),
    ("needs", audit_needs.needs),
    ("alternates", audit_needs.alternates),
    ("pegs", audit_needs.pegs),
    ("in time", audit_needs.in_time),
    ("drawn", audit_needs.drawn),
    ("stock", audit_supply.stock),
    ("purchases", audit_supply.purchases),
    ("new purchases", audit_supply.new_purchases),
    ("monthly cap", audit_supply.monthly_cap),
    ("transfers", audit_supply.transfers),
    ("made", audit_supply.made),
    ("ship dates", audit_orders.ship_dates),
    ("lateness", audit_orders.lateness),
    ("shipments", audit_orders.shipments),
    ("parts orders", audit_orders.parts_orders),
    ("objective", audit_orders.objective),
    ("bound", audit_orders.bound),
)
"""Every rule by name, in the order they are asked. The first is asked alone: see `names`."""


def audit(
    dataset: Dataset, settings: Terms, plan: Plan, previous: Plan | None = None
) -> tuple[Violation, ...]:
    """Every rule that the plan breaks; empty where it breaks none.

    Parameters
    ----------
    dataset: the rows the plan was made from, already checked on loading.
    settings: planning date, cost of a late day, overdue, horizon and freeze days.
    previous: the plan accepted before, which the freeze holds to.
    """
    frame = Frame(dataset, settings, plan, previous)
    found: list[Violation] = []
    for name, rule in RULES:
        found += [Violation(name, subject, wrong) for subject, wrong in rule(frame)]
        if found and name == "names":
            break
    return tuple(found)
