"""What a run of the program leaves behind, for tests of commands."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Ran:
    """Exit code, standard output and error output of a command."""

    code: int
    out: str
    err: str


Run = Callable[..., Ran]
"""takes the words of a command line"""


def document(ran: Ran) -> Any:
    """What a command that went well said as JSON."""
    assert ran.code == 0
    return json.loads(ran.out)
