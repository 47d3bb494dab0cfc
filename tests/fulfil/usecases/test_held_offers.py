"""What is held stays there for him, whichever plan is accepted and whatever is received."""

from __future__ import annotations

from pathlib import Path

import pytest
from sales_shop import AS_OF, book, plan_so, planned, set_day
from tiny_shop import build, march, stand_in, stock

from fulfil.errors import Refused
from fulfil.usecases.asking import ask_machine
from fulfil.usecases.holds import hold
from fulfil.usecases.plans import accept
from fulfil.usecases.promise import promise


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    set_day(monkeypatch, AS_OF)


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
