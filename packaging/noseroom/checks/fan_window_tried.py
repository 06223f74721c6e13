"""Trying a change on the nose: what a fan on a spacer then lacks, to anything, in any state."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import replace

from noseroom.checks.fan_limits import scans_past
from noseroom.checks.fan_window import others_of
from noseroom.checks.fan_window_scan import Floats, Scan
from noseroom.checks.fan_window_states import LATER, LaterStates
from noseroom.checks.moves import Moves
from noseroom.checks.stand_ins import StandIns
from noseroom.layout import PlacedPart
from noseroom.parts.fan import Fan


class Trial:
    """A nose in which some parts are changed, and a fan in it.

    changed: by name; they stand in for the parts of the same name. apart: names of what is left
    out, because another remedy has to make room to it anyway.
    """

    def __init__(
        self,
        moves: Moves,
        fan: PlacedPart,
        changed: Mapping[str, PlacedPart],
        apart: Collection[str] = (),
    ) -> None:
        self._pairs, self._rules = StandIns(moves.pairs, changed), moves.rules
        self._fan = self._pairs.layout.parts[fan.name]
        # A belt or hose that is tied to what is moved follows, another way than it is drawn.
        gone = set(changed) - {fan.name}
        self._others = [
            one
            for one in others_of(self._pairs.layout, self._fan)
            if one.name not in apart
            if one.name in changed or set(one.ties).isdisjoint(gone)
        ]

    def missing_mm(self, thickness: float) -> float:
        """What is missing of some rule with a spacer of this thickness; 0 where all are kept.

        States are asked one after the other; what is missing in one is said before the next.
        """
        for scans in self._states():
            missing = max((-one.margin(thickness) for one in scans), default=0.0)
            if missing > 0:
                return missing
        return 0.0

    def _states(self) -> Iterator[list[Scan]]:
        yield [
            scan
            for other in self._others
            for scan in scans_past(self._pairs, self._rules, self._fan, other)
            if not scan.never_near
        ]
        later = LaterStates(self._pairs, self._rules)
        for state in LATER:
            yield [
                scan for other in self._others for scan in later.near_scans(state, self._fan, other)
            ]


def shifted(part: PlacedPart, shift: Floats) -> PlacedPart:
    """A part that stands elsewhere by (3,) mm, vehicle frame."""
    placements = tuple(
        replace(one, pose=replace(one.pose, shift=one.pose.shift + shift))
        for one in part.placements
    )
    return replace(part, placements=placements)


def narrower(fan: PlacedPart, part: Fan, by_mm: float) -> PlacedPart:
    """A fan whose blades are narrower, their rear edge where it was."""
    width, ahead = part.width_mm - by_mm, part.ahead_mm - by_mm
    return replace(fan, part=replace(part, width_mm=width, ahead_mm=ahead))


def smaller(fan: PlacedPart, part: Fan, by_mm: float) -> PlacedPart:
    """A fan that is smaller over its tips."""
    return replace(fan, part=replace(part, diameter_mm=part.diameter_mm - by_mm))
