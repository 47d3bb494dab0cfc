"""What the pages of all commands share."""

from __future__ import annotations

from fulfil.render.common import VERIFY, to_verify


def test_a_rule_of_a_region_is_to_be_verified() -> None:
    assert to_verify("backflow protection") == f"backflow protection ({VERIFY})"


def test_which_is_said_once() -> None:
    assert to_verify(f"spark arrestor; {VERIFY}") == f"spark arrestor; {VERIFY}"
