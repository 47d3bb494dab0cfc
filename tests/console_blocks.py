"""Blocks of code in a Markdown page, and whether a program prints what such a block shows.

What a block shows is compared line by line, blanks and rules (`-----`) of any length. Three marks
stand for what is not compared, and a reader of the page sees them too:

- a line `...` leaves out any number of lines,
- ` ...` at the end of a line leaves out the rest of that line,
- ` ~` at the end of a line says that its figures depend on how far the search came: where the
  block has a figure, a date or a time, the output must have one too, everything else as shown.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

PROMPT = "$ "
REST = "..."
FIGURES = "~"

_BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.DOTALL | re.MULTILINE)
_FIGURE = re.compile(r"[(+-]?\d[\d,.:-]*[),:;.]*")


@dataclass(frozen=True)
class Shown:
    """A command of a page, and the lines that the page shows below it."""

    command: str
    lines: tuple[str, ...]


def blocks(page: str, language: str) -> list[str]:
    """The blocks of a page that are marked with a language, without their fences."""
    return [body for mark, body in _BLOCK.findall(page) if mark == language]


def commands(block: str) -> list[Shown]:
    """The commands of a console block with what is shown of each; blank lines do not count.

    Raises ValueError where the block does not begin with a command.
    """
    found: list[Shown] = []
    for line in block.splitlines():
        if line.startswith(PROMPT):
            found.append(Shown(line.removeprefix(PROMPT), ()))
        elif line.strip():
            if not found:
                raise ValueError(f"no command stands before {line!r}")
            found[-1] = Shown(found[-1].command, (*found[-1].lines, line))
    return found


def misfit(shown: tuple[str, ...], printed: str) -> str | None:
    """The first line shown that the output does not have where it should; None if all fits."""
    lines = [line for line in printed.splitlines() if line.strip()]
    if _fits(shown, lines):
        return None
    for count in range(1, len(shown) + 1):
        if not _fits((*shown[:count], REST), lines):
            return shown[count - 1]
    return "(the end: the output goes on)"


def _fits(shown: tuple[str, ...], printed: list[str]) -> bool:
    if not shown:
        return not printed
    if shown[0].strip() == REST:
        return any(_fits(shown[1:], printed[start:]) for start in range(len(printed) + 1))
    return bool(printed) and line_fits(shown[0], printed[0]) and _fits(shown[1:], printed[1:])


def line_fits(shown: str, printed: str) -> bool:
    """Whether a line that is shown stands for a line that was printed."""
    wanted, given = _words(shown), _words(printed)
    loose = wanted[-1:] == [FIGURES]
    if loose:
        wanted.pop()
    if wanted[-1:] == [REST]:
        wanted.pop()
        given = given[: len(wanted)]
    if loose:
        wanted, given = ([_shape(word) for word in words] for words in (wanted, given))
    return wanted == given


def _words(line: str) -> list[str]:
    return re.sub(r"-{2,}", "--", line).split()


def _shape(word: str) -> str:
    """A figure without its digits; any other word, such as the number of a build, as it is."""
    return re.sub(r"\d[\d,.]*(?<=\d)|\d", "0", word) if _FIGURE.fullmatch(word) else word
