"""Lot sizes under a limit of cash: by hand, against the search through all orders, and as a law."""

from __future__ import annotations

import itertools
from dataclasses import replace
from threading import Event

import numpy as np
import pytest
from fulfil_models import lot_cash, lot_network, lot_prices
from fulfil_models.cells import MICRO, MILLI
from fulfil_models.lot_levels import Order, cheapest_levels
from fulfil_models.lot_network import Networks
from fulfil_models.lot_orders import cost_of, keeps_terms
from fulfil_models.lot_prices import Clock, Plans
from fulfil_models.lot_sizes import LotOffer, LotPlan, PartLots, Shortfall, plan_lots
from fulfil_models.lot_terms import terms_of
from fulfil_models.lot_waiting import WaitingRuns
from hypothesis import given, settings
from hypothesis import strategies as st
from lot_cases import WAITING_PERIODS, Tried, as_tried, best_way, cut, every_way, part_lots


def part(name: str, needs: tuple[int, ...], price: int, ordering: int = 0, **more: int) -> PartLots:
    """A part with one offer, in units and whole currency; nothing is paid for holding."""
    offer = LotOffer("S", price * MICRO, ordering * MICRO)
    short = more.get("short")
    return PartLots(
        name,
        tuple(need * MILLI for need in needs),
        (offer,),
        more.get("holding", 0) * MICRO,
        short_micro=None if short is None else short * MICRO,
    )


def paid(plan: LotPlan, periods: int) -> list[int]:
    """What is paid in each period, in micro-currency."""
    return [sum(o.cost_micro for o in plan.orders if o.period == t) for t in range(periods)]


BY_PRICES = pytest.mark.parametrize("enough", [0.0, 1e9], ids=["model", "prices"])


def only_by_prices(monkeypatch: pytest.MonkeyPatch, enough: float = 1e9) -> None:
    """No model follows the prices if any gap is enough."""
    monkeypatch.setattr(lot_cash, "ENOUGH", enough)
    monkeypatch.setattr(lot_cash, "FEW_ARCS", -1 if enough else lot_cash.MOST_ARCS)


# ---- by hand


@BY_PRICES
def test_cash_brings_an_order_forward(enough: float, monkeypatch: pytest.MonkeyPatch) -> None:
    # 10 each in periods 0 and 1 at 3; 33 and 27 may be paid, so one of the later ones comes early
    # and is held at 1: 60 + 1
    only_by_prices(monkeypatch, enough)
    lots = part("P", (10, 10), 3, holding=1)
    plan = plan_lots([lots], cash_micro=(33 * MICRO, 27 * MICRO), gap=0)
    assert [(o.period, o.milli) for o in plan.orders] == [(0, 11 * MILLI), (1, 9 * MILLI)]
    assert (plan.cost_micro, plan.shortfalls) == (61 * MICRO, ())


