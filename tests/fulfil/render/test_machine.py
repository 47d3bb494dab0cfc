"""JSON and CSV: plain numbers under plain names."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction

import pytest
from fulfil_models.plan import SupplyKind
from hypothesis import given
from hypothesis import strategies as st

from fulfil.render.machine import csv_text, json_text, number, plain


@dataclass(frozen=True)
class Inner:
    point: str
    free_milli: int


@dataclass(frozen=True)
class Row:
    part: str
    quantity_milli: int
    price_micro: int | None
    rate_ppm: int
    weight_g: int | None
    kind: SupplyKind
    day: date
    at: datetime
    share: Fraction
    places: tuple[Inner, ...]


ROW = Row(
    part="007",
    quantity_milli=2500,
    price_micro=None,
    rate_ppm=50_000,
    weight_g=40_250,
    kind=SupplyKind.NEW_PURCHASE,
    day=date(2026, 3, 2),
    at=datetime(2026, 3, 2, 8),
    share=Fraction(1, 4),
    places=(Inner("BOI", 1000),),
)


def test_units_leave_the_names() -> None:
    assert plain(ROW) == {
        "part": "007",
        "quantity": 2.5,
        "price": None,
        "rate": 0.05,
        "weight_kg": 40.25,
        "kind": "new_purchase",
        "day": "2026-03-02",
        "at": "2026-03-02T08:00",
        "share": 0.25,
        "places": [{"point": "BOI", "free": 1}],
    }
    assert json.loads(json_text(plain(ROW))) == plain(ROW)


def test_whole_numbers_stay_whole() -> None:
    assert number(2000, 3) == 2
    assert isinstance(number(2000, 3), int)
    assert isinstance(plain(Fraction(3)), int)


@given(st.integers(-(10**12), 10**12))
def test_numbers_are_the_nearest_to_the_exact_decimal(value: int) -> None:
    assert number(value, 3) == float(Decimal(value) / 1000)


def test_what_has_no_plain_form_is_refused() -> None:
    with pytest.raises(TypeError, match="object has no plain form"):
        plain(object())


def test_csv_reads_back() -> None:
    text = csv_text(
        ("name", "days", "late", "builds", "none"),
        [{"name": 'a "b", c', "days": 3, "late": True, "builds": ["B1", "B2"], "extra": 9}],
    )
    assert list(csv.reader(io.StringIO(text))) == [
        ["name", "days", "late", "builds", "none"],
        ['a "b", c', "3", "yes", "B1 B2", ""],
    ]


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_text_cannot_run_as_a_formula(start: str) -> None:
    rows = list(csv.reader(io.StringIO(csv_text(("a",), [{"a": f"{start}1+1"}]))))
    assert rows[1][0] == f"'{' ' if start == chr(13) else start}1+1"


def test_negative_numbers_stay_numbers() -> None:
    assert csv_text(("a", "b"), [{"a": -3, "b": -0.5}]) == "a,b\n-3,-0.5\n"
