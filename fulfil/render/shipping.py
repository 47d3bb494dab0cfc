"""Page of `transfers`."""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

from fulfil_models.moves import Move
from fulfil_models.plan import SupplyKind

from fulfil.render import words
from fulfil.render.common import answer, cautions
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.text import ROWS, Column, left_out, table
from fulfil.usecases.shipping import TransfersAnswer


class Load(NamedTuple):
    """One departure of a lane."""

    leaves: date
    origin: str
    destination: str
    arrives: date


DEPARTURE_COLUMNS = (
    Column("leaves"),
    Column("from"),
    Column("to"),
    Column("arrives"),
    Column("transfers", right=True),
    Column("weight\n(kg)", right=True),
)
MOVE_COLUMNS = (
    Column(""),
    Column("part", flexible=True),
    Column("what it is", flexible=True),
    Column("quantity", right=True),
    Column("weight\n(kg)", right=True),
    Column("drawn from", flexible=True),
    Column("needed"),
    Column("for", flexible=True),
)


def transfers_page(found: TransfersAnswer, *, every: bool) -> Page:
    limit = len(found.moves) if every else ROWS

    def lines(width: int) -> list[str]:
        until = "" if found.until is None else f" until {found.until}"
        if not found.moves:
            of = f" (of {words.count(found.total, 'transfer')} in the plan)" if found.total else ""
            return [f"nothing is to be moved{until}{of}"]
        loads = _loads(found.moves)
        out = [
            f"{words.count(len(found.moves), 'transfer')} on "
            f"{words.count(len(loads), 'departure')}{until}"
        ]
        if len(loads) > 1:
            rows = [_load_row(load, moves) for load, moves in loads.items()]
            out += ["", *table(DEPARTURE_COLUMNS, rows, width)]
        for load, moves in _loads(found.moves[:limit]).items():
            head = f"{load.leaves} {load.origin} to {load.destination}, arrives {load.arrives}"
            out += ["", head, *table(MOVE_COLUMNS, map(_move_row, moves), width)]
        more = left_out(len(found.moves), limit, "--days, --from or --to")
        return out + ([""] if more else []) + more

    return Page(
        lines=lines,
        document=lambda: answer(
            found.basis, total=found.total, until=found.until, transfers=found.moves
        ),
        headings=(
            "leaves_on",
            "arrives_on",
            "usable",
            "origin",
            "destination",
            "part",
            "description",
            "quantity",
            "unit",
            "weight_kg",
            "supply",
            "from_supply",
            "source",
            "there_on",
            "needed_on",
            "for_whom",
        ),
        records=lambda: [
            {**plain(row), "for_whom": [whom.who for whom in row.for_whom]} for row in found.moves
        ],
        notes=(*found.basis.notes, *cautions((row.part, row.caution) for row in found.moves)),
    )


def _loads(moves: tuple[Move, ...]) -> dict[Load, list[Move]]:
    """What leaves together, in order of the day."""
    loads: dict[Load, list[Move]] = {}
    for row in moves:
        load = Load(row.leaves_on, row.origin, row.destination, row.arrives_on)
        loads.setdefault(load, []).append(row)
    return loads


def _load_row(load: Load, moves: list[Move]) -> list[str]:
    return [
        load.leaves.isoformat(),
        load.origin,
        load.destination,
        load.arrives.isoformat(),
        str(len(moves)),
        words.kilograms(_weight_g(moves)),
    ]


def _weight_g(rows: list[Move]) -> int | None:
    """Weight of all together; None where that of any is not given."""
    weights = [row.weight_g for row in rows if row.weight_g is not None]
    return sum(weights) if len(weights) == len(rows) else None


def _move_row(row: Move) -> list[str]:
    source = words.SUPPLY_WORDS[row.source]
    if row.source is not SupplyKind.STOCK:
        source = f"{source}, there {row.there_on}"
    whom = words.listed(list(dict.fromkeys(use.who for use in row.for_whom)), 3)
    return [
        "",
        row.part,
        row.description or "",
        words.quantity(row.quantity_milli, row.unit),
        words.kilograms(row.weight_g),
        source,
        words.day(row.needed_on),
        whom or words.NOTHING,
    ]
