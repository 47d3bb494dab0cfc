"""What to buy: the answer as text, JSON, CSV and workbook, and what becomes of it when accepted.

The small shop. B5 waits for a new engine, to be placed today. By the twelve months before, 0.396
towers a month are expected from April on: 0.792 until May, 1.584 until July, 2.772 until October
and 3.564 until December, so that half of one more is expected in each of them. ENG-A is stated to
take 21 days and nothing else is known: the safety stock of April is to be ordered on 11 March.
"""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import pytest
import small_shop
from fulfil_models.cells import MICRO
from fulfil_models.tables import PriceBreak, Purchase, Setting
from program import Run
from python_calamine import load_workbook

from fulfil.exchange import write_folder
from fulfil.render.buying import buy_page
from fulfil.store import data_hash, open_store
from fulfil.usecases.buying import Asked, buy
from fulfil.usecases.new_purchases import NOTHING_KEPT, kept

TEXT = """\
5 lines to order, USD 9,000.00: 1 today, 1 until 2026-03-08; 0 may come later than wanted by the
  record
ordering 250.00, buying 9,000.00 and holding 25.00 from 2026-03 to 2027-02: at most 0.00 % of this
  could be saved

                                   comes as   by record      cost
order on   supplier part  quantity stated     90 %          (USD) why
---------- -------- ----- -------- ---------- ---------- -------- ----------------------------------
2026-03-02 S1       ENG-A     1 ea 2026-03-23 2026-03-23 1,500.00 1 for B5
2026-03-11 S1       ENG-A     2 ea 2026-04-01 2026-04-01 3,000.00 1 forecast 2026-05; 1 safety stock
2026-06-10 S1       ENG-A     1 ea 2026-07-01 2026-07-01 1,500.00 1 forecast 2026-07
2026-09-10 S1       ENG-A     1 ea 2026-10-01 2026-10-01 1,500.00 1 forecast 2026-10
2026-11-10 S1       ENG-A     1 ea 2026-12-01 2026-12-01 1,500.00 1 forecast 2026-12

all go to BOI

no order brings these in time:

part   for  quantity  needed      comes
-----  ---  --------  ----------  -----  ------------------
GHOST  B6          1  2026-04-01  -      nobody supplies it
"""
NOTES = """\
note: plan 1, planning date 2026-03-02
note: needs are netted at stated dates; a line is ordered so early that 90 of 100 such orders come
  by the day it is needed
note: orders beyond the book are taken to come by chance, as large as those in it; the safety stock
  is for 95.00 % of order cycles
note: firm orders use up the forecast of the month they fall in; only what is left of it is counted,
  beside the firm needs
note: no forecast is given for LAMP, TOWER, TOWER-X: what is expected of them is the average of what
  was ordered in the 12 months before 2026-03
note: caution, ENG-A: ship dry: ask the carrier
"""


def test_the_lines_to_order(shop: Run) -> None:
    ran = shop("buy")
    assert (ran.code, ran.out, ran.err) == (0, TEXT, NOTES)


def change(**tables: object) -> None:
    """Puts other rows in the place of whole tables."""
    with open_store("fulfil.db") as store:
        store.replace_dataset(replace(store.dataset(), **tables))  # type: ignore[arg-type]


def engine_costs(amount: int | None) -> None:
    """Nobody gives a price, and an engine costs so much."""
    data = small_shop.dataset()
    cost = None if amount is None else amount * MICRO
    change(
        sources=tuple(replace(row, price_micro=None) for row in data.sources),
        price_breaks=(),
        parts=tuple(
            replace(row, cost_micro=cost) if row.part == "ENG-A" else row for row in data.parts
        ),
    )


