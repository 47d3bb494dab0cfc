"""Page of `promise`: when something new could ship, why not sooner, and what would help."""

from __future__ import annotations

from fulfil_models.plan import Blocker
from fulfil_models.promise import Forward, Lever

from fulfil.render import words
from fulfil.render.common import answer, cautions
from fulfil.render.facts import facts
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.text import Column, paragraph, table
from fulfil.usecases.promise import PromiseAnswer

LADDER = (
    Column("what holds it up"),
    Column("until"),
    Column("days\nsooner", right=True),
    Column("why", flexible=True),
)
FORWARD = (
    Column("what would bring it forward", flexible=True),
    Column("ships"),
    Column("days\nsooner", right=True),
    Column("costs more", right=True),
)
APPROVAL = (
    "an alternate needs approval by engineering for this machine: shaft power, speed, shaft and "
    "coupling, pressure rating, emission rules of the region it ships to"
)


def promise_page(found: PromiseAnswer) -> Page:
    def lines(width: int) -> list[str]:
        asked = found.asked
        name = f"{asked.product}{f' {found.description}' if found.description else ''}"
        out = [*paragraph(name, width, "  "), *facts(_facts(found), width)]
        out += ["", *table(LADDER, map(_rung, found.build.blockers), width)]
        if found.forward:
            out += ["", *table(FORWARD, map(_forward, found.forward), width)]
        return out

    return Page(
        lines=lines,
        document=lambda: answer(
            found.basis,
            asked=plain(found.asked),
            ships=plain(found.build.ships),
            finish=plain(found.build.finish),
            lead_days=found.build.lead_days,
            arrives=plain(found.arrives),
            carrier_days=found.carrier_days,
            days_past_wanted=found.days_past_wanted,
            blockers=plain(found.build.blockers),
            reasons=plain(found.build.reasons),
            forward=plain(found.forward),
            regional=plain(found.regional),
        ),
        notes=_notes(found),
    )


def _facts(found: PromiseAnswer) -> list[tuple[str, str]]:
    asked, build = found.asked, found.build
    told = [
        (
            "ships",
            f"{build.ships} from {build.point}, taking nothing from anyone; "
            f"{words.days(build.lead_days)} from {build.ordered}",
        )
    ]
    if found.arrives is not None:
        carrier = words.count(found.carrier_days or 0, "carrier day")
        told.append(("arrives", f"{found.arrives} in {asked.destination} ({carrier})"))
    elif asked.destination is not None:
        told.append(("arrives", f"unknown: no delivery from {build.point} to {asked.destination}"))
    if asked.wanted is not None:
        late = found.days_past_wanted
        told.append(("wanted", f"{asked.wanted}: {_against(late)}"))
    return told


def _against(late: int) -> str:
    return f"no, {words.days(late)} later; the list says what stands in the way" if late else "yes"


def _rung(row: Blocker) -> list[str]:
    until = words.NOTHING if row.until is None else words.moment(row.until)
    names = {"part": f"part {row.what}", "work_centre": f"queue at {row.what}", "work": "the work"}
    return [names.get(row.kind.value, row.what), until, str(row.days), row.why]


def _forward(row: Forward) -> list[str]:
    text = {
        Lever.ALTERNATE: f"{row.by} in place of {row.what}",
        Lever.EXPEDITE: f"{row.what} expedited from {row.by}",
        Lever.TRANSFER: f"{row.what} moved from {row.by}",
    }[row.lever]
    return [text, row.ships.isoformat(), str(row.days_sooner), words.money(row.cost)]


def _notes(found: PromiseAnswer) -> tuple[str, ...]:
    notes = [*found.basis.notes, "nothing is held for it: the next question may take it"]
    notes += [
        f"{component}: {note}; verify with the local authority"
        for component, note in found.regional
    ]
    if any(row.lever is Lever.ALTERNATE for row in found.forward):
        notes.append(APPROVAL)
    return (*notes, *cautions(found.cautions))
