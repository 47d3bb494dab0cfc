"""Larger books made of a given one: repeated in time, or with many times the rows of bills."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta

from fulfil_models.settings import MOST_DAYS, parse_settings
from fulfil_models.tables import (
    Build,
    Dataset,
    PartsOrder,
    Purchase,
    Setting,
    Stock,
)

WEEK = 7
CARRIER_WEEK = 5
"""carrier days of a week, Mon-Fri"""


def weeks_of_promises(dataset: Dataset, as_of: date) -> int:
    """Whole weeks, in days, from the planning date to the last promised day of the firm builds."""
    last = max(
        (day_of(row.promised) for row in firm(dataset) if row.promised is not None), default=as_of
    )
    return -(-max((last - as_of).days, 1) // WEEK) * WEEK


def firm(dataset: Dataset) -> list[Build]:
    return [row for row in dataset.builds if row.status == "firm"]


def day_of(moment: date) -> date:
    """The day of a date or of a date-time."""
    return date(moment.year, moment.month, moment.day)


def repeated(dataset: Dataset, times: int, shift_days: int, today: date) -> Dataset:
    """A book whose builds, orders and supplies come again and again in time.

    Each copy is `shift_days` later than the one before; keys of the copies end in `~1`, `~2` and
    so on. Builds and parts orders keep the day they were ordered, which lies in the past. Open
    purchases, closures and downtime come again. Stock of a part that is on order comes again as a
    purchase, so that what is scarce is as scarce in every copy; of any other part there is as many
    times the stock. Work in progress belongs to the first copy alone. The horizon grows by what
    the copies reach further.

    Parameters
    ----------
    shift_days: whole weeks, so that weekdays stay weekdays.
    today: planning date where the settings have none.

    Raises
    ------
    ValueError
        For a shift that is not in whole weeks, or a horizon longer than settings may have.
    """
    if times < 1 or shift_days < 0 or shift_days % WEEK:
        raise ValueError("repeat a book at least once, by whole weeks")
    settings = parse_settings(dataset.settings, today)
    horizon_days = settings.horizon_days + (times - 1) * shift_days
    if horizon_days > MOST_DAYS:
        raise ValueError(f"{times} copies reach {horizon_days} days ahead, beyond {MOST_DAYS}")
    on_order = {row.part for row in dataset.purchases}
    shifts = [(f"~{n}", timedelta(n * shift_days)) for n in range(1, times)]
    again = [row for row in dataset.stock if row.part in on_order]
    builds = list(dataset.builds)
    options = list(dataset.build_options)
    orders = list(dataset.parts_orders)
    purchases = list(dataset.purchases)
    closures = {(row.calendar, row.day): row for row in dataset.closures}
    downtime = {(row.work_centre, row.starts): row for row in dataset.downtime}
    for suffix, shift in shifts:
        builds += [_later_build(row, suffix, shift) for row in firm(dataset)]
        options += [replace(row, build=row.build + suffix) for row in dataset.build_options]
        orders += [_later_order(row, suffix, shift) for row in dataset.parts_orders]
        purchases += [
            replace(row, order=row.order + suffix, due=row.due + shift) for row in dataset.purchases
        ]
        purchases += _stock_again(dataset, again, suffix, settings.as_of + shift)
        for closure in dataset.closures:
            later = replace(closure, day=closure.day + shift)
            closures.setdefault((later.calendar, later.day), later)
        for out in dataset.downtime:
            moved = replace(out, starts=out.starts + shift, ends=out.ends + shift)
            downtime.setdefault((moved.work_centre, moved.starts), moved)
    kept = {row.build for row in builds}
    return replace(
        dataset,
        settings=tuple(_with_horizon(dataset, horizon_days)),
        builds=tuple(builds),
        build_options=tuple(row for row in options if row.build in kept),
        parts_orders=tuple(orders),
        purchases=tuple(purchases),
        closures=tuple(closures.values()),
        downtime=tuple(downtime.values()),
        stock=tuple(
            row if row.part in on_order else replace(row, quantity_milli=row.quantity_milli * times)
            for row in dataset.stock
        ),
    )


def _later_build(row: Build, suffix: str, shift: timedelta) -> Build:
    return replace(
        row,
        build=row.build + suffix,
        promised=None if row.promised is None else row.promised + shift,
        earliest=None if row.earliest is None else row.earliest + shift,
    )


def _later_order(row: PartsOrder, suffix: str, shift: timedelta) -> PartsOrder:
    """The same line later: a limit in carrier days from the order grows by those of the shift."""
    weeks = shift.days // WEEK
    return replace(
        row,
        order=row.order + suffix,
        promised=None if row.promised is None else row.promised + shift,
        within_days=None if row.within_days is None else row.within_days + weeks * CARRIER_WEEK,
    )


def _stock_again(dataset: Dataset, rows: list[Stock], suffix: str, due: date) -> Iterator[Purchase]:
    """What may be used of some stock, coming once more as a purchase."""
    known = {row.part: row for row in dataset.purchases}
    for number, row in enumerate(rows, 1):
        usable_milli = row.quantity_milli - row.held_milli
        if usable_milli > 0:
            yield replace(
                known[row.part],
                order=f"AGAIN{suffix}",
                line=str(number),
                point=row.point,
                quantity_milli=usable_milli,
                due=due,
                confirmed=True,
            )


def _with_horizon(dataset: Dataset, days: int) -> Iterator[Setting]:
    yield from (row for row in dataset.settings if row.key != "horizon_days")
    yield Setting(key="horizon_days", value=str(days))


def widened(dataset: Dataset, times: int) -> Dataset:
    """A book with so many times the builds, each copy with bills and routings of its own.

    Every part with a bill, its bill, its routing and the builds come `times` times under names that
    end in `~1`, `~2` and so on; bought parts are shared, with as many times the stock. Rows of
    bills and needs of builds grow exactly `times`-fold.
    """
    made = {row.parent for row in dataset.bills}

    def name(part: str, suffix: str) -> str:
        return part + suffix if part in made else part

    suffixes = ["", *(f"~{n}" for n in range(1, times))]
    return replace(
        dataset,
        parts=tuple(
            replace(row, part=name(row.part, suffix))
            for suffix in suffixes
            for row in dataset.parts
            if not suffix or row.part in made
        ),
        bills=tuple(
            replace(row, parent=name(row.parent, suffix), component=name(row.component, suffix))
            for suffix in suffixes
            for row in dataset.bills
        ),
        routings=tuple(
            replace(row, part=row.part + suffix)
            for suffix in suffixes
            for row in dataset.routings
            if not suffix or row.part in made
        ),
        builds=tuple(
            replace(row, build=row.build + suffix, product=name(row.product, suffix))
            for suffix in suffixes
            for row in dataset.builds
        ),
        build_options=tuple(
            replace(row, build=row.build + suffix, component=name(row.component, suffix))
            for suffix in suffixes
            for row in dataset.build_options
        ),
        stock=tuple(
            replace(
                row,
                part=name(row.part, suffix),
                quantity_milli=row.quantity_milli * (1 if row.part in made else times),
            )
            for suffix in suffixes
            for row in dataset.stock
            if not suffix or row.part in made
        ),
    )
