"""Plans in the store: their numbers, headers and parts, and the data they belong to."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction

import pytest
import sqlalchemy as sa
from fulfil_models.plan import Plan, PlannedBuild, Status
from fulfil_models.tables import Dataset

from fulfil.store import StaleData, StoreError, plan_parts
from fulfil.store.plan_rows import BLOCKERS, PARTS, REASONS
from fulfil.store.session import Store

MakePlan = Callable[..., Plan]
MakeDataset = Callable[..., Dataset]


@pytest.fixture
def input_hash(store: Store, make_dataset: MakeDataset) -> str:
    return store.replace_dataset(make_dataset()).data_hash


def save(store: Store, plan: Plan, input_hash: str) -> int:
    return store.save_plan(plan, input_hash=input_hash, options={}, seconds=1.5, versions={})


def test_comes_back_as_it_went_in(store: Store, input_hash: str, make_plan: MakePlan) -> None:
    plan = make_plan()
    before = datetime.now(UTC)
    number = store.save_plan(
        plan,
        input_hash=input_hash,
        options={"seed": 7, "best": False, "note": "Ü"},
        seconds=59.75,
        versions={"ortools": "9.15"},
    )
    stored = store.plan(number)
    assert stored.plan == plan
    header = stored.header
    assert header.number == number
    assert before <= header.created <= datetime.now(UTC)
    assert (header.as_of, header.status) == (date(2026, 3, 2), Status.FEASIBLE)
    # 1/3 + 5 + 7/9 = 3/9 + 45/9 + 7/9 = 55/9, exactly
    assert header.objective.total == Fraction(55, 9)
    assert header.bound == Fraction(1, 7)
    # (55/9 - 1/7) / (55/9) = (385 - 9)/63 * 9/55 = 376/385
    assert header.gap == Fraction(376, 385)
    assert header.weighted_late_minutes == Fraction(22, 7)
    assert header.options == {"seed": 7, "best": False, "note": "Ü"}
    assert header.versions == {"ortools": "9.15"}
    assert (header.seconds, header.input_hash, header.accepted) == (59.75, input_hash, None)
    # 3 builds, of which the third has no promise to miss
    assert (header.builds, header.late) == (3, 2)


def test_a_plan_without_parts(store: Store, input_hash: str, make_plan: MakePlan) -> None:
    empty = {field.name: () for field in dataclasses.fields(Plan) if field.default == ()}
    plan = dataclasses.replace(make_plan(), **empty)
    stored = store.plan(save(store, plan, input_hash))
    assert stored.plan == plan
    assert (stored.header.builds, stored.header.late) == (0, 0)


def test_the_newest_plan_is_meant_where_none_is_named(
    store: Store, input_hash: str, make_plan: MakePlan
) -> None:
    first, second = make_plan(), make_plan(builds=2, total=Fraction(9))
    assert [save(store, plan, input_hash) for plan in (first, second)] == [1, 2]
    assert store.plan().plan == second
    assert store.plan_header().number == 2
    assert store.plan(1).plan == first
    assert store.planned_builds() == second.builds
    assert store.planned_builds(1) == first.builds
    assert [header.number for header in store.plan_headers()] == [2, 1]
    assert [header.builds for header in store.plan_headers()] == [2, 3]


def test_a_number_is_never_used_twice(store: Store, input_hash: str, make_plan: MakePlan) -> None:
    assert [save(store, make_plan(), input_hash) for _ in range(2)] == [1, 2]
    with store.writing() as connection:
        connection.execute(sa.text("DELETE FROM plans WHERE number = 2"))
        left = connection.scalars(sa.text("SELECT DISTINCT plan FROM plan_operations")).all()
    assert left == [1]  # a plan's parts go with it
    assert save(store, make_plan(), input_hash) == 3


@pytest.mark.parametrize(
    "ask",
    [
        lambda store, number: store.plan(number),
        lambda store, number: store.plan_header(number),
        lambda store, number: store.planned_builds(number),
        lambda store, number: store.plan_jobs(number),
        lambda store, number: store.plan_operations(number),
        lambda store, number: store.plan_pegs(number),
        lambda store, number: store.plan_supplies(number),
    ],
)
def test_a_plan_that_does_not_exist(
    store: Store, input_hash: str, make_plan: MakePlan, ask: Callable[[Store, int | None], object]
) -> None:
    with pytest.raises(StoreError) as none_yet:
        ask(store, None)
    assert (none_yet.value.wrong, none_yet.value.remedy) == (
        "there is no plan yet",
        "run: fulfil plan",
    )
    save(store, make_plan(), input_hash)
    with pytest.raises(StoreError) as not_that:
        ask(store, 7)
    assert not_that.value.wrong == "there is no plan 7"
    assert store.plan_headers()[0].number == 1


def test_a_plan_of_data_that_were_replaced_is_refused(
    store: Store, input_hash: str, make_plan: MakePlan, make_dataset: MakeDataset
) -> None:
    store.replace_dataset(make_dataset(customer="B"))
    with pytest.raises(StaleData) as raised:
        save(store, make_plan(), input_hash)
    assert raised.value.remedy == "run: fulfil plan"
    assert store.plan_headers() == []
    store.replace_dataset(make_dataset())  # the data it was made from are back
    assert save(store, make_plan(), input_hash) == 1


def test_a_plan_is_refused_where_no_data_were_ever_loaded(
    store: Store, make_plan: MakePlan
) -> None:
    with pytest.raises(StaleData):
        save(store, make_plan(), "0" * 64)


def test_a_plan_that_contradicts_itself_is_refused_whole(
    store: Store, input_hash: str, make_plan: MakePlan
) -> None:
    plan = make_plan()
    twice = dataclasses.replace(plan, supplies=plan.supplies * 2)
    with pytest.raises(StoreError, match="contradict each other"):
        save(store, twice, input_hash)
    assert store.plan_headers() == []
    with store.reading() as connection:
        for part in (*PARTS.values(), REASONS, BLOCKERS):
            count = sa.select(sa.func.count()).select_from(part.table)
            assert connection.scalar(count) == 0


def test_plans_outlive_the_data_they_were_made_from(
    store: Store, input_hash: str, make_plan: MakePlan, make_dataset: MakeDataset
) -> None:
    save(store, make_plan(), input_hash)
    store.replace_dataset(make_dataset(builds=1))
    assert store.plan().plan == make_plan()
    assert store.plan_header().input_hash == input_hash != store.data_hash()


def test_the_last_plan_accepted_counts(store: Store, input_hash: str, make_plan: MakePlan) -> None:
    for _ in range(3):
        save(store, make_plan(), input_hash)
    assert store.accepted_header() is None
    for number in (2, 3, 1):
        store.accept_plan(number)
        accepted = store.accepted_header()
        assert accepted is not None
        assert accepted.number == number
        assert accepted.accepted is not None
        assert datetime.now(UTC) - accepted.accepted < timedelta(minutes=1)
    with pytest.raises(StoreError, match="there is no plan 4"):
        store.accept_plan(4)


class TestParts:
    """What a question reads is what sifting the whole plan by hand gives."""

    @pytest.fixture
    def plan(self, store: Store, input_hash: str, make_plan: MakePlan) -> Plan:
        plan = make_plan(builds=7)
        save(store, make_plan(builds=2), input_hash)  # another plan's rows are never read
        save(store, plan, input_hash)
        return plan

    def test_builds_by_name_come_in_the_order_of_the_plan(self, store: Store, plan: Plan) -> None:
        found = store.planned_builds(builds=["B0004", "B0001", "B0004", "nobody"])
        assert found == (plan.builds[1], plan.builds[4])
        assert [len(build.reasons) for build in found] == [2, 2]
        assert [len(build.blockers) for build in found] == [1, 1]
        assert store.planned_builds(builds=[]) == ()

    def test_late_builds_are_counted(self, store: Store, plan: Plan) -> None:
        # of 7 each third has no promise: 0 1 - 3 4 - 6
        late = [build for build in plan.builds if build.promised and build.late_minutes]
        assert len(late) == 5
        assert store.plan_header().late == 5

    def test_without_a_promise_a_build_is_never_late(
        self, store: Store, input_hash: str, make_plan: MakePlan
    ) -> None:
        def waiting(build: PlannedBuild) -> PlannedBuild:
            return dataclasses.replace(build, promised=None, late_minutes=600)

        plan = make_plan()
        plan = dataclasses.replace(plan, builds=tuple(map(waiting, plan.builds)))
        save(store, plan, input_hash)
        assert store.plan_header().late == 0

    def test_jobs(self, store: Store, plan: Plan) -> None:
        of_two = store.plan_jobs(builds=["B0002", "B0000"])
        assert [job.job for job in of_two] == ["B0000", "B0002", "B0000/FRAME", "B0002/FRAME"]
        assert store.plan_jobs() == plan.jobs

    def test_operations(self, store: Store, plan: Plan) -> None:
        of_one = store.plan_operations(builds=["B0003"])
        assert [(step.job, step.operation) for step in of_one] == [
            ("B0003", 20),
            ("B0003", 10),
            ("B0003/FRAME", 20),
            ("B0003/FRAME", 10),
        ]
        assert store.plan_operations() == plan.operations

    def test_pegs(self, store: Store, plan: Plan) -> None:
        of_one = store.plan_pegs(builds=["B0006"])
        assert of_one == (plan.pegs[6], plan.pegs[13])
        assert store.plan_pegs() == plan.pegs

    def test_supplies(self, store: Store, plan: Plan) -> None:
        found = store.plan_supplies(supplies=["T1", "PO1/1"])
        assert [supply.supply for supply in found] == ["PO1/1", "T1"]
        assert store.plan_supplies() == plan.supplies

    def test_more_names_than_one_statement_takes(
        self, store: Store, plan: Plan, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(plan_parts, "MOST_NAMES", 2)
        names = [build.build for build in reversed(plan.builds)]
        assert store.planned_builds(builds=names) == plan.builds
        assert store.plan_jobs(builds=names) == plan.jobs
        assert store.plan_operations(builds=names) == plan.operations
        assert store.plan_pegs(builds=names) == plan.pegs

    def test_one_question_uses_an_index(self, store: Store, plan: Plan) -> None:
        """The planner names what it looks up in the index: both the plan and the other column.

        PostgreSQL would rather read a table this small from end to end, so it may not.
        """
        with store.reading() as connection:
            on_server = connection.dialect.name == "postgresql"
            if on_server:
                connection.exec_driver_sql("SET LOCAL enable_seqscan = off")
            for table, column in (
                ("plan_operations", "work_centre"),
                ("plan_operations", "job"),
                ("plan_pegs", "part"),
                ("plan_pegs", "used"),
                ("plan_pegs", "job"),
                ("plan_blockers", "build"),
                ("plan_supplies", "part"),
            ):
                explain = "EXPLAIN" if on_server else "EXPLAIN QUERY PLAN"
                found = connection.exec_driver_sql(
                    f"{explain} SELECT * FROM {table} WHERE plan = 1 AND {column} = 'x'"
                )
                told = " ".join(str(row[-1]) for row in found)
                looked_up = f"(plan=? AND {column}=?)"
                if on_server:
                    looked_up = f"Index Cond: ((plan = 1) AND ({column} = 'x'::text))"
                assert looked_up in told