@BY_PRICES
def test_the_part_that_suffers_more_gets_the_cash(
    enough: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    # both want one unit at 10 in period 0, there is 10: A waits at 30, B at 70 a period
    only_by_prices(monkeypatch, enough)
    parts = [part("A", (1, 0), 10, short=30), part("B", (1, 0), 10, short=70)]
    plan = plan_lots(parts, cash_micro=(10 * MICRO, 10 * MICRO), gap=0)
    assert [(o.part, o.period) for o in plan.orders] == [("A", 1), ("B", 0)]
    assert plan.shortfalls == (Shortfall("A", 0, 1000, 1000),)
    assert (plan.cost_micro, plan.waiting_micro) == (20 * MICRO, 30 * MICRO)


def test_where_nothing_is_to_be_bought_no_cash_is_needed() -> None:
    plan = plan_lots([], cash_micro=(10 * MICRO, 0))
    assert (plan.orders, plan.gap) == ((), 0)


@BY_PRICES
def test_without_any_cash_all_waits(enough: float, monkeypatch: pytest.MonkeyPatch) -> None:
    only_by_prices(monkeypatch, enough)
    plan = plan_lots([part("A", (2, 1), 10)], cash_micro=(0, 0))
    assert plan.orders == ()
    assert plan.shortfalls == (Shortfall("A", 0, 2000, 2000), Shortfall("A", 1, 3000, 3000))


@BY_PRICES
def test_what_is_expected_of_a_part_waits_before_what_is_firm(
    enough: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    # 10 a month: of A one is firm and one expected, B is expected, dearer than that and cheaper
    # than what is firm; so A, B, A: B waits a month at 40, what is expected of A two at 30
    only_by_prices(monkeypatch, enough)
    lots = replace(
        part("A", (2, 0, 0), 10, short=30),
        firm_milli=(MILLI, 0, 0),
        short_firm_micro=500 * MICRO,
    )
    plan = plan_lots(
        [lots, part("B", (1, 0, 0), 10, short=40)], cash_micro=(10 * MICRO,) * 3, gap=0
    )
    assert [(o.part, o.period) for o in plan.orders] == [("A", 0), ("A", 2), ("B", 1)]
    assert plan.waiting_micro == 100 * MICRO


@BY_PRICES
def test_a_sum_for_a_month_that_waits(enough: float, monkeypatch: pytest.MonkeyPatch) -> None:
    # one order for both in time: 9 + 2 and 10 for holding; late: 9 + 2 and 6 for waiting; two
    # orders: 18 + 2; the first alone: 9 + 1 and 6 + 6. 10 more for a month that waits make two best
    only_by_prices(monkeypatch, enough)
    lots = part("P", (1, 1, 0), 1, ordering=9, holding=10, short=6)
    for fixed, orders in ((0, [1]), (10, [0, 1])):
        plan = plan_lots(
            [replace(lots, short_fixed_micro=fixed * MICRO)], cash_micro=(99 * MICRO,) * 3, gap=0
        )
        assert [o.period for o in plan.orders] == orders


def test_what_is_short_for_lack_of_cash_is_told_apart() -> None:
    # 5 wanted at once, 2 may come in period 0 for all the cash there is; 1 can be paid
    offer = LotOffer("S", 10 * MICRO, 0, caps_milli=(2000, 9000))
    lots = PartLots("P", (5000, 0), (offer,), 0)
    plan = plan_lots([lots], cash_micro=(10 * MICRO, 40 * MICRO))
    assert plan.shortfalls == (Shortfall("P", 0, 4000, 1000),)


# ---- against the search through all orders


def _least(parts: list[PartLots], cash_nano: list[int]) -> int:
    """Least cost with waiting over all orders of all parts that the cash suffices for."""
    ways = [_worth_having(lots) for lots in parts]
    found = []
    for chosen in itertools.product(*ways):
        together = [sum(way.paid_nano[t] for _, way in chosen) for t in range(len(cash_nano))]
        if all(nano <= cash for nano, cash in zip(together, cash_nano, strict=True)):
            found.append(sum(cost for cost, _ in chosen))
    return min(found)


def _worth_having(lots: PartLots) -> list[tuple[int, Tried]]:
    """The cheapest way of a part for each row of payments, with waiting priced."""
    best: dict[tuple[int, ...], tuple[int, Tried]] = {}
    for way in every_way(lots):
        cost = way.nano + _waiting_nano(lots, way)
        if way.paid_nano not in best or cost < best[way.paid_nano][0]:
            best[way.paid_nano] = (cost, way)
    return list(best.values())


def _waiting_nano(lots: PartLots, way: Tried) -> int:
    """Price of what a way is short of and might have had, in whole units (every step is one).

    What is not firm of the needs so far, and not among what cannot come in any way, waits first.
    """
    assert lots.short_micro is not None
    nano = needed = firm = 0
    for period, (short, unavoidable) in enumerate(
        zip(way.short, terms_of(lots, waits=True).short_milli, strict=True)
    ):
        needed += lots.needs_milli[period]
        firm += lots.firm_milli[period] if lots.firm_milli else 0
        waits = max(0, short - unavoidable)
        dear = max(0, waits - max(0, needed - unavoidable - firm))
        nano += waits * lots.short_micro + dear * lots.short_firm_micro
        nano += lots.short_fixed_micro * MILLI if waits else 0
    return nano


@st.composite
def _parts_and_cash(draw: st.DrawFn) -> tuple[list[PartLots], list[int]]:
    """One or two parts in whole units, and cash for each period."""
    parts = []
    for number in range(draw(st.integers(1, 2))):
        lots = cut(draw(part_lots(f"P{number}", most_offers=1)), WAITING_PERIODS, MILLI)
        firm = tuple(draw(st.integers(0, need // MILLI)) * MILLI for need in lots.needs_milli)
        parts.append(
            replace(
                lots,
                offers=tuple(replace(offer, multiple_milli=0) for offer in lots.offers),
                short_micro=draw(st.integers(0, 40)) * MICRO,
                short_fixed_micro=draw(st.sampled_from((0, 0, 7, 25))) * MICRO,
                firm_milli=draw(st.sampled_from(((), firm))),
                short_firm_micro=draw(st.integers(0, 30)) * MICRO,
            )
        )
    length = min(2, *(len(lots.needs_milli) for lots in parts))
    cash = draw(st.lists(st.integers(0, 40), min_size=length, max_size=length))
    return [cut(lots, length) for lots in parts], [amount * MICRO for amount in cash]


@settings(max_examples=50, deadline=None)
@given(_parts_and_cash())
def test_best_of_all_orders(case: tuple[list[PartLots], list[int]]) -> None:
    parts, cash = case
    best = _least(parts, [micro * MILLI for micro in cash])
    plan = plan_lots(parts, cash_micro=cash, gap=0)
    for lots in parts:
        as_tried(lots, plan)
    assert all(p <= c for p, c in zip(paid(plan, len(cash)), cash, strict=True))
    assert (plan.cost_micro + plan.waiting_micro) * MILLI == best
    assert plan.bound_micro * MILLI <= best


def _early_nano(lots: PartLots, way: Tried, least: Tried) -> int:
    """Price of what is needed before an offer can deliver for the first time, and might have come
    from others, as it does in the way that is short of least; nothing where no more had to come by
    then than before the period. All of it in whole units, nothing firm."""
    assert lots.short_micro is not None
    terms = terms_of(lots, waits=True)
    nano = 0
    for period, row in enumerate(way.early_short):
        needed = sum(lots.needs_milli[:period])
        days = {}
        for offer, short, unavoidable in zip(
            lots.offers, row, least.early_short[period], strict=True
        ):
            if offer.first_period == period:
                due = needed + offer.early_milli - unavoidable
                days[offer.first_day] = (due, short - unavoidable)
        for due, waits in days.values():
            if waits and due > (terms.due_milli[period - 1] if period else 0):
                nano += waits * lots.short_micro + lots.short_fixed_micro * MILLI
    return nano


@settings(max_examples=60, deadline=None)
@given(
    part_lots(),
    st.integers(0, 40),
    st.sampled_from((0, 7, 25)),
    st.lists(st.integers(0, 40), min_size=3, max_size=3),
)
def test_best_of_all_orders_of_offers_that_begin_within_a_period(
    lots: PartLots, short: int, fixed: int, cash: list[int]
) -> None:
    length = min(3, len(lots.needs_milli))
    lots = replace(
        cut(lots, length, MILLI),
        offers=tuple(replace(one, multiple_milli=0) for one in cut(lots, length, MILLI).offers),
        short_micro=short * MICRO,
        short_fixed_micro=fixed * MICRO,
    )
    cash_micro = [amount * MICRO for amount in cash[:length]]
    ways = list(every_way(lots))
    least = max(ways, key=lambda way: way.came)
    assert least.early_short == best_way(lots).early_short
    best = min(
        way.nano + _waiting_nano(lots, way) + _early_nano(lots, way, least)
        for way in ways
        if all(p <= c * MILLI for p, c in zip(way.paid_nano, cash_micro, strict=True))
    )
    plan = plan_lots([lots], cash_micro=cash_micro, gap=0)
    assert (plan.cost_micro + plan.waiting_micro) * MILLI == best
    assert plan.bound_micro * MILLI <= best
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lot_cash, "ENOUGH", 1e9)
        patch.setattr(lot_cash, "FEW_ARCS", -1)
        patch.setattr(lot_prices, "TABLE_LEVELS", 0)
        priced = plan_lots([lots], cash_micro=cash_micro, gap=0)
    assert priced.bound_micro * MILLI <= best <= (priced.cost_micro + priced.waiting_micro) * MILLI
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lot_network, "MOST_ARCS", 0)
        sized = plan_lots([lots], cash_micro=cash_micro, gap=0)
    assert sized.bound_micro * MILLI <= best <= (sized.cost_micro + sized.waiting_micro) * MILLI


@settings(max_examples=40, deadline=None)
@given(_parts_and_cash())
def test_prices_of_cash_give_a_bound_and_a_plan(case: tuple[list[PartLots], list[int]]) -> None:
    parts, cash = case
    best = _least(parts, [micro * MILLI for micro in cash])
    terms = [terms_of(lots, waits=True) for lots in parts]
    cash_nano = [micro * MILLI for micro in cash]
    found = lot_cash._Found(terms, cash_nano)
    found.by_prices(0.0, Clock(20, None))
    assert found.bound_nano <= best <= _checked(found)


def _checked(found: lot_cash._Found) -> int:
    """The cost of what is found, which keeps to the terms and the cash."""
    total = 0
    for row, orders in zip(found.parts, found.orders, strict=True):
        assert keeps_terms(row, orders, waits=True)
        total += cost_of(row, orders).total
    spent = [0] * len(found.cash_nano)
    for orders in found.orders:
        for order in orders:
            spent[order.period] += order.mode.fixed_nano + order.mode.price_nano * order.levels
    assert all(nano <= most for nano, most in zip(spent, found.cash_nano, strict=True))
    assert total == found.cost_nano
    return total


@settings(max_examples=40, deadline=None)
@given(_parts_and_cash(), st.sampled_from((0.0, 0.1, 0.4, 1.0)), st.booleans())
def test_a_model_of_arcs_that_lose_little_gives_a_bound(
    case: tuple[list[PartLots], list[int]], share: float, sized: bool
) -> None:
    parts, cash = case
    best = _least(parts, [micro * MILLI for micro in cash])
    terms = [terms_of(lots, waits=True) for lots in parts]
    found = lot_cash._Found(terms, [micro * MILLI for micro in cash])
    clock = Clock(20, None)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lot_prices, "ROUNDS", 1)  # no prices: a gap that is worth a model
        found.by_prices(0.0, clock)
        if sized:
            patch.setattr(lot_network, "MOST_ARCS", 3)
        every = found.cost_nano - found.priced_nano
        networks = Networks(terms, found.cash_nano, found.prices, every)
    assert found._modelled(networks, every * share, 0.0, 1000, clock)
    assert found.bound_nano <= best <= _checked(found)
    if share == 1.0:
        assert found.cost_nano == best


@settings(max_examples=40, deadline=None)
@given(_parts_and_cash(), st.sampled_from((1, 10, 40)))
def test_many_parts_are_put_to_a_model_twice_and_it_is_exact_too(
    case: tuple[list[PartLots], list[int]], most: int
) -> None:
    parts, cash = case
    best = _least(parts, [micro * MILLI for micro in cash])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lot_cash, "FEW_ARCS", -1)
        patch.setattr(lot_cash, "ENOUGH", 0.0)
        plan = plan_lots(parts, cash_micro=cash, gap=0)
        assert (plan.cost_micro + plan.waiting_micro) * MILLI == best
        patch.setattr(lot_cash, "MOST_ARCS", most)
        cut = plan_lots(parts, cash_micro=cash, gap=0)
    assert cut.bound_micro * MILLI <= best <= (cut.cost_micro + cut.waiting_micro) * MILLI
    assert all(p <= c for p, c in zip(paid(cut, len(cash)), cash, strict=True))


@settings(max_examples=60, deadline=None)
@given(part_lots(), st.lists(st.integers(0, 5), min_size=4, max_size=4))
def test_the_shortest_path_through_a_network_is_the_best_plan(
    lots: PartLots, weights: list[int]
) -> None:
    terms = terms_of(lots, waits=True)
    some = [1.0 + weight for weight in weights[: len(terms.due)]]
    least, orders = cheapest_levels(terms, some)
    arcs = lot_network.arcs_of(terms, some, 0.0)
    # every arc that loses nothing is on a best path, and the orders of one are among them
    on_path = {
        (one.period, one.mode, levels)
        for one in lot_network.arcs_of(terms, some, 1e-6 * max(1.0, least))
        for levels in one.levels.tolist()
    }
    assert {(order.period, order.mode, order.levels) for order in orders} <= on_path
    assert all(float(one.lost.min(initial=0.0)) >= -1e-6 * max(1.0, least) for one in arcs)
    networks = Networks([terms], [10**15] * len(some), [w - 1 for w in some], 1e18)
    answer = networks.solve(1e18, gap=0.0, seconds=20, nodes=1000, stop=None)
    free, _ = cheapest_levels(terms, [1.0] * len(some))
    assert answer.bound_nano == pytest.approx(free, rel=1e-6, abs=1e3)
    assert answer.orders is not None
    cost = cost_of(terms, answer.orders[0])
    assert cost.total - terms.rounding_nano == pytest.approx(free, rel=1e-6, abs=1e3)


@settings(max_examples=40, deadline=None)
@given(_parts_and_cash(), st.lists(st.integers(0, 25), min_size=2, max_size=2))
def test_a_larger_budget_never_costs_more(
    case: tuple[list[PartLots], list[int]], more: list[int]
) -> None:
    parts, cash = case
    larger = [micro + add * MICRO for micro, add in zip(cash, more, strict=False)]
    less, greater = (plan_lots(parts, cash_micro=some, gap=0) for some in (larger, cash))
    assert less.cost_micro + less.waiting_micro <= greater.cost_micro + greater.waiting_micro


@settings(max_examples=50, deadline=None)
@given(part_lots())
def test_ample_cash_is_no_limit(lots: PartLots) -> None:
    free = plan_lots([lots])
    ample = plan_lots([lots], cash_micro=[10**6 * MICRO] * len(lots.needs_milli), gap=0)
    assert ample.cost_micro == free.cost_micro
    assert ample.waiting_micro == 0
    assert ample.shortfalls == free.shortfalls


# ---- runs with waiting


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(0, 4), min_size=3, max_size=3),
    *(st.integers(0, 9) for _ in range(5)),
    st.lists(st.integers(0, 3), min_size=3, max_size=3),
)
def test_runs_with_waiting_are_the_best_for_one_uncapped_offer(
    needs: list[int],
    price: int,
    ordering: int,
    holding: int,
    short: int,
    fixed: int,
    weights: list[int],
) -> None:
    lots = replace(
        part("P", (needs[0], needs[1], needs[2]), price, ordering, holding=holding, short=short),
        short_fixed_micro=fixed * MICRO,
    )
    terms = terms_of(lots, waits=True)
    answer = WaitingRuns([terms]).solve(1.0 + np.array(weights, dtype=np.float64))
    best = min(
        sum(nano * (1 + w) for nano, w in zip(way.paid_nano, weights, strict=True))
        + way.nano
        - sum(way.paid_nano)
        + _waiting_nano(lots, way)
        for way in every_way(lots)
    )
    assert answer.costs[0] == best
    orders = answer.orders(0)
    assert keeps_terms(terms, orders, waits=True)
    weighed = sum(
        (1 + weights[o.period]) * (o.mode.fixed_nano + o.mode.price_nano * o.levels) for o in orders
    )
    cost = cost_of(terms, orders)
    assert weighed + cost.holding + cost.waiting == best


