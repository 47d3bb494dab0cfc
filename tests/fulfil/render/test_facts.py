"""Named facts, one a line."""

from __future__ import annotations

from fulfil.render.facts import facts


def test_what_is_told_stands_in_one_column() -> None:
    assert facts([("needed", "4 ea"), ("on hand", "1 at BOI")], 40) == [
        "  needed   4 ea",
        "  on hand  1 at BOI",
    ]


def test_long_facts_are_wrapped_under_themselves() -> None:
    lines = facts([("on order", "3 on 2026-09-18, 3 on 2026-10-19"), ("a", "b")], 30)
    assert lines == [
        "  on order  3 on 2026-09-18, 3",
        "            on 2026-10-19",
        "  a         b",
    ]
    assert max(map(len, lines)) <= 30


def test_nothing_to_tell() -> None:
    assert facts([], 40) == []
