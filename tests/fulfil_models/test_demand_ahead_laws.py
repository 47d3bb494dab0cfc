"""Needs of parts on random tiny bills and books: against a count of its own, and laws."""

from __future__ import annotations

import dataclasses
from collections import Counter
from dataclasses import replace
from datetime import date
from fractions import Fraction
from itertools import product as every
from math import prod
from typing import Any

from books import random_book, settings_of, shapes
from expected_sets import (
    APRIL,
    AS_OF,
    MARCH,
    NAMES,
    ahead,
    amounts,
    forecast,
    forecast_of,
    problem_of,
    tiny,
)
from fulfil_models import planning
from fulfil_models.available_flows import unplanned_needs
from fulfil_models.bill_tree import explode_build
from fulfil_models.cells import MILLI, PPM
from fulfil_models.demand_ahead import DemandAhead, demand_ahead
from fulfil_models.months import first_day, months_ahead
from fulfil_models.planning import Effort
from fulfil_models.problem import Problem
from fulfil_models.tables import (
    Build,
    BuildOption,
    Dataset,
)
from hypothesis import given, settings
from hypothesis import strategies as st

# ---- against a count of its own, on tiny bills


def rounded_up(milli: Fraction) -> int:
    return -(-milli.numerator // milli.denominator)


def taken_apart(data: Dataset, name: str, units: Fraction, day: date) -> Counter[str]:
    """Level by level, each job by itself, straight from the rows."""
    rows = {row.part: row for row in data.parts}
    steps = [row.operation for row in data.routings if row.part == name]
    first = min(steps, default=None)
    wanted: Counter[tuple[int | None, str]] = Counter()
    sums: dict[tuple[int | None, str], Fraction] = {}
    for row in data.bills:
        late, over = row.starts is not None and day < row.starts, row.ends and day > row.ends
        if row.parent == name and not late and not over:
            key = first if row.operation is None else row.operation, row.component
            kept = 1 - Fraction(row.scrap_ppm, PPM)
            sums[key] = sums.get(key, Fraction(0)) + units * row.quantity_milli / kept
            wanted[key] = 1
    totals: Counter[str] = Counter()
    for (_, component), milli in sums.items():
        step = rows[component].step_milli
        milli_up = -(-milli.numerator // (milli.denominator * step)) * step
        totals[component] += milli_up
        if rows[component].make:
            totals.update(taken_apart(data, component, Fraction(milli_up, MILLI), day))
    return totals


@given(st.integers(0, 10**6))
@settings(max_examples=60)
def test_forecasts_are_taken_apart_like_builds(seed: int) -> None:
    data = replace(tiny(seed), take_rates=(), builds=(), build_options=())
    found = ahead(data, 4)
    for month in months_ahead(AS_OF, 4):
        wanted: dict[str, Fraction] = {}
        for row in data.demand:
            if row.month == month:
                units = Fraction(row.quantity_milli, MILLI)
                made = {part.part: part.make for part in data.parts}[row.part]
                each = taken_apart(data, row.part, Fraction(1), first_day(month)) if made else {}
                for name, milli in (Counter(each) + Counter({row.part: MILLI})).items():
                    wanted[name] = wanted.get(name, Fraction(0)) + units * milli
        assert forecast_of(found, month) == {
            name: -(-milli.numerator // milli.denominator)
            for name, milli in wanted.items()
            if milli
        }


@given(st.integers(0, 10**6))
@settings(max_examples=40)
def test_shares_are_the_average_of_builds_with_and_without(seed: int) -> None:
    """Every choice of options as a build of its own, weighted with how likely it is."""
    data = replace(tiny(seed), demand=(forecast("TOP", MARCH, 1),), builds=(), build_options=())
    average: dict[str, Fraction] = {"TOP": Fraction(MILLI)}
    build = Build(build="B", product="TOP", point="A", ordered=first_day(MARCH))
    for taken in every((True, False), repeat=len(data.take_rates)):
        chosen = [row for row, take in zip(data.take_rates, taken, strict=True) if take]
        likely = prod(
            Fraction(row.rate_ppm, PPM) if take else 1 - Fraction(row.rate_ppm, PPM)
            for row, take in zip(data.take_rates, taken, strict=True)
        )
        options = tuple(
            BuildOption(build="B", component=row.component, quantity_milli=MILLI) for row in chosen
        )
        problem = problem_of(replace(data, builds=(build,), build_options=options))
        for row in explode_build(problem, build).lines:
            before = average.get(row.part, Fraction(0))
            average[row.part] = before + likely * row.quantity_milli
    assert forecast_of(ahead(data)) == {
        name: rounded_up(milli) for name, milli in average.items() if milli
    }


# ---- laws


@given(st.integers(0, 10**6))
@settings(max_examples=40)
def test_firm_needs_do_not_change_with_the_forecast(seed: int) -> None:
    data = tiny(seed)
    bare = replace(data, demand=(), take_rates=())
    assert ahead(data, 4).firm == ahead(bare, 1).firm
    problem = problem_of(data)
    found = ahead(data, 4)
    for name in NAMES:
        wanted = unplanned_needs(problem, None, name, None)
        assert sorted((need.day, need.who, need.milli) for need in found.firm.get(name, ())) == (
            sorted((row.due, row.who, row.quantity_milli) for row in wanted)
        )


@given(st.integers(0, 10**6), st.integers(0, 10**6), st.integers(1, 5000))
@settings(max_examples=60)
def test_more_forecast_never_lowers_a_need(seed: int, which: int, more_milli: int) -> None:
    data = tiny(seed)
    before = amounts(ahead(data, 4))
    if data.demand:
        at = which % len(data.demand)
        row = replace(data.demand[at], quantity_milli=data.demand[at].quantity_milli + more_milli)
        demand = (*data.demand[:at], row, *data.demand[at + 1 :])
        after = amounts(ahead(replace(data, demand=demand), 4))
        assert all(after.get(key, 0) >= milli > 0 for key, milli in before.items())


@given(st.integers(0, 10**6))
@settings(max_examples=40)
def test_more_months_change_nothing_before(seed: int) -> None:
    """Nor does the order of the rows."""
    data = tiny(seed)
    few, many = amounts(ahead(data, 2)), amounts(ahead(data, 5))
    assert few == {key: milli for key, milli in many.items() if key[1] in (MARCH, APRIL)}
    turned = {
        field.name: getattr(data, field.name)[::-1]
        for field in dataclasses.fields(data)
        if field.name != "notes"
    }
    assert ahead(replace(data, **turned), 5) == ahead(data, 5)


@given(st.integers(0, 2**32 - 1), shapes())
@settings(max_examples=25, deadline=None)
def test_firm_needs_of_whole_books(seed: int, shape: Any) -> None:
    """Options, kits, made parts, parts orders: as what is in no plan is counted part by part."""
    data = random_book(seed, shape)
    problem = problem_of(data)
    found = demand_ahead(problem, None, 2)
    for name in problem.parts:
        wanted = unplanned_needs(problem, None, name, None)
        assert sorted((need.day, need.who, need.milli) for need in found.firm.get(name, ())) == (
            sorted((row.due, row.who, row.quantity_milli) for row in wanted)
        )


@given(st.integers(0, 2**32 - 1), shapes(alternates=False))
@settings(max_examples=10, deadline=None)
def test_a_plan_draws_what_whole_bills_call_for(seed: int, shape: Any) -> None:
    """Each thing once, on another day, where nothing stands in and no made part is on a shelf."""
    data = random_book(seed, shape)
    data = replace(data, stock=tuple(row for row in data.stock if row.part != "FRAME"))
    problem = Problem(data, settings_of(data))
    planned = demand_ahead(problem, planning.plan(problem, Effort(seconds=0.1)), 1)
    assert totals_of(planned) == totals_of(demand_ahead(problem, None, 1)) != {}


def totals_of(found: DemandAhead) -> dict[tuple[str, str], int]:
    """By part and by who needs it."""
    totals: Counter[tuple[str, str]] = Counter()
    for name, needs in found.firm.items():
        for need in needs:
            totals[name, need.who] += need.milli
    return dict(totals)
