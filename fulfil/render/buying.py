"""Pages of `buy`: what to order on which day, and what was made an open purchase."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

from fulfil_models.buying import BuyLine, ShortWant
from fulfil_models.buying_needs import Why
from fulfil_models.cells import MICRO
from fulfil_models.tables import Purchase

from fulfil.render import words
from fulfil.render.common import answer, cautions
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.text import FOLD, ROWS, Column, left_out, paragraph, table
from fulfil.usecases.buying import Accepted, BuyAnswer
from fulfil.usecases.new_purchases import line_name

BELOW = 60
NAMES = 2
"""builds and parts orders that a row names"""
SHORT_ROWS = 10
SATURDAY = 5
BY_PART = "~"
"""stands before a cost that goes by the cost of the part"""
NARROWER = "--part or --supplier"
HEADINGS = (
    "place_on",
    "behind_days",
    "supplier",
    "part",
    "description",
    "point",
    "quantity",
    "unit",
    "needed_on",
    "due_on",
    "arrives_90",
    "expedited",
    "price",
    "cost",
    "expedite_cost",
    "saves",
    "firm",
    "forecast",
    "safety",
    "more",
    "why",
)


def buy_page(
    found: BuyAnswer, accepted: Accepted | None, *, every: bool, file: Path | None = None
) -> Page:
    limit = len(found.lines) if every else ROWS

    def lines(width: int) -> list[str]:
        out = paragraph(_summary(found), width, "  ")
        if found.lines:
            out += paragraph(_sizes(found), width, "  ")
            places = {row.point for row in found.lines}
            rows = [_row(row, places) for row in found.lines[:limit]]
            long = any(len(row[-1]) > width - len(FOLD) for row in rows)
            out += ["", *table(_columns(found.currency, places, long=long), rows, width)]
            out += left_out(len(found.lines), limit, NARROWER)
            if len(places) == 1:
                out += ["", f"all go to {places.pop()}"]
        out += _short_lines(found, width, every=every)
        if file is not None:
            out += ["", f"written to {file}"]
        if accepted is not None:
            out += ["", *paragraph(_accepted_words(accepted), width, "  ")]
        return out

    return Page(
        lines=lines,
        document=lambda: answer(
            found.basis,
            currency=found.currency,
            months=found.found.months,
            service=found.asked.service,
            budget=None if found.asked.budget_micro is None else _amount(found.asked.budget_micro),
            total=len(found.found.lines),
            lines=[{**plain(row), "why": why(row)} for row in found.lines],
            short=found.found.short,
            never=found.found.never,
            safety_stock={part: plain_quantity(m) for part, m in found.found.safety_milli.items()},
            ordering=_amount(found.found.ordering_micro),
            buying=_amount(found.found.buying_micro),
            holding=_amount(found.found.holding_micro),
            waiting_for_cash=_amount(found.found.waiting_micro),
            bound=_amount(found.found.bound_micro),
            gap=found.found.gap,
            cut_by_clock=found.found.cut_by_clock,
            accepted=None if accepted is None else accepted.purchases,
        ),
        headings=HEADINGS,
        records=lambda: records(found.lines),
        notes=(*found.basis.notes, *_assumed(found), *found.found.never, *cautions(found.cautions)),
    )


def records(lines: Iterable[BuyLine]) -> list[Mapping[str, Any]]:
    """Lines as rows of a list."""
    return [{**plain(row), "why": why(row)} for row in lines]


def write_lines(path: Path, found: BuyAnswer) -> None:
    """The lines as a workbook of one sheet, with dates as dates."""
    from fulfil.exchange.sheet import write_sheet

    rows = []
    for line in found.lines:
        row = dict(records([line])[0])
        for name in ("place_on", "needed_on", "due_on", "arrives_90"):
            row[name] = getattr(line, name)
        rows.append(row)
    write_sheet(path, "buy", HEADINGS, rows)


def plain_quantity(milli: int) -> int | float:
    shown: int | float = plain(Fraction(milli, 1000))
    return shown


def _amount(micro: int) -> int | float:
    shown: int | float = plain(Fraction(micro, MICRO))
    return shown


# ---- words


def _summary(found: BuyAnswer) -> str:
    total = len(found.found.lines)
    if not total and any(row.for_cash for row in found.found.short):
        return "nothing can be bought for this budget"
    if not total and found.found.short:
        return "nothing is to be bought but what cannot come"
    if not total:
        return "nothing is to be bought: what is there and on order covers all that is needed"
    if not found.lines:
        return f"nothing of this is to be bought (of {words.count(total, 'line')} in all)"
    today = sum(found.order_on(row) <= found.basis.as_of for row in found.lines)
    soon = sum(found.order_on(row) <= found.until for row in found.lines)
    behind = sum(row.behind_days > 0 for row in found.lines)
    text = (
        f"{words.count(len(found.lines), 'line')} to order{_cost_words(found)}: {today} today, "
        f"{soon} until {found.until}; {behind} may come later than wanted by the record"
    )
    return f"{text}; {total} in all" if len(found.lines) < total else text


def _cost_words(found: BuyAnswer) -> str:
    costs = [_cost_micro(row) for row in found.lines]
    if all(cost is None for cost in costs):
        return ", without a price"
    text = f", {found.currency} {words.money(sum(cost or 0 for cost in costs))}"
    estimates = [row.estimate_micro for row in found.lines if row.estimate_micro is not None]
    if len(estimates) == len(costs):
        text += " by the cost of the parts"
    elif estimates:
        number = words.count(len(estimates), "line")
        text += f", of it {words.money(sum(estimates))} by the cost of the parts ({number})"
    unknown = sum(cost is None for cost in costs)
    return f"{text} without {unknown} that have neither price nor cost" if unknown else text


def _cost_micro(row: BuyLine) -> int | None:
    """What a line costs, expediting included; without a price by the estimate."""
    cost = row.estimate_micro if row.cost_micro is None else row.cost_micro
    return None if cost is None else cost + row.expedite_cost_micro


def _sizes(found: BuyAnswer) -> str:
    costs = found.found
    whose = "all lines together: " if len(found.lines) < len(costs.lines) else ""
    # what the plan expedites is not for the sizes to choose
    apart = any(row.expedited and not row.saves_micro for row in costs.lines)
    parts = (
        f"{whose}ordering {words.money(costs.ordering_micro)}",
        f"buying {words.money(costs.buying_micro)} and holding {words.money(costs.holding_micro)}",
    )
    span = f"from {costs.months[0]} to {costs.months[-1]}"
    span += ", without what the plan expedites" if apart else ""
    least = f"at most {words.percent(Fraction(costs.gap))} of this could be saved"
    if costs.waiting_micro:
        # who waits is decided by a price that is no money
        least = (
            f"with {words.money(costs.waiting_micro)} as the price of what waits for cash, at most "
            f"{words.percent(Fraction(costs.gap))} of all that could be saved"
        )
    cut = ", cut short by the clock: more --seconds may find less" if costs.cut_by_clock else ""
    return f"{', '.join(parts)} {span}: {least}{cut}"


def _columns(currency: str, places: set[str], *, long: bool) -> tuple[Column, ...]:
    """`long`: some line has more to say than a line of its own holds."""
    return (
        Column("order on"),
        Column("supplier", flexible=True),
        Column("part", flexible=True),
        Column("quantity", right=True),
        *((Column("to"),) if len(places) > 1 else ()),
        Column("comes as\nstated"),
        Column("by record\n90 %"),
        Column(f"cost\n({currency})", right=True),
        # wide enough to stand below its row rather than in a tall column beside it
        Column("why".ljust(BELOW), flexible=True) if long else Column("why"),
    )


def _row(row: BuyLine, places: set[str]) -> list[str]:
    cost = _cost_micro(row)
    by_part = "" if row.estimate_micro is None else BY_PART
    return [
        f"{row.place_on}{'*' if row.place_on.weekday() >= SATURDAY else ''}",
        row.supplier,
        row.part,
        words.quantity(row.quantity_milli, row.unit),
        *((row.point,) if len(places) > 1 else ()),
        row.due_on.isoformat(),
        row.arrives_90.isoformat(),
        words.NOTHING if cost is None else f"{by_part}{words.money(cost)}",
        why(row),
    ]


def why(row: BuyLine) -> str:
    """Why a line is ordered, in one line."""
    told = []
    if row.firm_milli:
        told.append(f"{words.quantity(row.firm_milli)} for {_who(row)}")
    if row.forecast_milli:
        months = [one.who for one in row.served if one.why is Why.FORECAST]
        first, last = min(months), max(months)
        span = first if first == last else f"{first} to {last}"
        told.append(f"{words.quantity(row.forecast_milli)} forecast {span}")
    if row.safety_milli:
        told.append(f"{words.quantity(row.safety_milli)} safety stock")
    if row.more_milli:
        told.append(f"{words.quantity(row.more_milli)} more to make a full order")
    late = max((one.late_days for one in row.served if one.why is Why.FIRM), default=0)
    if row.expedited:
        saved = f" ({words.money(row.saves_micro)} less lateness)" if row.saves_micro else ""
        told.append(f"expedited for {words.money(row.expedite_cost_micro)}{saved}")
    if late:
        told.append(f"comes {words.days(late)} late even so")
    elif row.behind_days:
        told.append(f"may be {words.days(row.behind_days)} late")
    return "; ".join(told)


def _who(row: BuyLine) -> str:
    names = list(dict.fromkeys(one.who for one in row.served if one.why is Why.FIRM))
    shown = " ".join(names[:NAMES])
    return shown if len(names) <= NAMES else f"{shown} +{len(names) - NAMES}"


# ---- what is short


SHORT_COLUMNS = (
    Column("part", flexible=True),
    Column("for", flexible=True),
    Column("quantity", right=True),
    Column("needed"),
    Column("comes"),
    Column("", flexible=True),
)


def _short_lines(found: BuyAnswer, width: int, *, every: bool) -> list[str]:
    asked = found.asked
    short = [row for row in found.found.short if asked.part in (None, row.part)]
    firm = [row for row in short if row.why is Why.FIRM]
    expected = [row for row in short if row.why is not Why.FIRM]
    out: list[str] = []
    if firm:
        limit = len(firm) if every else SHORT_ROWS
        out += ["", f"{_too_late(firm)}:", ""]
        out += table(SHORT_COLUMNS, map(_short_row, firm[:limit]), width)
        out += left_out(len(firm), limit, "--part")
    for waits in (False, True):
        rows = [row for row in expected if row.for_cash is waits]
        if rows:
            out += ["", *paragraph(_expected_words(rows, waits=waits), width, "  ")]
    return out


def _too_late(firm: Sequence[ShortWant]) -> str:
    waits = sum(row.for_cash for row in firm)
    if not waits:
        return "no order brings these in time"
    return f"these do not come in time, {waits} of {len(firm)} for want of budget"


def _expected_words(rows: Sequence[ShortWant], *, waits: bool) -> str:
    parts = words.listed(sorted({row.part for row in rows}))
    if not waits:
        return (
            f"what is expected of {parts}, or its safety stock, comes later than wanted, or not in "
            f"full, whatever is ordered{_never_comes(rows)}"
        )
    text = f"the budget is too small for what is expected of {parts}, or its safety stock"
    days = [row.comes_on for row in rows if row.comes_on is not None]
    told = [f"the last that waits comes on {max(days)}"] if days else []
    if any(row.comes_on is None for row in rows):
        never = len({row.part for row in rows if row.comes_on is None})
        told.append(f"of {words.count(never, 'part')} some does not come in these months at all")
    return f"{text}: {', and '.join(told)}"


def _never_comes(rows: Sequence[ShortWant]) -> str:
    """How much of each part no order brings in these months."""
    missing: dict[str, int] = {}
    for row in rows:
        if row.comes_on is None:
            missing[row.part] = missing.get(row.part, 0) + row.quantity_milli
    told = [f"{words.quantity(milli)} of {part}" for part, milli in sorted(missing.items())]
    return f"; in these months there never come {words.listed(told)}" if told else ""


def _short_row(row: ShortWant) -> list[str]:
    return [
        row.part,
        row.who,
        words.quantity(row.quantity_milli),
        row.day.isoformat(),
        words.day(row.comes_on),
        row.why_not,
    ]


# ---- what was decided


def _accepted_words(accepted: Accepted) -> str:
    if not accepted.purchases:
        return "nothing was to be placed by then, so nothing was added to the purchases"
    return (
        f"added to the open purchases, not confirmed: {_orders(accepted.purchases)}; place them "
        "with the suppliers; the next plan counts on them"
    )


def _orders(rows: Iterable[Purchase]) -> str:
    """Orders with their number of lines."""
    counts: dict[str, int] = {}
    for row in rows:
        counts[row.order] = counts.get(row.order, 0) + 1
    told = [f"{name} ({words.count(number, 'line')})" for name, number in counts.items()]
    return words.listed(told, 8)


def taken_back_page(gone: tuple[Purchase, ...]) -> Page:
    """Lines that are no open purchases any more."""

    def lines(width: int) -> list[str]:
        named = words.listed([f"{line_name(r)} {r.part}" for r in gone], 8)
        text = f"taken back: {named}; the next plan does not count on them"
        return paragraph(text, width, "  ")

    return Page(
        lines=lines,
        document=lambda: {"taken_back": plain(gone)},
        headings=("order", "line", "part", "supplier", "point", "quantity", "ordered", "due"),
        records=lambda: [plain(row) for row in gone],
    )


# ---- what was taken for granted


def _assumed(found: BuyAnswer) -> tuple[str, ...]:
    notes = [
        "needs are netted at stated dates; a line is ordered so early that 90 of 100 such orders "
        "come by the day it is needed",
        "orders beyond the book are taken to come by chance, as large as those in it; the safety "
        f"stock is for {words.percent(Fraction(found.asked.service))} of order cycles",
    ]
    if any(row.estimate_micro is not None for row in found.lines):
        notes.append(
            f"{BY_PART} goes by the cost of the part, as the sizes do: its supplier gives no price "
            "for so many"
        )
    if any(_cost_micro(row) is None for row in found.lines):
        notes.append("where there is neither a price nor a cost of the part, sizes go by none")
    weekend = [row for row in found.lines if row.place_on.weekday() >= SATURDAY]
    if weekend:
        past = any(found.order_on(row) == row.place_on for row in weekend)
        late = ", or if that is past on the next working day, and it comes as many days later"
        notes.append(
            "* falls on a Saturday or Sunday: order on the Friday before, for delivery on the day "
            f"shown{late if past else ''}"
        )
    return (*notes, *found.found.notes)
