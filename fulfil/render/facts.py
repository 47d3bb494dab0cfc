"""Named facts, one a line, wrapped under themselves."""

from __future__ import annotations

from collections.abc import Sequence

from fulfil.render.text import GAP, paragraph


def facts(rows: Sequence[tuple[str, str]], width: int, indent: str = GAP) -> list[str]:
    """Lines of facts: the name to the left, what is told of it beside it, at most `width` wide."""
    size = max((len(name) for name, _ in rows), default=0)
    left = len(indent) + size + len(GAP)
    out: list[str] = []
    for name, text in rows:
        first, *more = paragraph(text, max(width - left, 1))
        out.append(f"{indent}{name.ljust(size)}{GAP}{first}".rstrip())
        out += [" " * left + line for line in more]
    return out
