"""What one more unit of a rationed part saves, and never more than is possible."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from books import books, settings_of
from fulfil_models.cells import MILLI
from fulfil_models.one_more import ORDER, Worth, worth_for
from fulfil_models.plan import Plan
from fulfil_models.problem import Problem
from fulfil_models.rationing import rations
from fulfil_models.tables import Dataset, Purchase, Supplier
from hypothesis import assume, given
from hypothesis import settings as effort
from oracle import optimum
from rationed_shop import FAR, two_wait
from tiny_shop import (
    AS_OF,
    SETTINGS,
    build,
    engines,
    march,
    planned,
    purchase,
    shop,
    source,
    stand_in,
    stock,
)


def worth(data: Dataset, plan: Plan | None = None) -> tuple[Worth, ...]:
    problem, plan = Problem(data, SETTINGS), plan or planned(data)
    (row,) = rations(problem, plan)
    return worth_for(problem, plan, row)


def test_one_more_lets_the_last_come_first() -> None:
    """With an engine on the 2nd one is in time and the other done on the 9th: 11 days less 3."""
    (row,) = worth(two_wait())
    assert (row.month, row.usable_on, row.point) == ("2026-03", march(2), "A")
    assert (row.late_days, row.lateness_cost, row.cost) == (8, 8000, 8000)
    assert sum(one.days for one in row.sooner) >= 12


def test_a_later_month_saves_less() -> None:
    """The second engine comes on 6 April: 23 working days after the 4th of March; with one on the
    first of April, a Wednesday, it is 20. With one in March 3 are left of 26."""
    first, second = worth(two_wait(date(2026, 4, 6)))
    assert (first.month, first.late_days) == ("2026-03", 23)
    assert (second.month, second.usable_on, second.late_days) == ("2026-04", date(2026, 4, 1), 3)


def test_it_saves_an_alternate() -> None:
    data = shop(
        builds=(build("B1", march(4)), build("B2", march(5))),
        purchases=(purchase("P1", march(3)),),
        stock=(stock(1, part="ENGINE2"),),
        sources=(source(FAR, cap=1),),
        alternates=(stand_in(100),),
    )
    (row,) = worth(data)
    assert (row.late_days, row.cost) == (0, 100)


def test_two_that_need_two_are_not_helped_by_one() -> None:
    """Each takes two engines, and each purchase brings two: one more serves nobody."""
    data = replace(
        two_wait(),
        bills=(engines(2),),
        purchases=(purchase("P1", march(9), units=2), purchase("P2", march(16), units=2)),
    )
    assert [row.cost for row in worth(data)] == [0]


def test_what_the_plan_could_do_without_is_not_its_worth() -> None:
    """The plan is of before two engines came to the shelf: with them nobody need wait, and one
    more saves nothing."""
    before = two_wait()
    plan = planned(before)
    after = replace(before, stock=(stock(2),))
    assert [row.cost for row in worth(after, plan)] == [0]


def _with_one_more(data: Dataset, row: Worth, part: str) -> Dataset:
    extra = Purchase(
        order=ORDER,
        line="1",
        part=part,
        supplier=ORDER,
        point=row.point,
        quantity_milli=MILLI,
        ordered=AS_OF,
        due=row.usable_on,
    )
    return replace(
        data,
        purchases=(*data.purchases, extra),
        suppliers=(*data.suppliers, Supplier(supplier=ORDER)),
    )


@pytest.mark.slow
@effort(max_examples=12, deadline=None)
@given(
    books(
        builds=3,
        operations=1,
        caps=True,
        purchases=True,
        made=False,
        phantoms=False,
        options=False,
        calendars=False,
    )
)
def test_never_more_than_is_possible(data: Dataset) -> None:
    """Where the plan is the best there is, what one more unit is said to save is no more than the
    best plan with it is cheaper; and never below nothing, nor more in a later month."""
    settings = settings_of(data)
    problem, plan = Problem(data, settings), planned(data, settings)
    assume(not data.lanes or not any(row.cost_micro for row in data.deliveries))
    best = optimum(data, settings)
    assume(plan.objective.total == best)
    for row in rations(problem, plan):
        found = worth_for(problem, plan, row)
        assert all(one.cost >= 0 and one.late_days >= 0 for one in found)
        costs = [one.cost for one in found]
        assert costs == sorted(costs, reverse=True)
        for one in found[:2]:
            most = best - optimum(_with_one_more(data, one, row.part), settings)
            assert one.cost <= most
