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


_LOOK_ALIKE = str.maketrans("oilsbzg", "0115826")
"""letters that are taken for digits in print and in handwriting"""
_SEPARATORS = str.maketrans("", "", "-_ ./")
_SHORTEST = 3
"""characters of a name of which one may be wrong; of shorter ones too little would be left"""
_LIKENESS = 0.65
"""how alike names must be that differ by more than a slip: `Notes` is not meant to be `lanes`"""


def nearest(name: str, known: Iterable[str]) -> list[str]:
    """Up to three known names that look like a name, the likest first.

    Names that only differ in capitals, separators or characters that look alike (O and 0) are it,
    and nothing else is named beside them. Then come two characters that changed places, then one
    that is wrong, missing or too many, then what is alike on the whole.
    """
    by_lower: dict[str, str] = {}
    for candidate in sorted(known):
        by_lower.setdefault(candidate.lower(), candidate)
    lower = name.lower()
    if lower in by_lower:
        return [by_lower[lower]]
    slips = sorted((rank, word) for word in by_lower if (rank := _slip(lower, word)) is not None)
    same = [word for rank, word in slips if rank == 0]
    words = same or [word for _, word in slips]
    if not same and len(words) < 3:
        alike = get_close_matches(lower, by_lower, n=3, cutoff=_LIKENESS)
        words += [word for word in alike if word not in words]
    return [by_lower[word] for word in words[:3]]


def _slip(name: str, known: str) -> int | None:
    """How a name came from a known one, the likeliest slip being 0; None if by more than one."""
    left, right = (
        word.translate(_SEPARATORS).translate(_LOOK_ALIKE) or word for word in (name, known)
    )
    if left == right:
        return 0
    if abs(len(left) - len(right)) > 1 or max(len(left), len(right)) < _SHORTEST:
        return None
    begin = _in_common(left, right)
    left, right = left[begin:], right[begin:]
    end = _in_common(left[::-1], right[::-1])
    left, right = left[: len(left) - end], right[: len(right) - end]
    if len(left) == 2 and left == right[::-1]:
        return 1
    return 2 if max(len(left), len(right)) == 1 else None


def _in_common(left: str, right: str) -> int:
    """How many characters two texts begin with together."""
    pairs = enumerate(zip(left, right, strict=False))
    return next((at for at, (a, b) in pairs if a != b), min(len(left), len(right)))


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
