"""Pages of `explode` and `where-used`."""

from __future__ import annotations

from collections import Counter

from fulfil_models.bill_tree import AtPoint, BillTree, TreeLine
from fulfil_models.cells import PPM, format_decimal
from fulfil_models.where_used import InBuild, InOrder, Parent, StandsInFor, WhereUsed

from fulfil.render import words
from fulfil.render.common import to_verify
from fulfil.render.machine import number, plain
from fulfil.render.page import Page
from fulfil.render.text import GAP, ROWS, Column, left_out, paragraph, table

INDENT = ". "
"""one for each level below the first"""

LEAST_DESCRIPTION = 24
"""columns that a description should have before stock is shown point by point"""


def explode_page(tree: BillTree, *, every: bool, points: bool = False) -> Page:
    """The indented bill.

    Parameters
    ----------
    points: show the stock of every point, and no descriptions where there is no room for both.
    """
    limit = len(tree.lines) if every else 2 * ROWS

    def lines(width: int) -> list[str]:
        top = f"{words.quantity(tree.quantity_milli, tree.unit)} of {tree.top}"
        head = f"build {tree.build}: {top}" if tree.build is not None else top
        if tree.description:
            head += f", {tree.description}"
        out = paragraph(f"{head}; bill of {tree.ordered}", width, "  ")
        if tree.stock:
            out.append(f"in stock: {_stock(tree.stock)}")
        if tree.options:
            changes = ", ".join(
                f"{words.signed(row.quantity_milli)} {row.component}" for row in tree.options
            )
            out += paragraph(f"options: {changes}", width, "  ")
        for rule in tree.rules:
            text = (
                f"commonly required in {rule.region}: {words.quantity(rule.quantity_milli)} "
                f"{rule.component}: {to_verify(rule.note)}"
            )
            out += paragraph(text, width, "  ")
        if not tree.lines:
            return [*out, "", "it has no bill"]
        return [
            *out,
            "",
            *_tree_table(tree, tree.lines[:limit], width, points=points),
            *left_out(len(tree.lines), limit),
        ]

    return Page(
        lines=lines,
        document=lambda: plain(tree),
        headings=(
            "level",
            "part",
            "description",
            "parent",
            "operation",
            "quantity",
            "unit",
            "how",
            "why",
            "free",
            "free_by_point",
        ),
        records=lambda: [
            {
                **plain(row),
                "free": number(row.free_milli, 3),
                "free_by_point": [
                    f"{place.point}:{words.quantity(place.free_milli)}" for place in row.stock
                ],
            }
            for row in tree.lines
        ],
        notes=("quantities hold the scrap and are rounded up to whole steps; nothing is netted",),
    )


def _stock(places: tuple[AtPoint, ...]) -> str:
    return ", ".join(f"{words.quantity(row.free_milli)} at {row.point}" for row in places)


def _tree_table(
    tree: BillTree, rows: tuple[TreeLine, ...], width: int, *, points: bool
) -> list[str]:
    """The table of a bill: stock at every point where there is room, else at the point that
    builds it, or holds most parts, and elsewhere together."""
    held = Counter(place.point for row in rows for place in row.stock)
    home = tree.point or max(sorted(held), key=lambda point: held[point], default="")
    others = [point for point in sorted(held) if point != home]
    matrix = [*([home] if home else []), *others]
    wide = sum(max(len(word) for word in _point_words(point)) + len(GAP) for point in matrix)
    plain_width = sum(
        max(len(cell) for cell in column) + len(GAP)
        for column in zip(*(_fixed_cells(row) for row in rows), strict=True)
    )
    everywhere = points or plain_width + len(GAP) + wide + LEAST_DESCRIPTION <= width
    described = not points or plain_width + len(GAP) + wide + LEAST_DESCRIPTION <= width
    columns = [
        Column("part"),
        *((Column("what it is", flexible=True),) if described else ()),
        Column("quantity", right=True),
        Column("oper-\nation", right=True),
        Column("how"),
        Column(""),
    ]
    if everywhere:
        heads = [_point_words(point) for point in matrix]
        heads[:1] = [["free at", *head] for head in heads[:1]]
        columns += [Column("\n".join(head), right=True) for head in heads]
    elif home:
        columns.append(Column(f"free at\n{home}", right=True))
        if others:
            columns.append(Column("else-\nwhere", right=True))
    cells = []
    for row in rows:
        part, quantity, operation, how, why = _fixed_cells(row)
        free = {place.point: place.free_milli for place in row.stock}
        cell = [part, *((row.description or "",) if described else ())]
        cell += [quantity, operation, how, why]
        if everywhere:
            cell += [_units(free.get(point, 0)) for point in matrix]
        elif home:
            here = free.pop(home, 0)
            cell.append(_units(here))
            if others:
                cell.append(_units(sum(free.values())))
        cells.append(cell)
    out = table(columns, cells, width)
    if others and not everywhere:
        out += ["", "stock at every point: --points"]
    return out


