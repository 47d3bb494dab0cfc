"""How does a plan read with other names for its builds and orders?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from fulfil_models.plan import Plan


def renamed(plan: Plan, names: Mapping[str, str]) -> Plan:
    """A plan in which builds and orders have other names; `names` has the new one by the old.

    Jobs bear the name of their build, and what they make bears theirs.
    """

    def job(name: str | None) -> str | None:
        if name is None:
            return None
        for old, new in names.items():
            if name == old or name.startswith(f"{old}/"):
                return new + name.removeprefix(old)
        return name

    def build(name: str) -> str:
        return names.get(name, name)

    return replace(
        plan,
        builds=tuple(replace(row, build=build(row.build)) for row in plan.builds),
        jobs=tuple(
            replace(row, job=job(row.job) or "", build=build(row.build), for_job=job(row.for_job))
            for row in plan.jobs
        ),
        operations=tuple(replace(row, job=job(row.job) or "") for row in plan.operations),
        pegs=tuple(
            replace(row, job=job(row.job) or "", supply=job(row.supply) or "") for row in plan.pegs
        ),
        shipments=tuple(replace(row, order=build(row.order)) for row in plan.shipments),
        supplies=tuple(
            replace(row, supply=job(row.supply) or "", job=job(row.job)) for row in plan.supplies
        ),
    )
