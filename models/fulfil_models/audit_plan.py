"""Does a plan speak of what there is: the builds to be planned, their jobs, their operations?"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator

from fulfil_models.audit_frame import (
    BUILD,
    FIRM,
    PARTS_ORDER,
    Finding,
    Frame,
    line_key,
    number,
)
from fulfil_models.cells import MILLI
from fulfil_models.plan import PlannedJob, Supply, SupplyKind
from fulfil_models.tables import Build, PartsOrder, Source

_TOLD_BY: dict[SupplyKind, tuple[str, ...]] = {
    SupplyKind.STOCK: (),
    SupplyKind.PURCHASE: ("order", "line"),
    SupplyKind.NEW_PURCHASE: ("supplier", "place_on", "arrives_on", "expedited"),
    SupplyKind.TRANSFER: ("origin", "from_supply", "leaves_on", "arrives_on"),
    SupplyKind.JOB: ("job",),
}
"""what each kind of supply must say of itself, and the other kinds must not"""
_TOLD = tuple(dict.fromkeys(name for names in _TOLD_BY.values() for name in names))


def names(frame: Frame) -> Iterator[Finding]:
    """Every name in the plan is known, and nothing is listed twice.

    Where this fails the other rules are not asked: they would stumble over the same names.
    """
    plan = frame.plan
    if plan.as_of != frame.terms.as_of:
        yield "plan", f"is of {plan.as_of}, the planning date is {frame.terms.as_of}"
    yield from _twice("build", (b.build for b in plan.builds))
    yield from _twice("job", (j.job for j in plan.jobs))
    yield from _twice("supply", (s.supply for s in plan.supplies))
    yield from _twice("operation", (f"{o.job} {o.operation}" for o in plan.operations))
    for planned in plan.builds:
        if planned.build not in frame.builds:
            yield f"build {planned.build}", "is not in the data"
    planned_builds = {b.build for b in plan.builds}
    for job in plan.jobs:
        yield from _job_names(frame, job, planned_builds)
    for operation in plan.operations:
        if operation.job not in frame.jobs:
            yield f"operation {operation.job} {operation.operation}", "belongs to no job"
        if operation.work_centre not in frame.work_centres:
            yield operation.work_centre, "is no work centre"
    for peg in plan.pegs:
        if peg.job not in frame.jobs or peg.supply not in frame.supplies:
            yield f"peg {peg.job} {peg.part}", "is of no job or from no supply of the plan"
        if peg.part not in frame.parts or peg.used not in frame.parts:
            yield f"peg {peg.job} {peg.part}", "is of an unknown part"
    for shipment in plan.shipments:
        subject = f"shipment {line_key(shipment.order, shipment.line)}"
        if (shipment.order, shipment.line) not in frame.lines:
            yield subject, "is of no line in the data"
        if shipment.supply not in frame.supplies:
            yield subject, "is from no supply of the plan"
        if shipment.point not in frame.points:
            yield subject, "is from an unknown point"
        if shipment.part not in frame.parts or shipment.used not in frame.parts:
            yield subject, "is of an unknown part"
    for supply in plan.supplies:
        yield from _supply_names(frame, supply)


def _twice(what: str, keys: Iterable[str]) -> Iterator[Finding]:
    for key, count in Counter(keys).items():
        if count > 1:
            yield f"{what} {key}", f"is listed {count} times"


def _job_names(frame: Frame, job: PlannedJob, planned_builds: set[str]) -> Iterator[Finding]:
    subject = f"job {job.job}"
    if job.build not in planned_builds:
        yield subject, "is for no build of the plan"
    if job.part not in frame.parts:
        yield subject, "makes an unknown part"
    seen = {job.job}
    above: PlannedJob | None = job
    while above is not None and above.for_job is not None:
        if above.for_job not in frame.jobs:
            yield subject, f"is for job {above.for_job}, which the plan does not have"
            return
        if above.for_job in seen:
            yield subject, "is, in the end, for itself"
            return
        seen.add(above.for_job)
        above = frame.jobs[above.for_job]


def _supply_names(frame: Frame, supply: Supply) -> Iterator[Finding]:
    subject = f"supply {supply.supply}"
    if supply.part not in frame.parts or supply.point not in frame.points:
        yield subject, "is of an unknown part or at an unknown point"
    own = _TOLD_BY[supply.kind]
    for name in _TOLD:
        told = getattr(supply, name) is not None
        if told != (name in own):
            yield subject, f"of kind {supply.kind} {'tells' if told else 'lacks'} {name}"
    if supply.from_supply is not None and supply.from_supply not in frame.supplies:
        yield subject, f"moves {supply.from_supply}, which the plan does not have"
    if supply.job is not None and supply.job not in frame.jobs:
        yield subject, f"comes from job {supply.job}, which the plan does not have"


def builds(frame: Frame) -> Iterator[Finding]:
    """Firm builds and no others are planned, less those left out, as the data has them."""
    wanted = {build.build for build in frame.planned_builds()}
    planned = {row.build for row in frame.plan.builds}
    for missing in sorted(wanted - planned):
        yield f"build {missing}", "is firm and is not planned"
    for extra in sorted(planned - wanted):
        left_out = extra in frame.stranded_builds
        yield f"build {extra}", "is planned and left out" if left_out else "is not firm"
    for row in frame.plan.builds:
        build = frame.builds[row.build]
        for field in ("product", "point", "ordered", "promised"):
            if getattr(row, field) != getattr(build, field):
                yield f"build {row.build}", f"{field} is {getattr(build, field)} in the data"


def jobs(frame: Frame) -> Iterator[Finding]:
    """A build is one job of its product; a made need is one job, for just that need."""
    yields: defaultdict[str, int] = defaultdict(int)
    for peg in frame.plan.pegs:
        made_by = frame.supplies[peg.supply].job
        if made_by is not None:
            yields[made_by] += peg.quantity_milli
    roots = {job.job for job in frame.plan.jobs if job.for_job is None}
    for planned in frame.plan.builds:
        if planned.build not in roots:
            yield f"build {planned.build}", "has no job of its own"
    of_need: dict[tuple[str, int | None, str], str] = {}
    for job in frame.plan.jobs:
        subject = f"job {job.job}"
        if job.for_job is None:
            product = frame.builds[job.build].product
            if (job.job, job.part, job.quantity_milli) != (job.build, product, MILLI):
                yield subject, f"is not one {product} for build {job.build}"
            continue
        if frame.jobs[job.for_job].build != job.build:
            yield subject, "is for a job of another build"
        if not frame.parts[job.part].make:
            yield subject, f"makes {job.part}, which is not a make part"
        elif job.part not in frame.routings and job.part not in frame.bills:
            yield subject, f"makes {job.part}, which has neither bill nor routing"
        if yields[job.job] != job.quantity_milli:
            yield (
                subject,
                f"makes {number(job.quantity_milli)}, its need draws {number(yields[job.job])}",
            )
        other = of_need.setdefault((job.for_job, job.for_operation, job.part), job.job)
        if other != job.job:
            yield subject, f"is for the same need as job {other}"


def operations(frame: Frame) -> Iterator[Finding]:
    """A job has the operations of its routing, each at its work centre, at the build's point."""
    for job in frame.plan.jobs:
        steps = {step.operation: step for step in frame.routings.get(job.part, ())}
        gone = frame.done(job).gone
        planned = frame.operations.get(job.job, {})
        for missing in sorted(steps.keys() - gone - planned.keys()):
            yield f"operation {job.job} {missing}", "is not planned"
        for name, operation in planned.items():
            subject = f"operation {job.job} {name}"
            step = steps.get(name)
            if step is None:
                yield subject, f"is not in the routing of {job.part}"
            elif operation.work_centre != step.work_centre:
                yield subject, f"is done at {step.work_centre}, not {operation.work_centre}"
            elif frame.work_centres[step.work_centre].point != frame.builds[job.build].point:
                yield subject, f"is done at {step.work_centre}, which stands at another point"


