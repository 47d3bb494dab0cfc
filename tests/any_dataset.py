"""Hypothesis strategies for data sets whose every cell is good, made from the column descriptions.

Names need not exist in other tables: what is tested with these is that nothing is lost between
rows and files.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import Any

from fulfil_models import cells as k
from fulfil_models.columns import TABLES, Column, Table
from fulfil_models.tables import Dataset
from hypothesis import strategies as st

_TEXT = st.text(
    st.one_of(
        st.sampled_from("='+-@,\"; \t\nab"),
        st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\ufffe\uffff"),
    ),
    min_size=1,
    max_size=12,
)
_DATES = st.dates(date(1900, 1, 1), date(2199, 12, 31))
_MOMENTS = st.one_of(
    st.datetimes(datetime(1900, 1, 1), datetime(2199, 12, 31)).map(
        lambda moment: moment.replace(second=0, microsecond=0)
    ),
    _DATES.map(lambda day: datetime(day.year, day.month, day.day)),
)
_ZONES = ("America/Boise", "UTC", "Etc/GMT+7")


def _trimmed(text: str) -> str:
    return text.strip()


def _printable(text: str) -> bool:
    return text.isprintable()


_OF_KIND: dict[k.Kind, st.SearchStrategy[Any]] = {
    k.IDENTIFIER: _TEXT.map(_trimmed).filter(bool).filter(_printable),
    k.TEXT: _TEXT.map(_trimmed).filter(bool),
    k.YES_NO: st.booleans(),
    k.DATE: _DATES,
    k.DATETIME: _MOMENTS,
    k.MOMENT: st.one_of(_DATES, _MOMENTS),
    k.TIME: st.integers(0, 1440),
    k.WEEKDAY: st.sampled_from(k.WEEKDAYS),
    k.WEEKDAY_LIST: st.sets(st.sampled_from(k.WEEKDAYS)).map(
        lambda days: tuple(sorted(days, key=k.WEEKDAYS.index))
    ),
    k.MONTH: _DATES.map(lambda day: f"{day:%Y-%m}"),
    k.TIMEZONE: st.sampled_from(_ZONES),
}
_DIGITS = {k.MONEY: 12, k.DEGREES: 3, k.DAYS: 4}


def values(column: Column) -> st.SearchStrategy[Any]:
    """Values that a column may hold, None among them where it may be empty."""
    kind = column.kind
    if kind in _OF_KIND:
        found = _OF_KIND[kind]
    else:
        largest = 10 ** (_DIGITS.get(kind, 9) + kind.places) - 1
        least = -largest
        if column.least is not None:
            least = kind.parse(column.least)
        if column.above is not None:
            least = kind.parse(column.above) + 1
        if column.most is not None:
            largest = kind.parse(column.most)
        if column.below is not None:
            largest = kind.parse(column.below) - 1
        found = st.one_of(
            st.integers(least, min(least + 5000, largest)), st.integers(least, largest)
        )
    if column.required or column.default is not None:
        return found
    return st.one_of(st.none(), found)


def _rows(table: Table[Any]) -> st.SearchStrategy[tuple[Any, ...]]:
    row = st.builds(table.row, **{column.attribute: values(column) for column in table.columns})
    unique: Callable[[Any], Any] | None = table.key_of if table.unique else None
    return st.lists(row, max_size=4, unique_by=unique).map(tuple)


@st.composite
def datasets(draw: st.DrawFn) -> Dataset:
    """A data set with up to four tables that have rows."""
    names = draw(st.sets(st.sampled_from(sorted(TABLES)), max_size=4))
    return Dataset(**{name: draw(_rows(TABLES[name])) for name in sorted(names)})
