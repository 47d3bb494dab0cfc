"""The earliest date of machines beside a plan that stands, by hand.

On the tiny shop: a machine is a whole day's work on the only station, from Monday 03-02 on.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from fractions import Fraction

from fulfil_models.cells import MILLI
from fulfil_models.plan import BlockerKind
from fulfil_models.promise import (
    Allowed,
    Question,
    by_whatever,
    extra_cost,
    plainly,
)
from fulfil_models.room import Request, Room
from fulfil_models.tables import BillLine, BuildOption, Part
from fulfil_models.taken import ORDERED
from questions import (
    QUOTED,
    answer,
    ask_builds,
    asked_line,
    taken_of,
)
from tiny_shop import (
    SETTINGS,
    build,
    delivery,
    engines,
    hurried,
    lane,
    march,
    purchase,
    shop,
    source,
    stand_in,
    stock,
)

# ---- machines, by hand


def test_it_takes_the_engine_and_the_day_that_are_left() -> None:
    data = shop(builds=(build("B1", march(2)),), stock=(stock(2),))
    assert ask_builds(data).ships == march(3)
    assert ask_builds(data, beside=False).ships == march(2)


def test_it_waits_for_the_engine_that_nobody_holds() -> None:
    data = shop(
        builds=(build("B1", march(2)),), stock=(stock(1),), purchases=(purchase("P", march(16)),)
    )
    asked = ask_builds(data)
    assert asked.ships == march(16)
    rung = asked.plan.builds[0].blockers[0]
    assert (rung.kind, rung.what, rung.ahead) == (BlockerKind.PART, "ENGINE", ("B1",))
    # on the shelf it would ship on Tuesday, 13 days sooner
    assert rung.days == 13


def test_a_queue_of_others_is_told_with_their_names() -> None:
    data = shop(builds=(build("B1", march(2)), build("B2", march(3))), stock=(stock(3),))
    asked = ask_builds(data)
    assert asked.ships == march(4)
    rung = asked.plan.builds[0].blockers[0]
    assert (rung.kind, rung.what, rung.days) == (BlockerKind.WORK_CENTRE, "CELL", 2)
    assert set(rung.ahead) == {"B1", "B2"}
    (reason,) = [r for r in asked.plan.builds[0].reasons if r.kind is BlockerKind.WORK_CENTRE]
    assert reason.why == "CELL: busy with B1, B2"


def test_what_an_order_of_the_plan_brings_over_is_free() -> None:
    # the least order is two engines, here on 03-12; the plan needs one
    data = shop(builds=(build("B1", march(12)),), sources=(source(10, minimum_milli=2 * MILLI),))
    taken = taken_of(data)
    (bought,) = taken.orders
    assert (bought.quantity_milli, bought.line) == (2 * MILLI, ORDERED)
    room = Room(replace(data, sources=()), SETTINGS, taken)
    plan = answer(room, Request((QUOTED,)))
    assert plan is not None
    assert plan.builds[0].ships == march(13)
    assert answer(room, Request((QUOTED, build("R", None)))) is None


def test_nothing_comes_for_ever() -> None:
    data = shop(builds=(build("B1", march(2)),), stock=(stock(1),))
    assert answer(Room(data, SETTINGS, taken_of(data)), Request((QUOTED,))) is None


def test_what_is_done_after_the_cut_off_ships_on_the_next_day() -> None:
    data = shop(stock=(stock(1),))
    (here, there) = data.points
    # done at 16:30; a carrier that comes at 15:00 takes it on Tuesday
    late = replace(data, points=(replace(here, cutoff=15 * 60), there))
    asked = ask_builds(late)
    assert asked.ships == march(3)
    solution = asked.question.earliest()
    assert solution is not None
    assert asked.question.ready(solution) == march(3)


def test_it_begins_no_sooner_than_it_may() -> None:
    data = shop(stock=(stock(1),))
    asked = ask_builds(data, replace(QUOTED, earliest=march(5)))
    assert asked.ships == march(5)
    assert asked.plan.builds[0].blockers[0].kind is BlockerKind.EARLIEST


def test_a_date_that_is_wanted_moves_nothing() -> None:
    data = shop(builds=(build("B1", march(2)),), stock=(stock(2),))
    for wanted in (march(2), march(31)):
        assert ask_builds(data, replace(QUOTED, promised=wanted)).ships == march(3)
    # nor is anything cheaper waited for until then
    costly = Room(shop(sources=(hurried(21, 14, 900),)), SETTINGS)
    later = Request((replace(QUOTED, promised=march(31)),))
    plan = answer(costly, later, by_whatever)
    assert plan is not None
    assert plan.builds[0].ships == march(9)


def test_options_are_waited_for() -> None:
    data = shop(
        parts=(*shop().parts, Part(part="LAMP")),
        stock=(stock(1),),
        purchases=(purchase("P", march(10), part="LAMP"),),
    )
    assert ask_builds(data).ships == march(2)
    lit = BuildOption(build="Q", component="LAMP", quantity_milli=MILLI)
    assert ask_builds(data, options=(lit,)).ships == march(10)
    without_engine = BuildOption(build="Q", component="ENGINE", quantity_milli=-MILLI)
    bare = replace(data, stock=())
    assert ask_builds(bare, options=(without_engine,)).ships == march(2)


# ---- several machines at once


def test_the_second_waits_for_what_the_first_takes() -> None:
    data = shop(stock=(stock(1),), purchases=(purchase("P", march(16)),))
    asked = ask_builds(data, QUOTED, build("R", None))
    first, second = asked.plan.builds
    assert (first.ships, second.ships) == (march(2), march(16))
    rung = second.blockers[0]
    assert (rung.kind, rung.what, rung.ahead) == (BlockerKind.PART, "ENGINE", ("Q",))
    assert rung.why == (
        "ENGINE comes with purchase P/1, due 2026-03-16; what comes sooner goes to Q"
    )


def test_two_machines_queue_for_the_station_behind_the_plan_and_each_other() -> None:
    data = shop(builds=(build("B1", march(2)),), stock=(stock(3),))
    asked = ask_builds(data, QUOTED, build("R", None))
    assert [row.ships for row in asked.plan.builds] == [march(3), march(4)]
    assert set(asked.plan.builds[1].blockers[0].ahead) == {"B1", "Q"}


def test_the_second_gets_its_engine_from_elsewhere_where_there_is_no_other() -> None:
    """Of engines there are one at A and one at B, and never any more."""
    data = shop(stock=(stock(1), stock(1, "B")), lanes=(lane("B", "A", 2, move=50),))
    asked = ask_builds(data, QUOTED, build("R", None))
    # that of B leaves on Monday and is here on Wednesday
    assert [row.ships for row in asked.plan.builds] == [march(2), march(4)]
    assert extra_cost(asked.plan) == 50


def test_a_machine_of_two_engines_gets_one_from_elsewhere_where_there_is_no_other() -> None:
    data = shop(
        bills=(engines(2),),
        stock=(stock(1), stock(1, "B")),
        lanes=(lane("B", "A", 2, move=50),),
    )
    asked = ask_builds(data)
    assert (asked.ships, extra_cost(asked.plan)) == (march(4), 50)


def test_only_what_is_short_is_taken_from_elsewhere() -> None:
    """Of engines and lamps there are one at A and one at B each.

    More engines are to come to A: they are waited for. The other lamp has to come from B.
    """
    data = shop(
        parts=(*shop().parts, Part(part="LAMP")),
        bills=(engines(2), BillLine(parent="MACHINE", component="LAMP", quantity_milli=2 * MILLI)),
        stock=(stock(1), stock(1, "B"), stock(1, part="LAMP"), stock(1, "B", part="LAMP")),
        purchases=(purchase("P", march(9)),),
        lanes=(lane("B", "A", 2, move=50),),
    )
    asked = ask_builds(data)
    assert (asked.ships, extra_cost(asked.plan)) == (march(9), 50)
    moved = {supply.part for supply in asked.plan.supplies if supply.origin is not None}
    assert moved == {"LAMP"}


def test_two_units_of_a_cap_are_not_counted_twice() -> None:
    """One engine a month: that of March may be expedited, and is then no second one.

    There are some hundred moments in between, ten minutes apart.
    """
    (step,) = shop().routings
    data = shop(
        bills=(engines(2),),
        sources=(replace(hurried(21, 14, 900), monthly_cap_milli=MILLI),),
        routings=(replace(step, minutes_milli=470 * MILLI),),
    )
    plan = answer(Room(data, SETTINGS), Request((QUOTED,)), by_whatever)
    assert plan is not None
    assert plan.builds[0].ships == date(2026, 4, 1)
    assert extra_cost(plan) == 0


def test_units_that_two_routes_could_bring_are_not_counted_twice() -> None:
    """Two engines, of which B has one, and one more from 04-15 on; by C it is dearer and faster."""
    (step,) = shop().routings
    points = shop().points
    data = shop(
        points=(*points, replace(points[0], point="C")),
        bills=(engines(2),),
        stock=(stock(1, "B"),),
        purchases=(purchase("P", date(2026, 4, 15), point="B"),),
        lanes=(
            lane("B", "A", 6, move=10),
            lane("B", "C", 1, move=50),
            lane("C", "A", 1, move=50),
        ),
        routings=(replace(step, minutes_milli=470 * MILLI),),
    )
    # Wednesday at B, Thursday at C, Friday here
    assert ask_builds(data).ships == date(2026, 4, 17)


# ---- what is asked in one question, again and again


def test_an_answer_can_be_read_after_others_were_asked_for() -> None:
    data = shop(
        stock=(stock(2, "B"),),
        purchases=(purchase("P", march(9), units=2),),
        lanes=(lane("B", "A", 2),),
        deliveries=(delivery("A"), delivery("B", days=9)),
    )
    for request in (Request((QUOTED,)), Request(lines=(asked_line(1),))):
        question = Question(Room(data, SETTINGS), request)
        plain = question.earliest()
        assert plain is not None
        there, day = question.plan(plain), question.ready(plain)
        moved = question.earliest(by_whatever)
        assert moved is not None
        assert question.ready(moved) < day
        assert (question.plan(plain), question.ready(plain)) == (there, day)
        again = question.earliest()
        assert again is not None
        assert question.plan(again) == there
        if request.lines:
            reasons = question.shipment_reasons(plain, there)
            assert reasons == ("ENGINE comes with purchase P/1, due 2026-03-09",)


def test_offers_are_all_the_ways_there_are() -> None:
    data = shop(
        stock=(stock(1), stock(1, "B"), stock(1, part="ENGINE2")),
        sources=(hurried(21, 14, 900),),
        alternates=(stand_in(100),),
        lanes=(lane("B", "A", 2),),
        bills=(engines(2),),
    )
    question = Question(Room(data, SETTINGS), Request((QUOTED,)))
    found = {(o.used, o.kind.name, o.origin, o.supplier) for o in question.offers()}
    assert found == {
        ("ENGINE", "OWN", None, None),
        ("ENGINE", "MOVE", "B", None),
        ("ENGINE", "EXPEDITE", None, "S"),
        ("ENGINE2", "OWN", None, None),
    }


def test_of_what_is_put_together_only_what_is_allowed_is_taken() -> None:
    """Three engines, of which one is at A, one at B, one at C; two are expedited at a cost."""
    data = shop(
        bills=(engines(2),),
        stock=(stock(1), stock(1, "B")),
        sources=(hurried(21, 20, 900),),
        lanes=(lane("B", "A", 2, move=50),),
    )
    question = Question(Room(data, SETTINGS), Request((QUOTED,)))

    def found(allowed: Allowed) -> tuple[date, Fraction]:
        solution = question.earliest(allowed)
        assert solution is not None
        plan = question.plan(solution)
        return plan.builds[0].ships, extra_cost(plan)

    assert found(plainly) == (march(23), 0)
    assert found(lambda o: plainly(o) or o.origin == "B") == (march(4), 50)
    assert found(lambda o: plainly(o) or o.supplier == "S") == (march(3), 900)
