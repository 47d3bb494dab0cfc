"""What rules, alternates and options of a market make of a date, and what is in doubt; by hand."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from datetime import date
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from fulfil_models.fit import Verdict
from fulfil_models.forward import Lever
from sales_shop import (
    FIRST,
    SECOND,
    ask,
    book,
    planned,
    rich,
)
from tiny_shop import build, march, purchase

from fulfil.errors import Refused
from fulfil.store.session import Store
from fulfil.usecases.accepting import accept_quote
from fulfil.usecases.asking import ask_machine
from fulfil.usecases.holds import hold
from fulfil.usecases.promise import promise
from fulfil.usecases.quote_cautions import Required

pytestmark = pytest.mark.usefixtures("monday")


@pytest.fixture
def rich_store(tmp_path: Path) -> Iterator[Store]:
    with planned(tmp_path / "rich.db", rich()) as store:
        yield store


def test_a_destination_by_region_and_by_postal_code(rich_store: Store) -> None:
    found = ask(rich_store, destination="US-NV")
    # two carrier days after Monday the 16th; one to a code that begins with 89
    assert (found.ships, found.arrives, found.carrier_days) == (SECOND, march(18), 2)
    found = ask(rich_store, destination="89501")
    assert (found.arrives, found.carrier_days, found.regional) == (march(17), 1, ())
    # a postal code says nothing of the region, whose rules are not applied then: that is told
    assert found.without_region == ("89501",)
    with pytest.raises(Refused, match="no destination is called CA-ON"):
        ask(rich_store, destination="CA-ON")


def test_what_local_rules_require_is_built_in_and_told(rich_store: Store) -> None:
    found = ask(rich_store, destination="US-NV")
    assert found.regional == (Required("VALVE", "backflow protection", 1000, 0),)
    assert found.without_region == ()
    more = ask(rich_store, destination="US-NV", options=(("VALVE", 2000),))
    assert [row.besides_milli for row in more.regional] == [2000]  # three go in
    assert found.cautions == (("ENGINE", "ship dry"),)
    accept_quote(rich_store, found.quote)
    assert "VALVE" in {peg.part for peg in rich_store.plan_pegs(builds=["Q1"])}


def test_an_alternate_and_another_option_with_their_fit(rich_store: Store) -> None:
    found = ask(rich_store)
    assert found.ships == SECOND
    by = {row.found.by: row for row in found.forward}
    assert set(by) == {"ENGINE2", "ENGINE3"}
    alternate, option = by["ENGINE2"], by["ENGINE3"]
    assert (alternate.found.lever, option.found.lever) == (Lever.ALTERNATE, Lever.OPTION)
    # both stand on the shelf, so only the station is waited for
    assert alternate.found.ships == option.found.ships == FIRST
    assert alternate.found.days_sooner == 12
    assert (alternate.found.cost, option.found.cost) == (Fraction(100), Fraction(0))
    (check,) = alternate.fits
    assert {line.verdict for line in check.lines} == {Verdict.FITS}
    (check,) = option.fits
    assert {line.verdict for line in check.lines} == {Verdict.DOES_NOT_FIT}


def test_options_that_are_asked_for_with_their_fit(rich_store: Store) -> None:
    # its own engine of 8 hp is left out, one of 5 hp taken: the ratings say what is given up
    found = ask(rich_store, options=(("ENGINE", -1000), ("ENGINE3", 1000)))
    assert found.ships == FIRST
    (check,) = found.fits
    assert (check.called, check.used) == ("ENGINE", "ENGINE3")
    assert {line.verdict for line in check.lines} == {Verdict.DOES_NOT_FIT}
    assert ask(rich_store, options=(("VALVE", 1000),)).fits == ()
    assert ask(rich_store, options=(("ENGINE", -1000), ("VALVE", 1000))).fits == ()  # no family


def test_what_the_queue_re_ordered_costs_and_takes(rich_store: Store) -> None:
    found = promise(rich_store, ask_machine("MACHINE", destination="US-NV"), reorder_seconds=1)
    # the alternate is on the shelf: nobody moves, but it costs 100 and has to be approved
    again = found.reordered
    assert again is not None
    assert (again.ships, again.cost, again.moved) == (FIRST, 100, ())
    assert again.arrives == march(6)  # two carrier days after Wednesday the 4th
    (measure,) = again.measures
    assert (measure.what, measure.by, measure.quantity_milli) == ("ENGINE", "ENGINE2", 1000)
    (check,) = again.fits
    assert (check.build, check.used) == (*measure.takers, "ENGINE2")
    assert {line.verdict for line in check.lines} == {Verdict.FITS}


def test_offers_arrive_where_it_goes_to(rich_store: Store) -> None:
    found = ask(rich_store, destination="US-NV")
    assert {row.found.ships for row in found.forward} == {FIRST}
    assert {row.arrives for row in found.forward} == {march(6)}  # two carrier days after the 4th
    assert {row.arrives for row in ask(rich_store).forward} == {None}


@pytest.mark.parametrize(
    ("changes", "past_due"), [({"confirmed": False}, False), ({"due": date(2026, 2, 27)}, True)]
)
def test_a_purchase_whose_day_is_in_doubt_is_told(
    tmp_path: Path, changes: dict[str, Any], past_due: bool
) -> None:
    line = dataclasses.replace(purchase("P1", SECOND), **changes)
    with planned(tmp_path / "doubt.db", book(purchases=(line,))) as store:
        assert ask(store).doubts == ()  # there is an engine on the shelf
        hold(store, 1, 1)
        (doubt,) = ask(store).doubts
        assert (doubt.order, doubt.part, doubt.due) == ("P1", "ENGINE", line.due)
        assert doubt.past_due == past_due


def test_a_date_by_re_ordering_tells_doubts_of_its_own(tmp_path: Path) -> None:
    """U has the third engine; the quote would have P1, that is not confirmed, but in U's place in
    the queue it has U's, and U goes later with P1: no doubt for whoever asks."""
    line = dataclasses.replace(purchase("P1", march(9)), confirmed=False)
    builds = (*book().builds, build("U", None))
    with planned(tmp_path / "doubt.db", book(builds=builds, purchases=(line,))) as store:
        found = promise(store, ask_machine("MACHINE"), reorder_seconds=1)
        assert [row.order for row in found.doubts] == ["P1"]
        assert found.reordered is not None
        assert found.reordered.ships < found.ships
        drawn = {row.order for row in found.reordered.doubts}
        assert drawn == set()
