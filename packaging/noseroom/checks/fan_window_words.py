"""A window of spacer thicknesses in words, the same wherever it is said.

The low end is rounded up and the high end down, so that both still keep every rule, at the coarsest
step that leaves something between them: marks of a rule first, then what a caliper reads. Where a
spacer is on already, all thicknesses are those of one spacer in its place, never of a second.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from noseroom.checks.fan_window_scan import MOST_SPACER_MM
from noseroom.checks.fan_window_search import Interval
from noseroom.checks.spacer_stack import stack_of
from noseroom.layout import Layout, PlacedPart
from noseroom.units import MM_PER_INCH, format_length

TURNED_DENOMINATOR = 64
"""What is to be turned is said in sixty-fourths of an inch, as spacers of the shop are."""
NEVER = "never stack spacers"
Said = tuple[str, str]
_Step = tuple[float, int]
"""mm, and the denominator of the inch: 0 for decimals."""
_INCHES: tuple[_Step, ...] = ((MM_PER_INCH / 16, 16), (MM_PER_INCH / 64, 64))
_AIMED_INCHES: tuple[_Step, ...] = ((MM_PER_INCH / 32, 32), (MM_PER_INCH / 64, 64))
_FINE_INCHES: tuple[_Step, ...] = ((MM_PER_INCH / 1e3, 0), (MM_PER_INCH / 1e4, 0))
_FINE_MM: tuple[_Step, ...] = ((0.1, 0), (0.01, 0))
_MM: tuple[_Step, ...] = ((1.0, 0), *_FINE_MM)
_NOISE = 1e-6
_KEPT = 100


def ends(windows: Sequence[Interval], unit: str, like: Sequence[Interval] = ()) -> list[Said]:
    """The two ends of windows, mm, in words; alike where one is narrower than can be said.

    like: windows beside which these are read: all are said to the same step, that of the narrowest.
    """
    steps = (*_INCHES, *_FINE_INCHES) if unit in ("in", "ft") else _MM
    said_to = max((_step(one, steps) for one in (*windows, *like)), default=0)
    return [_ends(one, steps[said_to], unit) for one in windows]


def _step(window: Interval, steps: Sequence[_Step]) -> int:
    """The coarsest step that leaves something between the ends."""
    for number, step in enumerate(steps):
        least, most = _marks(window, step)
        if least < most:
            return number
    return len(steps) - 1


def _marks(window: Interval, step: _Step) -> tuple[int, int]:
    low, high = window
    return math.ceil(low / step[0] - _NOISE), math.floor(high / step[0] + _NOISE)


def _ends(window: Interval, step: _Step, unit: str) -> Said:
    least, most = _marks(window, step)
    if least > most:
        least = most = round(sum(window) / 2 / step[0])
    return _said(least, step, unit), _said(most, step, unit)


def said(windows: Sequence[Interval], unit: str, like: Sequence[Interval] = ()) -> str:
    """Windows, mm, see `ends`: "2 3/16 in to 2 1/4 in or 3 in to 3 1/2 in"."""
    found = ends(windows, unit, like)
    return " or ".join(low if low == high else f"{low} to {high}" for low, high in found)


def aim(low: float, high: float, unit: str) -> str:
    """What to aim for in a window, mm, and how far off it may be: "2 7/32 in ± 1/32 in"."""
    inches = unit in ("in", "ft")
    middles, fine = (_AIMED_INCHES, _FINE_INCHES) if inches else (_FINE_MM[:1], _FINE_MM[1:])
    # A middle on a mark of the rule as long as it lies inside, then a finer one.
    for step, off in (*((one, one) for one in middles), (middles[-1], fine[0]), (fine[0], fine[0])):
        middle = round((low + high) / 2 / step[0])
        half = math.floor(min(middle * step[0] - low, high - middle * step[0]) / off[0] + _NOISE)
        if half > 0:
            return f"{_said(middle, step, unit)} ± {_said(half, off, unit)}"
    return said([(low, high)], unit)


def turned(mm: float, unit: str) -> str:
    """One thickness, as it is turned: to 1/64 in, or 0.1 mm."""
    return format_length(mm, unit, denominator=TURNED_DENOMINATOR)


def _said(count: int, step: _Step, unit: str) -> str:
    size, denominator = step
    if unit in ("in", "ft") and not denominator:
        decimals = 3 if size == _FINE_INCHES[0][0] else 4
        return f"{count * size / MM_PER_INCH:.{decimals}f} in"
    if unit not in ("in", "ft") and size < _FINE_MM[0][0]:
        return f"{count * size:.2f} mm"
    return format_length(count * size, unit, denominator=denominator or 16)


def inward(intervals: Iterable[Interval]) -> tuple[Interval, ...]:
    """Windows as a finding keeps them: to 0.01 mm, never wider than they are."""
    found = []
    for low, high in intervals:
        least = math.ceil(low * _KEPT - _NOISE) / _KEPT
        most = math.floor(high * _KEPT + _NOISE) / _KEPT
        found.append((least, most) if least <= most else (low, high))
    return tuple(found)


def on_already_mm(layout: Layout, fan: PlacedPart) -> float:
    """How far a fan stands ahead of its hub on a spacer that is on, mm; 0.0 where none seems to be.

    All that is between hub and fan counts, with a pulley's web.
    """
    stack = stack_of(layout, fan)
    if stack is None or not stack.is_spaced:
        return 0.0
    return (stack.between.least_mm + stack.between.most_mm) / 2


def in_place(intervals: Iterable[Interval], on_mm: float) -> tuple[Interval, ...]:
    """Windows of what is added to a fan's place, as those of one spacer in place of what is on.

    on_mm: what is on, 0.0 for nothing. What no single spacer is made for is left out.
    """
    if not on_mm:
        return tuple(intervals)
    sums = ((round(low + on_mm, 6), round(high + on_mm, 6)) for low, high in intervals)
    found = ((low, min(high, MOST_SPACER_MM)) for low, high in sums)
    return tuple((low, high) for low, high in found if low <= high)
