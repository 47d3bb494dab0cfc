"""What a sheet holds that its values do not tell: errors, formulas without a value, merged cells,
and how far it reaches.

The reader of values gives blanks for errors and for formulas that were never calculated, so the
sheet's own XML is looked at for these. Of its markup only the names of elements count, whatever
prefix they carry.
"""

from __future__ import annotations

import posixpath
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from xml.parsers import expat

from fulfil.exchange.archive import ArchiveError

_REFERENCE = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")
_LAST_ROW, _LAST_COLUMN = 1_048_576, 16_384

_ROW = re.compile(r"[0-9]{1,7}")

Cell = tuple[int, int]
"""row from 1, column from 0"""


@dataclass(slots=True)
class SheetScan:
    """What was found in one sheet, by cell."""

    errors: dict[Cell, str] = field(default_factory=dict)
    """the error as it is shown, e.g. #N/A"""
    unvalued: set[Cell] = field(default_factory=set)
    """formulas without a stored value"""
    merged: list[tuple[Cell, Cell]] = field(default_factory=list)
    """first and last cell of each range"""
    rows: int = 0
    columns: int = 0
    """how far cells with content reach"""


def sheet_parts(entries: dict[str, bytes]) -> dict[str, str]:
    """Name of the part that holds each worksheet, by the sheet's name.

    Raises ArchiveError where the workbook does not hang together.
    """
    main = next(
        (
            _target("", target)
            for kind, _, target in _relationships(entries.get("_rels/.rels", b""))
            if kind == "officeDocument"
        ),
        "",
    )
    if main not in entries:
        raise ArchiveError(
            "not-a-workbook", "is an archive but no workbook", "save it again as .xlsx"
        )
    folder, name = posixpath.split(main)
    rels = entries.get(f"{folder}/_rels/{name}.rels", b"")
    targets = {
        identifier: _target(folder, target)
        for kind, identifier, target in _relationships(rels)
        if kind == "worksheet"
    }
    parts: dict[str, str] = {}

    def start(tag: str, attributes: dict[str, str]) -> None:
        if tag == "sheet":
            part = targets.get(attributes.get("id", ""))
            if part in entries:
                parts[attributes.get("name", "")] = part

    _parse(entries[main], start)
    return parts


def _target(folder: str, target: str) -> str:
    if target.startswith("/"):
        return target[1:]
    return posixpath.normpath(posixpath.join(folder, target))


def _relationships(data: bytes) -> list[tuple[str, str, str]]:
    """Last word of the type, identifier and target of each relationship."""
    found: list[tuple[str, str, str]] = []

    def start(tag: str, attributes: dict[str, str]) -> None:
        if tag == "Relationship":
            kind = attributes.get("Type", "").rpartition("/")[2]
            found.append((kind, attributes.get("Id", ""), attributes.get("Target", "")))

    if data:
        _parse(data, start)
    return found


def scan_sheet(data: bytes) -> SheetScan:
    """Look through the XML of a worksheet.

    Raises ArchiveError for XML that is not well-formed.
    """
    scanner = _Scanner()
    _parse(data, scanner.start, scanner.end, scanner.text)
    return scanner.scan


