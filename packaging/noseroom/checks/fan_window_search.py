"""Where a margin is below nothing, with no point missed: searches on intervals of thicknesses."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

Interval = tuple[float, float]

END_MM = 0.02
"""How much of a margin is kept back at the ends of what is free."""
_COARSE_MM = 0.5


def blocked_intervals(
    margin: Callable[[float], float],
    low: float,
    high: float,
    clear_until: Callable[[float, float], float] | None = None,
    slope: float = 1.0,
) -> tuple[Interval, ...]:
    """Where a margin that changes by no more than a slope says is below zero, on [low, high].

    What is left out is surely free: its ends are points that were looked at, and between points the
    margin cannot fall below zero unseen. An interval may be too long by a tenth of a millimetre at
    each end, and may hold free islands narrower than 0.5 mm.

    clear_until: given a free point and a later one, up to where all is surely free.
    """

    def spare(at: float) -> float:
        return margin(at) - END_MM  # so that a step of this much is safe where none is left

    found: list[Interval] = []
    here, value = low, spare(low)
    start: float | None = low if value < 0 else None
    while here < high:
        step = max(abs(value), END_MM if start is None else _COARSE_MM) / slope
        there = min(here + step, high)
        if start is None and there < high and clear_until is not None:
            there = max(there, clear_until(here, high))
            if there >= high:
                break
        reached = spare(there)
        if start is None and reached < 0:
            start = last_free(spare, here, there)
        elif start is not None and reached >= 0:
            found.append((start, last_free(spare, there, here)))
            start = None
        here, value = there, reached
    if start is not None:
        found.append((start, high))
    return tuple(found)


def last_free(spare: Callable[[float], float], free: float, blocked: float) -> float:
    """The last free point on the way to a blocked one, to 0.05 mm.

    Between the two the spare runs nearly straight, so that where the line between them crosses
    nothing is a good guess; every other guess halves what is left, whatever it does.
    """
    ends = {free: spare(free), blocked: spare(blocked)}
    halve = False
    while abs(free - blocked) > END_MM:
        middle = (blocked + free) / 2
        if not halve and ends[free] > ends[blocked]:
            crossing = free + (blocked - free) * ends[free] / (ends[free] - ends[blocked])
            # A little to the free side, so that a straight line ends at once.
            guess = crossing + (free - blocked) / abs(free - blocked) * END_MM / 4
            low, high = sorted((free, blocked))
            inset = END_MM / 4
            middle = min(max(guess, low + inset), high - inset)
        halve = not halve
        ends[middle] = spare(middle)
        if ends[middle] >= 0:
            free = middle
        else:
            blocked = middle
    return free


def union(intervals: Iterable[Interval]) -> list[Interval]:
    """Intervals that hold all of these and do not meet, in order."""
    merged: list[Interval] = []
    for low, high in sorted(intervals):
        if merged and low <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], high))
        else:
            merged.append((low, high))
    return merged


def without(given: Sequence[Interval], blocked: Iterable[Interval]) -> tuple[Interval, ...]:
    """What is left of intervals in order without others; a point is nothing."""
    merged = union(blocked)
    free: list[Interval] = []
    for low, high in given:
        here = low
        for start, end in merged:
            if start > here:
                free.append((here, min(start, high)))
            here = max(here, end)
            if here >= high:
                break
        if here < high:
            free.append((here, high))
    return tuple(one for one in free if one[0] < one[1])
