"""Is anything taken twice?

What a plan and the promises kept open have taken is held against what there is: units of every lot,
stations at every moment, what a supplier lets arrive in a month. Whoever plans beside what is taken
(`Problem.taken`) never takes it twice; two who do so at the same time may, and so may somebody
whose data have changed since.

Only that is asked. Whether slots and supplies fit their builds is the checker's question (`audit`).
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from fulfil_models.cells import MILLI
from fulfil_models.months import month_of
from fulfil_models.plan import SupplyKind
from fulfil_models.problem import Problem
from fulfil_models.settings import Settings
from fulfil_models.tables import Dataset, Purchase
from fulfil_models.taken import NOTHING, Busy, LotKey, Taken, purchase_key, stock_key


class ClashKind(StrEnum):
    """What is taken twice."""

    STOCK = "stock"
    PURCHASE = "purchase"
    WORK_CENTRE = "work_centre"
    CAP = "monthly_cap"


@dataclass(frozen=True, slots=True)
class Clash:
    """Something that more is taken of than there is.

    Attributes
    ----------
    what: the part at its point, the order and its line, what is to be ordered from whom, the work
        centre, or the part, its supplier and the month.
    by: builds, orders and holds that have it, each once, by name.
    over: how much too much is taken: thousandths, at a work centre stations.
    at: from when on, at a work centre.
    """

    kind: ClashKind
    what: str
    by: tuple[str, ...]
    over: int
    at: datetime | None = None

    def text(self) -> str:
        """The clash in a sentence."""
        by = ", ".join(self.by) or "others"
        if self.kind is ClashKind.WORK_CENTRE:
            return (
                f"{self.what}: {self.over} too few stations from {self.at:%Y-%m-%d %H:%M} for {by}"
            )
        over = self.over // MILLI if self.over % MILLI == 0 else self.over / MILLI
        where = {
            ClashKind.STOCK: "on the shelf",
            ClashKind.PURCHASE: "in the purchase",
            ClashKind.CAP: "within the monthly cap",
        }
        return f"{self.what}: {over} too few {where[self.kind]} for {by}"


def clashes(dataset: Dataset, settings: Settings, taken: Taken) -> tuple[Clash, ...]:
    """Everything of which more is taken than there is: lots, stations, months under a cap.

    `taken` is all that is taken, of plans and holds together. Whether its orders stand among the
    purchases of the data set already (`with_orders`) is of no matter.
    """
    return clashes_between(dataset, settings, NOTHING, taken)


def clashes_between(
    dataset: Dataset, settings: Settings, base: Taken, added: Taken
) -> tuple[Clash, ...]:
    """Clashes that `added` has a part in, beside `base`: what only others have is not looked at."""
    return (
        *_lots(dataset, base, added),
        *_months(dataset, settings, base, added),
        *_stations(dataset, settings, base, added),
    )


# ---- lots


def _lots(dataset: Dataset, base: Taken, added: Taken) -> Iterator[Clash]:
    """Lots of which more units are drawn than are free, or come."""
    drawn = {
        key: milli + base.lots_milli.get(key, 0) for key, milli in added.lots_milli.items() if milli
    }
    there = _there(dataset, base, added, drawn)
    orders = {purchase_key(row.order, row.line): row for row in (*base.orders, *added.orders)}
    for key in sorted(drawn):
        over = drawn[key] - there[key]
        if over > 0:
            kind, where, what = key
            on_shelf = kind == SupplyKind.STOCK.value
            name = f"{what} at {where}" if on_shelf else f"{where}/{what}"
            if key in orders:  # not placed yet, so its name says nothing to anyone
                row = orders[key]
                name = f"{row.part} to be ordered from {row.supplier} for {row.due} to {row.point}"
            yield Clash(
                ClashKind.STOCK if on_shelf else ClashKind.PURCHASE,
                name,
                _drawers(base, added, key),
                over,
            )


def _there(
    dataset: Dataset, base: Taken, added: Taken, keys: Mapping[LotKey, int]
) -> Counter[LotKey]:
    """Thousandths that there are of some lots: free on the shelf, or still to come."""
    there: Counter[LotKey] = Counter()
    for row in dataset.stock:
        key = stock_key(row.point, row.part)
        if key in keys:
            there[key] += max(0, row.quantity_milli - row.held_milli)
    for purchase in _purchases(dataset, base, added):
        key = purchase_key(purchase.order, purchase.line)
        if key in keys:
            there[key] += purchase.quantity_milli
    return there


def _purchases(dataset: Dataset, base: Taken, added: Taken) -> Iterator[Purchase]:
    """Open purchases, and the orders that are counted on besides."""
    yield from dataset.purchases
    known = {(row.order, row.line) for row in dataset.purchases}
    for row in (*base.orders, *added.orders):
        if (row.order, row.line) not in known:
            yield row


def _drawers(base: Taken, added: Taken, key: LotKey) -> tuple[str, ...]:
    return tuple(sorted({*base.drawers.get(key, ()), *added.drawers.get(key, ())}))


# ---- months


def _months(dataset: Dataset, settings: Settings, base: Taken, added: Taken) -> Iterator[Clash]:
    """Months in which orders bring more than a supplier lets go.

    What open purchases bring counts; that they fill a month by themselves is no clash.
    """

    def month(row: Purchase) -> tuple[str, str, str]:
        return row.part, row.supplier, month_of(settings.counted_on(row.due))

    wanted = {month(row) for row in added.orders}
    if not wanted:
        return
    ordered: defaultdict[tuple[str, str, str], list[Purchase]] = defaultdict(list)
    for row in (*base.orders, *added.orders):
        ordered[month(row)].append(row)
    arriving: Counter[tuple[str, str, str]] = Counter()
    for row in _purchases(dataset, base, added):
        arriving[month(row)] += row.quantity_milli
    caps = {(row.part, row.supplier, row.point): row.monthly_cap_milli for row in dataset.sources}
    for key in sorted(wanted):
        part, supplier, when = key
        own = [caps.get((part, supplier, row.point)) for row in ordered[key]]
        cap = min((milli for milli in own if milli is not None), default=None)
        if cap is not None and arriving[key] > cap:
            lots = [purchase_key(row.order, row.line) for row in ordered[key]]
            by = sorted({who for lot in lots for who in _drawers(base, added, lot)})
            what = f"{part} from {supplier} in {when}"
            yield Clash(ClashKind.CAP, what, tuple(by), arriving[key] - cap)


# ---- stations


@dataclass(frozen=True, slots=True)
class _Load:
    """Stations in use from one moment to another, by work or, where `busy` is None, by downtime."""

    starts: datetime
    ends: datetime
    stations: int
    busy: Busy | None = None
    added: bool = False


@dataclass(slots=True)
class _Stretch:
    """A stretch of time in which too many stations are in use."""

    starts: datetime
    ends: datetime
    over: int
    by: set[str]


def _stations(dataset: Dataset, settings: Settings, base: Taken, added: Taken) -> Iterator[Clash]:
    """Stretches of time in which more stations are used than a work centre has and are not out.

    Work runs while its point is open: what overlaps by the clock alone, in closed time, is no
    clash. Nor is one what started work and downtime do to each other.
    """
    problem = Problem(dataset, settings)  # its axes are made once a clash by the clock is found
    for name, loads in sorted(_loads(dataset, base, added).items()):
        centre = problem.work_centres.get(name)
        if centre is None:
            continue  # the data have no such centre any more, so nothing runs there
        for row in _in_open_time(problem, centre.point, _overloads(loads, centre.stations)):
            yield Clash(ClashKind.WORK_CENTRE, name, tuple(sorted(row.by)), row.over, row.starts)


def _loads(dataset: Dataset, base: Taken, added: Taken) -> dict[str, list[_Load]]:
    """By work centre: what is added, and all that may be there at the same time."""
    loads: defaultdict[str, list[_Load]] = defaultdict(list)
    for busy in added.busy:
        load = _Load(busy.starts, busy.ends, busy.stations, busy, added=True)
        loads[busy.work_centre].append(load)
    spans = {
        name: (min(row.starts for row in rows), max(row.ends for row in rows))
        for name, rows in loads.items()
    }
    never = (datetime.max, datetime.min)
    for busy in base.busy:
        first, last = spans.get(busy.work_centre, never)
        if busy.starts < last and first < busy.ends:
            loads[busy.work_centre].append(_Load(busy.starts, busy.ends, busy.stations, busy))
    for row in dataset.downtime:
        first, last = spans.get(row.work_centre, never)
        if max(row.starts, first) < min(row.ends, last):
            loads[row.work_centre].append(_Load(row.starts, row.ends, row.stations))
    return dict(loads)


def _overloads(loads: list[_Load], most: int) -> Iterator[_Stretch]:
    """Stretches between two changes, by the clock, in which something added is one too many."""
    changes = [(row.starts, True, number) for number, row in enumerate(loads)]
    changes += [(row.ends, False, number) for number, row in enumerate(loads)]
    changes.sort()
    running: set[int] = set()
    used = 0
    for place, (moment, begins, number) in enumerate(changes):
        if begins:
            running.add(number)
            used += loads[number].stations
        else:
            running.remove(number)
            used -= loads[number].stations
        if used > most and place + 1 < len(changes) and moment < changes[place + 1][0]:
            here = [loads[other] for other in sorted(running)]
            work = [row.busy for row in here if row.busy is not None]
            out = sum(row.stations for row in here if row.busy is None)
            if any(row.added for row in here) and not all(busy.started for busy in work):
                over = sum(busy.stations for busy in work) - max(0, most - out)
                by = {busy.who for busy in work}
                yield _Stretch(moment, changes[place + 1][0], over, by)


def _in_open_time(
    problem: Problem, point: str, overloads: Iterable[_Stretch]
) -> Iterator[_Stretch]:
    """What of the stretches is open time of a point; those that follow one another as one."""
    last: _Stretch | None = None
    until = 0
    for row in overloads:
        axis = problem.axes[point]
        start, end = axis.position(row.starts), axis.position(row.ends)
        if start == end:
            continue
        if last is not None and start == until:
            last.over = max(last.over, row.over)
            last.by |= row.by
        else:
            if last is not None:
                yield last
            last = _Stretch(axis.start_moment(start), row.ends, row.over, set(row.by))
        until = end
    if last is not None:
        yield last
