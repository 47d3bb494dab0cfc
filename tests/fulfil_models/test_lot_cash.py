"""Lot sizes under a limit of cash: by hand, for many parts, and at the limits of the search."""

from __future__ import annotations

from dataclasses import replace
from threading import Event

import pytest
from fulfil_models import lot_cash
from fulfil_models.cells import MICRO, MILLI
from fulfil_models.lot_levels import Order
from fulfil_models.lot_prices import Plans
from fulfil_models.lot_sizes import LotOffer, PartLots, Shortfall, plan_lots
from fulfil_models.lot_terms import terms_of
from lot_cases import (
    paid,
    part,
)

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