def stranded(frame: Frame) -> Iterator[Finding]:
    """What is left out lacks a part that cannot come any more, whatever this plan leaves over."""
    for row in frame.plan.stranded:
        subject = f"{row.kind} {row.key}"
        if row.kind == BUILD:
            build = frame.builds.get(row.key)
            if build is None or build.status != FIRM:
                yield subject, "is left out and is no firm build"
                continue
            total = _gross_needs(frame, build)
            lacks = [
                part
                for part in row.parts
                if part in total and not _can_come(frame, part, total[part], build)
            ]
        elif row.kind == PARTS_ORDER:
            line = next((v for k, v in frame.lines.items() if line_key(*k) == row.key), None)
            if line is None:
                yield subject, "is left out and is no line of a parts order"
                continue
            if any(line_key(s.order, s.line) == row.key for s in frame.plan.shipments):
                yield subject, "is left out and shipped"
            can_ship = _can_ship(frame, line)
            lacks = [part for part in row.parts if part == line.part and not can_ship]
        else:
            yield subject, "is of no kind that can be left out"
            continue
        if not lacks:
            yield subject, f"is left out though {', '.join(row.parts) or 'nothing'} can come"


def _gross_needs(frame: Frame, build: Build) -> dict[str, int]:
    """All a build could still draw of each part if everything that can be made is made."""
    total: defaultdict[str, int] = defaultdict(int)
    own = PlannedJob(build.build, build.build, build.product, MILLI)
    stack = [(need[1], milli) for need, milli in frame.needs(own).items()]
    while stack:
        part, milli = stack.pop()
        total[part] += milli
        if frame.parts[part].make:
            below = frame.part_needs(part, milli, build.ordered)
            stack += [(need[1], needed) for need, needed in below.items()]
    return dict(total)


