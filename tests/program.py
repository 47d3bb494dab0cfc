"""What a run of the program leaves behind, for tests of commands."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Ran:
    """Exit code, standard output and error output of a command."""

    code: int
    out: str
    err: str


Run = Callable[..., Ran]
"""takes the words of a command line"""
