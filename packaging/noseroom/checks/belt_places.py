"""How a belt runs when one of its pulleys is set elsewhere in its plane: many places at once.

Wraps are those of `physics.belts`, less what the readings may take off them, as `drive_forms` has
it for one place. How far the two spans at the moved pulley run out of line, and the room that they
leave to what stands near the plane, are judged as adjusted; of a place that is offered,
`moved_nose` asks the rest.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.drive import Drive
from noseroom.checks.drive_forms import wraps_by_sources
from noseroom.checks.moved_nose import line_limit
from noseroom.checks.pairs import Pairs, component_pairs
from noseroom.checks.rules import Rules
from noseroom.layout import PlacedPart
from noseroom.parts.belt_path import belt_path
from noseroom.physics.belts import BeltRun, belt_run
from noseroom.tables.limits import limits

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_AT_ONCE = 2000
_MOST_ORDERS = 60
_FEW = 5
_BENT = 25
"""Points of the belt on a pulley; half a turn is then short of its circle by a 470th of it."""


@dataclass(frozen=True, eq=False)
class BeltPlaces:
    """A belt at many places of one pulley.

    shifts: (n, 3) mm, vehicle frame. wraps: (n, p) rad, the least that surely lies on each pulley,
    in the order of the belt's own; below zero where the belt cannot run so. ends: (n, 2, 2, 2) mm,
    the two spans at the moved pulley: from where to where, (y, z) in the belt's plane. middles:
    (n, 2) mm, of that pulley; sense: 1, or -1 where the belt's back runs on it.
    """

    shifts: Floats
    wraps: Floats
    ends: Floats
    middles: Floats
    sense: float

    def only(self, which: Flags) -> BeltPlaces:
        """Some of the places."""
        return BeltPlaces(
            self.shifts[which],
            self.wraps[which],
            self.ends[which],
            self.middles[which],
            self.sense,
        )

    def paths(self, outward_mm: float) -> Floats:
        """(n, k, 2) mm: from where the belt leaves one neighbour to where it meets the next.

        outward_mm: how far out of the loop from the line that its length goes by.
        """
        arms = self.ends[:, [0, 1], [1, 0]] - self.middles[:, None]
        radius = np.sqrt((arms[:, :1] ** 2).sum(axis=-1, keepdims=True))
        out = self.sense * outward_mm * arms / radius
        start, end = np.arctan2(arms[..., 1], arms[..., 0]).T
        turn = np.mod(self.sense * (end - start), math.tau)[:, None] * np.linspace(0.0, 1.0, _BENT)
        along = start[:, None] + self.sense * turn
        bent = radius + self.sense * outward_mm
        arc = self.middles[:, None] + bent * np.stack([np.cos(along), np.sin(along)], axis=-1)
        first, last = self.ends[:, 0, 0] + out[:, 0], self.ends[:, 1, 1] + out[:, 1]
        return np.concatenate([first[:, None], arc, last[:, None]], axis=1)

    @property
    def least(self) -> Floats:
        """(n,) rad, on the pulley that has the least."""
        return np.asarray(self.wraps.min(axis=1))


def belt_places(drive: Drive, moved: str, shifts: Floats) -> BeltPlaces | None:
    """The belt with one pulley moved by each of shifts (n, 3) mm, vehicle frame.

    None where nothing fixes how its pulleys stand.
    """
    found = drive.centre_forms
    if found is None:
        return None
    one = next(k for k, circle in enumerate(drive.circles) if circle.part.name == moved)
    parts = [
        _some(drive, one, shifts[start : start + _AT_ONCE])
        for start in range(0, len(shifts), _AT_ONCE)
    ]
    count = len(drive.circles)
    return BeltPlaces(
        shifts,
        np.concatenate([wraps for wraps, _ in parts]) if parts else np.zeros((0, count)),
        np.concatenate([ends for _, ends in parts]) if parts else np.zeros((0, 2, 2, 2)),
        drive.run()[one, :2] + (shifts @ drive.frame)[:, 1:],
        -1.0 if drive.back[one] else 1.0,
    )


def _some(drive: Drive, moved: int, shifts: Floats) -> tuple[Floats, Floats]:
    placed, forms, strays, columns = _forms(drive, moved, shifts)
    back, count = np.array(drive.back), len(drive.circles)
    wraps = np.full((len(shifts), count), -1.0)
    ends = np.full((len(shifts), 2, 2, 2), np.nan)
    sure = drive.layout.uncertainty.only(columns)
    proud = drive.belt.entry.sizes["proud"].half_width
    for order in _orders(drive, moved, placed):
        at = np.array(order)
        run = belt_run(placed[:, at], back[at])
        good = np.flatnonzero(run.ok & (wraps.max(axis=1) < 0))
        if not len(good):
            continue
        run = belt_run(placed[good][:, at], back[at])
        spread, _ = wraps_by_sources(run, forms[good][:, at], strays[at], proud * back[at], sure)
        wraps[np.ix_(good, at)] = run.wraps - spread
        ends[good] = _spans_at(run, order.index(moved))
    return wraps, ends


def _forms(
    drive: Drive, moved: int, shifts: Floats
) -> tuple[Floats, Floats, Floats, NDArray[np.intp]]:
    """Where pulleys stand, (n, p, 3), and how that follows some sources, (n, p, 3, s)."""
    centre_forms = drive.centre_forms
    assert centre_forms is not None
    forms = np.concatenate(
        [centre_forms[0], np.array([one.radius_moves for one in drive.circles])[:, None]], axis=1
    )
    first, circle = drive.circles[0], drive.circles[moved]
    turn = drive.frame.T @ (circle.turn - first.turn)
    columns = np.flatnonzero((np.abs(forms).max(axis=(0, 1)) > 0) | (np.abs(turn).max(axis=0) > 0))
    inside = shifts @ drive.frame
    placed = np.repeat(drive.run()[None], len(shifts), axis=0)
    placed[:, moved, :2] += inside[:, 1:]
    made = np.repeat(forms[None][..., columns], len(shifts), axis=0)
    # Further out on what turns it, a pulley swings by the longer arm.
    swung = np.cross(turn[:, columns].T[None], inside[:, None])
    made[:, moved, :2] += swung.transpose(0, 2, 1)[:, 1:]
    return placed, made, centre_forms[1], columns


def _orders(drive: Drive, moved: int, placed: Floats) -> Iterator[tuple[int, ...]]:
    """Orders in which the belt may go round."""
    count = len(drive.circles)
    if any(drive.back):
        yield tuple(range(count))
        yield tuple(reversed(range(count)))
        return
    # A belt that runs on none with its back lies round them all, in whatever order they are named.
    if count <= _FEW:
        for rest in permutations(range(1, count)):
            yield (0, *rest)
        return
    others = [k for k in range(count) if k != moved]
    arcs = belt_path(placed[0][others]).arcs
    touched = list(dict.fromkeys(others[arc.pulley] for arc in arcs))
    orders = [touched]
    for one in [k for k in range(count) if k not in touched]:
        orders = [[*o[:k], one, *o[k:]] for o in orders for k in range(1, len(o) + 1)]
    for order in orders[:_MOST_ORDERS]:
        yield tuple(order)


def _spans_at(run: BeltRun, place: int) -> Floats:
    """(n, 2, 2, 2) mm: the spans that come to and leave one pulley of a run."""
    start, end = run.ends
    into = np.stack([start[:, place - 1], end[:, place - 1]], axis=1)
    out = np.stack([start[:, place], end[:, place]], axis=1)
    return np.stack([into, out], axis=1)


def in_line(drive: Drive, moved: str, places: BeltPlaces) -> Flags:
    """(n,): whether the spans at the moved pulley are long enough not to lean more than they may.

    As adjusted; an offset leans a short span by more. Where the belt leans too much already, by no
    more than it does: that is told of the belt.
    """
    bears = np.radians(limits()[line_limit(drive.belt)].limit_deg)
    asked = 0.0
    for one in drive.leans():
        if moved in (one.pulley, one.other):
            asked = max(asked, min(abs(one.offset_mm) / bears, one.span_mm))
    start, end = places.ends[:, :, 0], places.ends[:, :, 1]
    with np.errstate(invalid="ignore"):
        shortest = np.sqrt(((end - start) ** 2).sum(axis=-1)).min(axis=1)
        return np.asarray(shortest >= asked - 1e-6)


def belt_blocked(
    pairs: Pairs, rules: Rules, drive: Drive, others: Sequence[PlacedPart], places: BeltPlaces
) -> Iterator[tuple[str, Flags]]:
    """Each other part with (n,), where the belt at the moved pulley comes too near to it.

    As adjusted. What stands beside the belt's plane is taken as its outline in it, at its distance
    from it. A belt that cannot run at a place has no spans there, and is blocked by nothing.
    """
    import shapely

    belt = drive.belt
    half, inside, back = (float(one) for one in belt.part.band())  # type: ignore[attr-defined]
    middle, band = (inside + back) / 2, (back - inside) / 2
    usable: Flags = np.asarray(np.isfinite(places.ends).all(axis=(1, 2, 3)))
    lines = shapely.linestrings(places.only(usable).paths(middle))
    origin = drive.circles[0].part.pose[:3, 3]
    for other in others:
        blocked: Flags = np.zeros_like(usable)
        for mine, theirs in component_pairs(pairs.layout, belt, other):
            asked = rules.between(belt, mine, other, theirs).value_mm
            for piece in other.moving[theirs][0]:
                there = (piece.corners - origin) @ drive.frame
                beside = max(there[:, 0].min() - half, -half - there[:, 0].max(), 0.0)
                if beside < asked:
                    outline = shapely.convex_hull(shapely.multipoints(there[:, 1:]))
                    room = np.sqrt(asked**2 - beside**2) + band
                    blocked[usable] |= shapely.distance(lines, outline) < room
        if blocked.any():
            yield other.name, blocked
