"""Lead times by the record: small records by hand, laws that hold for any record, and the demo."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta
from fractions import Fraction

import pytest
from demo_scenario import AS_OF as DEMO_DAY
from demo_scenario import demo
from fulfil_models.lead_drift import months_before
from fulfil_models.lead_record import records
from fulfil_models.leadtimes import (
    SHARES,
    LeadTime,
    LearntFrom,
    arrival,
    lead_times,
    supplier_records,
)
from fulfil_models.settings import Settings, parse_settings
from fulfil_models.survival import times
from fulfil_models.survival_laws import best_law
from fulfil_models.tables import Dataset, Purchase, Receipt, Source
from hypothesis import given
from hypothesis import strategies as st

AS_OF = date(2026, 3, 2)
SETTINGS = Settings(as_of=AS_OF)
Key = tuple[str, str]
ENGINE: Key = ("ENGINE", "S1")


def came(
    *days: int,
    part: str = "ENGINE",
    supplier: str = "S1",
    point: str = "A",
    ago: int = 200,
    due: int | None = None,
) -> tuple[Receipt, ...]:
    """Deliveries that took so many days, all ordered `ago` days before the planning date."""
    ordered = AS_OF - timedelta(ago)
    return tuple(
        Receipt(
            order=f"{part}-{supplier}-{point}-{ago}",
            line=str(number),
            part=part,
            supplier=supplier,
            point=point,
            quantity_milli=1000,
            ordered=ordered,
            due=None if due is None else ordered + timedelta(due),
            received=ordered + timedelta(taken),
        )
        for number, taken in enumerate(days, 1)
    )


def still_open(
    *ages: int, part: str = "ENGINE", supplier: str = "S1", due: int = 100
) -> tuple[Purchase, ...]:
    """Lines ordered so many days ago, due so many days after their order."""
    return tuple(
        Purchase(
            order=f"open-{part}-{supplier}",
            line=str(number),
            part=part,
            supplier=supplier,
            point="A",
            quantity_milli=1000,
            ordered=AS_OF - timedelta(age),
            due=AS_OF + timedelta(due - age),
        )
        for number, age in enumerate(ages, 1)
    )


def source(lead_days: int, part: str = "ENGINE", supplier: str = "S1", point: str = "A") -> Source:
    return Source(part=part, supplier=supplier, point=point, lead_days=lead_days)


def data(
    sources: Iterable[Source] = (),
    receipts: Iterable[Receipt] = (),
    purchases: Iterable[Purchase] = (),
) -> Dataset:
    return Dataset(sources=tuple(sources), receipts=tuple(receipts), purchases=tuple(purchases))


def learnt(dataset: Dataset, key: Key = ENGINE) -> LeadTime:
    return lead_times(dataset, SETTINGS)[key]


def days(lead: LeadTime) -> list[int]:
    return [lead.days(share) for share in SHARES]


# ---- from a record of its own

FIVE = came(10, 12, 14, 16, 18)


def test_five_deliveries_speak_for_themselves() -> None:
    """After 10, 12, 14, 16, 18 days 4, 3, 2, 1, 0 of 5 are to come: half by 14, 80 % by 16."""
    lead = learnt(data([source(9)], FIVE))
    assert days(lead) == [14, 16, 18]
    assert (lead.stated_days, lead.records, lead.still_open) == (9, 5, 0)
    assert (lead.learnt_from, lead.fit, lead.at_least) == (LearntFrom.OWN, "Kaplan-Meier", ())


def test_an_open_line_makes_it_later() -> None:
    """One is open for 15 days: S is 5/6, 4/6, 3/6 after 14 days; then one of the two that are left
    comes at 16, 1/4, and the last at 18."""
    lead = learnt(data([source(9)], FIVE, still_open(15)))
    assert days(lead) == [14, 18, 18]
    assert (lead.records, lead.still_open) == (5, 1)


def test_where_the_curve_does_not_come_down_it_is_at_least_the_longest_time() -> None:
    """One is open for 30 days: S is 1/6 after 18 days, so 80 % have come and 90 % never do; with
    five deliveries no law is fitted."""
    lead = learnt(data([source(9)], FIVE, still_open(30)))
    assert days(lead) == [14, 18, 30]
    assert lead.at_least == ("90",)
    assert lead.fit == "Kaplan-Meier"


def test_with_enough_deliveries_a_law_goes_on_where_the_curve_ends() -> None:
    taken, open_for = [10, 11, 12, 13, 14, 15, 16, 18], [17, 19, 20]
    lead = learnt(data([source(9)], came(*taken), still_open(*open_for)))
    law = best_law(times([*taken, *open_for], [True] * 8 + [False] * 3))
    assert law is not None
    # 8 of 11 came: S is 8/11 x ... after the first eight, and above 1/10 after the last
    assert days(lead)[2] == math.ceil(law.quantile(0.9)) > 20
    assert lead.fit == law.name
    assert lead.at_least == ()


def test_a_law_says_no_less_than_the_longest_time_seen() -> None:
    """Eight come at once and one has been open for 300 days: S stays at 1/9, so 90 % take longer
    than those 300 days, whatever a law has to say."""
    taken = [10, 11, 12, 13, 14, 15, 16, 18]
    lead = learnt(data([source(9)], came(*taken, ago=400), still_open(300)))
    assert days(lead)[2] >= 300
    nine = learnt(data([source(9)], came(*taken, ago=400), still_open(300, 300)))
    assert days(nine)[2] >= 300


NEVER_CLOSED = data(
    [source(20)], came(2, 5, 9, 14, 20, 30, 60, 100, ago=273), still_open(*[273] * 40, due=280)
)
"""eight deliveries, and five times as many lines that nobody has closed for nine months"""


def test_a_law_reaches_no_further_than_twice_the_longest_time_seen() -> None:
    """S stays at 40/48 after the last delivery, and the likeliest law, a lognormal one with a
    deviation of some five, has half of all come after 22,620 days and 90 of 100 after 25,000 years.
    Twice the 273 days are 546."""
    lead = learnt(NEVER_CLOSED)
    assert days(lead) == [546, 546, 546]
    assert lead.at_least == SHARES
    assert lead.fit == "lognormal"
    # with ten open it is the law's 327 days for half of all, since they are fewer than 546
    few = learnt(replace(NEVER_CLOSED, purchases=NEVER_CLOSED.purchases[:10]))
    assert (days(few), few.at_least) == ([327, 546, 546], ("80", "90"))


def test_no_open_line_is_put_off_beyond_the_horizon() -> None:
    """Those open for 273 days come 546 days after their order at least, 273 from now; a new one 546
    from now, but for a shorter horizon."""
    old = AS_OF - timedelta(273)
    for horizon, of_old, of_new in ((730, 273, 546), (300, 273, 300), (100, 100, 100)):
        settings = replace(SETTINGS, horizon_days=horizon)
        lead = lead_times(NEVER_CLOSED, settings)[ENGINE]
        assert arrival(lead, old, AS_OF, AS_OF, "90") == AS_OF + timedelta(of_old)
        assert arrival(lead, AS_OF, AS_OF, AS_OF, "90") == AS_OF + timedelta(of_new)


def test_receipts_of_one_line_are_deliveries_of_their_own() -> None:
    """Two receipts of line 1, and what is still open of it."""
    first = came(10, 20)
    lines = [replace(row, line="1") for row in first]
    rest = replace(still_open(25)[0], order=first[0].order, line="1")
    (record,) = records(data([source(9)], lines, [rest]), AS_OF).values()
    assert [(row.line, row.days, row.completed) for row in record.observed] == [
        *[("1", 10, True), ("1", 20, True)],
        ("1", 25, False),
    ]


def test_the_record_is_as_known_on_the_planning_date() -> None:
    """Received tomorrow is open today; ordered tomorrow is not there."""
    tomorrow = came(41, ago=40)
    not_yet = replace(
        tomorrow[0], line="9", ordered=AS_OF + timedelta(1), received=date(2027, 1, 1)
    )
    later = replace(still_open(5)[0], ordered=AS_OF + timedelta(1), due=date(2027, 1, 1))
    lead = learnt(data([source(9)], (*FIVE, *tomorrow, not_yet), [later]))
    assert (lead.records, lead.still_open) == (5, 1)
    assert days(lead) == [14, 18, 40]  # as with a line open for 40 days
    # a day later it has come, after 41 days: the last of six, 5/6 of them within 18
    then = replace(SETTINGS, as_of=AS_OF + timedelta(1))
    after = lead_times(data([source(9)], (*FIVE, *tomorrow)), then)[ENGINE]
    assert (after.records, days(after)) == (6, [14, 18, 41])


# ---- how due dates were kept


def test_on_time_and_days_late() -> None:
    """Due after 14 days: 10, 12 and 14 came in time, 16 and 18 two and four days late; the line of
    20 days is six days late so far, the one of 5 days not due. On time 3 of 6, late 12 days / 6."""
    lead = learnt(data([source(9)], came(10, 12, 14, 16, 18, due=14), still_open(20, 5, due=14)))
    assert lead.judged == 6
    assert lead.on_time == Fraction(1, 2)
    assert lead.mean_days_late == 2


def test_without_due_dates_nothing_is_late() -> None:
    lead = learnt(data([source(9)], FIVE))
    assert (lead.judged, lead.on_time, lead.mean_days_late) == (0, None, None)


# ---- to several points

UNLIKE = (source(10), source(60, point="B"))


def test_points_with_unlike_lead_times_speak_as_ratios() -> None:
    """Ratios of eight to A, stated 10: 1.0 four times, 1.5 four times; of four to B, stated 60:
    1.0, 1.0, 2.0, 2.0. In order 1.0 six times, 1.5 four times, 2.0 twice: the sixth of 12 is 1.0,
    the tenth (9.6) 1.5, the eleventh (10.8) 2.0. A has most of the record: 10, 15, 20 days."""
    to_a, to_b = came(*[10] * 4, *[15] * 4), came(60, 60, 120, 120, point="B")
    lead = learnt(data(UNLIKE, (*to_a, *to_b)))
    assert (lead.stated_days, lead.learnt_from, days(lead)) == (10, LearntFrom.OWN, [10, 15, 20])
    # an open line of today comes after as many days to A, and after six times as many to B
    for point, wanted in (("A", [10, 15, 20]), (None, [10, 15, 20]), ("B", [60, 90, 120])):
        comes = [arrival(lead, AS_OF, AS_OF, AS_OF, share, point) for share in SHARES]
        assert [(day - AS_OF).days for day in comes] == wanted
    # open for 70 days, it has taken 1.17 times what is stated to B: 1.5 times are 90
    ordered = AS_OF - timedelta(70)
    assert arrival(lead, ordered, AS_OF, AS_OF, "50", "B") == ordered + timedelta(90)


def test_drift_to_points_with_unlike_lead_times_is_of_ratios() -> None:
    """A year ago as stated to B, of late as stated to A: nothing became faster."""
    before, recent = came(*[60] * 5, point="B", ago=365), came(*[10] * 6, ago=100)
    drift = learnt(data(UNLIKE, (*before, *recent))).drift
    assert drift is None  # all took 1.0 times what is stated: nothing to compare
    slower = came(*[60] * 5, point="B", ago=365), came(*[15] * 6, ago=100)
    drift = learnt(data(UNLIKE, (*slower[0], *slower[1]))).drift
    assert drift is not None
    assert (drift.earlier_days, drift.recent_days) == (10, 15)


def test_points_with_the_same_lead_time_speak_in_days() -> None:
    both = (source(10), source(10, point="B"), source(60, point="C"))
    lead = learnt(data(both, (*came(10, 12, 14), *came(16, 18, point="B"))))
    assert days(lead) == [14, 16, 18]
    assert lead.curve is not None
    assert lead.curve.unit_days == 1
    assert lead.curve_to("B") is lead.curve
    # to C in proportion: 14 of 10 are 84 of 60
    to_c = lead.curve_to("C")
    assert to_c is not None
    assert [to_c.days(share)[0] for share in SHARES] == [84, 96, 108]


def test_a_lead_time_of_no_days_is_no_measure_for_another_point() -> None:
    """Stated 0 to A, 60 to B. Twelve were there at once, eight took 60 to B: A is apart from B. And
    if five alone came to A, after two days, that is all there is to go by."""
    unlike = (source(0), source(60, point="B"))
    lead = learnt(data(unlike, (*came(*[0] * 12), *came(*[60] * 8, point="B"))))
    assert (lead.stated_days, days(lead)) == (0, [0, 0, 0])
    lead = learnt(data(unlike, (*came(*[0] * 8), *came(*[90] * 12, point="B"))))
    assert (lead.stated_days, days(lead)) == (60, [90, 90, 90])
    assert lead.curve_to("A") is None
    lead = learnt(data(unlike, came(2, 2, 2, 2, 2)))
    assert (lead.stated_days, days(lead)) == (0, [2, 2, 2])
    assert lead.curve_to("B") is lead.curve


# ---- from the supplier's other parts, or as stated


def test_few_deliveries_lean_on_the_supplier_in_proportion() -> None:
    """PUMP, stated 10: took 10, 11, 12, 15, 20, ratios 1.0, 1.1, 1.2, 1.5, 2.0. ENGINE, stated 30:
    four that took 30, 36, 45, 60, ratios 1.0, 1.2, 1.5, 2.0. Of the nine sorted ratios the fifth
    is 1.2, the eighth (80 % of 9 = 7.2) and ninth (8.1) 2.0; of 30 days 36, 60, 60."""
    pump = came(10, 11, 12, 15, 20, part="PUMP")
    dataset = data([source(30), source(10, "PUMP")], (*pump, *came(30, 36, 45, 60)))
    lead = learnt(dataset)
    assert lead.learnt_from is LearntFrom.SUPPLIER
    assert days(lead) == [36, 60, 60]
    assert lead.records == 4
    assert learnt(dataset, ("PUMP", "S1")).learnt_from is LearntFrom.OWN
    # a ratio of 1.1 of 30 days is 33 days, not 34: 3 of PUMP alone, 1.0, 1.1, 2.0
    other = came(10, 11, 11, 11, 20, part="PUMP")
    assert days(learnt(data([source(30), source(10, "PUMP")], other)))[0] == 33


def test_a_ratio_is_to_the_lead_time_of_the_point_that_was_delivered_to() -> None:
    """PUMP, stated 10 to A and 20 to B: five deliveries to B that took 20 were as stated."""
    pumps = (source(10, "PUMP"), source(20, "PUMP", point="B"))
    dataset = data([source(30), *pumps], came(20, 20, 20, 20, 20, part="PUMP", point="B"))
    assert days(learnt(dataset)) == [30, 30, 30]
    assert learnt(dataset, ("PUMP", "S1")).stated_days == 20  # where the record is
    assert learnt(data(pumps), ("PUMP", "S1")).stated_days == 20  # without one the longest


def test_an_open_line_counts_for_the_supplier_too() -> None:
    """Six ratios, 1.0 five times and one open at 2.0: half by 1.0; 90 % at least 2.0."""
    pump = came(10, 10, 10, 10, 10, part="PUMP")
    dataset = data([source(30), source(10, "PUMP")], pump, still_open(20, part="PUMP"))
    lead = learnt(dataset)
    assert days(lead) == [30, 30, 60]
    assert lead.at_least == ("90",)


def test_where_little_is_known_of_the_supplier_what_is_stated_stands() -> None:
    dataset = data([source(30), source(10, "PUMP")], came(50, 60), still_open(70))
    lead = learnt(dataset)
    assert (lead.learnt_from, lead.fit) == (LearntFrom.STATED, "as stated")
    assert days(lead) == [30, 30, 30]
    assert (lead.records, lead.still_open, lead.drift) == (2, 1, None)


def test_another_supplier_says_nothing_of_this_one() -> None:
    other = came(40, 40, 40, 40, 40, supplier="S2")
    dataset = data([source(30), source(10, supplier="S2")], other)
    assert learnt(dataset).learnt_from is LearntFrom.STATED
    assert days(learnt(dataset, ("ENGINE", "S2"))) == [40, 40, 40]


def test_what_nobody_states_is_learnt_from_what_there_is() -> None:
    """No source: due dates state 100 days; without those two deliveries speak for themselves."""
    lead = learnt(data((), (), still_open(20, due=100)))
    assert (lead.learnt_from, lead.stated_days) == (LearntFrom.STATED, 100)
    lead = learnt(data((), came(10, 14)))
    assert (lead.learnt_from, lead.stated_days, days(lead)) == (LearntFrom.OWN, None, [10, 14, 14])


def test_a_stated_lead_time_of_no_days_is_no_measure() -> None:
    pump = came(10, 11, 12, 15, 20, part="PUMP")
    lead = learnt(data([source(0), source(10, "PUMP")], pump))
    assert (lead.learnt_from, days(lead)) == (LearntFrom.STATED, [0, 0, 0])


def test_some_parts_alone_are_as_they_are_among_all() -> None:
    dataset = demo()
    settings = parse_settings(dataset.settings, DEMO_DAY)
    every = lead_times(dataset, settings)
    some = lead_times(dataset, settings, parts={"ENG-014D", "CYL-MAST"}, with_drift=False)
    assert set(some) == {("ENG-014D", "LARKBENCH"), ("CYL-MAST", "MAPLEROOK")}
    for key, lead in some.items():
        assert lead.drift is None
        assert (days(lead), lead.records) == (days(every[key]), every[key].records)


# ---- drift


def test_the_turn_is_six_months_back() -> None:
    assert months_before(date(2026, 3, 2), 6) == date(2025, 9, 2)
    assert months_before(date(2026, 8, 31), 6) == date(2026, 2, 28)
    assert months_before(date(2026, 1, 15), 14) == date(2024, 11, 15)


def test_a_supplier_who_became_slower_is_found_out() -> None:
    """Six took 20 to 25 days a year ago, six 40 to 45 of late. Those of late are all open when the
    others end, so at the ends 20 ... 25 one of 12, 11, ... 7 is expected of each with 6 of late."""
    before, recent = came(20, 21, 22, 23, 24, 25, ago=365), came(40, 41, 42, 43, 44, 45, ago=100)
    drift = learnt(data([source(20)], (*before, *recent))).drift
    assert drift is not None
    assert (drift.since, drift.earlier_records, drift.recent_records) == (date(2025, 9, 2), 6, 6)
    assert (drift.earlier_days, drift.recent_days) == (22, 42)
    expected = sum(Fraction(6, n) for n in range(7, 13))
    variance = sum(Fraction(6 * (n - 6), n * n) for n in range(7, 13))
    chi_squared = float((0 - expected) ** 2 / variance)  # none of late ended among them
    assert drift.p_value == pytest.approx(math.erfc(math.sqrt(chi_squared / 2)))
    assert drift.more_than_chance


def test_a_supplier_who_stayed_as_he_was_is_not() -> None:
    before, recent = came(20, 21, 22, 23, 24, 25, ago=365), came(20, 21, 22, 23, 24, 25, ago=100)
    drift = learnt(data([source(20)], (*before, *recent))).drift
    assert drift is not None
    assert drift.p_value == pytest.approx(1)
    assert not drift.more_than_chance


def test_lines_under_way_at_the_turn_tell_of_both_sides() -> None:
    """Ordered 30 days before the turn (2025-09-02) they took 60 days: before it they had not come
    for 29 days, and the deliveries are of after it."""
    ago = (AS_OF - date(2025, 9, 2)).days + 30
    over = came(60, 60, 60, ago=ago)
    before = came(20, 20, 20, ago=365)
    drift = learnt(data([source(20)], (*before, *over))).drift
    assert drift is None  # nobody was under way for 20 days on both sides: nothing to compare
    recent = came(60, 60, 60, ago=100)
    drift = learnt(data([source(20)], (*before, *over, *recent))).drift
    assert drift is not None
    assert (drift.earlier_records, drift.recent_records) == (3, 6)
    # at 20 days: 3 + 3 lines of before the turn, 3 of after it; at 60 six of after it alone
    chi_squared = float((Fraction(0) - 3 * Fraction(3, 9)) ** 2 / Fraction(3 * 3 * 6 * 6, 81 * 8))
    assert drift.p_value == pytest.approx(math.erfc(math.sqrt(chi_squared / 2)))


def test_few_deliveries_on_one_side_say_nothing() -> None:
    before, recent = came(20, 21, 22, 23, ago=365), came(40, 41, ago=100)
    assert learnt(data([source(20)], (*before, *recent))).drift is None


# ---- when an open line comes


def test_when_an_open_line_comes() -> None:
    """Of those that took longer than 13 days, 14, 16 and 18, two thirds come by 16: half of them
    by then, 80 and 90 % by 18."""
    lead = learnt(data([source(9)], FIVE))

    def comes(age: int) -> list[int]:
        ordered = AS_OF - timedelta(age)
        return [
            (arrival(lead, ordered, ordered + timedelta(9), AS_OF, share) - ordered).days
            for share in SHARES
        ]

    assert comes(0) == comes(9) == [14, 16, 18]
    assert comes(13) == [16, 18, 18]
    assert comes(17) == [18, 18, 18]
    # older than all: seven days (overdue_days) after the planning date
    assert comes(18) == [25, 25, 25]
    assert comes(40) == [47, 47, 47]


def test_a_line_not_yet_ordered_comes_as_any() -> None:
    lead = learnt(data([source(9)], FIVE))
    ordered = AS_OF + timedelta(30)
    assert arrival(lead, ordered, ordered, AS_OF, "50") == ordered + timedelta(14)


def test_beyond_the_record_a_line_comes_by_a_law_but_not_at_once() -> None:
    """Eight near 100 days: to a line open for 130 the law gives hardly another day, since it knows
    none like it; the seven overdue_days stand. Where it gives more, that stands."""
    sharp = learnt(data([source(90)], came(96, 97, 98, 99, 101, 102, 103, 104, ago=400)))
    ordered = AS_OF - timedelta(130)
    assert arrival(sharp, ordered, ordered, AS_OF, "50") == AS_OF + timedelta(7)
    taken = [10, 20, 35, 50, 70, 100, 150, 220]
    wide = learnt(data([source(90)], came(*taken, ago=400)))
    law = best_law(times(taken, [True] * 8))
    assert law is not None
    ordered = AS_OF - timedelta(230)
    wanted = math.ceil(law.quantile(0.9, 230.0))
    assert wanted > 237
    assert arrival(wide, ordered, ordered, AS_OF, "90") == ordered + timedelta(wanted)


def test_where_nothing_is_learnt_the_due_date_stands() -> None:
    lead = learnt(data([source(30)]))
    due = AS_OF + timedelta(3)
    assert arrival(lead, AS_OF - timedelta(60), due, AS_OF, "90") == due
    past = AS_OF - timedelta(1)
    assert arrival(lead, AS_OF - timedelta(60), past, AS_OF, "50") == AS_OF + timedelta(7)


# ---- laws that hold for any record

AGES = st.lists(st.integers(0, 60), max_size=8)


@st.composite
def books(draw: st.DrawFn) -> Dataset:
    """Two parts of one supplier with any deliveries and open lines."""
    receipts: list[Receipt] = []
    purchases: list[Purchase] = []
    for part in ("ENGINE", "PUMP"):
        receipts += came(*draw(st.lists(st.integers(0, 60), max_size=12)), part=part)
        purchases += still_open(*draw(AGES), part=part, due=draw(st.integers(1, 50)))
    sources = (source(draw(st.integers(0, 40))), source(draw(st.integers(1, 40)), "PUMP"))
    return data(sources, receipts, purchases)


@given(books())
def test_leaving_out_open_lines_never_makes_it_later(dataset: Dataset) -> None:
    every = lead_times(dataset, SETTINGS)
    without = lead_times(replace(dataset, purchases=()), SETTINGS)
    for key, lead in without.items():
        assert all(a <= b for a, b in zip(days(lead), days(every[key]), strict=True))


@given(books())
def test_a_higher_share_takes_longer(dataset: Dataset) -> None:
    for lead in lead_times(dataset, SETTINGS).values():
        assert days(lead) == sorted(days(lead))
        assert set(lead.at_least) <= set(
            SHARES[SHARES.index(lead.at_least[0]) :] if lead.at_least else ()
        )


@given(books(), st.integers(-5, 90))
def test_arrivals(dataset: Dataset, age: int) -> None:
    """Never before the planning date, later for a higher share, and while a line is younger than
    the fastest delivery by the lead time."""
    ordered, due = AS_OF - timedelta(age), AS_OF + timedelta(20 - age)
    for lead in lead_times(dataset, SETTINGS).values():
        comes = [arrival(lead, ordered, due, AS_OF, share) for share in SHARES]
        assert min(comes) >= AS_OF
        assert comes == sorted(comes)
        if lead.learnt_from is LearntFrom.OWN:
            fastest = min(
                (r.received - r.ordered).days for r in dataset.receipts if r.part == lead.part
            )
            if age < fastest:
                assert [(day - ordered).days for day in comes] == days(lead)
            else:
                assert min(comes) > AS_OF  # it has not come today


@given(books(), st.integers(0, 60))
def test_an_open_line_never_comes_sooner_by_waiting(dataset: Dataset, age: int) -> None:
    """With the same record, a line that has waited longer without coming comes no sooner after its
    order."""
    for lead in lead_times(dataset, SETTINGS).values():
        if lead.curve is None:
            continue
        for share in SHARES:
            younger, older = (
                (arrival(lead, AS_OF - timedelta(a), AS_OF, AS_OF, share) - AS_OF).days + a
                for a in (age, age + 1)
            )
            assert younger <= older


# ---- the demo


def demo_leads(dataset: Dataset) -> dict[Key, LeadTime]:
    return lead_times(dataset, parse_settings(dataset.settings, DEMO_DAY))


def test_ignoring_open_lines_of_the_demo_makes_lead_times_too_short() -> None:
    """Many would look shorter, none longer: of parts that go to the same point in both cases, so
    that the same lead time is stated."""
    every, without = demo_leads(demo()), demo_leads(replace(demo(), purchases=()))
    alike = [key for key in without if without[key].stated_days == every[key].stated_days]
    assert len(alike) >= 200
    shorter = {
        key: (days(without[key]), days(every[key]))
        for key in alike
        if days(without[key]) != days(every[key])
    }
    assert len(shorter) >= 20
    for key, pair in shorter.items():
        assert all(a <= b for a, b in zip(*pair, strict=True)), key


def test_ignoring_past_due_lines_of_the_demo_alone_does_so_too() -> None:
    """Three lines are past due; nothing goes by them alone, so the same is stated."""
    past_due = [row for row in demo().purchases if row.due < DEMO_DAY]
    assert len(past_due) == 3
    rest = tuple(row for row in demo().purchases if row not in past_due)
    every, without = demo_leads(demo()), demo_leads(replace(demo(), purchases=rest))
    pairs = [(days(without[key]), days(every[key]), key) for key in without]
    assert all(all(map(int.__le__, sooner, later)) for sooner, later, _ in pairs)
    hit = {key[1] for sooner, later, key in pairs if sooner != later}
    assert hit
    assert hit <= {row.supplier for row in past_due}


def test_the_diesel_engines_of_the_demo_drift() -> None:
    leads = demo_leads(demo())
    for part in ("ENG-014D", "ENG-033D", "ENG-070D"):
        lead = leads[part, "LARKBENCH"]
        assert lead.learnt_from is LearntFrom.OWN
        assert lead.stated_days is not None
        assert lead.median_days > lead.stated_days
        drift = lead.drift
        assert drift is not None
        assert drift.more_than_chance
        assert (drift.recent_days or 0) > (drift.earlier_days or 0)
    settings = parse_settings(demo().settings, DEMO_DAY)
    suppliers = supplier_records(demo(), settings)
    drifting = [
        row.supplier for row in suppliers.values() if row.drift and row.drift.more_than_chance
    ]
    assert drifting == ["LARKBENCH"]


def test_the_record_of_a_supplier_is_in_percent_of_what_is_stated() -> None:
    """Ratios 1.0, 1.1, 1.2, 1.5, 2.0 of one part: half by 120 %, 80 % by 150 %."""
    pump = came(10, 11, 12, 15, 20, part="PUMP", due=10)
    row = supplier_records(data([source(30), source(10, "PUMP")], pump), SETTINGS)["S1"]
    assert (row.median_percent, row.p80_percent, row.p90_percent) == (120, 150, 200)
    assert (row.parts, row.records, row.still_open) == (1, 5, 0)
    assert (row.on_time, row.mean_days_late) == (Fraction(1, 5), Fraction(18, 5))
    nothing = supplier_records(data([source(30)]), SETTINGS)["S1"]
    assert (nothing.median_percent, nothing.records, nothing.drift) == (None, 0, None)
