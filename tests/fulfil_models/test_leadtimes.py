"""Lead times by the record of a part and supplier, and when an open line comes: by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta
from fractions import Fraction

from delivery_records import AS_OF, ENGINE, SETTINGS, came, data, days, learnt, source, still_open
from fulfil_models.lead_record import records
from fulfil_models.leadtimes import (
    SHARES,
    LearntFrom,
    arrival,
    lead_times,
)
from fulfil_models.survival import times
from fulfil_models.survival_laws import best_law

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
