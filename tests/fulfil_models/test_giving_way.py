"""How late may each be that gives way, and who comes back? By hand on the tiny shop."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from fractions import Fraction

import pytest
from fulfil_models import giving_way, resequence
from fulfil_models.cells import MILLI
from fulfil_models.compiled import Compiled
from fulfil_models.giving_way import Race, limits, line_limits, stir_cost
from fulfil_models.plan import Plan
from fulfil_models.planning import solution_of
from fulfil_models.repair import repaired
from fulfil_models.room import Request
from fulfil_models.search import list_schedule, never_stop
from fulfil_models.sketch import Sketch, sketch
from fulfil_models.tables import Build, Dataset, Part
from questions import QUOTED, asked_line, standing
from requeued import Asked, gone_on, put
from tiny_shop import SETTINGS, build, delivery, lane, march, order, purchase, shop, stock

HOUR = 60


def last_minutes(
    data: Dataset, new: frozenset[str] = frozenset(), plan: Plan | None = None
) -> dict[str, int]:
    """By build: working minutes from Monday 03-02 to the last moment at which it may end."""
    asked = put(data, plan or standing(data), Request())
    compiled = asked.bench().compiled
    found = limits(compiled, giving_way.Asked(asked.before, new, frozenset()))
    return {
        compiled.tasks[index].task.build.build: cell * compiled.cell
        for index, cell in found.items()
    }


@pytest.mark.parametrize(
    ("promised", "minutes"),
    [
        (march(3), 2 * 480),  # closes Tuesday
        (march(7), 5 * 480),  # a Saturday: the close of Friday
        (datetime(2026, 3, 4, 10), 2 * 480 + 2 * HOUR),
        (datetime(2026, 3, 8, 10), 5 * 480),  # a Sunday
        (date(2026, 2, 27), 480),  # late already: it is done on Monday
        (datetime(2026, 3, 2, 14), 480),  # likewise, by two and a half hours
    ],
)
def test_who_is_promised_may_end_by_then_or_as_late_as_he_does(
    promised: date, minutes: int
) -> None:
    data = shop(builds=(build("B1", promised),), stock=(stock(1),))
    assert last_minutes(data) == {"B1": minutes}


@pytest.mark.parametrize(
    ("promised", "minutes"),
    [
        # 15:00 on Tuesday, the break of half an hour off
        (march(3), 480 + 6 * HOUR + HOUR // 2),
        # likewise on Wednesday: after that it would ship on Thursday, a day late
        (datetime(2026, 3, 4, 16), 2 * 480 + 6 * HOUR + HOUR // 2),
        # done at 16:30 it is 90 minutes late, and ships on Tuesday; there it stays
        (march(2), 480),
    ],
)
def test_nor_does_he_miss_the_carrier(promised: date, minutes: int) -> None:
    """B1 is done on Monday at 16:30; the carrier comes at 15:00."""
    here, there = shop().points
    points = (replace(here, cutoff=15 * HOUR), there)
    earlier = shop(points=points, builds=(build("B1", march(2)),), stock=(stock(1),))
    data = replace(earlier, builds=(build("B1", promised),))
    assert last_minutes(data, plan=gone_on(earlier, data)) == {"B1": minutes}


def test_who_is_late_by_the_day_alone_has_the_minutes_that_are_left() -> None:
    """Seven and a half hours of work: done on Monday at 16:00, after the carrier, and promised for
    16:30 of that day. It ships on Tuesday either way."""
    here, there = shop().points
    (step,) = shop().routings
    earlier = shop(
        points=(replace(here, cutoff=15 * HOUR), there),
        builds=(build("B1", march(2)),),
        stock=(stock(1),),
        routings=(replace(step, minutes_milli=450 * MILLI),),
    )
    data = replace(earlier, builds=(build("B1", datetime(2026, 3, 2, 16, 30)),))
    assert last_minutes(data, plan=gone_on(earlier, data)) == {"B1": 480}


def test_what_is_new_or_not_promised_has_no_limit() -> None:
    builds: tuple[Build, ...] = (build("B1", march(3)), build("B2", None), build("Q", march(4)))
    data = shop(builds=builds, stock=(stock(3),))
    assert last_minutes(data, frozenset({"Q"})).keys() == {"B1"}


def test_late_days_of_lines() -> None:
    """Engines come on 03-10: who was promised his for 03-06 is four days late, and may stay so."""
    rows = (
        order("IN TIME", 1, march(12)),
        order("LATE", 1, march(6)),
        order("NEVER TOLD", 1, None),
        order("ARRIVES", 1, None, within_days=5),  # by Friday 03-06, and it is there on 03-11
    )
    data = shop(
        parts_orders=rows,
        purchases=(purchase("P", march(10), units=5),),
        deliveries=(delivery("A"),),
    )
    asked = put(data, standing(data), Request(lines=(asked_line(1),)))
    compiled = asked.bench().compiled
    found = line_limits(compiled, giving_way.Asked(asked.before, asked.builds, asked.lines))
    names = {compiled.lines[index].line.row.order: days for index, days in found.items()}
    assert names == {"IN TIME": 0, "LATE": 4, "ARRIVES": 5}


# ---- several at once


def test_of_several_that_are_pulled_the_last_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of machines that take no engine a LONG one takes two days, a BARE one a day. From 03-02 on:

        2   3    4   5   6   | 9   10   11   12  13
        LONG     X   Y   Z   | F   -    -    W   -

    LONG is promised for 03-11, F for the end of the month; the others can be made on their days
    alone. Of engines for Q and R one is there, and one comes on 03-10. Plainly Q is made on 03-10
    and R on 03-11, and if F gives way, on 03-09 and 03-10. If LONG does as well, on 03-09, Q gets
    03-02, and R is none the sooner.
    """
    monkeypatch.setattr(resequence, "SMALL_BOOK", 0)
    (step,) = shop().routings
    on_day = {"LONG": 3, "X": 4, "Y": 5, "Z": 6, "F": 9, "W": 12}
    base = shop(
        parts=(*shop().parts, Part(part="LONG", make=True), Part(part="BARE", make=True)),
        routings=(
            step,
            replace(step, part="BARE"),
            replace(step, part="LONG", minutes_milli=2 * step.minutes_milli),
        ),
        stock=(stock(1),),
        purchases=(purchase("P", march(10)),),
    )
    earlier = replace(
        base,
        builds=tuple(
            build(name, march(day), product="BARE", earliest=march(day))
            if name != "LONG"
            else build(name, march(day), product="LONG")
            for name, day in on_day.items()
        ),
    )
    until = {"LONG": march(11), "F": march(31)}
    data = replace(
        earlier,
        builds=tuple(replace(r, promised=until.get(r.build, r.promised)) for r in earlier.builds),
    )
    asked = put(data, gone_on(earlier, data), Request((QUOTED, build("R", None))))
    assert asked.plainly == march(11)
    made = asked.found()
    assert made.ships == march(10)
    assert [row.build for row in made.moved] == ["F"]