def _point_words(point: str) -> list[str]:
    """A point's name in a narrow heading: broken after a hyphen."""
    first, hyphen, rest = point.partition("-")
    return [first + hyphen, rest] if rest else [point]


def _units(milli: int) -> str:
    return words.quantity(milli) if milli else words.NOTHING


def _fixed_cells(row: TreeLine) -> tuple[str, str, str, str, str]:
    return (
        f"{INDENT * (row.level - 1)}{row.part}",
        words.quantity(row.quantity_milli, row.unit),
        words.NOTHING if row.operation is None else str(row.operation),
        row.how,
        "" if row.why == "bill" else row.why,
    )


PARENT_COLUMNS = (
    Column("goes into"),
    Column("what it is", flexible=True),
    Column("each takes", right=True),
    Column("so one has", right=True),
    Column("at\noperation", right=True),
    Column("", flexible=True),
)
BUILD_COLUMNS = (
    Column("build"),
    Column("product", flexible=True),
    Column("point"),
    Column("promised"),
    Column("takes", right=True),
)


ASKED_COLUMNS = (
    Column("order\nand line"),
    Column("goes to", flexible=True),
    Column("to ship by"),
    Column("takes", right=True),
)


def where_used_page(found: WhereUsed, *, every: bool) -> Page:
    most = max(len(found.parents), len(found.builds), len(found.orders))
    limit = most if every else ROWS

    def lines(width: int) -> list[str]:
        out = paragraph(f"{found.part} {found.description or ''}".rstrip(), width, "  ")
        for row in found.stands_in_for:
            out += paragraph(f"may stand in for {row.part}: {_approval(row)}", width, "  ")
        for row in found.replaced_by:
            out += paragraph(f"may be replaced by {row.part}: {_approval(row)}", width, "  ")
        if found.parents:
            rows = [_parent_row(row, found.unit) for row in found.parents[:limit]]
            out += ["", *table(PARENT_COLUMNS, rows, width)]
            out += left_out(len(found.parents), limit)
        else:
            out += ["", "no bill calls for it"]
        if found.builds:
            total = words.quantity(found.total_milli, found.unit)
            out += [
                "",
                f"{words.count(len(found.builds), 'open build')} "
                f"{'takes' if len(found.builds) == 1 else 'take'} {total} together",
                "",
                *table(
                    BUILD_COLUMNS,
                    [_build_row(row, found.unit) for row in found.builds[:limit]],
                    width,
                ),
            ]
            out += left_out(len(found.builds), limit)
        else:
            out += ["", "no open build takes it"]
        if found.orders:
            total = words.quantity(found.ordered_milli, found.unit)
            ask = "asks" if len(found.orders) == 1 else "ask"
            rows = [_order_row(row, found.unit) for row in found.orders[:limit]]
            out += [
                "",
                f"{words.count(len(found.orders), 'line')} of parts orders {ask} for {total} of it",
                "",
                *table(ASKED_COLUMNS, rows, width),
                *left_out(len(found.orders), limit),
            ]
        return out

    return Page(
        lines=lines,
        document=lambda: plain(found),
        headings=("build", "product", "point", "promised", "quantity"),
        records=lambda: [plain(row) for row in found.builds],
        notes=(
            "builds are counted with their options, region rules and scrap; nothing is netted "
            "against stock",
        ),
    )


def _parent_row(row: Parent, unit: str) -> list[str]:
    return [
        f"{INDENT * (row.level - 1)}{row.part}",
        row.description or "",
        words.quantity(row.each_milli),
        words.quantity(row.in_one_milli, unit),
        words.NOTHING if row.operation is None else str(row.operation),
        _parent_note(row),
    ]


def _parent_note(row: Parent) -> str:
    notes = ["top"] if row.top else []
    if not row.in_effect:
        notes.append("not in effect")
    if row.starts is not None:
        notes.append(f"from {row.starts}")
    if row.ends is not None:
        notes.append(f"until {row.ends}")
    return " ".join(notes)


def _build_row(row: InBuild, unit: str) -> list[str]:
    return [
        row.build,
        row.product,
        row.point,
        words.day(row.promised),
        words.quantity(row.quantity_milli, unit),
    ]


def _order_row(row: InOrder, unit: str) -> list[str]:
    return [
        f"{row.order}/{row.line}",
        row.destination,
        words.day(row.promised),
        words.quantity(row.quantity_milli, unit),
    ]


def _approval(row: StandsInFor) -> str:
    """Whether an alternate may be used, and how many take the place of one."""
    text = "approved" if row.approved else "NOT approved, engineering decides"
    if row.ratio_ppm != PPM:
        text += f", {format_decimal(row.ratio_ppm, 6)} for one"
    return text
