"""Pictures of cover: the one in plain text, drawn by hand, and the one in a file of its own."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from fulfil_models.cover import Outlook, PartCover, PeriodCover

from fulfil.errors import Refused
from fulfil.render.chart import chart, strips
from fulfil.render.svg_chart import picture, write_svg
from fulfil.usecases.basis import Basis
from fulfil.usecases.cover import Asked, CoverAnswer

WHOLE = 1000
NEVER = Outlook(None, None, None, None, 0, None)
SVG = "{http://www.w3.org/2000/svg}"


def period(month: int, firm: int, forecast: int, *balances: int) -> PeriodCover:
    first = date(2026, month, 1)
    until = (first + timedelta(31)).replace(day=1) - timedelta(1)
    left = [value * WHOLE for value in balances]
    return PeriodCover(
        f"2026-{month:02}", first, until, 0, firm * WHOLE, forecast * WHOLE, 0, 0, 0, *left, None
    )


PERIODS = (
    period(3, 2, 0, 4, 4, 4),
    period(4, 1, 3, 6, 2, -2),
    period(5, 0, 0, 0, 0, -2),
)


def row(name: str = "ENGINE", **more: object) -> PartCover:
    made = PartCover(
        part=name,
        description="engine <8 hp> & more",
        family="engine",
        unit="ea",
        on_hand_milli=6 * WHOLE,
        on_order_milli=0,
        kept_milli=0,
        kept_order_milli=0,
        kept_for=(),
        firm_milli=3 * WHOLE,
        forecast_milli=3 * WHOLE,
        how=("given",),
        stock_days=None,
        stated=NEVER,
        learnt_50=NEVER,
        learnt_90=Outlook(date(2026, 4, 20), None, 49, None, 2 * WHOLE, date(2026, 2, 2)),
        last_order=None,
        most_milli=None,
        hits=(),
        lines=(),
        periods=PERIODS,
    )
    return replace(made, **more)  # type: ignore[arg-type]


def found(*rows: PartCover, part: str | None = None) -> CoverAnswer:
    basis = Basis(1, date(2026, 3, 2), data_changed=False)
    asked = Asked(months=3, part=part, family=None if part else "engine")
    return CoverAnswer(basis, asked, date(2026, 5, 31), len(rows), rows, (), ())


def test_the_chart_by_hand() -> None:
    # 41 columns: 7 for the month, 1 for a figure, 10 of needs (at most 4), 20 of balance. The
    # balance runs from -2 to 6 in 19 steps: nothing left at 2 x 19 / 8 = 4, 2 at 9, 4 at 14, 6 at
    # 19. Half of the needs are 5 marks; of 4 in April 1 is firm: 2 marks (2.5, to the even one).
    assert chart(row(), 41) == [
        "         needs         -2     balance     6",
        "2026-03  2 #####           |         *",
        "2026-04  4 ##++++++++  9   |    5         S",
        "2026-05  0             9   *",
    ]


@pytest.mark.parametrize("width", [80, 100, 160])
def test_the_chart_fits_its_width(width: int) -> None:
    lines = chart(row(), width)
    assert max(map(len, lines)) <= width
    assert len({line.index("|") for line in lines[1:3]}) == 1


def test_a_chart_without_anything_to_draw() -> None:
    nothing = tuple(period(month, 0, 0, 0, 0, 0) for month in (3, 4))
    assert all(line.rstrip().endswith("*") for line in chart(row(periods=nothing), 80)[1:])


def test_strips_show_tenths_of_the_most_there_is() -> None:
    # of 6 on hand: 4 is 4 x 9 / 6 = 6 tenths, -2 is short
    assert strips([row()]) == [("ENGINE", "6!!")]


# ---- the file


def test_the_picture_is_one_file_that_reads_without_seeing_it() -> None:
    root = ET.fromstring(picture(found(row(), part="ENGINE")))
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == "title desc"
    assert root.findtext(f"{SVG}title") == "Cover of ENGINE until 2026-05-31"
    told = root.findtext(f"{SVG}desc") or ""
    assert "ENGINE: runs out - (stated dates), - (50 % dates), 2026-04-20 (90 % dates)" in told
    assert "last day to order passed since 2026-02-02" in told
    labels = [text.text or "" for text in root.iter(f"{SVG}text")]
    assert "ENGINE engine <8 hp> & more" in labels
    assert {"2026-03", "2026-04", "2026-05"} <= set(labels)
    # firm needs of March and April, forecast ones of April, each with its figures
    bars = [r for r in root.iter(f"{SVG}rect") if r.find(f"{SVG}title") is not None]
    assert len(bars) == 3
    assert len(list(root.iter(f"{SVG}polyline"))) == 3


def test_the_lines_are_where_the_figures_are() -> None:
    root = ET.fromstring(picture(found(row(), part="ENGINE")))
    by_90 = list(root.iter(f"{SVG}polyline"))[2].get("points") or ""
    ys = [float(point.split(",")[1]) for point in by_90.split()]
    # 6 on hand is the top, 110 = 76 + 34; -2 is the bottom, 320 below; 4 a quarter of the way
    assert ys == [110.0, 190.0, 430.0, 430.0]


def test_nothing_is_fetched_from_elsewhere() -> None:
    text = picture(found(row(), row("OTHER")))
    assert re.findall(r"https?://[^\"]+", text) == ["http://www.w3.org/2000/svg"]
    assert not re.search(r"href|url\(|@import|<script|<image", text)


def test_a_family_has_a_panel_for_each_part() -> None:
    one = ET.fromstring(picture(found(row())))
    two = ET.fromstring(picture(found(row(), row("OTHER"))))
    assert len(list(two.iter(f"{SVG}polyline"))) == 2 * len(list(one.iter(f"{SVG}polyline")))
    assert int(two.get("height") or 0) > int(one.get("height") or 0)


def test_what_xml_cannot_hold_is_left_out() -> None:
    ET.fromstring(picture(found(row(description="bell \x07 end"), part="ENGINE")))


@pytest.mark.parametrize("there", ["<svg></svg>", '<?xml version="1.0"?>\n<svg/>'])
def test_an_svg_is_written_anew(tmp_path: Path, there: str) -> None:
    path = tmp_path / "a.svg"
    path.write_text(there, encoding="utf-8")
    write_svg(path, "<svg>new</svg>")
    assert path.read_text(encoding="utf-8") == "<svg>new</svg>"


@pytest.mark.parametrize("there", ["", "data about <svg", "<?xml version='1.0'?><html/>"])
def test_nothing_else_is_written_over(tmp_path: Path, there: str) -> None:
    path = tmp_path / "a.svg"
    path.write_text(there, encoding="utf-8")
    with pytest.raises(Refused, match="is no SVG"):
        write_svg(path, "<svg/>")
    assert path.read_text(encoding="utf-8") == there


def test_no_folder_is_made_and_none_written_over(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="cannot be written"):
        write_svg(tmp_path / "none" / "a.svg", "<svg/>")
    with pytest.raises(Refused, match="is no SVG"):
        write_svg(tmp_path, "<svg/>")
