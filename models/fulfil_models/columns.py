"""How a column and a table are described: the one description that reading, checking, storing,
templates and the documentation all follow."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from fulfil_models.cells import Kind

RowT = TypeVar("RowT")


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table.

    Attributes
    ----------
    name: as it stands in the heading of a file.
    attribute: as it is called in the row class, with the unit of the integer.
    key: part of the table's key; key columns are required.
    required: may not be empty.
    default: text of the value that stands for an empty cell; None where there is none.
    least, most, above, below: bounds of a number, as text (the first two inclusive).
    refers: "table.column" whose values it must be one of; None if free.
    """

    name: str
    attribute: str
    kind: Kind
    meaning: str
    unit: str = ""
    key: bool = False
    required: bool = False
    default: str | None = None
    least: str | None = None
    most: str | None = None
    above: str | None = None
    below: str | None = None
    refers: str | None = None

    @property
    def default_value(self) -> Any:
        return None if self.default is None else self.kind.parse(self.default)


@dataclass(frozen=True, slots=True)
class Table(Generic[RowT]):
    """One table: its name, the class of its rows and its columns in order."""

    name: str
    row: type[RowT]
    meaning: str
    columns: tuple[Column, ...]
    required: bool = False
    """a data set without it cannot be loaded"""
    unique: bool = True
    """no two rows may share a key (bill lines may: they add up)"""

    @property
    def key(self) -> tuple[Column, ...]:
        return tuple(column for column in self.columns if column.key)

    def key_of(self, row: RowT) -> tuple[Any, ...]:
        return tuple(getattr(row, column.attribute) for column in self.key)

    def in_order(self, rows: Iterable[RowT]) -> list[RowT]:
        """The rows by their key, then by all their columns, empty cells first."""
        columns = [*self.key, *(column for column in self.columns if not column.key)]

        def order(row: RowT) -> tuple[Any, ...]:
            cells = []
            for column in columns:
                value = getattr(row, column.attribute)
                if value is not None and column.kind.order is not None:
                    value = column.kind.order(value)
                # `None` compares with nothing, so every cell says first whether it is given.
                cells.append((value is not None, value))
            return tuple(cells)

        return sorted(rows, key=order)


def column(
    kind: Kind,
    meaning: str,
    *,
    name: str = "",
    unit: str = "",
    key: bool = False,
    required: bool = False,
    default: str | None = None,
    least: str | None = None,
    most: str | None = None,
    above: str | None = None,
    below: str | None = None,
    refers: str | None = None,
) -> Any:
    """A dataclass field that carries its column description.

    `name` is given where the heading differs from the attribute (which ends in the integer's unit).
    """
    described = Column(
        name=name,
        attribute="",
        kind=kind,
        meaning=meaning,
        unit=unit,
        key=key,
        required=required or key,
        default=default,
        least=least,
        most=most,
        above=above,
        below=below,
        refers=refers,
    )
    metadata = {"column": described}
    if described.required:
        return dataclasses.field(metadata=metadata)
    return dataclasses.field(default=described.default_value, metadata=metadata)


def table(
    name: str, meaning: str, *, required: bool = False, unique: bool = True
) -> Callable[[type[RowT]], type[RowT]]:
    """Class decorator: registers a row dataclass as the table `name`."""

    def register(row: type[RowT]) -> type[RowT]:
        columns = tuple(_columns_of(row))
        TABLES[name] = Table(name, row, meaning, columns, required, unique)
        return row

    return register


def _columns_of(row: type[Any]) -> Iterator[Column]:
    for entry in dataclasses.fields(row):
        described: Column = entry.metadata["column"]
        yield dataclasses.replace(
            described, name=described.name or entry.name, attribute=entry.name
        )


TABLES: dict[str, Table[Any]] = {}
"""Every table of a data set, in the order of the contract; filled by `fulfil_models.tables`."""
