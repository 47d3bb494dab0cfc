"""Can everything get to where it is wanted? Only asked of data in which every name is known."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from fulfil_models.checking_case import Case
from fulfil_models.findings import Finding, listed
from fulfil_models.stranded import Reach

ANYWHERE = ""
_NAMED = 20
"""stranded builds and orders that one warning names"""


def check_deliveries(case: Case) -> Iterator[Finding]:
    """From some point that can have the part, some way leads to each order's destination.

    A part that is nowhere at all is found by `check_stranded`.
    """
    reach = Reach(case.problem)
    lines = reach.lines_without_way
    for index, row in case.sound("parts_orders", "order", "line", "part", "destination"):
        state = lines.get((row.order, row.line))
        if state is None:
            continue
        if not state.delivering:
            yield case.error(
                "no-delivery",
                "parts_orders",
                index,
                "destination",
                "is delivered to from no point",
                "add a row to deliveries for it or for the beginning of it",
            )
        elif state.holding:
            yield case.error(
                "no-delivery",
                "parts_orders",
                index,
                "destination",
                f"is delivered to from {listed(state.delivering)} only, and {row.part} is at "
                f"{listed(state.holding)}, from where no lane leads there",
                f"add a delivery from {state.holding[0]}, or a lane from there",
            )


def check_stranded(case: Case) -> Iterator[Finding]:
    """Parts that can never come, each with the builds and orders it strands.

    The rest can be planned, so this is a warning.
    """
    reach = Reach(case.problem)
    held_up: defaultdict[tuple[str, str], list[str]] = defaultdict(list)
    for name, parts in reach.builds_lacking.items():
        for part in parts:
            held_up[part, case.builds[name].point].append(f"build {name}")
    for (order, line), state in reach.lines_without_way.items():
        if state.delivering and not state.holding:
            held_up[state.part, ANYWHERE].append(f"order {order} line {line}")
    index_of = {row.part: index for index, row in enumerate(case.dataset.parts)}
    for (part, point), names in sorted(
        held_up.items(), key=lambda item: (item[0][0], item[0][1] or "")
    ):
        yield case.warning(
            "never-comes",
            "parts",
            index_of[part],
            "part",
            f"can never come{f' to {point}' if point else ''}: "
            f"{_why(case, reach, part, point)}; left out of the plan: {listed(names, _NAMED)}",
            "add stock, a purchase, a source, a lane, an approved alternate or a bill for it",
        )


def _why(case: Case, reach: Reach, part: str, point: str) -> str:
    """Why a part can never come to a point."""
    held = reach.shelves.get(part)
    if held:
        return f"it is at {listed(sorted(held))}, from where no lane leads there"
    if not case.parts[part].make:
        return "no stock, purchase, source or approved alternate"
    away = sorted(
        {
            step.work_centre
            for step in case.routings.get(part, ())
            if case.work_centres[step.work_centre].point != point
        }
    )
    if point == ANYWHERE:
        return "no stock, purchase, source or approved alternate; it is only made for builds"
    if away:
        return f"there is none on any shelf, and {listed(away)}, which makes it, stands elsewhere"
    return "no stock, purchase, source, approved alternate or bill"
