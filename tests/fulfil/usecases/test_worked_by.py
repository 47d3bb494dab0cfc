"""A new plan beside the one that is worked by: no worse, and it says whose promise it breaks."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from fulfil_models.tables import Downtime
from sales_shop import ask, book, plan_again, plan_so, planned, ships
from tiny_shop import build, march, stock

from fulfil.usecases import planning
from fulfil.usecases.accepting import accept_quote
from fulfil.usecases.plans import accept, better_known
from fulfil.usecases.worked_by import broken_notes

pytestmark = pytest.mark.usefixtures("monday")


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


def test_what_the_plan_worked_by_keeps_is_kept_unless_all_are_weighed(tmp_path: Path) -> None:
    with planned(tmp_path / "fulfil.db", two(2, day=3)) as store:
        assert ships(store) == {"B1": march(2), "B2": march(3)}
        accept(store, 1)
        # B2 is wanted a day sooner now, and weighs more than B1
        store.replace_dataset(two(2))
        kept = plan_so(store)
        assert ships(store, kept.number) == {"B1": march(2), "B2": march(3)}
        assert "promises that plan 1 keeps come before all cost" in kept.plan.notes
        assert broken_notes(store, kept.number) == ()
        weighed = plan_so(store, keep=False)
        assert ships(store, weighed.number) == {"B1": march(3), "B2": march(2)}
        assert not any("before all cost" in note for note in weighed.plan.notes)
        (note,) = broken_notes(store, weighed.number)
        assert note.startswith("late in this plan, by so many days, and in time in plan 1, which")
        assert "B1 (1); see `fulfil compare 1 3`" in note
        # it costs less, and is no better to work by
        assert weighed.plan.objective.total < kept.plan.objective.total
        assert better_known(store, kept.number) is None
        accept(store, weighed.number)
        assert broken_notes(store, weighed.number) == ()


@pytest.mark.parametrize("asked", [False, True])
def test_where_not_all_can_be_kept_all_are_weighed(tmp_path: Path, *, asked: bool) -> None:
    # the station is out on the 2nd. Going on, B2 keeps the 3rd and B1 comes next, two days late
    # (2 x 2 x 1000); weighed, B1 has the 3rd and B2 the 4th (2 x 1000 + 1000)
    heavy = build("B1", march(2), weight_ppm=2_000_000), build("B2", march(3))
    before = book(builds=heavy, stock=(stock(2),))
    out = Downtime(
        work_centre="CELL", starts=datetime(2026, 3, 2), ends=datetime(2026, 3, 3), stations=1
    )
    with planned(tmp_path / "fulfil.db", before) as store:
        accept(store, 1)
        store.replace_dataset(replace(before, downtime=(out,)))
        if asked:  # it is re-timed then, and nothing else changes by that
            ask(store)
        made = plan_so(store)
        assert ships(store, made.number) == {"B1": march(3), "B2": march(4)}
        assert any("its promise of B1: all promises are weighed" in n for n in made.plan.notes)
        kept = plan_so(store, keep=True)
        assert ships(store, kept.number) == {"B1": march(4), "B2": march(3)}
        assert any("keeps come before all cost" in note for note in kept.plan.notes)


def test_without_a_plan_that_is_worked_by_nothing_is_kept(tmp_path: Path) -> None:
    with planned(tmp_path / "fulfil.db", two(2, day=3)) as store:
        store.replace_dataset(two(2))
        made = plan_so(store)
        assert ships(store, made.number) == {"B1": march(3), "B2": march(2)}
        assert broken_notes(store, made.number) == ()
        assert not any("before all cost" in note for note in made.plan.notes)


def test_an_accepted_quote_is_kept_with_all_that_was_kept_before(tmp_path: Path) -> None:
    """Accept and plan: every promise that the plan before kept, and the new one."""
    data = book(builds=(build("B1", march(2)), build("B2", march(3), weight_ppm=1000)))
    with planned(tmp_path / "fulfil.db", data) as store:
        accept(store, 1)
        quote = ask(store)
        accept_quote(store, quote.quote)
        number = plan_again(store)
        assert ships(store, number) == {"B1": march(2), "B2": march(3), "Q1": quote.ships}


def test_of_many_some_are_named(tmp_path: Path) -> None:
    # nine machines in nine days, each in time; without the engines all wait until the 31st
    names = [f"B{number}" for number in range(1, 10)]
    rows = tuple(build(name, march(20)) for name in names)
    with planned(tmp_path / "fulfil.db", book(builds=rows, stock=(stock(9),))) as store:
        accept(store, 1)
        store.replace_dataset(book(builds=rows, stock=(stock(0),), purchases=()))
        (note,) = broken_notes(store, plan_again(store))
        assert note.count("(") == 6
        assert " and 3 more; see" in note
