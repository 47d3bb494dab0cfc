"""Available to promise: published tables, laws that hold for any figures, and the small shop."""

from __future__ import annotations

import dataclasses
from datetime import date

import pytest
import small_shop
from fulfil_models.available import available_to_promise
from fulfil_models.available_flows import Flows
from fulfil_models.available_weeks import PartAvailability, availability, week_name
from fulfil_models.plan import Plan, Stranded
from fulfil_models.problem import Problem
from fulfil_models.settings import Settings
from fulfil_models.tables import Dataset
from hypothesis import given
from hypothesis import strategies as st

# ---- published


def test_pumps() -> None:
    """Stevenson, Operations Management (pumps): on hand 64, lots of 70 in weeks 3, 5, 7 and 8.

    Inputs and the 11 of week 1 are printed there; the other figures follow from the dictionary
    definitions: 70 - (10 + 4) = 56, 70 - (2 + 0) = 68, 70, 70.
    """
    table = available_to_promise(64, [0, 0, 70, 0, 70, 0, 70, 70], [33, 20, 10, 4, 2, 0, 0, 0])
    assert [row.discrete_milli for row in table.periods] == [11, None, 56, None, 68, None, 70, 70]
    # 64 - 33 = 31, - 20 = 11, + 70 - 10 = 71, - 4 = 67, + 70 - 2 = 135, 135, + 70, + 70
    assert [row.cumulative_milli for row in table.periods] == [31, 11, 71, 67, 135, 135, 205, 275]
    # 11, then 11 + 56 = 67, + 68 = 135, + 70, + 70
    assert [row.look_ahead_milli for row in table.periods] == [11, 11, 67, 67, 135, 135, 205, 275]


def test_chair() -> None:
    """Krajewski, Operations Management (desk-post chair): on hand 55, lots of 150 in weeks 2 and 7.

    ATP 17 (55 - 38), 91 (150 - 27 - 24 - 8) and 150.
    """
    table = available_to_promise(55, [0, 150, 0, 0, 0, 0, 150, 0], [38, 27, 24, 8, 0, 0, 0, 0])
    assert [row.discrete_milli for row in table.periods] == [
        *(17, 91, None, None, None, None, 150, None)
    ]
    assert [row.look_ahead_milli for row in table.periods] == [17, *[108] * 5, 258, 258]


# ---- by hand


def test_what_a_later_supply_lacks_is_taken_from_earlier_ones() -> None:
    # 10 - 2 = 8; 5 - 4 = 1; 3 - 9 = -6: 1 from the second, 5 from the first
    table = available_to_promise(10, [0, 5, 3], [2, 4, 9])
    assert [row.discrete_milli for row in table.periods] == [8, 1, -6]
    assert [row.cumulative_milli for row in table.periods] == [8, 9, 3]
    assert [row.look_ahead_milli for row in table.periods] == [3, 3, 3]


def test_a_shortfall_shows_from_the_first_period_on() -> None:
    # 1 - 1 = 0, 2 - 5 = -3: nobody can be promised anything until 4 more come: -3 + 4 = 1
    table = available_to_promise(1, [0, 2, 4], [1, 5, 0])
    assert [row.look_ahead_milli for row in table.periods] == [-3, -3, 1]
    assert [row.cumulative_milli for row in table.periods] == [0, -3, 1]


def test_without_looking_ahead_a_later_commitment_goes_short() -> None:
    # the pumps: 31 promised in week 1 leave 0 for the 20 of week 2
    receipts = [0, 0, 70]
    trusting = available_to_promise(64, receipts, [33 + 31, 20, 10])
    assert trusting.periods[1].cumulative_milli == -20
    careful = available_to_promise(64, receipts, [33 + 11, 20, 10])
    assert [row.cumulative_milli for row in careful.periods] == [20, 0, 60]


def test_nothing_at_all() -> None:
    assert available_to_promise(5, [], []).periods == ()


@pytest.mark.parametrize(
    ("receipts", "committed", "wrong"),
    [
        ([1], [1, 2], "1 periods of receipts, 2 of commitments"),
        ([-1], [0], "below 0"),
        ([0], [-1], "below 0"),
    ],
)
def test_figures_that_cannot_be(receipts: list[int], committed: list[int], wrong: str) -> None:
    with pytest.raises(ValueError, match=wrong):
        available_to_promise(0, receipts, committed)


