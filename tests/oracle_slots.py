"""The least lateness of a handful of operations, by trying every active schedule."""

from __future__ import annotations

from dataclasses import dataclass, field

Key = tuple[str, int]
"""job and operation"""
Block = tuple[int, int, int]
"""from, to, stations"""


@dataclass
class Work:
    """One operation: positions and durations are working minutes of its point."""

    key: Key
    centre: str
    duration: int
    stations: int
    release: int
    after: set[Key]
    """operations that must end before it starts"""
    due: int
    counts: int
    """cost of a late minute if it is the last of its build, else 0"""


@dataclass
class Schedule:
    cost: int
    starts: dict[Key, int] = field(default_factory=dict)


def least_late(work: list[Work]) -> int:
    """Cost of lateness if no operation ever waited for a station: no schedule costs less."""
    return _bound({one.key: one for one in work}, {})


def _bound(work: dict[Key, Work], starts: dict[Key, int]) -> int:
    """Least cost of any schedule that keeps these starts."""
    ends: dict[Key, int] = {}

    def end(key: Key) -> int:
        if key not in ends:
            one = work[key]
            start = starts.get(key)
            if start is None:
                start = max([one.release, *(end(other) for other in one.after)])
            ends[key] = start + one.duration
        return ends[key]

    return sum(one.counts * max(0, end(key) - one.due) for key, one in work.items() if one.counts)


def best_schedule(
    work: list[Work], centres: dict[str, tuple[int, list[Block]]], limit: int | None
) -> Schedule | None:
    """A schedule of the least cost, if below the limit; centres give stations and downtime."""
    by_key = {one.key: one for one in work}
    best: Schedule | None = None
    seen: set[frozenset[tuple[Key, int]]] = set()
    busy = {name: list(down) for name, (_, down) in centres.items()}
    starts: dict[Key, int] = {}

    def place() -> None:
        nonlocal best, limit
        cost = _bound(by_key, starts)
        if limit is not None and cost >= limit:
            return
        if len(starts) == len(work):
            best, limit = Schedule(cost, dict(starts)), cost
            return
        state = frozenset(starts.items())
        if state in seen:
            return
        seen.add(state)
        free = [
            one
            for one in work
            if one.key not in starts and all(other in starts for other in one.after)
        ]
        for one in sorted(free, key=lambda w: (w.due, w.key)):
            ready = max([one.release, *(starts[o] + by_key[o].duration for o in one.after)])
            start = _first_fit(busy[one.centre], centres[one.centre][0], ready, one)
            block = (start, start + one.duration, one.stations)
            starts[one.key] = start
            busy[one.centre].append(block)
            place()
            busy[one.centre].remove(block)
            del starts[one.key]

    place()
    return best


def _first_fit(busy: list[Block], stations: int, ready: int, one: Work) -> int:
    """Earliest start from `ready` on at which the stations are free for the whole duration."""
    if one.duration == 0:
        return ready
    for start in sorted({ready, *(end for _, end, _ in busy if end > ready)}):
        end = start + one.duration
        moments = [start, *(s for s, _, _ in busy if start < s < end)]
        if all(
            one.stations + sum(n for s, e, n in busy if s <= moment < e) <= stations
            for moment in moments
        ):
            return start
    raise AssertionError("after all else there is room")
