"""Whether a bolt can be put in and tightened: room for tools on both sides, and a way in.

A bolt may go in from either side. What comes out of the car, or is put in later, may be left out
for it: then the answer says before what it has to be done.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.bracket_bolts import Bolted
from noseroom.checks.pairs import Pairs
from noseroom.checks.service import STAYS, ways_blocked
from noseroom.checks.service_rooms import drum, room_on, swept_handle
from noseroom.checks.service_tasks import Task
from noseroom.checks.stand_ins import Meets
from noseroom.findings import Rule
from noseroom.layout import PlacedPart
from noseroom.tables.service import needs

Floats = NDArray[np.float64]

_WAYS = 12
_OFF_MM = 0.2
"""Tools and bolts do not touch what they lie on in the model."""


@dataclass(frozen=True, eq=False)
class Bolt:
    """A bolt where it sits.

    host: what it moves with. feature: of that, at the bolt. seat, far: (3,) mm, where its axis
    leaves what it clamps on either side. out: (3,) unit, from the far side to the seat's.
    """

    name: str
    host: PlacedPart
    feature: str
    seat: Floats
    far: Floats
    out: Floats
    bolted: Bolted


@dataclass(frozen=True)
class Reach:
    """One way of putting a bolt in. from_seat: whether its head is on the seat's side.

    before: parts that have to be out, or go in later. stays: what surely stands in the way and
    never comes out; open: what may.
    """

    from_seat: bool
    before: frozenset[str]
    stays: frozenset[str]
    open: frozenset[str]

    @property
    def badness(self) -> tuple[int, int, int]:
        """What stays in the way counts most, then what may, then what has to be out."""
        return len(self.stays), len(self.open), len(self.before)


def sources() -> tuple[str, ...]:
    """Where the figures for tools and fingers are from."""
    keys = ("ring head", "ring depth", "socket", "ratchet length", "swing", "fingers")
    return tuple(dict.fromkeys(needs()[key].source for key in keys))


class Access:
    """Bolts in one nose. pairs: with everything in it that is made. fixed: names of what stays."""

    def __init__(self, pairs: Pairs, rule: Rule, fixed: frozenset[str]) -> None:
        self._pairs, self._rule, self._fixed = pairs, rule, fixed

    def best(self, bolt: Bolt, left_out: frozenset[str]) -> Reach:
        """The better of both ways round; left_out: parts that are not there yet."""
        first = self._reach(bolt, left_out, from_seat=True)
        # Into a rivet nut it goes from the bracket's side alone.
        if first.badness == (0, 0, 0) or bolt.bolted.into != "nut":
            return first
        return min(first, self._reach(bolt, left_out, from_seat=False), key=lambda one: one.badness)

    def _reach(self, bolt: Bolt, left_out: frozenset[str], *, from_seat: bool) -> Reach:
        sides = [(bolt.seat, bolt.out), (bolt.far, -bolt.out)]
        head, nut = sides if from_seat else sides[::-1]
        ways = [_way_in(bolt, *head), _tools(bolt, *head, _head_mm(bolt))]
        if bolt.bolted.into == "nut":
            ways.append(_tools(bolt, *nut, bolt.bolted.fastener.nut.height_mm))
        sums = [self._least(bolt, left_out, one, number) for number, one in enumerate(ways)]
        return Reach(
            from_seat,
            *(frozenset().union(*(getattr(one, key) for one in sums)) for key in _KEYS),
        )

    def _least(
        self,
        bolt: Bolt,
        left_out: frozenset[str],
        ways: Mapping[str, Sequence[Floats]],
        number: int,
    ) -> Reach:
        """The way of one task that has least against it."""
        task = Task(
            key=bolt.name,
            question="",
            host=bolt.host,
            room=room_on(bolt.host, f"room {number} at the {bolt.name}", bolt.feature, ways),
            task="",
            can="",
            goes="",
            otherwise="",
            how="",
            sources=(),
            free=left_out,
        )
        best: Reach | None = None
        for blocks in ways_blocked(self._pairs, self._rule, task):
            found = self._sorted(blocks)
            if best is None or found.badness < best.badness:
                best = found
            if best.badness == (0, 0, 0):
                break
        assert best is not None
        return best

    def _sorted(self, blocks: Mapping[tuple[str, str], Meets]) -> Reach:
        layout = self._pairs.layout
        out, stays, may = set(), set(), set()
        for (name, _), how in blocks.items():
            if name not in self._fixed and layout.parts[name].kind not in STAYS:
                out.add(name)
            elif how is Meets.SURELY:
                stays.add(name)
            else:
                may.add(name)
        return Reach(True, frozenset(out), frozenset(stays), frozenset(may - stays))


_KEYS = ("before", "stays", "open")


def _head_mm(bolt: Bolt) -> float:
    return bolt.bolted.fastener.head.head_mm


def _washer_mm(bolt: Bolt) -> float:
    return bolt.bolted.fastener.washer.most_mm


def _way_in(bolt: Bolt, seat: Floats, out: Floats) -> dict[str, list[Floats]]:
    """The bolt straight off its seat by its whole length, head and fingers."""
    one = bolt.bolted
    reach = one.length_mm + _head_mm(bolt) + _washer_mm(bolt)
    radius = max(one.fastener.corners_mm / 2.0, one.fastener.washer_radius_mm)
    held = radius + needs()["fingers"].value
    return {
        "straight": [
            drum(seat, out, _OFF_MM, reach, radius),
            # It is held by the head: fingers go no nearer to the seat than that.
            drum(seat, out, _washer_mm(bolt) + _OFF_MM, reach + _head_mm(bolt), held),
        ]
    }


def _tools(bolt: Bolt, seat: Floats, out: Floats, height_mm: float) -> dict[str, list[Floats]]:
    """A ring wrench or a socket on a head or nut, its handle pointing each way round."""
    flats = bolt.bolted.fastener.head.across_flats_mm
    figures = {key: one.value for key, one in needs().items()}
    swing = math.radians(figures["swing"])
    base = _washer_mm(bolt)
    ring, deep = figures["ring head"] * flats, figures["ring depth"] * flats
    socket = figures["socket"] * flats
    over = base + figures["socket depth"]
    top = over + figures["ratchet depth"]
    found: dict[str, list[Floats]] = {}
    for k in range(_WAYS):
        turn = math.tau * k / _WAYS
        # Lifted off and on again: its own depth more.
        found[f"wrench {k}"] = [
            drum(seat, out, base, base + height_mm + deep, ring / 2.0),
            swept_handle(
                seat,
                out,
                turn,
                swing,
                figures["wrench length"] * flats,
                flats / 2.0,
                (base, base + deep),
            ),
        ]
    for k in range(_WAYS):
        turn = math.tau * k / _WAYS
        wide = figures["ratchet width"] / 2.0
        found[f"socket {k}"] = [
            drum(seat, out, base, over, socket / 2.0),
            drum(seat, out, over, top, wide),
            swept_handle(seat, out, turn, swing, figures["ratchet length"], wide, (over, top)),
        ]
    return found
