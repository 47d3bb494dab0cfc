"""Whoever is taken out goes back to where he stood, if that is free: by hand, and as a law."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest
from beside_books import bench_for, listed
from books import Shape, random_book, settings_of
from fulfil_models.compiled import Compiled, CTask
from fulfil_models.homing import Homing, Returning
from fulfil_models.insertion import State
from fulfil_models.planning import Workbench, first_plan, solution_of
from fulfil_models.problem import Problem
from fulfil_models.search import Item, is_pinned, list_schedule, place
from fulfil_models.sketch import sketch, take_up
from fulfil_models.stranded import stranded
from fulfil_models.tables import Dataset
from tiny_shop import DAY, SETTINGS, build, delivery, march, order, purchase, shop, stock

STIR = 10.0


def bench_of(data: Dataset) -> Workbench:
    return Workbench(Problem(data, SETTINGS))


def homes_of(bench: Workbench) -> State:
    """The first plan of a workbench: everybody stands where he is at home."""
    found = first_plan(bench).sketch
    assert found is not None
    return take_up(bench.compiled, found)


def homing(bench: Workbench, *homeless: str, push: bool = False) -> Homing:
    """The first plan of a workbench, which knows where everybody stands in it, but for some."""
    homes = homes_of(bench)
    for task in bench.compiled.tasks:
        if task.task.build.build in homeless:
            homes.placed[task.index] = None
    for line in bench.compiled.lines:
        if line.line.row.order in homeless:
            homes.lines[line.index] = None
    return Homing(homes_of(bench), homes, {}, STIR, push=push)


def moved(bench: Workbench, order: list[Item]) -> Homing:
    """Everybody at the first slots that are free, in an order; at home is he in the first plan."""
    stands = list_schedule(bench.compiled, order, justify=False)
    return Homing(stands, homes_of(bench), {}, STIR)


def items_of(compiled: Compiled) -> list[Item]:
    everybody: list[Item] = [*compiled.tasks, *compiled.lines]
    return [i for i in everybody if not (isinstance(i, CTask) and is_pinned(i))]


def take_out(state: State, item: Item) -> None:
    if isinstance(item, CTask):
        state.remove(item)
    else:
        state.remove_line(item)


def two() -> Workbench:
    """B1 on Monday, and B2, which has time, just in time on 03-05; an engine is over."""
    return bench_of(shop(builds=(build("B1", march(2)), build("B2", march(5))), stock=(stock(3),)))


def days(state: Homing) -> list[int]:
    """Days of March on which the builds are made; all stand in the first week."""
    found = []
    for there in state.placed:
        assert there is not None
        ((_, (cell,)),) = there.starts
        found.append(2 + cell * state.book.cell // DAY)
    return found


def test_who_is_taken_out_goes_home() -> None:
    state = homing(two())
    _, second = state.book.tasks
    assert days(state) == [2, 5]
    state.remove(second)
    assert place(state, second, justify=False)
    assert days(state) == [2, 5]
    assert state.is_at_home(second)


def test_who_finds_his_slot_taken_goes_elsewhere_and_that_costs() -> None:
    state = homing(two(), "B2")
    first, second = state.book.tasks
    before = state.cost()
    for task in (first, second):
        state.remove(task)
    assert place(state, second, justify=False)  # has no home: takes the first slot, Monday
    assert place(state, first, justify=False)  # is a day late
    assert days(state) == [3, 2]
    assert not state.is_at_home(first)
    assert state.cost() == pytest.approx(before + 1000 + STIR)


def test_who_was_moved_comes_home_when_that_is_free_and_costs_no_more() -> None:
    bench = two()
    first, second = bench.compiled.tasks
    state = moved(bench, [first, second])
    assert days(state) == [2, 3]
    assert state.cost() == pytest.approx(STIR)
    assert state.comes_home(second)
    assert days(state) == [2, 5]
    assert state.cost() == pytest.approx(0)
    assert not state.comes_home(second)  # he is there
    assert not state.comes_home(first)


def test_who_cannot_come_home_stays_where_he_is() -> None:
    bench = two()
    first, second = bench.compiled.tasks
    state = moved(bench, [second, first])
    assert days(state) == [3, 2]
    there, cost, log = state.placed[first.index], state.cost(), len(state.log)
    assert not state.comes_home(first)
    assert (state.placed[first.index], state.cost(), len(state.log)) == (there, cost, log)
    # when B2 has gone home, B1 can
    assert state.comes_home(second)
    assert state.comes_home(first)
    assert days(state) == [2, 5]


def test_nobody_comes_home_where_he_costs_more() -> None:
    """B1 was made on 03-05, three days late; it stands on Monday now."""
    data = shop(builds=(build("B1", march(2)),), stock=(stock(1),))
    late = shop(builds=(replace(build("B1", march(2)), earliest=march(5)),), stock=(stock(1),))
    bench = bench_of(data)
    stands = list_schedule(bench.compiled, list(bench.compiled.tasks), justify=False)
    homes = take_up(bench.compiled, sketch(solution_of(homes_of(bench_of(late)))))
    state = Homing(stands, homes, {}, STIR)
    assert not state.comes_home(state.book.tasks[0])
    assert days(state) == [2]


def test_a_line_goes_home_to_its_units_or_to_others() -> None:
    """O has the engine on the shelf, R, which counts half as much, that of 03-10."""
    data = shop(
        parts_orders=(
            order("O", 1, march(2)),
            order("R", 1, march(2), weight_ppm=500_000),
        ),
        stock=(stock(1),),
        purchases=(purchase("P", march(10)), purchase("P2", march(11))),
        deliveries=(delivery("A"),),
    )
    state = homing(bench_of(data), "R")
    first, second = state.book.lines
    shipped = state.lines[first.index]
    assert shipped is not None
    state.remove_line(first)
    assert state.place_line(first) is not None
    assert state.is_at_home(first)
    for line in (first, second):
        state.remove_line(line)
    assert state.place_line(second) is not None  # has no home: ships at once
    assert state.place_line(first) is not None
    assert not state.is_at_home(first)
    assert not state.comes_home(first)
    state.remove_line(second)
    assert state.comes_home(first)
    now = state.lines[first.index]
    assert now is not None
    assert now.draws == shipped.draws


def test_a_line_goes_home_though_others_units_would_do() -> None:
    """O was to ship on Monday. It has time now, and would leave the engine there to others."""

    def due(day: int) -> Workbench:
        return bench_of(
            shop(
                parts_orders=(order("O", 1, march(day)),),
                stock=(stock(1),),
                purchases=(purchase("P", march(10)),),
                deliveries=(delivery("A"),),
            )
        )

    bench = due(12)
    home = sketch(solution_of(homes_of(due(2))))
    state = Homing(homes_of(bench), take_up(bench.compiled, home), {}, STIR)
    (line,) = state.book.lines
    assert not state.is_at_home(line)
    state.remove_line(line)
    assert state.place_line(line) is not None
    assert state.is_at_home(line)


@pytest.mark.parametrize(("push", "day"), [(False, 2), (True, 5)])
def test_pushed_who_cannot_go_home_goes_as_late_as_he_may(push: bool, day: int) -> None:
    state = homing(two(), "B1", "B2", push=push)
    first, second = state.book.tasks
    for task in (first, second):
        state.remove(task)
    assert place(state, second, justify=False)
    assert place(state, first, justify=False)
    assert days(state)[1] == day


# ---- on random books


@pytest.mark.parametrize("seed", range(6000, 6030))
def test_all_who_are_taken_out_go_home_in_whatever_order(seed: int) -> None:
    data = random_book(seed, Shape(points=1 + seed % 3, builds=4))
    if stranded(data, settings_of(data)) or listed(data, settings_of(data)) is None:
        pytest.skip("a list schedule leaves something out")
    state = homing(bench_for(data, settings_of(data)))
    random, items = Random(seed), items_of(state.book)
    before, cost = sketch(solution_of(state)), state.cost()
    for _ in range(5):
        out = random.sample(items, random.randint(1, len(items)))
        for item in out:
            take_out(state, item)
        random.shuffle(out)
        for item in out:
            assert place(state, item, random.random() < 0.5)
            assert state.is_at_home(item)
    assert state.cost() == pytest.approx(cost)
    assert sketch(solution_of(state)).builds == before.builds
    assert sketch(solution_of(state)).lines == before.lines


@pytest.mark.parametrize("seed", range(6000, 6010))
def test_a_search_over_some_takes_out_nobody_else(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = random_book(seed, Shape(points=1 + seed % 3, builds=5))
    if stranded(data, settings_of(data)) or listed(data, settings_of(data)) is None:
        pytest.skip("a list schedule leaves something out")
    state = homing(bench_for(data, settings_of(data)))
    some = items_of(state.book)[::2]
    out: list[Item] = []

    def recorded(name: str) -> None:
        take = getattr(State, name)

        def removed(self: State, item: Item) -> None:
            out.append(item)
            take(self, item)

        monkeypatch.setattr(State, name, removed)

    recorded("remove")
    recorded("remove_line")
    Returning(state, seed, 4, some).run(50)
    assert {id(item) for item in out} <= {id(item) for item in some}
    assert out
