"""How one table is read: its headings, its rows, its keys."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fulfil_models.cells import CellError
from fulfil_models.columns import Column, Table
from fulfil_models.findings import Finding, Severity, did_you_mean
from fulfil_models.reading_cells import cell_parser, code_of, stand_in


@dataclass(frozen=True, slots=True)
class RawTable:
    """A table as it was written.

    Attributes
    ----------
    name: of the table.
    file: file, or workbook and sheet, to name in findings.
    heading: its column headings.
    rows: number of each row as seen in the file or sheet, and its cells.
    heading_row: number of the heading's row.
    bad_cells: by number of the row and place in it, what is wrong with cells whose content could
        not even be had as text; None where it has been said already.
    """

    name: str
    file: str
    heading: tuple[str, ...]
    rows: Sequence[tuple[int, Sequence[str]]]
    heading_row: int = 1
    bad_cells: Mapping[tuple[int, int], CellError | None] = field(default_factory=dict)


class TableReader:
    """Reads one table, column by column: cells repeat, so each text is parsed once a column."""

    def __init__(self, spec: Table[Any], raw: RawTable) -> None:
        self.spec = spec
        self.raw = raw
        self.numbers: list[int] = []
        self.broken: defaultdict[int, set[str]] = defaultdict(set)
        """for a row, the attributes whose cells could not be read"""
        self.unreadable = False
        self.findings: list[Finding] = []
        self._rows: list[Sequence[str]] = []
        self._silent: set[int] = set()
        """rows with too few or too many cells, of which no single cell is reported"""
        self._keyless: set[int] = set()
        """rows whose key could not be read, which repeat no other"""

    def read(self) -> tuple[Any, ...]:
        places = self._places()
        if not places:
            return ()
        self._take_rows()
        values = [self._column(column, places.get(column.name)) for column in self.spec.columns]
        attributes = [column.attribute for column in self.spec.columns]
        make = self.spec.row
        rows = [
            make(**dict(zip(attributes, cells, strict=True))) for cells in zip(*values, strict=True)
        ]
        kept = tuple(self._without_repeats(rows))
        self.findings.sort(key=lambda finding: finding.row or 0)
        return kept

    def _find(
        self,
        severity: Severity,
        code: str,
        row: int | None,
        column: str | None,
        value: str | None,
        wrong: str,
        remedy: str,
    ) -> None:
        self.findings.append(
            Finding(severity, code, self.raw.file, row, column, value, wrong, remedy)
        )

    # ---- headings

    def _places(self) -> dict[str, int]:
        """Position of each known column, every fault of the heading being found; empty if there
        is no heading to read by."""
        heading = [name.strip() for name in self.raw.heading]
        if not any(heading):
            self.unreadable = True
            self._find(
                Severity.ERROR,
                "empty-file",
                None,
                None,
                None,
                "has no heading",
                f"write the columns in its first row: {self._columns()}; or remove it",
            )
            return {}
        known = {column.name: column for column in self.spec.columns}
        places: dict[str, int] = {}
        row = self.raw.heading_row
        for place, name in enumerate(heading):
            if not name:
                self._blank_heading(place, heading)
            elif name in places:
                self._find(
                    Severity.ERROR,
                    "duplicate-column",
                    row,
                    name,
                    None,
                    f"stands over columns {places[name] + 1} and {place + 1}",
                    "keep one of the two",
                )
            else:
                places[name] = place
                if name not in known:
                    unnamed = [other for other in known if other not in heading]
                    self._find(
                        Severity.WARNING,
                        "unknown-column",
                        row,
                        name,
                        None,
                        f"is no column of {self.spec.name} and is not read",
                        did_you_mean(name, unnamed) or f"the columns are {self._columns()}",
                    )
        for column in self.spec.columns:
            if column.required and column.name not in places:
                self.unreadable = self.unreadable or column.key
                self._find(
                    Severity.ERROR,
                    "missing-column",
                    row,
                    column.name,
                    None,
                    "is missing",
                    f"add the column {column.name}: {column.meaning}",
                )
        return places

    def _blank_heading(self, place: int, heading: list[str]) -> None:
        """A blank heading is harmless only at the right edge, with nothing below it."""
        below = any(len(cells) > place and cells[place].strip() for _, cells in self.raw.rows)
        if below or any(heading[place + 1 :]):
            self._find(
                Severity.ERROR,
                "blank-heading",
                self.raw.heading_row,
                None,
                None,
                f"has no heading over column {place + 1}",
                "name the column or remove it",
            )

    def _columns(self) -> str:
        return ", ".join(column.name for column in self.spec.columns)

    # ---- cells

    def _take_rows(self) -> None:
        """Keep every row that is not blank, and find those with too few or too many cells."""
        width = len(self.raw.heading)
        for number, cells in self.raw.rows:
            if len(cells) != width:
                if not any(cell.strip() for cell in cells):
                    continue
                extra = [cell for cell in cells[width:] if cell.strip()]
                if extra or len(cells) < width:
                    self._wrong_width(number, len(cells), width)
                    self._silent.add(len(self._rows))
            elif "".join(cells).strip() == "":
                continue
            self._rows.append(cells)
            self.numbers.append(number)
        every = {column.attribute for column in self.spec.columns}
        for index in self._silent:
            self.broken[index] |= every

    def _wrong_width(self, number: int, cells: int, width: int) -> None:
        many = cells > width
        self._find(
            Severity.ERROR,
            "too-many-cells" if many else "too-few-cells",
            number,
            None,
            None,
            f"has {cells} cells where the heading has {width}",
            "put text that has a comma in it between quotation marks"
            if many
            else "write a comma for every empty cell too",
        )

    def _column(self, column: Column, place: int | None) -> list[Any]:
        """Values of one column, stand-ins where a cell cannot be read."""
        if place is None:
            if column.required:
                for index in range(len(self._rows)):
                    self.broken[index].add(column.attribute)
                if column.key:
                    self._keyless.update(range(len(self._rows)))
                return [stand_in(column, "")] * len(self._rows)
            return [column.default_value] * len(self._rows)
        parse = cell_parser(column)
        known: dict[str, Any] = {}
        faults: dict[str, CellError] = {}
        values: list[Any] = []
        bad_cells = {row: error for (row, at), error in self.raw.bad_cells.items() if at == place}
        for index, cells in enumerate(self._rows):
            text = cells[place] if place < len(cells) else ""
            if self.numbers[index] in bad_cells:
                self._break(index, column, text, bad_cells[self.numbers[index]])
                values.append(stand_in(column, text))
                continue
            if text not in known:
                stripped = text.strip()
                try:
                    known[text] = parse(stripped)
                except CellError as error:
                    faults[text] = error
                    known[text] = stand_in(column, stripped)
            if text in faults:
                self._break(index, column, text.strip(), faults[text])
            values.append(known[text])
        return values

    def _break(self, index: int, column: Column, text: str, error: CellError | None) -> None:
        """Mark a cell as broken and report it, unless that was done already."""
        self.broken[index].add(column.attribute)
        if column.key:
            self._keyless.add(index)
        if error is not None and index not in self._silent:
            self._find(
                Severity.ERROR,
                code_of(column, error),
                self.numbers[index],
                column.name,
                text or None,
                error.wrong,
                error.remedy,
            )

    # ---- keys

    def _without_repeats(self, rows: list[Any]) -> Iterator[Any]:
        """The rows, less those whose key (or, where keys may repeat, whole row) came before."""
        first: dict[Any, int] = {}
        kept_numbers: list[int] = []
        kept_broken: defaultdict[int, set[str]] = defaultdict(set)
        for index, row in enumerate(rows):
            key = self.spec.key_of(row) if self.spec.unique else row
            if index not in self._keyless:
                if key in first:
                    self._repeated(index, first[key], row)
                    if self.spec.unique:
                        continue
                first.setdefault(key, self.numbers[index])
            if index in self.broken:
                kept_broken[len(kept_numbers)] = self.broken[index]
            kept_numbers.append(self.numbers[index])
            yield row
        self.numbers, self.broken = kept_numbers, kept_broken

    def _repeated(self, index: int, first: int, row: Any) -> None:
        if index in self._silent:
            return
        if not self.spec.unique:
            self._find(
                Severity.WARNING,
                "duplicate-row",
                self.numbers[index],
                None,
                None,
                f"says the same as row {first}",
                "remove one of the two if it was not meant twice; they add up",
            )
            return
        key = self.spec.key
        self._find(
            Severity.ERROR,
            "duplicate-key",
            self.numbers[index],
            ", ".join(column.name for column in key),
            ", ".join(column.kind.format(getattr(row, column.attribute)) for column in key),
            f"is given in row {first} already",
            "keep one of the two rows",
        )