def _can_come(frame: Frame, part: str, milli: int, build: Build) -> bool:
    """Whether so much of a part, or of an alternate, can still be had where a build is made."""
    for called, used in [(part, part), *(k for k in frame.alternates if k[0] == part)]:
        wanted = frame.wanted(called, used, milli)
        if _on_hand(frame, used, wanted, _points_leading_to(frame, build.point)):
            return True
        steps = frame.routings.get(used, [])
        if (
            frame.parts[used].make
            and (steps or used in frame.bills)
            and all(frame.work_centres[s.work_centre].point == build.point for s in steps)
            and all(
                _can_come(frame, component, needed, build)
                for (_, component), needed in frame.part_needs(used, wanted, build.ordered).items()
            )
        ):
            return True
    return False


def _can_ship(frame: Frame, line: PartsOrder) -> bool:
    """Whether a line of a parts order, or an alternate for it, can still be had where it may ship
    from: at one point, or at all of them together where it may be split."""
    places = [
        _points_leading_to(frame, point)
        for point in frame.points
        if frame.delivery(point, line.destination) is not None
    ]
    if line.split:
        places = [{point for place in places for point in place}]
    choices = [line.part, *(other for part, other in frame.alternates if part == line.part)]
    return any(
        _on_hand(frame, used, frame.wanted(line.part, used, line.quantity_milli), near)
        for used in choices
        for near in places
    )


def _on_hand(frame: Frame, part: str, milli: int, near: set[str]) -> bool:
    """Whether a source, or what the plan leaves of stock and purchases, covers a quantity."""
    sources = [s for s in frame.dataset.sources if s.part == part and s.point in near]
    if any(_can_order(frame, source) for source in sources):
        return True
    left = sum(
        max(0, row.quantity_milli - row.held_milli)
        for row in frame.dataset.stock
        if row.part == part and row.point in near
    )
    left += sum(
        row.quantity_milli
        for row in frame.dataset.purchases
        if row.part == part and row.point in near
    )
    left -= sum(
        frame.drawn.get(supply.supply, 0)
        for supply in frame.plan.supplies
        if supply.part == part
        and supply.point in near
        and supply.kind in (SupplyKind.STOCK, SupplyKind.PURCHASE)
    )
    return left >= milli


def _can_order(frame: Frame, source: Source) -> bool:
    """Whether some order of a source fits its cap and arrives within the horizon."""
    lead_days = max(0, source.lead_days - (source.expedite_days or 0))
    waits = frame.ordering_from - frame.terms.as_of
    if waits.days + lead_days > frame.terms.horizon_days:
        return False
    cap = source.monthly_cap_milli
    if cap is None:
        return True
    if source.multiple_milli:
        cap -= cap % source.multiple_milli
    return cap > 0 and cap >= source.minimum_milli


def _points_leading_to(frame: Frame, point: str) -> set[str]:
    """The points from which lanes lead to a point, itself included."""
    found, new = {point}, [point]
    while new:
        here = new.pop()
        for origin, destination in frame.lanes:
            if destination == here and origin not in found:
                found.add(origin)
                new.append(origin)
    return found
