"""Page of `available`: what may be promised of a part, week by week."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fulfil_models.available_flows import Doubtful, Flows, Unplanned
from fulfil_models.available_weeks import PartAvailability, Week

from fulfil.render import words
from fulfil.render.common import answer, cautions
from fulfil.render.facts import facts
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.text import Column, paragraph, table
from fulfil.usecases.available import AvailableAnswer

LATER = "later"
"""stands for the weeks after those shown"""
MOST_STEPS = 4

LEGEND = (
    "ATP is available to promise. Discrete: of each week's supply what is not needed before more "
    "comes, below 0 where it needs earlier supply. Cumulative: all supply up to the end of the "
    "week less all commitments up to then. With look-ahead: what may be promised by the end of the "
    "week without harm to later commitments"
)


def available_page(answered: AvailableAnswer) -> Page:
    found = answered.found

    def lines(width: int) -> list[str]:
        name = f"{found.part}{f' {found.description}' if found.description else ''}"
        shown = [_row(week.week, week.starts.isoformat(), week.flows, week) for week in found.weeks]
        if found.later is not None:
            shown.append(_row(LATER, "", found.later, None, left_milli=found.left_milli))
        kept = _kept(found)
        columns = [column for column, keep in zip(_columns(found), kept, strict=True) if keep]
        cells = [[cell for cell, keep in zip(row, kept, strict=True) if keep] for row in shown]
        return [
            *paragraph(name, width, "  "),
            *facts(_facts(found), width),
            "",
            *table(columns, cells, width),
        ]

    return Page(
        lines=lines,
        document=lambda: _document(answered),
        headings=(
            "part",
            "point",
            "week",
            "starts",
            "purchases",
            "made",
            "moved_in",
            "new_orders",
            "builds",
            "parts_orders",
            "moved_out",
            "discrete",
            "cumulative",
            "look_ahead",
        ),
        records=lambda: [
            {"part": found.part, "point": found.point, **_plain_week(week)} for week in found.weeks
        ],
        notes=_notes(answered),
    )


# ---- for other programs


def _plain_week(week: Week) -> dict[str, Any]:
    fields: dict[str, Any] = plain(week)
    flows: Mapping[str, Any] = fields.pop("flows")
    return {"week": fields.pop("week"), "starts": fields.pop("starts"), **flows, **fields}


def _document(answered: AvailableAnswer) -> dict[str, Any]:
    found = answered.found
    content = {
        **plain(found),
        "weeks": [_plain_week(week) for week in found.weeks],
        "holds": list(answered.holds),
    }
    if answered.basis is not None:
        return answer(answered.basis, **content)
    return {"plan": None, "as_of": plain(answered.as_of), **content}


# ---- for a reader


def _facts(found: PartAvailability) -> list[tuple[str, str]]:
    told = [
        ("looked at", "all points together" if found.point is None else f"{found.point} alone"),
        ("on hand", _on_hand(found)),
    ]
    steps = [
        f"{words.quantity(step.quantity_milli, found.unit)} by the end of {step.week}"
        for step in found.steps
    ]
    told.append(("to promise", words.listed(steps, MOST_STEPS) if steps else "nothing"))
    if found.shortfall is not None:
        short = words.quantity(found.shortfall.quantity_milli, found.unit)
        told.append(
            ("short", f"from {found.shortfall.week} on commitments exceed supply, by up to {short}")
        )
    return told


def _on_hand(found: PartAvailability) -> str:
    """Units free to use, and where."""
    places = [
        f"{words.quantity(shelf.free_milli)} at {shelf.point}"
        + (f" (and {words.quantity(shelf.held_milli)} held)" if shelf.held_milli else "")
        for shelf in found.shelves
    ]
    if len(places) < 2:
        return "".join(places) or "none"
    return f"{words.quantity(found.on_hand_milli, found.unit)}: {', '.join(places)}"


def _columns(found: PartAvailability) -> tuple[Column, ...]:
    counted = "counted" if found.new_orders_counted else "not\ncounted"
    return (
        Column("week"),
        Column("from"),
        Column("pur-\nchases", right=True),
        Column("made", right=True),
        Column("moved\nin", right=True),
        Column(f"new\norders,\n{counted}", right=True),
        Column("for\nbuilds", right=True),
        Column("parts\norders", right=True),
        Column("moved\nout", right=True),
        Column("ATP\ndiscrete", right=True),
        Column("ATP\ncumulative", right=True),
        Column("ATP with\nlook-ahead", right=True),
    )


def _kept(found: PartAvailability) -> list[bool]:
    """Which columns are shown: of what is rare only those with anything in them."""
    flows = [week.flows for week in found.weeks] + ([found.later] if found.later else [])
    return [
        True,
        True,
        True,
        any(row.made_milli for row in flows),
        any(row.moved_in_milli for row in flows),
        any(row.new_orders_milli for row in flows),
        True,
        True,
        any(row.moved_out_milli for row in flows),
        True,
        True,
        True,
    ]


def _row(
    name: str, starts: str, flows: Flows, week: Week | None, left_milli: int | None = None
) -> list[str]:
    """Cells of a week, or of all later ones: when those are over, both sums are what is left."""

    def some(milli: int | None) -> str:
        return words.quantity(milli) if milli else words.NOTHING

    def sum_of(milli: int | None) -> str:
        return words.NOTHING if milli is None else words.quantity(milli)

    return [
        name,
        starts,
        some(flows.purchases_milli),
        some(flows.made_milli),
        some(flows.moved_in_milli),
        some(flows.new_orders_milli),
        some(flows.builds_milli),
        some(flows.parts_orders_milli),
        some(flows.moved_out_milli),
        sum_of(None if week is None else week.discrete_milli),
        sum_of(left_milli if week is None else week.cumulative_milli),
        sum_of(left_milli if week is None else week.look_ahead_milli),
    ]


def _notes(answered: AvailableAnswer) -> tuple[str, ...]:
    found = answered.found
    notes = []
    if answered.basis is not None:
        notes += [*answered.basis.notes, *([answered.chosen] if answered.chosen else [])]
    else:
        notes.append(
            f"{answered.chosen}, planning date {answered.as_of}: needs stand at the days their "
            "builds and orders are due, by whole bills; `fulfil plan` finds when they are drawn"
        )
    if answered.holds:
        notes.append(f"what is held counts as committed: {words.listed(answered.holds)}")
    firm = "supply is stock that is not held, purchases on order, and what builds' own jobs make"
    new = words.quantity(found.new_orders_milli, found.unit)
    if found.new_orders_counted:
        notes.append(f"{firm}; counted, too, as asked: {new} of new orders that nobody has placed")
    elif found.new_orders_milli:
        notes.append(
            f"{firm}; new orders of the plan, {new}, are not placed and not counted: --new-orders "
            "counts them"
        )
    else:
        notes.append(f"only firm supply counts: {firm.removeprefix('supply is ')}")
    if found.made:
        notes.append(
            f"{found.part} is made: each unit is made for the need that takes it, and what could "
            "be made besides is not counted"
        )
    if found.point is None and len(found.shelves) > 1:
        notes.append("units at other points have to be moved or sent from there; --point asks one")
    notes += [_doubtful(row, found.unit) for row in found.doubtful]
    if answered.basis is not None:
        notes += [_unplanned(row, found.unit) for row in found.unplanned]
    return (*notes, LEGEND, *cautions([(found.part, found.caution)]))


def _doubtful(row: Doubtful, unit: str) -> str:
    wrong = []
    if row.past_due:
        wrong.append(f"past due since {row.due} and counted on {row.counted_on}")
    if not row.confirmed:
        wrong.append(f"not confirmed{'' if row.past_due else f' for {row.due}'}")
    quantity = words.quantity(row.quantity_milli, unit)
    return f"purchase {row.order}/{row.line}, {quantity}, is {' and '.join(wrong)}"


def _unplanned(row: Unplanned, unit: str) -> str:
    why = f" (it lacks {words.listed(row.lacks)} for ever)" if row.lacks else ""
    quantity = words.quantity(row.quantity_milli, unit)
    return f"{row.who} is not in the plan{why}: its {quantity} stand at {row.due}, when it is due"
