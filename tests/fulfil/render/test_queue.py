"""What an operation waits for, in words, and which rows of a long queue are shown."""

from __future__ import annotations

import dataclasses
from datetime import date, datetime, timedelta

import small_shop
from fulfil_models.plan import SupplyKind
from fulfil_models.queue import QueueEntry, Readiness, Wait, queue

from fulfil.render.queue import queue_page, state_words, wait_words
from fulfil.render.text import ROWS
from fulfil.usecases.basis import Basis
from fulfil.usecases.queue import QueueAnswer

MOMENT = datetime(2026, 3, 9, 8)
BOUGHT = Wait("E", "E", 1000, SupplyKind.PURCHASE, "purchase/P1/1", MOMENT, order="P1", line="1")
BASIS = Basis(plan=1, as_of=small_shop.AS_OF, data_changed=False)


def entries() -> tuple[QueueEntry, ...]:
    return queue(small_shop.dataset(), small_shop.plan(), days=None)


def test_waits_say_where_the_part_is() -> None:
    assert wait_words(BOUGHT) == "E (purchase P1/1) 2026-03-09 08:00"
    late = dataclasses.replace(BOUGHT, due=date(2026, 2, 20), past_due=True, confirmed=False)
    assert wait_words(late) == (
        "E (purchase P1/1, past due since 2026-02-20, not confirmed) 2026-03-09 08:00"
    )
    made = dataclasses.replace(BOUGHT, kind=SupplyKind.JOB, job="B1/10/E", work_centre="WELD")
    assert wait_words(made) == "E (made at WELD) 2026-03-09 08:00"


def test_only_what_can_be_started_today_is_clear_to_build() -> None:
    rows = {(row.job, row.operation): row for row in entries()}
    assert state_words(rows["B1", 10]) == "clear to build"
    # all its parts in hand, but the operation before is still to be done
    second = dataclasses.replace(rows["B1", 20], ready=Readiness.CLEAR, waits=())
    assert not second.can_start
    assert state_words(second) == "parts in hand; follows op. 10 at ASSY, done 2026-03-02 12:00"


def test_a_cut_list_is_whole_up_to_a_moment_at_every_work_centre() -> None:
    first = entries()[0]
    rows = tuple(
        dataclasses.replace(
            first, work_centre=centre, job=f"{centre}{n}", start=MOMENT + timedelta(minutes=n)
        )
        for centre in ("ASSY", "TEST")
        for n in range(ROWS)
    )
    page = queue_page(QueueAnswer(BASIS, 7, rows, None), every=False)
    lines = page.lines(100)
    # 40 rows are the first 20 minutes of both
    assert "ASSY at BOI" in lines
    assert "TEST at BOI" in lines
    assert sum(line.startswith("2026-03-09 08:") for line in lines) == ROWS
    assert not any(line.startswith("2026-03-09 08:20") for line in lines)
    assert any("shown up to 2026-03-09 08:19" in line for line in lines)
    assert len(page.records()) == 2 * ROWS


def test_an_empty_queue_says_when_it_goes_on() -> None:
    page = queue_page(QueueAnswer(BASIS, 1, (), MOMENT), every=False)
    assert page.lines(100) == [
        "nothing starts within 1 day from 2026-03-02; next at 2026-03-09 08:00"
    ]
