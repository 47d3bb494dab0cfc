"""The processes that plan side by side: what must hold of them whatever they work on."""

from __future__ import annotations

import signal
from datetime import date

import pytest
from fulfil_models.planning import Workbench
from fulfil_models.problem import Problem
from fulfil_models.settings import Settings
from fulfil_models.tables import Dataset, Point

from fulfil.usecases.workers import Processes

EMPTY = Problem(Dataset(points=(Point(point="P"),)), Settings(as_of=date(2026, 3, 2)))


def blocked(bench: Workbench) -> set[int]:
    """Signals that a process was born with a shield against."""
    return set(signal.pthread_sigmask(signal.SIG_BLOCK, []))


def fail(bench: Workbench) -> None:
    raise ValueError("told to")


def test_ctrl_c_cannot_end_a_process_before_it_says_that_it_does_not_listen() -> None:
    here = set(signal.pthread_sigmask(signal.SIG_BLOCK, []))
    pool = Processes(EMPTY)
    try:
        assert signal.SIGINT in pool.start(blocked).result(timeout=60)
        assert set(signal.pthread_sigmask(signal.SIG_BLOCK, [])) == here
    finally:
        pool.close()


def test_what_fails_in_a_process_is_told_here() -> None:
    pool = Processes(EMPTY)
    try:
        with pytest.raises(ValueError, match="told to"):
            pool.start(fail).result(timeout=60)
    finally:
        pool.close()
