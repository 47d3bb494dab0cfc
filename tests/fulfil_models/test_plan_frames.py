"""Plans as frames: nothing is lost, and nothing becomes a binary fraction."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pandas as pd
import pytest
import small_shop
from fulfil_models.document import to_document
from fulfil_models.plan import Blocker, BlockerKind, Objective, Plan, Reason, Status, Stranded
from fulfil_models.plan_frames import FRAMES, frames_from_plan

SHOP = small_shop.plan()
PLAN = replace(
    SHOP,
    builds=(
        replace(
            SHOP.builds[0],
            blockers=(
                Blocker(
                    BlockerKind.PART,
                    "ENG-A",
                    datetime(2026, 3, 16, 7, 0),
                    5,
                    "comes with P1",
                    supply="purchase/P1/1",
                    ahead=("B2", "B3"),
                ),
                Blocker(BlockerKind.WORK, "B1", None, 0, "the work itself"),
            ),
            reasons=(
                Reason("KIT", None, BlockerKind.WORK, "KIT", datetime(2026, 3, 2, 7, 0), "first"),
            ),
        ),
        *SHOP.builds[1:],
    ),
    stranded=(Stranded("build", "B6", ("GHOST", "SPOOK")),),
)


def _as_document(value: Any) -> Any:
    """A cell of a frame as the plan document holds it."""
    if value is None or value is pd.NA:
        return None
    if isinstance(value, Decimal):
        return float(value)
    if isinstance(value, datetime):
        return value.strftime("%Y-%m-%dT%H:%M")
    return value.isoformat() if isinstance(value, date) else value


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return [
        {str(name): _as_document(value) for name, value in row.items()}
        for row in frame.astype("object").to_dict("records")
    ]


@pytest.mark.parametrize("name", ["builds", "jobs", "operations", "pegs", "shipments", "supplies"])
def test_a_frame_holds_what_the_plan_document_holds(name: str) -> None:
    rows = to_document(PLAN)[name]
    assert rows, f"the plan has no {name}: nothing would be compared"
    frame = frames_from_plan(PLAN)[name]
    wanted = [{column: row[column] for column in frame.columns} for row in rows]
    assert _records(frame) == wanted
    # and no column of the document is left out, but for what has a frame of its own
    own = {"blockers", "reasons"} if name == "builds" else set()
    assert set(rows[0]) - set(frame.columns) == own


def test_blockers_and_reasons_name_their_build_and_keep_their_order() -> None:
    frames = frames_from_plan(PLAN)
    of_b1 = [row for row in _records(frames["blockers"]) if row["build"] == "B1"]
    assert of_b1 == [
        {
            "build": "B1",
            "place": 1,
            "kind": "part",
            "what": "ENG-A",
            "until": "2026-03-16T07:00",
            "days": 5,
            "why": "comes with P1",
            "supply": "purchase/P1/1",
            "ahead": "B2 B3",
        },
        {
            "build": "B1",
            "place": 2,
            "kind": "work",
            "what": "B1",
            "until": None,
            "days": 0,
            "why": "the work itself",
            "supply": None,
            "ahead": "",
        },
    ]
    (reason,) = (row for row in _records(frames["reasons"]) if row["build"] == "B1")
    assert (reason["build"], reason["place"], reason["operation"]) == ("B1", 1, None)
    assert (reason["kind"], reason["at"]) == ("work", "2026-03-02T07:00")


def test_new_orders_and_moves_have_their_own_columns() -> None:
    frames = frames_from_plan(PLAN)
    (purchase,) = _records(frames["purchases"])
    assert (purchase["supplier"], purchase["place_on"], purchase["arrives_on"]) == (
        "S1",
        "2026-03-02",
        "2026-03-23",
    )
    assert purchase["expedited"] is False
    (move,) = _records(frames["transfers"])
    assert (move["origin"], move["point"], move["from_supply"]) == (
        "RNO",
        "BOI",
        "stock/RNO/ENG-A",
    )
    assert (move["leaves_on"], move["arrives_on"]) == ("2026-03-03", "2026-03-05")


def test_every_part_that_strands_a_build_has_a_row() -> None:
    rows = _records(frames_from_plan(PLAN)["stranded"])
    assert [(row["kind"], row["key"], row["part"]) for row in rows] == [
        ("build", "B6", "GHOST"),
        ("build", "B6", "SPOOK"),
    ]


def test_quantities_are_exact() -> None:
    pegs = (replace(PLAN.pegs[0], quantity_milli=100), replace(PLAN.pegs[0], quantity_milli=200))
    quantities = frames_from_plan(replace(PLAN, pegs=pegs))["pegs"]["quantity"]
    # a tenth and two tenths are three tenths, which binary fractions deny
    assert quantities.sum() == Decimal("0.3")


def test_money_is_exact_to_the_millionth() -> None:
    objective = Objective(lateness=Fraction(1000, 3), transfers=Fraction(1, 10))
    frame = frames_from_plan(replace(PLAN, objective=objective, bound=Fraction(200)))["costs"]
    assert dict(zip(frame["kind"], frame["amount"], strict=True)) == {
        "lateness": Decimal("333.333333"),
        "transfers": Decimal("0.1"),
        "alternates": 0,
        "expediting": 0,
        "deliveries": 0,
        "total": Decimal("333.433333"),  # 333.3333... + 0.1
        "bound": 200,
    }


def test_no_column_is_made_of_binary_fractions() -> None:
    frames = frames_from_plan(PLAN)
    assert [name for name, frame in frames.items() if frame.empty] == []
    for name, frame in frames.items():
        for column in frame.columns:
            assert not pd.api.types.is_float_dtype(frame[column]), f"{name}.{column}"
            assert not any(isinstance(value, float) for value in frame[column]), f"{name}.{column}"


def test_an_empty_plan_has_every_frame_with_its_columns() -> None:
    empty = Plan(
        as_of=date(2026, 3, 2),
        status=Status.OPTIMAL,
        objective=Objective(),
        bound=Fraction(0),
        weighted_late_minutes=Fraction(0),
    )
    frames = frames_from_plan(empty)
    assert list(frames) == list(FRAMES)
    for name, frame in frames.items():
        assert tuple(frame.columns) == FRAMES[name].columns
        assert len(frame) == (7 if name == "costs" else 0)
    assert frames["builds"]["late_days"].dtype == "Int64"
    assert frames["purchases"]["expedited"].dtype == "boolean"
