"""What do new promises stand beside, when the data, the day or the holds have changed?"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from fulfil_models.audit import audit
from fulfil_models.plan import Plan
from fulfil_models.tables import Dataset, Part, Progress
from sales_shop import AS_OF, FIRST, SECOND, THIRD, ask, book, dump, planned, set_day, ships
from tiny_shop import build, march, purchase, stock

from fulfil.errors import Refused
from fulfil.store import open_store
from fulfil.store.results import RowChange
from fulfil.store.session import Store
from fulfil.usecases import current as module
from fulfil.usecases.accepting import accept_quote
from fulfil.usecases.asking import ask_machine
from fulfil.usecases.basis import settings_of, standing_plan
from fulfil.usecases.current import current, go_on
from fulfil.usecases.holds import hold, holds, release
from fulfil.usecases.promise import PromiseAnswer, promise

pytestmark = pytest.mark.usefixtures("monday")


def told(found: PromiseAnswer) -> list[tuple[str, RowChange]]:
    """Every row that is told to have changed, with its table."""
    assert found.changes is not None
    tables = [table for change in found.changes for table in change.tables]
    return [(table.table, row) for table in tables for row in table.rows]


def starts(plan: Plan) -> dict[str, datetime]:
    return {row.job: row.start for row in plan.operations}


# ---- what stands


def test_without_data_or_a_plan(tmp_path: Path) -> None:
    with open_store(str(tmp_path / "empty.db")) as store:
        with pytest.raises(Refused, match="there are no data in"):
            ask(store)
        store.replace_dataset(book())
        for number in (None, 1):
            with pytest.raises(Refused) as caught:
                promise(store, ask_machine("MACHINE"), number)
            assert caught.value.wrong == "there is no plan yet to promise beside"
            assert caught.value.remedy == "run: fulfil plan"


def test_the_accepted_plan_stands_though_another_is_newer(store: Store) -> None:
    header = store.plan_header()
    made: dict[str, Any] = {"input_hash": header.input_hash, "seconds": 1, "versions": {}}
    store.save_plan(store.plan().plan, options={}, **made)
    assert standing_plan(store) == 2  # nothing is accepted: the newest
    store.accept_plan(1)
    assert standing_plan(store) == 1
    store.replace_dataset(book(stock=(stock(2),)))
    assert ask(store).basis.plan == 3  # goes on with 1
    assert store.plan_header(3).retimed_from == 1
    store.replace_dataset(book())
    assert ask(store).basis.plan == 4
    assert store.plan_header(4).retimed_from == 3


# ---- the data changed


def test_a_stock_count(store: Store) -> None:
    before = starts(store.plan().plan)
    store.replace_dataset(book(stock=(stock(2),)))
    found = ask(store)
    # the third engine is not there: the next comes with P1/1
    assert (found.ships, found.retimed_from, found.basis.plan) == (SECOND, 1, 2)
    ((table, row),) = told(found)
    assert (table, row.how, row.key) == ("stock", "changed", ("A", "ENGINE"))
    assert [(cell.column, cell.before, cell.after) for cell in row.cells] == [
        ("quantity", "3", "2")
    ]
    header = store.plan_header(2)
    assert (header.retimed_from, header.as_of, header.late) == (1, AS_OF, 0)
    assert header.input_hash == store.data_hash()
    assert starts(store.plan(2).plan) == before


def test_asked_again_it_is_not_re_timed_anew(store: Store) -> None:
    store.replace_dataset(book(stock=(stock(2),)))
    ask(store)
    before = dump(store, but=("quotes", "sqlite_sequence"))
    found = ask(store)
    assert (found.ships, found.retimed_from, found.changes) == (SECOND, None, ())
    assert found.basis.plan == 2
    assert dump(store, but=("quotes", "sqlite_sequence")) == before


def test_a_purchase_that_slipped(tmp_path: Path) -> None:
    builds = (*book().builds, build("B3", SECOND))
    with planned(tmp_path / "fulfil.db", book(builds=builds, stock=(stock(2),))) as store:
        assert ships(store)["B3"] == SECOND
        slipped = (purchase("P1", march(23)),)
        store.replace_dataset(book(builds=builds, stock=(stock(2),), purchases=slipped))
        found = ask(store)
        # B3 waits a week longer; whoever is new has an engine that is ordered today
        assert (found.ships, found.retimed_from) == (THIRD, 1)
        assert ships(store) == {"B1": march(2), "B2": march(3), "B3": march(23)}
        ((table, row),) = told(found)
        assert (table, row.key) == ("purchases", ("P1", "1"))
        assert [(cell.column, cell.after) for cell in row.cells] == [("due", "2026-03-23")]
        assert store.plan_header().late == 1


def test_a_shelf_that_is_short_keeps_the_sequence(store: Store) -> None:
    store.replace_dataset(book(stock=(stock(1),)))
    found = ask(store)
    # one of B1 and B2 keeps the engine, the other has that of the 16th
    assert ships(store) == {"B1": march(2), "B2": SECOND}
    assert found.ships == THIRD


def test_work_that_was_begun(store: Store) -> None:
    row = Progress(build="B1", operation=10, started=datetime(2026, 3, 2, 8))
    store.replace_dataset(book(progress=(row,)))
    found = ask(store)
    assert (found.ships, found.retimed_from) == (FIRST, 1)
    assert [(table, row.how, row.key) for table, row in told(found)] == [
        ("progress", "added", ("B1", "10"))
    ]
    assert ships(store) == {"B1": march(2), "B2": march(3)}
    data = store.dataset()
    assert audit(data, settings_of(data, AS_OF), store.plan().plan) == ()


def test_changes_of_several_loads_are_all_told(store: Store) -> None:
    store.replace_dataset(book(stock=(stock(2),)))
    store.replace_dataset(book(stock=(stock(2),), purchases=(purchase("P1", march(17)),)))
    found = ask(store)
    assert found.ships == march(17)
    assert [table for table, _ in told(found)] == ["stock", "purchases"]


def test_a_new_order_is_put_in_behind(store: Store) -> None:
    store.replace_dataset(book(builds=(*book().builds, build("B3", march(2)))))
    found = ask(store)
    assert ships(store) == {"B1": march(2), "B2": march(3), "B3": march(4)}
    assert found.ships == SECOND


def test_a_plan_that_cannot_go_on(store: Store) -> None:
    store.replace_dataset(book(stock=(stock(1),), purchases=(), sources=()))
    before = dump(store)
    with pytest.raises(Refused) as caught:
        ask(store)
    assert caught.value.wrong == (
        "plan 1 cannot go on with the data as they are: nothing is left for B2"
    )
    assert caught.value.remedy == "run `fulfil plan`"
    assert dump(store) == before


def test_data_that_change_while_the_plan_is_re_timed(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    changes = iter([book(stock=(stock(4),))])

    def loaded_meanwhile(*words: Any) -> Plan:
        for data in changes:
            store.replace_dataset(data)
        return go_on(*words)

    monkeypatch.setattr(module, "go_on", loaded_meanwhile)
    store.replace_dataset(book(stock=(stock(2),)))
    found = ask(store)
    # looked at anew: two of four engines are free
    assert (found.ships, found.basis.plan) == (FIRST, 2)
    assert store.plan_header(2).input_hash == store.data_hash()


# ---- the day changed


def daily() -> Dataset:
    """The shop without a planning date of its own."""
    return book(settings=())


def test_another_day(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with planned(tmp_path / "fulfil.db", daily()) as store:
        assert ask(store).ships == FIRST
        set_day(monkeypatch, march(3))
        found = ask(store)
        # nothing was begun on Monday, so all go a day later
        assert (found.ships, found.retimed_from, found.changes) == (march(5), 1, ())
        assert (found.basis.plan, found.basis.as_of) == (2, march(3))
        assert ships(store) == {"B1": march(3), "B2": march(4)}
        assert (store.plan_header().as_of, store.plan_header().late) == (march(3), 2)
        assert ask(store).retimed_from is None


def test_a_day_that_is_named_does_not_pass(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    set_day(monkeypatch, march(3))
    found = ask(store)
    assert (found.ships, found.retimed_from, found.basis.as_of) == (FIRST, None, AS_OF)


def test_what_stands_is_looked_at_anew_on_another_day(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with planned(tmp_path / "fulfil.db", daily()) as store:
        first = current(store)
        assert current(store, before=first) is first
        set_day(monkeypatch, march(3))
        assert current(store, before=first).basis.as_of == march(3)


# ---- holds in changed data


def test_a_hold_keeps_its_engine_when_the_shelf_is_short(store: Store) -> None:
    hold(store, ask(store).quote, 3)
    store.replace_dataset(book(stock=(stock(2),)))
    assert [row.broken for row in holds(store).rows] == [()]
    found = ask(store)
    # B2 gives way to what is held: it was promised on the telephone
    assert ships(store) == {"B1": march(2), "B2": SECOND}
    assert found.ships == THIRD
    assert accept_quote(store, 1).ships == FIRST


def test_a_hold_of_which_the_engine_is_gone_is_told_to_be_broken(store: Store) -> None:
    for _ in range(2):
        hold(store, ask(store).quote, 3)
    store.replace_dataset(book(stock=(stock(0),)))
    before = dump(store)
    first, second = holds(store).rows
    assert first.broken == ("ENGINE at A: 1 too few on the shelf for Q1",)
    assert second.broken == ()
    assert dump(store) == before  # whoever looks at holds re-times nothing


def test_two_holds_on_one_engine_the_later_is_broken(tmp_path: Path) -> None:
    with planned(tmp_path / "fulfil.db", book(stock=(stock(4),))) as store:
        for _ in range(2):
            hold(store, ask(store).quote, 3)
        store.replace_dataset(book(builds=(), stock=(stock(1),)))
        first, second = holds(store).rows
        assert first.broken == ()
        assert second.broken == ("ENGINE at A: 1 too few on the shelf for Q1, Q2",)


def test_a_hold_of_a_machine_that_is_not_made_any_more(store: Store) -> None:
    hold(store, ask(store).quote, 3)
    base = book()
    other = Part(part="NEW", make=True)
    data = book(
        builds=(),
        parts=(other, *base.parts[1:]),
        routings=(replace(base.routings[0], part="NEW"),),
        bills=(replace(base.bills[0], parent="NEW"),),
    )
    store.replace_dataset(data)
    (row,) = holds(store).rows
    assert row.broken == ("its operations are not in the routings any more",)
    # it keeps nothing from anybody, and can only be let go
    assert promise(store, ask_machine("NEW")).ships == AS_OF
    before = dump(store)
    with pytest.raises(Refused, match="Q1 is not good any more: its operations are not in"):
        hold(store, 1, 9)
    with pytest.raises(Refused, match="Q1 has no place in the data as they are: MACHINE"):
        accept_quote(store, 1)
    assert dump(store) == before
    assert release(store, 1).quote.state.value == "released"


def test_a_hold_on_what_an_order_brings_over_is_not_broken(tmp_path: Path) -> None:
    # engines come by two: B2 has one of the order, and one is left
    source = replace(book().sources[0], minimum_milli=2000)
    data = book(purchases=(), stock=(stock(1),), sources=(source,))
    with planned(tmp_path / "fulfil.db", data) as store:
        found = ask(store)
        (lot,) = store.quote(found.quote).answer["offers"][0]["plan"]["supplies"]
        assert lot["order"] == "new/S/A/ENGINE/2026-03-31"
        hold(store, found.quote, 3)
        assert [row.broken for row in holds(store).rows] == [()]
