"""What day is it?"""

from __future__ import annotations

from datetime import date, datetime


def today() -> date:
    """The day by the clock of this computer, whatever the time zones of the points: the planning
    date where the data name none."""
    return datetime.now().astimezone().date()
