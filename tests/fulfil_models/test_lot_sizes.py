"""Lot sizes: by hand, published, and against the search through all orders."""

from __future__ import annotations

from dataclasses import replace
from threading import Event

import numpy as np
import pytest
from fulfil_models import lot_sizes
from fulfil_models.cells import MICRO, MILLI
from fulfil_models.lot_levels import Order, cheapest_levels
from fulfil_models.lot_model import solve_lots
from fulfil_models.lot_orders import as_late_as_can_be, as_late_for_no_more, cost_of, keeps_terms
from fulfil_models.lot_runs import runs_of
from fulfil_models.lot_sizes import LotOffer, LotPlan, PartLots, Shortfall, plan_lots, wagner_whitin
from fulfil_models.lot_terms import Terms, terms_of
from fulfil_models.lot_waiting import WaitingRuns
from hypothesis import given, settings
from hypothesis import strategies as st
from lot_cases import as_tried, best_way, cut, part_lots


def offer(name: str = "S", price: float = 0, ordering: float = 0, **terms: object) -> LotOffer:
    """An offer in units and whole currency."""
    milli = {
        f"{key}_milli": round(terms.pop(key) * MILLI)  # type: ignore[operator]  # a number
        for key in ("minimum", "multiple")
        if key in terms
    }
    return LotOffer(name, round(price * MICRO), round(ordering * MICRO), **milli, **terms)  # type: ignore[arg-type]  # as given


def units(*amounts: float) -> tuple[int, ...]:
    return tuple(round(amount * MILLI) for amount in amounts)


def part(
    needs: tuple[float, ...], *offers: LotOffer, holding: float = 0, name: str = "P"
) -> PartLots:
    return PartLots(name, units(*needs), offers, round(holding * MICRO))


def ordered(plan: LotPlan) -> list[tuple[str, int, float]]:
    """Orders as offer, period and units."""
    return [(order.offer, order.period, order.milli / MILLI) for order in plan.orders]


# ---- published

WAGNER_WHITIN_1958 = (69, 29, 36, 61, 61, 26, 34, 67, 45, 67, 79, 56)
ORDERING_1958 = (85, 102, 102, 101, 98, 114, 105, 86, 119, 110, 98, 114)
PETERSON_SILVER = (10, 62, 12, 130, 154, 129, 88, 52, 124, 160, 238, 41)
FACTORY_PHYSICS = (20, 50, 10, 50, 50, 10, 20, 40, 20, 30)

PUBLISHED = {
    # needs, ordering cost by period, holding cost, price by period; orders by period, cost
    # Snyder and Shen, Fundamentals of Supply Chain Theory (2nd ed., 2019), example 3.9
    "snyder 3.9": ((90, 120, 80, 70), (500,) * 4, 2, (0,) * 4, {0: 210, 2: 150}, 1380),
    # the same, problems 3.27 and 3.29
    "snyder 3.27": ((150, 100, 80, 200), (120,) * 4, 0.8, (0,) * 4, {0: 150, 1: 180, 3: 200}, 424),
    "snyder 3.29": (
        *((730, 580, 445, 650, 880), (100,) * 5, 0.1, (0,) * 5),
        *({0: 1310, 2: 1095, 4: 880}, 423),
    ),
    # with prices that change. By hand: 2 orders 200; 400 x 3 + 3000 x 1 = 4200; left over are 2500,
    # 2000 and 900, x 0.1 = 540
    "prices change": (
        *((400, 500, 500, 1100, 900), (100,) * 5, 0.1, (3, 1, 4, 6, 6)),
        *({0: 400, 1: 3000}, 4940),
    ),
    # Wagner and Whitin, Management Science 5 (1958), 89-96; source from memory
    "wagner whitin": (
        *(WAGNER_WHITIN_1958, ORDERING_1958, 1, (0,) * 12),
        *({0: 98, 2: 97, 4: 121, 7: 112, 9: 67, 10: 135}, 864),
    ),
    # Peterson and Silver, Decision Systems for Inventory Management; source from memory
    "peterson silver": (
        *(PETERSON_SILVER, (54,) * 12, 0.4, (0,) * 12),
        *({0: 84, 3: 130, 4: 283, 6: 140, 8: 124, 9: 160, 10: 279}, 501.2),
    ),
    # Hopp and Spearman, Factory Physics, chapter 2
    "factory physics": (
        *(FACTORY_PHYSICS, (100,) * 10, 1, (0,) * 10),
        *({0: 80, 3: 130, 7: 90}, 580),
    ),
}


