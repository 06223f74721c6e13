"""The window in motion and at speed: what blocks a fan that keeps its room at rest.

With the engine on its mounts the fan moves against the body; at speed its blades flex as well, and
belts swing beside it. Both are asked of the thicknesses that are free at rest, with the rules that
the checks in motion and at speed have, and with the bounds that those use.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from noseroom.checks.at_speed import FAN_RULE, Running, flex_mm, running, search_for
from noseroom.checks.at_speed import STATE as AT_SPEED
from noseroom.checks.fan_limits import Limit, limit_of
from noseroom.checks.fan_window_fine import FineViews
from noseroom.checks.fan_window_scan import AMPLE_MM, MOST_SPACER_MM, Floats, Scan, View
from noseroom.checks.fan_window_search import Interval, without
from noseroom.checks.movement import motions_of, movers
from noseroom.checks.moving import RULE as MOVING_RULE
from noseroom.checks.moving import STATE as MOVING
from noseroom.checks.moving import gives
from noseroom.checks.moving_search import MovingSearch
from noseroom.checks.pairs import Pairs, component_pairs
from noseroom.checks.rules import Rules
from noseroom.checks.stand_ins import StandIns
from noseroom.findings import Rule
from noseroom.layout import PlacedPart
from noseroom.tables.shares import shares

LATER = (MOVING, AT_SPEED)
"""The states after the one at rest, in the order in which they are asked."""
_HAND_MM = 60.0
_Blocks = tuple[str, str, bool, bool, tuple[Interval, ...]]
"""Two components; whether it is known, whether it is blocked today; what is blocked."""


class LaterStates:
    """What blocks a fan when the engine moves, and at speed.

    pairs: at rest. Nothing is made before it is asked for.
    """

    def __init__(self, pairs: Pairs, rules: Rules) -> None:
        self._pairs, self._rules = pairs, rules
        self._fine: dict[MovingSearch, FineViews] = {}

    def limits(
        self,
        state: str,
        fan: PlacedPart,
        other: PlacedPart,
        within: tuple[Interval, ...],
        *,
        today: bool,
    ) -> list[Limit]:
        """What one other part blocks in a state; see `limit_of`. It is remembered."""
        rule, search = self._asked(state, other)
        spare = self._spare_mm(state, fan, other)

        def make() -> tuple[_Blocks, ...]:
            return tuple(self._looked_at(state, fan, other, within, spare, today))

        asked = state != MOVING or _asked_in_motion(search, fan, other)
        what = ("window", rule.value_mm, within, spare, today, asked)
        if state == MOVING:
            found = search.kept(fan, other, what, make)
        else:
            nose, _ = self._running
            stands = nose.layout.parts[fan.name], nose.layout.parts[other.name]
            found = nose.kept(search, *stands, what, make)
        if not found:
            return []
        scans = {(one.mine, one.theirs): one for one in self.scans(state, fan, other)}
        return [
            Limit(
                other.name,
                tuple((low, high) for low, high in blocked),
                known,
                now,
                False,
                scans[mine, theirs],
            )
            for mine, theirs, known, now, blocked in found
        ]

    def _looked_at(
        self,
        state: str,
        fan: PlacedPart,
        other: PlacedPart,
        within: tuple[Interval, ...],
        spare_mm: float,
        today: bool,
    ) -> Iterator[_Blocks]:
        for scan in self.near_scans(state, fan, other, spare_mm):
            found = limit_of(scan, within, today=today)
            if found is not None:
                yield scan.mine, scan.theirs, found.known, found.today, found.blocked
                within = without(within, found.blocked)

    def near_scans(
        self, state: str, fan: PlacedPart, other: PlacedPart, spare_mm: float | None = None
    ) -> Iterator[Scan]:
        """Those of which what is kept at rest does not answer for a state already."""
        spare = self._spare_mm(state, fan, other) if spare_mm is None else spare_mm
        if not self._follows(state, fan, other, spare):
            yield from (one for one in self.scans(state, fan, other) if not one.never_near)

    def _spare_mm(self, state: str, fan: PlacedPart, other: PlacedPart) -> float:
        """By how much the rule at rest asks for more than one of a state, flex included.

        Blades come no further out of where they stand than they flex.
        """
        rule, search = self._asked(state, other)
        mine = search.at_rest.layout.parts[fan.name].components
        asked = (
            self._rules.between(fan, one, other, theirs).value_mm
            for one, theirs in component_pairs(self._pairs.layout, fan, other)
            if one in mine
        )
        flex = 0.0 if state == MOVING else _flex_reach_mm(fan)
        return min(asked, default=np.inf) - rule.value_mm - flex

    def _follows(self, state: str, fan: PlacedPart, other: PlacedPart, spare_mm: float) -> bool:
        """Whether what two parts surely keep at rest is enough in a state, whatever the spacer.

        It is where the rule at rest asks for more by as much as any point of the fan comes nearer.
        """
        _, search = self._asked(state, other)
        if state == MOVING and not _asked_in_motion(search, fan, other):
            return True
        if search.far(fan, other) or search.at_rest.layout.parts[other.name].part is not other.part:
            return False
        if not search.whole.parts_move(fan, other):
            return spare_mm >= 0.0
        moving, still = (
            View(one, one.layout.parts[fan.name], one.layout.parts[other.name])
            for one in (search.whole, search.at_rest)
        )
        return spare_mm >= moving.stray_mm(MOST_SPACER_MM) - still.stray_mm(MOST_SPACER_MM)

    def scans(self, state: str, fan: PlacedPart, other: PlacedPart) -> Iterator[Scan]:
        """The pairs of components that a state asks about, with its rule."""
        rule, search = self._asked(state, other)
        if state == MOVING and not _asked_in_motion(search, fan, other):
            return
        first, *rest = (
            View(one, one.layout.parts[fan.name], one.layout.parts[other.name])
            for one in search.bounds
            if one is search.whole or one.parts_move(fan, other)
        )
        views = tuple(rest)
        for mine, theirs in component_pairs(first.pairs.layout, first.fan, first.other):
            if search.far(fan, other):
                # All its components at once: the search looks at each.
                yield _FarScan(first, mine, theirs, rule, state, search=search)
                return
            yield Scan(first, mine, theirs, rule, state, views, self._fine_of(search))

    def _fine_of(self, search: MovingSearch) -> Callable[[PlacedPart, PlacedPart], View]:
        if search not in self._fine:

            def moving(nose: Pairs) -> Pairs:
                return MovingSearch(nose, search.motions).whole

            self._fine[search] = FineViews(search.at_rest, moving)
        return self._fine[search].of

    def _asked(self, state: str, other: PlacedPart) -> tuple[Rule, MovingSearch]:
        """The rule of a state, and the search in which a part is held against the fan."""
        if state == MOVING:
            return self._rules.named(MOVING_RULE), self._moving
        return self._rules.named(FAN_RULE), search_for(self._running[1], other)

    @cached_property
    def _moving(self) -> MovingSearch:
        return MovingSearch(self._pairs, motions_of(self._pairs.layout))

    @cached_property
    def _running(self) -> tuple[Running, MovingSearch]:
        return running(self._pairs, self._rules)


def _flex_reach_mm(fan: PlacedPart) -> float:
    """How far at most anything of a fan's sweep at speed is from its sweep at rest, mm.

    The tips go forward by the flex, and outward by less than width squared over eight radii.
    """
    sizes = fan.entry.sizes
    width = sizes["width"].value + sizes["width"].half_width
    radius = (sizes["diameter"].value - sizes["diameter"].half_width) / 2
    along = flex_mm(fan) * max(1.0, shares()["fan aft"].share)
    return float(np.hypot(along, width**2 / (8 * radius)))


def _asked_in_motion(search: MovingSearch, fan: PlacedPart, other: PlacedPart) -> bool:
    """Whether the check in motion looks at the two."""
    layout = search.at_rest.layout
    if any(len(movers(layout, one)) > 1 for one in (fan, other)):
        return False
    if any(gives(motion, one) for motion in search.motions for one in (fan, other)):
        return False
    return search.whole.parts_move(fan, other)


@dataclass(frozen=True, eq=False)
class _FarScan(Scan):
    """A fan against what swings far, such as a hood: over all of its range, cut into parts."""

    search: MovingSearch | None = None

    def passes_mm(self) -> float:
        """What surely stays whatever the spacer, from boxes; below the rule where that is open."""
        return self._quick_mm(1.0)

    def known_at(self, thickness: float) -> bool:
        """Whether it can be judged: what cannot is not free."""
        return bool(np.isfinite(self.margin(thickness)))

    def clear_until(self, here: float, there: float) -> float:
        """Nothing is known beyond the thickness that was looked at."""
        return here

    def _quick_mm(self, share: float) -> float:
        far = share * MOST_SPACER_MM
        assert self.search is not None
        fan, other = (self.search.at_rest.layout.parts[x.name] for x in (self.fan, self.other))
        return self.search.quick_mm(fan, other) - far * (1.0 + self.first.arm)

    def margin(self, thickness: float) -> float:
        """What is surely left beyond the rule, anywhere in the range."""
        if thickness not in self._known:
            self._known[thickness] = self._looked_at(thickness, _HAND_MM)
        return self._known[thickness]

    def surely_mm(self, thickness: float, enough_mm: float = np.inf) -> float:
        """What surely stays; no pains beyond what is enough, nor beyond a hand's width."""
        more = min(enough_mm - self.room_mm, _HAND_MM)
        return self.room_mm + self._looked_at(thickness, max(more, AMPLE_MM))

    def _looked_at(self, thickness: float, ample_mm: float) -> float:
        assert self.search is not None
        quick = self._quick_mm(thickness / MOST_SPACER_MM) - self.room_mm
        if quick >= ample_mm:
            return quick
        rest = self.search.at_rest
        fan = spaced(rest.layout.parts[self.fan.name], thickness * self.ahead)
        nose = StandIns(rest, {fan.name: fan})
        search = MovingSearch(nose, self.search.motions)
        other = nose.layout.parts[self.other.name]
        return search.surely_mm(fan, other, self.room_mm, ample_mm=ample_mm) - self.room_mm


def spaced(fan: PlacedPart, shift: Floats) -> PlacedPart:
    """A fan that stands further out by (3,) mm on what turns it, as on a spacer."""
    placements = tuple(
        replace(
            one,
            pose=replace(one.pose, shift=one.pose.shift + shift),
            shift_gain=one.shift_gain + np.cross(one.turn_gain, shift[:, None], axis=0),
            shift_null=one.shift_null + np.cross(one.turn_null, shift[:, None], axis=0),
        )
        for one in fan.placements
    )
    return replace(fan, placements=placements)
