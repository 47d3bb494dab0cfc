"""The comparison that README.md is tested with: it must be able to fail."""

from __future__ import annotations

import pytest
from console_blocks import Shown, blocks, commands, line_fits, misfit

PRINTED = """\
3 builds, 2 late

                              late
build   product  ships        (days)
------  -------  ----------  ------
B-1     LT-6     2026-09-28      18
B-2     TP-3     2026-09-16       5
B-3     TP-3     2026-10-01       -

note: plan 1
"""


def test_blocks_are_taken_by_their_language() -> None:
    page = "a\n```sh\none\n```\nb\n```console\n$ two\n```\n```sh\nthree\nfour\n```\n"
    assert blocks(page, "sh") == ["one\n", "three\nfour\n"]
    assert blocks(page, "console") == ["$ two\n"]
    assert blocks(page, "python") == []


def test_commands_are_told_from_what_they_print() -> None:
    assert commands("$ a --b\n\nx\n  y\n$ c\n") == [Shown("a --b", ("x", "  y")), Shown("c", ())]
    with pytest.raises(ValueError, match="no command stands before 'x'"):
        commands("x\n$ a\n")


@pytest.mark.parametrize(
    "shown",
    [
        PRINTED,
        "...",
        "3 builds, 2 late\n...",
        "...\nB-2 TP-3 2026-09-16 5\n...",
        "...\n--- --- --- ---\nB-1 ...\n...\nnote: plan 1",
        "4 builds, 1 late ~\n...",
        "...\nB-1 LT-6 2026-10-05 7 ~\n...",
        "...\nB-1 LT-6 2026-10-05 ... ~\n...",
    ],
)
def test_what_fits(shown: str) -> None:
    assert misfit(tuple(line for line in shown.splitlines() if line), PRINTED) is None


@pytest.mark.parametrize(
    ("shown", "line"),
    [
        ("", "(the end: the output goes on)"),
        ("3 builds, 2 late", "(the end: the output goes on)"),
        ("4 builds, 2 late\n...", "4 builds, 2 late"),
        ("B-1 LT-6 2026-09-28 18\n...", "B-1 LT-6 2026-09-28 18"),  # not the first line
        ("3 builds, 2 late\nB-1 ...\n...", "B-1 ..."),  # lines between them are not left out
        ("...\nB-2 ...\nB-1 ...\n...", "B-1 ..."),  # in another order
        ("...\nB-1 LT-6 2026-09-28\n...", "B-1 LT-6 2026-09-28"),  # a cell less
        ("...\nB-1 TP-3 ...\n...", "B-1 TP-3 ..."),
        ("...\nB-1 TP-3 2026-10-05 7 ~\n...", "B-1 TP-3 2026-10-05 7 ~"),
        ("...\nB-4 LT-6 2026-10-05 7 ~\n...", "B-4 LT-6 2026-10-05 7 ~"),  # names are no figures
        ("...\nB-3 TP-3 2026-10-01 5 ~\n...", "B-3 TP-3 2026-10-01 5 ~"),  # none where one is shown
        ("...\nB-1 LT-6 20 7 ~\n...", "B-1 LT-6 20 7 ~"),  # no date where one is shown
        ("...\nnote: plan 1\n...\nB-1 ...", "B-1 ..."),
        ("...\nB-1 LT-6 2026-09-28 18", "(the end: the output goes on)"),
    ],
)
def test_what_does_not_fit_is_named(shown: str, line: str) -> None:
    assert misfit(tuple(row for row in shown.splitlines() if row), PRINTED) == line


@pytest.mark.parametrize(
    ("shown", "printed", "fits"),
    [
        ("cost 1,234.50 USD ~", "cost 987,654.00 USD", True),
        ("cost 1,234.50 USD ~", "cost 987,654.00 EUR", False),
        ("at most 10.45 % of its ~", "at most 9 % of its", True),
        ("(18 days late); ~", "(7 days late);", True),
        ("(18 days late); ~", "(7 days early);", False),
        ("PO-4426/1 by 2026-09-21 ~", "PO-4426/1 by 2026-09-30", True),
        ("PO-4426/1 by 2026-09-21 ~", "PO-4471/1 by 2026-09-30", False),
        ("from 2026-09-24 11:00 ~", "from 2026-09-25 06:45", True),
        ("from 2026-09-24 11:00", "from 2026-09-25 06:45", False),
        ("ENG-014D 4 ... ~", "ENG-014D 6", True),
        ("ENG-014D 4 ... ~", "ENG-014D", False),
        ("...", "anything", True),
    ],
)
def test_a_line(shown: str, printed: str, fits: bool) -> None:
    assert line_fits(shown, printed) is fits
