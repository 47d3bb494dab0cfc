"""Can time be told? Shifts, holidays, opening hours, cut-offs and downtime."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from fulfil_models.calendar import STANDARD, STANDARD_HOURS
from fulfil_models.cells import format_time
from fulfil_models.checking_case import Case
from fulfil_models.findings import Finding, did_you_mean
from fulfil_models.tables import Shift


def check_shifts(case: Case) -> Iterator[Finding]:
    """Every shift closes after it opens, and none begins before the one before it ends."""
    by_day: defaultdict[tuple[str, str], list[tuple[int, Shift]]] = defaultdict(list)
    for index, row in case.sound("shifts"):
        if row.closes <= row.opens:
            yield case.error(
                "closes-before-opening",
                "shifts",
                index,
                "closes",
                f"is not after the opening at {format_time(row.opens)}",
                "write a later time; split a shift over midnight into two rows, the first until "
                "24:00",
            )
        else:
            by_day[row.calendar, row.weekday].append((index, row))
    for rows in by_day.values():
        rows.sort(key=lambda entry: (entry[1].opens, entry[1].closes))
        longest_index, longest = rows[0]
        for index, row in rows[1:]:
            if row.opens < longest.closes:
                yield case.error(
                    "overlapping-shifts",
                    "shifts",
                    index,
                    "opens",
                    f"overlaps the shift {format_time(longest.opens)} to "
                    f"{format_time(longest.closes)} of row "
                    f"{case.origins.row('shifts', longest_index)}",
                    "let one end before the next begins",
                )
            if row.closes > longest.closes:
                longest_index, longest = index, row


def check_holidays(case: Case) -> Iterator[Finding]:
    """Every country or subdivision named for its holidays is one the `holidays` package knows."""
    named = [(i, row) for i, row in case.sound("calendars", "holidays") if row.holidays]
    if not named:
        return
    import holidays

    supported = holidays.list_supported_countries(include_aliases=True)
    for index, row in named:
        country, dash, subdivision = row.holidays.partition("-")
        if country in supported and (not dash or subdivision in supported[country]):
            continue
        if country in supported:
            near = did_you_mean(subdivision, supported[country])
            remedy = near or f"write {country} alone, or {country}- and an ISO 3166-2 subdivision"
        else:
            remedy = "write an ISO 3166 code, e.g. US or US-ID, or leave it empty for no holidays"
        yield case.error(
            "unknown-holidays",
            "calendars",
            index,
            "holidays",
            "has no public holidays that are known",
            remedy,
        )


def doubtful_calendars(case: Case) -> frozenset[str]:
    """Calendars of which a row could not be read, or all of them if a whole table could not."""
    if not case.readable("calendars", "shifts", "closures"):
        return frozenset(row.calendar for row in case.dataset.points)
    tables = ("calendars", "shifts", "closures")
    return frozenset[str]().union(*(case.doubtful(table, "calendar") for table in tables))


def check_opening_hours(case: Case) -> Iterator[Finding]:
    """Every point is open at some time within the horizon."""
    doubtful = doubtful_calendars(case)
    with_shifts = {row.calendar for row in case.dataset.shifts}
    for index, row in case.sound("points", "calendar"):
        if row.calendar in doubtful or case.working_minutes.get(row.calendar) != 0:
            continue
        if row.calendar in with_shifts or row.calendar == STANDARD:
            wrong = f"never opens from {case.as_of} to {case.last_day}"
            remedy = "mend its shifts, holidays and closures"
        else:
            wrong = "has no shifts, so the point never opens"
            remedy = f"add its shifts, or leave the cell empty for the calendar {STANDARD}"
        yield case.error("no-opening-hours", "points", index, "calendar", wrong, remedy)


def check_cutoffs(case: Case) -> Iterator[Finding]:
    """A cut-off before all opening or after all closing was hardly meant."""
    doubtful = doubtful_calendars(case)
    spans: defaultdict[str, list[tuple[int, int]]] = defaultdict(list)
    for _, shift in case.sound("shifts"):
        spans[shift.calendar].append((shift.opens, shift.closes))
    spans.setdefault(STANDARD, [(opens, closes) for _, opens, closes in STANDARD_HOURS])
    for index, row in case.sound("points", "calendar", "cutoff"):
        hours = spans.get(row.calendar)
        if row.cutoff is None or row.calendar in doubtful or not hours:
            continue
        first = min(opens for opens, _ in hours)
        last = max(closes for _, closes in hours)
        if not first < row.cutoff <= last:
            yield case.warning(
                "cutoff-outside-hours",
                "points",
                index,
                "cutoff",
                f"is outside the opening hours, {format_time(first)} to {format_time(last)}",
                "write a time within them, or leave it empty for the closing time",
            )


def check_downtime(case: Case) -> Iterator[Finding]:
    """Downtime ends after it starts and takes no more stations out than there are."""
    doubtful = case.doubtful("work_centres", "work_centre")
    for index, row in case.sound("downtime"):
        if row.ends <= row.starts:
            yield case.error(
                "ends-before-start",
                "downtime",
                index,
                "ends",
                "is not after the start",
                "write a later moment",
            )
        centre = case.work_centres.get(row.work_centre)
        if centre is None or row.work_centre in doubtful:
            continue
        if row.stations > centre.stations:
            yield case.error(
                "too-many-stations",
                "downtime",
                index,
                "stations",
                f"is more than the {centre.stations} that {row.work_centre} has",
                "write at most that, or mend the work centre",
            )
