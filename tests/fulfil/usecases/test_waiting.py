"""A plan that places no new purchase before a day: its dates by hand, and what goes on from it.

The shop of `sales_shop` on Monday 2026-03-02. Three engines are on the shelf for B1, B2 and B3, one
comes with P1/1 on the 16th for B4. B5 is promised for the 31st and needs one that is ordered: it
takes 29 days, so ordered today it is there on the 31st, in time. Ordered on the 16th it is there on
14 April, a Tuesday: 14 calendar days late, 10 working days, and a machine takes a whole day of 480
minutes: 4,800 late minutes, at 1,000 a day of 480 minutes 10,000.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from datetime import date, timedelta
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from fulfil_models.plan import SupplyKind
from fulfil_models.tables import Part, Setting, Source
from sales_shop import (
    AS_OF,
    FIVE,
    THIRD,
    copied,
    five,
    plan_again,
    plan_so,
    planned_twice,
    set_day,
    ships,
)
from tiny_shop import build, march

from fulfil.errors import Refused
from fulfil.store import data_hash
from fulfil.store.session import Store
from fulfil.usecases import buying
from fulfil.usecases.accepting import accept_quote
from fulfil.usecases.asking import ask_machine
from fulfil.usecases.builds import builds
from fulfil.usecases.buying import Asked, buy
from fulfil.usecases.current import current
from fulfil.usecases.holds import hold
from fulfil.usecases.planning import PlanOutcome, make_plan
from fulfil.usecases.plans import audit, plans, premise_notes
from fulfil.usecases.promise import promise
from fulfil.usecases.purchasing import part

pytestmark = pytest.mark.usefixtures("monday")

WAITS = march(16)
LATER = WAITS + timedelta(29)
LATE = FIVE | {"B5": LATER}
NOTE = "no new purchase is placed before 2026-03-16"


def setting(day: date) -> tuple[Setting, ...]:
    """The settings of the shop, and in them the day from which to order."""
    return (*five().settings, Setting(key="orders_from", value=day.isoformat()))


def waiting(store: Store, day: date = WAITS) -> PlanOutcome:
    return plan_so(store, orders_from=day)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A database with a plan that orders today, then one that waits."""
    return planned_twice(tmp_path_factory.mktemp("waiting") / "made.db", five(), orders_from=WAITS)


@pytest.fixture
def store(tmp_path: Path, made: bytes) -> Iterator[Store]:
    with copied(tmp_path / "fulfil.db", made) as store:
        yield store


# ---- the plan


def test_only_what_needs_a_new_purchase_is_later(store: Store) -> None:
    assert ships(store, 1) == FIVE
    assert ships(store, 2) == LATE
    before, after = store.plan(1).plan, store.plan(2).plan
    (order,) = (row for row in after.supplies if row.kind is SupplyKind.NEW_PURCHASE)
    assert (order.place_on, order.arrives_on) == (WAITS, LATER)
    assert before.weighted_late_minutes == 0
    assert after.weighted_late_minutes == 10 * 480
    assert after.objective.total - before.objective.total == Fraction(10_000)
    assert after.bound > before.objective.total  # no plan that waits is as good


def test_the_plan_says_that_it_waits(store: Store) -> None:
    prompt, waits = store.plan(1), store.plan(2)
    assert "orders_from" not in prompt.header.options
    assert waits.header.options["orders_from"] == "2026-03-16"
    assert NOTE in waits.plan.notes
    assert not any("new purchase" in row for row in prompt.plan.notes)
    note = "new purchases are placed as set in the data in plan 1, from 2026-03-16 in plan 2"
    after, before = plans(store).plans
    assert premise_notes(before, after) == (note,)
    assert premise_notes(after, after) == ()


def test_the_setting_of_the_data_is_a_rule_for_every_plan(store: Store) -> None:
    store.replace_dataset(five(settings=setting(WAITS)))
    outcome = make_plan(store, seconds=0.2, seed=1, mode="repeatable")
    assert outcome.orders_from == WAITS
    assert ships(store) == LATE
    assert "orders_from" not in store.plan_header().options
    assert audit(store).good
    assert not audit(store, 1).good  # made when orders could be placed at once
    # what is asked for goes before what is set
    assert waiting(store, AS_OF).orders_from is None
    assert ships(store) == FIVE
    assert audit(store).good


def test_a_day_that_is_over_in_the_data_counts_as_the_planning_date(store: Store) -> None:
    store.replace_dataset(five(settings=setting(AS_OF - timedelta(1))))
    plan_again(store)
    assert ships(store) == FIVE
    assert not any("new purchase" in row for row in store.plan().plan.notes)


def test_to_ask_for_a_day_that_is_over_is_refused(store: Store) -> None:
    with pytest.raises(Refused, match="placed on 2026-03-01: the planning date is 2026-03-02"):
        waiting(store, AS_OF - timedelta(1))
    assert store.plan_header().number == 2


def test_what_could_only_come_beyond_the_horizon_is_named(store: Store) -> None:
    # 20 days to wait and 29 to come are 49: within 49, not within 48
    for days, left in (("49", ()), ("48", ("B5",))):
        horizon = Setting(key="horizon_days", value=days)
        rows = (*five().settings, horizon)
        # the shelf and the purchase are gone, so that nothing but a source has engines
        alone = five(settings=rows, builds=(build("B5", THIRD),), stock=(), purchases=())
        store.replace_dataset(alone)
        made = waiting(store, AS_OF + timedelta(20))
        assert tuple(row.key for row in made.plan.stranded) == left
        assert audit(store).good


