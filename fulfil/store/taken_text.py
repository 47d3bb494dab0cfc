"""What a plan has taken, as text and back.

It follows from the plan and the data it was made from, and is kept beside the plan since it is
asked for with a customer on the phone: to work it out anew takes far longer than to read it.
"""

from __future__ import annotations

import json
from dataclasses import fields
from datetime import date, datetime
from typing import Any

from fulfil_models.tables import Purchase
from fulfil_models.taken import Busy, Holding, Taken

_PURCHASE = tuple(field.name for field in fields(Purchase))


def taken_text(taken: Taken) -> str:
    content = {
        "lots": [[*key, milli] for key, milli in taken.lots_milli.items()],
        "orders": [[_plain(getattr(row, name)) for name in _PURCHASE] for row in taken.orders],
        "busy": [
            [
                row.work_centre,
                row.starts.isoformat(),
                row.ends.isoformat(),
                row.stations,
                row.who,
                row.started,
            ]
            for row in taken.busy
        ],
        "holdings": [
            [row.part, row.point, row.usable.isoformat(), row.who] for row in taken.holdings
        ],
        "drawers": [[*key, names] for key, names in taken.drawers.items()],
        "moves": [[a, b, day.isoformat()] for a, b, day in sorted(taken.moves)],
    }
    return json.dumps(content, ensure_ascii=False, separators=(",", ":"))


def taken_of(text: str) -> Taken:
    """What `taken_text` was given."""
    content = json.loads(text)
    moment = datetime.fromisoformat
    return Taken(
        lots_milli={(kind, a, b): milli for kind, a, b, milli in content["lots"]},
        orders=tuple(_purchase(cells) for cells in content["orders"]),
        busy=tuple(
            Busy(centre, moment(starts), moment(ends), stations, who, started)
            for centre, starts, ends, stations, who, started in content["busy"]
        ),
        holdings=tuple(
            Holding(part, point, moment(usable), who)
            for part, point, usable, who in content["holdings"]
        ),
        drawers={(kind, a, b): tuple(names) for kind, a, b, names in content["drawers"]},
        # texts of before have none
        moves=frozenset((a, b, date.fromisoformat(day)) for a, b, day in content.get("moves", ())),
    )


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date) else value


def _purchase(cells: list[Any]) -> Purchase:
    values = dict(zip(_PURCHASE, cells, strict=True))
    for name in ("ordered", "due"):
        values[name] = date.fromisoformat(values[name])
    return Purchase(**values)
