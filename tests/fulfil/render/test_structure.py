"""The indented bill in different widths."""

from __future__ import annotations

import dataclasses

import small_shop
from fulfil_models.bill_tree import BillTree, explode_build
from fulfil_models.problem import Problem
from fulfil_models.settings import Settings
from fulfil_models.tables import Part, Point, RegionRule, Stock

from fulfil.render.structure import explode_page

SHOP = small_shop.dataset()
FAR = ("TWIN-FALLS", "SPARKS", "TULSA", "COLUMBUS", "MEMPHIS")


def tree(note: str = "backflow protection", points: tuple[str, ...] = ()) -> BillTree:
    """The bill of B2, with two pumps more at each of some points."""
    rule = SHOP.region_rules[0]
    data = dataclasses.replace(
        SHOP,
        points=(*SHOP.points, *(Point(point=point) for point in points)),
        stock=(
            *SHOP.stock,
            *(Stock(point=point, part="PUMP", quantity_milli=2000) for point in points),
        ),
        parts=tuple(
            dataclasses.replace(row, description=f"{row.description}, of the heavy series")
            for row in SHOP.parts
            if isinstance(row, Part)
        ),
        region_rules=(
            RegionRule(
                region=rule.region,
                family=rule.family,
                component=rule.component,
                quantity_milli=rule.quantity_milli,
                note=note,
            ),
        ),
    )
    problem = Problem(data, Settings(as_of=small_shop.AS_OF))
    return explode_build(problem, next(row for row in data.builds if row.build == "B2"))


def row_of(lines: list[str], part: str) -> list[str]:
    return next(line for line in lines if line.startswith(part)).split()


def test_stock_at_many_points_takes_one_line_a_part() -> None:
    lines = explode_page(tree(points=FAR), every=True).lines(100)
    assert max(map(len, lines)) <= 100
    # ten at BOI, where the build is put together, and two at each of five others
    assert row_of(lines, "PUMP")[-2:] == ["10", "10"]
    assert lines[-1] == "stock at every point: --points"


def test_every_point_when_asked_for() -> None:
    lines = explode_page(tree(points=FAR), every=True, points=True).lines(100)
    assert max(map(len, lines)) <= 100
    # BOI, COLUMBUS, MEMPHIS, RNO, SPARKS, TULSA, TWIN-FALLS
    assert row_of(lines, "PUMP")[-7:] == ["10", "2", "2", "-", "2", "2", "2"]


def test_every_point_where_there_is_room() -> None:
    lines = explode_page(tree(points=FAR), every=True).lines(160)
    assert row_of(lines, "PUMP")[-7:] == ["10", "2", "2", "-", "2", "2", "2"]
    assert "diaphragm pump, of the heavy series" in "\n".join(lines)


def test_the_caution_of_a_rule_is_given_once() -> None:
    verify = "verify with the local authority"
    for note in ("backflow protection", f"backflow protection; {verify}"):
        text = " ".join(explode_page(tree(note), every=True).lines(400))
        assert text.count(verify) == 1
