"""Pages of `explode` and `where-used`."""

from __future__ import annotations

from fulfil_models.bill_tree import BillTree, TreeLine
from fulfil_models.where_used import InBuild, Parent, WhereUsed

from fulfil.render import words
from fulfil.render.machine import plain
from fulfil.render.page import Page
from fulfil.render.text import ROWS, Column, left_out, paragraph, table

INDENT = ". "
"""one for each level below the first"""

TREE_COLUMNS = (
    Column("part"),
    Column("what it is", flexible=True),
    Column("quantity", right=True),
    Column("at\noperation", right=True),
    Column("how"),
    Column("stock free to use", flexible=True),
    Column(""),
)


def explode_page(tree: BillTree, *, every: bool) -> Page:
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
                f"{rule.component}: {rule.note} (verify with the local authority)"
            )
            out += paragraph(text, width, "  ")
        if not tree.lines:
            return [*out, "", "it has no bill"]
        out += ["", *table(TREE_COLUMNS, map(_tree_row, tree.lines[:limit]), width)]
        return out + left_out(len(tree.lines), limit)

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
        ),
        records=lambda: [
            {**plain(row), "free": sum(place["free"] for place in plain(row)["stock"])}
            for row in tree.lines
        ],
        notes=("quantities hold the scrap and are rounded up to whole steps; nothing is netted",),
    )


def _stock(places: tuple[object, ...]) -> str:
    rows = [plain(place) for place in places]
    return ", ".join(f"{row['free']:g} at {row['point']}" for row in rows)


def _tree_row(row: TreeLine) -> list[str]:
    return [
        f"{INDENT * (row.level - 1)}{row.part}",
        row.description or "",
        words.quantity(row.quantity_milli, row.unit),
        words.NOTHING if row.operation is None else str(row.operation),
        row.how,
        _stock(row.stock),
        "" if row.why == "bill" else row.why,
    ]


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


def where_used_page(found: WhereUsed, *, every: bool) -> Page:
    limit = max(len(found.parents), len(found.builds)) if every else ROWS

    def lines(width: int) -> list[str]:
        out = paragraph(f"{found.part} {found.description or ''}".rstrip(), width, "  ")
        for row in found.stands_in_for:
            approved = "approved" if row.approved else "NOT approved"
            out.append(f"may stand in for {row.part} ({approved})")
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
