"""Settings: defaults, values, and everything that is wrong at once."""

from __future__ import annotations

from datetime import date

import pytest
from fulfil_models.settings import Settings, SettingsError, parse_settings, read_settings
from fulfil_models.tables import Setting

TODAY = date(2026, 3, 2)


def rows(**values: str) -> list[Setting]:
    return [Setting(key=key, value=value) for key, value in values.items()]


def test_what_is_not_set_has_its_default() -> None:
    settings = parse_settings([], TODAY)
    assert settings == Settings(as_of=TODAY)
    # 1000 of the currency, in millionths
    assert settings.late_day_cost_micro == 1_000_000_000
    assert (settings.currency, settings.overdue_days) == ("USD", 7)
    assert (settings.horizon_days, settings.freeze_days) == (730, 0)


def test_every_setting_can_be_set() -> None:
    given = rows(
        as_of="2027-01-04",
        currency="EUR",
        late_day_cost="0.5",
        overdue_days="0",
        horizon_days="3650",
        freeze_days="5",
        orders_from="2027-02-01",
    )
    assert parse_settings(given, TODAY) == Settings(
        as_of=date(2027, 1, 4),
        currency="EUR",
        late_day_cost_micro=500_000,
        overdue_days=0,
        horizon_days=3650,
        freeze_days=5,
        orders_from=date(2027, 2, 1),
    )


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("as_of", "2026-02-30"),
        ("currency", "usd"),
        ("late_day_cost", "-0.01"),
        ("overdue_days", "-1"),
        ("horizon_days", "0"),
        ("horizon_days", "3651"),
        ("freeze_days", "1.5"),
        ("orders_from", "today"),
    ],
)
def test_a_bad_value_is_refused_and_the_default_stands_in(key: str, value: str) -> None:
    settings, problems = read_settings(rows(**{key: value}), TODAY)
    assert settings == Settings(as_of=TODAY)
    assert [(problem.key, problem.unknown) for problem in problems] == [(key, False)]
    with pytest.raises(SettingsError, match=key):
        parse_settings(rows(**{key: value}), TODAY)


@pytest.mark.parametrize(
    ("orders_from", "first", "waits"),
    [
        (None, TODAY, False),
        (date(2026, 2, 2), TODAY, False),  # over already
        (TODAY, TODAY, False),
        (date(2026, 3, 3), date(2026, 3, 3), True),
    ],
)
def test_the_first_day_of_new_purchases(orders_from: date | None, first: date, waits: bool) -> None:
    settings = Settings(as_of=TODAY, orders_from=orders_from)
    assert (settings.first_order_day, settings.orders_wait) == (first, waits)


def test_all_problems_are_told_and_unknown_keys_do_no_harm() -> None:
    given = rows(currency="usd", horizon="90", freeze_days="x")
    _, problems = read_settings(given, TODAY)
    assert [(p.index, p.key, p.unknown) for p in problems] == [
        (0, "currency", False),
        (1, "horizon", True),
        (2, "freeze_days", False),
    ]
    assert parse_settings(rows(horizon="90"), TODAY) == Settings(as_of=TODAY)


@pytest.mark.parametrize(
    ("due", "counted_on"),
    [
        (date(2026, 3, 1), date(2026, 3, 7)),  # past due: five days from 2 March on
        (date(2025, 1, 1), date(2026, 3, 7)),
        (date(2026, 3, 2), date(2026, 3, 2)),  # due today is not past due
        (date(2026, 3, 3), date(2026, 3, 3)),
    ],
)
def test_the_day_an_open_purchase_is_counted_on(due: date, counted_on: date) -> None:
    assert Settings(as_of=TODAY, overdue_days=5).counted_on(due) == counted_on
