"""What holds for quotes that are held and accepted on every book."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from beside_books import split_book, without
from books import Shape
from fulfil_models.checking import check
from fulfil_models.plan import Plan
from fulfil_models.reading import Origins
from fulfil_models.room import Request
from fulfil_models.tables import Dataset
from holding import broken
from sales_shop import (
    AS_OF,
    plan_again,
    planned,
)

from fulfil.usecases.accepting import accept_quote
from fulfil.usecases.asking import Asked, ask_machine
from fulfil.usecases.current import current, go_on
from fulfil.usecases.holds import hold
from fulfil.usecases.promise import promise

pytestmark = pytest.mark.usefixtures("monday")


SHAPE = Shape(builds=3, points=2, operations=2)


def lateness(plan: Plan) -> dict[str, int]:
    """Of each build that is promised its late minutes, of each line its late days."""
    found = {row.build: row.late_minutes for row in plan.builds if row.promised is not None}
    for row in plan.shipments:
        key = f"{row.order}/{row.line}"
        found[key] = max(found.get(key, 0), row.late_days)
    return found


def split(seed: int) -> tuple[Dataset, Request] | None:
    """A random book without the last of its builds, and that build as it is asked for."""
    found = split_book(seed, SHAPE, asked=1)
    if found is None:
        return None
    data, (name,) = found
    (row,) = (row for row in data.builds if row.build == name)
    options = tuple(row for row in data.build_options if row.build == name)
    if any(row.build == name for row in data.progress):
        return None
    return without(data, [name]), Request((replace(row, promised=None),), options)


SEEDS = [seed for seed in range(10) if split(seed) is not None]


def test_there_are_random_books_enough() -> None:
    assert len(SEEDS) >= 8


@pytest.mark.parametrize("seed", SEEDS)
def test_no_promise_is_broken_for_a_new_one(seed: int, tmp_path: Path) -> None:
    found = split(seed)
    assert found is not None
    data, request = found
    with planned(tmp_path / "fulfil.db", data) as store:
        before = lateness(store.plan().plan)
        held = promise(store, Asked(request, named=True))
        hold(store, held.quote, 3)
        other = ask_machine(request.builds[0].product, request.builds[0].point)
        second = promise(store, other)
        hold(store, second.quote, 3)
        assert broken(store) == []
        for quote in (held, second):
            made = accept_quote(store, quote.quote)
            assert made.ships <= quote.ships
            after = lateness(store.plan().plan)
            assert {name: after[name] for name in before} == before
            assert all(after[name] == 0 for name in made.names)
            before = after
            assert broken(store) == []
            # what is in the data now could be loaded as it stands
            assert not any(row.is_error for row in check(store.dataset(), Origins(), AS_OF))


DRAWING = (3, 19, 25, 28, 55, 76)
"""books whose holds draw on what new orders of the plan bring over"""


@pytest.mark.parametrize("seed", DRAWING)
def test_nobody_is_later_in_a_plan_that_goes_on_beside_holds(seed: int, tmp_path: Path) -> None:
    found = split(seed)
    assert found is not None
    data, request = found
    with planned(tmp_path / "fulfil.db", data) as store:
        asked = Asked(request, named=True)
        another = ask_machine(request.builds[0].product, request.builds[0].point)
        for question in (asked, another):
            hold(store, promise(store, question).quote, 3)
        now = current(store)
        assert any(row.offer.orders for row in now.holds)
        made = go_on(
            store, "the plan", now.plan, now.dataset, now.settings, now.holds, now.premises
        )
        assert lateness(made) == lateness(now.plan)


def test_the_next_plan_keeps_what_was_kept(tmp_path: Path) -> None:
    found = split(SEEDS[0])
    assert found is not None
    data, request = found
    with planned(tmp_path / "fulfil.db", data) as store:
        promise(store, Asked(request, named=True))
        accept_quote(store, 1)
        before = store.plan_header()
        number = plan_again(store)
        assert broken(store, number) == []
        after = store.plan_header(number)
        # the plan that goes on is a plan of these very data: the search finds none that is worse
        assert after.weighted_late_minutes <= before.weighted_late_minutes
