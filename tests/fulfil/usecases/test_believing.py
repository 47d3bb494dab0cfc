"""A plan that believes the record of suppliers: its dates by hand, and what goes on from it.

The shop of `sales_shop`, whose supplier of engines brought ten of them in 20, 30, ... 110 days. The
planning date is 2026-03-02. P1/1 was ordered on 2026-01-05, 56 days before, and is due on the 16th.
Of the six that took longer than 56 days half had come with the third, after 80: 2026-03-26. It is
due in 14 days and a new engine takes 29 as stated; by the record, in which P1 counts as a time of
more than 56, 7/11 * 5/6 = 0.53 of all take longer than 60 days, 7/11 * 5/6 * 4/5 = 0.42 longer than
70: half have come after 70, so that one ordered today comes on 2026-05-11, a Monday.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from demo_scenario import AS_OF as DEMO_DAY
from demo_scenario import demo
from fulfil_models.audit import audit as audit_plan
from fulfil_models.document import to_document
from fulfil_models.plan import SupplyKind
from fulfil_models.settings import parse_settings
from fulfil_models.tables import Dataset, Part, Receipt
from sales_shop import (
    AS_OF,
    FIVE,
    SECOND,
    THIRD,
    copied,
    five,
    plan_again,
    plan_so,
    planned_twice,
    receipt,
    set_day,
    ships,
)
from tiny_shop import march, purchase

from fulfil.store import data_hash, open_store
from fulfil.store.session import Store
from fulfil.usecases.accepting import accept_quote
from fulfil.usecases.asking import ask_machine
from fulfil.usecases.available import available
from fulfil.usecases.builds import builds
from fulfil.usecases.current import current
from fulfil.usecases.holds import hold
from fulfil.usecases.planning import PlanOutcome, make_plan
from fulfil.usecases.plans import accept, audit, plans, premise_notes
from fulfil.usecases.promise import promise
from fulfil.usecases.purchasing import open_purchases, part, shortages

pytestmark = pytest.mark.usefixtures("monday")

HALF_P1, HALF_NEW = march(26), date(2026, 5, 11)
HALF_SHIPS = FIVE | {"B4": HALF_P1, "B5": HALF_NEW}


def record() -> tuple[Receipt, ...]:
    ordered = AS_OF - timedelta(300)
    return tuple(receipt(days, ordered, str(days)) for days in range(20, 111, 10))


def recorded(**tables: Any) -> Dataset:
    """Three builds for the three engines on the shelf, one for P1/1, one for a new engine."""
    return five(**{"receipts": record(), **tables})


def believing(store: Store) -> PlanOutcome:
    return plan_so(store, lead_times="learnt-50")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A database with a plan of what is stated, then one that believes the record."""
    path = tmp_path_factory.mktemp("believing") / "made.db"
    return planned_twice(path, recorded(), lead_times="learnt-50")


@pytest.fixture
def store(tmp_path: Path, made: bytes) -> Iterator[Store]:
    with copied(tmp_path / "fulfil.db", made) as store:
        yield store


# ---- the plan


def test_builds_ship_when_the_record_lets_them(store: Store) -> None:
    assert ships(store, 1) == FIVE
    assert ships(store, 2) == HALF_SHIPS


def test_the_plan_says_whom_it_believes(store: Store) -> None:
    stated, learnt = store.plan(1), store.plan(2)
    assert "lead_times" not in stated.header.options
    assert learnt.header.options["lead_times"] == "learnt-50"
    assert [row.lead_times for row in plans(store).plans] == ["learnt-50", "stated"]
    note = (
        "lead times by the record, of 50 of 100 deliveries (learnt-50): 1 of 1 source longer than "
        "stated, ENGINE of S to A by 41 days; 1 of 1 open purchase line later than due, P1/1 by "
        "10 days; nothing sooner than stated"
    )
    assert note in learnt.plan.notes
    assert not any("record" in row for row in stated.plan.notes)
    after, before = plans(store).plans
    note = "lead times are stated in plan 1, learnt-50 in plan 2"
    assert premise_notes(before, after) == (note,)
    assert premise_notes(after, after) == ()


