"""What a customer asks for, as it is typed, and held against the data."""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from fulfil_models.room import Request
from fulfil_models.tables import BuildOption, Part, RoutingStep, WorkCentre
from sales_shop import AS_OF, FIRST, SECOND, THIRD, book, dump, planned, ships
from tiny_shop import DAY, build, delivery, march, shop

from fulfil.errors import Refused
from fulfil.exchange import write_folder, write_workbook
from fulfil.store.session import Store
from fulfil.usecases.accepting import accept_quote
from fulfil.usecases.asking import (
    Asked,
    ask_file,
    ask_machine,
    ask_parts,
    parse_amounts,
    parse_day,
    parse_weight,
)
from fulfil.usecases.basis import refuse_unknown
from fulfil.usecases.promise import promise

pytestmark = pytest.mark.usefixtures("monday")


# ---- as it is typed


def test_amounts() -> None:
    assert parse_amounts(["LAMP=2", " HOSE = 0.125", "SKID=-1"], "--option") == (
        ("LAMP", 2000),
        ("HOSE", 125),
        ("SKID", -1000),
    )


@pytest.mark.parametrize(
    ("text", "wrong"),
    [
        ("LAMP", "--part LAMP is not PART=QTY"),
        ("=2", "--part =2 is not PART=QTY"),
        ("LAMP=", "--part LAMP= "),
        ("LAMP=two", "--part LAMP=two is not a number"),
        ("LAMP=0.0005", "--part LAMP=0.0005 has more than 3 decimal places"),
    ],
)
def test_what_is_no_amount(text: str, wrong: str) -> None:
    with pytest.raises(Refused) as caught:
        parse_amounts([text], "--part")
    assert caught.value.wrong.startswith(wrong)


def test_weights_and_days() -> None:
    assert (parse_weight(None), parse_weight(" 2.5"), parse_weight("0")) == (10**6, 2_500_000, 0)
    assert (parse_day(None), parse_day(" 2026-03-04")) == (None, march(4))
    for text in ("-1", "heavy", "1,5"):
        with pytest.raises(Refused, match=f"weight {text}"):
            parse_weight(text)
    for text in ("soon", "2026-02-30", "04.03.2026"):
        with pytest.raises(Refused, match=f"{text} is no date"):
            parse_day(text)


# ---- several machines from files


