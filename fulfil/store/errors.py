"""What can go wrong with the store, in words for the person at the keyboard."""

from __future__ import annotations


class StoreError(Exception):
    """The store cannot do what was asked.

    Attributes
    ----------
    wrong: what is the matter, in one sentence that names the place.
    remedy: what would mend it.
    """

    def __init__(self, wrong: str, remedy: str) -> None:
        super().__init__(wrong)
        self.wrong = wrong
        self.remedy = remedy


class StaleData(StoreError):
    """The stored data are no longer those that a plan was made from."""
