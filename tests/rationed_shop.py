"""A shop whose engines are rationed by the month: who waits for them in its plan."""

from __future__ import annotations

from datetime import date

from fulfil_models.tables import Dataset
from tiny_shop import (
    build,
    march,
    purchase,
    shop,
    source,
)

FAR = 60
"""days of lead time after which it is May"""
SECOND = march(16)


def two_wait(second: date = SECOND) -> Dataset:
    """Two builds promised on the 4th, two engines: on the 9th and on a later day; a new order comes
    in May, one a month."""
    return shop(
        builds=(build("B1", march(4)), build("B2", march(4))),
        purchases=(purchase("P1", march(9)), purchase("P2", second)),
        sources=(source(FAR, cap=1),),
    )
