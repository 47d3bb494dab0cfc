"""The stories of the demo, judged on a plan: every one of them shows, in what commands answer.

What must hold in any good plan is in test_demo_stories.py, with its arithmetic; here one plan is
made and looked at through the documents that the commands print, so the rendering is judged too.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from datetime import date, timedelta
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from demo_scenario import AS_OF, PLANT, STORY, demo, find, firm, promised_day
from fulfil_models.audit import audit
from fulfil_models.document import to_document
from fulfil_models.settings import parse_settings
from typer.testing import CliRunner

from fulfil.app import app
from fulfil.store import open_store

pytestmark = pytest.mark.slow

Document = dict[str, Any]
Ask = Callable[[str], Document]

CYLINDERS = date(2026, 9, 21)
"""when the past-due cylinders are counted on: the planning date and 7 days"""
ENGINES = "2026-10-19"
"""when the second delivery of the short diesel engine is due"""


@pytest.fixture(scope="module")
def database(demo_db: Path, tmp_path_factory: pytest.TempPathFactory) -> str:
    """A copy of the planned demo of its own."""
    folder = tmp_path_factory.mktemp("demo")
    for file in demo_db.parent.glob("demo.db*"):
        shutil.copy(file, folder)
    return str(folder / demo_db.name)


@pytest.fixture(scope="module")
def plan(database: str) -> Document:
    """The plan document of the stored plan."""
    with open_store(database) as store:
        stored = store.plan()
        return to_document(stored.plan, number=stored.header.number)


@pytest.fixture(scope="module")
def ask(database: str) -> Ask:
    """Asks the program with --json; an answer is kept, the database does not change."""

    @cache
    def answer(words: str) -> Document:
        result = CliRunner().invoke(app, ["--db", database, *words.split(), "--json"])
        assert result.exit_code == 0, result.stderr
        document: Document = json.loads(result.stdout)
        return document

    return answer


def build_of(plan: Document, build: str) -> Document:
    (row,) = (row for row in plan["builds"] if row["build"] == build)
    return dict(row)


def late_builds(plan: Document) -> set[str]:
    """Builds that miss their promise; those without one count minutes, too, but miss nothing."""
    return {row["build"] for row in plan["builds"] if row["promised"] and row["late_minutes"] > 0}


def is_late(plan: Document, build: str) -> bool:
    return build in late_builds(plan)


def blockers_of(plan: Document, build: str) -> list[tuple[str, str]]:
    return [(row["kind"], row["what"]) for row in build_of(plan, build)["blockers"]]


def pegs_of(plan: Document, build: str, part: str) -> list[Document]:
    """What fills a build's needs of a part, in any of its jobs."""
    jobs = {job["job"] for job in plan["jobs"] if job["build"] == build}
    return [peg for peg in plan["pegs"] if peg["job"] in jobs and peg["part"] == part]


def supply_of(plan: Document, row: Document) -> Document:
    (supply,) = (supply for supply in plan["supplies"] if supply["supply"] == row["supply"])
    return dict(supply)


# ---- the plan as a whole


def test_the_checker_finds_nothing_in_it(database: str, ask: Ask) -> None:
    with open_store(database) as store:
        dataset, plan = store.dataset(), store.plan().plan
    assert audit(dataset, parse_settings(dataset.settings, AS_OF), plan) == ()
    assert ask("audit")["good"]


def test_all_that_is_on_order_is_planned_and_nothing_else(plan: Document) -> None:
    assert plan["as_of"] == AS_OF.isoformat()
    assert plan["status"] in ("feasible", "optimal")
    assert plan["stranded"] == []
    assert sorted(row["build"] for row in plan["builds"]) == sorted(row.build for row in firm())
    shipped = {(row["order"], row["line"]) for row in plan["shipments"]}
    assert shipped == {(row.order, row.line) for row in demo().parts_orders}


def test_most_builds_ship_in_time_and_some_cannot(plan: Document) -> None:
    """Of 50 promised builds five are late in any plan: three whose promise has passed, B-2107 for
    its cylinder and one for the test bay. What engines make late, another may be late for too."""
    promised = [row.build for row in firm() if row.promised]
    assert len(promised) == 50
    passed = {build for build in promised if promised_day(find(build)) < AS_OF}
    assert len(passed) == 3
    assert passed.isdisjoint({"B-2107", *STORY["waits for the test bay"].builds})
    late = late_builds(plan)
    assert passed < late < set(promised)
    in_time = len(promised) - len(late)
    assert 30 <= in_time <= 50 - 3 - 1 - 1


