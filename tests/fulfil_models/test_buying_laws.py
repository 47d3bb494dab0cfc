"""What holds of whatever is bought: random books, against plans made with what was bought."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import timedelta
from fractions import Fraction
from random import Random

from books import Shape, books, random_book, settings_of
from buying_cases import UNIT
from fulfil_models.buying import NOT_SOONER, Buying, BuyLine, what_to_buy
from fulfil_models.buying_needs import Why, wanted
from fulfil_models.cells import MICRO
from fulfil_models.demand_ahead import DemandAhead, ForecastNeed, demand_ahead
from fulfil_models.leadtimes import lead_times
from fulfil_models.months import month_of
from fulfil_models.plan import Plan
from fulfil_models.problem import Problem
from fulfil_models.source_terms import first_arrival, whole_orders
from fulfil_models.tables import (
    Dataset,
    Purchase,
    Source,
    Supplier,
)
from hypothesis import given, settings
from hypothesis import strategies as st
from oracle import optimum
from oracle_plan import best_plan


def as_purchases(lines: tuple[BuyLine, ...]) -> tuple[Purchase, ...]:
    return tuple(
        Purchase(
            order="BOUGHT",
            line=str(number),
            part=line.part,
            supplier=line.supplier,
            point=line.point,
            quantity_milli=line.quantity_milli,
            ordered=line.place_on,
            due=line.due_on,
        )
        for number, line in enumerate(lines, 1)
    )


@settings(max_examples=15, deadline=None)
@given(book=books(parts_orders=False, builds=2))
def test_with_what_is_bought_no_more_is_needed(book: Dataset) -> None:
    """Without any new order the best plan costs no more than the one that counted on some, and
    nothing is bought twice."""
    terms = settings_of(book)
    plan, cost = best_plan(book, terms)
    found = _of_random(book, plan, months=1)
    assert not [row for row in found.short if row.why is Why.FIRM]
    after = replace(book, purchases=(*book.purchases, *as_purchases(found.lines)))
    assert optimum(replace(after, sources=()), terms) <= cost
    assert _of_random(after, plan, months=1).lines == ()


def _of_random(book: Dataset, plan: Plan, months: int) -> Buying:
    terms = settings_of(book)
    problem = Problem(book, terms)
    demand = demand_ahead(problem, plan, months)
    return what_to_buy(problem, plan, demand, lead_times(book, terms, with_drift=False), gap=0.0)


def _random_terms(seed: int) -> tuple[Dataset, Plan, DemandAhead]:
    """A book with a second supplier and a forecast."""
    rng = Random(seed)
    shape = Shape(builds=2, points=2, parts_orders=False, downtime=False, stations=False)
    book = random_book(seed, shape)
    second: list[Source] = [
        replace(
            row,
            supplier="T",
            lead_days=rng.randint(1, 40),
            monthly_cap_milli=rng.choice((None, 2 * UNIT, 5 * UNIT)),
            minimum_milli=rng.randint(0, 3) * UNIT,
            multiple_milli=rng.randint(0, 2) * UNIT,
            price_micro=rng.randint(1, 9) * MICRO,
        )
        for row in book.sources
        if rng.random() < 0.7
    ]
    book = replace(
        book,
        suppliers=(*book.suppliers, Supplier(supplier="T")),
        sources=(*book.sources, *second),
    )
    months = ("2026-03", "2026-04", "2026-05")
    forecast = {
        part: tuple(ForecastNeed(month, rng.randint(1, 4000), "given") for month in months)
        for part in ("ENGINE", "PUMP")
    }
    return book, best_plan(book, settings_of(book))[0], DemandAhead(months, {}, forecast, {}, ())


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_lines_keep_to_what_suppliers_allow_and_add_up(seed: int) -> None:
    book, plan, demand = _random_terms(seed)
    terms = settings_of(book)
    problem = Problem(book, terms)
    found = what_to_buy(problem, plan, demand, {}, service=0.9, gap=0.0)
    sources = {(row.part, row.supplier, row.point): row for row in book.sources}
    coming: Counter[tuple[str, str, str]] = Counter()
    for row in book.purchases:
        coming[row.part, row.supplier, terms.counted_on(row.due).isoformat()[:7]] += (
            row.quantity_milli
        )
    for line in found.lines:
        offer = sources[line.part, line.supplier, line.point]
        assert line.place_on >= terms.as_of
        days = offer.lead_days - (offer.expedite_days or 0) * line.expedited
        assert (line.due_on - line.place_on).days == max(0, days)
        assert line.quantity_milli >= offer.minimum_milli
        assert line.quantity_milli % (offer.multiple_milli or UNIT) == 0
        coming[line.part, line.supplier, line.due_on.isoformat()[:7]] += line.quantity_milli
        parts = (line.firm_milli, line.forecast_milli, line.safety_milli, line.more_milli)
        assert sum(parts) == line.quantity_milli
        assert min(parts) >= 0
        assert sum(row.quantity_milli for row in line.served) + line.more_milli == (
            line.quantity_milli
        )
    for (part, supplier, _), milli in coming.items():
        cap = next(
            (s.monthly_cap_milli for s in book.sources if (s.part, s.supplier) == (part, supplier)),
            None,
        )
        bought_any = any((r.part, r.supplier) == (part, supplier) for r in found.lines)
        assert cap is None or not bought_any or milli <= max(cap, _open(book, part, supplier))
    _all_is_told(problem, plan, demand, found)
    _no_source_brings_sooner(problem, found)


def _no_source_brings_sooner(problem: Problem, found: Buying) -> None:
    """Where that is told: no source has an order left that would come sooner than any late line."""
    book, terms = problem.dataset, problem.settings
    coming: Counter[tuple[str, str, str]] = Counter()
    for row in book.purchases:
        coming[row.part, row.supplier, month_of(terms.counted_on(row.due))] += row.quantity_milli
    for line in found.lines:
        coming[line.part, line.supplier, month_of(line.due_on)] += line.quantity_milli
    for short in found.short:
        if short.comes_on is None or short.why_not != NOT_SOONER:
            continue
        for offer in book.sources:
            if (offer.part, offer.point) != (short.part, short.point):
                continue
            day = first_arrival(terms, offer)
            while day < short.comes_on:
                cap = offer.monthly_cap_milli
                assert cap is not None
                left = cap - coming[offer.part, offer.supplier, month_of(day)]
                assert not whole_orders(offer, left)
                day = (day.replace(day=1) + timedelta(32)).replace(day=1)


def _open(book: Dataset, part: str, supplier: str) -> int:
    return sum(
        row.quantity_milli for row in book.purchases if (row.part, row.supplier) == (part, supplier)
    )


def _all_is_told(problem: Problem, plan: Plan, demand: DemandAhead, found: Buying) -> None:
    """What is wanted is served by a line or short, to the last thousandth."""
    wants = wanted(problem, plan, demand, found.safety_milli)
    for (part, point), rows in wants.wants.items():
        served = sum(
            one.quantity_milli
            for line in found.lines
            if (line.part, line.point) == (part, point)
            for one in line.served
        )
        never = sum(
            row.quantity_milli
            for row in found.short
            if (row.part, row.point) == (part, point) and row.comes_on is None
        )
        assert served + never == sum(row.milli for row in rows)
    assert Fraction(0) <= Fraction(found.gap) <= 1
