"""Page of `promise`: when something new could ship, why not sooner, and what would help."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from fulfil_models.forward import Forward, FromPoint, Lever
from fulfil_models.measures import Measure
from fulfil_models.plan import Blocker, PlannedBuild, Shipment

from fulfil.render import words
from fulfil.render.changes import retimed_note
from fulfil.render.common import answer, cautions, to_verify
from fulfil.render.facts import facts
from fulfil.render.fits import APPROVAL, fit_lines
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.reordering import reordered_lines
from fulfil.render.text import Column, paragraph, table
from fulfil.usecases.promise import PromiseAnswer, Sooner
from fulfil.usecases.quote_cautions import Doubt, Required
from fulfil.usecases.quote_documents import quote_name
from fulfil.usecases.reordering import Reordered
from fulfil.usecases.wanted import Wanted, worst

BUILDS = (
    Column("build"),
    Column("product", flexible=True),
    Column("point"),
    Column("ships"),
    Column("arrives"),
    Column("lead\ndays", right=True),
    Column("what holds it up", flexible=True),
)
LADDER = (
    Column("what holds it up"),
    Column("until"),
    Column("days\nsooner", right=True),
    Column("why", flexible=True),
)
SHIPMENTS = (
    Column("line"),
    Column("part"),
    Column("quantity", right=True),
    Column("from"),
    Column("ships"),
    Column("arrives"),
    Column("why then", flexible=True),
)
POINTS = (
    Column("all from"),
    Column("ships"),
    Column("arrives"),
    Column("delivery", right=True),
)
FORWARD = (
    Column("offer", right=True),
    Column("what would bring it forward", flexible=True),
    Column("ships"),
    Column("arrives"),
    Column("days\nsooner", right=True),
    Column("costs more", right=True),
)


def promise_page(found: PromiseAnswer) -> Page:
    def lines(width: int) -> list[str]:
        out = [*paragraph(_title(found), width, "  "), *facts(_facts(found), width)]
        if len(found.builds) > 1:
            out += ["", *_builds(found, width)]
        if found.builds:
            last = max(found.builds, key=lambda row: row.ships)
            out += ["", *table(LADDER, map(_rung, _telling(last.blockers)), width)]
        if found.shipments:
            rows = zip(found.shipments, found.shipment_reasons, strict=True)
            out += ["", *table(SHIPMENTS, (_shipment(*row) for row in rows), width)]
        if len(found.from_points) > 1:
            out += ["", *table(POINTS, map(_from_point, found.from_points), width)]
        out += fit_lines(found.fits, width)
        if found.forward:
            out += ["", *table(FORWARD, map(_forward, found.forward), width)]
            if found.left_out:
                out += paragraph(_left_out(found.left_out), width, "  ")
            for row in found.forward:
                out += fit_lines(row.fits, width)
        elif found.due is None or found.days_past_wanted:
            out += ["", "no alternate, expediting, transfer or other way brings it forward"]
        if found.reordered is not None:
            told = [*found.fits, *(check for row in found.forward for check in row.fits)]
            out += reordered_lines(found.reordered, found.currency, width, told)
        return out

    return Page(lines=lines, document=lambda: _document(found), notes=_notes(found))


# ---- for other programs


def _document(found: PromiseAnswer) -> dict[str, Any]:
    return answer(
        found.basis,
        quote=quote_name(found.quote),
        asked={
            "builds": found.asked.request.builds,
            "build_options": found.asked.request.options,
            "parts_orders": found.asked.request.lines,
            "wanted": found.asked.wanted,
        },
        retimed_from=found.retimed_from,
        changes=found.changes,
        ships=found.ships,
        arrives=found.arrives,
        carrier_days=found.carrier_days,
        lead_days=max((row.lead_days for row in found.builds), default=None),
        due=found.due,
        days_past_wanted=found.days_past_wanted,
        wanted=[{**plain(row), "days_past": row.days_past} for row in found.wanted],
        builds=[
            {**plain(row), "arrives": plain(found.machines_arrive[row.build])}
            for row in found.builds
        ],
        shipments=[
            {**plain(row), "why": why}
            for row, why in zip(found.shipments, found.shipment_reasons, strict=True)
        ],
        measures=found.measures,
        fits=found.fits,
        to_approve=found.to_approve,
        forward=[
            {
                "offer": row.place,
                **{
                    name: plain(getattr(row.found, name))
                    for name in ("lever", "what", "by", "ships", "days_sooner", "cost")
                },
                "arrives": plain(row.arrives),
                "fits": plain(row.fits),
                "regional": plain(row.regional),
            }
            for row in found.forward
        ],
        left_out=found.left_out,
        cost=found.cost,
        currency=found.currency,
        from_points=found.from_points,
        reordered=found.reordered,
        regional=found.regional,
        without_region=found.without_region,
        doubts=found.doubts,
        cautions=found.cautions,
    )


# ---- for a reader


def _title(found: PromiseAnswer) -> str:
    names = [row.product for row in found.builds]
    names += [
        f"{words.quantity(row.quantity_milli)} {row.part}" for row in found.asked.request.lines
    ]
    if len(names) != 1:
        return words.listed(names)
    (name,) = names
    described = next(iter(found.descriptions.values()), "")
    return f"{name} {described}".rstrip()


def _facts(found: PromiseAnswer) -> list[tuple[str, str]]:
    told = [("quote", quote_name(found.quote))]
    if found.builds:
        last = max(found.builds, key=lambda row: row.ships)
        told.append(
            (
                "ships",
                f"{found.ships} from {last.point}, taking nothing from anyone; "
                f"{words.days(last.lead_days)} from {last.ordered}",
            )
        )
    else:
        points = words.listed(list(dict.fromkeys(row.point for row in found.shipments)))
        told.append(("ships", f"{found.ships} from {points}, taking nothing from anyone"))
    to = " and ".join(found.asked.destinations)
    if found.arrives is not None:
        transit = found.carrier_days
        carrier = "" if transit is None else f" ({words.count(transit, 'carrier day')})"
        several = len(found.asked.destinations) > 1
        where = f"the last of it, in {to}" if several else f"in {to}"
        told.append(("arrives", f"{found.arrives} {where}{carrier}"))
    elif to:
        told.append(("arrives", f"unknown: no delivery to {to} from where it is made"))
    if found.measures:
        told.append(("takes", "; ".join(map(_measure, found.measures))))
    if found.shipments and not found.measures:
        told.append(("delivery", f"{words.money(found.cost)} {found.currency}"))
    elif found.cost:
        told.append(("costs", f"{words.money(found.cost)} {found.currency} for that"))
    for is_arrival in (False, True):
        rows = tuple(row for row in found.wanted if row.is_arrival == is_arrival)
        if rows:
            told.append(("wanted", _against(rows)))
    return told


def _measure(row: Measure) -> str:
    return f"{row.text} ({words.quantity(row.quantity_milli)})"


def _against(rows: tuple[Wanted, ...]) -> str:
    """Days of shipping, or of arriving, against those that were wanted."""
    last = worst(rows)
    assert last is not None
    days = {row.day for row in rows}
    text = str(last.day)
    if len(days) > 1:
        text = f"{min(days)} to {max(days)}, each on its own day"
    text = f"arriving by {text}" if last.is_arrival else text
    if not last.days_past:
        return f"{text}: yes"
    which = f"{last.what} " if len(days) > 1 else ""
    late = words.days(last.days_past)
    return f"{text}: no, {which}{late} later; the list says what stands in the way"


def _builds(found: PromiseAnswer, width: int) -> list[str]:
    """Machines that are asked for together; what was wanted of each where that is not the same."""
    wanted = {row.what: row.day for row in found.wanted}
    rows = [_build(found, row) for row in found.builds]
    if {wanted.get(row.build) for row in found.builds} == {found.due}:
        return table(BUILDS, rows, width)
    cells = [[*row[:3], words.day(wanted.get(row[0])), *row[3:]] for row in rows]
    return table((*BUILDS[:3], Column("wanted"), *BUILDS[3:]), cells, width)


def _build(found: PromiseAnswer, row: PlannedBuild) -> list[str]:
    first = words.blocker(row.blockers[0] if row.blockers else None)
    arrives = words.day(found.machines_arrive[row.build])
    dates = [str(row.ships), arrives, str(row.lead_days)]
    return [row.build, row.product, row.point, *dates, first]


def _telling(ladder: Sequence[Blocker]) -> Sequence[Blocker]:
    """Rungs that gain days; what gains them only together is named in the reason of one of them."""
    return [row for row in ladder if row.days] or ladder


def _rung(row: Blocker) -> list[str]:
    until = words.NOTHING if row.until is None else words.moment(row.until)
    names = {"part": f"part {row.what}", "work_centre": f"queue at {row.what}", "work": "the work"}
    return [names.get(row.kind.value, row.what), until, str(row.days), row.why]


def _shipment(row: Shipment, why: str) -> list[str]:
    used = row.used if row.used == row.part else f"{row.used} for {row.part}"
    amount = words.quantity(row.quantity_milli)
    return [row.line, used, amount, row.point, str(row.ships), str(row.arrives), why]


def _from_point(row: FromPoint) -> list[str]:
    return [row.point, str(row.ships), str(row.arrives), words.money(row.cost)]


def _left_out(ways: int) -> str:
    return (
        f"{words.count(ways, 'more way')} left out, those first that are no sooner and no cheaper "
        "than another"
    )


def _forward(row: Sooner) -> list[str]:
    found = row.found
    return [
        str(row.place),
        _lever(found),
        found.ships.isoformat(),
        words.day(row.arrives),
        str(found.days_sooner),
        words.money(found.cost),
    ]


def _lever(row: Forward) -> str:
    return lever_text(row.lever.value, row.what, row.by, [build.point for build in row.plan.builds])


def lever_text(lever: str, what: str, by: str, points: list[str]) -> str:
    """What is done to bring a date forward, in few words; plainly where nothing is."""
    if not lever:
        return "as asked"
    at = f" at {', '.join(dict.fromkeys(points))}" if points else ""
    return {
        Lever.ALTERNATE: f"{by} in place of {what}",
        Lever.EXPEDITE: f"{what} expedited from {by}",
        Lever.TRANSFER: f"{what} moved from {by}",
        Lever.OPTION: f"option {by} instead of {what}",
        Lever.POINT: f"{by}, assembled{at}, instead of {what}",
        Lever.SPLIT: "in several shipments",
        Lever.TOGETHER: f"together: {by}",
    }[Lever(lever)]


def _notes(found: PromiseAnswer) -> tuple[str, ...]:
    notes = list(found.basis.notes)
    if found.retimed_from is not None:
        notes.append(retimed_note(found.retimed_from, found.basis.plan, found.changes))
    name = quote_name(found.quote)
    notes.append(
        f"nothing is held for {name}: the next question may take it; `fulfil hold {name} --days 3` "
        "keeps it"
    )
    if found.reordered is not None and found.reordered.days_sooner > 0:
        notes.append(_re_ordered(name, found.ships, found.reordered))
    notes += doubt_notes(found.doubts)
    notes += map(_required, found.regional)
    notes += [
        f"offer {row.place}: {_required(part)}" for row in found.forward for part in row.regional
    ]
    notes += [
        f"{name} is no region: parts that local rules require somewhere are not built in for it; "
        "name the region, e.g. --to US-CA, where they may be required"
        for name in found.without_region
    ]
    if found.to_approve:
        notes.append(APPROVAL)
    return (*notes, *cautions(found.cautions))


def _re_ordered(name: str, ships: date, found: Reordered) -> str:
    """How the earlier date is had: what is accepted so is a ship date."""
    if found.ships >= ships:
        return (
            "the earlier arrival is not held either, and ships no sooner, so that no ship date "
            "stands for it: load the order with `within_days` and plan anew to have it"
        )
    return (
        f"the earlier date is not held either; `fulfil accept {name} --promised {found.ships}` "
        "re-orders the queue for good"
    )


def doubt_notes(rows: Sequence[Doubt]) -> list[str]:
    """That a date counts on open purchases whose own dates are in doubt."""
    return [
        f"counts on {row.order}/{row.line} of {row.part}, due {row.due}, "
        f"{'past due' if row.past_due else 'not confirmed'}"
        for row in rows
    ]


def _required(row: Required) -> str:
    amount = words.quantity(row.quantity_milli)
    besides = words.quantity(row.besides_milli)
    asked = f", besides {besides} asked for" if row.besides_milli > 0 else ""
    return f"{amount} {row.component} is built in{asked}: {to_verify(row.note)}"