def test_without_prices_the_cost_of_the_part_is_told_as_such(shop: Run) -> None:
    """The sum of the lines is what buying costs, in the same words as beside each line."""
    engine_costs(1200)
    ran = shop("buy")
    lines = ran.out.splitlines()
    # six engines in four lines: to keep one costs less than at 1,500
    assert lines[0].startswith("4 lines to order, USD 7,200.00 by the cost of the parts: 1 today")
    assert "buying 7,200.00 and holding" in ran.out
    assert [line.split()[7] for line in lines if line.startswith("2026-")] == [
        *("~1,200.00", "~2,400.00", "~1,200.00", "~2,400.00"),
    ]
    assert "note: ~ goes by the cost of the part, as the sizes do" in ran.err
    rows = list(csv.DictReader(io.StringIO(shop("buy", "--csv").out)))
    assert {row["cost"] for row in rows} == {""}  # what is sent to a supplier tells no such cost
    document = json.loads(shop("buy", "--json").out)
    assert sum(row["estimate"] for row in document["lines"]) == document["buying"] == 7200


def test_without_any_cost_that_is_said(shop: Run) -> None:
    engine_costs(None)
    ran = shop("buy")
    assert ran.out.startswith("4 lines to order, without a price: 1 today")
    assert (
        "note: where there is neither a price nor a cost of the part, sizes go by none" in ran.err
    )


def test_lines_with_and_without_a_price(shop: Run) -> None:
    """1,400 each from two on: so are sized those of one, of which no price is given."""
    engine_costs(None)
    change(
        price_breaks=(
            PriceBreak(
                part="ENG-A", supplier="S1", from_quantity_milli=2000, price_micro=1400 * MICRO
            ),
        )
    )
    ran = shop("buy")
    assert ran.out.startswith(
        "4 lines to order, USD 8,400.00, of it 2,800.00 by the cost of the parts (2 lines): 1 today"
    )


def test_one_part_that_nothing_is_to_be_bought_of(shop: Run) -> None:
    ran = shop("buy", "--part", "lamp")
    assert ran.code == 0
    assert ran.out.startswith("nothing is to be bought: what is there and on order covers all")


def test_json(shop: Run) -> None:
    document = json.loads(shop("buy", "--json", "--budget", "2000").out)
    assert (document["plan"], document["budget"], document["service"]) == (1, 2000, 0.95)
    first = document["lines"][0]
    assert (first["place_on"], first["quantity"], first["cost"]) == ("2026-03-02", 1, 1500)
    assert first["served"] == [
        {"why": "firm", "who": "B5", "quantity": 1, "day": "2026-03-23", "late_days": 0}
    ]
    assert document["accepted"] is None
    # 1500 for one engine a month, the budget allows no second
    due = [row["due_on"][:7] for row in document["lines"]]
    assert len(due) == len(set(due))


def test_what_waits_for_the_budget(shop: Run) -> None:
    # an engine is 1500, and 50 to order it
    ran = shop("buy", "--budget", "1549")
    assert ran.out.startswith("nothing can be bought for this budget")
    told = " ".join(ran.out.split())
    assert "these do not come in time, 1 of 2 for want of budget" in told
    assert "2026-03-23 - the budget lets no more come until 2027-02" in told
    assert "the budget is too small for what is expected of ENG-A" in told
    assert "of 1 part some does not come in these months at all" in told
    enough = shop("buy", "--budget", "1550").out
    assert "no order brings these in time" in enough
    assert "budget" not in enough


def test_the_price_of_waiting_is_named_apart(shop: Run) -> None:
    """Its share of the gap is no money: nobody pays it."""
    with open_store("fulfil.db") as store:
        found = buy(store, Asked())
    assert found.found.waiting_micro == 0
    waits = replace(found, found=replace(found.found, waiting_micro=5 * MICRO, gap=0.02))
    told = " ".join(buy_page(waits, None, every=False).lines(100))
    assert (
        "with 5.00 as the price of what waits for cash, at most 2.00 % of all that could be saved"
    ) in " ".join(told.split())


