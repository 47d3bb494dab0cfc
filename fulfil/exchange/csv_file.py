"""One CSV file, taken apart into cells, with a finding for everything that is not RFC 4180."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Iterator
from pathlib import Path

from fulfil_models.columns import TABLES
from fulfil_models.findings import Finding, Severity
from fulfil_models.reading_table import RawTable

from fulfil.exchange.protection import is_free_text, unprotect

LARGEST_FILE = 256 * 2**20
"""bytes; a data set of a million rows is well below"""

_UTF_16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
_OTHER_DELIMITERS = {";": "semicolons", "\t": "tabs", "|": "vertical bars"}

# Possessive quantifiers: a quotation mark that closes nothing must not be looked for twice.
_FIELD = r'(?:"(?:[^"]++|"")*+"|[^",\r\n]*+)'
_RECORD = re.compile(rf"{_FIELD}(?:,{_FIELD})*+[\r\n]*")


class CsvFile:
    """Reads one file. `table` is None where nothing could be read.

    `incomplete` tells that there is more in the file than the table holds.
    """

    def __init__(self, path: Path) -> None:
        self.name = path.stem
        self.file = path.name
        self.table: RawTable | None = None
        self.incomplete = False
        self.findings: list[Finding] = []
        text = self._text(path)
        if text is not None:
            self._take_apart(text)
        if self.table is None:
            self.incomplete = True

    def _error(
        self, code: str, row: int | None, value: str | None, wrong: str, remedy: str
    ) -> None:
        self.findings.append(
            Finding(Severity.ERROR, code, self.file, row, None, value, wrong, remedy)
        )

    # ---- bytes to text

    def _text(self, path: Path) -> str | None:
        try:
            if path.stat().st_size > LARGEST_FILE:
                limit = LARGEST_FILE // 2**20
                self._error("too-large", None, None, f"is over {limit} MiB", "split or trim it")
                return None
            data = path.read_bytes()
        except OSError as error:
            reason = (error.strerror or type(error).__name__).lower()
            self._error(
                "unreadable", None, None, f"cannot be read: {reason}", "check that you may read it"
            )
            return None
        if data.startswith(_UTF_16) or data[:200].count(0) > len(data[:200]) // 4:
            self._error(
                "not-utf-8",
                None,
                None,
                "is in UTF-16, not UTF-8",
                "save it as CSV UTF-8, or convert it: "
                f"iconv -f UTF-16 -t UTF-8 {self.file} > converted.csv",
            )
            return None
        if data.startswith(b"PK\x03\x04"):
            self._error(
                "not-csv",
                None,
                None,
                "is a workbook or an archive, not CSV",
                "save the sheet as CSV UTF-8, or give the workbook itself",
            )
            return None
        try:
            return data.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            self._not_utf_8(data, error.start)
            return None

    def _not_utf_8(self, data: bytes, place: int) -> None:
        """Say what the bytes would be in the encoding that is most often met instead."""
        row = data.count(b"\n", 0, place) + 1
        begin = max(data.rfind(b"\n", 0, place), data.rfind(b",", 0, place)) + 1
        ends = [at for at in (data.find(b"\n", place), data.find(b",", place)) if at >= 0]
        cell = data[begin : min(ends, default=len(data))].strip()
        shown = cell.decode("cp1252", errors="replace")
        self._error(
            "not-utf-8",
            row,
            None,
            f'is not UTF-8; read as cp1252 (Windows) the cell says "{shown}"',
            "if that is right convert the file: "
            f"iconv -f CP1252 -t UTF-8 {self.file} > converted.csv; or save it as CSV UTF-8",
        )

    # ---- text to cells

    def _take_apart(self, text: str) -> None:
        records = (entry for entry in self._records(text) if any(map(str.strip, entry[1])))
        heading_row, heading = next(records, (1, []))
        if not heading:
            if not self.findings:
                # An empty table is told from a file without a heading by whoever reads it.
                self.table = RawTable(self.name, self.file, (), ())
            return
        if heading[0].strip().lower().startswith("sep="):
            self._error(
                "separator-line",
                heading_row,
                heading[0].strip(),
                "is a line for spreadsheet programs, where the headings should be",
                "remove the line, and keep commas between cells",
            )
            return
        if self._has_other_delimiter(heading_row, heading):
            return
        rows = list(records)
        if "'" in text:
            rows = list(self._unprotected(heading, rows))
        self.table = RawTable(self.name, self.file, tuple(heading), rows, heading_row)

    def _records(self, text: str) -> Iterator[tuple[int, list[str]]]:
        """Line number and cells of every record that can be read."""
        lines = list(io.StringIO(text, newline=""))
        reader = csv.reader(lines, strict=True)
        while True:
            begin = reader.line_num
            try:
                cells = next(reader)
            except StopIteration:
                return
            except csv.Error as error:
                self._bad_record(begin + 1, str(error))
                continue
            if reader.line_num - begin > 1 or '"' in lines[begin]:
                record = "".join(lines[begin : reader.line_num])
                if not _RECORD.fullmatch(record):
                    self._bad_record(begin + 1, "quote")
                    continue
            yield begin + 1, cells

    def _bad_record(self, row: int, reason: str) -> None:
        self.incomplete = True
        if "field limit" in reason:
            self._error(
                "too-long",
                row,
                None,
                f"has a cell of more than {csv.field_size_limit()} characters",
                "look for a quotation mark that is never closed, or shorten the text",
            )
        elif "unexpected end" in reason:
            self._error(
                "stray-quote",
                row,
                None,
                "opens a quotation mark that is never closed",
                'close it; inside quotation marks write "" for each "',
            )
        else:
            self._error(
                "stray-quote",
                row,
                None,
                "has a quotation mark in the middle of a cell",
                'put the whole cell between quotation marks and write "" for each " in it',
            )

    def _has_other_delimiter(self, row: int, heading: list[str]) -> bool:
        """Whether the heading only makes sense when taken apart at something else."""
        spec = TABLES.get(self.name)
        if spec is None:
            return False
        known = {column.name for column in spec.columns}
        if known & {cell.strip() for cell in heading}:
            return False
        line = ",".join(heading)
        for delimiter, words in _OTHER_DELIMITERS.items():
            if known & {cell.strip(' "') for cell in line.split(delimiter)}:
                self._error(
                    "wrong-delimiter",
                    row,
                    None,
                    f"has {words} between its cells",
                    "save it with commas between cells and a full stop before decimals, or load "
                    "the tables as sheets of one .xlsx workbook",
                )
                return True
        return False

    def _unprotected(
        self, heading: list[str], rows: list[tuple[int, list[str]]]
    ) -> Iterator[tuple[int, list[str]]]:
        spec = TABLES.get(self.name)
        free = {column.name for column in spec.columns if is_free_text(column)} if spec else set()
        places = [place for place, name in enumerate(heading) if name.strip() in free]
        for number, cells in rows:
            for place in places:
                if place < len(cells) and "'" in cells[place]:
                    cells[place] = unprotect(cells[place])
            yield number, cells
