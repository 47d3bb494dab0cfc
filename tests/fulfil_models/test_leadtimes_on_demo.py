"""Lead times of the demo: what open lines make of them, and who drifts."""

from __future__ import annotations

from dataclasses import replace

from delivery_records import Key, days
from demo_scenario import AS_OF as DEMO_DAY
from demo_scenario import demo
from fulfil_models.leadtimes import (
    LeadTime,
    LearntFrom,
    lead_times,
    supplier_records,
)
from fulfil_models.settings import parse_settings
from fulfil_models.tables import Dataset


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