# ---- laws

AMOUNTS = st.integers(0, 50)
PERIODS = st.integers(1, 10).flatmap(
    lambda n: st.tuples(
        st.integers(-10, 80),
        st.lists(st.one_of(st.just(0), AMOUNTS), min_size=n, max_size=n),
        st.lists(st.one_of(st.just(0), AMOUNTS), min_size=n, max_size=n),
    )
)
Figures = tuple[int, list[int], list[int]]


def balances(on_hand: int, receipts: list[int], committed: list[int]) -> list[int]:
    """What is left at the end of each period, counted on and on."""
    left, found = on_hand, []
    for came, went in zip(receipts, committed, strict=True):
        left += came - went
        found.append(left)
    return found


@given(PERIODS)
def test_looking_ahead_is_the_least_balance_from_then_on(figures: Figures) -> None:
    """The correction from supply to supply backward, against a count that knows no supplies."""
    counted = balances(*figures)
    periods = available_to_promise(*figures).periods
    assert [row.cumulative_milli for row in periods] == counted
    assert [row.look_ahead_milli for row in periods] == [
        min(counted[number:]) for number in range(len(counted))
    ]


@given(PERIODS)
def test_discrete_figures_share_out_all_that_is_left(figures: Figures) -> None:
    on_hand, receipts, committed = figures
    discrete = [row.discrete_milli for row in available_to_promise(*figures).periods]
    assert sum(row for row in discrete if row is not None) == (
        on_hand + sum(receipts) - sum(committed)
    )
    assert [row is not None for row in discrete] == [
        number == 0 or came > 0 for number, came in enumerate(receipts)
    ]


@given(PERIODS, st.data())
def test_promises_within_it_leave_no_commitment_short(
    figures: Figures, data: st.DataObject
) -> None:
    """However many promises are made one by one, a commitment that was covered stays so."""
    on_hand, receipts, committed = figures
    short = [min(left, 0) for left in balances(*figures)]
    asked = data.draw(st.lists(st.tuples(st.integers(0, len(receipts) - 1), AMOUNTS), max_size=6))
    now = list(committed)
    for period, wanted in asked:
        open_now = available_to_promise(on_hand, receipts, now).periods[period].look_ahead_milli
        now[period] += min(wanted, max(open_now, 0))
    left = balances(on_hand, receipts, now)
    assert all(after >= before for after, before in zip(left, short, strict=True))


@given(PERIODS, st.integers(0, 9))
def test_promising_all_of_it_leaves_exactly_nothing(figures: Figures, number: int) -> None:
    on_hand, receipts, committed = figures
    period = number % len(receipts)
    before = available_to_promise(*figures).periods
    amount = max(before[period].look_ahead_milli, 0)
    taken = [went + amount * (at == period) for at, went in enumerate(committed)]
    after = available_to_promise(on_hand, receipts, taken).periods
    if before[0].look_ahead_milli >= 0:
        assert all(row.look_ahead_milli >= 0 for row in after)
        assert after[period].look_ahead_milli == 0
    one_more = [went + (at == period) for at, went in enumerate(taken)]
    assert min(balances(on_hand, receipts, one_more)[period:]) < 0


@given(PERIODS, st.integers(0, 9), st.integers(1, 50))
def test_a_receipt_more_lowers_nothing(figures: Figures, number: int, amount: int) -> None:
    on_hand, receipts, committed = figures
    period = number % len(receipts)
    more = [came + amount * (at == period) for at, came in enumerate(receipts)]
    before = available_to_promise(*figures).periods
    after = available_to_promise(on_hand, more, committed).periods
    for old, new in zip(before, after, strict=True):
        assert new.cumulative_milli >= old.cumulative_milli
        assert new.look_ahead_milli >= old.look_ahead_milli
        if old.discrete_milli is not None:
            assert new.discrete_milli is not None
            assert new.discrete_milli >= old.discrete_milli


# ---- the small shop, in weeks of 2026-03-02