def test_csv_and_workbook_have_the_same_lines(shop: Run, tmp_path: Path) -> None:
    ran = shop("buy", "--csv", "--xlsx", "lines.xlsx")
    rows = list(csv.DictReader(io.StringIO(ran.out)))
    assert [row["place_on"] for row in rows] == [
        line.split()[0] for line in TEXT.splitlines() if line.startswith("2026-")
    ]
    sheet = load_workbook(tmp_path / "lines.xlsx").get_sheet_by_name("buy").to_python()
    assert sheet[0] == list(rows[0])
    assert [row[0].isoformat() for row in sheet[1:]] == [row["place_on"] for row in rows]
    assert [row[sheet[0].index("cost")] for row in sheet[1:]] == [
        float(row["cost"]) for row in rows
    ]


# ---- accepting


def purchases() -> list[Purchase]:
    with open_store("fulfil.db") as store:
        return [row for row in store.dataset().purchases if row.order.startswith("NEW")]


def test_accepting_adds_what_is_to_be_placed_within_a_week(shop: Run) -> None:
    ran = shop("buy", "--accept")
    assert ran.code == 0
    assert ran.out == (
        TEXT + "\nadded to the open purchases, not confirmed: NEW-1 (1 line); place them with the "
        "suppliers; the next\n  plan counts on them\n"
    )
    (row,) = purchases()
    assert (row.order, row.line, row.part, row.supplier, row.point) == (
        *("NEW-1", "1", "ENG-A", "S1", "BOI"),
    )
    assert (row.quantity_milli, str(row.ordered), str(row.due), row.confirmed) == (
        *(1000, "2026-03-02", "2026-03-23", False),
    )


def test_what_falls_on_a_weekend_is_ordered_on_the_friday_before(shop: Run) -> None:
    """16 days before Monday the 23rd are Saturday the 7th: ordered on the 6th, due all the same."""
    sources = small_shop.dataset().sources
    change(sources=tuple(replace(row, lead_days=16) for row in sources))
    ran = shop("buy", "--accept")
    assert "\n2026-03-07* " in ran.out
    assert ": 0 today, 1 until 2026-03-08;" in ran.out
    note = (
        "* falls on a Saturday or Sunday: order on the Friday before, for delivery on the day shown"
    )
    assert note in " ".join(ran.err.split())
    (row,) = purchases()
    assert (str(row.ordered), str(row.due)) == ("2026-03-06", "2026-03-23")


def test_nothing_is_ordered_by_a_plan_of_days_ago(shop: Run) -> None:
    """What is to be ordered today by such a plan was to be ordered on a day that has passed."""
    with open_store("fulfil.db") as store:
        data = store.dataset()
        settings = tuple(row for row in data.settings if row.key != "as_of")
        later = (*settings, Setting(key="as_of", value="2026-03-05"))
        store.replace_dataset(replace(data, settings=later))
        before = store.data_hash()
    ran = shop("buy", "--accept")
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.startswith("error: plan 1 is of 2026-03-02, and days to order by it may")
    with open_store("fulfil.db") as store:
        assert store.data_hash() == before


def test_what_is_made_is_not_bought(shop: Run) -> None:
    ran = shop("buy", "--part", "tower")
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.startswith("error: TOWER is made here and nobody supplies it")


def test_nothing_is_accepted_twice(shop: Run) -> None:
    shop("buy", "--accept", "--all")
    assert len(purchases()) == 5
    again = shop("buy", "--accept", "--all")
    assert again.code == 0
    assert again.out.startswith("nothing is to be bought")
    assert again.out.endswith(
        "nothing was to be placed by then, so nothing was added to the purchases\n"
    )
    assert len(purchases()) == 5


def test_numbers_are_never_used_again(shop: Run) -> None:
    with open_store("fulfil.db") as store:
        data = store.dataset()
        old = Purchase(
            order="NEW-7",
            line="1",
            part="LAMP",
            supplier="S1",
            point="BOI",
            quantity_milli=1000,
            ordered=data.purchases[0].ordered,
            due=data.purchases[0].due,
        )
        store.replace_dataset(replace(data, purchases=(*data.purchases, old)))
    shop("buy", "--accept")
    assert [row.order for row in purchases()] == ["NEW-7", "NEW-8"]


