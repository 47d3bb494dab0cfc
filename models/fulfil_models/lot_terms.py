"""Which orders of a part may arrive in each period, and how much must have come by then?

What a supplier asks and allows is turned into whole numbers: quantities become levels, which are
the greatest quantity that every order is a multiple of. An offer with price breaks has one mode for
every price, each with the quantities it holds for (all units at one price).

What cannot come in time whatever is ordered comes as soon as it can: `due` is the lesser of what is
needed by then and what can have arrived by then. No plan is short of less in any period, and all
that is there at the same time can be had in one plan, so shortfalls need no price.

Within a period, offers stand in the order in which they can deliver for the first time: what is
needed before one can is due before its order (`early`), as far as those before it bring it. So one
that is cheap and slow takes part in its first period, and what is needed sooner in it comes from
others. Each offer has one place in a period, so caps hold for whole periods.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate
from math import gcd, inf

from fulfil_models.cells import MILLI

NANO_PER_MICRO = MILLI
"""money is exact in 10^-9 of the currency: micro-currency per unit x thousandths of a unit"""


@dataclass(frozen=True, slots=True)
class LotOffer:
    """What one supplier offers for one part.

    Attributes
    ----------
    price_micro: for one unit, below the first price break.
    ordering_micro: for every order, however large.
    first_period: number of the first period in which an order placed now can arrive.
    first_day: day of that period on which it can, the first being 0.
    early_milli: how much of the needs of that period is for days before that; the same for offers
        that begin on the same day.
    minimum_milli: smallest order.
    multiple_milli: orders are multiples of it; 0 = of the part's step.
    caps_milli: for every period the most that may still arrive, open purchases taken off; None in
        a period without a cap. Empty where there is no cap at all.
    breaks: quantities from which all units of an order have another price, with that price;
        ascending.

    Raises ValueError for terms that cannot be.
    """

    offer: str
    price_micro: int
    ordering_micro: int
    first_period: int = 0
    first_day: int = 0
    early_milli: int = 0
    minimum_milli: int = 0
    multiple_milli: int = 0
    caps_milli: tuple[int | None, ...] = ()
    breaks: tuple[tuple[int, int], ...] = ()

    def __post_init__(self) -> None:
        figures = (
            *(self.price_micro, self.ordering_micro),
            *(self.first_period, self.first_day, self.early_milli),
            *(self.minimum_milli, self.multiple_milli),
            *(cap for cap in self.caps_milli if cap is not None),
            *(figure for row in self.breaks for figure in row),
        )
        if min(figures) < 0:
            raise ValueError(f"offer {self.offer}: a figure is below 0; give 0 or more")
        starts = [row[0] for row in self.breaks]
        if starts != sorted(set(starts)):
            raise ValueError(f"offer {self.offer}: price breaks do not ascend; put them in order")

    def multiple(self, step_milli: int) -> int:
        return self.multiple_milli or step_milli

    def least_milli(self, step_milli: int) -> int:
        """The smallest order there can be: the minimum in whole multiples, at least one."""
        multiple = self.multiple(step_milli)
        return max(1, -(-self.minimum_milli // multiple)) * multiple

    def cap_milli(self, period: int) -> int | None:
        return self.caps_milli[period] if self.caps_milli else None

    def most_milli(self, period: int, step_milli: int) -> int | None:
        """The largest order that may arrive in a period, 0 if none may, None if there is no end."""
        if period < self.first_period:
            return 0
        cap = self.cap_milli(period)
        if cap is None:
            return None
        whole = cap - cap % self.multiple(step_milli)
        return whole if whole >= self.least_milli(step_milli) else 0


@dataclass(frozen=True, slots=True)
class PartLots:
    """One part whose orders are sought.

    Attributes
    ----------
    needs_milli: for every period, what is needed in it beyond stock on hand and open purchases.
    holding_micro: for one unit that is left at the end of a period.
    step_milli: smallest quantity of the part.
    short_micro: for one unit and period that waits for cash. Only a cash limit makes anything wait
        that could come; None = more than any order of it can save.
    short_fixed_micro: for a period in which anything waits, however little.
    firm_milli, short_firm_micro: how much of the needs of every period is firm, and what a unit and
        period of that costs besides if it waits; what is not firm waits first. Empty = nothing.

    Raises ValueError for figures that cannot be.
    """

    part: str
    needs_milli: tuple[int, ...]
    offers: tuple[LotOffer, ...]
    holding_micro: int
    step_milli: int = MILLI
    short_micro: int | None = None
    short_fixed_micro: int = 0
    firm_milli: tuple[int, ...] = ()
    short_firm_micro: int = 0

    def __post_init__(self) -> None:
        waiting = (self.short_micro or 0, self.short_fixed_micro, self.short_firm_micro)
        if min((self.holding_micro, *waiting, *self.needs_milli, *self.firm_milli)) < 0:
            raise ValueError(f"part {self.part}: a figure is below 0; give 0 or more")
        if self.firm_milli and len(self.firm_milli) != len(self.needs_milli):
            raise ValueError(
                f"part {self.part}: {len(self.firm_milli)} firm needs for {len(self.needs_milli)} "
                "periods; give one for every period"
            )
        if self.step_milli < 1:
            raise ValueError(f"part {self.part}: the step is {self.step_milli}; give 1 or more")
        names = [offer.offer for offer in self.offers]
        if len(set(names)) != len(names):
            raise ValueError(f"part {self.part}: two offers have one name; name each differently")
        for offer in self.offers:
            if offer.early_milli > sum(self.needs_milli[offer.first_period :][:1]):
                raise ValueError(
                    f"part {self.part}, offer {offer.offer}: more is needed early in its first "
                    "period than in all of it"
                )
            if offer.caps_milli and len(offer.caps_milli) != len(self.needs_milli):
                raise ValueError(
                    f"part {self.part}, offer {offer.offer}: {len(offer.caps_milli)} caps for "
                    f"{len(self.needs_milli)} periods; give one for every period"
                )


@dataclass(frozen=True, slots=True)
class Mode:
    """One price of one offer in one period, with the orders it holds for.

    `least`, `most` and `step` are levels: an order is `least` to `most`, in steps of `step`.
    """

    offer: int
    fixed_nano: int
    price_nano: int
    """for one level"""
    price_micro: int
    """for one unit"""
    least: int
    most: int
    step: int

    def allows(self, levels: int) -> bool:
        return self.least <= levels <= self.most and levels % self.step == 0


@dataclass(frozen=True, slots=True)
class NeverOrdered:
    """An offer whose cap is below its smallest order in every period."""

    part: str
    offer: str
    cap_milli: int
    least_milli: int

    @property
    def why(self) -> str:
        return (
            f"{self.part} from {self.offer} can never be ordered: its cap of "
            f"{self.cap_milli / MILLI:g} a period is below its smallest order of "
            f"{self.least_milli / MILLI:g}; raise the cap or lower the minimum"
        )


@dataclass(frozen=True, slots=True)
class Terms:
    """One part in levels.

    Attributes
    ----------
    due: for every period, levels that must have come by its end.
    due_milli: the same before it is rounded up to a level.
    offers: for every period, the numbers of those that can arrive in it, by the day from which on
        they can.
    modes: for every one of these its modes.
    early: for every one of these, levels that must have come before it; 0 where no more than was
        due at the end of the period before, or where one before it begins on the same day.
    holding_nano, short_nano: for one level and period.
    short_fixed_nano: for a period in which anything waits.
    short_firm_nano: for one level and period more, of what waits beyond the expected.
    expected: for every period, levels of those due that are not firm.
    rounding_nano: holding of what is left since orders are whole: the same in every plan.
    top: no plan worth having brings more levels than this.
    short_milli: for every period, what is needed by its end and cannot be there.
    """

    part: PartLots
    unit_milli: int
    due: tuple[int, ...]
    due_milli: tuple[int, ...]
    offers: tuple[tuple[int, ...], ...]
    early: tuple[tuple[int, ...], ...]
    modes: tuple[tuple[tuple[Mode, ...], ...], ...]
    holding_nano: int
    short_nano: int
    short_fixed_nano: int
    short_firm_nano: int
    expected: tuple[int, ...]
    rounding_nano: int
    top: int
    short_milli: tuple[int, ...]
    never: tuple[NeverOrdered, ...]

    @property
    def needs(self) -> tuple[int, ...]:
        """Levels that become due in each period."""
        before = (0, *self.due)
        return tuple(due - before[t] for t, due in enumerate(self.due))

    @property
    def comes_early(self) -> bool:
        """Whether anything is due before some offer within its first period."""
        return any(map(any, self.early))

    def waiting_nano(self, period: int, levels: int) -> int:
        """What a period costs at whose end so many levels wait, or within it before an offer."""
        firm = max(0, levels - self.expected[period])
        fixed = self.short_fixed_nano if levels else 0
        return fixed + levels * self.short_nano + firm * self.short_firm_nano


def terms_of(part: PartLots, *, waits: bool = False) -> Terms:
    """A part in levels.

    Parameters
    ----------
    waits: whether orders may come later than they are due (as under a cash limit).
    """
    periods = range(len(part.needs_milli))
    most = [[offer.most_milli(t, part.step_milli) for offer in part.offers] for t in periods]
    needed = list(accumulate(part.needs_milli))
    can_come = list(accumulate(inf if None in row else sum(m or 0 for m in row) for row in most))
    due_milli = [int(min(n, c)) for n, c in zip(needed, can_come, strict=True)]
    usable = [o for o in range(len(part.offers)) if any(row[o] != 0 for row in most)]
    before = [0, *can_come]
    offers = [
        _by_day(part, t, [o for o in usable if most[t][o] != 0], most[t], needed, before[t])
        for t in periods
    ]
    unit = gcd(*(part.offers[o].multiple(part.step_milli) for o in usable)) or part.step_milli
    due = tuple(-(-milli // unit) for milli in due_milli)
    firm = accumulate(part.firm_milli or (0 for _ in periods))
    total = due[-1] if due else 0
    modes = tuple(
        tuple(
            _modes(part, o, most[t][o], unit, total - (due[t - 1] if t and not waits else 0))
            for o, _ in offers[t]
        )
        for t in periods
    )
    every = [mode for row in modes for offer in row for mode in offer]
    return Terms(
        part=part,
        unit_milli=unit,
        due=due,
        due_milli=tuple(due_milli),
        offers=tuple(tuple(o for o, _ in row) for row in offers),
        early=tuple(
            tuple(levels if levels > (due[t - 1] if t else 0) else 0 for levels in row)
            for t, row in enumerate([[-(-milli // unit) for _, milli in row] for row in offers])
        ),
        modes=modes,
        holding_nano=part.holding_micro * unit,
        short_nano=_short_micro(part) * unit,
        short_fixed_nano=part.short_fixed_micro * NANO_PER_MICRO,
        short_firm_nano=part.short_firm_micro * unit,
        expected=tuple(max(0, d - -(-f // unit)) for d, f in zip(due, firm, strict=True)),
        rounding_nano=part.holding_micro
        * sum(levels * unit - milli for levels, milli in zip(due, due_milli, strict=True)),
        top=total - 1 + max((max(m.least, m.step) for m in every), default=1) if total else 0,
        short_milli=tuple(n - d for n, d in zip(needed, due_milli, strict=True)),
        never=tuple(_never(part)),
    )


def _by_day(
    part: PartLots,
    period: int,
    offers: Sequence[int],
    most: Sequence[int | None],
    needed: Sequence[int],
    can_come: float,
) -> list[tuple[int, int]]:
    """Offers of a period by the day from which on they can deliver in it, each with what must have
    come before it, in thousandths: as they stand, with nothing, where no more must have than before
    the period.

    Parameters
    ----------
    most: of each offer of the part, what it can bring in the period; None = any number.
    needed: for every period, all that is needed by its end.
    can_come: all that can have come before the period.
    """

    def day(o: int) -> int:
        return part.offers[o].first_day if part.offers[o].first_period == period else 0

    found: list[tuple[int, int]] = []
    due = needed[period - 1] if period else 0
    for o in sorted(offers, key=day):
        sooner = [most[p] for p in offers if day(p) < day(o)]
        comes = inf if None in sooner else can_come + sum(milli or 0 for milli in sooner)
        early = part.offers[o].early_milli if part.offers[o].first_period == period else 0
        same = bool(found) and day(found[-1][0]) == day(o)
        found.append((o, 0 if same else int(min(comes, due + early))))
    if max((milli for _, milli in found), default=0) <= min(can_come, due):
        return [(o, 0) for o in offers]
    return found


def _modes(
    part: PartLots, offer: int, most_milli: int | None, unit: int, wanted: int
) -> tuple[Mode, ...]:
    """Modes of an offer in a period in which `wanted` levels at most are still wanted.

    More than that, rounded up to a whole order, is worth ordering only to reach the least order of
    a mode.
    """
    terms = part.offers[offer]
    multiple = terms.multiple(part.step_milli)
    step = multiple // unit
    enough = -(-wanted // step) * step
    starts = [(0, terms.price_micro), *terms.breaks]
    found = []
    for number, (from_milli, price_micro) in enumerate(starts):
        wanted_least = max(terms.least_milli(part.step_milli), from_milli)
        least = -(-wanted_least // multiple) * step
        ends = [max(least, enough)]
        if most_milli is not None:
            ends.append(most_milli // unit)
        if number + 1 < len(starts):
            ends.append((starts[number + 1][0] - 1) // multiple * step)
        if wanted and least <= min(ends):
            fixed, price = terms.ordering_micro * NANO_PER_MICRO, price_micro * unit
            found.append(Mode(offer, fixed, price, price_micro, least, min(ends), step))
    return tuple(found)


def _never(part: PartLots) -> Sequence[NeverOrdered]:
    found = []
    for offer in part.offers:
        caps = [cap for cap in offer.caps_milli[offer.first_period :] if cap is not None]
        if not caps or len(caps) < len(offer.caps_milli[offer.first_period :]):
            continue
        least = offer.least_milli(part.step_milli)
        if all(offer.most_milli(t, part.step_milli) == 0 for t in range(len(part.needs_milli))):
            found.append(NeverOrdered(part.part, offer.offer, max(caps), least))
    return found


WAITING_WEIGHT = 2
"""how many times what a smallest order costs at most, with keeping it, one step costs that waits a
period for cash"""


def _short_micro(part: PartLots) -> int:
    """Price of one unit that waits for cash for one period."""
    if part.short_micro is not None:
        return part.short_micro
    dearest = 1
    for offer in part.offers:
        least = offer.least_milli(part.step_milli)
        price = max(offer.price_micro, *(row[1] for row in offer.breaks), 0)
        kept = part.holding_micro * len(part.needs_milli)
        dearest = max(dearest, offer.ordering_micro + (price + kept) * least // MILLI)
    return WAITING_WEIGHT * dearest * MILLI // part.step_milli
