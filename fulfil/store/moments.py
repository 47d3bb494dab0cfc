"""Dates and date-times in one column, as text that tells the two apart."""

from __future__ import annotations

from datetime import date, datetime


def moment_text(value: date | datetime | None) -> str | None:
    return None if value is None else value.isoformat()


def moment_of(text: str | None) -> date | datetime | None:
    """The date or date-time that `moment_text` was given."""
    if text is None:
        return None
    return datetime.fromisoformat(text) if "T" in text else date.fromisoformat(text)
