"""On which day is an open purchase line to be expected, and within how many days a new order, as
stated and by the record?

One account for all who ask. By the record nothing comes sooner than it is counted on as stated: the
due date was agreed upon for this line alone, of which the record knows nothing, and a supplier who
is often early has promised no more for that. Whoever was told an earlier day would leave a line be
that does not come by it. A plan that believes the record counts on the same day. Nor does the
record put anything off beyond the horizon.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Protocol

from fulfil_models.lead_record import Offer
from fulfil_models.leadtimes import LeadTime, Share, arrival
from fulfil_models.order_days import OpenDays
from fulfil_models.settings import Settings
from fulfil_models.tables import Source


class Line(Protocol):
    """What must be known of an open line; its due date as stated."""

    @property
    def part(self) -> str: ...

    @property
    def supplier(self) -> str: ...

    @property
    def point(self) -> str: ...

    @property
    def ordered(self) -> date: ...

    @property
    def due(self) -> date: ...


@dataclass(frozen=True)
class ExpectedDays:
    """Days on which open lines can be used at the point they go to: working days of it.

    Attributes
    ----------
    leads: as learnt from stated data; of what is not among them what is stated stands.
    days: working days of the points.
    """

    settings: Settings
    leads: Mapping[Offer, LeadTime]
    days: OpenDays

    def stated(self, line: Line) -> date:
        """When it is there as stated."""
        return self.days.onward(line.point, self.settings.counted_on(line.due))

    def by_record(self, line: Line, share: Share) -> date:
        """When it is there with so many chances in a hundred."""
        lead = self.leads.get((line.part, line.supplier))
        return self.days.onward(line.point, expected_on(lead, line, self.settings, share))


def expected_on(lead: LeadTime | None, line: Line, settings: Settings, share: Share) -> date:
    """The day by which a line has arrived with so many chances in a hundred; never sooner than it
    is counted on as stated, which is all there is to go by where `lead` is None."""
    stated = settings.counted_on(line.due)
    if lead is None:
        return stated
    by_record = arrival(lead, line.ordered, line.due, settings.as_of, share, line.point)
    return max(by_record, stated)


def order_days(source: Source, lead: LeadTime | None, share: Share) -> int:
    """Calendar days within which so many of 100 new orders of a source come to its point; never
    fewer than stated, nor by the record more than the horizon has."""
    curve = None if lead is None else lead.curve_to(source.point)
    if lead is None or curve is None:
        return source.lead_days
    return max(source.lead_days, min(curve.days(share)[0], lead.horizon_days))