def ask(
    part: str,
    point: str | None = None,
    *,
    dataset: Dataset | None = None,
    plan: Plan | None = None,
    planned: bool = True,
    weeks: int = 5,
    new_orders: bool = False,
) -> PartAvailability:
    problem = Problem(dataset or small_shop.dataset(), Settings(as_of=small_shop.AS_OF))
    made = (plan or small_shop.plan()) if planned else None
    return availability(problem, made, part, point, weeks=weeks, count_new_orders=new_orders)


def ahead(found: PartAvailability) -> list[int]:
    """Whole units that may be promised, week by week."""
    return [week.look_ahead_milli // 1000 for week in found.weeks]


def test_an_engine_of_which_a_build_waits_for_a_new_order() -> None:
    found = ask("ENG-A")
    assert [week.week for week in found.weeks] == [f"2026-W{number}" for number in range(10, 15)]
    assert found.weeks[0].starts == date(2026, 3, 2)
    # two free (one more is held), taken by B1 and B3; P1/1 for B4; the new order for B5
    assert (found.on_hand_milli, found.held_milli) == (2000, 1000)
    assert [week.flows for week in found.weeks[:4]] == [
        Flows(builds_milli=2000),
        Flows(),
        Flows(purchases_milli=1000, builds_milli=1000),
        Flows(new_orders_milli=1000, builds_milli=1000),
    ]
    # 2 - 2 = 0; 1 - 1 - 1 = -1, as the new order is not counted
    assert [week.discrete_milli for week in found.weeks] == [0, None, -1000, None, None]
    assert ahead(found) == [-1] * 5
    assert found.steps == ()
    assert found.shortfall is not None
    assert (found.shortfall.week, found.shortfall.quantity_milli) == ("2026-W13", 1000)
    counted = ask("ENG-A", new_orders=True)
    assert [week.discrete_milli for week in counted.weeks] == [0, None, 0, 0, None]
    assert counted.shortfall is None


def test_one_point_has_what_is_moved_to_and_from_it() -> None:
    plant, store = ask("ENG-A", "BOI"), ask("ENG-A", "RNO")
    # 1 + 1 from RNO on Thursday - B1 - B3; and 1 that leaves RNO on Tuesday
    assert plant.weeks[0].flows == Flows(moved_in_milli=1000, builds_milli=2000)
    assert store.weeks[0].flows == Flows(moved_out_milli=1000)
    assert (plant.weeks[0].cumulative_milli, store.weeks[0].cumulative_milli) == (0, 0)
    assert plant.left_milli + store.left_milli == ask("ENG-A").left_milli == -1000


def test_a_new_order_that_is_moved_is_supply_at_neither_point() -> None:
    made = small_shop.plan()
    new = next(row for row in made.supplies if row.supply == "new/ENG-A/1")
    supplies = tuple(
        dataclasses.replace(row, from_supply="new/RNO") if row.supply == "move/RNO/ENG-A" else row
        for row in (*made.supplies, dataclasses.replace(new, supply="new/RNO", point="RNO"))
    )
    made = dataclasses.replace(made, supplies=supplies)
    plant, store = (ask("ENG-A", point, plan=made) for point in ("BOI", "RNO"))
    assert plant.weeks[0].flows == Flows(new_orders_milli=1000, builds_milli=2000)
    assert [week.flows.new_orders_milli for week in store.weeks] == [-1000, 0, 0, 1000, 0]
    # its own unit is free again
    assert ahead(store) == [1] * 5
    # counted, it leaves before it comes: 1 - 1, then + 1
    assert ahead(ask("ENG-A", "RNO", plan=made, new_orders=True)) == [0, 0, 0, 1, 1]


def test_a_purchase_past_due_is_counted_on_later() -> None:
    found = ask("LAMP")
    # 2 + 3 on the shelves, 5 for O1/1 this week; 10 on 03-09 less 4 for O2/1
    assert ahead(found) == [0, 6, 6, 6, 6]
    assert [(step.week, step.quantity_milli) for step in found.steps] == [("2026-W11", 6000)]
    (line,) = found.doubtful
    assert (line.order, line.past_due, line.counted_on) == ("P2", True, date(2026, 3, 9))


def test_what_comes_on_a_weekend_is_of_the_week_after() -> None:
    data = small_shop.dataset()
    purchases = tuple(
        dataclasses.replace(row, due=date(2026, 3, 14)) if row.order == "P1" else row
        for row in data.purchases
    )
    found = ask("ENG-A", dataset=dataclasses.replace(data, purchases=purchases))
    # Saturday of week 11; the plant opens on Monday of week 12
    assert [week.flows.purchases_milli for week in found.weeks] == [0, 0, 1000, 0, 0]


def test_commitments_after_the_weeks_shown_are_looked_at() -> None:
    found = ask("ENG-A", weeks=1, new_orders=True)
    assert len(found.weeks) == 1
    assert found.later == Flows(purchases_milli=1000, new_orders_milli=1000, builds_milli=2000)
    assert ahead(ask("ENG-A", weeks=1)) == [-1]
    assert ask("ENG-A", weeks=4).later is None


def test_what_is_in_no_plan_is_committed_at_its_due() -> None:
    found = ask("GHOST")
    (one,) = found.unplanned
    assert (one.who, one.quantity_milli, one.due, one.lacks) == (
        "B6",
        1000,
        date(2026, 4, 1),
        ("GHOST",),
    )
    assert ahead(found) == [-1] * 5
    data = small_shop.dataset()
    later = dataclasses.replace(
        data.parts_orders[0], order="O3", quantity_milli=2000, promised=None, within_days=5
    )
    more = dataclasses.replace(data, parts_orders=(*data.parts_orders, later))
    # ordered on Sunday 03-01: the fifth carrier day is Friday 03-06, in week 10
    lamp = ask("LAMP", dataset=more)
    assert [(row.who, row.due) for row in lamp.unplanned] == [("O3/1", date(2026, 3, 6))]
    assert ahead(lamp) == [-2, 4, 4, 4, 4]


def test_without_a_plan_all_needs_stand_at_their_due() -> None:
    found = ask("ENG-A", planned=False)
    # B1 to B3 are due in week 10, B5 is not promised, so from now on; B4 on 03-10
    assert [week.flows.builds_milli for week in found.weeks[:3]] == [4000, 1000, 0]
    # 2 - 4 - 1 = -3, and 1 in week 12
    assert [week.discrete_milli for week in found.weeks[:3]] == [-3000, None, 1000]
    assert ask("LAMP", planned=False).weeks[0].flows.parts_orders_milli == 9000


def test_who_is_not_firm_any_more_takes_nothing() -> None:
    data = small_shop.dataset()
    builds = tuple(
        dataclasses.replace(row, status="cancelled") if row.build == "B1" else row
        for row in data.builds
    )
    shop = dataclasses.replace(data, builds=builds, parts_orders=data.parts_orders[1:])
    assert ask("ENG-A", dataset=shop).weeks[0].flows.builds_milli == 1000
    assert ask("LAMP", dataset=shop).weeks[0].flows == Flows()
    # nor is anything made for it: four masts of five
    made = ask("MAST", dataset=shop)
    assert made.weeks[0].flows.made_milli == 4000
    assert sum(week.flows.builds_milli for week in made.weeks) == 4000


def test_a_part_that_stands_in_is_taken_where_it_is_used() -> None:
    # B2 calls for ENG-A and gets ENG-B
    assert ask("ENG-B").weeks[0].flows.builds_milli == 1000
    assert ahead(ask("ENG-B")) == [0] * 5


def test_lines_that_can_never_be_filled_say_what_they_lack() -> None:
    made = dataclasses.replace(
        small_shop.plan(),
        shipments=(),
        stranded=(Stranded("parts_order", "O1/1", ("LAMP",)),),
    )
    found = ask("LAMP", plan=made)
    assert [(row.who, row.lacks) for row in found.unplanned] == [
        ("O1/1", ("LAMP",)),
        ("O2/1", ()),
    ]


def test_weeks_at_the_turn_of_the_year() -> None:
    """ISO 8601: 2026 has 53 weeks; 2024-12-30 belongs to 2025."""
    assert [week_name(day) for day in (date(2027, 1, 1), date(2024, 12, 30))] == [
        "2026-W53",
        "2025-W01",
    ]