def test_the_bound_is_below_the_cost_and_the_cost_is_its_kinds(plan: Document) -> None:
    costs = dict(plan["objective"])
    total = costs.pop("total")
    assert total == pytest.approx(sum(costs.values()))
    assert 0 < plan["bound"] <= total
    assert plan["gap"] == pytest.approx((total - plan["bound"]) / total)
    assert plan["gap"] < 0.5


def test_everybody_sees_the_same_dates(plan: Document, ask: Ask) -> None:
    listed = {row["build"]: row["ships"] for row in ask("builds")["builds"]}
    assert listed == {row["build"]: row["ships"] for row in plan["builds"]}
    late = {row["build"] for row in ask("builds --late")["builds"]}
    assert late == late_builds(plan)
    assert ask("builds")["late"] == len(late)
    for build in sorted(late):
        assert ask(f"build {build}")["build"]["ships"] == listed[build]


# ---- the stories


def test_late_for_an_engine(plan: Document, ask: Ask) -> None:
    story, part = STORY["late for an engine"], "ENG-014D"
    waiting = []
    for build in story.builds:
        (peg,) = pegs_of(plan, build, part)
        assert peg["used"] == part  # no alternate is approved
        if peg["usable"] >= ENGINES:
            waiting.append(build)
            assert is_late(plan, build)
            assert ("part", part) in blockers_of(plan, build)
    spare = [row for row in plan["shipments"] if row["order"] == story.order]
    assert [row["part"] for row in spare] == [part]
    assert len(waiting) + (spare[0]["ships"] >= ENGINES) >= story.least
    shortage = ask(f"shortages {part}")["shortage"]
    assert {row["who"] for row in shortage["waiting"]} >= set(waiting)
    assert {row["order"]: row["confirmed"] for row in shortage["on_order"]} == {
        row.order: row.confirmed for row in demo().purchases if row.part == part
    }


@pytest.mark.parametrize(
    ("build", "needs", "hp"),
    [
        # 15 gpm x 580 psi / 1714 / 0.85 = 5.97 hp; 120 gpm x 45 psi / 1714 / 0.55 = 5.73 hp
        (*STORY["saved by an alternate"].builds, "needs PMP-D15", 5.97),
        ("B-2125", "needs PMP-C2", 5.73),
    ],
)
def test_saved_by_an_alternate(build: str, needs: str, hp: float, plan: Document, ask: Ask) -> None:
    (peg,) = pegs_of(plan, build, "ENG-008G")
    assert (peg["used"], peg["point"]) == ("ENG-013G", PLANT)
    assert not is_late(plan, build)
    (fit,) = ask(f"build {build}")["build"]["fit_checks"]
    assert (fit["called"], fit["used"]) == ("ENG-008G", "ENG-013G")
    (power,) = (line for line in fit["lines"] if line["how"].startswith(needs))
    assert (round(power["wanted"], 2), power["there"], power["verdict"]) == (hp, 13, "fits")


def test_saved_by_a_transfer(plan: Document, ask: Ask) -> None:
    (build,) = STORY["saved by a transfer"].builds
    (peg,) = pegs_of(plan, build, "VOL-6")
    move = supply_of(plan, peg)
    assert (move["kind"], move["origin"], move["point"]) == ("transfer", "TULSA", PLANT)
    leaves, arrives = (date.fromisoformat(move[key]) for key in ("leaves_on", "arrives_on"))
    assert leaves.strftime("%a") in ("Tue", "Fri")
    assert arrives - leaves == timedelta(days=3)
    assert supply_of(plan, {"supply": move["from_supply"]})["kind"] == "stock"
    assert not is_late(plan, build)
    listed = [row for row in ask("transfers")["transfers"] if row["part"] == "VOL-6"]
    assert [(row["leaves_on"], row["for_whom"][0]["who"]) for row in listed] == [
        (move["leaves_on"], build)
    ]