# ---- who comes back


def two_with_time() -> Asked:
    """B1 and B2 stand on Monday and Tuesday and have time until 03-13; Q is behind them."""
    earlier = shop(builds=(build("B1", march(2)), build("B2", march(3))), stock=(stock(3),))
    data = replace(earlier, builds=(build("B1", march(13)), build("B2", march(13))))
    return put(data, gone_on(earlier, data), Request((QUOTED,)))


def q_first(asked: Asked) -> Sketch:
    """Q on Monday, and the others pushed as late as they may."""
    compiled = asked.bench().compiled
    items = sorted(compiled.tasks, key=lambda task: task.task.build.build != "Q")
    return sketch(solution_of(list_schedule(compiled, items)))


@pytest.mark.parametrize("steps", [0, 300])
def test_who_is_not_in_the_way_comes_back_and_what_is_new_stays(steps: int) -> None:
    asked = two_with_time()
    book = asked.bench().book
    start = sketch(solution_of(repaired(Compiled(book), asked.before)))
    new = giving_way.Asked(asked.before, asked.builds, asked.lines)
    back = Race(Compiled(book), new, start).bring_back(q_first(asked), steps, 1, never_stop)
    days = {}
    for task, built in zip(book.tasks, back.builds, strict=True):
        assert built is not None
        (((_, (cell,)),), _) = built
        days[task.build.build] = cell * Compiled(book).cell // 480 + 2
    assert (days["Q"], days["B2"]) == (2, 3)
    assert days["B1"] > 3


def test_they_are_brought_back_whatever_was_found(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = two_with_time()
    monkeypatch.setattr(resequence, "SMALL_BOOK", 0)
    monkeypatch.setattr(Race, "pull", lambda *_: q_first(asked))
    made = asked.found()
    assert made.ships == march(2)
    assert [row.build for row in made.moved] == ["B1"]


@pytest.mark.parametrize(("move", "moved"), [(9, ["B2"]), (11, ["B1", "B2"])])
def test_nobody_is_moved_for_less_than_it_counts(move: int, moved: list[str]) -> None:
    """B2 makes room for Q. B1, whose engine comes by the lane on 03-04, could have one for nothing
    if it moved to 03-10: that it moves counts for a hundredth of a late day, 10."""
    assert stir_cost(SETTINGS) == Fraction(10)
    earlier = shop(
        builds=(build("B1", march(4)), build("B2", march(2))),
        stock=(stock(1), stock(1, "B")),
        lanes=(lane("B", "A", 2, move=move),),
    )
    data = replace(
        earlier,
        builds=(build("B1", march(13)), build("B2", march(13))),
        purchases=(purchase("P1", march(6)), purchase("P2", march(10))),
    )
    asked = put(data, gone_on(earlier, data), Request((QUOTED,)))
    assert asked.plainly == march(6)
    made = asked.found()
    assert made.ships == march(2)
    assert [row.build for row in made.moved] == moved
    assert made.plan.objective.transfers == (move if moved == ["B2"] else 0)