def test_the_next_plan_counts_on_it(shop: Run) -> None:
    shop("buy", "--accept")
    assert shop("plan", "--seconds", "1").code == 0
    document = json.loads(shop("purchases", "--open", "--json").out)
    assert "NEW-1" in {row["order"] for row in document["purchases"]}
    assert shop("purchases").out.startswith("the plan counts on no new orders")


def test_taking_it_back(shop: Run) -> None:
    before = shop("buy").out
    shop("buy", "--accept")
    ran = shop("buy", "--take-back", "new-1")
    assert (ran.code, ran.out) == (
        0,
        "taken back: NEW-1/1 ENG-A; the next plan does not count on them\n",
    )
    assert purchases() == []
    assert shop("buy").out == before
    with open_store("fulfil.db") as store:
        assert store.data_hash() == data_hash(small_shop.dataset())


@pytest.mark.parametrize("name", ["P1", "NEW-2"])
def test_only_what_was_decided_here_is_taken_back(shop: Run, name: str) -> None:
    assert "no purchase was decided on here" in shop("buy", "--take-back", "NEW-1").err
    shop("buy", "--accept")
    ran = shop("buy", "--take-back", name)
    assert (ran.code, ran.out) == (1, "")
    assert f"no order decided on here is called {name}" in ran.err


# ---- loading afterwards


def test_a_load_keeps_what_its_files_lack(shop: Run, tmp_path: Path) -> None:
    shop("buy", "--accept")
    write_folder(small_shop.dataset(), tmp_path / "files")
    ran = shop("load", "files")
    assert ran.code == 0
    told = " ".join(ran.out.split())
    assert (
        "kept, though these files lack it: NEW-1/1 (ENG-A), accepted from what is to be bought; if "
        "it was never placed, fulfil buy --take-back NEW-1"
    ) in told
    assert [row.order for row in purchases()] == ["NEW-1"]


def test_a_load_knows_it_under_another_name(shop: Run, tmp_path: Path) -> None:
    shop("buy", "--accept")
    (ours,) = purchases()
    data = small_shop.dataset()
    theirs = replace(ours, order="PO-9", confirmed=True)
    placed = replace(data, purchases=(*data.purchases, theirs))
    write_folder(placed, tmp_path / "files")
    ran = shop("load", "files")
    assert "NEW-1/1 as PO-9/1" in ran.out
    assert purchases() == []
    with open_store("fulfil.db") as store:
        assert store.data_hash() == data_hash(placed)


def test_each_line_of_the_files_stands_for_one() -> None:
    data = small_shop.dataset()
    line = replace(data.purchases[0], order="NEW-1")
    before = replace(data, purchases=(*data.purchases, line, replace(line, line="2")))
    new = replace(data, purchases=(*data.purchases, replace(line, order="PO-9")))
    found = kept(before, new)
    assert [row.line for row in found.lines] == ["2"]
    assert [(a.line, b.order) for a, b in found.known_as] == [("1", "PO-9")]
    gone = kept(before, replace(data, suppliers=()))
    assert (len(gone.dropped), gone.lines) == (2, ())
    assert kept(data, data) == NOTHING_KEPT


# ---- what cannot be asked


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (("--service", "1"), 2, "--service 1 is not above 0 and below 1"),
        (("--service", "nan"), 2, "--service nan is not above 0 and below 1"),
        (("--budget", "-1"), 2, "--budget -1 is below 0; give 0 or more"),
        (("--budget", "much"), 2, "--budget much is not a number"),
        (("--months", "0"), 2, "--months"),
        (("--part", "ENG-Z"), 1, "no part is called ENG-Z"),
        (("--supplier", "S9"), 1, "no supplier is called S9"),
        (("--xlsx", "lines.csv"), 1, "lines.csv is no name of a workbook"),
        (("--xlsx", "no/lines.xlsx"), 1, "there is no folder no"),
        (("--take-back", "NEW-1", "--accept"), 2, "--take-back stands alone"),
    ],
)
def test_what_cannot_be_asked(shop: Run, words: tuple[str, ...], code: int, told: str) -> None:
    ran = shop("buy", *words)
    assert (ran.code, ran.out) == (code, "")
    assert told in ran.err
