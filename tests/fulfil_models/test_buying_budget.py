"""What is bought with so much cash a month: who has it first, who waits and until when."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest
from buying_cases import SETTINGS, UNIT, bought, expected, on
from fulfil_models.cells import MICRO
from fulfil_models.tables import (
    Part,
    PriceBreak,
)
from tiny_shop import (
    build,
    hurried,
    march,
    shop,
    source,
)


def test_a_budget_of_nothing_buys_nothing() -> None:
    data = shop(sources=(source(5, price_micro=10 * MICRO),), builds=on(25))
    found = bought(data, budget_micro=0)
    assert found.lines == ()
    (short,) = found.short
    assert (short.who, short.comes_on) == ("B1", None)
    assert (short.why_not, short.for_cash) == ("the budget lets no more come until 2026-03", True)
    with pytest.raises(ValueError, match="below 0"):
        bought(data, budget_micro=-1)


def test_what_is_firm_has_the_cash_before_what_is_expected() -> None:
    # an order costs 50 besides, so 150 a month are for the engine in March, or for all 20 others
    data = shop(
        sources=(
            source(5, price_micro=100 * MICRO),
            source(5, part="ENGINE2", price_micro=5 * MICRO),
        ),
        builds=on(25),
    )
    found = bought(data, expected(20, 0, part="ENGINE2"), budget_micro=150 * MICRO)
    assert [(line.part, line.due_on.month) for line in found.lines] == [
        ("ENGINE", 3),
        ("ENGINE2", 4),
    ]
    spent = Counter[int]()
    for line in found.lines:
        spent[line.due_on.month] += (line.cost_micro or 0) + SETTINGS.order_cost_micro
    assert max(spent.values()) == 150 * MICRO


def test_what_waits_for_the_budget_is_told_and_until_when() -> None:
    # two engines by the 25th of March at 100 and 50 to order each time: 150 a month are for one
    data = shop(sources=(source(5, price_micro=100 * MICRO),), builds=on(24) + on(25, "B2"))
    found = bought(data, expected(0, 0), budget_micro=150 * MICRO)
    assert [line.due_on.month for line in found.lines] == [3, 4]
    (short,) = found.short
    assert (short.who, short.comes_on, short.for_cash) == ("B2", found.lines[1].due_on, True)
    assert short.why_not == "the budget lets it come no sooner"
    assert bought(data, expected(0, 0), budget_micro=300 * MICRO).short == ()


@pytest.mark.parametrize(("breaks", "units"), [((), 19), ((60,), 23)])
def test_what_the_plan_expedites_is_paid_first_with_all_that_it_costs(
    breaks: tuple[int, ...], units: int
) -> None:
    """Of 400 in March the engine expedited takes 100 + 10 + 50 to order it: 240 are left for 19
    others at 10, and 50 to order them. At 60 from one on, 280 for 23."""
    terms = replace(hurried(40, 35, 10), price_micro=100 * MICRO)
    parts = (Part(part="MACHINE", make=True), Part(part="ENGINE"), Part(part="ENGINE2"))
    data = shop(
        parts=parts,
        sources=(terms, source(5, part="ENGINE2", price_micro=10 * MICRO)),
        price_breaks=tuple(
            PriceBreak(
                part="ENGINE",
                supplier="S",
                from_quantity_milli=UNIT,
                price_micro=price * MICRO,
            )
            for price in breaks
        ),
        builds=(build("B1", march(9)),),
    )
    found = bought(data, expected(100, part="ENGINE2"), budget_micro=400 * MICRO)
    paid = Counter[int]()
    for line in found.lines:
        paid[line.due_on.month] += (line.cost_micro or 0) + line.expedite_cost_micro
        paid[line.due_on.month] += SETTINGS.order_cost_micro
    assert paid[3] == 400 * MICRO
    others = [line for line in found.lines if line.part == "ENGINE2" and line.due_on.month == 3]
    assert [line.quantity_milli for line in others] == [units * UNIT]


def test_with_an_ample_budget_the_lines_are_those_without_any() -> None:
    # 20 and no more may come a month; the one that is wanted beyond may not wait to save an order
    only_20 = source(
        5, minimum_milli=20 * UNIT, monthly_cap_milli=20 * UNIT, price_micro=10 * MICRO
    )
    data, wanted = shop(sources=(only_20,)), expected(10, 11)
    free = bought(data, wanted)
    assert [line.quantity_milli for line in free.lines] == [20 * UNIT] * 2
    assert bought(data, wanted, budget_micro=10**6 * MICRO).lines == free.lines
