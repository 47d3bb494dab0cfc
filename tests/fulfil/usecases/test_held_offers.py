"""What is held stays there for him, whichever plan is accepted and whatever is received."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from fulfil_models.tables import Dataset
from sales_shop import FIRST, SECOND, THIRD, book, plan_so, planned, set_day
from tiny_shop import build, march, purchase, stand_in, stock

from fulfil.errors import Refused
from fulfil.render.holds import hold_page
from fulfil.usecases.accepting import accept_quote
from fulfil.usecases.asking import ask_file, ask_machine
from fulfil.usecases.holds import hold, holds, release
from fulfil.usecases.plans import accept
from fulfil.usecases.promise import promise

pytestmark = pytest.mark.usefixtures("monday")


def test_a_plan_made_beside_one_offer_is_not_accepted_over_another(tmp_path: Path) -> None:
    # plan 1: B1 and B2 have the engines on the shelf, B3 one ordered on 03-02 for 03-31. Q1 is held
    # as asked, by another such order. Plan 2 orders from 03-20 on, so B3 takes the only ENGINE2;
    # then Q1 is held with that
    data = book(
        builds=(build("B1", march(2)), build("B2", march(3)), build("B3", march(31))),
        stock=(stock(2), stock(1, part="ENGINE2")),
        purchases=(),
        alternates=(stand_in(100),),
    )
    with planned(tmp_path / "fulfil.db", data) as store:
        accept(store, 1)
        quote = promise(store, ask_machine("MACHINE")).quote
        hold(store, quote, 5)
        second = plan_so(store, orders_from=march(20)).number
        hold(store, quote, 5, place=1)
        with pytest.raises(Refused) as caught:
            accept(store, second)
        assert "ENGINE2 at A: 1 too few on the shelf" in caught.value.wrong
        hold(store, quote, 5, place=0)  # as it was when plan 2 was made
        assert accept(store, second).accepted.plan == second


# ---- its purchase is received


def received(on_shelf: int, to_come: int = 0) -> Dataset:
    """The shop with so many engines on the shelf, and of P1/1 still to come."""
    lines = (purchase("P1", march(16), to_come),) if to_come else ()
    return book(stock=(stock(on_shelf),), purchases=lines)


def test_an_engine_that_was_received_stays_his_for_whom_it_is_held(tmp_path: Path) -> None:
    # B1 and B2 have the two on the shelf, Q1 has that of P1/1, here on 03-16. Once it is on the
    # shelf the next engine is one ordered on 03-02 for 03-31
    with planned(tmp_path / "fulfil.db", book(stock=(stock(2),))) as store:
        quote = promise(store, ask_machine("MACHINE")).quote
        hold(store, quote, 20)
        store.replace_dataset(received(3))
        assert promise(store, ask_machine("MACHINE")).ships == march(31)
        assert [row.broken for row in holds(store).rows] == [()]
        hold(store, quote, 21)
        assert accept_quote(store, quote).ships == march(16)
        assert promise(store, ask_machine("MACHINE")).ships == march(31)


def test_two_hold_engines_of_one_line_that_came_in_part(tmp_path: Path) -> None:
    with planned(tmp_path / "fulfil.db", received(2, to_come=2)) as store:
        first = promise(store, ask_machine("MACHINE")).quote
        hold(store, first, 20)
        second = promise(store, ask_machine("MACHINE")).quote
        hold(store, second, 20)
        store.replace_dataset(received(3, to_come=1))
        assert promise(store, ask_machine("MACHINE")).ships == march(31)
        assert [row.broken for row in holds(store).rows] == [(), ()]
        hold(store, first, 21)
        hold(store, second, 21)
        assert accept_quote(store, second).ships == march(17)
        assert accept_quote(store, first).ships == march(16)


def test_an_engine_that_never_came_is_missing(tmp_path: Path) -> None:
    with planned(tmp_path / "fulfil.db", book(stock=(stock(2),))) as store:
        hold(store, promise(store, ask_machine("MACHINE")).quote, 20)
        store.replace_dataset(received(0))
        assert [row.broken for row in holds(store).rows] == [
            ("P1/1: 1 too few in the purchase for Q1",)
        ]


# ---- for whom, and under which name


def test_it_is_told_for_whom_it_was_held(tmp_path: Path) -> None:
    with planned(tmp_path / "fulfil.db", book()) as store:
        quote = promise(store, ask_machine("MACHINE")).quote
        assert hold(store, quote, 5, "Ann").was_for is None
        assert hold(store, quote, 6).was_for is None  # longer, for Ann
        row = hold(store, quote, 5, "Bob")
        assert (row.quote.held_for, row.was_for) == ("Bob", "Ann")
        page = hold_page(row)
        assert "it was held for Ann" in page.notes
        assert page.document()["was_for"] == "Ann"
        release(store, quote)
        assert hold(store, quote, 5, "Cid").was_for is None  # nobody had it


def test_names_of_a_file_that_are_taken_are_to_be_changed_in_the_file(tmp_path: Path) -> None:
    folder = tmp_path / "asked"
    folder.mkdir()
    (folder / "builds.csv").write_text("build,product,point,ordered\nN1,MACHINE,A,2026-03-02\n")
    with planned(tmp_path / "fulfil.db", book()) as store:
        first, second = (promise(store, ask_file(folder)).quote for _ in range(2))
        hold(store, first, 5)
        accept_quote(store, first)
        again = promise(store, ask_machine("MACHINE")).quote
        with pytest.raises(Refused) as caught:
            accept_quote(store, second)
        assert "N1 is in the data already; give the new one another name" in caught.value.remedy
        with pytest.raises(Refused) as caught:
            accept_quote(store, again, name="N1")
        assert caught.value.remedy == "name it otherwise: --as NAME"


# ---- dates that cannot be kept any more


def test_a_date_that_counts_on_an_order_of_that_day_moves_with_the_days(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An engine ordered on Monday comes on 03-31, 29 days later. Nobody orders it for a quote that
    is only held; on Tuesday it would be there a day later. What is on the shelf is kept."""
    data = replace(book(), settings=())
    with planned(tmp_path / "fulfil.db", data) as store:
        for quote in (1, 2, 3):
            assert promise(store, ask_machine("MACHINE")).quote == quote
            hold(store, quote, 5)
        assert [row.ships_now for row in holds(store).rows] == [FIRST, SECOND, THIRD]
        set_day(monkeypatch, march(3))
        rows = {row.quote.number: row for row in holds(store).rows}
        assert rows[3].offer.ships == THIRD
        assert rows[3].ships_now == date(2026, 4, 1)
        assert (rows[1].ships_now, rows[2].ships_now, rows[3].broken) == (FIRST, SECOND, ())
        with pytest.raises(Refused, match="it would ship 2026-04-01"):
            accept_quote(store, 3)


def test_a_date_whose_purchase_slips_is_told(tmp_path: Path) -> None:
    with planned(tmp_path / "fulfil.db", book(stock=(stock(2),))) as store:
        hold(store, promise(store, ask_machine("MACHINE")).quote, 5)
        store.replace_dataset(book(stock=(stock(2),), purchases=(purchase("P1", march(25)),)))
        (row,) = holds(store).rows
        assert (row.offer.ships, row.ships_now, row.broken) == (SECOND, march(25), ())


def test_a_quote_beside_a_plan_that_orders_at_once_is_not_held_beside_one_that_waits(
    tmp_path: Path,
) -> None:
    with planned(tmp_path / "fulfil.db", book(stock=(stock(2),), purchases=())) as store:
        accept(store, 1)
        quote = promise(store, ask_machine("MACHINE")).quote  # ordered on 03-02, here on 03-31
        plan_so(store, orders_from=march(20))
        accept(store, 2)
        with pytest.raises(Refused, match=f"Q{quote} is not good any more"):
            hold(store, quote, 5)
