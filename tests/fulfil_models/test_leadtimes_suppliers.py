"""Lead times where other points, or the supplier's other parts, have to tell, or what is stated."""

from __future__ import annotations

from datetime import timedelta
from fractions import Fraction

from delivery_records import AS_OF, SETTINGS, came, data, days, learnt, source, still_open
from demo_scenario import AS_OF as DEMO_DAY
from demo_scenario import demo
from fulfil_models.leadtimes import (
    SHARES,
    LearntFrom,
    arrival,
    lead_times,
    supplier_records,
)
from fulfil_models.settings import parse_settings

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


def test_the_record_of_a_supplier_is_in_percent_of_what_is_stated() -> None:
    """Ratios 1.0, 1.1, 1.2, 1.5, 2.0 of one part: half by 120 %, 80 % by 150 %."""
    pump = came(10, 11, 12, 15, 20, part="PUMP", due=10)
    row = supplier_records(data([source(30), source(10, "PUMP")], pump), SETTINGS)["S1"]
    assert (row.median_percent, row.p80_percent, row.p90_percent) == (120, 150, 200)
    assert (row.parts, row.records, row.still_open) == (1, 5, 0)
    assert (row.on_time, row.mean_days_late) == (Fraction(1, 5), Fraction(18, 5))
    nothing = supplier_records(data([source(30)]), SETTINGS)["S1"]
    assert (nothing.median_percent, nothing.records, nothing.drift) == (None, 0, None)