def test_waits_for_the_test_bay(plan: Document) -> None:
    """The one that is tested last is late, and the bay is named as what one of them waits for."""
    story = STORY["waits for the test bay"]
    tests = {row["job"]: row for row in plan["operations"] if row["operation"] == 50}
    assert {tests[build]["work_centre"] for build in story.builds} == {"TEST"}
    last = max(story.builds, key=lambda build: str(tests[build]["end"]))
    assert tests[last]["end"] >= "2026-10-07"
    assert is_late(plan, last)
    named = [
        (row["kind"], row["what"])
        for build in story.builds
        if is_late(plan, build)
        for row in [*build_of(plan, build)["reasons"], *build_of(plan, build)["blockers"]]
    ]
    assert ("work_centre", "TEST") in named
    # both stations at once: no two of the three overlap
    spans = sorted((tests[build]["start"], tests[build]["end"]) for build in story.builds)
    assert all(end <= start for (_, end), (start, _) in pairwise(spans))


def test_past_due_purchase_hurts(plan: Document) -> None:
    story, part = STORY["past-due purchase"], "CYL-MAST"
    orders = {(row.order, row.line): row for row in demo().purchases}
    assert story.builds
    for build in story.builds:
        (peg,) = pegs_of(plan, build, part)
        supply = supply_of(plan, peg)
        order = orders[supply["order"], supply["line"]]
        assert order.due < AS_OF
        assert peg["usable"] == f"{CYLINDERS.isoformat()}T06:00"
        assert is_late(plan, build)
        assert ("part", part) in blockers_of(plan, build)
        assert any(order.order in note for note in plan["notes"])


def test_ordered_in_time(plan: Document) -> None:
    story, part = STORY["ordered in time"], "ATS-200"
    assert story.builds
    for build in story.builds:
        (peg,) = pegs_of(plan, build, part)
        order = supply_of(plan, peg)
        assert order["kind"] == "new_purchase"
        assert "2026-09-14" <= order["place_on"] <= "2026-09-21"
        assert not is_late(plan, build)


def test_waiting_with_orders_makes_late_and_orders_mend_it(database: str, tmp_path: Path) -> None:
    """The plan that waits three weeks, what is to be ordered by now, and the same plan again."""
    story = STORY["ordered in time"]
    for file in Path(database).parent.glob("demo.db*"):
        shutil.copy(file, tmp_path)

    def run(words: str) -> Document:
        address = str(tmp_path / "demo.db")
        result = CliRunner().invoke(app, ["--db", address, *words.split(), "--json"])
        assert result.exit_code == 0, result.stderr
        document: Document = json.loads(result.stdout)
        return document

    waiting = "plan --seconds 2 --orders-from 2026-10-05"
    before = run(waiting)
    assert before["orders_from"] == "2026-10-05"
    soonest = {"B-2148": "2026-11-25", "B-2138": "2026-11-30"}
    assert set(story.builds) == set(soonest)
    for build, day in soonest.items():
        assert build_of(before, build)["ships"] >= day
        assert ("part", story.part) in blockers_of(before, build)
    bought = run("buy --plan 1 --accept")
    assert story.part in {row["part"] for row in bought["lines"] if row["place_on"] <= "2026-09-21"}
    after = run(waiting)
    # late by 4,440 and 4,050 minutes at the least before; after, by what a short search leaves
    for build in story.builds:
        late = [build_of(made, build)["late_minutes"] for made in (before, after)]
        assert late[0] >= 4050
        assert late[1] <= 480, build
        assert build_of(after, build)["ships"] < "2026-11-18"
    assert before["weighted_late_minutes"] > after["weighted_late_minutes"]


def test_parts_order_is_split(plan: Document, ask: Ask) -> None:
    story = STORY["parts order split"]
    parcels = [row for row in plan["shipments"] if row["order"] == story.order]
    assert sum(row["quantity"] for row in parcels) == 12
    assert {row["point"] for row in parcels} == {"TULSA", "COLUMBUS"}
    # three carrier days after Friday 11 September are Wednesday 16 September
    assert all(row["arrives"] <= "2026-09-16" and row["late_days"] == 0 for row in parcels)
    (line,) = (row for row in ask("orders")["lines"] if row["order"] == story.order)
    assert {row["point"] for row in line["parcels"]} == {"TULSA", "COLUMBUS"}


def test_an_order_that_may_not_be_split_waits_for_a_purchase(plan: Document) -> None:
    parcels = [row for row in plan["shipments"] if (row["order"], row["line"]) == ("S-7305", "1")]
    assert {row["point"] for row in parcels} == {"SPARKS"}
    assert {row["ships"] for row in parcels} == {"2026-09-23"}
    assert "purchase" in {supply_of(plan, row)["kind"] for row in parcels}
    assert max(row["late_days"] for row in parcels) > 0