@pytest.mark.parametrize("name", PUBLISHED)
def test_published_by_wagner_and_whitin(name: str) -> None:
    needs, ordering, holding, prices, orders, cost = PUBLISHED[name]
    best = wagner_whitin(
        needs,
        [figure * 10 for figure in ordering],
        round(holding * 10),
        [figure * 10 for figure in prices],
    )
    assert best.cost == round(cost * 10)
    assert {run.period: run.quantity for run in best.orders} == orders


def _published_part(name: str) -> PartLots:
    """A published case with an offer of its own for every period."""
    needs, ordering, holding, prices, _, _ = PUBLISHED[name]
    periods = range(len(needs))
    return part(
        needs,
        *(
            offer(
                f"S{t}",
                prices[t],
                ordering[t],
                caps_milli=tuple(None if s == t else 0 for s in periods),
            )
            for t in periods
        ),
        holding=holding,
    )


@pytest.mark.parametrize("name", PUBLISHED)
def test_published_as_a_part_in_every_way(name: str) -> None:
    *_, orders, cost = PUBLISHED[name]
    wanted = round(cost * MICRO)
    lots = _published_part(name)
    plan = plan_lots([lots])
    assert (plan.cost_micro, plan.bound_micro, plan.gap) == (wanted, wanted, 0)
    assert plan.ways == {"by runs": 1}
    assert {order.period: order.milli // MILLI for order in plan.orders} == orders
    terms = terms_of(lots)
    by_levels, found = cheapest_levels(terms)
    assert by_levels == wanted * MILLI
    assert cost_of(terms, found).total == wanted * MILLI
    answer = solve_lots([terms], gap=0, seconds=30)
    assert answer.orders is not None
    assert cost_of(terms, answer.orders[0]).total == wanted * MILLI
    assert answer.bound_nano == pytest.approx(wanted * MILLI)


def test_all_units_discount_over_one_period() -> None:
    # 500 wanted: at 1.00 500; 600 at 0.80 480, and 100 left x 0.1 = 10: 490
    lots = part((500,), offer(price=1, breaks=((600 * MILLI, 800_000),)), holding=0.1)
    plan = plan_lots([lots])
    assert ordered(plan) == [("S", 0, 600)]
    assert (plan.buying_micro, plan.holding_micro) == (480 * MICRO, 10 * MICRO)
    # at 0.3 for each that is left: 510, so not
    assert ordered(plan_lots([replace(lots, holding_micro=300_000)])) == [("S", 0, 500)]


# ---- by hand, each rule alone


def test_a_cap_brings_orders_forward() -> None:
    # 5 and 9 with at most 8 a period: 1 comes early, x 2 = 2; two orders of 10
    caps = (8 * MILLI, 8 * MILLI)
    plan = plan_lots([part((5, 9), offer(ordering=10, caps_milli=caps), holding=2)])
    assert ordered(plan) == [("S", 0, 6), ("S", 1, 8)]
    assert (plan.ordering_micro, plan.holding_micro) == (20 * MICRO, 2 * MICRO)
    assert plan.ways == {"by levels": 1}


def test_a_minimum_is_kept_to() -> None:
    # 3 a period at 2 for one that is left, orders of 1: singly 3; with a minimum of 5 one of 6
    # (1 + 3 x 2 = 7) or two of 5 (2 + 2 x 2 + 4 x 2 = 14)
    plan = plan_lots([part((3, 3), offer(ordering=1, minimum=5), holding=2)])
    assert ordered(plan) == [("S", 0, 6)]
    assert plan.cost_micro == 7 * MICRO


def test_a_multiple_is_kept_to() -> None:
    # multiples of 4: 3 then 6 wanted by the end; 4 and 4: left are 1 and 2
    plan = plan_lots([part((3, 3), offer(multiple=4), holding=1)])
    assert ordered(plan) == [("S", 0, 4), ("S", 1, 4)]
    assert (plan.cost_micro, plan.ways) == (3 * MICRO, {"by runs": 1})


def test_the_dearer_supplier_brings_what_the_cheaper_one_may_not() -> None:
    lots = part(
        (10,),
        offer("cheap", 1, caps_milli=(6 * MILLI,)),
        offer("dear", 3),
    )
    # 6 x 1 + 4 x 3 = 18
    plan = plan_lots([lots])
    assert sorted(ordered(plan)) == [("cheap", 0, 6), ("dear", 0, 4)]
    assert plan.cost_micro == 18 * MICRO


def test_what_cannot_come_in_time_comes_as_soon_as_it_can_and_is_told() -> None:
    # 7 wanted at once, the first 4 come in period 1 and 4 more in period 2
    lots = part((7, 0, 0), offer(first_period=1, caps_milli=units(9, 4, 4)), holding=1)
    plan = plan_lots([lots])
    assert ordered(plan) == [("S", 1, 4), ("S", 2, 3)]
    assert plan.shortfalls == (Shortfall("P", 0, 7000), Shortfall("P", 1, 3000))
    assert (plan.cost_micro, plan.gap) == (0, 0)


def test_what_never_comes_is_told() -> None:
    plan = plan_lots([part((2, 3), offer(first_period=2)), part((1, 0), name="Q")])
    assert plan.orders == ()
    assert plan.shortfalls == (
        *(Shortfall("P", 0, 2000), Shortfall("P", 1, 5000)),
        *(Shortfall("Q", 0, 1000), Shortfall("Q", 1, 1000)),
    )
    assert plan.ways == {"nothing to order": 2}


def test_a_cap_below_the_smallest_order_is_told() -> None:
    # minimum 5 in multiples of 4 is 8
    lots = part((2, 3), offer(minimum=5, multiple=4, caps_milli=units(7, 6)))
    (never,) = plan_lots([lots]).never
    assert (never.cap_milli, never.least_milli) == (7000, 8000)
    assert never.why == (
        "P from S can never be ordered: its cap of 7 a period is below its smallest order of 8; "
        "raise the cap or lower the minimum"
    )
    assert (
        plan_lots([part((2, 3), offer(minimum=5, multiple=4, caps_milli=units(7, 8)))]).never == ()
    )


def test_nothing_is_needed() -> None:
    plan = plan_lots([part((0, 0), offer(ordering=5), holding=1)])
    assert (plan.orders, plan.cost_micro, plan.bound_micro, plan.gap) == ((), 0, 0, 0)
    assert plan_lots([]).orders == ()


def test_thousandths_are_rounded_up_to_whole_steps() -> None:
    # 0.4 and 0.4 wanted of a part that comes in ones: 0.6 left, then 0.2
    plan = plan_lots([part((0.4, 0.4), offer(price=1), holding=1)])
    assert ordered(plan) == [("S", 0, 1)]
    assert plan.cost_micro == round(1.8 * MICRO)
    fine = replace(part((0.4, 0.4), offer(price=1), holding=1), step_milli=100)
    assert plan_lots([fine]).cost_micro == round(0.8 * MICRO)


def test_what_is_needed_before_a_cheap_offer_can_deliver_comes_from_another() -> None:
    """6 on the 10th and 4 later, of a month: fast from the 5th at 10, slow from the 25th at 1:
    6 x 10 + 4 x 1 and two orders of 2, where all of fast would be 102; and 3 x 1 + 2 a month on."""
    fast = offer("fast", 10, 2, first_day=4)
    slow = offer("slow", 1, 2, first_day=24, early_milli=6000)
    lots = part((10, 3), slow, fast, holding=1)
    for cash in (None, [68 * MICRO, 99 * MICRO]):
        plan = plan_lots([lots], cash_micro=cash, gap=0)
        assert ordered(plan) == [("fast", 0, 6), ("slow", 0, 4), ("slow", 1, 3)]
        assert (plan.cost_micro, plan.waiting_micro) == ((68 + 5) * MICRO, 0)
        assert plan.shortfalls == ()


def test_of_offers_that_cost_the_same_the_first_delivers() -> None:
    first, second = offer("first", 3, 2, minimum=2), offer("second", 3, 2, minimum=2)
    lots = part((4, 0, 4), first, second, holding=1)
    for cash in (None, [99 * MICRO] * 3):
        plan = plan_lots([lots], cash_micro=cash, gap=0)
        assert ordered(plan) == [("first", 0, 4), ("first", 2, 4)]
    # 3 a month are all that the first has: the second brings the fourth, and at least 2
    capped = replace(first, caps_milli=units(3, 3, 3))
    plan = plan_lots([replace(lots, offers=(capped, second))])
    assert ordered(plan) == [("second", 0, 4), ("second", 2, 4)]
    # nor does the first deliver where the second asks less, or where it comes too late in the month
    cheaper = replace(second, price_micro=2 * MICRO)
    plan = plan_lots([replace(lots, offers=(first, cheaper))])
    assert ordered(plan) == [("second", 0, 4), ("second", 2, 4)]
    late = replace(first, first_day=20, early_milli=4 * MILLI)
    plan = plan_lots([replace(lots, offers=(late, second))])
    assert ordered(plan) == [("second", 0, 4), ("first", 2, 4)]


def test_what_a_capped_offer_can_bring_sooner_it_brings() -> None:
    # 6 on the 10th: fast from the 5th, 2 a month; the other 4 come with slow, on the 25th
    fast = offer("fast", 10, 2, first_day=4, caps_milli=units(2, 2))
    slow = offer("slow", 1, 2, first_day=24, early_milli=6000)
    plan = plan_lots([part((6, 0), fast, slow)])
    assert ordered(plan) == [("fast", 0, 2), ("slow", 0, 4)]
    assert plan.shortfalls == ()
    # where nothing could come in the month before, what was needed then comes as soon as it can
    later = [replace(row, first_period=1, early_milli=0) for row in (fast, slow)]
    plan = plan_lots([part((6, 0), *later)])
    assert ordered(plan) == [("fast", 1, 2), ("slow", 1, 4)]


def test_cash_for_the_fast_offer_that_there_is_not_is_told() -> None:
    # 6 at 10 and 2 for each order: 40 are for 3 at 10 and 3 at 1, and 37 taken with the orders
    fast = offer("fast", 10, 2, first_day=4)
    slow = offer("slow", 1, 2, first_day=24, early_milli=6000)
    plan = plan_lots([part((6,), fast, slow)], cash_micro=[40 * MICRO], gap=0)
    assert ordered(plan) == [("fast", 0, 3), ("slow", 0, 3)]
    assert plan.shortfalls == (Shortfall("P", 0, 0, 0, 3000),)


def test_of_equal_plans_the_latest_is_taken() -> None:
    """Nothing is paid but 50 for an order, and nothing for what is left: one order serves, whenever
    it comes, so it comes when it is needed."""
    lots = part((0, 0, 0, 1, 2), offer(ordering=50))
    capped = replace(lots, offers=(offer(ordering=50, caps_milli=units(*[9] * 5)),))
    less = replace(lots, offers=(offer(ordering=50, minimum=5),))
    for one, quantity in ((lots, 3), (capped, 3), (less, 5)):
        assert ordered(plan_lots([one])) == [("S", 3, quantity)]
        assert ordered(plan_lots([one], cash_micro=[99 * MICRO] * 5)) == [("S", 3, quantity)]
    answer = WaitingRuns([terms_of(lots, waits=True)]).solve(np.ones(5))
    assert [order.period for order in answer.orders(0)] == [3]
    terms = terms_of(less)
    (mode,) = terms.modes[1][0]
    assert [one.period for one in as_late_for_no_more(terms, [Order(1, mode, 5)])] == [3]
    # an order 12, one that is left 1: 6 and 12, 12 and 6, and 18 at once make 30; the last keeps
    # most, and of the others the first leaves more for later
    plan = plan_lots([part((6, 6, 6), offer(ordering=12), holding=1)])
    assert ordered(plan) == [("S", 0, 6), ("S", 1, 12)]
    kept = terms_of(replace(less, holding_micro=MICRO))
    late = as_late_for_no_more(kept, [Order(1, mode, 5)])
    assert cost_of(kept, late).holding == (4 + 2) * MICRO * MILLI


# ---- against the search through all orders


@settings(max_examples=150, deadline=None)
@given(part_lots())
def test_best_of_all_orders(lots: PartLots) -> None:
    best = best_way(lots)
    plan = plan_lots([lots])
    found = as_tried(lots, plan)
    assert (found.short, found.early_short) == (best.short, best.early_short)
    assert found.nano == best.nano
    assert plan.cost_micro >= plan.bound_micro
    assert plan.gap == 0
    assert not [short for short in plan.shortfalls if short.early_milli]
    told = dict.fromkeys(range(len(lots.needs_milli)), 0)
    told.update({short.period: short.milli for short in plan.shortfalls})
    assert tuple(told.values()) == best.short


@settings(max_examples=60, deadline=None)
@given(part_lots())
def test_every_way_gives_the_best(lots: PartLots) -> None:
    terms = terms_of(lots)
    if not terms.top:
        return
    best = best_way(lots).nano
    runs, kept = runs_of(terms)
    bound = runs.cost + terms.rounding_nano
    assert bound == best if kept else bound <= best
    by_levels, orders = cheapest_levels(terms)
    assert by_levels + terms.rounding_nano == cost_of(terms, orders).total == best
    assert keeps_terms(terms, orders)
    answer = solve_lots([terms], gap=0, seconds=30)
    assert answer.orders is not None
    for modelled in (answer.orders[0], as_late_for_no_more(terms, answer.orders[0])):
        assert keeps_terms(terms, modelled)
        assert cost_of(terms, modelled).total == best
    assert answer.bound_nano + terms.rounding_nano <= best * (1 + 1e-6) + 1000
    late = as_late_as_can_be(terms)
    assert keeps_terms(terms, late)
    assert cost_of(terms, late).total >= best


@settings(max_examples=150, deadline=None)
@given(part_lots(), st.integers(1, 3), st.data())
def test_a_larger_cap_never_costs_more(lots: PartLots, more: int, data: st.DataObject) -> None:
    capped = [row for row in lots.offers if row.caps_milli]
    if not capped:
        return
    chosen = data.draw(st.sampled_from(capped))
    caps = tuple(None if cap is None else cap + more * MILLI for cap in chosen.caps_milli)
    larger = replace(
        lots,
        offers=tuple(
            replace(row, caps_milli=caps) if row is chosen else row for row in lots.offers
        ),
    )
    before, after = plan_lots([lots]), plan_lots([larger])
    # what comes sooner for it may cost more, within a period too
    early = [as_tried(*case).early_short for case in ((lots, before), (larger, after))]
    if before.shortfalls == after.shortfalls and early[0] == early[1]:
        assert after.cost_micro <= before.cost_micro
    short = {row.period: row.milli for row in before.shortfalls}
    assert all(row.milli <= short[row.period] for row in after.shortfalls)


@settings(max_examples=40, deadline=None)
@given(st.lists(part_lots(), min_size=2, max_size=3))
def test_parts_without_a_limit_of_cash_do_not_matter_to_each_other(several: list[PartLots]) -> None:
    length = min(len(lots.needs_milli) for lots in several)
    parts = [replace(cut(lots, length), part=f"P{n}") for n, lots in enumerate(several)]
    together = plan_lots(parts)
    alone = [plan_lots([lots]) for lots in parts]
    assert together.orders == tuple(order for plan in alone for order in plan.orders)
    assert together.ways == {
        way: sum(plan.ways.get(way, 0) for plan in alone) for way in together.ways
    }


# ---- limits of the search, and wrong input


def _capped_part() -> PartLots:
    needs = (30, 10, 50, 20, 60, 10)
    return part(needs, offer(price=2, ordering=40, caps_milli=units(*[35] * 6)), holding=1)


def test_too_many_levels_are_left_to_the_model(monkeypatch: pytest.MonkeyPatch) -> None:
    exact = plan_lots([_capped_part()])
    assert exact.ways == {"by levels": 1}

    def few(terms: Terms) -> bool:
        return False

    monkeypatch.setattr(lot_sizes, "has_few_levels", few)
    plan = plan_lots([_capped_part()], gap=0)
    assert plan.ways == {"by a model": 1}
    assert plan.cost_micro == exact.cost_micro
    assert 0 <= plan.gap < 1e-6


def test_without_time_orders_are_as_late_as_can_be_with_an_honest_gap() -> None:
    exact = plan_lots([_capped_part()])
    hurried = plan_lots([_capped_part()], seconds=0)
    stop = Event()
    stop.set()
    assert plan_lots([_capped_part()], stop=stop) == hurried
    assert hurried.ways == {"as late as can be": 1}
    assert hurried.cut_by_clock
    assert hurried.bound_micro <= exact.cost_micro <= hurried.cost_micro
    assert hurried.gap == pytest.approx(1 - hurried.bound_micro / hurried.cost_micro)
    assert not exact.cut_by_clock


def test_millions_of_levels_with_a_cap() -> None:
    # 12 periods of 90.123 m of hose in thousandths, at most 100 m a period: too many to try
    lots = replace(
        part(
            (90.123, 20, 150, 80.5, 99, 10, 120, 60, 90, 99, 130, 70),
            offer(price=3, ordering=25, minimum=1, caps_milli=units(*[100_000] * 12)),
            offer("T", 4, 5, caps_milli=units(*[100] * 12)),
            holding=0.05,
        ),
        step_milli=1,
    )
    plan = plan_lots([lots], gap=0.01)
    assert plan.gap <= 0.01
    assert plan.shortfalls == ()


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: offer(price=-1), "offer S: a figure is below 0; give 0 or more"),
        (lambda: offer(caps_milli=(-1,)), "a figure is below 0"),
        (lambda: offer(breaks=((5, 1), (5, 2))), "price breaks do not ascend"),
        (lambda: part((1,), offer(), offer()), "two offers have one name"),
        (lambda: part((-1,), offer()), "part P: a figure is below 0"),
        (lambda: part((1,), offer(caps_milli=(1, 2))), "2 caps for 1 periods"),
        (lambda: replace(part((1,)), step_milli=0), "the step is 0"),
        (lambda: part((1, 9), offer(first_day=2, early_milli=2000)), "more is needed early"),
        (lambda: plan_lots([part((1,)), part((1, 2))]), "give all for the same"),
        (lambda: plan_lots([part((1,))], cash_micro=(-1,)), "cash of a period is below 0"),
    ],
)
def test_what_cannot_be(make: object, message: str) -> None:
    assert callable(make)
    with pytest.raises(ValueError, match=message):
        make()
