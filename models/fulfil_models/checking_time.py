"""Can time be told? Shifts, holidays, opening hours, cut-offs and downtime."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container, Iterator
from datetime import datetime, time

from fulfil_models.calendar import STANDARD, STANDARD_HOURS
from fulfil_models.cells import format_time
from fulfil_models.checking_case import Case
from fulfil_models.findings import Finding, did_you_mean, listed
from fulfil_models.problem import FIRM
from fulfil_models.tables import Downtime, RoutingStep, Shift


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
    """Downtime ends after it starts, takes no more stations out than there are, and leaves those
    that firm builds cannot do without at some time within the horizon."""
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
    yield from _out_for_good(case)


def _out_for_good(case: Case) -> Iterator[Finding]:
    """Work centres of which too few stations are ever left for a firm build to be finished."""
    if not case.readable("work_centres", "routings", "builds", "downtime", "progress"):
        return
    unsure = case.doubtful("work_centres", "work_centre")
    down: defaultdict[str, list[tuple[int, Downtime]]] = defaultdict(list)
    for index, row in case.sound("downtime"):
        centre = case.work_centres.get(row.work_centre)
        if centre is None or centre.work_centre in unsure or row.stations > centre.stations:
            continue  # errors of their own
        if row.starts < row.ends:
            down[row.work_centre].append((index, row))
    waiting = _stations_wanted(case, down)
    for name, rows in down.items():
        most = _most_left(case, case.work_centres[name].stations, [row for _, row in rows])
        short = sorted(build for build, count in waiting[name].items() if count > most)
        if short:
            left = f"no more than {most}" if most > 0 else "none"
            last = max(rows, key=lambda entry: (entry[1].ends, entry[0]))
            yield case.error(
                "out-for-good",
                "downtime",
                last[0],
                "ends",
                f"leaves {left} of {name} at any time until the end of the horizon, "
                f"{case.last_day}; too few for {listed(short)}",
                "write when the stations are back, or let the routing use another work centre",
            )


def _stations_wanted(case: Case, names: Container[str]) -> dict[str, dict[str, int]]:
    """By work centre and firm build: most stations that an operation still to be started uses."""
    started: defaultdict[str, int] = defaultdict(int)
    for _, row in case.sound("progress"):
        if row.started is None and row.finished is None:
            continue
        started[row.build] = max(started[row.build], row.operation)
    routings: defaultdict[str, list[RoutingStep]] = defaultdict(list)
    for _, step in case.sound("routings"):
        centre = case.work_centres.get(step.work_centre)
        if centre is not None and step.stations <= centre.stations:
            routings[step.part].append(step)
    wanted: defaultdict[str, dict[str, int]] = defaultdict(dict)
    for _, build in case.sound("builds"):
        for step in routings[build.product] if build.status == FIRM else ():
            if step.work_centre in names and step.operation > started.get(build.build, -1):
                of_centre = wanted[step.work_centre]
                of_centre[build.build] = max(of_centre.get(build.build, 0), step.stations)
    return wanted


def _most_left(case: Case, stations: int, rows: list[Downtime]) -> int:
    """Most stations that downtime leaves at any moment from the planning date to the end of the
    horizon."""
    first = datetime.combine(case.as_of, time.min)
    last = datetime.combine(case.last_day, time.max)
    # stations come back at the end of a downtime, so the most is left at the beginning or then
    moments = [first, *(row.ends for row in rows if first < row.ends <= last)]
    return max(
        stations - sum(row.stations for row in rows if row.starts <= moment < row.ends)
        for moment in moments
    )
