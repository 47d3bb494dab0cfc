"""Keeps the data set, plans and quotes in a database.

Importing this package loads no database library; `open_store` does.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fulfil.store.errors import StaleData, StoreError

if TYPE_CHECKING:
    from fulfil_models.tables import Dataset

    from fulfil.store.session import Store

__all__ = ["StaleData", "StoreError", "data_hash", "open_store"]


def open_store(url: str | None = None, *, wait_seconds: float = 30.0) -> Store:
    """Opens a database, creating or migrating its tables where needed.

    Parameters
    ----------
    url: database URL or path of a file; None for `fulfil.db` in the current folder. For SQLite,
        `?mode=ro` opens it for reading only. For PostgreSQL, what libpq takes as options.
    wait_seconds: how long to wait for another program that is writing.

    Returns
    -------
    The store, to be closed by `close` or as a context manager.

    Raises
    ------
    StoreError
        Where the address is wrong, or what is there cannot be opened, is no database, belongs to
        another program or was made by a newer version of this one.
    """
    from fulfil.store import session

    return session.open_store(url, wait_seconds=wait_seconds)


def data_hash(dataset: Dataset) -> str:
    """What a data set is known by: equal for equal rows in any order, as hexadecimal text."""
    from fulfil.store import canonical

    return canonical.data_hash(dataset)
