"""The archive that a workbook is: opened only after its declared sizes have been looked at.

What is needed of it is copied, uncompressed, into a new archive in memory, no entry longer than it
declared. Whoever reads the copy cannot meet anything that was not measured.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from pathlib import Path

LARGEST_FILE = 64 * 2**20
LARGEST_UNPACKED = 256 * 2**20
"""bytes"""
MOST_ENTRIES = 2_000

_COMPRESSION = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_OLD_CONTAINER = bytes.fromhex("d0cf11e0a1b11ae1")
"""how files of the container format before zip begin; encrypted workbooks are such files"""


class ArchiveError(Exception):
    """A file that is no workbook, or none that is safe to open."""

    def __init__(self, code: str, wrong: str, remedy: str) -> None:
        super().__init__(wrong)
        self.code = code
        self.wrong = wrong
        self.remedy = remedy


def entries_of(path: Path) -> dict[str, bytes]:
    """The XML parts of a workbook, by name.

    Raises
    ------
    ArchiveError
        For a file that is no archive, is encrypted or damaged, or that declares or turns out to
        be too large.
    OSError
        If the file cannot be read.
    """
    if path.stat().st_size > LARGEST_FILE:
        raise ArchiveError(
            "too-large",
            f"is over {LARGEST_FILE // 2**20} MiB",
            "remove pictures and sheets that are not tables, or use a folder of CSV files",
        )
    data = path.read_bytes()
    if data.startswith(_OLD_CONTAINER):
        raise _of_old_container(data)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            _measure(archive.infolist())
            return {
                entry.filename: _unpacked(archive, entry)
                for entry in archive.infolist()
                if entry.filename.endswith((".xml", ".rels"))
            }
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, ValueError) as error:
        raise ArchiveError(
            "not-a-workbook",
            "is no xlsx workbook, or a damaged one",
            "save it again as .xlsx, or use a folder of CSV files",
        ) from error


def packed(entries: dict[str, bytes]) -> io.BytesIO:
    """The same parts as an archive without compression."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_STORED) as archive:
        for name, data in entries.items():
            archive.writestr(name, data)
    buffer.seek(0)
    return buffer


def _of_old_container(data: bytes) -> ArchiveError:
    if "EncryptedPackage".encode("utf-16-le") in data:
        return ArchiveError(
            "encrypted",
            "is protected by a password",
            "save it without a password",
        )
    return ArchiveError(
        "not-a-workbook", "is in the old .xls format", "save it as .xlsx, or as CSV files"
    )


def _measure(entries: list[zipfile.ZipInfo]) -> None:
    if len(entries) > MOST_ENTRIES:
        raise ArchiveError(
            "too-large",
            f"has {len(entries)} parts; the most that is opened is {MOST_ENTRIES}",
            "save the tables alone in a new workbook",
        )
    names = [entry.filename for entry in entries]
    if len(set(names)) < len(names):
        raise ArchiveError(
            "not-a-workbook", "names one of its parts twice", "save it again as .xlsx"
        )
    if any(entry.flag_bits & 1 for entry in entries):
        raise ArchiveError("encrypted", "is protected by a password", "save it without a password")
    if any(entry.compress_type not in _COMPRESSION for entry in entries):
        raise zipfile.BadZipFile("compressed in a way that workbooks are not")
    declared = sum(entry.file_size for entry in entries)
    if declared > LARGEST_UNPACKED:
        raise ArchiveError(
            "too-large",
            f"unpacks to {declared // 2**20} MiB; the most that is opened is "
            f"{LARGEST_UNPACKED // 2**20} MiB",
            "remove sheets that are not tables and formats of empty rows, or use a folder of CSV "
            "files",
        )


def _unpacked(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> bytes:
    """One part. No more than it declared is unpacked; the checksum tells if there was more."""
    with archive.open(entry) as part:
        data = part.read(entry.file_size)
        if len(data) != entry.file_size:
            raise zipfile.BadZipFile(f"{entry.filename} is not as long as it declares")
    return data
