"""The plan document: its form, and that nothing it carries is lost."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime
from fractions import Fraction
from typing import Any

import pytest
from audited_shop import PLAN, march
from fulfil_models.document import DocumentError, from_document, quantity_number, to_document
from fulfil_models.plan import (
    Blocker,
    BlockerKind,
    Objective,
    Plan,
    Reason,
    Status,
    Stranded,
)
from hypothesis import given
from hypothesis import strategies as st

TOLD = replace(
    PLAN,
    builds=(
        replace(
            PLAN.builds[0],
            promised=datetime(2026, 6, 30, 9, 30),
            blockers=(
                Blocker(
                    BlockerKind.PART,
                    "ENGINE",
                    march(9),
                    31,
                    "waits for P1",
                    supply="late engine",
                    ahead=("B2", "B3"),
                ),
                Blocker(BlockerKind.WORK, "B1", None, 0, "the work itself"),
            ),
            reasons=(
                Reason("B1", 20, BlockerKind.WORK_CENTRE, "TEST", march(2, "11:00"), "queue"),
                Reason("B1/KIT", None, BlockerKind.WORK, "B1/KIT", march(2), "from the start"),
            ),
        ),
        *PLAN.builds[1:],
    ),
    stranded=(Stranded("build", "B9", ("GHOST", "SPOOK")),),
    notes=("P1 is past due and counted on 2026-03-09",),
)


def test_the_top_of_the_document() -> None:
    document = to_document(PLAN, number=7, seconds=1.5)
    top = {key: value for key, value in document.items() if not isinstance(value, list)}
    # gap: (240 - 50) / 240
    assert top == {
        "format": 1,
        "plan": 7,
        "as_of": "2026-03-02",
        "status": "feasible",
        "objective": {
            "total": 240.0,
            "lateness": 1.0,
            "transfers": 150.0,
            "alternates": 20.0,
            "expediting": 60.0,
            "deliveries": 9.0,
        },
        "bound": 50.0,
        "gap": 190 / 240,
        "weighted_late_minutes": 0.48,
        "seconds": 1.5,
    }


def test_rows_of_the_document() -> None:
    document = to_document(TOLD)
    build = document["builds"][0]
    assert build["promised"] == "2026-06-30T09:30"
    assert document["builds"][1]["promised"] == "2026-06-30"
    assert document["builds"][4]["promised"] is None
    assert (build["finish"], build["ships"]) == ("2026-03-02T12:00", "2026-03-02")
    assert build["blockers"] == [
        {
            "kind": "part",
            "what": "ENGINE",
            "until": "2026-03-09T08:00",
            "days": 31,
            "why": "waits for P1",
            "supply": "late engine",
            "ahead": ["B2", "B3"],
        },
        {
            "kind": "work",
            "what": "B1",
            "until": None,
            "days": 0,
            "why": "the work itself",
            "supply": None,
            "ahead": [],
        },
    ]
    assert document["jobs"][:2] == [
        {
            "job": "B1",
            "build": "B1",
            "part": "MACHINE",
            "quantity": 1,
            "for_job": None,
            "for_operation": None,
        },
        {
            "job": "B1/FRAME",
            "build": "B1",
            "part": "FRAME",
            "quantity": 1,
            "for_job": "B1",
            "for_operation": 10,
        },
    ]
    assert document["operations"][0] == {
        "job": "B1/FRAME",
        "operation": 10,
        "work_centre": "WELD",
        "start": "2026-03-02T08:00",
        "end": "2026-03-02T09:00",
    }
    assert document["pegs"][1] == {
        "job": "B1/KIT",
        "operation": None,
        "part": "BOLT",
        "used": "BOLT",
        "quantity": 4,
        "supply": "shelf bolt",
        "point": "A",
        "usable": "2026-03-02T08:00",
    }
    assert document["shipments"][1] == {
        "order": "O1",
        "line": "1",
        "part": "BOLT",
        "used": "BOLT",
        "quantity": 3,
        "supply": "far bolt",
        "point": "Z",
        "ships": "2026-03-02",
        "arrives": "2026-03-03",
        "late_days": 0,
    }
    assert document["stranded"] == [{"kind": "build", "key": "B9", "parts": ["GHOST", "SPOOK"]}]


def test_a_supply_tells_what_belongs_to_its_kind() -> None:
    supplies = {row["supply"]: row for row in to_document(PLAN)["supplies"]}
    common = {"supply", "kind", "part", "point", "quantity", "usable"}
    own = {name: set(row) - common for name, row in supplies.items()}
    assert own["shelf bolt"] == set()
    assert own["late engine"] == {"order", "line"}
    assert own["new engines"] == {"supplier", "place_on", "arrives_on", "expedited"}
    assert own["moved engine"] == {"origin", "from_supply", "leaves_on", "arrives_on"}
    assert own["B1/KIT"] == {"job"}
    assert supplies["new engines"]["expedited"] is True
    assert supplies["moved engine"]["leaves_on"] == "2026-03-03"


@pytest.mark.parametrize(("milli", "number"), [(2_000, 2), (2_750, 2.75), (1, 0.001), (0, 0)])
def test_quantities_are_whole_where_they_can_be(milli: int, number: float) -> None:
    written = quantity_number(milli)
    assert written == number
    assert isinstance(written, int) == (milli % 1000 == 0)


def test_reading_gives_back_the_plan() -> None:
    assert from_document(json.loads(json.dumps(to_document(TOLD)))) == TOLD


amounts = st.fractions(min_value=0, max_value=10**9)


@given(
    st.lists(amounts, min_size=5, max_size=5),
    st.fractions(min_value=0, max_value=1),
    st.integers(min_value=0, max_value=10**12),
)
def test_a_document_read_and_written_is_the_same(
    kinds: list[Fraction], share: Fraction, milli: int
) -> None:
    objective = Objective(*kinds)
    supply = replace(PLAN.supplies[0], quantity_milli=milli)
    plan = replace(
        PLAN,
        objective=objective,
        bound=objective.total * share,
        weighted_late_minutes=kinds[0],
        supplies=(supply,),
    )
    document = json.loads(json.dumps(to_document(plan)))
    again = from_document(document)
    assert to_document(again) == document
    assert again.supplies[0].quantity_milli == milli
    for kind, amount in zip(("lateness", "deliveries"), (kinds[0], kinds[4]), strict=True):
        assert abs(getattr(again.objective, kind) - amount) <= amount / 2**52


def _without(name: str) -> Callable[[dict[str, Any]], None]:
    return lambda document: document.pop(name)


def _row(table: str, **values: Any) -> Callable[[dict[str, Any]], None]:
    return lambda document: document[table][0].update(values)


@pytest.mark.parametrize(
    ("spoil", "wrong"),
    [
        (_without("format"), "format is None, not 1"),
        (_without("pegs"), "document has no pegs"),
        (_without("objective"), "document.objective is not an object"),
        (lambda d: d.update(pegs={}), "document: pegs is {}, not a list"),
        (lambda d: d.update(pegs=[3]), "pegs[0] is not an object"),
        (lambda d: d.update(status="late"), "document: status is 'late', not one of the known"),
        (lambda d: d.update(as_of="2026-02-30"), "document: as_of is '2026-02-30', not a date"),
        (lambda d: d.update(bound="50"), "document: bound is '50', not a number"),
        (lambda d: d.update(bound=float("nan")), "document: bound is nan, not a number"),
        (lambda d: d.update(gap=0.5), "gap is 0.5, the figures make 0.79"),
        (lambda d: d["objective"].update(total=241), "total is 241.0, the figures make 240.0"),
        (_row("pegs", quantity=0.0001), "pegs[0]: quantity is 0.0001, not a number with at most"),
        (_row("pegs", quantity=True), "pegs[0]: quantity is True, not a number"),
        (_row("pegs", operation="10"), "pegs[0]: operation is '10', not a whole number"),
        (
            _row("operations", start="2026-03-02"),
            "operations[0]: start is '2026-03-02', not a date",
        ),
        (_row("jobs", job=None), "jobs[0]: job is None, not a text"),
        (_row("supplies", kind="gift"), "supplies[0]: kind is 'gift', not one of the known"),
        (_row("builds", late_days=1.5), "builds[0]: late_days is 1.5, not a whole number"),
    ],
)
def test_what_is_wrong_is_named_with_its_place(
    spoil: Callable[[dict[str, Any]], None], wrong: str
) -> None:
    document = json.loads(json.dumps(to_document(PLAN)))
    spoil(document)
    with pytest.raises(DocumentError) as caught:
        from_document(document)
    assert str(caught.value).startswith(wrong)


def test_an_empty_plan_has_no_gap() -> None:
    empty = Plan(PLAN.as_of, Status.OPTIMAL, Objective(), Fraction(0), Fraction(0))
    document = to_document(empty)
    assert (document["gap"], document["weighted_late_minutes"]) == (0.0, 0)
    assert from_document(document) == empty
    assert from_document(document).as_of == date(2026, 3, 2)
