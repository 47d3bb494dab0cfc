"""Processes of their own without the time that it takes to start one: forks of one that has loaded
everything.

A program that is to be forked calls `serve` where it is started with the word `serve`; tests start
it as a `Forks`, and each process of it as `Forks.start`. What comes of that is used like a
`subprocess.Popen`. Each has its own memory, pipes and connections, and is ended by signals alone.
"""

from __future__ import annotations

import contextlib
import gc
import os
import select
import signal
import socket
import subprocess
import sys
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import NoReturn

PARENT = 0
"""the socket of one that serves: its standard input"""
MOST_BYTES = 65_536
"""of the words that one process is given"""


class Process:
    """A process that was forked; the test is not its parent and is told how it ended."""

    def __init__(self, words: tuple[str, ...], pipes: tuple[int, int, int], status: int) -> None:
        self.args = words
        self.stdin = os.fdopen(pipes[0], "w", encoding="utf-8")
        self.stdout = os.fdopen(pipes[1], encoding="utf-8")
        self.stderr = os.fdopen(pipes[2], encoding="utf-8")
        self.returncode: int | None = None
        self._status = os.fdopen(status, encoding="utf-8")
        self.pid = int(self._status.readline())

    def wait(self, timeout: float | None = None) -> int:
        """Its exit code, negative for a signal. Raises subprocess.TimeoutExpired."""
        if self.returncode is None:
            if not select.select([self._status], [], [], timeout)[0]:
                raise subprocess.TimeoutExpired(self.args, timeout or 0.0)
            self.returncode = int(self._status.readline())
            self._status.close()
        return self.returncode

    def communicate(self, timeout: float | None = None) -> tuple[str, str]:
        """Waits for its end; what it said, which must be short, and its complaints."""
        self.wait(timeout)
        with contextlib.suppress(BrokenPipeError):
            self.stdin.close()
        with self.stdout, self.stderr:
            return self.stdout.read(), self.stderr.read()

    def send_signal(self, number: int) -> None:
        """To one that runs still."""
        if self.returncode is None:
            with contextlib.suppress(ProcessLookupError):
                os.kill(self.pid, number)

    def kill(self) -> None:
        self.send_signal(signal.SIGKILL)

    def end(self) -> None:
        """Whatever is left of it is not needed any more."""
        self.kill()
        self.wait()
        with contextlib.suppress(BrokenPipeError):
            self.stdin.close()
        self.stdout.close()
        self.stderr.close()


class Forks:
    """A program that serves, started once."""

    def __init__(self, program: Path) -> None:
        self._socket, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        with theirs:
            self._process = subprocess.Popen(
                [sys.executable, str(program), "serve"],
                stdin=theirs.fileno(),
                env={
                    **os.environ,
                    "PYTHONPATH": os.pathsep.join(path for path in sys.path if path),
                },
            )

    def start(self, *words: str) -> Process:
        pipes = [os.pipe() for _ in range(4)]
        ours = (pipes[0][1], pipes[1][0], pipes[2][0])
        theirs = [pipes[0][0], pipes[1][1], pipes[2][1], pipes[3][1]]
        socket.send_fds(self._socket, ["\0".join(words).encode()], theirs)
        for descriptor in theirs:
            os.close(descriptor)
        return Process(words, ours, pipes[3][0])

    def close(self) -> None:
        self._socket.close()
        self._process.wait()


def serve(run: Callable[..., None]) -> None:
    """Forks a process for each message until the tests have ended; it runs with those words."""
    gc.freeze()  # what the processes share is not copied only because it is looked at
    with socket.socket(fileno=os.dup(PARENT)) as parent:
        while True:
            words, descriptors, _, _ = socket.recv_fds(parent, MOST_BYTES, 4)
            with contextlib.suppress(ChildProcessError):  # there is none
                while os.waitpid(-1, 0 if not words else os.WNOHANG)[0]:
                    pass
            if not words:
                return
            if os.fork() == 0:
                parent.close()
                _keep(run, words.decode().split("\0"), descriptors)
            for descriptor in descriptors:
                os.close(descriptor)


def _keep(run: Callable[..., None], words: list[str], descriptors: list[int]) -> NoReturn:
    """Forks the process, and stays beside it to tell its id and how it ended."""
    *pipes, status = descriptors
    process = os.fork()
    if process == 0:
        os.close(status)
        for place, descriptor in enumerate(pipes):
            os.dup2(descriptor, place)
            os.close(descriptor)
        _run(run, words)
    for descriptor in (*pipes, PARENT):
        os.close(descriptor)
    os.write(status, f"{process}\n".encode())
    code = os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])
    with contextlib.suppress(BrokenPipeError):
        os.write(status, f"{code}\n".encode())
    os._exit(0)


def _run(run: Callable[..., None], words: list[str]) -> NoReturn:
    code = 1
    try:
        run(*words)
        code = 0
    except BaseException:  # noqa: BLE001 -- nothing else may run in the copy of this process
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)
