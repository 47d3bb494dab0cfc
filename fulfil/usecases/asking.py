"""What a customer asks for, as it is typed: machines, an order of several, spare parts."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from fulfil.errors import Refused
from fulfil.usecases.basis import refuse_unknown
from fulfil.usecases.names import meant
from fulfil.usecases.quote_documents import NAME

if TYPE_CHECKING:
    from fulfil_models.problem import Problem
    from fulfil_models.room import Request
    from fulfil_models.tables import Build, BuildOption, Dataset, PartsOrder

Amounts = tuple[tuple[str, int], ...]
"""parts with thousandths"""

TO_BE_MADE = ("firm", "quoted")
"""statuses of the builds of a file that are asked about; others are done with"""


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked for.

    Attributes
    ----------
    wanted: ship date that is asked for, of all of it.
    named: builds have names that they shall keep.
    """

    request: Request
    wanted: date | None = None
    named: bool = False

    @property
    def destinations(self) -> tuple[str, ...]:
        rows = [row.destination for row in self.request.builds]
        rows += [row.destination for row in self.request.lines]
        return tuple(dict.fromkeys(name for name in rows if name))


# ---- as it is typed


def ask_machine(
    product: str,
    point: str | None = None,
    options: Amounts = (),
    destination: str | None = None,
    wanted: date | None = None,
    weight_ppm: int = 10**6,
) -> Asked:
    """One machine; without a point, at the one that assembles it. `weight_ppm`: how much a late day
    of it counts."""
    from fulfil_models.room import Request
    from fulfil_models.tables import Build, BuildOption

    build = Build(
        build=NAME,
        product=product,
        point=point or "",
        ordered=date.min,
        promised=wanted,
        weight_ppm=weight_ppm,
        destination=destination,
    )
    rows = (
        BuildOption(build=NAME, component=component, quantity_milli=milli)
        for component, milli in options
    )
    return Asked(Request((build,), tuple(rows)), wanted)


def ask_parts(
    parts: Amounts,
    destination: str,
    within_days: int | None = None,
    wanted: date | None = None,
    weight_ppm: int = 10**6,
) -> Asked:
    """Spare parts, a line for each; `within_days`: carrier days after the order."""
    from fulfil_models.room import Request
    from fulfil_models.tables import PartsOrder

    lines = (
        PartsOrder(
            order=NAME,
            line=str(number),
            part=part,
            quantity_milli=milli,
            ordered=date.min,
            destination=destination,
            within_days=within_days,
            promised=wanted,
            weight_ppm=weight_ppm,
            split=False,
        )
        for number, (part, milli) in enumerate(parts, 1)
    )
    return Asked(Request(lines=tuple(lines)), wanted)


def ask_file(path: Path, wanted: date | None = None) -> Asked:
    """Machines of one order, from tables `builds` and `build_options`.

    Raises Refused where they cannot be read, with the first things that are wrong.
    """
    from fulfil_models.reading import read_tables
    from fulfil_models.room import Request

    from fulfil.exchange import read_path

    if not path.exists():
        raise Refused(
            f"{path} is not there",
            "give a folder with builds.csv (and build_options.csv), or a workbook with such sheets",
        )
    raw = read_path(path)
    wanted_tables = {"builds", "build_options"}
    reading = read_tables(raw)
    files = {reading.origins.file(name) for name in wanted_tables}
    wrong = [
        row
        for row in reading.findings
        if row.is_error
        and (row.file in files or row.code not in ("missing-table", "unknown-table"))
        and (row.code != "missing-table" or row.value == "builds")
    ]
    if wrong:
        first = wrong[0]
        place = f"{first.file}{f', row {first.row}' if first.row else ''}"
        column = f", {first.column}" if first.column else ""
        value = f" {first.value}" if first.value else ""
        more = f" (and {len(wrong) - 1} more)" if len(wrong) > 1 else ""
        raise Refused(f"{place}{column}:{value} {first.wrong}{more}", first.remedy)
    data = reading.dataset
    builds = tuple(
        dataclasses.replace(row, status="firm", promised=wanted or row.promised)
        for row in data.builds
        if row.status in TO_BE_MADE
    )
    if not builds:
        raise Refused(f"{path} has no builds to be made", "give a row of `builds` for each machine")
    _refuse_twice(row.build for row in builds)
    left_out = {row.build for row in data.builds} - {row.build for row in builds}
    options = tuple(row for row in data.build_options if row.build not in left_out)
    return Asked(Request(builds, options), wanted, named=True)


