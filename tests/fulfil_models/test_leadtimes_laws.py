"""Lead times: laws that hold for any record."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from delivery_records import AS_OF, SETTINGS, came, data, days, source, still_open
from fulfil_models.leadtimes import (
    SHARES,
    LearntFrom,
    arrival,
    lead_times,
)
from fulfil_models.tables import Dataset, Purchase, Receipt
from hypothesis import given
from hypothesis import strategies as st

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
