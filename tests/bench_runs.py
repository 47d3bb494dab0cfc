"""Runs a command and measures it from outside: time, memory, and when its errors stream says what.

The error stream is a pseudo-terminal, so that a command shows its progress as it would to a person.
Memory is that of all processes of the command, shared pages counted once (PSS), looked at five
times a second; where the system does not tell, it is not measured.
"""

from __future__ import annotations

import json
import os
import pty
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

LOOK_SECONDS = 0.2
BEST_OF = 5
KIB = 1024


@dataclass(frozen=True)
class Ran:
    """What a command left, and what was measured while it ran."""

    code: int
    out: str
    err: str
    seconds: float
    peak_bytes: int
    """0 where it could not be measured"""
    told: tuple[tuple[float, str], ...]
    """pieces of the error stream, each with the seconds after which it came"""

    def document(self) -> Any:
        """The JSON document on its standard output."""
        return json.loads(self.out)

    def seen(self, words: str) -> float | None:
        """Seconds after which the error stream had said some words; None if it never did."""
        text = ""
        for seconds, piece in self.told:
            text += piece
            if words in text:
                return seconds
        return None


def command(*words: str) -> list[str]:
    """The program as it is installed beside the interpreter, else as a module."""
    script = Path(sys.executable).with_name("fulfil")
    return [str(script), *words] if script.exists() else [sys.executable, "-m", "fulfil", *words]


def environment() -> dict[str, str]:
    return {k: v for k, v in os.environ.items() if not k.startswith("FULFIL_")}


def run(words: list[str], folder: Path, most_seconds: float) -> Ran:
    """Runs a command in a folder to its end; one that takes longer than `most_seconds` is killed
    and has the exit code of that."""
    screen, end = pty.openpty()
    with (folder / "out.txt").open("w+", encoding="utf-8") as out:
        began = time.monotonic()
        process = subprocess.Popen(
            words,
            cwd=folder,
            env=environment(),
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=end,
            start_new_session=True,
        )
        os.close(end)
        told: list[tuple[float, str]] = []
        reader = threading.Thread(target=_read, args=(screen, began, told), daemon=True)
        reader.start()
        peak = 0
        seconds = None
        while seconds is None:
            peak = max(peak, memory_of_group(process.pid))
            try:
                process.wait(timeout=LOOK_SECONDS)
                seconds = time.monotonic() - began
            except subprocess.TimeoutExpired:
                if time.monotonic() - began > most_seconds:
                    os.killpg(process.pid, signal.SIGKILL)
        reader.join()
        os.close(screen)
        out.seek(0)
        text = out.read()
    err = "".join(piece for _, piece in told)
    return Ran(process.returncode, text, err, seconds, peak, tuple(told))


def _read(screen: int, began: float, told: list[tuple[float, str]]) -> None:
    """Takes down what comes until all writers have closed the terminal."""
    while True:
        try:
            data = os.read(screen, 65_536)
        except OSError:  # how a pseudo-terminal says that nobody writes to it any more
            return
        if not data:
            return
        told.append((time.monotonic() - began, data.decode("utf-8", "replace")))


def best_of(words: list[str], folder: Path, times: int = BEST_OF) -> float:
    """Seconds of the quickest of some runs, each of which must end well."""
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        subprocess.run(words, cwd=folder, env=environment(), check=True, capture_output=True)
        taken.append(time.perf_counter() - began)
    return min(taken)


def memory_of_group(group: int) -> int:
    """Bytes in use by the processes of a group, pages that several share counted once."""
    return sum(_pss(pid) for pid in _members(group))


def _members(group: int) -> Iterator[Path]:
    proc = Path("/proc")
    if not proc.is_dir():
        return
    for entry in proc.iterdir():
        if entry.name.isdigit():
            try:
                fields = (entry / "stat").read_text(encoding="utf-8").rpartition(")")[2].split()
            except (FileNotFoundError, ProcessLookupError):
                continue  # it ended while we looked
            if int(fields[2]) == group:
                yield entry


def _pss(process: Path) -> int:
    try:
        text = (process / "smaps_rollup").read_text(encoding="utf-8")
    except (FileNotFoundError, ProcessLookupError, PermissionError):
        return 0  # it has ended, or is ending
    for line in text.splitlines():
        if line.startswith("Pss:"):
            return int(line.split()[1]) * KIB
    return 0


def processor() -> str:
    """Model of the processor in general words."""
    try:
        text = Path("/proc/cpuinfo").read_text(encoding="utf-8")
    except FileNotFoundError:
        return os.uname().machine
    names = [line.partition(":")[2].strip() for line in text.splitlines() if "model name" in line]
    return names[0] if names else os.uname().machine


def memory_of_computer() -> int:
    """Bytes of memory of the computer."""
    return os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")
