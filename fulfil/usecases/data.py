"""Getting data in and out: check, load, export, template."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from fulfil.errors import Refused
from fulfil.usecases.basis import require_data
from fulfil.usecases.new_purchases import NOTHING_KEPT, Kept, kept, with_purchases

if TYPE_CHECKING:
    from fulfil_models.findings import Finding
    from fulfil_models.room import Request
    from fulfil_models.tables import Dataset

    from fulfil.store import results
    from fulfil.store.results import Quote
    from fulfil.store.session import Store

ACCEPTED = ("accepted",)
FIRST_KEYS = 3
"""keys that are named of the rows that changed"""


@dataclass(frozen=True, slots=True)
class Counted:
    """Rows of a table."""

    table: str
    rows: int


@dataclass(frozen=True, slots=True)
class CheckAnswer:
    """What was found in a data set.

    Attributes
    ----------
    good: it can be loaded; warnings may remain.
    tables: tables that have rows; empty where the set cannot be loaded.
    """

    path: str
    good: bool
    errors: int
    warnings: int
    findings: tuple[Finding, ...]
    tables: tuple[Counted, ...]


@dataclass(frozen=True, slots=True)
class TableChange:
    """How the rows of a table differ from those stored before, by their keys.

    Attributes
    ----------
    added, removed, changed: numbers of rows.
    first_added, first_removed, first_changed: keys of the first of them, parts with / between.
    """

    table: str
    added: int
    removed: int
    changed: int
    first_added: tuple[str, ...]
    first_removed: tuple[str, ...]
    first_changed: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LoadAnswer:
    """What a load did.

    Attributes
    ----------
    changed: False where the same data were stored already.
    changes: tables whose rows are not those stored before; empty for the first load.
    kept: quotes that were accepted and whose orders the files lack: those stay in the data.
    purchases: what became of purchase lines that `buy --accept` added and that the files lack.
    """

    check: CheckAnswer
    loaded: bool
    changed: bool
    data_hash: str | None
    database: str
    changes: tuple[TableChange, ...] = ()
    kept: tuple[str, ...] = ()
    purchases: Kept = NOTHING_KEPT


@dataclass(frozen=True, slots=True)
class WriteAnswer:
    """What was written where."""

    path: str
    tables: tuple[Counted, ...]


def check(path: Path, today: date) -> CheckAnswer:
    """Reads and checks a data set, and changes nothing."""
    return _checked(path, today)[1]


def load(store: Store, path: Path, today: date) -> LoadAnswer:
    """Checks a data set and stores it if it has no error: all of it or nothing.

    Orders accepted from quotes stay until a data set has them: a promise given is not lost. So do
    purchase lines that were decided on here: the next plan counts on them.
    """
    from fulfil.store.write import prepared
    from fulfil.usecases.quote_documents import quote_name

    dataset, found = _checked(path, today)
    if dataset is None:
        return LoadAnswer(found, False, False, store.data_hash(), store.name)
    while True:
        accepted = store.quotes(ACCEPTED)
        hash_before = store.data_hash()
        purchases = NOTHING_KEPT
        if hash_before is not None:
            purchases = kept(store.dataset(("purchases",)), dataset)
        bought = with_purchases(dataset, purchases.lines) if purchases.lines else dataset
        whole, missing = _with_accepted(bought, accepted, today)
        ready = prepared(whole)
        with store.deciding() as desk:
            if desk.quotes(ACCEPTED) != accepted or desk.data_hash() != hash_before:
                continue  # something was accepted just now: it must not be lost
            result = desk.replace_dataset(ready)
            left = {row.quote.number for row in missing}
            for quote in accepted:
                if quote.number not in left:
                    desk.keep(quote.number)
        break
    changes = tuple(map(_told, result.changes))
    quotes = tuple(f"{quote_name(row.quote.number)} ({', '.join(row.names)})" for row in missing)
    return LoadAnswer(
        found, True, result.changed, result.data_hash, store.name, changes, quotes, purchases
    )


@dataclass(frozen=True, slots=True)
class _Missing:
    """What a data set lacks of an accepted quote."""

    quote: Quote
    order: Request

    @property
    def names(self) -> tuple[str, ...]:
        builds = [row.build for row in self.order.builds]
        return tuple(dict.fromkeys(builds + [row.order for row in self.order.lines]))


def _lacking(order: Request, names: set[str]) -> Request:
    """What of an order is under no name of a data set: an order of several may be there in part."""
    builds = tuple(row for row in order.builds if row.build not in names)
    lacking = {row.build for row in builds}
    return dataclasses.replace(
        order,
        builds=builds,
        options=tuple(row for row in order.options if row.build in lacking),
        lines=tuple(row for row in order.lines if row.order not in names),
    )


def _with_accepted(
    dataset: Dataset, accepted: Iterable[Quote], today: date
) -> tuple[Dataset, list[_Missing]]:
    """The data set with the orders that were accepted from quotes and that it lacks; those.

    Raises Refused where such an order has no place in the new data.
    """
    from fulfil_models.checking import check as find
    from fulfil_models.findings import has_errors
    from fulfil_models.reading import Origins

    from fulfil.usecases.quote_documents import order_of, quote_name, with_request

    names = {row.build for row in dataset.builds} | {row.order for row in dataset.parts_orders}
    missing = []
    for quote in accepted:
        order = _lacking(order_of(quote), names)
        if not order.builds and not order.lines:
            continue
        missing.append(_Missing(quote, order))
        dataset = with_request(dataset, order)
        findings = [row for row in find(dataset, Origins(), today) if row.is_error]
        if has_errors(findings):
            first = findings[0]
            raise Refused(
                f"{quote_name(quote.number)} was accepted as {quote.name}, which has no place in "
                f"these data ({first.value} {first.wrong}); nothing was loaded",
                f"add it to the files, or let it go first: "
                f"`fulfil release {quote_name(quote.number)}`",
            )
    return dataset, missing


def _told(change: results.TableChange) -> TableChange:
    """The change of a table with the keys of the first rows of each kind."""
    first = {
        how: tuple("/".join(row.key) for row in change.rows if row.how == how)[:FIRST_KEYS]
        for how in ("added", "removed", "changed")
    }
    return TableChange(
        change.table,
        change.added,
        change.removed,
        change.changed,
        first["added"],
        first["removed"],
        first["changed"],
    )


def _checked(path: Path, today: date) -> tuple[Dataset | None, CheckAnswer]:
    from fulfil.exchange import load_rows

    if not path.exists():
        raise Refused(
            f"{path} is not there", "give the folder of CSV files or the .xlsx workbook to read"
        )
    dataset, findings = load_rows(path, today)
    errors = sum(1 for row in findings if row.is_error)
    return dataset, CheckAnswer(
        path=str(path),
        good=dataset is not None,
        errors=errors,
        warnings=len(findings) - errors,
        findings=tuple(findings),
        tables=() if dataset is None else counted(dataset),
    )


def counted(dataset: Dataset) -> tuple[Counted, ...]:
    """Rows of every table that has any, in the order of the tables."""
    from fulfil_models.columns import TABLES

    counts = ((name, len(dataset.rows(name))) for name in TABLES)
    return tuple(Counted(name, rows) for name, rows in counts if rows)


def export(store: Store, path: Path) -> WriteAnswer:
    """Writes the stored data to a folder, or to a workbook where the name ends in .xlsx."""
    from fulfil.exchange import write_folder, write_workbook

    workbook = _is_workbook(path)
    _refuse_taken(path, workbook=workbook)
    require_data(store)
    dataset = store.dataset()
    (write_workbook if workbook else write_folder)(dataset, path)
    return WriteAnswer(str(path), counted(dataset))


def template(path: Path, *, xlsx: bool) -> WriteAnswer:
    """Writes empty tables with their headings and a page that explains each column.

    A workbook is written where one is asked for, or where the name ends in .xlsx. Where the name
    of a workbook has no ending it gets that one: without it nobody could load it.

    Raises Refused where files are there already: a template never writes over data.
    """
    from fulfil_models.columns import TABLES

    from fulfil.exchange import write_template

    if xlsx and not path.suffix:
        path = path.with_name(f"{path.name}.xlsx")
    workbook = _is_workbook(path)
    if xlsx and not workbook:
        raise Refused(f"{path} is no name of a workbook", "name a file that ends in .xlsx")
    _refuse_taken(path, workbook=workbook)
    if path.exists() and (workbook or any(path.iterdir())):
        raise Refused(
            f"{path} is there already", "name a new place; a template never writes over data"
        )
    write_template(path, xlsx=workbook)
    return WriteAnswer(str(path), tuple(Counted(name, 0) for name in TABLES))


_OTHER_FILES = {".csv", ".json", ".ods", ".tsv", ".txt", ".xls", ".xlsb", ".xlsm", ".zip"}
"""endings that a person gives to a file, never to a folder"""


def _is_workbook(path: Path) -> bool:
    return path.suffix.lower() == ".xlsx"


def _refuse_taken(path: Path, *, workbook: bool) -> None:
    """Raises Refused where the path is, or is named like, something else than what is written."""
    if workbook and path.is_dir():
        raise Refused(f"{path} is a folder", "name a file that ends in .xlsx")
    if not workbook and path.is_file():
        raise Refused(f"{path} is a file", "name a folder, or a file that ends in .xlsx")
    if not workbook and path.suffix.lower() in _OTHER_FILES and not path.is_dir():
        raise Refused(
            f"{path} is named like a kind of file that is not written",
            "name a folder, or a file that ends in .xlsx",
        )
