"""When is a station free? The load of a work centre as integers used as bit sets.

Layer j of a work centre has a bit set for each cell of time in which more than j stations are
busy. An operation on m of n stations fits where layer n - m is clear for its whole duration, which
shifting and masking finds many cells at a time.

Cells count working time, so an operation that goes on the next day holds cells in a row. Starts
and durations are in cells, never negative; `stations` is how many an operation uses at once, at
least one and at most as many as the work centre has.
"""

from __future__ import annotations

Layers = tuple[int, ...]
"""as many as the work centre has stations, each within the one before"""


def empty(stations: int) -> Layers:
    """A work centre of so many stations, all free for good."""
    return (0,) * stations


def add(layers: Layers, start: int, duration: int, stations: int) -> Layers:
    """Load `stations` more stations from `start` for `duration` cells.

    Where fewer are free, all are busy: downtime takes what is left.
    """
    mask = ((1 << duration) - 1) << start
    new = list(layers)
    for _ in range(stations):
        rest = mask
        for j, layer in enumerate(new):
            new[j] = layer | rest
            rest &= layer
            if not rest:
                break
    return tuple(new)


def remove(layers: Layers, start: int, duration: int, stations: int) -> Layers:
    """Take such a load away again; it must have found its stations free."""
    mask = ((1 << duration) - 1) << start
    new = list(layers)
    for _ in range(stations):
        rest = mask
        for j in range(len(new) - 1, -1, -1):
            hit = new[j] & rest
            new[j] ^= hit
            rest ^= hit
            if not rest:
                break
    return tuple(new)


def first_fit(layers: Layers, start: int, duration: int, stations: int) -> int:
    """First cell from `start` on at which the operation fits; there always is one in the end."""
    if duration == 0:
        return start
    free = ~(layers[len(layers) - stations] >> start)
    have = 1
    while have < duration:
        shift = min(have, duration - have)
        free &= free >> shift
        have += shift
    return start + (free & -free).bit_length() - 1


def last_fit(layers: Layers, low: int, end: int, duration: int, stations: int) -> int:
    """Last cell from `low` on at which the operation fits so that it ends by `end`; -1 if none."""
    if duration == 0:
        return end if end >= low else -1
    if end - low < duration:
        return -1
    free = ~(layers[len(layers) - stations] >> low) & ((1 << (end - low)) - 1)
    have = 1
    while have < duration:
        shift = min(have, duration - have)
        free &= free >> shift
        have += shift
    return low + free.bit_length() - 1 if free else -1


def fits(layers: Layers, start: int, duration: int, stations: int) -> bool:
    """Whether the operation fits at exactly that cell."""
    mask = (1 << duration) - 1
    return not (layers[len(layers) - stations] >> start) & mask
