"""Aligned tables in a given width."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from fulfil.render.text import Column, left_out, paragraph, table

COLUMNS = (Column("name"), Column("late\n(days)", right=True), Column("why", flexible=True))


def test_numbers_stand_right_and_headings_end_on_the_same_line() -> None:
    assert table(COLUMNS, [["A", "5", "engine"], ["LONGER", "12", "queue"]]) == [
        "          late",
        "name    (days)  why",
        "------  ------  ------",
        "A            5  engine",
        "LONGER      12  queue",
    ]


def test_a_long_cell_is_wrapped_by_words_and_never_cut() -> None:
    # 40 columns less 4 + 6 and two gaps of 2 leave 26 for the last one
    rows = [["A", "5", "waits for the engine that comes by sea in May"]]
    assert table(COLUMNS, rows, 40) == [
        "        late",
        "name  (days)  why",
        "----  ------  --------------------------",
        "A          5  waits for the engine that",
        "              comes by sea in May",
    ]


def test_names_are_not_broken_at_hyphens() -> None:
    rows = [["A", "5", "made by job B-2105/30/MAST-9H today"]]
    lines = table(COLUMNS, rows, 40)
    assert lines[3:] == ["A          5  made by job", "              B-2105/30/MAST-9H today"]


def test_columns_without_heading_and_content_are_left_out() -> None:
    columns = (Column("a"), Column(""), Column("b"))
    assert table(columns, [["1", "", "2"]]) == ["a  b", "-  -", "1  2"]
    assert table(columns, [["1", "x", "2"]]) == ["a     b", "-  -  -", "1  x  2"]


def test_gaps_become_narrower_before_a_row_is_folded() -> None:
    columns = (Column("first"), Column("second"), Column("third"))
    # 5 + 6 + 5 and two gaps: 20 with gaps of two, 18 with gaps of one
    assert table(columns, [["a", "b", "c"]], 20)[0] == "first  second  third"
    assert table(columns, [["a", "b", "c"]], 18) == [
        "first second third",
        "----- ------ -----",
        "a     b      c",
    ]


def test_what_does_not_fit_goes_on_a_line_of_its_own() -> None:
    columns = (Column("build"), Column("ships"), Column("what holds\nit up", flexible=True))
    rows = [["B-1", "2026-03-02", "part ENG-A"], ["B-2", "2026-03-03", ""]]
    # 5 + 10 + 14 and two gaps of one are 31; its heading and its words want no more than 14
    assert table(columns, rows, 24) == [
        "build  ships",
        "    what holds it up",
        "-----  ----------",
        "B-1    2026-03-02",
        "    part ENG-A",
        "B-2    2026-03-03",
    ]


def test_what_has_no_heading_has_no_line_for_it_below_the_others() -> None:
    columns = (Column("build"), Column("ships"), Column(""))
    assert table(columns, [["B-1", "2026-03-02", "not confirmed"], ["B-2", "-", ""]], 24) == [
        "build  ships",
        "-----  ----------",
        "B-1    2026-03-02",
        "    not confirmed",
        "B-2    -",
    ]


def test_no_column_is_narrower_than_its_heading_or_its_words() -> None:
    columns = (Column("what comes or goes", flexible=True), Column("why", flexible=True))
    lines = table(columns, [["made by B-2105/30/MAST-9H", "so that it is here " * 4]], 38)
    # the heading is 18 wide, the name that cannot be broken 17
    assert lines[0].startswith("what comes or goes  why")
    assert any("B-2105/30/MAST-9H" in line for line in lines)
    assert max(map(len, lines)) <= 38


def test_the_widest_column_gives_way_first() -> None:
    columns = (Column("a", flexible=True), Column("b", flexible=True))
    # 60 and 20 in 62: b keeps its 20, a gets 62 - 20 - 2 = 40
    lines = table(columns, [["x " * 30, "y" * 20]], 62)
    assert lines[1] == "-" * 40 + "  " + "-" * 20


words = st.text(alphabet="abcdefgh", min_size=1, max_size=12)


@given(
    st.lists(
        st.tuples(words, st.integers(0, 10**6).map(str), st.lists(words, max_size=40)), max_size=8
    )
)
def test_nothing_is_lost_and_the_width_is_kept(rows: list[tuple[str, str, list[str]]]) -> None:
    lines = table(COLUMNS, [[name, days, " ".join(why)] for name, days, why in rows], 60)
    assert all(len(line) <= 60 for line in lines)
    shown = " ".join(lines).split()
    for name, days, why in rows:
        for word in (name, days, *why):
            assert word in shown


def test_a_cut_list_says_how_to_see_the_rest() -> None:
    assert left_out(40, 40) == []
    assert left_out(700, 40, "--late") == ["660 more of 700: --all shows them; --late shows fewer"]
    assert left_out(700, 40, "--late, --customer, --point or --product") == [
        "660 more of 700: --all shows them; --late, --customer, --point or --product",
        "  shows fewer",
    ]
    assert left_out(41, 40) == ["1 more of 41: --all shows them"]


def test_paragraphs() -> None:
    assert paragraph("one two three", 8, "  ") == ["one two", "  three"]
    assert paragraph("", 8) == [""]
