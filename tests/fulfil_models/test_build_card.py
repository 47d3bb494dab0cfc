"""How one build comes about."""

from __future__ import annotations

import small_shop
from fulfil_models.build_card import BuildCard, build_card
from fulfil_models.fit import Verdict
from fulfil_models.plan import SupplyKind
from fulfil_models.problem import Problem
from fulfil_models.settings import Settings

PROBLEM = Problem(small_shop.dataset(), Settings(as_of=small_shop.AS_OF))


def card(build: str) -> BuildCard:
    return build_card(PROBLEM, small_shop.plan(), build)


def test_operations_and_their_parts() -> None:
    found = card("B3")
    assert [(row.job, row.operation, row.work_centre) for row in found.operations] == [
        ("B3", 10, "ASSY"),
        ("B3", 20, "TEST"),
        ("B3/20/MAST", 10, "WELD"),
    ]
    assembly, test, mast = found.operations
    assert [
        (p.part, p.origin.kind, p.origin.first, p.origin.first_point) for p in assembly.parts
    ] == [
        ("ENG-A", SupplyKind.TRANSFER, SupplyKind.STOCK, "RNO"),
        ("PUMP", SupplyKind.STOCK, SupplyKind.STOCK, "BOI"),
    ]
    # the kit is a phantom: its bolts stand at the operation that takes it
    assert [(p.part, p.through, p.quantity_milli) for p in test.parts] == [
        ("BOLT", "KIT", 9000),
        ("MAST", None, 1000),
    ]
    assert [(p.part, p.quantity_milli) for p in mast.parts] == [("BOLT", 4000)]
    assert found.customer == "Customer of B3"
    assert [row.part for row in found.cautions] == ["ENG-A"]


def test_an_alternate_is_checked() -> None:
    (check,) = card("B2").fit_checks
    assert (check.called, check.used) == ("ENG-A", "ENG-B")
    # 15 gpm x 580 psi / 1714 / 0.85 = 5.97 hp, and there are 13
    assert check.verdict is Verdict.FITS
    assert card("B1").fit_checks == ()


def test_options_and_rules() -> None:
    assert [(row.component, row.quantity_milli) for row in card("B1").options] == [("PUMP", 1000)]
    assert [row.component for row in card("B2").rules] == ["VALVE"]
