"""The fit check of ratings.

Published: hp = gpm x psi / 1714 (Engineering ToolBox, "Hydraulic pump horsepower"): 20 gpm at
1500 psi take 17.5 hp, and 20.59 hp at an efficiency of 0.85. Common practice, no source: a 13 hp
engine drives a 21 gpm diaphragm pump at up to 725 psi, an 8 hp engine a 15 gpm pump at up to
580 psi.
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from fulfil_models.fit import Verdict, check_fit, ratings_by_part, shaft_power_hp
from fulfil_models.tables import Rating


def rate(part: str, rating: str, value: str, unit: str) -> Rating:
    return Rating(part=part, rating=rating, value_micro=int(Fraction(value) * 1_000_000), unit=unit)


ROWS = [
    rate("E8", "shaft_power", "8", "hp"),
    rate("E8", "speed", "3600", "rpm"),
    rate("E13", "shaft_power", "13", "hp"),
    rate("E13", "speed", "3600", "rpm"),
    rate("E13SLOW", "shaft_power", "13", "hp"),
    rate("E13SLOW", "speed", "1800", "rpm"),
    rate("E6KW", "shaft_power", "6", "kW"),
    rate("P15", "flow", "15", "gpm"),
    rate("P15", "pressure", "580", "psi"),
    rate("P15", "efficiency", "0.85", "1"),
    rate("P21", "flow", "21", "gpm"),
    rate("P21", "pressure", "725", "psi"),
    rate("GEN", "input_power", "12.3", "hp"),
    rate("ODD", "flow", "15", "buckets"),
    rate("ODD", "pressure", "580", "psi"),
]
RATINGS = ratings_by_part(ROWS)


@pytest.mark.parametrize(
    ("efficiency", "published"), [(Fraction(1), "17.503"), (Fraction(85, 100), "20.59")]
)
def test_power_of_the_published_pump(efficiency: Fraction, published: str) -> None:
    # 20 x 1500 / 1714 = 17.5029; over 0.85 = 20.5917
    places = len(published.split(".")[1])
    assert round(shaft_power_hp(20, 1500, efficiency), places) == Fraction(published)


@pytest.mark.parametrize(("engine", "flow", "pressure"), [(13, 21, 725), (8, 15, 580)])
def test_common_pairs_of_engine_and_pump_fit(engine: int, flow: int, pressure: int) -> None:
    # 21 x 725 / 1714 / 0.85 = 10.45; 15 x 580 / 1714 / 0.85 = 5.97
    assert shaft_power_hp(flow, pressure, Fraction(85, 100)) < engine


@pytest.mark.parametrize("efficiency", [0, -1, Fraction(101, 100)])
def test_no_such_efficiency(efficiency: Fraction) -> None:
    with pytest.raises(ValueError, match="efficiency"):
        shaft_power_hp(20, 1500, efficiency)


def test_a_stronger_engine_fits() -> None:
    check = check_fit(RATINGS, "B1", "E8", "E13", {"E13": 1000, "P15": 1000})
    assert check is not None
    assert check.verdict is Verdict.FITS
    power = check.lines[0]
    assert power.wanted == Fraction(15 * 580 * 100, 1714 * 85)  # 5.97 hp
    assert power.there == 13
    assert "15 gpm × 580 psi ÷ 1714 ÷ 0.85 = 5.97 hp" in power.how
    assert [line.what for line in check.lines[1:]] == ["shaft_power", "speed"]


def test_a_weaker_engine_does_not_fit() -> None:
    # P21 has no rated efficiency: 21 x 725 / 1714 / 0.85 (assumed) = 10.45 hp against 8
    check = check_fit(RATINGS, "B1", "E13", "E8", {"E8": 1000, "P21": 1000})
    assert check is not None
    assert check.verdict is Verdict.DOES_NOT_FIT
    assert check.lines[0].verdict is Verdict.DOES_NOT_FIT
    assert "(assumed) = 10.45 hp" in check.lines[0].how


def test_two_pumps_take_twice_the_power() -> None:
    # 2 x 5.97 = 11.94 hp: too much for 8, enough for 13
    eight = check_fit(RATINGS, "B1", "E13", "E8", {"E8": 1000, "P15": 2000})
    thirteen = check_fit(RATINGS, "B1", "E8", "E13", {"E13": 1000, "P15": 2000})
    assert eight is not None
    assert thirteen is not None
    assert eight.lines[0].verdict is Verdict.DOES_NOT_FIT
    assert thirteen.lines[0].verdict is Verdict.FITS


def test_speed_has_to_be_the_same() -> None:
    check = check_fit(RATINGS, "B1", "E13", "E13SLOW", {"E13SLOW": 1000, "P15": 1000})
    assert check is not None
    assert [line.verdict for line in check.lines if line.what == "speed"] == [Verdict.DOES_NOT_FIT]


def test_kilowatts_and_other_driven_machines() -> None:
    # 6 kW = 8.046 hp: enough for a pump of 5.97 hp, too little for a generator end of 12.3 hp
    pump = check_fit(RATINGS, "B1", "E8", "E6KW", {"E6KW": 1000, "P15": 1000})
    generator = check_fit(RATINGS, "B1", "E13", "E6KW", {"E6KW": 1000, "GEN": 1000})
    assert pump is not None
    assert generator is not None
    assert round(pump.lines[0].there or 0, 3) == Fraction("8.046")
    assert pump.lines[0].verdict is Verdict.FITS
    assert generator.lines[0].verdict is Verdict.DOES_NOT_FIT
    # the ratings themselves are compared in the unit of the part called for: 8.046 hp against 8 hp
    rated = pump.lines[1]
    assert (rated.what, rated.unit, rated.verdict) == ("shaft_power", "hp", Verdict.FITS)
    assert rated.there == pump.lines[0].there
    assert rated.how == "E8 8 hp; E6KW 8.05 hp"


@pytest.mark.parametrize(
    ("wanted", "there", "expected"),
    [
        # 1 hp = 745.699872 W: 12 kW = 16.092 hp, 9.69 kW = 12.994 hp
        (("13", "hp"), ("12", "kW"), Verdict.FITS),
        (("13", "hp"), ("9.69", "kW"), Verdict.DOES_NOT_FIT),
        (("12", "kW"), ("16.09", "hp"), Verdict.DOES_NOT_FIT),
        (("12", "kW"), ("16.1", "hp"), Verdict.FITS),
        (("13", "hp"), ("13", "HP"), Verdict.FITS),
        (("13", "Widgets"), ("13", "widgets"), Verdict.FITS),
        (("13", "hp"), ("13", "PS"), Verdict.NOT_KNOWN),
        (("13", "hp"), ("13", "bar"), Verdict.NOT_KNOWN),
    ],
)
def test_ratings_in_different_units_are_compared_where_the_factor_is_known(
    wanted: tuple[str, str], there: tuple[str, str], expected: Verdict
) -> None:
    ratings = ratings_by_part(
        [rate("OLD", "shaft_power", *wanted), rate("NEW", "shaft_power", *there)]
    )
    check = check_fit(ratings, "B1", "OLD", "NEW", {"NEW": 1000})
    assert check is not None
    assert [line.verdict for line in check.lines] == [expected]


def test_pressures_in_psi_and_bar() -> None:
    # 1 psi = 0.068947573 bar: 580 psi = 39.99 bar, 40 bar = 580.15 psi
    ratings = ratings_by_part(
        [rate("OLD", "pressure", "580", "psi"), rate("A", "pressure", "40", "bar")]
    )
    check = check_fit(ratings, "B1", "OLD", "A", {"A": 1000})
    assert check is not None
    assert [line.how for line in check.lines] == ["OLD 580 psi; A 580.15 psi"]
    assert check.verdict is Verdict.FITS


def test_units_that_cannot_be_used_are_not_guessed() -> None:
    check = check_fit(RATINGS, "B1", "E8", "E13", {"E13": 1000, "ODD": 1000})
    assert check is not None
    assert check.lines[0].wanted is None
    assert check.lines[0].verdict is Verdict.NOT_KNOWN
    assert check.verdict is Verdict.NOT_KNOWN


def test_nothing_is_claimed_without_ratings() -> None:
    assert check_fit(RATINGS, "B1", "BOLT", "SCREW", {"SCREW": 1000}) is None
    check = check_fit(RATINGS, "B1", "E8", "BARE", {"BARE": 1000})
    assert check is not None
    assert check.verdict is Verdict.NOT_KNOWN
