"""A book as purchasing looks at it, months ahead, made of a given one.

    python tests/bench_ahead.py BOOK FOLDER

writes the data set of a folder, grown, to another folder: a forecast of its products for 24 months,
and 2,000 parts that can be bought, each with a record of past deliveries, needed by some products.
Nothing is drawn at random: the same book grows in the same way.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path

from bench_books import firm
from bench_promises import PLANNED_SECONDS
from bench_results import CHECK_SECONDS, succeeded
from bench_runs import command, run
from fulfil_models.cells import MICRO, MILLI
from fulfil_models.months import months_ahead
from fulfil_models.settings import parse_settings
from fulfil_models.tables import (
    BillLine,
    Dataset,
    Demand,
    Part,
    PriceBreak,
    Purchase,
    Receipt,
    Source,
    Stock,
    Supplier,
    TakeRate,
)

MONTHS = 24
PARTS = 2_000
"""that can be bought"""
SUPPLIERS = 40
USES = 4
"""products that a new part goes into"""
RECEIPTS = 8
"""past deliveries of each part that can be bought"""
YEAR_MILLI = MILLI
"""machines of a product expected in a year"""
OPTION_PPM = 300_000
"""share of the machines of a product that take a part which is not in its bill"""


@dataclass(frozen=True)
class _Bought:
    """A part that is new in the book, and all that is made up about it."""

    number: int
    products: tuple[str, ...]
    firm_milli: int
    """what firm builds need of it"""

    @property
    def part(self) -> str:
        return f"BUY{self.number:04}"

    @property
    def supplier(self) -> str:
        return f"V{self.number % SUPPLIERS:02}"

    @property
    def second(self) -> str | None:
        """Of every tenth part, who supplies it as well."""
        return None if self.number % 10 else f"V{(self.number + 7) % SUPPLIERS:02}"

    @property
    def each(self) -> int:
        """Units that a machine takes."""
        return _each(self.number)

    @property
    def lead_days(self) -> int:
        return 14 + self.number * 13 % 77

    @property
    def price_micro(self) -> int:
        return (5 + self.number * 37 % 400) * MICRO

    @property
    def stock_milli(self) -> int:
        """Three fifths of what is ordered, so that few builds wait for it."""
        return _units(self.firm_milli * 3, 5)

    @property
    def coming_milli(self) -> int:
        """A quarter of what is ordered."""
        return _units(self.firm_milli, 4)


def _each(number: int) -> int:
    return 1 + number % 4


def _units(milli: int, parts: int) -> int:
    """A share of a quantity in whole units, one at least."""
    return max(milli // parts // MILLI, 1) * MILLI


def grown(dataset: Dataset, today: date, months: int = MONTHS, parts: int = PARTS) -> Dataset:
    """A book with a forecast of its products, and so many parts that can be bought.

    Each product with a firm build is expected once a year, a part of a machine in every month. The
    parts that are new go into some of these products each; most of what firm builds need of them is
    there or on order, what is expected besides is not. Parts that could be bought before get past
    deliveries, too.

    Parameters
    ----------
    today: planning date where the settings have none.
    """
    as_of = parse_settings(dataset.settings, today).as_of
    counts = Counter(row.product for row in firm(dataset))
    products = sorted(counts)
    point = Counter(row.point for row in firm(dataset)).most_common(1)[0][0]
    there = len({row.part for row in dataset.sources})
    bought = [_bought(number, products, counts) for number in range(max(parts - there, 0))]
    return replace(
        dataset,
        parts=dataset.parts + tuple(_part(row) for row in bought),
        bills=dataset.bills + tuple(line for row in bought for line in _lines(row)),
        suppliers=dataset.suppliers + tuple(_suppliers(bought)),
        sources=dataset.sources + tuple(s for row in bought for s in _sources(row, point)),
        price_breaks=dataset.price_breaks + tuple(_breaks(bought)),
        stock=dataset.stock
        + tuple(
            Stock(point=point, part=row.part, quantity_milli=row.stock_milli) for row in bought
        ),
        purchases=dataset.purchases + tuple(_purchase(row, point, as_of) for row in bought),
        receipts=dataset.receipts + tuple(_receipts(dataset, bought, point, as_of)),
        demand=tuple(_demand(products, months_ahead(as_of, months))),
        take_rates=tuple(_take_rates(products, bought)),
    )


def _bought(number: int, products: Sequence[str], counts: Counter[str]) -> _Bought:
    apart = max(len(products) // USES, 1)
    places = {(number * 3 + use * apart) % len(products) for use in range(USES)}
    into = tuple(products[place] for place in sorted(places))
    builds = sum(counts[product] for product in into)
    return _Bought(number, into, builds * _each(number) * MILLI)


def _part(row: _Bought) -> Part:
    return Part(part=row.part, family=f"bought {row.number % 12}", cost_micro=row.price_micro)


def _lines(row: _Bought) -> Iterator[BillLine]:
    for product in row.products:
        yield BillLine(parent=product, component=row.part, quantity_milli=row.each * MILLI)


def _suppliers(bought: Sequence[_Bought]) -> Iterator[Supplier]:
    names = {row.supplier for row in bought} | {row.second for row in bought if row.second}
    yield from (Supplier(supplier=name) for name in sorted(names))


def _sources(row: _Bought, point: str) -> Iterator[Source]:
    first = Source(
        part=row.part,
        supplier=row.supplier,
        point=point,
        lead_days=row.lead_days,
        minimum_milli=(2 + row.number % 5) * MILLI,
        multiple_milli=MILLI,
        price_micro=row.price_micro,
    )
    yield first
    if row.second is not None:  # dearer, and sooner there
        price_micro, lead_days = row.price_micro * 6 // 5, row.lead_days // 2
        second = replace(first, supplier=row.second, price_micro=price_micro, rank=2)
        yield replace(second, lead_days=lead_days)


def _breaks(bought: Sequence[_Bought]) -> Iterator[PriceBreak]:
    """A tenth less from 20 units on, of every fourth part."""
    for row in bought:
        if row.number % 4 == 0:
            yield PriceBreak(
                part=row.part,
                supplier=row.supplier,
                from_quantity_milli=20 * MILLI,
                price_micro=row.price_micro * 9 // 10,
            )


def _purchase(row: _Bought, point: str, as_of: date) -> Purchase:
    """An open line of each; every twelfth is past due, every fifth not confirmed."""
    ordered = as_of - timedelta(row.lead_days - 1 - row.number % 13)
    due = ordered + timedelta(row.lead_days)
    if row.number % 12 == 0:
        ordered, due = ordered - timedelta(20), as_of - timedelta(1 + row.number % 9)
    return Purchase(
        order=f"PO-{row.part}",
        line="1",
        part=row.part,
        supplier=row.supplier,
        point=point,
        quantity_milli=row.coming_milli,
        ordered=ordered,
        due=due,
        confirmed=row.number % 5 > 0,
    )


def _receipts(
    dataset: Dataset, bought: Sequence[_Bought], point: str, as_of: date
) -> Iterator[Receipt]:
    """Past deliveries of all that can be bought, some of them late."""
    first = {row.part: row for row in dataset.sources}
    known = [(row.part, row.supplier, row.point, row.lead_days) for row in first.values()]
    known += [(row.part, row.supplier, point, row.lead_days) for row in bought]
    for number, (part, supplier, place, lead_days) in enumerate(known):
        for past in range(RECEIPTS):
            late = max((number * 5 + past * 11) % 17 - 8, 0)  # half are on time
            received = as_of - timedelta(10 + 70 * past + number % 50)
            due = received - timedelta(late)
            yield Receipt(
                order=f"RO-{part}-{past}",
                line="1",
                part=part,
                supplier=supplier,
                point=place,
                quantity_milli=5 * MILLI,
                ordered=due - timedelta(lead_days),
                due=due,
                received=received,
            )


def _demand(products: Sequence[str], months: Sequence[str]) -> Iterator[Demand]:
    """What is expected of a year, in thousandths that add up to it."""
    for product in products:
        for place, month in enumerate(months):
            so_far, before = ((place + over) * YEAR_MILLI // 12 for over in (1, 0))
            yield Demand(part=product, month=month, quantity_milli=so_far - before)


def _take_rates(products: Sequence[str], bought: Sequence[_Bought]) -> Iterator[TakeRate]:
    """For each product a new part that is not in its bill."""
    for place, product in enumerate(products):
        others = (bought[(place + more) % len(bought)] for more in range(len(bought)))
        option = next((row.part for row in others if product not in row.products), None)
        if option is not None:
            yield TakeRate(product=product, component=option, rate_ppm=OPTION_PPM)


def purchasable(dataset: Dataset) -> int:
    """Parts that can be bought."""
    return len({row.part for row in dataset.sources})


def write_grown(dataset: Dataset, folder: Path) -> None:
    """Writes the grown book as a folder of tables."""
    from fulfil.exchange import write_folder

    write_folder(grown(dataset, datetime.now().astimezone().date()), folder)


def prepare(dataset: Dataset, folder: Path) -> None:
    """Grows a book in a folder, loads it there, plans, and accepts the plan to work by."""
    write_grown(dataset, folder / "book")
    words = (("load", "book"), ("plan", "--seconds", f"{PLANNED_SECONDS:g}"), ("accept",))
    for each in words:
        succeeded(run(command(*each), folder, 3 * PLANNED_SECONDS + CHECK_SECONDS), each[0])


def main() -> None:
    from fulfil.exchange import load_rows

    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n")[0])
    parser.add_argument("book", type=Path, metavar="BOOK")
    parser.add_argument("folder", type=Path, metavar="FOLDER")
    asked = parser.parse_args()
    dataset, findings = load_rows(asked.book, datetime.now().astimezone().date())
    if dataset is None:
        raise SystemExit("\n".join(finding.text() for finding in findings))
    write_grown(dataset, asked.folder)


if __name__ == "__main__":
    main()