def _rows(path: Path, name: str, headings: str, *rows: str) -> None:
    path.mkdir(exist_ok=True)
    with (path / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(headings.split())
        for row in rows:
            cells = row.split()
            writer.writerow(cells + [""] * (len(headings.split()) - len(cells)))


BUILDS = "build product point ordered"
OPTIONS = "build component quantity"


def test_several_machines_from_a_folder(store: Store, tmp_path: Path) -> None:
    folder = tmp_path / "order"
    _rows(folder, "builds", BUILDS, "N1 machine a 2026-03-02", "N2 MACHINE A 2026-03-02")
    _rows(folder, "build_options", OPTIONS, "N2 ENGINE 1")
    found = promise(store, ask_file(folder))
    # N1 has the engine on the shelf; N2 needs two: P1/1 of the 16th, and one ordered today. The
    # other way round N2 would have two on the 16th, and N1 one on the 31st
    assert found.ships == THIRD
    assert {row.build for row in found.builds} == {"N1", "N2"}
    assert max(row.ships for row in found.builds) == THIRD
    made = accept_quote(store, found.quote)
    assert made.names == ("N1", "N2")
    assert {row.build: row.promised for row in store.dataset().builds} == {
        "B1": march(2),
        "B2": march(3),
        "N1": FIRST,  # each is promised for the day that was told of it
        "N2": THIRD,
    }
    assert [row.build for row in store.dataset().build_options] == ["N2"]
    assert max(ships(store)[name] for name in made.names) == THIRD


@pytest.mark.parametrize(
    ("first", "second", "late", "worst"),
    [(4, 20, 0, "N1"), (3, 20, 1, "N1"), (9, 11, 5, "N2"), (3, 11, 5, "N2"), (9, 20, 0, "N2")],
)
def test_each_machine_has_a_wanted_day_of_its_own(
    store: Store, tmp_path: Path, first: int, second: int, late: int, worst: str
) -> None:
    """N1 ships on 03-04, N2 on 03-16. In time both, the one with less time to spare is told."""
    folder = tmp_path / "order"
    rows = (f"N1 MACHINE A 2026-03-02 {march(first)}", f"N2 MACHINE A 2026-03-02 {march(second)}")
    _rows(folder, "builds", f"{BUILDS} promised", *rows)
    found = promise(store, ask_file(folder))
    assert [row.comes for row in found.wanted] == [FIRST, SECOND]
    wanted = {row.what: row.day for row in found.wanted}
    assert (found.days_past_wanted, found.due) == (late, wanted[worst])
    accept_quote(store, found.quote)
    promised = {row.build: row.promised for row in store.dataset().builds}
    assert promised["N1"] == max(FIRST, march(first))
    assert promised["N2"] == max(SECOND, march(second))


@pytest.mark.parametrize("write", [write_folder, write_workbook])
def test_a_whole_data_set_will_do(
    store: Store, tmp_path: Path, write: Callable[[Any, Path], None]
) -> None:
    path = tmp_path / "order.xlsx" if write is write_workbook else tmp_path / "order"
    builds = (build("N1", None, ordered=AS_OF), build("N2", None, ordered=AS_OF, status="quoted"))
    done = (build("N3", None, status="done"), build("N4", None, status="cancelled"))
    options = (BuildOption(build="N3", component="ENGINE", quantity_milli=1000),)
    write(book(builds=builds + done, build_options=options), path)
    asked = ask_file(path, wanted=SECOND)
    assert [row.build for row in asked.request.builds] == ["N1", "N2"]
    assert asked.request.options == ()
    found = promise(store, asked)
    assert [(row.build, row.ships) for row in found.builds] == [("N1", FIRST), ("N2", SECOND)]
    assert (found.ships, found.due, found.days_past_wanted) == (SECOND, SECOND, 0)


def test_an_order_has_names_of_its_own(store: Store, tmp_path: Path) -> None:
    _rows(tmp_path / "order", "builds", BUILDS, "N1 MACHINE A 2026-03-02")
    promise(store, ask_file(tmp_path / "order"))
    before = dump(store)
    with pytest.raises(Refused, match="the builds of Q1 have names of their own"):
        accept_quote(store, 1, name="N7")
    assert dump(store) == before


@pytest.mark.parametrize(
    ("builds", "options", "wrong"),
    [
        (("N1 MACHIN A 2026-03-02",), (), "no product is called MACHIN"),
        (("N1 MACHINE C 2026-03-02",), (), "no point is called C"),
        (("N1 MACHINE B 2026-03-02",), (), "MACHINE is not assembled at B"),
        (("N1 ENGINE A 2026-03-02",), (), "ENGINE is no product"),
        (("B1 MACHINE A 2026-03-02",), (), "a build B1 is in the data already"),
        (("N1 MACHINE A soon",), (), "builds.csv, row 2, ordered: soon"),
        (("N1 MACHINE A",), (), "builds.csv, row 2"),
        ((), (), "order has no builds to be made"),
        (("N1 MACHINE A 2026-03-02",), ("N2 ENGINE 1",), "no build is called N2"),
        (("N1 MACHINE A 2026-03-02",), ("N1 ENGIN 1",), "no part is called ENGIN"),
        (("N1 MACHINE A 2026-03-02",), ("N1 ENGINE -2",), "has 1 of ENGINE at operation 10, 2 "),
        (("N1 MACHINE A 2026-03-02",), ("N1 ENGINE 1 30",), "30 is no operation of MACHINE"),
        (("N1 MACHINE A 2026-03-02",), ("N1 ENGINE x",), "build_options.csv, row 2, quantity: x"),
    ],
)
def test_files_that_cannot_be_asked_about(
    store: Store, tmp_path: Path, builds: tuple[str, ...], options: tuple[str, ...], wrong: str
) -> None:
    folder = tmp_path / "order"
    _rows(folder, "builds", BUILDS, *builds)
    _rows(folder, "build_options", f"{OPTIONS} operation", *options)
    before = dump(store)
    with pytest.raises(Refused) as caught:
        promise(store, ask_file(folder))
    assert wrong in caught.value.wrong
    assert caught.value.remedy
    assert dump(store) == before


def test_files_without_what_is_needed(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="nowhere is not there"):
        ask_file(tmp_path / "nowhere")
    _rows(tmp_path / "order", "build_options", OPTIONS, "N1 ENGINE 1")
    with pytest.raises(Refused) as caught:
        ask_file(tmp_path / "order")
    assert "builds" in caught.value.wrong
    _rows(tmp_path / "twice", "builds", BUILDS, *["N1 MACHINE A 2026-03-02"] * 2)
    with pytest.raises(Refused, match="N1"):
        ask_file(tmp_path / "twice")


# ---- held against the data


@pytest.mark.parametrize(
    ("asked", "wrong", "remedy"),
    [
        (ask_machine("MACHNE"), "no product is called MACHNE", "did you mean MACHINE?"),
        (ask_machine("MACHINE", "B"), "MACHINE is not assembled at B", "its work centres stand"),
        (ask_machine("MACHINE", "C"), "no point is called C", "known are A, B"),
        (
            ask_machine("MACHINE", options=(("ENGNE", 1000),)),
            "no part is called ENGNE",
            "did you mean ENGINE",
        ),
        (
            ask_machine("MACHINE", options=(("ENGINE", -1001),)),
            "the bill of MACHINE has 1 of ENGINE at operation 10, 1.001 cannot be taken away",
            "take away no more than it has",
        ),
        (
            ask_machine("MACHINE", options=(("ENGINE", -500), ("ENGINE", -600))),
            "1.1 cannot be taken away",
            "take away no more than it has",
        ),
        (
            ask_machine("MACHINE", wanted=date(2026, 2, 27)),
            "2026-02-27 is before the planning date 2026-03-02",
            "ask for that day or a later one",
        ),
        (
            ask_parts((("ENGINE", 1000),), "US-NV"),
            "nothing is known of deliveries",
            "fill the table `deliveries`",
        ),
    ],
)
def test_what_can_never_be(store: Store, asked: Asked, wrong: str, remedy: str) -> None:
    before = dump(store)
    with pytest.raises(Refused) as caught:
        promise(store, asked)
    assert wrong in caught.value.wrong
    assert caught.value.remedy.startswith(remedy)
    assert dump(store) == before


@pytest.mark.parametrize(
    ("part", "milli", "to", "wrong"),
    [
        ("ENGIN", 1000, "US-NV", "no part is called ENGIN"),
        ("ENGINE", 0, "US-NV", "0 of ENGINE cannot be sent"),
        ("ENGINE", -1000, "US-NV", "-1 of ENGINE cannot be sent"),
        ("ENGINE", 1500, "US-NV", "issued in steps of 1, 1.5 is no multiple"),
        ("ENGINE", 1000, "CA-ON", "no destination is called CA-ON"),
    ],
)
def test_parts_that_can_never_be_sent(
    tmp_path: Path, part: str, milli: int, to: str, wrong: str
) -> None:
    with planned(tmp_path / "fulfil.db", book(deliveries=(delivery("A"),))) as store:
        before = dump(store)
        with pytest.raises(Refused) as caught:
            promise(store, ask_parts(((part, milli),), to))
        assert wrong in caught.value.wrong
        assert dump(store) == before


def test_an_option_is_taken_from_the_operation_it_names(tmp_path: Path) -> None:
    step = RoutingStep(part="MACHINE", operation=20, work_centre="CELL", minutes_milli=1000)
    data = book(routings=(*book().routings, step))

    def less(operation: int | None) -> Asked:
        row = BuildOption(build="N1", component="ENGINE", quantity_milli=-1000, operation=operation)
        return Asked(Request((build("N1", None, ordered=AS_OF),), (row,)), named=True)

    with planned(tmp_path / "fulfil.db", data) as store:
        assert promise(store, less(None)).quote == promise(store, less(10)).quote - 1
        # the bill's line is of operation 10
        with pytest.raises(Refused, match="has 0 of ENGINE at operation 20, 1 cannot"):
            promise(store, less(20))


def test_a_product_that_is_assembled_at_another_point(tmp_path: Path) -> None:
    other = RoutingStep(part="OTHER", operation=10, work_centre="CELL-B", minutes_milli=DAY * 1000)
    data = book(
        parts=(*shop().parts, Part(part="OTHER", make=True)),
        work_centres=(*shop().work_centres, WorkCentre(work_centre="CELL-B", point="B")),
        routings=(*shop().routings, other),
    )
    with planned(tmp_path / "fulfil.db", data) as store:
        # the point need not be named; nobody works at B, and no parts are needed
        found = promise(store, ask_machine("other"))
        assert [(row.product, row.point, row.ships) for row in found.builds] == [
            ("OTHER", "B", AS_OF)
        ]
        two = RoutingStep(part="OTHER", operation=20, work_centre="CELL", minutes_milli=1000)
        store.replace_dataset(replace(data, routings=(*data.routings, two)))
        with pytest.raises(Refused, match="OTHER"):
            promise(store, ask_machine("OTHER"))


@pytest.mark.parametrize(
    ("known", "told"),
    [
        (["A", "B"], "known are A, B"),
        (["OLD-TEXAS-YARD", "TEXAS-STOCK-YARD"], "did you mean TEXAS-STOCK-YARD?"),
        (["OLD-TEXAS-YARD", "OHIO"], "did you mean OLD-TEXAS-YARD?"),
        (list("EDCBA"), "known are A, B, C, D, E"),
        # codes stand before regions: of ten every second is told
        ([*"0123456", "US-GA", "US-OR", "US-TX"], "known are 0, 2, 4, 6, US-OR and more"),
    ],
)
def test_names_of_every_kind_are_told(known: list[str], told: str) -> None:
    assert refuse_unknown("destination", "Texas", known).remedy == told
