"""What can go wrong, in words for the person at the keyboard, and the exit code of each."""

from __future__ import annotations

import traceback
from pathlib import PurePath

DONE = 0
REFUSED = 1
USAGE = 2
NO_PLAN = 3
INTERRUPTED = 130


class Refused(Exception):
    """The data or the request is wrong.

    Attributes
    ----------
    wrong: what is the matter, in one sentence that names the place.
    remedy: what would mend it.
    """

    exit_code = REFUSED

    def __init__(self, wrong: str, remedy: str) -> None:
        super().__init__(wrong)
        self.wrong = wrong
        self.remedy = remedy


class NoPlan(Refused):
    """No plan was found within the limits, or there is none."""

    exit_code = NO_PLAN


class RejectedPlan(Refused):
    """A plan did not pass its check: an error of the program, so the plan is not kept."""


class Failed(Exception):
    """A command that has said what is wrong already and ends with an exit code other than 0."""

    def __init__(self, exit_code: int) -> None:
        super().__init__(f"exit code {exit_code}")
        self.exit_code = exit_code


def explain(error: BaseException) -> tuple[int, str]:
    """Exit code and message of an error.

    Every error that carries `wrong` and `remedy` speaks for itself. Files that cannot be read or
    written are the user's to mend. Anything else should not have happened.
    """
    wrong, remedy = getattr(error, "wrong", None), getattr(error, "remedy", None)
    if isinstance(wrong, str) and isinstance(remedy, str):
        return getattr(error, "exit_code", REFUSED), message(wrong, remedy)
    if isinstance(error, OSError) and error.strerror is not None:
        place = "" if error.filename is None else f"{error.filename}: "
        return REFUSED, message(
            f"{place}{error.strerror.lower()}",
            "check the path, the room on the disk, and that you may read and write there",
        )
    if isinstance(error, MemoryError):
        return REFUSED, message("the memory is used up", "close other programs, or plan less")
    return REFUSED, message(
        f"this should not have happened: {type(error).__name__}{_place(error)}",
        "nothing was changed that was not finished; run the same command with --traceback and "
        "report what it prints",
    )


def message(wrong: str, remedy: str) -> str:
    return f"error: {wrong}\n\nhint: {remedy}\n"


def _place(error: BaseException) -> str:
    """The last place of ours that an error came through."""
    frames = traceback.extract_tb(error.__traceback__)
    ours = [
        frame
        for frame in frames
        if {"fulfil", "fulfil_models"} & set(PurePath(frame.filename).parts)
    ]
    if not ours:
        return ""
    return f" in {PurePath(ours[-1].filename).name}, line {ours[-1].lineno}"