def test_the_same_plan_again(store: Store) -> None:
    before = store.plan(2).plan
    assert to_document(store.plan(believing(store).number).plan) == to_document(before)


def test_without_a_record_it_is_the_plan_of_what_is_stated(tmp_path: Path) -> None:
    with open_store(str(tmp_path / "db")) as store:
        store.replace_dataset(recorded(receipts=()))
        believing(store)
        assert ships(store) == FIVE
        # and nothing but the notes and the option tells it from that
        learnt = store.plan().plan
        stated = store.plan(plan_again(store)).plan
        assert dataclasses.replace(learnt, notes=stated.notes) == stated


# ---- its check


def test_each_plan_is_held_against_what_it_believes(store: Store) -> None:
    for number in (1, 2):
        found = audit(store, number)
        assert found.good, found.violations
    assert audit(store, 2).basis.lead_times == "learnt-50"


def test_what_is_believed_makes_the_difference(store: Store) -> None:
    """The plan of either choice, kept as one of the other, breaks rules."""
    known = data_hash(store.dataset())
    kept: dict[str, Any] = {"input_hash": known, "seconds": 0.0, "versions": {}}
    stated, learnt = store.plan(1).plan, store.plan(2).plan
    as_stated = store.save_plan(learnt, options={}, **kept)
    as_learnt = store.save_plan(stated, options={"lead_times": "learnt-50"}, **kept)
    assert [row.wrong for row in audit(store, as_stated).violations] == [
        "is placed 2026-03-02 and arrives 2026-05-11, it takes 29 days"
    ]
    wrong = " ".join(row.wrong for row in audit(store, as_learnt).violations)
    assert "is placed 2026-03-02 and arrives 2026-03-31, it takes 70 days" in wrong
    assert "is usable 2026-03-16 08:00, it comes by 2026-03-26 08:00" in wrong


def test_a_plan_is_held_against_the_record_as_it_is_now(store: Store) -> None:
    store.replace_dataset(recorded(receipts=()))
    assert audit(store, 1).good
    assert not audit(store, 2).good  # nothing says any more that an engine takes 70 days


# ---- what is asked beside it


def test_a_promise_stands_on_what_the_plan_believes(store: Store) -> None:
    # everything is taken: what is new waits for an engine that is ordered today
    found = promise(store, ask_machine("MACHINE"))
    assert found.basis.plan == 2
    assert found.basis.lead_times == "learnt-50"
    assert found.ships == HALF_NEW + timedelta(1)  # B5 has the station on the day they come
    # the plan of what is stated is of the same data and the same day
    assert promise(store, ask_machine("MACHINE"), 1).ships == THIRD + timedelta(1)


def test_an_accepted_quote_goes_on_with_it_and_leaves_the_data_as_stated(store: Store) -> None:
    before = store.dataset()
    found = promise(store, ask_machine("MACHINE"))
    hold(store, found.quote, 3)
    taken = accept_quote(store, found.quote)
    assert taken.ships == found.ships
    assert store.plan_header(taken.plan).options["lead_times"] == "learnt-50"
    assert audit(store, taken.plan).good
    after = store.dataset()
    assert after.purchases == before.purchases
    assert after.sources == before.sources
    assert len(after.builds) == len(before.builds) + 1
    assert current(store).basis.lead_times == "learnt-50"


def test_it_goes_on_as_it_was_when_the_data_change(store: Store) -> None:
    store.replace_dataset(recorded(parts=(*recorded().parts, Part(part="BOLT"))))
    now = current(store)
    assert now.retimed_from == 2
    assert ships(store) == HALF_SHIPS
    assert store.plan_header().options["lead_times"] == "learnt-50"
    assert any("(learnt-50)" in note for note in now.plan.notes)
    assert [row.due for row in now.dataset.purchases] == [SECOND]
    assert [row.due for row in now.believed.purchases] == [HALF_P1]


