"""Which lots are there, at which point, from when? Every rule of supply alone, by hand.

The planning date is Monday 2026-03-02 unless said otherwise; a position is a number of working
minutes, 480 a day: Monday the 2nd opens at 0, the 9th at 5 x 480 = 2400.
"""

from __future__ import annotations

from datetime import date

import pytest
from fulfil_models.plan import SupplyKind
from fulfil_models.supply import UNLIMITED_MILLI, Lot, SharedMonth, Supplies
from fulfil_models.tables import Closure, Dataset, Source
from tiny_shop import DAY, build, hurried, march, problem_of, purchase, shop, source, stock


def lots(data: Dataset, point: str = "A", **settings: object) -> tuple[Lot, ...]:
    return Supplies(problem_of(data, **settings)).bin("ENGINE", point).lots


def days_and_units(found: tuple[Lot, ...]) -> list[tuple[date, int]]:
    return [(lot.usable_on, lot.quantity_milli // 1000) for lot in found]


def arrivals(found: tuple[Lot, ...], until: date) -> list[tuple[date | None, int]]:
    return [
        (lot.arrives_on, lot.quantity_milli // 1000)
        for lot in found
        if lot.arrives_on is not None and lot.arrives_on <= until
    ]


# ---- stock


def test_stock_is_there_less_what_is_held_and_only_at_its_point() -> None:
    (lot,) = lots(shop(stock=(stock(5, held=2),)))
    assert (lot.kind, lot.quantity_milli) == (SupplyKind.STOCK, 3000)
    assert (lot.usable_on, lot.usable) == (march(2), 0)
    assert lots(shop(stock=(stock(5, held=2),)), "B") == ()


def test_stock_that_is_held_whole_is_no_lot() -> None:
    assert lots(shop(stock=(stock(2, held=2),))) == ()


def test_stock_is_usable_from_the_first_working_day() -> None:
    """As of Saturday the 7th: usable on Monday, the first minute of the axis."""
    (lot,) = lots(shop(stock=(stock(1),)), as_of=march(7))
    assert (lot.usable_on, lot.usable) == (march(9), 0)


# ---- open purchases


def test_an_open_purchase_is_usable_from_the_opening_of_its_due_day() -> None:
    (lot,) = lots(shop(purchases=(purchase("P1", march(4), 3),)))
    assert lot.kind is SupplyKind.PURCHASE
    assert (lot.usable_on, lot.usable, lot.quantity_milli) == (march(4), 2 * DAY, 3000)


def test_a_purchase_due_on_a_closed_day_is_usable_on_the_next_working_day() -> None:
    """Due on Saturday the 7th; Monday the 9th is closed as well: Tuesday, five working days on."""
    data = shop(
        purchases=(purchase("P1", march(7)),),
        closures=(Closure(calendar="standard", day=march(9)),),
    )
    (lot,) = lots(data)
    assert (lot.usable_on, lot.usable) == (march(10), 5 * DAY)


@pytest.mark.parametrize(
    ("due", "overdue_days", "expected"),
    [
        (march(1), 7, march(9)),  # past due: Monday the 2nd and 7 days
        (date(2026, 1, 5), 7, march(9)),  # however long
        (march(1), 3, march(5)),
        (march(1), 5, march(9)),  # the 7th is a Saturday
        (march(2), 7, march(2)),  # due today is not past due
    ],
)
def test_a_purchase_past_due_is_counted_on_some_days_from_now(
    due: date, overdue_days: int, expected: date
) -> None:
    (lot,) = lots(shop(purchases=(purchase("P1", due),)), overdue_days=overdue_days)
    assert lot.usable_on == expected


def test_a_date_that_is_not_confirmed_counts_all_the_same() -> None:
    (lot,) = lots(shop(purchases=(purchase("P1", march(4), confirmed=False),)))
    assert lot.usable_on == march(4)


def test_lots_stand_in_the_order_of_the_day_they_are_usable() -> None:
    data = shop(
        stock=(stock(1),),
        purchases=(purchase("P2", march(16), 2), purchase("P1", march(5), 4)),
    )
    found = Supplies(problem_of(data)).bin("ENGINE", "A")
    assert days_and_units(found.lots) == [(march(2), 1), (march(5), 4), (march(16), 2)]
    assert found.times == (0, 3 * DAY, 10 * DAY)
    assert found.supply == (1000, 5000, 7000)


# ---- new purchases


def test_a_source_without_a_cap_delivers_any_amount_after_its_lead_time() -> None:
    (lot,) = lots(shop(sources=(source(10),)))
    assert lot.kind is SupplyKind.NEW_PURCHASE
    assert (lot.arrives_on, lot.usable_on, lot.usable) == (march(12), march(12), 8 * DAY)
    assert lot.quantity_milli == UNLIMITED_MILLI


def test_a_lead_time_is_of_calendar_days_and_use_starts_on_a_working_day() -> None:
    (lot,) = lots(shop(sources=(source(5),)))
    assert (lot.arrives_on, lot.usable_on) == (march(7), march(9))


def test_what_is_ordered_later_comes_later() -> None:
    """Orders from 16 March on: 10 days after that; one before the planning date changes nothing."""
    data = shop(sources=(source(10),))
    (lot,) = lots(data, orders_from=march(16))
    assert (lot.arrives_on, lot.usable_on, lot.usable) == (march(26), march(26), 18 * DAY)
    assert lots(data, orders_from=date(2026, 2, 2)) == lots(data)


def test_the_months_of_a_cap_begin_with_the_first_order_that_may_be_placed() -> None:
    """21 days after 16 March are 6 April; expedited by 14, 23 March, and again on 1 April."""
    supplies = Supplies(problem_of(shop(sources=(hurried(21, 14, 5, 4),)), orders_from=march(16)))
    found = supplies.bin("ENGINE", "A").lots
    assert days_and_units(found)[:2] == [(date(2026, 4, 6), 4), (date(2026, 5, 1), 4)]
    (expedited,) = supplies.expedited("ENGINE", "A")
    assert arrivals(expedited.lots, date(2026, 12, 31)) == [(march(23), 4)]
    (advance,) = supplies.advances("ENGINE", "A")
    assert advance.arrives_on == date(2026, 4, 1)


def test_open_purchases_do_not_wait() -> None:
    (lot,) = lots(shop(purchases=(purchase("P1", march(4)),)), orders_from=march(16))
    assert lot.usable_on == march(4)


def test_a_source_delivers_to_its_point_only() -> None:
    assert lots(shop(sources=(source(10),)), "B") == ()


def test_a_cap_gives_one_lot_a_month_from_the_first_day_it_can_be_there() -> None:
    """21 days: Monday 23 March; then the first of each month (1 August is a Saturday)."""
    found = lots(shop(sources=(source(21, cap=4),)))
    assert days_and_units(found)[:6] == [
        (march(23), 4),
        (date(2026, 4, 1), 4),
        (date(2026, 5, 1), 4),
        (date(2026, 6, 1), 4),
        (date(2026, 7, 1), 4),
        (date(2026, 8, 3), 4),
    ]
    assert [lot.arrives_on for lot in found[:2]] == [march(23), date(2026, 4, 1)]


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        ({}, 10),
        ({"multiple_milli": 4000}, 8),  # two orders of 4
        ({"minimum_milli": 10_000}, 10),
        ({"minimum_milli": 11_000}, 0),  # no order is small enough
        ({"minimum_milli": 9000, "multiple_milli": 4000}, 0),  # 8 is too few, 12 too many
    ],
)
def test_a_month_brings_what_whole_orders_can(more: dict[str, int], expected: int) -> None:
    found = lots(shop(sources=(source(21, cap=10, **more),)))
    assert sum(q for day, q in days_and_units(found) if day == march(23)) == expected


def test_open_purchases_count_against_the_cap_of_the_month_they_come_in() -> None:
    """10 a month: 3 come in April; 2 past due since February count on 9 March, as do 4 due at B."""
    data = shop(
        sources=(source(21, cap=10),),
        purchases=(
            purchase("P1", date(2026, 4, 15), 3),
            purchase("P2", date(2026, 2, 20), 2),
            purchase("P3", march(30), 4, point="B"),
        ),
    )
    assert arrivals(lots(data), date(2026, 5, 31)) == [
        (march(23), 4),
        (date(2026, 4, 1), 7),
        (date(2026, 5, 1), 10),
    ]


def test_purchases_of_another_part_or_supplier_leave_a_cap_alone() -> None:
    data = shop(
        sources=(source(21, cap=10),),
        purchases=(
            purchase("P1", march(25), 3, part="ENGINE2"),
            purchase("P2", march(25), 3, supplier="T"),
        ),
    )
    assert arrivals(lots(data), march(31)) == [(march(23), 10)]


def test_a_month_that_is_full_brings_nothing_more() -> None:
    data = shop(sources=(source(21, cap=2),), purchases=(purchase("P1", march(3), 2),))
    assert arrivals(lots(data), date(2026, 4, 30)) == [(date(2026, 4, 1), 2)]


def test_a_cap_over_several_points_is_dealt_out_and_leaves_each_a_lot_of_every_month() -> None:
    """Four a month for B, where the only build is; A's lots have nothing in them. To either point
    there could come four, and to both together (`test_shared_cap` says who gets what)."""
    builds = (build("B1", march(20), point="B"),)
    data = shop(sources=(source(21, cap=4), source(21, cap=4, point="B")), builds=builds)
    supplies = Supplies(problem_of(data))
    at_a, at_b = (supplies.bin("ENGINE", point).lots for point in ("A", "B"))
    assert days_and_units(at_a)[:2] == [(march(23), 0), (date(2026, 4, 1), 0)]
    assert days_and_units(at_b)[:2] == [(march(23), 4), (date(2026, 4, 1), 4)]
    for lot in (at_a[0], at_b[0]):
        assert supplies.most_milli(lot) == 4000
        assert supplies.shared_month(lot) == SharedMonth("ENGINE", "S", "2026-03", 4000)


def test_a_cap_of_one_point_is_shared_with_nobody() -> None:
    supplies = Supplies(
        problem_of(shop(sources=(source(21, cap=4), source(21, point="B", part="X"))))
    )
    lot = supplies.bin("ENGINE", "A").lots[0]
    assert supplies.shared == {}
    assert (supplies.shared_month(lot), supplies.most_milli(lot)) == (None, 4000)


def test_sources_without_a_cap_deliver_to_every_point() -> None:
    data = shop(sources=(source(21), source(21, point="B")))
    assert [len(lots(data, point)) for point in ("A", "B")] == [1, 1]


# ---- expediting


def expedited(of: Source) -> list[tuple[date | None, int]]:
    (there,) = Supplies(problem_of(shop(sources=(of,)))).expedited("ENGINE", "A") or (None,)
    if there is None:
        return []
    assert all(lot.expedited for lot in there.lots)
    return [(lot.arrives_on, lot.quantity_milli // 1000) for lot in there.lots]


def test_an_expedited_purchase_comes_so_many_days_sooner() -> None:
    assert expedited(hurried(10, 4, 100)) == [(march(8), UNLIMITED_MILLI // 1000)]


def test_it_never_comes_before_the_planning_date() -> None:
    assert expedited(hurried(10, 30, 100)) == [(march(2), UNLIMITED_MILLI // 1000)]


def test_a_source_that_saves_no_days_is_not_expedited() -> None:
    assert expedited(hurried(10, 0, 100)) == []
    assert expedited(source(10)) == []


def test_months_before_the_first_ordinary_arrival_come_by_expediting_alone() -> None:
    """70 days: 11 May; 40 days sooner: 1 April. April comes expedited only, May itself may be put
    forward to its first day, June comes in time without."""
    of = hurried(70, 40, 100, cap=4)
    assert expedited(of) == [(date(2026, 4, 1), 4)]
    supplies = Supplies(problem_of(shop(sources=(of,))))
    assert arrivals(supplies.bin("ENGINE", "A").lots, date(2026, 6, 30)) == [
        (date(2026, 5, 11), 4),
        (date(2026, 6, 1), 4),
    ]
    (advance,) = supplies.advances("ENGINE", "A")
    assert (advance.event, advance.arrives_on) == (0, date(2026, 5, 1))
    assert advance.limit_milli == 4000


def test_the_month_of_the_first_ordinary_arrival_may_be_put_forward() -> None:
    """21 days: 23 March; 11 sooner: Thursday the 12th, eight working days on."""
    of = hurried(21, 11, 100, cap=4)
    assert expedited(of) == []
    (advance,) = Supplies(problem_of(shop(sources=(of,)))).advances("ENGINE", "A")
    assert (advance.arrives_on, advance.usable, advance.limit_milli) == (march(12), 8 * DAY, 4000)


def test_nothing_is_put_forward_where_no_opening_is_gained() -> None:
    """Sunday the 22nd and, two days sooner, Friday the 20th; but Saturday the 21st gains nothing
    over Sunday: both are usable on Monday."""
    supplies = Supplies(problem_of(shop(sources=(hurried(20, 2, 100, cap=4),))))
    assert [a.arrives_on for a in supplies.advances("ENGINE", "A")] == [march(20)]
    supplies = Supplies(problem_of(shop(sources=(hurried(20, 1, 100, cap=4),))))
    assert supplies.advances("ENGINE", "A") == ()


def test_a_bin_is_made_once() -> None:
    supplies = Supplies(problem_of(shop(stock=(stock(1),))))
    assert supplies.bin("ENGINE", "A") is supplies.bin("ENGINE", "A")
    assert [there.index for there in supplies.bins] == list(range(len(supplies.bins)))