def _refuse_twice(names: Iterable[str]) -> None:
    twice = [name for name, count in Counter(names).items() if count > 1]
    if twice:
        raise Refused(f"build {twice[0]} is there twice", "give each build a name of its own")


def parse_amounts(texts: Iterable[str], option: str) -> Amounts:
    """`PART=QTY` as parts with thousandths. Raises Refused for anything else.

    `option`: what it is given with, to name it.
    """
    from fulfil_models.cells import CellError, parse_decimal

    found = []
    for text in texts:
        name, sign, quantity = text.partition("=")
        try:
            milli = parse_decimal(quantity.strip(), 3) if sign else 0
        except CellError as error:
            raise Refused(f"{option} {text} {error.wrong}", error.remedy) from error
        if not name.strip() or not sign:
            raise Refused(f"{option} {text} is not PART=QTY", f"write e.g. {option} LAMP=2")
        found.append((name.strip(), milli))
    return tuple(found)


def parse_weight(text: str | None) -> int:
    """A weight as parts per million; 1 where none is given. Raises Refused for what is none."""
    from fulfil_models.cells import CellError, parse_decimal

    if text is None:
        return 10**6
    try:
        weight_ppm = parse_decimal(text.strip(), 6)
    except CellError as error:
        raise Refused(f"weight {text} {error.wrong}", error.remedy) from error
    if weight_ppm < 0:
        raise Refused(f"weight {text} is below 0", "give 0 or more; 1 is usual")
    return weight_ppm


def parse_day(text: str | None) -> date | None:
    """A date as it is typed. Raises Refused for what is none."""
    if text is None:
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError as error:
        raise Refused(f"{text} is no date", "write it as 2026-03-31") from error


# ---- held against the data


def known(dataset: Dataset, problem: Problem, asked: Asked) -> Asked:
    """What is asked for, with names as the data have them.

    Raises Refused for what is unknown, and for what can never be.
    """
    as_of = problem.as_of
    days = [asked.wanted, *(row.promised for row in asked.request.builds)]
    for day in days:
        if day is not None and date(day.year, day.month, day.day) < as_of:
            raise Refused(
                f"{day} is before the planning date {as_of}", "ask for that day or a later one"
            )
    builds = tuple(_known_build(dataset, problem, row) for row in asked.request.builds)
    options = tuple(_known_option(problem, builds, row) for row in asked.request.options)
    lines = tuple(_known_line(problem, row) for row in asked.request.lines)
    if asked.named:
        there = {row.build for row in dataset.builds}
        for row in builds:
            if row.build in there:
                raise Refused(
                    f"a build {row.build} is in the data already",
                    "give the new one another name",
                )
    request = dataclasses.replace(asked.request, builds=builds, options=options, lines=lines)
    for build in builds:
        _refuse_negative(problem, request, build)
    return dataclasses.replace(asked, request=request)


def _known_build(dataset: Dataset, problem: Problem, build: Build) -> Build:
    product = _known_product(problem, build.product)
    at = sorted({problem.work_centres[s.work_centre].point for s in problem.routings[product]})
    point = build.point
    if not point and len(at) == 1:
        point = at[0]
    if not point:
        raise Refused(f"{product} is assembled nowhere alone", f"say where: {' or '.join(at)}")
    point = meant("point", point, problem.points)
    if at != [point]:
        raise Refused(
            f"{product} is not assembled at {point}",
            f"its work centres stand at {' and '.join(at)}",
        )
    if build.destination is not None:
        _known_destination(problem, build.destination)
    ordered = problem.as_of if build.ordered == date.min else build.ordered
    return dataclasses.replace(build, product=product, point=point, ordered=ordered)


