"""Is anything taken twice: each kind by hand, and against the checker of plans on random books.

By hand on the tiny shop: a machine is a whole day's work on the only station, from Monday 03-02 on.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

import pytest
from beside_books import broken, listed, only, split_book, without
from books import Shape, settings_of
from fulfil_models.cells import MILLI
from fulfil_models.clashes import Clash, ClashKind, clashes, clashes_between
from fulfil_models.kept_open import apart, held
from fulfil_models.plan import Plan
from fulfil_models.settings import Settings
from fulfil_models.tables import Dataset, Downtime, Progress, WorkCentre
from fulfil_models.taken import (
    NOTHING,
    ORDERED,
    Busy,
    Taken,
    joined,
    purchase_key,
    stock_key,
    taken_by,
    with_orders,
)
from tiny_shop import SETTINGS, build, march, purchase, shop, source, stock


def at(day: int, hour: int) -> datetime:
    return datetime(2026, 3, day, hour)


def taken_in(data: Dataset, taken: Taken = NOTHING) -> tuple[Taken, Plan]:
    """What a first plan of the builds takes beside others, and the plan."""
    plan = listed(data, SETTINGS, taken)
    assert plan is not None
    return taken_by(plan, data), plan


def hold(data: Dataset, name: str, taken: Taken = NOTHING) -> Taken:
    """What a hold for one machine takes."""
    asked = replace(data, builds=(build(name, None),))
    plan = listed(asked, SETTINGS, taken)
    assert plan is not None
    return held(plan, data, f"{name}:", own=False)


def two_holds(data: Dataset, taken: Taken = NOTHING) -> tuple[Clash, ...]:
    """Clashes of two holds that were made beside the same."""
    return clashes(data, SETTINGS, taken + hold(data, "Q1", taken) + hold(data, "Q2", taken))


def of_kind(found: tuple[Clash, ...], kind: ClashKind) -> list[Clash]:
    return [clash for clash in found if clash.kind is kind]


# ---- lots, by hand


def test_two_holds_of_the_last_engine_on_the_shelf() -> None:
    data = shop(builds=(build("B1", march(2)),), stock=(stock(2),))
    taken, _ = taken_in(data)
    found = of_kind(two_holds(data, taken), ClashKind.STOCK)
    # two engines, three machines
    assert found == [Clash(ClashKind.STOCK, "ENGINE at A", ("B1", "Q1", "Q2"), MILLI)]
    assert found[0].text() == "ENGINE at A: 1 too few on the shelf for B1, Q1, Q2"


def test_two_holds_one_after_the_other_take_nothing_twice() -> None:
    data = shop(builds=(build("B1", march(2)),), stock=(stock(3),))
    taken, _ = taken_in(data)
    first = hold(data, "Q1", taken)
    assert clashes(data, SETTINGS, taken + first + hold(data, "Q2", taken + first)) == ()


def test_two_holds_of_one_purchase() -> None:
    data = shop(purchases=(purchase("P", march(9)),))
    found = of_kind(two_holds(data), ClashKind.PURCHASE)
    assert found == [Clash(ClashKind.PURCHASE, "P/1", ("Q1", "Q2"), MILLI)]


def test_two_holds_of_what_an_order_of_the_plan_brings_over() -> None:
    # the least order is two engines, of which the plan needs one; nothing else comes in March
    data = shop(
        builds=(build("B1", march(12)),), sources=(source(10, cap=2, minimum_milli=2 * MILLI),)
    )
    taken, plan = taken_in(data)
    assert [s.place_on for s in plan.supplies] == [march(2)]
    found = of_kind(two_holds(data, taken), ClashKind.PURCHASE)
    what = "ENGINE to be ordered from S for 2026-03-12 to A"
    whole = Clash(ClashKind.PURCHASE, what, ("B1", "Q1", "Q2"), MILLI)
    assert found == [whole]
    assert clashes(data, SETTINGS, taken + hold(data, "Q1", taken)) == ()


def test_what_was_counted_lower_since_is_taken_twice() -> None:
    data = shop(builds=(build("B1", march(2)), build("B2", march(3))), stock=(stock(2),))
    taken, _ = taken_in(data)
    assert clashes(data, SETTINGS, taken) == ()
    one_less = replace(data, stock=(stock(2, held=1),))
    assert [(c.what, c.over) for c in clashes(one_less, SETTINGS, taken)] == [
        ("ENGINE at A", MILLI)
    ]
    gone = replace(data, stock=())
    assert [(c.what, c.over) for c in clashes(gone, SETTINGS, taken)] == [
        ("ENGINE at A", 2 * MILLI)
    ]


def test_more_held_than_there_is_counts_as_nothing() -> None:
    taken = Taken({stock_key("A", "ENGINE"): MILLI}, drawers={stock_key("A", "ENGINE"): ("Q1",)})
    data = shop(stock=(stock(1, held=3),))
    assert [(c.over, c.by) for c in clashes(data, SETTINGS, taken)] == [(MILLI, ("Q1",))]


def test_an_order_of_nobody_is_missing() -> None:
    """A hold that draws on an order of a plan that is gone."""
    key = purchase_key("new/S/A/ENGINE/2026-03-12", ORDERED)
    (clash,) = clashes(shop(), SETTINGS, Taken({key: MILLI}))
    assert (clash.kind, clash.over) == (ClashKind.PURCHASE, MILLI)


def test_orders_count_once_whether_they_stand_among_the_purchases_or_not() -> None:
    data = shop(builds=(build("B1", march(12)), build("B2", march(13))), sources=(source(10, 2),))
    taken, _ = taken_in(data)
    assert taken.orders
    assert clashes(data, SETTINGS, taken) == ()
    assert clashes(with_orders(data, taken), SETTINGS, taken) == ()
    twice = Taken({key: 2 * milli for key, milli in taken.lots_milli.items()}, taken.orders)
    in_both = [clashes(d, SETTINGS, twice) for d in (data, with_orders(data, taken))]
    assert in_both[0] == in_both[1] != ()


# ---- months, by hand


def test_two_holds_of_what_a_supplier_lets_go_in_a_month() -> None:
    data = shop(sources=(source(10, cap=1),))
    # each by an order of its own, here on 03-12
    assert of_kind(two_holds(data), ClashKind.CAP) == [
        Clash(ClashKind.CAP, "ENGINE from S in 2026-03", ("Q1", "Q2"), MILLI)
    ]


def test_what_is_on_order_counts_within_a_month() -> None:
    data = shop(sources=(source(10, cap=2),))
    taken = hold(data, "Q1")
    more = replace(data, purchases=(purchase("P", march(20)),))
    assert clashes(more, SETTINGS, taken) == ()
    more = replace(data, purchases=(purchase("P", march(20), units=2),))
    assert [(c.kind, c.over) for c in clashes(more, SETTINGS, taken)] == [(ClashKind.CAP, MILLI)]
    # that comes in another month
    later = replace(data, purchases=(purchase("P", date(2026, 4, 1), units=2),))
    assert clashes(later, SETTINGS, taken) == ()


def test_a_purchase_past_due_counts_in_the_month_it_is_counted_on() -> None:
    data = shop(sources=(source(10, cap=2),), purchases=(purchase("P", date(2026, 2, 27), 2),))
    taken = hold(replace(data, purchases=()), "Q1")
    # past due on 03-02, counted on 7 days later: 03-09
    assert [c.kind for c in clashes(data, SETTINGS, taken)] == [ClashKind.CAP]
    assert clashes(data, replace(SETTINGS, overdue_days=40), taken) == ()


def test_a_month_that_purchases_fill_by_themselves_is_no_clash() -> None:
    data = shop(
        stock=(stock(1),), sources=(source(10, cap=1),), purchases=(purchase("P", march(9), 3),)
    )
    assert clashes(data, SETTINGS, hold(data, "Q1")) == ()


def test_points_have_one_cap() -> None:
    """The least of those of the points that are ordered to, as the checker of plans has it."""
    data = shop(sources=(source(10, cap=3), source(10, cap=2, point="B")))
    (order,) = hold(data, "Q1").orders
    a_two = Taken(orders=(replace(order, quantity_milli=2 * MILLI),))
    b_one = Taken(orders=(replace(order, order="other", point="B"),))
    assert clashes(data, SETTINGS, a_two) == ()
    assert clashes(data, SETTINGS, b_one) == ()
    assert [(c.kind, c.over) for c in clashes(data, SETTINGS, a_two + b_one)] == [
        (ClashKind.CAP, MILLI)
    ]


# ---- stations, by hand


def busy(who: str, starts: datetime, ends: datetime, stations: int = 1) -> Busy:
    return Busy("CELL", starts, ends, stations, who)


def test_two_holds_of_one_day_at_the_only_station() -> None:
    data = shop(stock=(stock(2),))
    assert two_holds(data) == (Clash(ClashKind.WORK_CENTRE, "CELL", ("Q1", "Q2"), 1, at(2, 8)),)
    (clash,) = two_holds(data)
    assert clash.text() == "CELL: 1 too few stations from 2026-03-02 08:00 for Q1, Q2"
    two = replace(data, work_centres=(WorkCentre(work_centre="CELL", point="A", stations=2),))
    assert two_holds(two) == ()


def test_how_many_stations_are_too_few_and_from_when_on() -> None:
    two = shop(work_centres=(WorkCentre(work_centre="CELL", point="A", stations=2),))
    taken = Taken(
        busy=(
            busy("Q1", at(2, 8), at(2, 12)),
            busy("Q2", at(2, 9), at(2, 14), stations=2),
            busy("Q3", at(2, 11), at(2, 15)),
        )
    )
    # 9-11: three of two; 11-12: four; from 12 Q2 and Q3 with three; until 14
    (clash,) = clashes(two, SETTINGS, taken)
    assert (clash.by, clash.over, clash.at) == (("Q1", "Q2", "Q3"), 2, at(2, 9))


def test_one_after_the_other_is_no_clash() -> None:
    taken = Taken(busy=(busy("Q1", at(2, 8), at(2, 12)), busy("Q2", at(2, 12), at(2, 15))))
    assert clashes(shop(), SETTINGS, taken) == ()


def test_a_station_that_goes_out_is_taken_twice() -> None:
    taken = Taken(busy=(busy("Q1", at(3, 8), at(3, 12)),))

    def out(starts: datetime, ends: datetime) -> tuple[Clash, ...]:
        row = Downtime(work_centre="CELL", starts=starts, ends=ends, stations=1)
        return clashes(shop(downtime=(row,)), SETTINGS, taken)

    assert out(at(2, 8), at(3, 8)) == ()
    assert out(at(3, 12), at(3, 16)) == ()
    assert [(c.by, c.over, c.at) for c in out(at(3, 11), at(3, 16))] == [(("Q1",), 1, at(3, 11))]
    # from the evening before: it is missed from the opening on
    assert [c.at for c in out(at(2, 20), at(3, 9))] == [at(3, 8)]


def test_what_overlaps_while_the_point_is_closed_is_no_clash() -> None:
    """Work that pauses from Friday 16:30 to Monday 08:00, and repairs on the Saturday."""
    taken = Taken(busy=(busy("Q1", at(6, 14), at(9, 10)),))
    saturday = Downtime(work_centre="CELL", starts=at(7, 6), ends=at(7, 20), stations=1)
    assert clashes(shop(downtime=(saturday,)), SETTINGS, taken) == ()
    into_monday = replace(saturday, ends=at(9, 9))
    found = clashes(shop(downtime=(into_monday,)), SETTINGS, taken)
    assert [c.at for c in found] == [at(9, 8)]


def test_an_overlap_over_several_days_is_told_once() -> None:
    taken = Taken(busy=(busy("Q1", at(2, 14), at(4, 10)), busy("Q2", at(2, 15), at(4, 9))))
    assert [c.at for c in clashes(shop(), SETTINGS, taken)] == [at(2, 15)]
    apart_by_a_day = Taken(
        busy=(
            busy("Q1", at(2, 8), at(4, 16)),
            busy("Q2", at(2, 8), at(2, 9)),
            busy("Q3", at(4, 8), at(4, 9)),
        )
    )
    found = clashes(shop(), SETTINGS, apart_by_a_day)
    assert [(c.by, c.at) for c in found] == [
        (("Q1", "Q2"), at(2, 8)),
        (("Q1", "Q3"), at(4, 8)),
    ]


def test_started_work_may_clash_with_downtime_but_not_with_a_hold() -> None:
    data = shop(
        builds=(build("B1", march(2)),),
        progress=(Progress(build="B1", operation=10, started=at(2, 8)),),
        downtime=(Downtime(work_centre="CELL", starts=at(2, 8), ends=at(2, 16), stations=1),),
        stock=(stock(1),),
    )
    taken, _ = taken_in(data)
    assert [row.started for row in taken.busy] == [True]
    assert clashes(data, SETTINGS, taken) == ()
    found = clashes(data, SETTINGS, taken + Taken(busy=(busy("Q1", at(2, 8), at(2, 10)),)))
    assert [(c.by, c.at) for c in found] == [(("B1", "Q1"), at(2, 8))]


def test_nothing_runs_at_a_work_centre_that_is_gone() -> None:
    taken = Taken(busy=(busy("Q1", at(2, 8), at(2, 10)), busy("Q2", at(2, 8), at(2, 10))))
    assert clashes(replace(shop(), work_centres=()), SETTINGS, taken) == ()


# ---- only what is added


def test_what_only_others_have_is_not_looked_at() -> None:
    data = shop(stock=(stock(1), stock(1, part="ENGINE2")), sources=(source(10, cap=1),))
    base = Taken(
        {stock_key("A", "ENGINE"): 2 * MILLI},
        busy=(busy("Q1", at(2, 8), at(2, 12)), busy("Q2", at(2, 8), at(2, 12))),
    )
    assert len(clashes(data, SETTINGS, base)) == 2
    free = Taken({stock_key("A", "ENGINE2"): MILLI}, busy=(busy("Q3", at(2, 13), at(2, 15)),))
    assert clashes_between(data, SETTINGS, base, free) == ()
    third = Taken({stock_key("A", "ENGINE2"): 2 * MILLI}, busy=(busy("Q3", at(2, 11), at(2, 15)),))
    found = clashes_between(data, SETTINGS, base, third)
    assert [(c.what, c.over) for c in found] == [("ENGINE2 at A", MILLI), ("CELL", 2)]
    assert clashes_between(data, SETTINGS, base, NOTHING) == ()


# ---- laws, on random books

SHAPES = (Shape(builds=4, points=1), Shape(builds=4), Shape(builds=4, alternates=False))
TWICE = {"stock", "purchases", "drawn", "stations", "monthly cap"}
"""rules that a plan breaks which takes something twice"""


def three_plans(seed: int) -> tuple[Dataset, Settings, Plan, Plan, Plan] | None:
    """A random book, a plan of two of its builds, and two pieces made beside that plan: of even
    seeds the second one as if the first were not there."""
    found = split_book(seed, SHAPES[seed % len(SHAPES)], asked=2)
    if found is None:
        return None
    data, (first, second) = found
    settings = settings_of(data)
    before = listed(without(data, (first, second)), settings)
    if before is None:
        return None
    taken = taken_by(before, data)
    a = listed(only(data, (first,)), settings, taken)
    if a is None:
        return None
    if seed % 2:
        taken += held(a, data, "Q1:", own=False)
    b = listed(only(data, (second,)), settings, taken)
    return None if b is None else (data, settings, before, a, b)


@pytest.mark.parametrize("seed", range(60))
def test_a_clash_is_what_the_checker_finds_in_the_plans_joined(seed: int) -> None:
    found = three_plans(seed)
    if found is None:
        pytest.skip("a list schedule leaves something out")
    data, settings, before, a, b = found
    base = taken_by(before, data)
    holds = [held(piece, data, f"Q{n}:", own=False) for n, piece in enumerate((a, b), 1)]
    whole = before
    for n, piece in enumerate((a, b), 1):
        whole = joined(whole, apart(piece, data, f"Q{n}:", own=False))
        rest = without(data, set() if n == 2 else {b.builds[0].build})
        taken = sum(holds[:n], base)
        wrong = broken(rest, whole, settings)
        twice = clashes(data, settings, taken)
        assert bool(twice) == any(row.rule in TWICE for row in wrong), (twice, wrong)
        if not twice:
            assert wrong == []
        # with nothing wrong before, all clashes are the added one's
        assert clashes_between(data, settings, sum(holds[: n - 1], base), holds[n - 1]) == twice
    assert clashes(data, settings, base) == ()
    assert clashes(data, settings, base + holds[0]) == ()
    assert clashes(data, settings, base + holds[1]) == ()
    if seed % 2:
        assert clashes(data, settings, base + holds[0] + holds[1]) == ()


def test_both_happen_in_random_books() -> None:
    """So that the law above is not kept by books in which nothing, or everything, clashes."""
    kinds = set()
    clear = clashing = 0
    for seed in range(60):
        found = three_plans(seed)
        if found is not None:
            data, settings, before, a, b = found
            holds = [held(piece, data, f"Q{n}:", own=False) for n, piece in enumerate((a, b), 1)]
            twice = clashes(data, settings, sum(holds, taken_by(before, data)))
            kinds |= {clash.kind for clash in twice}
            clear += not twice
            clashing += bool(twice)
    assert kinds == set(ClashKind)
    assert min(clear, clashing) >= 20