def test_a_plan_goes_on_with_what_is_learnt_since(store: Store) -> None:
    # P1 slips by what has come since: five more took 100 days. Of eleven that took longer than 56
    # half have come with the sixth: 60 70 80 90 100 and five more of 100, so after 100 days
    more = tuple(
        dataclasses.replace(row, order="R2", received=row.ordered + timedelta(100))
        for row in record()[:5]
    )
    store.replace_dataset(recorded(receipts=record() + more))
    now = current(store)
    assert [row.due for row in now.believed.purchases] == [date(2026, 1, 5) + timedelta(100)]
    assert ships(store)["B4"] == date(2026, 4, 15)


def test_a_plan_of_what_is_stated_goes_on_as_such(store: Store) -> None:
    accept(store, 1)
    store.replace_dataset(recorded(parts=(*recorded().parts, Part(part="BOLT"))))
    now = current(store)
    assert now.retimed_from == 1
    assert ships(store) == FIVE
    assert "lead_times" not in store.plan_header().options
    assert now.believed is now.dataset


# ---- what is answered from it


def test_an_open_line_keeps_its_due_date_and_is_counted_on_later(store: Store) -> None:
    for number, counted_on in ((1, SECOND), (2, HALF_P1)):
        (line,) = open_purchases(store, number).lines
        assert (line.due, line.counted_on, line.slack_days) == (SECOND, counted_on, 0)
        (row,) = part(store, "ENGINE", number).shortage.on_order
        assert (row.due, row.counted_on) == (SECOND, counted_on)
        (short,) = (row for row in shortages(store, number).shortages if row.part == "ENGINE")
        assert [(row.due, row.counted_on) for row in short.on_order] == [(SECOND, counted_on)]


def test_what_is_past_due_is_not_said_to_come_in_overdue_days(tmp_path: Path) -> None:
    line = purchase("P1", march(1))
    with open_store(str(tmp_path / "db")) as store:
        store.replace_dataset(recorded(purchases=(line,)))
        plan_again(store)
        assert builds(store).assumed == ("past-due purchase lines are counted on 2026-03-09: P1/1",)
        believing(store)
        assert builds(store).assumed == ()
        (row,) = open_purchases(store).lines
        assert (row.due, row.past_due_days, row.counted_on) == (march(1), 1, HALF_P1)


def test_what_can_be_promised_of_a_part_comes_when_it_is_believed_to(store: Store) -> None:
    def weeks(number: int) -> list[date]:
        found = available(store, "ENGINE", number).found
        return [row.starts for row in found.weeks if row.flows.purchases_milli]

    assert weeks(1) == [SECOND]
    assert weeks(2) == [march(23)]  # the Monday of the week of the 26th


# ---- the demo


@pytest.mark.slow
def test_the_demo_by_the_most_careful_choice(tmp_path: Path, monkeypatch: Any) -> None:
    set_day(monkeypatch, DEMO_DAY)
    data = demo()
    with open_store(str(tmp_path / "db")) as store:
        store.replace_dataset(data)
        outcome = make_plan(store, seconds=1, seed=1, mode="repeatable", lead_times="learnt-90")
        assert outcome.violations == ()
        assert audit(store).good
    # of what is stated it keeps every rule but the one that a new purchase takes no longer
    found = audit_plan(data, parse_settings(data.settings, DEMO_DAY), outcome.plan)
    assert {row.rule for row in found} == {"new purchases"}
    assert all("it takes" in row.wrong for row in found)
    stated = {(row.part, row.supplier, row.point): row for row in data.sources}
    new = [row for row in outcome.plan.supplies if row.kind is SupplyKind.NEW_PURCHASE]
    assert new
    for row in new:
        assert row.place_on is not None
        assert row.arrives_on is not None
        source = stated[row.part, row.supplier or "", row.point]
        sooner = (source.expedite_days or 0) if row.expedited else 0
        assert (row.arrives_on - row.place_on).days >= source.lead_days - sooner
