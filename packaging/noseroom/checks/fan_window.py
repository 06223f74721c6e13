"""The window: how thick a spacer may be for a fan to keep every rule, and what a thickness leaves.

Thicknesses count from where the fan stands now, along its own axis. They have to do at rest, when
the engine moves, and at speed; each state is asked of what the one before it leaves.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from noseroom.checks.fan_limits import Limit, in_order, limit_of, note_scans, scans_past
from noseroom.checks.fan_window_fine import FineViews
from noseroom.checks.fan_window_scan import AT_REST, WHOLE, Floats, Scan
from noseroom.checks.fan_window_search import Interval, without
from noseroom.checks.fan_window_shroud import InShroud, in_shroud
from noseroom.checks.fan_window_states import LATER, LaterStates
from noseroom.checks.margins import Margins
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.layout import Layout, PlacedPart

Progress = Callable[[int, int, str], None]

STATES = (AT_REST, *LATER)
"""All states, in the order in which they are asked."""
FRONT, REAR, TIPS = "front", "rear", "tips"
"""The sides of a fan: towards what is on the body, towards what is on the engine, its shroud."""


@dataclass(frozen=True, eq=False)
class End:
    """One end of an interval of thicknesses, mm, and what is in the way beyond it; None: nothing.

    Then it is where the fan stands without a spacer, or the thickest spacer that is made.
    """

    at_mm: float
    limit: Limit | None

    @property
    def part(self) -> str:
        """What is in the way beyond it."""
        return "" if self.limit is None else self.limit.part

    @property
    def state(self) -> str:
        """In which state that is."""
        return "" if self.limit is None else self.limit.state

    @property
    def said(self) -> str:
        """What is in the way beyond it, in words: "the compressor", "the radiator at speed"."""
        if self.limit is None:
            return ""
        when = {AT_REST: "", "moving": " when the engine moves"}.get(self.state, f" {self.state}")
        return f"the {self.part}{when}"


@dataclass(frozen=True)
class Gap:
    """What a fan leaves on one side, to the part that is nearest there.

    mm: as adjusted; sure_mm: what surely stays, -inf where that is not known.
    """

    side: str
    part: str
    mm: float
    sure_mm: float


@dataclass(frozen=True, eq=False)
class Window:
    """The thicknesses (mm) of one spacer that keep all rules of a fan.

    by_state: what is left after each state; none holds more than the one before. limits: all that
    is in the way somewhere.
    """

    fan: PlacedPart
    by_state: Mapping[str, tuple[Interval, ...]]
    limits: tuple[Limit, ...]
    _pairs: Pairs
    _rules: Rules
    _later: LaterStates
    _rest: tuple[Scan, ...]
    _asked: tuple[tuple[str, PlacedPart], ...]

    @property
    def intervals(self) -> tuple[Interval, ...]:
        """What keeps every rule in every state."""
        return self.by_state[STATES[-1]]

    @property
    def lost(self) -> list[str]:
        """Parts of which nothing fixes how they stand to the fan."""
        return sorted({one.part for one in self.limits if not one.known})

    @property
    def layout(self) -> Layout:
        """The nose that it is about."""
        return self._pairs.layout

    @property
    def ahead(self) -> Floats:
        """(3,): the way along which a spacer takes the fan, vehicle frame."""
        return ahead_of(self.fan)

    @cached_property
    def ends(self) -> tuple[tuple[End, End], ...]:
        """The lower and the upper end of each interval."""
        return tuple((self._end(low, 1), self._end(high, 0)) for low, high in self.intervals)

    def _end(self, at: float, side: int) -> End:
        """side: 1 where what is in the way ends there, 0 where it begins."""
        meets = (
            limit
            for limit in self.limits
            if any(interval[side] == at for interval in limit.blocked)
        )
        return End(at, next(meets, None))

    def holds(self, thickness: float) -> bool:
        """Whether a spacer of this thickness keeps every rule."""
        return any(low <= thickness <= high for low, high in self.intervals)

    @cached_property
    def all_limits(self) -> tuple[Limit, ...]:
        """All that blocks anything, whatever else does, up to the state that leaves nothing."""
        scans = [*self._rest]
        for state, other in self._asked:
            scans += self._later.near_scans(state, self.fan, other)
        found = (limit_of(one, (), today=True, always=True) for one in scans)
        return tuple(one for one in found if one is not None)

    @cached_property
    def overhang_mm(self) -> float:
        """How far the middle of the blades stands ahead of the face of the hub, along the axis.

        Of a fan on no water pump: ahead of its own mounting face.
        """
        carrier = self.layout.parts.get(self.fan.carrier)
        face = self.fan.pose[:3, 3]
        if carrier is not None and carrier.kind == "water pump":
            face = carrier.touch_point("hub.face")[0]
        middle = self.fan.touch_point("blade.tip", "12 o'clock")[0]
        return float((middle - face) @ self.ahead)

    def in_shroud(self, thickness: float) -> InShroud | None:
        """How the fan stands in its shroud with a spacer of this thickness; None without one."""
        for one in self.layout.parts.values():
            if one.kind == "shroud" and one.known:
                return in_shroud(self.fan, one, thickness)
        return None

    def gaps(self, thickness: float, state: str = AT_REST) -> tuple[Gap, ...]:
        """What a spacer leaves to the nearest part on each side that has one, in a state.

        At speed flex and swing are in the gap as adjusted, and the engine's movement in what is
        sure; when the engine moves only what is not on the engine is asked about.
        """
        nearest: dict[str, list[Scan]] = {}
        for scan in self._scans(state):
            nearest.setdefault(_side(scan.other), []).append(scan)
        return tuple(
            _least(side, nearest[side], thickness)
            for side in (FRONT, REAR, TIPS)
            if side in nearest
        )

    def _scans(self, state: str) -> Iterator[Scan]:
        for other in others_of(self.layout, self.fan):
            if state == AT_REST:
                yield from scans_past(self._pairs, self._rules, self.fan, other)
            else:
                yield from self._later.scans(state, self.fan, other)


def ahead_of(fan: PlacedPart) -> Floats:
    """(3,): the way along which a spacer takes a fan, vehicle frame."""
    return np.asarray(-fan.pose[:3, 0])


def others_of(layout: Layout, fan: PlacedPart) -> list[PlacedPart]:
    """All that a fan is held against."""
    return [
        part
        for part in layout.parts.values()
        if part is not fan and part.components and not part.unplaced
    ]


def window_of(
    pairs: Pairs,
    rules: Rules,
    fan: PlacedPart,
    progress: Progress | None = None,
    margins: Margins | None = None,
) -> Window:
    """The thicknesses of one spacer that keep all rules of a fan.

    pairs: of the nose at rest. margins: where it is noted what each other part does to the fan
    today, at rest, and how much that may change.
    """
    noted, later = Margins() if margins is None else margins, LaterStates(pairs, rules)
    others, fine = others_of(pairs.layout, fan), FineViews(pairs)
    limits: list[Limit] = []
    by_state: dict[str, tuple[Interval, ...]] = {}
    free: tuple[Interval, ...] = WHOLE
    asked: list[tuple[str, PlacedPart]] = []
    scans: list[Scan] = []
    for turn, state in enumerate(STATES):
        # Without a spacer only what keeps its room in the states before is asked of the next.
        today = not any(limit.today for limit in limits)
        for done, other in enumerate(others if free else ()):
            if progress is not None:
                what = f"{fan.name} along its axis, past {other.name}, {state}"
                progress(turn * len(others) + done, len(STATES) * len(others), what)
            if state == AT_REST:
                found = list(scans_past(pairs, rules, fan, other, fine))
                note_scans(found, pairs, fan, other, noted)
                scans += [one for one in found if not one.never_near]
                continue
            asked.append((state, other))
            for limit in later.limits(state, fan, other, free, today=today):
                limits.append(limit)
                free = without(free, limit.blocked)
        for scan in in_order(scans) if state == AT_REST else ():
            blocks = limit_of(scan, free, today=today)
            if blocks is not None:
                limits.append(blocks)
                free = without(free, blocks.blocked)
        by_state[state] = free
    return Window(fan, by_state, tuple(limits), pairs, rules, later, tuple(scans), tuple(asked))


def _side(other: PlacedPart) -> str:
    if other.kind == "shroud":
        return TIPS
    return FRONT if other.group == "body" else REAR


def _least(side: str, scans: list[Scan], thickness: float) -> Gap:
    """The gap to the nearest of some parts, and what surely stays to the worst of them."""
    nearest, part, sure = np.inf, "", np.inf
    gaps = sorted(((scan.gap_mm(thickness), i) for i, scan in enumerate(scans)))
    for gap, i in gaps:
        if gap < nearest:
            nearest, part = gap, scans[i].other.name
        if gap - scans[i].first.stray_mm(thickness) >= sure:
            continue
        sure = min(sure, scans[i].surely_mm(thickness, sure))
    return Gap(side, part, float(nearest), float(sure))
