"""Two processes that plan side by side, each with a workbench of its own.

A solver that dies takes its process along, never the program; Ctrl-C reaches the parent alone,
which tells the others to stop and keeps what they have.
"""

from __future__ import annotations

import multiprocessing
import os
import queue
import signal
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing.synchronize import Event
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fulfil_models.planning import Workbench
    from fulfil_models.problem import Problem

WORKERS = 2

_bench: Workbench | None = None


def _set_up(problem: Problem, stop: Event, costs: Any) -> None:
    """Runs once in each process: makes its workbench."""
    global _bench
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, name="end with parent", daemon=True).start()
    from fulfil_models.planning import Workbench

    _bench = Workbench(problem)
    _bench.control.stop = _Mirror(stop)
    _bench.control.better = costs.put


def _end_with_parent() -> None:
    """Ends this process when its parent is gone, however that ended: nobody would stop it then."""
    parent = multiprocessing.parent_process()
    assert parent is not None
    parent.join()
    os._exit(1)


@contextmanager
def _born_deaf() -> Iterator[None]:
    """Processes made inside do not hear Ctrl-C, as they inherit what this thread lets through.

    It must not end one before it can say itself that it does not listen, for the parent would wait
    for it for ever. Systems without signal masks go without.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


class _Mirror(threading.Event):
    """An event of this process that is set when the parent's is."""

    def __init__(self, parent: Event) -> None:
        super().__init__()
        self._parent = parent

    def is_set(self) -> bool:
        return self._parent.is_set()


def _run(work: Callable[..., Any], arguments: tuple[Any, ...]) -> Any:
    assert _bench is not None
    return work(_bench, *arguments)


class Processes:
    """A pool of processes; `costs` receives every better cost they find."""

    def __init__(self, problem: Problem) -> None:
        context = multiprocessing.get_context("spawn")
        self._stop = context.Event()
        self._costs = context.Queue()
        self._pool = ProcessPoolExecutor(
            WORKERS, context, initializer=_set_up, initargs=(problem, self._stop, self._costs)
        )

    def start(self, work: Callable[..., Any], *arguments: Any) -> Future[Any]:
        with _born_deaf():
            return self._pool.submit(_run, work, arguments)

    def stop(self) -> None:
        """Ask every piece of work to end with what it has."""
        self._stop.set()

    def costs(self) -> list[float]:
        """Better costs that have come in since the last call."""
        found = []
        while True:
            try:
                found.append(self._costs.get_nowait())
            except queue.Empty:
                return found

    def close(self) -> None:
        self._stop.set()
        self._pool.shutdown(wait=True, cancel_futures=True)
        self._costs.cancel_join_thread()
        self._costs.close()
