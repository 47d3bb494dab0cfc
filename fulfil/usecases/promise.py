"""What sales asks with the customer on the phone: when could something new ship?"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from fulfil.errors import Refused
from fulfil.usecases.basis import Basis, basis_of, require_data, settings_at, standing_plan
from fulfil.usecases.names import meant

if TYPE_CHECKING:
    from fulfil_models.plan import Plan, PlannedBuild
    from fulfil_models.problem import Problem
    from fulfil_models.promise import Forward
    from fulfil_models.tables import BuildOption, Dataset

    from fulfil.store.session import Store

NAME = "QUOTE"
"""the build that is asked about, in reasons and ladders"""


@dataclass(frozen=True, slots=True)
class Asked:
    """What the customer wants.

    Attributes
    ----------
    options: (component, thousandths added to the bill; negative takes away).
    """

    product: str
    point: str
    options: tuple[tuple[str, int], ...] = ()
    destination: str | None = None
    wanted: date | None = None


@dataclass(frozen=True, slots=True)
class PromiseAnswer:
    """The earliest date beside the plan.

    Attributes
    ----------
    arrives: at the destination; None where none was named, or nothing delivers there.
    carrier_days: that the delivery takes.
    forward: what would bring the date forward, each computed anew.
    regional: (component, note) of parts that local rules commonly require there.
    cautions: (part, caution) of what the machine takes.
    """

    basis: Basis
    asked: Asked
    description: str | None
    build: PlannedBuild
    arrives: date | None
    carrier_days: int | None
    forward: tuple[Forward, ...]
    regional: tuple[tuple[str, str], ...]
    cautions: tuple[tuple[str, str], ...]

    @property
    def days_past_wanted(self) -> int:
        """Days by which it ships after the wanted day; 0 when in time, or no day was wanted."""
        if self.asked.wanted is None:
            return 0
        return max(0, (self.build.ships - self.asked.wanted).days)


def parse_options(texts: Iterable[str]) -> tuple[tuple[str, int], ...]:
    """`PART=QTY` as parts with thousandths. Raises Refused for anything else."""
    from fulfil_models.cells import CellError, parse_decimal

    found = []
    for text in texts:
        name, sign, quantity = text.partition("=")
        try:
            milli = parse_decimal(quantity.strip(), 3) if sign else 0
        except CellError as error:
            raise Refused(f"option {text} {error.wrong}", error.remedy) from error
        if not name.strip() or not sign:
            raise Refused(f"option {text} is not PART=QTY", "write e.g. --option LAMP=2")
        found.append((name.strip(), milli))
    return tuple(found)


def parse_day(text: str | None) -> date | None:
    """A date as it is typed. Raises Refused for what is none."""
    if text is None:
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError as error:
        raise Refused(f"{text} is no date", "write it as 2026-03-31") from error


def promise(store: Store, asked: Asked, number: int | None = None) -> PromiseAnswer:
    """The earliest ship date that moves nothing and takes nothing from anyone in the plan.

    The accepted plan counts, or the newest where none is accepted. Nothing is stored. Raises
    Refused where the plan no longer fits the data, and where the parts never come.
    """
    from fulfil_models.problem import carrier_day
    from fulfil_models.promise import brought_forward, earliest

    require_data(store)
    basis = _basis(store, number)
    dataset = store.dataset()
    asked = _known(dataset, asked, basis.as_of)
    problem = _problem(store, dataset, basis, asked)
    plain = earliest(problem)
    if plain is None:
        raise Refused(
            f"a part of {asked.product} never comes to {asked.point} beside what others hold",
            f"see `fulfil explode {asked.product}`; a source or a purchase is missing",
        )
    (build,) = plain.builds
    delivery = problem.delivery(asked.point, asked.destination) if asked.destination else None
    return PromiseAnswer(
        basis=basis,
        asked=asked,
        description=problem.parts[asked.product].description,
        build=build,
        arrives=carrier_day(build.ships, delivery.days) if delivery else None,
        carrier_days=delivery.days if delivery else None,
        forward=tuple(brought_forward(problem, plain)),
        regional=_regional(problem, asked),
        cautions=_cautions(problem, plain),
    )


def _basis(store: Store, number: int | None) -> Basis:
    if number is None:
        number = standing_plan(store)
    if number is None:
        raise Refused("there is no plan yet to promise beside", "run: fulfil plan")
    basis = basis_of(store, number)
    if basis.data_changed:
        raise Refused(
            f"the data were changed after plan {basis.plan}: a date from it could not be kept",
            "run `fulfil plan`, accept the plan, and ask again",
        )
    return basis


def _known(dataset: Dataset, asked: Asked, as_of: date) -> Asked:
    """The question with names as the data have them. Raises Refused for what is unknown."""
    made = {row.part for row in dataset.routings}
    product = meant("product", asked.product, sorted(made))
    point = meant("point", asked.point, (row.point for row in dataset.points))
    parts = [row.part for row in dataset.parts]
    options = tuple((meant("part", name, parts), milli) for name, milli in asked.options)
    if asked.wanted is not None and asked.wanted < as_of:
        raise Refused(
            f"{asked.wanted} is before the planning date {as_of}", "ask for that day or a later one"
        )
    centres = {row.work_centre: row.point for row in dataset.work_centres}
    at = {centres[row.work_centre] for row in dataset.routings if row.part == product}
    if at != {point}:
        raise Refused(
            f"{product} is not assembled at {point}",
            f"its work centres stand at {' and '.join(sorted(at))}",
        )
    return dataclasses.replace(asked, product=product, point=point, options=options)


def _problem(store: Store, dataset: Dataset, basis: Basis, asked: Asked) -> Problem:
    from fulfil_models.problem import Problem
    from fulfil_models.promise import beside
    from fulfil_models.tables import Build
    from fulfil_models.taken import taken_by

    taken = taken_by(store.plan(basis.plan).plan, dataset)
    build = Build(
        build=NAME,
        product=asked.product,
        point=asked.point,
        ordered=basis.as_of,
        promised=asked.wanted,
        destination=asked.destination,
    )
    data = beside(dataset, taken, [build], _options(asked.options))
    problem = Problem(data, settings_at(dataset, basis), taken=taken)
    _refuse_negative(problem, asked)
    return problem


def _options(options: Iterable[tuple[str, int]]) -> list[BuildOption]:
    from fulfil_models.tables import BuildOption

    return [
        BuildOption(build=NAME, component=component, quantity_milli=milli)
        for component, milli in options
    ]


def _refuse_negative(problem: Problem, asked: Asked) -> None:
    """Raises Refused where more of a component is taken away than the bill has."""
    from fulfil_models.cells import format_decimal
    from fulfil_models.explosion import in_effect

    for component, milli in asked.options:
        there = sum(
            line.quantity_milli
            for line in problem.bills.get(asked.product, ())
            if line.component == component and in_effect(line, problem.as_of)
        )
        if there + milli < 0:
            raise Refused(
                f"the bill of {asked.product} has {format_decimal(there, 3)} of {component}, "
                f"{format_decimal(-milli, 3)} cannot be taken away",
                "take away no more than it has",
            )


def _regional(problem: Problem, asked: Asked) -> tuple[tuple[str, str], ...]:
    family = problem.parts[asked.product].family
    return tuple(
        (row.component, row.note)
        for row in problem.dataset.region_rules
        if row.family == family and (asked.destination or "").startswith(row.region)
    )


def _cautions(problem: Problem, plan: Plan) -> tuple[tuple[str, str], ...]:
    used = dict.fromkeys(peg.used for peg in plan.pegs)
    return tuple(
        (part, caution) for part in sorted(used) if (caution := problem.parts[part].caution)
    )
