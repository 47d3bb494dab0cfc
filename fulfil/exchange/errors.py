"""What can go wrong in writing files, other than what the operating system says."""

from __future__ import annotations


class ExchangeError(Exception):
    """A file that cannot be written: what is the matter, and what would mend it."""

    def __init__(self, wrong: str, remedy: str) -> None:
        super().__init__(wrong)
        self.wrong = wrong
        self.remedy = remedy
