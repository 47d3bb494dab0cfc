"""What is wrong with a data set: one finding for each problem, with its place and its remedy."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum

_SHOWN = 60
"""characters of a value that a line of text shows"""


class Severity(StrEnum):
    """An error keeps the whole data set out; a warning does not."""

    ERROR = "error"
    WARNING = "warning"


@dataclass(frozen=True, slots=True)
class Finding:
    """One problem of a data set.

    Attributes
    ----------
    severity: whether it keeps the data set out.
    code: short reason that stays the same from version to version.
    file: file, or workbook and sheet, it is in; the folder or workbook where a whole table is
        missing.
    row: row as seen in the file or sheet, 1 being the heading; None where it is no one row.
    column: heading of the column; None where it is no one column.
    value: what stands there, as text.
    wrong: what is wrong with it.
    remedy: what would mend it.
    """

    severity: Severity
    code: str
    file: str
    row: int | None
    column: str | None
    value: str | None
    wrong: str
    remedy: str

    @property
    def is_error(self) -> bool:
        return self.severity is Severity.ERROR

    def text(self) -> str:
        """The finding as one line: severity, place, value, what is wrong, remedy, code."""
        place = [self.file]
        if self.row is not None:
            place.append(f"row {self.row}")
        if self.column is not None:
            place.append(f"column {self.column}")
        value = "" if self.value is None else f"{_quoted(self.value)} "
        line = f"{self.severity}: {', '.join(place)}: {value}{self.wrong}; {self.remedy}"
        return f"{line} [{self.code}]"


def _quoted(value: str) -> str:
    """A value between quotation marks, on one line and of bounded length."""
    shown = value if len(value) <= _SHOWN else value[: _SHOWN - 3] + "..."
    plain = "".join(c if c.isprintable() else repr(c)[1:-1] for c in shown)
    return f'"{plain}"'


class DataError(ValueError):
    """A data set with errors; `findings` lists all of them and the warnings too."""

    def __init__(self, findings: Iterable[Finding]) -> None:
        self.findings = tuple(findings)
        super().__init__("\n".join(finding.text() for finding in self.findings))


def has_errors(findings: Iterable[Finding]) -> bool:
    return any(finding.is_error for finding in findings)


def nearest(name: str, known: Iterable[str]) -> list[str]:
    """Up to three known names that look like a name, the likest first."""
    by_lower: dict[str, str] = {}
    for candidate in sorted(known):
        by_lower.setdefault(candidate.lower(), candidate)
    return [by_lower[word] for word in get_close_matches(name.lower(), by_lower, n=3)]


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """`did you mean A or B?`, or an empty text where nothing is near."""
    near = nearest(name, known)
    return f"did you mean {' or '.join(near)}?" if near else ""


def listed(names: Iterable[str], most: int = 10) -> str:
    """Names with commas between, the first few of many."""
    every = list(names)
    shown = ", ".join(every[:most])
    return shown if len(every) <= most else f"{shown} and {len(every) - most} more"


def counted(number: int, one: str, many: str) -> str:
    """`1 line` or `2 lines`."""
    return f"{number} {one if number == 1 else many}"
