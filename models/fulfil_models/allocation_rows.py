"""How is a rule of the allocation model written, and how is one left out?

A rule is a function from what it speaks of (a need, a move, a node's network, a line) to the rows
that say it. A model keeps a set of rules, so that each can be tried alone and left out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, TypeVar

from fulfil_models.solving import INFINITY, LinearModel

Terms = list[tuple[int, float]]
"""(column, coefficient)"""
SubjectT = TypeVar("SubjectT")


@dataclass(frozen=True, slots=True)
class Row:
    """lower <= sum of coefficient x column <= upper"""

    terms: Terms
    lower: float
    upper: float


Rule = Callable[[Any], Iterable[Row]]


def exactly(terms: Terms, value: float) -> Row:
    return Row(terms, value, value)


def at_least(terms: Terms, value: float) -> Row:
    return Row(terms, value, INFINITY)


def at_most(terms: Terms, value: float) -> Row:
    return Row(terms, -INFINITY, value)


class Rows:
    """Writes the rows of the rules that a model keeps."""

    def __init__(self, model: LinearModel, rules: Iterable[Rule]) -> None:
        self.model = model
        self.rules = frozenset(rules)

    def keep(self, rule: Callable[[SubjectT], Iterable[Row]], subject: SubjectT) -> None:
        """Write what a rule says of a subject, if the model keeps the rule."""
        if rule in self.rules:
            for row in rule(subject):
                self.model.row(row.terms, row.lower, row.upper)