def _known_product(problem: Problem, name: str) -> str:
    """The product that is meant. Raises Refused, of a part that is not assembled in its own way."""
    try:
        return meant("product", name, sorted(problem.routings))
    except Refused:
        parts = {part.casefold(): part for part in problem.parts}
        part = parts.get(name.strip().casefold())
        if part is None:
            raise
        raise Refused(
            f"{part} is no product: nothing is done to make it",
            f"as a spare part: `fulfil promise --part {part}=1 --to DESTINATION`",
        ) from None


def _known_destination(problem: Problem, destination: str) -> None:
    """Raises Refused where the data know deliveries, but none to it."""
    if problem.deliveries and not any(
        problem.delivery(point, destination) for point in problem.points
    ):
        names = sorted({row.destination for rows in problem.deliveries.values() for row in rows})
        raise refuse_unknown("destination", destination, names)


def _known_option(problem: Problem, builds: Iterable[Build], option: BuildOption) -> BuildOption:
    products = {build.build: build.product for build in builds}
    if option.build not in products:
        raise refuse_unknown("build", option.build, list(products))
    product = products[option.build]
    known = [step.operation for step in problem.routings[product]]
    if option.operation is not None and option.operation not in known:
        raise Refused(
            f"{option.operation} is no operation of {product}",
            f"it has {', '.join(map(str, known))}",
        )
    return dataclasses.replace(option, component=meant("part", option.component, problem.parts))


def _known_line(problem: Problem, line: PartsOrder) -> PartsOrder:
    from fulfil_models.cells import format_decimal

    part = meant("part", line.part, problem.parts)
    if line.quantity_milli <= 0:
        raise Refused(
            f"{format_decimal(line.quantity_milli, 3)} of {part} cannot be sent",
            "ask for more than 0",
        )
    step = problem.parts[part].step_milli
    if line.quantity_milli % step:
        raise Refused(
            f"{part} is issued in steps of {format_decimal(step, 3)}, "
            f"{format_decimal(line.quantity_milli, 3)} is no multiple of it",
            "ask for whole steps",
        )
    if not problem.deliveries:
        raise Refused(
            "nothing is known of deliveries", "fill the table `deliveries` and load the data anew"
        )
    _known_destination(problem, line.destination)
    ordered = problem.as_of if line.ordered == date.min else line.ordered
    return dataclasses.replace(line, part=part, ordered=ordered)


def _refuse_negative(problem: Problem, request: Request, build: Build) -> None:
    """Raises Refused where more of a component is taken away than the bill has at an operation."""
    from fulfil_models.cells import format_decimal
    from fulfil_models.explosion import in_effect

    first = problem.routings[build.product][0].operation
    there: Counter[tuple[str, int]] = Counter()
    usual: dict[str, int] = {}
    for line in problem.bills.get(build.product, ()):
        if in_effect(line, build.ordered):
            operation = first if line.operation is None else line.operation
            there[line.component, operation] += line.quantity_milli
            usual.setdefault(line.component, operation)
    change: Counter[tuple[str, int]] = Counter()
    for row in request.options:
        if row.build == build.build:
            default = usual.get(row.component, first)
            operation = default if row.operation is None else row.operation
            change[row.component, operation] += row.quantity_milli
    for (component, operation), milli in change.items():
        has = there[component, operation]
        if milli < 0 and has + milli < 0:
            raise Refused(
                f"the bill of {build.product} has {format_decimal(has, 3)} of {component} at "
                f"operation {operation}, {format_decimal(-milli, 3)} cannot be taken away",
                "take away no more than it has",
            )
