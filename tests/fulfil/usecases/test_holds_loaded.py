"""Data that are loaded after a quote was accepted: the order stays until the files have it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from fulfil_models.plan import Plan
from fulfil_models.room import Request
from fulfil_models.tables import Dataset
from holding import nothing_changes
from sales_shop import (
    AS_OF,
    FIRST,
    SECOND,
    ask,
    book,
    planned,
)
from tiny_shop import build, delivery, march, stock

from fulfil.errors import Refused
from fulfil.exchange import write_folder
from fulfil.store.session import Store
from fulfil.usecases.accepting import accept_quote
from fulfil.usecases.asking import Asked, ask_parts
from fulfil.usecases.basis import standing_plan
from fulfil.usecases.data import load
from fulfil.usecases.holds import hold, release
from fulfil.usecases.promise import promise

pytestmark = pytest.mark.usefixtures("monday")


def files(path: Path, data: Dataset) -> Path:
    write_folder(data, path)
    return path


def test_a_data_set_that_lacks_the_order_keeps_it(store: Store, tmp_path: Path) -> None:
    ask(store, options=(("ENGINE", 1000),))
    accept_quote(store, 1)
    with_order = store.data_hash()
    old = files(tmp_path / "old", book())
    first = load(store, old, AS_OF)
    assert (first.kept, first.changed) == (("Q1 (Q1)",), False)
    assert store.data_hash() == with_order
    new = files(tmp_path / "new", book(stock=(stock(9),)))
    second = load(store, new, AS_OF)
    assert (second.kept, second.changed) == (("Q1 (Q1)",), True)
    data = store.dataset()
    assert {row.build for row in data.builds} == {"B1", "B2", "Q1"}
    assert [row.build for row in data.build_options] == ["Q1"]
    again = load(store, new, AS_OF)
    assert (again.kept, again.changed) == (("Q1 (Q1)",), False)
    assert store.dataset() == data
    assert store.quote(1).state.value == "accepted"


def test_a_data_set_that_has_the_order_takes_its_place(store: Store, tmp_path: Path) -> None:
    ask(store)
    accept_quote(store, 1)
    own = build("Q1", march(9), ordered=AS_OF, customer="Customer")
    path = files(tmp_path / "new", book(builds=(*book().builds, own)))
    for changed in (True, False):
        found = load(store, path, AS_OF)
        assert (found.kept, found.changed) == ((), changed)
        assert own in store.dataset().builds
        assert store.quote(1).state.value == "kept"
    # it lives in the files from now on: where they lack it, it is done or cancelled
    assert load(store, files(tmp_path / "old", book()), AS_OF).kept == ()
    assert {row.build for row in store.dataset().builds} == {"B1", "B2"}
    with nothing_changes(store), pytest.raises(Refused, match="Q1 was accepted from Q1 and is in"):
        release(store, 1)


def test_of_an_order_of_several_those_that_lack_are_kept(store: Store, tmp_path: Path) -> None:
    builds = (build("N1", None, ordered=AS_OF), build("N2", None, ordered=AS_OF))
    promise(store, Asked(Request(builds), named=True))
    assert accept_quote(store, 1).names == ("N1", "N2")
    path = files(tmp_path / "new", book(builds=(*book().builds, build("N1", SECOND))))
    assert load(store, path, AS_OF).kept == ("Q1 (N2)",)
    assert {row.build for row in store.dataset().builds} == {"B1", "B2", "N1", "N2"}
    assert store.quote(1).state.value == "accepted"
    both = book(builds=(*book().builds, build("N1", SECOND), build("N2", SECOND)))
    assert load(store, files(tmp_path / "both", both), AS_OF).kept == ()
    assert store.quote(1).state.value == "kept"


def test_a_parts_order_is_kept_too(tmp_path: Path) -> None:
    with planned(tmp_path / "fulfil.db", book(deliveries=(delivery("A"),))) as store:
        promise(store, ask_parts((("ENGINE", 1000),), "US-NV"))
        accept_quote(store, 1)
        (line,) = store.dataset().parts_orders
        path = files(tmp_path / "new", book(deliveries=(delivery("A"),), stock=(stock(5),)))
        assert load(store, path, AS_OF).kept == ("Q1 (Q1)",)
        assert store.dataset().parts_orders == (line,)
        release(store, 1)
        assert store.dataset().parts_orders == ()


def test_an_accepted_order_that_is_let_go(store: Store) -> None:
    data, quote = store.data_hash(), ask(store, options=(("ENGINE", 1000),)).quote
    accept_quote(store, quote)
    assert release(store, quote).quote.state.value == "released"
    assert store.data_hash() == data
    assert ask(store).ships == FIRST


def test_a_data_set_in_which_it_has_no_place_is_refused(store: Store, tmp_path: Path) -> None:
    ask(store)
    accept_quote(store, 1)
    base = book()
    gone = book(
        builds=(), parts=base.parts[1:], bills=(), routings=(), work_centres=base.work_centres
    )
    path = files(tmp_path / "gone", gone)
    with nothing_changes(store), pytest.raises(Refused) as caught:
        load(store, path, AS_OF)
    assert caught.value.wrong.startswith("Q1 was accepted as Q1, which has no place in these data")
    assert caught.value.remedy.endswith("`fulfil release Q1`")
    release(store, 1)
    assert load(store, path, AS_OF).loaded


def test_a_quote_is_not_made_of_data_that_are_gone(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Somebody loads data while an order is taken up: it is looked at anew, with those."""
    from fulfil.usecases import accepting as module

    hold(store, ask(store).quote, 3)
    changes = iter([book(stock=(stock(9),))])
    go_on = module.go_on

    def loaded_meanwhile(*words: Any) -> Plan:
        made = go_on(*words)
        for data in changes:
            store.replace_dataset(data)
        return made

    monkeypatch.setattr(module, "go_on", loaded_meanwhile)
    assert accept_quote(store, 1).ships == FIRST
    assert {row.quantity_milli for row in store.dataset().stock} == {9000}
    assert {row.build for row in store.dataset().builds} == {"B1", "B2", "Q1"}
    assert store.plan_header(standing_plan(store)).input_hash == store.data_hash()