class _Scanner:
    """Follows the elements of a worksheet."""

    def __init__(self) -> None:
        self.scan = SheetScan()
        self._row = 0
        self._column = -1
        self._type = ""
        self._has_formula = False
        self._has_content = False
        self._in_value = False
        self._value = ""

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        if tag == "c":
            self._start_cell(attributes)
        elif tag == "v":
            self._in_value = self._has_content = True
        elif tag == "f":
            self._has_formula = True
        elif tag == "is":
            self._has_content = True
        elif tag == "row":
            self._start_row(attributes.get("r"))
        elif tag == "mergeCell":
            self._merge(attributes.get("ref", ""))

    def _start_row(self, number: str | None) -> None:
        if number is None:
            self._row += 1
        elif _ROW.fullmatch(number) and 0 < int(number) <= _LAST_ROW:
            self._row = int(number)
        else:
            raise _no_place(number)
        self._column = -1

    def _start_cell(self, attributes: dict[str, str]) -> None:
        reference = attributes.get("r")
        if reference is None:
            self._column += 1
        else:
            self._row, self._column = _cell(reference)
        self._type = attributes.get("t", "")
        self._has_formula = self._has_content = False
        self._value = ""

    def _merge(self, reference: str) -> None:
        first, _, last = reference.partition(":")
        self.scan.merged.append((_cell(first), _cell(last or first)))

    def text(self, text: str) -> None:
        if self._in_value:
            self._value += text

    def end(self, tag: str) -> None:
        if tag == "v":
            self._in_value = False
        elif tag == "c":
            self._end_cell()

    def _end_cell(self) -> None:
        scan, cell = self.scan, (self._row, self._column)
        if self._type == "e":
            scan.errors[cell] = self._value or "an error"
        elif self._has_formula and not self._value and self._type != "str":
            # A text formula may well have the empty text for its value; any other has a value.
            scan.unvalued.add(cell)
        elif not self._has_content:
            return
        scan.rows = max(scan.rows, self._row)
        scan.columns = max(scan.columns, self._column + 1)


def _cell(reference: str) -> Cell:
    """The place that a reference such as B2 names.

    Anything else is refused: the reader of values might take it for a place far away, and make
    room for all the cells up to there.
    """
    match = _REFERENCE.fullmatch(reference)
    if match is None:
        raise _no_place(reference)
    column = 0
    for letter in match[1]:
        column = column * 26 + ord(letter) - ord("A") + 1
    row = int(match[2])
    if not 0 < row <= _LAST_ROW or column > _LAST_COLUMN:
        raise _no_place(reference)
    return row, column - 1


def _no_place(reference: str) -> ArchiveError:
    return ArchiveError(
        "not-a-workbook",
        f"is damaged: no sheet has a place {reference[:20]!r}",
        "save it again as .xlsx",
    )


def cell_name(cell: Cell) -> str:
    """Name of a cell as a spreadsheet shows it, e.g. B2."""
    row, column = cell
    letters = ""
    column += 1
    while column:
        column, letter = divmod(column - 1, 26)
        letters = chr(ord("A") + letter) + letters
    return f"{letters}{row}"


def _parse(
    data: bytes,
    start: Callable[[str, dict[str, str]], None],
    end: Callable[[str], None] | None = None,
    text: Callable[[str], None] | None = None,
) -> None:
    """Walk through XML with the local names of elements.

    Of attributes only those without a prefix are passed on, as the reader of values sees them, and
    identifiers of relationships, which always have one.
    """
    locals_of: dict[str, str] = {}

    def local(name: str) -> str:
        if name not in locals_of:
            locals_of[name] = name.rpartition(" ")[2]
        return locals_of[name]

    def on_start(name: str, attributes: dict[str, str]) -> None:
        start(
            local(name),
            {"id" if key.endswith(" id") else key: value for key, value in attributes.items()},
        )

    parser = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = True
    parser.StartElementHandler = on_start
    parser.StartDoctypeDeclHandler = _refuse_doctype
    if end is not None:
        parser.EndElementHandler = lambda name: end(local(name))
    if text is not None:
        parser.CharacterDataHandler = text
    try:
        parser.Parse(data, True)
    except (expat.ExpatError, LookupError, ValueError) as error:
        # The last two: an encoding that does not exist, or that XML is not read in.
        raise ArchiveError(
            "not-a-workbook", f"is damaged: {error}", "save it again as .xlsx"
        ) from error


def _refuse_doctype(*_: object) -> None:
    """No workbook declares a document type; one that does wants its entities expanded."""
    raise ArchiveError(
        "not-a-workbook", "holds XML that no workbook holds", "save it again as .xlsx"
    )