# ---- many parts, and limits of the search


def _many(count: int) -> tuple[list[PartLots], list[int]]:
    """Parts of which some are capped, with cash for a tenth more than they need in all."""
    parts = [
        part(
            f"P{n}",
            tuple((n * 7 + t * 5) % 11 for t in range(6)),
            1 + n % 9,
            ordering=5,
            holding=1,
        )
        for n in range(count)
    ]
    capped = [
        replace(
            lots,
            offers=(
                replace(lots.offers[0], minimum_milli=4 * MILLI, caps_milli=(12 * MILLI,) * 6),
            ),
        )
        if n % 3 == 0
        else lots
        for n, lots in enumerate(parts)
    ]
    free = plan_lots(capped)
    assert not free.shortfalls
    return capped, [sum(paid(free, 6)) // 6 * 11 // 10] * 6


def test_many_parts_get_a_small_gap(monkeypatch: pytest.MonkeyPatch) -> None:
    parts, cash = _many(60)
    assert max(paid(plan_lots(parts), 6)) > cash[0]
    only_by_prices(monkeypatch)
    plan = plan_lots(parts, cash_micro=cash, gap=0.005, seconds=60)
    assert plan.ways == {"by prices of cash": 60}
    assert max(paid(plan, 6)) <= cash[0]
    assert plan.shortfalls == ()
    assert 0 <= plan.gap <= 0.01
    assert plan.cost_micro >= plan_lots(parts).cost_micro


def test_what_the_model_leaves_unproven_has_an_honest_gap(monkeypatch: pytest.MonkeyPatch) -> None:
    parts, cash = _many(3)
    less = [c * 7 // 10 for c in cash]
    proven = plan_lots(parts, cash_micro=less, gap=0, seconds=60)
    assert proven.ways == {"in one model with cash": 3}
    best = proven.cost_micro + proven.waiting_micro
    monkeypatch.setattr(lot_cash, "_MOST_NODES", 1)
    hurried = plan_lots(parts, cash_micro=less, gap=0, seconds=60)
    assert hurried.bound_micro <= best <= hurried.cost_micro + hurried.waiting_micro
    assert hurried.gap > 0
    only_by_prices(monkeypatch)
    priced = plan_lots(parts, cash_micro=less, gap=0, seconds=60)
    assert priced.bound_micro <= best <= priced.cost_micro + priced.waiting_micro
    assert hurried.gap <= priced.gap + 1e-9


def test_more_cash_never_costs_more() -> None:
    parts, cash = _many(3)
    costs = [
        plan.cost_micro + plan.waiting_micro
        for plan in (
            plan_lots(parts, cash_micro=[c * share // 10 for c in cash], gap=0)
            for share in (4, 8, 20)
        )
    ]
    assert costs == sorted(costs, reverse=True)
    assert costs[0] > costs[-1] == plan_lots(parts).cost_micro


def test_without_time_there_is_a_plan_within_the_cash_and_an_honest_gap() -> None:
    parts, cash = _many(12)
    stop = Event()
    stop.set()
    for plan in (
        plan_lots(parts, cash_micro=cash, seconds=0),
        plan_lots(parts, cash_micro=cash, stop=stop),
    ):
        assert plan.cut_by_clock
        assert max(paid(plan, 6)) <= cash[0]
        total = plan.cost_micro + plan.waiting_micro
        assert plan.gap == pytest.approx(1 - plan.bound_micro / total)


def test_plans_are_known_once_and_only_if_they_keep_to_the_terms() -> None:
    terms = terms_of(part("P", (2, 2), 1), waits=True)
    plans = Plans(terms)
    assert plans.orders == [()]
    (mode,) = terms.modes[0][0]
    assert plans.add((Order(0, mode, 4),)) == 1
    assert plans.add((Order(0, mode, 4),)) == 1
    assert plans.add((Order(0, mode, 99),)) is None
    assert len(plans.cost) == 2
