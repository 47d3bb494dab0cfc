"""Is a data set fit to be planned? Every check across its tables, in one list.

Each check is a small function that looks at a `Case` and yields a finding for every offender.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date

from fulfil_models import (
    checking_bills,
    checking_names,
    checking_orders,
    checking_reach,
    checking_supply,
    checking_time,
)
from fulfil_models.checking_case import Case
from fulfil_models.findings import Finding
from fulfil_models.reading import Origins
from fulfil_models.tables import Dataset

Check = Callable[[Case], Iterator[Finding]]

CHECKS: tuple[Check, ...] = (
    checking_names.check_settings,
    checking_names.check_references,
    checking_names.check_zones_and_regions,
    checking_time.check_holidays,
    checking_time.check_shifts,
    checking_time.check_opening_hours,
    checking_time.check_cutoffs,
    checking_time.check_downtime,
    checking_bills.check_cycles,
    checking_bills.check_bill_operations,
    checking_bills.check_option_operations,
    checking_bills.check_options,
    checking_bills.check_routings,
    checking_bills.check_totals,
    checking_supply.check_steps,
    checking_supply.check_held,
    checking_supply.check_alternates,
    checking_supply.check_sources,
    checking_supply.check_price_breaks,
    checking_supply.check_purchases,
    checking_supply.check_receipts,
    checking_supply.check_lanes,
    checking_supply.check_ratings,
    checking_supply.check_forecasts,
    checking_orders.check_builds,
    checking_orders.check_assembly,
    checking_orders.check_progress,
    checking_orders.check_progress_order,
    checking_orders.check_parts_orders,
    checking_orders.check_take_rates,
    checking_orders.check_forecast_bills,
    checking_names.check_families,
    checking_names.check_unused_parts,
)
"""checks that hold on any data set, however broken"""

REACH_CHECKS: tuple[Check, ...] = (
    checking_reach.check_deliveries,
    checking_reach.check_stranded,
)
"""checks that follow parts from row to row, and so need every name known and no bill in a circle"""


def check(dataset: Dataset, origins: Origins, today: date) -> list[Finding]:
    """Everything that is wrong with a data set beyond its single cells.

    Parameters
    ----------
    dataset: as it was read.
    origins: where its rows came from and which could not be read (`Origins()` for none).
    today: the planning date where the settings do not name one.

    Returns
    -------
    Findings in the order of the checks, those of one check in the order of the rows.
    """
    case = Case(dataset, origins, today)
    findings = [finding for each in CHECKS for finding in each(case)]
    if not origins.broken_rows and not origins.unreadable and not _any_loose_end(findings):
        findings += [finding for each in REACH_CHECKS for finding in each(case)]
    return findings


def _any_loose_end(findings: list[Finding]) -> bool:
    """Whether a name is unknown or a bill contains itself."""
    return any(
        finding.is_error and (finding.code.startswith("unknown-") or finding.code == "bill-cycle")
        for finding in findings
    )
