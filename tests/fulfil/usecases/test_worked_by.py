"""A new plan beside the one that is worked by: no worse, and it says whose promise it breaks."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from sales_shop import AS_OF, book, plan_again, planned, set_day, ships
from tiny_shop import build, march, stock

from fulfil.usecases import planning
from fulfil.usecases.plans import accept, broken_notes


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    set_day(monkeypatch, AS_OF)


def two(weight: int, *, day: int = 2) -> Any:
    """Two machines of which one can be ready on the 2nd; B2 has a weight."""
    other = build("B2", march(day), weight_ppm=weight * 1_000_000)
    return book(builds=(build("B1", march(2)), other), stock=(stock(2),))


def test_the_search_begins_with_the_plan_that_is_worked_by(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun: list[Any] = []
    search = planning._search

    def looking(*given: Any) -> Any:
        begun.append(given[-1])
        return search(*given)

    monkeypatch.setattr(planning, "_search", looking)
    with planned(tmp_path / "fulfil.db", two(2, day=3)) as store:
        plan_again(store)
        accept(store, 1)
        plan_again(store)
    # a plan that nobody works by is none to begin with: the same data then give the same plan
    assert begun[0] is None
    assert begun[1].cost == 0


def test_whose_promise_a_plan_breaks_that_the_other_keeps(tmp_path: Path) -> None:
    with planned(tmp_path / "fulfil.db", two(2, day=3)) as store:
        assert ships(store) == {"B1": march(2), "B2": march(3)}
        accept(store, 1)
        assert broken_notes(store, plan_again(store)) == ()
        # B2 is wanted a day sooner now, and weighs more than B1
        store.replace_dataset(two(2))
        number = plan_again(store)
        assert ships(store, number) == {"B1": march(3), "B2": march(2)}
        (note,) = broken_notes(store, number)
        assert note.startswith("late in this plan, by so many days, and in time in plan 1, which")
        assert "B1 (1); see `fulfil compare 1 3`" in note
        accept(store, number)
        assert broken_notes(store, number) == ()


def test_without_a_plan_that_is_worked_by_nothing_is_broken(tmp_path: Path) -> None:
    with planned(tmp_path / "fulfil.db", two(2, day=3)) as store:
        store.replace_dataset(two(2))
        assert broken_notes(store, plan_again(store)) == ()


def test_of_many_some_are_named(tmp_path: Path) -> None:
    names = [f"B{number}" for number in range(1, 10)]
    early = tuple(build(name, march(20)) for name in names)
    with planned(tmp_path / "fulfil.db", book(builds=early, stock=(stock(9),))) as store:
        accept(store, 1)
        late = tuple(build(name, march(2)) for name in names)
        store.replace_dataset(book(builds=late, stock=(stock(9),)))
        (note,) = broken_notes(store, plan_again(store))
        # nine machines in nine days: one is in time, of eight the latest six are named
        assert note.count("(") == 6
        assert " and 2 more; see" in note
