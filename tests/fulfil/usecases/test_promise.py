"""When could something new ship? Dates by hand on the shop of `sales_shop`."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from datetime import date, datetime
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from fulfil_models.fit import Verdict
from fulfil_models.forward import Lever
from fulfil_models.tables import Dataset, Part
from sales_shop import (
    AS_OF,
    FIRST,
    SECOND,
    THIRD,
    book,
    dump,
    plan_again,
    planned,
    rich,
    set_day,
    ships,
)
from tiny_shop import build, delivery, march, order, purchase, source, stock

from fulfil.errors import Refused
from fulfil.render.holds import accepted_page, holds_page
from fulfil.render.promise import promise_page
from fulfil.store import StoreError
from fulfil.store.session import Store
from fulfil.usecases.accepting import accept_quote
from fulfil.usecases.asking import ask_machine, ask_parts
from fulfil.usecases.holds import hold, holds
from fulfil.usecases.promise import PromiseAnswer, Promises, promise
from fulfil.usecases.quote_cautions import Required
from fulfil.usecases.quote_documents import Promise


@pytest.fixture(autouse=True)
def _monday(monkeypatch: pytest.MonkeyPatch) -> None:
    set_day(monkeypatch, AS_OF)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with planned(tmp_path / "fulfil.db", book()) as store:
        yield store


def ask(store: Store, **more: Any) -> PromiseAnswer:
    return promise(store, ask_machine("MACHINE", **more))


# ---- the date


def test_the_first_day_that_is_free_with_a_part_that_is(store: Store) -> None:
    found = ask(store)
    # the station is taken on the 2nd and the 3rd; the third engine is on the shelf
    assert (found.ships, found.quote, found.basis.plan) == (FIRST, 1, 1)
    (row,) = found.builds
    assert (row.finish, row.lead_days) == (datetime(2026, 3, 4, 16, 30), 2)
    assert row.blockers[0].ahead == ("B1", "B2")
    assert (found.retimed_from, found.changes, found.due, found.reordered) == (None, (), None, None)


def test_asking_keeps_a_quote_and_changes_nothing_else(store: Store) -> None:
    but = ("quotes", "sqlite_sequence")
    before = dump(store, but=but)
    for number in (1, 2):
        assert ask(store).quote == number
    assert dump(store, but=but) == before
    assert [row.number for row in store.quotes()] == [2, 1]


@pytest.mark.parametrize(("wanted", "late"), [(FIRST, 0), (march(5), 0), (march(3), 1)])
def test_against_the_day_that_is_wanted(store: Store, wanted: date, late: int) -> None:
    found = ask(store, wanted=wanted)
    assert (found.due, found.days_past_wanted) == (wanted, late)
    assert found.ships == FIRST  # the day that is wanted moves nobody


def test_a_weight_is_kept_up_to_the_order(store: Store) -> None:
    ask(store, weight_ppm=2_500_000)
    accept_quote(store, 1)
    assert {row.build: row.weight_ppm for row in store.dataset().builds}["Q1"] == 2_500_000


def test_options_are_kept_up_to_the_order(store: Store) -> None:
    # two engines: the free one, and that of the 16th
    found = ask(store, options=(("engine", 1000),))
    assert found.ships == SECOND
    accept_quote(store, 1)
    (row,) = store.dataset().build_options
    assert (row.build, row.component, row.quantity_milli) == ("Q1", "ENGINE", 1000)
    drawn = {peg.supply for peg in store.plan_pegs(builds=["Q1"])}
    assert drawn == {"stock/A/ENGINE", "purchase/P1/1"}


def test_one_that_takes_no_engine_waits_for_the_station_only(store: Store) -> None:
    hold(store, ask(store).quote, 3)
    assert ask(store, options=(("ENGINE", -1000),)).ships == march(5)


# ---- a market with rules, alternates and options


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


def test_without_deliveries_it_is_not_known_when_it_arrives(store: Store) -> None:
    found = ask(store, destination="anywhere")
    assert (found.ships, found.arrives) == (FIRST, None)


def test_what_never_comes_is_said(tmp_path: Path) -> None:
    data = book(parts=(*book().parts, Part(part="GHOST")))
    with planned(tmp_path / "ghost.db", data) as store:
        with pytest.raises(Refused) as caught:
            ask(store, options=(("GHOST", 1000),))
        assert caught.value.wrong.startswith("MACHINE: a part of it never comes")
        assert "fulfil explode MACHINE" in caught.value.remedy
        assert store.quotes() == []


# ---- spare parts


def parts_shop() -> Dataset:
    """Engines: one free at A, whence it takes two days; two at B, whence it takes four."""
    return book(
        stock=(stock(3), stock(2, "B")),
        deliveries=(delivery("A", cost=20, days=2), delivery("B", cost=10, days=4)),
    )


@pytest.fixture
def parts_store(tmp_path: Path) -> Iterator[Store]:
    with planned(tmp_path / "parts.db", parts_shop()) as store:
        yield store


def test_spare_parts_from_where_they_arrive_first(parts_store: Store) -> None:
    found = promise(parts_store, ask_parts((("ENGINE", 1000),), "US-NV", within_days=2))
    assert (found.ships, found.arrives, found.carrier_days) == (AS_OF, march(4), 2)
    # two carrier days after Monday the 2nd
    assert (found.due, found.days_past_wanted) == (march(4), 0)
    assert [row.is_arrival for row in found.wanted] == [True]
    assert [(row.point, row.arrives, row.cost) for row in found.from_points] == [
        ("A", march(4), 20),
        ("B", march(6), 10),
    ]
    assert len(found.shipment_reasons) == 1


def test_spare_parts_that_arrive_together_ship_as_cheaply_as_can_be(tmp_path: Path) -> None:
    """A lamp is at both points, a free engine at B alone. From A it takes one carrier day, for 20,
    from B two, for 10. The lamp from A would be there a day before the engine, which is no use."""
    data = book(
        parts=(*book().parts, Part(part="LAMP")),
        stock=(stock(2), stock(2, "B"), stock(1, part="LAMP"), stock(1, "B", part="LAMP")),
        deliveries=(delivery("A", cost=20, days=1), delivery("B", cost=10, days=2)),
    )
    with planned(tmp_path / "cheap.db", data) as store:
        found = promise(store, ask_parts((("ENGINE", 1000), ("LAMP", 1000)), "US-NV"))
        assert [(row.point, row.arrives) for row in found.shipments] == [("B", march(4))] * 2
        assert found.from_points[0].point == "B"
        assert found.cost == found.from_points[0].cost
        # a lamp alone comes from where it is there first, whatever that costs
        found = promise(store, ask_parts((("LAMP", 1000),), "US-NV"))
        assert [(row.point, row.arrives, found.cost) for row in found.shipments] == [
            ("A", march(3), 20)
        ]


@pytest.mark.parametrize(
    ("within", "wanted", "late"), [(11, 4, 0), (11, 3, 1), (9, 3, 4), (2, 5, 13), (None, 3, 1)]
)
def test_spare_parts_against_both_days(
    tmp_path: Path, within: int | None, wanted: int, late: int
) -> None:
    """P2 comes to B on Wednesday the 4th, and nine carrier days later it is Tuesday the 17th, the
    eleventh after Monday the 2nd. The ninth is the 13th, the second the 4th."""
    data = book(
        purchases=(purchase("P2", march(4), point="B"),),
        stock=(stock(2),),
        sources=(),
        deliveries=(delivery("B", days=9),),
    )
    with planned(tmp_path / "both.db", data) as store:
        asked = ask_parts((("ENGINE", 1000),), "US-NV", within, march(wanted))
        found = promise(store, asked)
        assert (found.ships, found.arrives) == (march(4), march(17))
        assert found.days_past_wanted == late
        # the data have only one of both days
        accept_quote(store, found.quote)
        (line,) = store.dataset().parts_orders
        promised = (march(4), None) if within is None else (None, 11)
        assert (line.promised, line.within_days) == promised


def test_spare_parts_in_several_shipments(parts_store: Store) -> None:
    found = promise(parts_store, ask_parts((("ENGINE", 3000),), "US-NV", within_days=2))
    # all from one point: at A there are three once P1 and an order of 29 days came, on Tuesday 31
    assert (found.ships, found.arrives) == (THIRD, date(2026, 4, 2))
    assert found.days_past_wanted == 29  # 03-04 to 04-02
    (split,) = (row.found for row in found.forward if row.found.lever is Lever.SPLIT)
    assert (split.ships, split.arrives, split.cost) == (AS_OF, march(6), 10)


def test_a_parts_order_that_is_accepted(parts_store: Store) -> None:
    promise(parts_store, ask_parts((("ENGINE", 1000),), "US-NV", within_days=2, weight_ppm=3))
    made = accept_quote(parts_store, 1, name="O9")
    (line,) = parts_store.dataset().parts_orders
    # its arrival is promised, two carrier days after the 2nd: from A, or whence it is there by then
    assert (line.order, line.line, line.promised, line.within_days) == ("O9", "1", None, 2)
    assert made.promises == (Promise("O9", march(4), arrives=True),)
    assert made.promised is None
    assert "O9 is promised to arrive by 2026-03-04, and ships" in accepted_page(made).lines(200)[0]
    with pytest.raises(Refused, match="it is O9, promised to arrive by 2026-03-04"):
        hold(parts_store, 1, 3)
    (row,) = holds_page(holds(parts_store, every=True)).document()["quotes"]
    assert row["promised"] is None
    assert row["promises"] == [{"name": "O9", "day": "2026-03-04", "arrives": True}]
    assert (line.weight_ppm, line.split) == (3, False)
    assert (made.names, made.ships) == (("O9",), AS_OF)
    assert [(row.order, row.ships) for row in parts_store.plan().plan.shipments] == [("O9", AS_OF)]
    # the free engine at A is gone: the next from there comes on the 16th, from B it is four days
    found = promise(parts_store, ask_parts((("ENGINE", 1000),), "US-NV"))
    assert found.arrives == march(6)


def test_the_arrival_that_was_told_is_kept_by_later_plans(tmp_path: Path) -> None:
    """From A it takes one carrier day, for 100, from B nine, for nothing: a plan that only had a
    day to ship by would send it from B."""
    data = book(
        stock=(stock(3), stock(1, "B")),
        deliveries=(delivery("A", cost=100, days=1), delivery("B", days=9)),
    )
    with planned(tmp_path / "arrival.db", data) as store:
        found = promise(store, ask_parts((("ENGINE", 1000),), "US-NV"))
        assert (found.ships, found.arrives) == (AS_OF, march(3))
        accept_quote(store, found.quote, name="O9")
        plan_again(store)
        (sent,) = store.plan().plan.shipments
        assert (sent.point, sent.arrives, sent.late_days) == ("A", march(3), 0)


# ---- the queue re-ordered


def test_the_queue_re_ordered_for_a_sooner_date(tmp_path: Path) -> None:
    builds = (build("B1", march(2)), build("B2", march(3)), build("U", None))
    with planned(tmp_path / "queue.db", book(builds=builds, stock=(stock(9),))) as store:
        assert ships(store) == {"B1": march(2), "B2": march(3), "U": march(4)}
        found = promise(store, ask_machine("MACHINE"), reorder_seconds=1)
        # U has no promise, so it can go a day later
        assert (found.ships, found.reordered is not None) == (march(5), True)
        assert found.reordered is not None
        assert (found.reordered.ships, found.reordered.days_sooner) == (march(4), 1)
        (moved,) = found.reordered.moved
        assert (moved.build, moved.ships_before, moved.ships_after) == ("U", march(4), march(5))
        assert store.quote(found.quote).answer["reordered"] == "2026-03-04"
        assert len(store.plan_headers()) == 1


def test_no_order_is_better_where_everybody_is_due(store: Store) -> None:
    found = promise(store, ask_machine("MACHINE"), reorder_seconds=1)
    assert found.reordered is not None
    assert (found.reordered.ships, found.reordered.days_sooner) == (FIRST, 0)
    assert found.reordered.moved == ()


def test_of_spare_parts_the_arrival_counts_in_a_queue_re_ordered(tmp_path: Path) -> None:
    """From A, where P1 comes on the 9th, it is there on the 10th. From B, where S1 could give way,
    it would ship on the 2nd, and arrive nine carrier days later, on the 13th: not sooner."""
    data = book(
        builds=(),
        stock=(stock(1, "B"),),
        purchases=(purchase("P1", march(9)),),
        sources=(source(20),),
        parts_orders=(order("S1", 1, march(31)),),  # from B, which costs nothing
        deliveries=(delivery("A", cost=50, days=1), delivery("B", days=9)),
    )
    with planned(tmp_path / "far.db", data) as store:
        asked = ask_parts((("ENGINE", 1000),), "US-NV")
        found = promise(store, asked, reorder_seconds=1)
        assert found.arrives == march(10)
        assert found.reordered is not None
        assert (found.reordered.days_sooner, found.reordered.moved_lines) == (0, ())


def far_and_near(tmp_path: Path, days: int) -> Store:
    """One engine at A, sent to S1 when it was to be there on Monday the 2nd, the first carrier day
    after 02-27; now the seventh is early enough. One at B, whence it takes so many days; P1 comes
    to A on the 9th."""
    data = book(
        builds=(),
        stock=(stock(1), stock(1, "B")),
        purchases=(),
        sources=(source(20),),
        parts_orders=(order("S1", 1, None, within_days=1),),
        deliveries=(delivery("A", cost=50, days=1), delivery("B", days=days)),
    )
    store = planned(tmp_path / "near.db", data)
    waits = (order("S1", 1, None, within_days=7),)
    store.replace_dataset(
        dataclasses.replace(data, parts_orders=waits, purchases=(purchase("P1", march(9)),))
    )
    return store


def test_a_ship_day_of_a_queue_re_ordered_is_taken_with_its_arrival(tmp_path: Path) -> None:
    """S1 is to be there by the seventh carrier day after Friday 02-27, the 10th, so it can wait for
    P1 of the 9th and leave the engine on the shelf of A to a new order, which is there on the 3rd.
    From B that would ship on the 2nd, too, for nothing, but arrive on the 13th."""
    with far_and_near(tmp_path, days=9) as store:
        found = promise(store, ask_parts((("ENGINE", 1000),), "US-NV"), reorder_seconds=1)
        assert (found.ships, found.arrives) == (march(9), march(10))
        assert found.reordered is not None
        assert (found.reordered.ships, found.reordered.arrives) == (march(2), march(3))
        assert found.reordered.days_sooner == 7
        assert any(
            "`fulfil accept Q1 --promised 2026-03-02`" in n for n in promise_page(found).notes
        )
        made = accept_quote(store, found.quote, promised=march(2), name="O9", seconds=2)
        assert made.promises == (Promise("O9", march(2), arrives=False),)
        assert made.reordered is not None
        assert (made.reordered.arrives, made.reordered.days_sooner) == (march(3), 7)
        sent = {row.order: (row.point, row.arrives) for row in store.plan().plan.shipments}
        assert sent == {"O9": ("A", march(3)), "S1": ("A", march(10))}


def test_an_arrival_that_is_sooner_with_no_sooner_ship_day(tmp_path: Path) -> None:
    """From B it ships on the 2nd and arrives on the 9th, from A on the 3rd, for the same ship day:
    a promise of that day would be kept from B as well."""
    with far_and_near(tmp_path, days=5) as store:
        found = promise(store, ask_parts((("ENGINE", 1000),), "US-NV"), reorder_seconds=1)
        assert (found.ships, found.arrives) == (march(2), march(9))
        assert found.reordered is not None
        assert (found.reordered.ships, found.reordered.arrives) == (march(2), march(3))
        notes = promise_page(found).notes
        assert not any("--promised" in note for note in notes)
        assert any("load the order" in note for note in notes)


def test_a_line_that_arrives_later_for_it_is_told(tmp_path: Path) -> None:
    """S1 could leave the engine of A to a machine and be sent from B on the same day: ten days
    later at its place."""
    data = book(
        builds=(),
        stock=(stock(1), stock(1, "B")),
        parts_orders=(order("S1", 1, march(2)),),
        deliveries=(delivery("A", days=1), delivery("B", cost=5, days=9)),
    )
    with planned(tmp_path / "later.db", data) as store:
        found = promise(store, ask_machine("MACHINE"), reorder_seconds=1)
        assert found.reordered is not None
        (line,) = found.reordered.moved_lines
        assert (line.ships_before, line.ships_after) == (march(2), march(2))
        assert (line.arrives_before, line.arrives_after) == (march(3), march(13))
        assert (line.points_before, line.points_after) == (("A",), ("B",))


def test_a_build_that_is_called_like_the_question(store: Store) -> None:
    ask(store)
    accept_quote(store, 1, name="QUOTE")
    found = promise(store, ask_machine("MACHINE"), reorder_seconds=1)
    assert found.ships == SECOND
    assert found.reordered is not None
    assert found.reordered.ships == SECOND


# ---- which plan


def test_beside_a_plan_by_its_number(store: Store) -> None:
    header = store.plan_header()
    second = store.save_plan(
        store.plan().plan, input_hash=header.input_hash, options={}, seconds=1, versions={}
    )
    store.accept_plan(second)
    assert ask(store).basis.plan == second
    assert promise(store, ask_machine("MACHINE"), 1).basis.plan == 1
    with pytest.raises(StoreError, match="no plan 9"):
        promise(store, ask_machine("MACHINE"), 9)


def test_a_plan_of_other_data_is_not_gone_on_with_by_a_question(store: Store) -> None:
    store.accept_plan(1)
    ask(store)
    accept_quote(store, 1)  # plan 2 goes on with plan 1
    before = dump(store)
    with pytest.raises(Refused, match="plan 1 is of other data"):
        promise(store, ask_machine("MACHINE"), 1)
    assert dump(store) == before
    assert promise(store, ask_machine("MACHINE"), 2).ships == SECOND


def test_many_questions_read_what_stands_once(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    reads: list[int] = []
    read = Store.dataset

    def counted(self: Store, *words: Any) -> Dataset:
        reads.append(1)
        return read(self, *words)

    promises = Promises(store)
    assert promises.quote(ask_machine("MACHINE")).ships == FIRST
    monkeypatch.setattr(Store, "dataset", counted)
    assert promises.quote(ask_machine("MACHINE")).ships == FIRST
    assert reads == []
    hold(store, 1, 1)
    reads.clear()
    assert promises.quote(ask_machine("MACHINE")).ships == SECOND
    assert reads == [1]


def test_another_offer_of_a_quote_that_is_held_is_seen(tmp_path: Path) -> None:
    with planned(tmp_path / "rich.db", rich()) as store:
        promises = Promises(store)
        found = promises.quote(ask_machine("MACHINE"))
        (place,) = (row.place for row in found.forward if row.found.by == "ENGINE2")
        hold(store, found.quote, 1)
        assert promises.quote(ask_machine("MACHINE")).ships == THIRD
        hold(store, found.quote, 1, place=place)  # so P1 is free again, and the 4th is not
        found = promises.quote(ask_machine("MACHINE"))
        assert found.ships == SECOND
        assert {row.found.ships for row in found.forward} == {march(5)}


def test_the_purchase_and_the_source_are_what_they_are(tmp_path: Path) -> None:
    data = book(purchases=(purchase("P1", march(9)),), sources=(source(9),), stock=(stock(2),))
    with planned(tmp_path / "other.db", data) as store:
        # P1 comes on Monday the 9th, an order of nine days on Wednesday the 11th
        for day in (march(9), march(11), march(12)):
            found = ask(store)
            assert found.ships == day
            hold(store, found.quote, 1)
