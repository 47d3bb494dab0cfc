"""Small random order books, valid and tiny enough that everything in them can be tried.

A book is made by a seed and a `Shape`: which features it may have. Everything wanted can be had in
the end (each short part has a source at the assembling point), so nothing is ever left out.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from datetime import date, datetime, timedelta
from random import Random
from typing import Any

from fulfil_models.cells import MICRO, MILLI, PPM, WEEKDAYS
from fulfil_models.settings import Settings, parse_settings
from fulfil_models.tables import (
    Alternate,
    BillLine,
    Build,
    BuildOption,
    Calendar,
    Closure,
    Dataset,
    Delivery,
    Downtime,
    Lane,
    Part,
    PartsOrder,
    Point,
    Purchase,
    RoutingStep,
    Setting,
    Shift,
    Source,
    Stock,
    Supplier,
    WorkCentre,
)
from hypothesis import strategies as st

AS_OF = date(2026, 3, 2)
"""a Monday"""
POINTS = ("A", "B", "C")
"""builds are assembled at the first"""
SHORT = ("ENGINE", "PUMP")
PLENTY_MILLI = 10**9


@dataclass(frozen=True)
class Shape:
    """What a book may have: so many builds, points and, at most, operations of a machine."""

    builds: int = 3
    points: int = 2
    operations: int = 2
    lanes: bool = True
    alternates: bool = True
    purchases: bool = True
    caps: bool = True
    expedite: bool = True
    made: bool = True
    phantoms: bool = True
    downtime: bool = True
    stations: bool = True
    parts_orders: bool = True
    unpromised: bool = True
    calendars: bool = True
    options: bool = True
    waits: bool = True


PLAIN = Shape(**{f.name: False for f in fields(Shape) if isinstance(f.default, bool)})
"""builds that share short parts at one point, and nothing else"""


def random_book(seed: int, shape: Shape = Shape()) -> Dataset:
    """The book of a seed and a shape; the same two give the same book."""
    return _Book(Random(seed), shape).dataset()


def settings_of(dataset: Dataset) -> Settings:
    """The settings of a random book."""
    return parse_settings(dataset.settings, AS_OF)


def shapes(**fixed: Any) -> st.SearchStrategy[Shape]:
    """Shapes of few features first, so that a failing book shrinks to the simplest."""
    sizes = {"builds": st.integers(1, 3), "points": st.integers(1, 3), "operations": st.just(2)}
    free = {f.name: sizes.get(f.name, st.booleans()) for f in fields(Shape)}
    free.update({name: st.just(value) for name, value in fixed.items()})
    return st.builds(Shape, **free)


def books(**fixed: Any) -> st.SearchStrategy[Dataset]:
    """Random books; keywords fix fields of their `Shape`."""
    return st.builds(random_book, st.integers(0, 2**32 - 1), shapes(**fixed))


class _Book:
    def __init__(self, rng: Random, shape: Shape) -> None:
        self.rng = rng
        self.shape = shape
        self.points = POINTS[: shape.points]

    def dataset(self) -> Dataset:
        shape = self.shape
        dataset = Dataset(
            settings=(Setting(key="as_of", value=AS_OF.isoformat()),),
            points=tuple(Point(point=point) for point in self.points),
            suppliers=(Supplier(supplier="S"),),
        )
        dataset = self._with_work(dataset)
        dataset = self._with_parts(dataset)
        dataset = self._with_builds(dataset)
        for wanted, add in (
            (shape.calendars, self._with_calendar),
            (shape.downtime, self._with_downtime),
            (shape.lanes and len(self.points) > 1, self._with_lanes),
            (shape.alternates, self._with_alternate),
            (shape.purchases, self._with_purchases),
            (shape.parts_orders, self._with_order),
            (shape.options, self._with_option),
            (shape.waits, self._with_orders_from),
        ):
            if wanted:
                dataset = add(dataset)
        return dataset

    def _maybe(self, share: float = 0.5) -> bool:
        return self.rng.random() < share

    def _day(self, first: int, last: int) -> date:
        return AS_OF + timedelta(self.rng.randint(first, last))

    def _with_work(self, dataset: Dataset) -> Dataset:
        rng, stations = self.rng, self.shape.stations
        centres = tuple(
            WorkCentre(work_centre=name, point="A", stations=rng.choice((1, 2)) if stations else 1)
            for name in ("CELL", "TEST")
        )
        steps = []
        for part, most in (("MACHINE", self.shape.operations), ("FRAME", 1)):
            if part == "FRAME" and not self.shape.made:
                continue
            for number in range(1, rng.randint(1, most) + 1):
                centre = rng.choice(centres)
                steps.append(
                    RoutingStep(
                        part=part,
                        operation=number * 10,
                        work_centre=centre.work_centre,
                        minutes_milli=rng.choice((0, 60, 120, 240, 330, 480)) * MILLI,
                        setup_milli=rng.choice((0, 0, 30)) * MILLI,
                        stations=rng.randint(1, centre.stations),
                    )
                )
        return replace(dataset, work_centres=centres, routings=tuple(steps))

    def _with_parts(self, dataset: Dataset) -> Dataset:
        shape, rng = self.shape, self.rng
        last = max(s.operation for s in dataset.routings if s.part == "MACHINE")

        def line(parent: str, component: str, milli: int, **more: Any) -> BillLine:
            operation = rng.choice((None, last)) if parent == "MACHINE" else None
            return BillLine(
                parent=parent,
                component=component,
                quantity_milli=milli,
                operation=operation,
                **more,
            )

        parts = [Part(part="MACHINE", make=True), Part(part="BOLT", step_milli=500)]
        bills = [
            line("MACHINE", "ENGINE", MILLI),
            line("MACHINE", "BOLT", 2_300, scrap_ppm=rng.choice((0, 100_000))),
        ]
        stock = [Stock(point="A", part="BOLT", quantity_milli=PLENTY_MILLI)]
        pump_parent = rng.choice(["MACHINE"] + ["FRAME"] * shape.made + ["KIT"] * shape.phantoms)
        bills.append(line(pump_parent, "PUMP", MILLI))
        if shape.made:
            parts.append(Part(part="FRAME", make=True))
            bills.append(line("MACHINE", "FRAME", MILLI))
            if self._maybe(0.4):
                stock.append(Stock(point="A", part="FRAME", quantity_milli=MILLI))
        if shape.phantoms:
            parts.append(Part(part="KIT", make=True))
            bills += [line("MACHINE", "KIT", MILLI), line("KIT", "BOLT", 1_500)]
        sources = []
        for part in SHORT:
            parts.append(Part(part=part, weight_g=rng.choice((None, 50_000))))
            sources.append(self._source(part))
            for point in self.points:
                if self._maybe(0.4):
                    free, held = rng.randint(1, 2), rng.choice((0, 0, 1))
                    stock.append(
                        Stock(
                            point=point,
                            part=part,
                            quantity_milli=(free + held) * MILLI,
                            held_milli=held * MILLI,
                        )
                    )
        return replace(
            dataset,
            parts=tuple(parts),
            bills=tuple(bills),
            stock=tuple(stock),
            sources=tuple(sources),
        )

    def _source(self, part: str) -> Source:
        rng = self.rng
        source = Source(part=part, supplier="S", point="A", lead_days=rng.randint(4, 20))
        if self._maybe(0.3):
            source = replace(
                source, minimum_milli=2 * MILLI, multiple_milli=rng.choice((0, MILLI, 2 * MILLI))
            )
        if self.shape.caps and self._maybe():
            source = replace(source, monthly_cap_milli=rng.randint(2, 3) * MILLI)
        if self.shape.expedite and self._maybe():
            source = replace(
                source,
                expedite_days=rng.randint(2, 10),
                expedite_cost_micro=rng.choice((100, 900)) * MICRO,
            )
        return source

    def _with_builds(self, dataset: Dataset) -> Dataset:
        rng = self.rng
        builds = []
        for number in range(1, self.shape.builds + 1):
            promised: date | datetime | None = self._day(-3, 12)
            if self.shape.unpromised and self._maybe(0.2):
                promised = None
            elif self._maybe(0.2):
                moment = datetime.combine(self._day(0, 8), datetime.min.time())
                promised = moment + timedelta(hours=rng.randint(8, 15))
            builds.append(
                Build(
                    build=f"B{number}",
                    product="MACHINE",
                    point="A",
                    ordered=self._day(-40, -1),
                    promised=promised,
                    earliest=self._day(0, 6) if self._maybe(0.2) else None,
                    weight_ppm=rng.choice((500_000, PPM, PPM, 3 * PPM)),
                )
            )
        return replace(dataset, builds=tuple(builds))

    def _with_calendar(self, dataset: Dataset) -> Dataset:
        """Short days with a break, half a Saturday, a closed day and a cut-off at A."""
        spans = [(480, 720), (750, 900)]
        shifts = [
            Shift(calendar="shop", weekday=day, opens=opens, closes=closes)
            for day in WEEKDAYS[:5]
            for opens, closes in spans
        ]
        shifts.append(Shift(calendar="shop", weekday="Sat", opens=480, closes=600))
        point = Point(point="A", calendar="shop", cutoff=self.rng.choice((None, 660, 840)))
        return replace(
            dataset,
            points=(point, *dataset.points[1:]),
            calendars=(Calendar(calendar="shop"),),
            shifts=tuple(shifts),
            closures=(Closure(calendar="shop", day=self._day(1, 5)),),
        )

    def _with_downtime(self, dataset: Dataset) -> Dataset:
        starts = datetime.combine(self._day(0, 3), datetime.min.time()) + timedelta(hours=9)
        return replace(
            dataset,
            downtime=(
                Downtime(
                    work_centre=self.rng.choice(("CELL", "TEST")),
                    starts=starts,
                    ends=starts + timedelta(hours=self.rng.choice((2, 30))),
                    stations=1,
                ),
            ),
        )

    def _with_lanes(self, dataset: Dataset) -> Dataset:
        rng = self.rng
        pairs = [(point, "A") for point in self.points[1:]]
        if len(self.points) > 2:
            pairs.append(("C", "B"))
        return replace(
            dataset,
            lanes=tuple(
                Lane(
                    origin=origin,
                    destination=destination,
                    days=rng.randint(1, 4),
                    weekdays=rng.choice(((), ("Tue",), ("Mon", "Thu"))),
                    cost_per_move_micro=rng.choice((0, 150, 700)) * MICRO,
                    cost_per_kg_micro=rng.choice((0, 1, 4)) * MICRO,
                )
                for origin, destination in pairs
                if self._maybe(0.8)
            ),
        )

    def _with_alternate(self, dataset: Dataset) -> Dataset:
        ratio = self.rng.choice((1, 2))
        return replace(
            dataset,
            parts=(*dataset.parts, Part(part="ENGINE2")),
            alternates=(
                Alternate(
                    part="ENGINE",
                    alternate="ENGINE2",
                    ratio_ppm=ratio * PPM,
                    extra_cost_micro=self.rng.choice((0, 200, 1200)) * MICRO,
                    approved=self._maybe(0.8),
                ),
            ),
            stock=(
                *dataset.stock,
                Stock(point="A", part="ENGINE2", quantity_milli=self.rng.randint(1, 2) * MILLI),
            ),
        )

    def _with_purchases(self, dataset: Dataset) -> Dataset:
        return replace(
            dataset,
            purchases=tuple(
                Purchase(
                    order=f"P{number}",
                    line="1",
                    part=self.rng.choice(SHORT),
                    supplier="S",
                    point=self.rng.choice(self.points),
                    quantity_milli=MILLI,
                    ordered=self._day(-60, -30),
                    due=self._day(-5, 14),
                )
                for number in range(1, self.rng.randint(1, 2) + 1)
            ),
        )

    def _with_order(self, dataset: Dataset) -> Dataset:
        """One line for a short part; a delivery costs by departure only where there is no lane."""
        rng = self.rng
        promised, within_days = rng.choice(
            ((None, None), (self._day(-2, 8), None), (None, rng.randint(3, 40)))
        )
        by_move = 0 if dataset.lanes else 40
        return replace(
            dataset,
            parts_orders=(
                PartsOrder(
                    order="O1",
                    line="1",
                    part=rng.choice(SHORT),
                    quantity_milli=rng.randint(1, 2) * MILLI,
                    ordered=self._day(-20, -1),
                    destination="US-NV",
                    promised=promised,
                    within_days=within_days,
                    weight_ppm=rng.choice((300_000, PPM)),
                    split=self._maybe(0.7),
                ),
            ),
            deliveries=tuple(
                Delivery(
                    point=point,
                    destination="US",
                    days=rng.randint(1, 3),
                    cost_micro=rng.choice((0, by_move)) * MICRO,
                    cost_per_kg_micro=rng.choice((0, 2)) * MICRO,
                )
                for point in self.points
            ),
        )

    def _with_option(self, dataset: Dataset) -> Dataset:
        """The first build has one more pump, or none at all, or more bolts."""
        component, milli = self.rng.choice(
            (("PUMP", MILLI), ("PUMP", -MILLI), ("BOLT", 4 * MILLI), ("ENGINE", -MILLI))
        )
        option = BuildOption(build="B1", component=component, quantity_milli=milli)
        here = {line.component for line in dataset.bills if line.parent == "MACHINE"}
        if milli < 0 and component not in here:
            return dataset  # nothing to take away from
        return replace(dataset, build_options=(option,))

    def _with_orders_from(self, dataset: Dataset) -> Dataset:
        """In some books new purchases wait; now and then the day is one that is over."""
        if not self._maybe():
            return dataset
        row = Setting(key="orders_from", value=self._day(-2, 12).isoformat())
        return replace(dataset, settings=(*dataset.settings, row))
