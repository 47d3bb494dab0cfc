"""What the record of suppliers moves: each rule alone by hand, and laws for any record."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import pytest
from fulfil_models.believing import (
    SHARE_OF,
    STATED,
    Choice,
    Later,
    as_believed,
    beliefs,
    believed,
    later_purchases,
    later_sources,
)
from fulfil_models.leadtimes import arrival, lead_times
from fulfil_models.settings import Settings
from fulfil_models.tables import Dataset, Purchase, Receipt, Source
from hypothesis import given
from hypothesis import strategies as st
from tiny_shop import AS_OF, SETTINGS, hurried, march, purchase, shop, source

LEARNT: tuple[Choice, ...] = ("learnt-50", "learnt-80", "learnt-90")
TENS = (20, 30, 40, 50, 60, 70, 80, 90, 100, 110)
"""ten deliveries: the fifth took 60 days, the eighth 90, the ninth 100"""


def came(*days: int, point: str = "A", supplier: str = "S", ago: int = 300) -> tuple[Receipt, ...]:
    """Engines that took so many days, all ordered `ago` days before the planning date."""
    ordered = AS_OF - timedelta(ago)
    return tuple(
        Receipt(
            order=f"R-{supplier}-{point}",
            line=str(line),
            part="ENGINE",
            supplier=supplier,
            point=point,
            quantity_milli=1000,
            ordered=ordered,
            received=ordered + timedelta(taken),
        )
        for line, taken in enumerate(days, 1)
    )


def days_by(data: Dataset, choice: Choice, settings: Settings = SETTINGS) -> list[int]:
    return [row.lead_days for row in as_believed(data, settings, choice).sources]


def due_by(data: Dataset, choice: Choice, settings: Settings = SETTINGS) -> list[date]:
    return [row.due for row in as_believed(data, settings, choice).purchases]


# ---- sources


@pytest.mark.parametrize(("choice", "days"), list(zip(LEARNT, (60, 90, 100), strict=True)))
def test_a_source_takes_as_long_as_that_share_of_deliveries(choice: Choice, days: int) -> None:
    data = shop(sources=(source(30),), receipts=came(*TENS))
    assert days_by(data, choice) == [days]


def test_a_source_is_never_faster_than_stated() -> None:
    data = shop(sources=(source(95),), receipts=came(*TENS))
    assert days_by(data, "learnt-80") == [95]  # 90 by the record
    assert days_by(data, "learnt-90") == [100]


def test_another_point_takes_longer_in_proportion() -> None:
    # the record goes to A, where 50 days are stated and 90 of 100 take 100: twice as long, so
    # B with 21 days stated takes 42 and not 100
    data = shop(sources=(source(50), source(21, point="B")), receipts=came(*TENS))
    assert days_by(data, "learnt-90") == [100, 42]
    # 80 of 100 take 90 days, 1.8 times as long: 21 days become 37.8, a day begun counts
    assert days_by(data, "learnt-80") == [90, 38]


def test_two_points_with_unlike_lead_times_are_not_mixed() -> None:
    # 12 to A took the 10 days stated, 8 to B the 60 stated: nothing is late anywhere
    data = shop(
        sources=(source(10), source(60, point="B")),
        receipts=(*came(*[10] * 12), *came(*[60] * 8, point="B")),
    )
    assert days_by(data, "learnt-90") == [10, 60]
    # and if all took half as long again, it is 15 and 90
    slow = replace(data, receipts=(*came(*[15] * 12), *came(*[90] * 8, point="B")))
    assert days_by(slow, "learnt-90") == [15, 90]


def test_what_has_no_record_stays_as_stated() -> None:
    # of another point the stated lead time is longer: nothing is learnt, so neither takes it
    few = shop(sources=(source(30), source(60, point="B")), receipts=came(200, 210))
    assert days_by(few, "learnt-90") == [30, 60]
    assert as_believed(few, SETTINGS, "learnt-90") == few


def test_a_source_that_nobody_learnt_of_stays() -> None:
    data = shop(sources=(source(30),), purchases=(purchase("P", march(20)),), receipts=came(*TENS))
    assert believed(data, SETTINGS, {}, "learnt-90") == data


def test_expediting_brings_it_as_many_days_sooner() -> None:
    data = shop(sources=(hurried(30, by_days=12, cost=5),), receipts=came(*TENS))
    (row,) = as_believed(data, SETTINGS, "learnt-90").sources
    assert row == replace(data.sources[0], lead_days=100)
    assert row.expedite_days == 12


def test_no_source_takes_longer_than_the_horizon() -> None:
    # what takes longer could never be planned with, and would strand whoever needs it
    data = shop(sources=(source(30),), receipts=came(*TENS))
    assert days_by(data, "learnt-90", replace(SETTINGS, horizon_days=80)) == [80]
    # but what is stated stays
    slow = shop(sources=(source(85),), receipts=came(*TENS))
    assert days_by(slow, "learnt-90", replace(SETTINGS, horizon_days=80)) == [85]


# ---- open purchases


def ordered_ago(days: int, due: date, name: str = "P1") -> Purchase:
    return purchase(name, due, ordered=AS_OF - timedelta(days))


def test_a_young_purchase_comes_after_the_days_of_the_record() -> None:
    # ordered 10 days ago, younger than every delivery: 90 of 100 have come 100 days after the
    # order. The line itself is a time of 10 days and more, before the first delivery of 20: it
    # leaves the shares as they are.
    data = shop(purchases=(ordered_ago(10, march(20)),), receipts=came(*TENS))
    assert due_by(data, "learnt-90") == [AS_OF + timedelta(90)]
    assert due_by(data, "learnt-50") == [AS_OF + timedelta(50)]


def test_a_purchase_is_judged_by_what_took_longer_than_it_has() -> None:
    # open for 65 days: 70, 80, 90, 100 and 110 are left, and of these five the third, 90, is the
    # one by which half have come: 25 days from now
    data = shop(purchases=(ordered_ago(65, march(3)),), receipts=came(*TENS))
    assert due_by(data, "learnt-50") == [AS_OF + timedelta(25)]


def test_a_purchase_past_due_comes_when_the_record_says() -> None:
    # due 5 days ago: without the record it is counted on 7 days from now, by it in 25
    line = ordered_ago(65, AS_OF - timedelta(5))
    data = shop(purchases=(line,), receipts=came(*TENS))
    assert SETTINGS.counted_on(line.due) == AS_OF + timedelta(7)
    (row,) = as_believed(data, SETTINGS, "learnt-50").purchases
    assert row == replace(line, due=AS_OF + timedelta(25))


def test_a_purchase_past_due_is_not_counted_on_sooner_for_the_record() -> None:
    # as before, but so many days are waited for what is past due that the record says less
    line = ordered_ago(65, AS_OF - timedelta(5))
    data = shop(purchases=(line,), receipts=came(*TENS))
    patient = replace(SETTINGS, overdue_days=26)
    (row,) = as_believed(data, patient, "learnt-50").purchases
    assert row == line
    assert patient.counted_on(row.due) == AS_OF + timedelta(26)


def test_a_purchase_is_never_sooner_than_due() -> None:
    late = AS_OF + timedelta(200)
    data = shop(purchases=(ordered_ago(10, late),), receipts=came(*TENS))
    assert due_by(data, "learnt-90") == [late]


def test_no_purchase_is_put_off_beyond_the_horizon() -> None:
    data = shop(purchases=(ordered_ago(10, march(20)),), receipts=came(*TENS))
    near = replace(SETTINGS, horizon_days=40)
    assert due_by(data, "learnt-90", near) == [AS_OF + timedelta(40)]


# ---- nothing else, and in words


def test_what_is_stated_is_the_very_same() -> None:
    data = shop(sources=(source(30),), receipts=came(*TENS))
    assert as_believed(data, SETTINGS, STATED) is data
    assert believed(data, SETTINGS, lead_times(data, SETTINGS), STATED) is data
    assert beliefs(data, data, SETTINGS, STATED) == ()


def test_what_moved_is_told() -> None:
    data = shop(
        sources=(source(30), source(400, point="B")),
        purchases=(
            ordered_ago(10, march(20)),
            ordered_ago(10, AS_OF + timedelta(200), "P2"),
            ordered_ago(65, AS_OF - timedelta(5), "P3"),
        ),
        receipts=came(*TENS),
    )
    found = as_believed(data, SETTINGS, "learnt-90")
    # P3 is open for 65 days already: of 11 times five are at most 60, 6/11 are longer. Without P3,
    # of which no more is known, five are left: 6/11 * 1/5 = 0.109 take longer than 100 days, and
    # none longer than 110, by which nine tenths have come. Stated at A, where most of the record
    # goes to, are 30: 80 more. B is as long in proportion, 400 * 110 / 30 = 1466.7, cut at the
    # horizon of 730 days: 330 more.
    assert later_sources(data, found) == (
        Later("ENGINE of S to B", 330),
        Later("ENGINE of S to A", 80),
    )
    # P1: due on the 20th, 18 days on, comes after 110 - 10 = 100. P3: counted on after 7; of 70 to
    # 110 nine tenths have come with the last, 110 - 65 = 45 days on. P2: due after that.
    assert later_purchases(data, found, SETTINGS) == (Later("P1/1", 82), Later("P3/1", 38))
    assert beliefs(data, found, SETTINGS, "learnt-90") == (
        "lead times by the record, of 90 of 100 deliveries (learnt-90): 2 of 2 sources longer than "
        "stated, ENGINE of S to B by 330 days; 2 of 3 open purchase lines later than due, P1/1 by "
        "82 days; nothing sooner than stated",
    )


def test_a_record_that_moves_nothing_says_so() -> None:
    data = shop(sources=(source(300),), receipts=came(*TENS))
    found = as_believed(data, SETTINGS, "learnt-50")
    assert beliefs(data, found, SETTINGS, "learnt-50") == (
        "lead times by the record, of 50 of 100 deliveries (learnt-50): 0 of 1 source longer than "
        "stated; 0 of 0 open purchase lines later than due; nothing sooner than stated",
    )


# ---- laws for any record


@st.composite
def recorded(draw: st.DrawFn) -> tuple[Dataset, Settings]:
    """Two suppliers, two points, deliveries and open lines of any age, any horizon."""
    sources, receipts, purchases = [], [], []
    for supplier in ("S", "T"):
        for point in draw(st.sets(st.sampled_from("AB"))):
            stated = draw(st.integers(0, 120))
            expedite = draw(st.none() | st.integers(0, stated))
            sources.append(source(stated, supplier=supplier, point=point, expedite_days=expedite))
        taken = draw(st.lists(st.integers(1, 200), max_size=12))
        receipts += came(*taken, supplier=supplier, point=draw(st.sampled_from("AB")))
        for number in range(draw(st.integers(0, 3))):
            age = draw(st.integers(-5, 250))
            due = AS_OF + timedelta(draw(st.integers(-age, 150)) if age > 0 else 100)
            line = replace(ordered_ago(age, due, f"P-{supplier}-{number}"), supplier=supplier)
            purchases.append(line)
    data = shop(sources=tuple(sources), receipts=tuple(receipts), purchases=tuple(purchases))
    settings = Settings(
        as_of=AS_OF,
        overdue_days=draw(st.integers(0, 20)),
        horizon_days=draw(st.integers(30, 800)),
    )
    return data, settings


@given(recorded(), st.sampled_from(LEARNT))
def test_nothing_comes_sooner_and_nothing_else_changes(
    known: tuple[Dataset, Settings], choice: Choice
) -> None:
    data, settings = known
    leads = lead_times(data, settings, with_drift=False)
    found = believed(data, settings, leads, choice)
    last = AS_OF + timedelta(settings.horizon_days)
    assert replace(found, sources=data.sources, purchases=data.purchases) == data
    source_pairs: list[tuple[Source, Source]] = list(zip(data.sources, found.sources, strict=True))
    for old, new in source_pairs:
        assert replace(new, lead_days=old.lead_days) == old
        assert old.lead_days <= new.lead_days <= max(old.lead_days, settings.horizon_days)
        assert (new.expedite_days or 0) <= new.lead_days
    for was, is_now in zip(data.purchases, found.purchases, strict=True):
        assert replace(is_now, due=was.due) == was
        before, after = settings.counted_on(was.due), settings.counted_on(is_now.due)
        # nothing is known of a supplier but what is ordered of him after the planning date
        if lead := leads.get((was.part, was.supplier)):
            expected = arrival(lead, was.ordered, was.due, AS_OF, SHARE_OF[choice], was.point)
            assert after == max(before, min(expected, last))
        else:
            assert after == before
        assert after >= AS_OF
    # a plan that stands on these dates is checked again: they must come out the same
    assert as_believed(data, settings, choice) == found


@given(recorded())
def test_more_caution_is_never_sooner(known: tuple[Dataset, Settings]) -> None:
    data, settings = known
    found = [as_believed(data, settings, choice) for choice in (STATED, *LEARNT)]
    for bold, careful in pairwise(found):
        for one, other in zip(bold.sources, careful.sources, strict=True):
            assert one.lead_days <= other.lead_days
        for line, later in zip(bold.purchases, careful.purchases, strict=True):
            assert settings.counted_on(line.due) <= settings.counted_on(later.due)
