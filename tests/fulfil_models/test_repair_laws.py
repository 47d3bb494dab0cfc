"""A plan goes on after a change of the data: what holds of random tiny books."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from books import Shape, books, random_book, settings_of
from fulfil_models.cells import MILLI
from fulfil_models.plan import Plan, SupplyKind
from fulfil_models.tables import (
    Dataset,
    Progress,
)
from going_on import assert_kept, dates, drawing, gone_on, kept_slots, slots
from hypothesis import assume, given
from hypothesis import settings as effort
from hypothesis import strategies as st
from tiny_shop import planned


@effort(max_examples=30, deadline=None)
@given(books())
def test_a_plan_of_unchanged_data_goes_on_as_it_is(book: Dataset) -> None:
    settings = settings_of(book)
    plan = planned(book, settings)
    after = gone_on(book, plan, settings)
    assert (after.unplaced, after.unshipped) == ((), ())
    assert slots(after.plan) == slots(plan)
    assert dates(after.plan) == dates(plan)
    assert after.plan.objective == plan.objective


@effort(max_examples=20, deadline=None)
@given(books(purchases=True, caps=False), st.sampled_from((1, 4, 30)))
def test_only_who_draws_on_a_slipped_purchase_moves(book: Dataset, days: int) -> None:
    settings, (first, *others) = settings_of(book), book.purchases
    plan = planned(book, settings)
    late = replace(first, due=first.due + timedelta(days))
    after = gone_on(replace(book, purchases=(late, *others)), plan, settings)
    assert (after.unplaced, after.unshipped) == ((), ())
    hit = drawing(plan, lambda supply: supply.order == first.order)
    assert_kept(book, plan, after.plan, hit)
    assert_none_is_sooner(book, plan, after.plan)


@effort(max_examples=20, deadline=None)
@given(books(caps=False), st.integers(0, 9))
def test_only_who_draws_on_a_shelf_moves_when_less_is_counted(book: Dataset, pick: int) -> None:
    settings = settings_of(book)
    rows = [row for row in book.stock if row.part != "BOLT"]
    assume(rows)
    row = rows[pick % len(rows)]
    left = row.quantity_milli - MILLI
    fewer = replace(row, quantity_milli=left, held_milli=min(row.held_milli, left))
    stock = tuple(fewer if other is row else other for other in book.stock)
    plan = planned(book, settings)
    after = gone_on(replace(book, stock=stock), plan, settings)
    assert (after.unplaced, after.unshipped) == ((), ())
    shelf = (SupplyKind.STOCK, row.point, row.part)
    hit = drawing(plan, lambda supply: (supply.kind, supply.point, supply.part) == shelf)
    assert_kept(book, plan, after.plan, hit)
    assert_none_is_sooner(book, plan, after.plan)


@effort(max_examples=20, deadline=None)
@given(books(caps=False, builds=3), st.integers(1, 2))
def test_who_goes_or_comes_moves_nobody(book: Dataset, pick: int) -> None:
    # no frame on the shelf: with a build less it may do for all, and then none is made
    bare = tuple(row for row in book.stock if row.part != "FRAME")
    book, one = replace(book, stock=bare), book.builds[pick]
    settings = settings_of(book)
    plan = planned(book, settings)
    gone = gone_on(
        replace(book, builds=tuple(row for row in book.builds if row is not one)), plan, settings
    )
    assert_kept(book, plan, gone.plan, {one.build})
    more = replace(book, builds=(*book.builds, replace(one, build="NEW")))
    come = gone_on(more, plan, settings)
    assert (come.unplaced, come.unshipped) == ((), ())
    assert_kept(more, plan, come.plan, {"NEW"})
    assert {row.build for row in come.plan.builds} == {row.build for row in more.builds}


@effort(max_examples=20, deadline=None)
@given(books(), st.integers(0, 9), st.booleans(), st.sampled_from((0, 2, 9)))
def test_what_was_done_and_another_day_give_a_valid_plan(
    book: Dataset, pick: int, is_finished: bool, freeze_days: int
) -> None:
    settings = settings_of(book)
    plan = planned(book, settings)
    first = min(row.operation for row in book.routings if row.part == "MACHINE")
    began = datetime(2026, 2, 27, 9)
    done = Progress(
        build=book.builds[pick % len(book.builds)].build,
        operation=first,
        started=began,
        finished=began + timedelta(hours=1) if is_finished else None,
    )
    later = replace(settings, as_of=settings.as_of + timedelta(1), freeze_days=freeze_days)
    after = gone_on(replace(book, progress=(done,)), plan, later, frozen=plan)
    assert (after.unplaced, after.unshipped) == ((), ())  # and it was audited


def assert_none_is_sooner(book: Dataset, plan: Plan, after: Plan) -> None:
    """No build starts an operation before its slot in the plan."""
    before, now = kept_slots(book, plan, set()), kept_slots(book, after, set())
    own = [key for key in now if key[0] in {row.build for row in plan.builds}]
    assert own
    assert all(now[key] >= before[key] for key in own)


def test_changes_of_random_books_do_move_builds() -> None:
    """So that the properties above are not those of books in which nothing ever changes."""
    moved = 0
    for seed in range(8):
        book = random_book(seed, Shape(caps=False))
        plan = planned(book, settings_of(book))
        bare = replace(book, stock=tuple(row for row in book.stock if row.part == "BOLT"))
        moved += slots(gone_on(bare, plan, settings_of(book)).plan) != slots(plan)
    assert moved >= 3