# ---- its check


def test_each_plan_is_held_against_its_own_day(store: Store) -> None:
    for number in (1, 2):
        found = audit(store, number)
        assert found.good, found.violations
    assert audit(store, 1).basis.orders_from is None
    assert audit(store, 2).basis.orders_from == WAITS


def test_the_day_makes_the_difference(store: Store) -> None:
    kept: dict[str, Any] = {"input_hash": data_hash(store.dataset()), "seconds": 0.0}
    prompt = store.plan(1).plan
    options = {"orders_from": "2026-03-16"}
    as_waiting = store.save_plan(prompt, options=options, versions={}, **kept)
    assert [(row.rule, row.wrong) for row in audit(store, as_waiting).violations] == [
        ("new purchases", "is placed 2026-03-02, orders are placed from 2026-03-16 on")
    ]


# ---- what is asked beside it


def test_a_promise_orders_from_that_day(store: Store) -> None:
    # everything is taken: what is new waits for an engine; B5 has the station on the 14th
    found = promise(store, ask_machine("MACHINE"))
    assert found.basis.orders_from == WAITS
    assert found.ships == LATER + timedelta(1)
    assert promise(store, ask_machine("MACHINE"), 1).ships == THIRD + timedelta(1)


def test_an_accepted_quote_goes_on_with_the_choice(store: Store) -> None:
    found = promise(store, ask_machine("MACHINE"))
    taken = accept_quote(store, found.quote)
    assert taken.ships == found.ships
    assert store.plan_header(taken.plan).options["orders_from"] == "2026-03-16"
    assert audit(store, taken.plan).good


def test_it_goes_on_as_it_was_when_the_data_change(store: Store) -> None:
    store.replace_dataset(five(parts=(*five().parts, Part(part="BOLT"))))
    now = current(store)
    assert now.retimed_from == 2
    assert ships(store) == LATE
    assert store.plan_header().options["orders_from"] == "2026-03-16"
    assert NOTE in now.plan.notes
    assert now.basis.orders_from == WAITS


def test_it_orders_on_the_day_itself_when_that_has_come(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A week after the 16th an order of that day comes on the 23rd and 29 days: 21 April."""
    day = march(23)
    set_day(monkeypatch, day)
    data = five(settings=(Setting(key="as_of", value=day.isoformat()),))
    store.replace_dataset(data)
    now = current(store)
    assert now.settings.first_order_day == day
    assert now.basis.orders_from is None
    assert store.plan_header().options["orders_from"] == "2026-03-16"
    assert ships(store)["B5"] == day + timedelta(29)
    assert not any("new purchase" in note for note in now.plan.notes)


def test_what_was_quoted_beside_a_plan_that_orders_today_is_not_held_beside_another(
    store: Store,
) -> None:
    """Of an order placed today it would ship on 1 April; the plan that waits has none."""
    quote = promise(store, ask_machine("MACHINE"), 1).quote
    with pytest.raises(Refused, match=f"Q{quote} is not good any more"):
        hold(store, quote, 3)
    with pytest.raises(Refused, match=f"Q{quote} is not good any more"):
        accept_quote(store, quote)
    assert len(store.dataset().builds) == len(FIVE)


# ---- what is answered from it


def test_answers_name_the_day_once(store: Store) -> None:
    found = builds(store)
    assert found.basis.notes[1] == "plan 2 places no new purchase before 2026-03-16"
    assert found.assumed == ()
    store.replace_dataset(five(settings=setting(march(9))))
    plan_again(store)
    assert builds(store).basis.notes[1] == "plan 3 places no new purchase before 2026-03-09"


def test_an_order_is_told_from_the_day_it_may_be_placed(store: Store) -> None:
    for number, comes in ((1, THIRD), (2, LATER)):
        (offer,) = part(store, "ENGINE", number).shortage.offers
        assert offer.usable_on == comes


# ---- what orders would have saved


def test_orders_that_are_accepted_make_good_what_waiting_cost(store: Store) -> None:
    """Bought beside the plan that orders today, B5's engine is ordered today, and the plan that
    waits with all else counts on it: nothing is late, as in the plan that did not wait."""
    asked = Asked(service=0.5)
    beside = buy(store, asked, 2)
    assert [(row.place_on, row.due_on) for row in beside.lines] == [(WAITS, LATER)]
    answer = buy(store, asked, 1)
    assert [(row.place_on, row.due_on) for row in answer.lines] == [(AS_OF, THIRD)]
    accepted = buying.accept(store, answer, every=False)
    assert [(row.part, row.due) for row in accepted.purchases] == [("ENGINE", THIRD)]
    waiting(store)
    assert ships(store) == FIVE
    assert store.plan().plan.weighted_late_minutes == 0


def test_what_waits_keeps_to_the_cap_of_its_month(store: Store) -> None:
    """Two a month, and two are on order for April: nothing can be ordered that comes in it."""
    capped = dataclasses.replace(five().sources[0], monthly_cap_milli=2000)
    rows: tuple[Source, ...] = (capped,)
    line = dataclasses.replace(
        five().purchases[0], order="P2", quantity_milli=2000, due=date(2026, 4, 30)
    )
    store.replace_dataset(five(sources=rows, purchases=(*five().purchases, line)))
    waiting(store)
    # B5 takes one of P2 on 30 April rather than wait for May
    assert ships(store)["B5"] == date(2026, 4, 30)
