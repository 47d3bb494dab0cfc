"""What anybody asks of bills: what is in it, and where does it go?"""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from fulfil_models.cells import MILLI

from fulfil.errors import Refused
from fulfil.usecases.basis import problem_of, require_data, settings_of
from fulfil.usecases.names import meant

if TYPE_CHECKING:
    from fulfil_models.bill_tree import BillTree
    from fulfil_models.problem import Problem
    from fulfil_models.where_used import WhereUsed

    from fulfil.store.session import Store

TABLES = (
    "settings",
    "points",
    "parts",
    "bills",
    "alternates",
    "stock",
    "routings",
    "builds",
    "build_options",
    "region_rules",
    "parts_orders",
)


def _problem(store: Store, today: date) -> Problem:
    require_data(store)
    dataset = store.dataset(TABLES)
    return problem_of(dataset, settings_of(dataset, today))


def explode(store: Store, name: str, units_milli: int, today: date) -> BillTree:
    """The indented bill of a build, or of so many units of a part.

    A build goes first where a part has the same name.
    """
    from fulfil_models.bill_tree import explode_build, explode_part

    problem = _problem(store, today)
    builds = {row.build: row for row in problem.dataset.builds}
    name = meant("part or build", name, [*problem.parts, *builds])
    build = builds.get(name)
    if build is not None:
        if units_milli != MILLI:
            raise Refused(f"{name} is a build, which is one machine", "leave --quantity out")
        return explode_build(problem, build)
    return explode_part(problem, name, units_milli)


def where_used(store: Store, name: str, today: date) -> WhereUsed:
    """Every parent of a part up to the top, and the open builds and parts orders that
    take it."""
    from fulfil_models.where_used import where_used as where_used_of

    problem = _problem(store, today)
    return where_used_of(problem, meant("part", name, problem.parts))
