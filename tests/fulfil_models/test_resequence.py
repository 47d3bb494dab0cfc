"""How much sooner something new ships if the queue is re-ordered, by hand.

On the tiny shop: a machine takes one engine and a whole day's work on the only station, from Monday
03-02 on. Plans were made when builds were wanted sooner, or when less was known to come, and go on.
Every answer is looked over besides: it is a plan, keeps promises, and tells truly who moves.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

import pytest
from fulfil_models.cells import MILLI
from fulfil_models.kept_open import held
from fulfil_models.planning import Workbench
from fulfil_models.problem import Problem
from fulfil_models.resequence import resequenced
from fulfil_models.room import Request, Room
from fulfil_models.settings import Settings
from fulfil_models.tables import Progress, RoutingStep
from fulfil_models.taken import joined
from questions import QUOTED, answer, standing, taken_of
from requeued import MONDAY, ONE, SHELF, Asked, days, draws, gone_on, put, wanted_sooner
from tiny_shop import (
    SETTINGS,
    build,
    lane,
    march,
    purchase,
    shop,
    stand_in,
    stock,
)

# ---- engines


def test_two_exchange_their_engines_and_nobody_moves() -> None:
    """B1 has the engine on the shelf for work on 03-13; of P, on 03-10, it knew nothing."""
    data, plan = wanted_sooner(13, promised=13, stock=SHELF, purchases=(purchase("P", march(10)),))
    asked = put(data, plan, ONE)
    assert asked.plainly == march(10)
    assert [draws(asked.before)[name] for name in ("B1", "Q")] == ["stock/A/ENGINE", "purchase/P/1"]
    made = asked.found()
    assert (made.ships, made.moved) == (MONDAY, ())
    assert [draws(made.plan)[name] for name in ("B1", "Q")] == ["purchase/P/1", "stock/A/ENGINE"]


@pytest.mark.parametrize(
    ("promised", "ships"), [(march(11), 2), (march(10), 2), (march(9), 10), (march(2), 10)]
)
def test_who_has_time_waits_for_the_next_engine(promised: date, ships: int) -> None:
    """B1 stands on Monday. With the engine of P it is done on 03-10 at 16:30: in time if that is
    the day it was promised, and a day late if it was promised for 03-09."""
    data, plan = wanted_sooner(
        2, promised=promised, stock=SHELF, purchases=(purchase("P", march(10)),)
    )
    asked = put(data, plan, ONE)
    assert asked.plainly == march(10)
    made = asked.found()
    assert made.ships == march(ships)
    assert [row.build for row in made.moved] == (["B1"] if ships == 2 else [])
    for row in made.moved:
        assert (row.ships_before, row.late_days_after) == (MONDAY, 0)
        assert march(10) <= row.ships_after <= promised


@pytest.mark.parametrize(("comes", "ships"), [(3, 2), (4, 4)])
def test_who_is_late_may_be_no_later(comes: int, ships: int) -> None:
    """B1 was to begin no sooner than Tuesday and is a day late. It may have another engine if that
    is there on Tuesday, not on Wednesday. Q is plainly made on Wednesday in both cases."""
    late = replace(build("B1", MONDAY), earliest=march(3))
    earlier = shop(builds=(late,), stock=SHELF)
    data = replace(earlier, purchases=(purchase("P", march(comes)),))
    asked = put(data, gone_on(earlier, data), ONE)
    (before,) = (row for row in asked.before.builds if row.build == "B1")
    assert (before.ships, before.late_minutes, before.late_days) == (march(3), 480, 1)
    assert asked.plainly == march(4)
    made = asked.found()
    assert (made.ships, made.moved) == (march(ships), ())


def test_who_has_no_promise_goes_later() -> None:
    earlier = shop(builds=(build("B1", None),), stock=SHELF)
    data = replace(earlier, purchases=(purchase("P", march(24)),))
    made = put(data, gone_on(earlier, data), ONE).found()
    assert made.ships == MONDAY
    assert days(made) == {"B1": (MONDAY, march(24))}
    assert made.moved[0].late_days_after == 0


def test_each_takes_the_engine_of_the_next() -> None:
    """B1 (Monday, promised Thursday) can wait for B2's engine of 03-04, and B2 (03-05, promised
    03-13) for the last, of 03-12, but B1 cannot wait for that."""
    earlier = shop(
        builds=(build("B1", MONDAY), build("B2", march(5))),
        stock=SHELF,
        purchases=(purchase("P1", march(4)),),
    )
    data = replace(
        earlier,
        builds=(build("B1", march(5)), build("B2", march(13))),
        purchases=(purchase("P1", march(4)), purchase("P2", march(12))),
    )
    asked = put(data, gone_on(earlier, data), ONE)
    assert asked.plainly == march(12)
    made = asked.found()
    assert made.ships == MONDAY
    assert draws(made.plan) == {
        "Q": "stock/A/ENGINE",
        "B1": "purchase/P1/1",
        "B2": "purchase/P2/1",
    }
    assert days(made).keys() == {"B1", "B2"}
    # were B2 wanted a day before the last engine, nobody could give way
    stuck = replace(data, builds=(build("B1", march(5)), build("B2", march(11))))
    assert put(stuck, gone_on(earlier, stuck), ONE).found().ships == march(12)


# ---- stations


def test_only_who_is_in_the_way_moves() -> None:
    """Three stand on Monday to Wednesday and have time until 03-13."""
    asked = put(*wanted_sooner(2, 3, 4, promised=13, stock=(stock(4),)), ONE)
    assert asked.plainly == march(5)
    made = asked.found()
    assert made.ships == MONDAY
    assert days(made).keys() == {"B1"}


def test_only_who_has_time_gives_way() -> None:
    """Of three only the last has time; then Q gets its Wednesday."""
    earlier = shop(
        builds=(build("B1", MONDAY), build("B2", march(3)), build("B3", march(4))),
        stock=(stock(4),),
    )
    data = replace(earlier, builds=(*earlier.builds[:2], build("B3", march(13))))
    made = put(data, gone_on(earlier, data), ONE).found()
    assert made.ships == march(4)
    assert days(made).keys() == {"B3"}


def test_nobody_moves_for_hours_of_the_same_day() -> None:
    """Work of four hours: B1 in the morning, Q in the afternoon, and both ship on Monday."""
    half = (
        RoutingStep(part="MACHINE", operation=10, work_centre="CELL", minutes_milli=240 * MILLI),
    )
    data, plan = wanted_sooner(None, promised=13, stock=(stock(2),), routings=half)
    asked = put(data, plan, ONE)
    assert asked.before.builds[-1].finish == datetime(2026, 3, 2, 16, 30)
    made = asked.found()
    assert (made.ships, made.moved) == (MONDAY, ())
    assert made.plan.builds[-1].finish == datetime(2026, 3, 2, 16, 30)


# ---- what a promise is


@pytest.mark.parametrize(("cutoff", "ships"), [(None, 2), (16 * 60 + 30, 2), (15 * 60, 11)])
def test_a_promise_that_is_kept_by_the_minute_and_not_by_the_day_is_broken(
    cutoff: int | None, ships: int
) -> None:
    """B1 is promised for 03-10 at 16:30. With the engine of 03-10 it is done at that minute; but a
    carrier that comes at 15:00 takes it on 03-11, a day late."""
    here, there = shop().points
    data, plan = wanted_sooner(
        2,
        promised=datetime(2026, 3, 10, 16, 30),
        stock=SHELF,
        purchases=(purchase("P", march(10)),),
        points=(replace(here, cutoff=cutoff), there),
    )
    # Q itself is done at 16:30 on 03-10, and ships on 03-11 after such a carrier
    assert put(data, plan, ONE).found().ships == march(ships)


def test_a_promise_without_weight_is_one() -> None:
    """What a late day costs makes no difference: B1 cannot wait for the engine of 03-10."""
    data, plan = wanted_sooner(2, promised=9, stock=SHELF, purchases=(purchase("P", march(10)),))
    data = replace(data, builds=tuple(replace(row, weight_ppm=0) for row in data.builds))
    made = put(data, plan, ONE).found()
    assert (made.ships, made.moved) == (march(10), ())


def test_what_is_started_stays() -> None:
    """Half of B1 was done on Friday afternoon; it has time, and goes on on Monday morning."""
    started = Progress(build="B1", operation=10, started=datetime(2026, 2, 27, 12, 30))
    data = shop(builds=(build("B1", march(13)),), stock=SHELF, progress=(started,))
    asked = put(data, standing(data), ONE)
    assert asked.plainly == march(3)
    made = asked.found()
    assert (made.ships, made.moved) == (march(3), ())


@pytest.mark.parametrize(("freeze_days", "ships"), [(0, 2), (1, 3)])
def test_what_is_frozen_stays(freeze_days: int, ships: int) -> None:
    """B1 has time, and stands on the only day that is frozen."""
    data, plan = wanted_sooner(2, promised=13, stock=(stock(2),))
    settings = Settings(as_of=SETTINGS.as_of, freeze_days=freeze_days)
    asked = put(data, plan, ONE, settings, freeze=plan)
    assert asked.plainly == march(3)
    assert asked.found().ships == march(ships)


def test_what_others_hold_is_left_to_them() -> None:
    """A hold has an engine and Monday, B1 the other engine and Tuesday; it can wait for P."""
    data = shop(stock=(stock(2),), purchases=(purchase("P", march(10)),))
    hold = answer(Room(data, SETTINGS), Request((build("H", None),)))
    assert hold is not None
    taken = held(hold, data, "Q7:", own=True)
    data = replace(data, builds=(build("B1", march(13)),))
    first = replace(build("B1", march(3)), earliest=march(3))
    plan = gone_on(replace(data, builds=(first,), purchases=()), data)
    asked = put(data, plan, ONE, taken=taken)
    assert asked.plainly == march(10)
    made = asked.found()
    assert made.ships == march(3)
    assert days(made).keys() == {"B1"}


# ---- what is new


def test_of_several_the_last_counts() -> None:
    """B1 and B2 stand on Monday and Tuesday, Q and R behind them."""
    data, plan = wanted_sooner(2, 3, promised=13, stock=(stock(4),))
    asked = put(data, plan, Request((QUOTED, build("R", None))))
    assert asked.plainly == march(5)
    made = asked.found()
    assert made.ships == march(3)
    ships = {row.build: row.ships for row in made.plan.builds}
    assert {ships["Q"], ships["R"]} == {MONDAY, march(3)}
    # where only one can give way, one of the new goes before the other, who goes where he was
    data = replace(data, builds=(build("B1", MONDAY), build("B2", march(13))))
    asked = put(data, plan, Request((QUOTED, build("R", None))))
    assert asked.found().ships == march(4)


def test_what_is_new_is_had_sooner_whatever_that_costs() -> None:
    """Nobody has to move: the plain answer only takes no alternate, and moves no engine."""
    data = shop(
        builds=(build("B1", MONDAY),),
        stock=(stock(1), stock(1, "B"), stock(1, part="ENGINE2")),
        purchases=(purchase("P", march(24)),),
        alternates=(stand_in(500),),
        lanes=(lane("B", "A", 2, move=50),),
    )
    asked = put(data, standing(data), ONE)
    assert asked.plainly == march(24)
    made = asked.found()
    # by the lane it would ship on 03-04, for 50
    assert (made.ships, made.moved, made.plan.objective.alternates) == (march(3), (), 500)
    # and that is told: nobody moves, yet the date costs 500 and takes an alternate
    assert (made.cost, [row.text for row in made.measures]) == (500, ["ENGINE2 in place of ENGINE"])
    (measure,) = made.measures
    build_of = {job.job: job.build for job in made.plan.jobs}
    takers = {build_of[peg.job] for peg in made.plan.pegs if peg.used == "ENGINE2"}
    assert (set(measure.takers), measure.quantity_milli) == (takers, MILLI)


def test_of_ways_that_are_as_soon_the_cheaper_is_taken() -> None:
    """Tuesday is the first free day: the engine of A costs nothing, the alternate 500."""
    data = shop(
        builds=(build("B1", MONDAY),),
        stock=(stock(2), stock(1, part="ENGINE2")),
        alternates=(stand_in(500),),
    )
    made = put(data, standing(data), ONE).found()
    assert (made.ships, made.plan.objective.alternates) == (march(3), 0)
    assert (made.cost, made.measures) == (0, ())


# ---- the same question again, and none


def waiting() -> Asked:
    data, plan = wanted_sooner(2, 3, 4, promised=13, stock=(stock(4),))
    return put(data, plan, ONE)


def test_the_same_question_has_the_same_answer() -> None:
    asked = waiting()
    assert asked.found() == asked.found()


def test_asking_leaves_the_workbench_as_it_was() -> None:
    asked = waiting()
    bench = asked.bench()
    made = asked.found(bench=bench)
    assert asked.found(bench=bench) == made


def test_who_is_stopped_at_once_moves_nobody() -> None:
    asked = waiting()
    bench = asked.bench()
    bench.control.stop.set()
    made = asked.found(bench=bench)
    assert (made.ships, made.moved) == (asked.plainly, ())


def test_a_plan_with_nothing_new_is_refused() -> None:
    asked = waiting()
    with pytest.raises(ValueError, match="join it to the plan first"):
        resequenced(asked.bench(), asked.before, frozenset({"NOBODY"}))


def test_a_plan_that_cannot_be_taken_up_is_left_as_it_is() -> None:
    """The engine that Q was to have is gone: nothing to start from, and nothing is made up."""
    data = shop(builds=(build("B1", MONDAY),), stock=(stock(2),))
    piece = answer(Room(data, SETTINGS, taken_of(data)), ONE)
    assert piece is not None
    plan = joined(standing(data), piece)
    gone = replace(data, builds=(*data.builds, QUOTED), stock=(stock(1),))
    made = resequenced(Workbench(Problem(gone, SETTINGS)), plan, frozenset({"Q"}))
    assert (made.plan, made.ships, made.moved) == (plan, march(3), ())
