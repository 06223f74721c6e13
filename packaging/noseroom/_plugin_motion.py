"""Clearances of an assembly in which named nodes move: over all of their motions, or along a path.

What hangs on a node moves with it. What carries both of a pair cannot bring them nearer to each
other: only what moves one of them against the other counts.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import partial
from itertools import product, takewhile
from types import MappingProxyType
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from noseroom._plugin_bodies import nodes_of
from noseroom._plugin_clearances import (
    Clearances,
    PairClearance,
    badness,
    checked_cap,
    named,
)
from noseroom._plugin_movers import (
    Both,
    Moving,
    Steps,
    checked_steps,
    checked_ways,
    motions_of,
    moving_bodies,
)
from noseroom._plugin_search import Parted, room, smallest
from noseroom.geometry.all_pairs import close_boxes
from noseroom.geometry.clearance import Clearance, Relation
from noseroom.geometry.kernel import Pose, moved
from noseroom.geometry.motions import Motions, Step, Turn
from noseroom.geometry.sweeps import sweep

Floats = NDArray[np.float64]
Amounts: TypeAlias = tuple[tuple[float, ...], tuple[float, ...]]

_MEETING = (Relation.TOUCHING, Relation.UNDECIDED)
_MOST_LOOKS = 27


@dataclass(frozen=True, eq=False, repr=False)
class PairWhileMoving(PairClearance):
    """How near two things come to each other over all that they may do.

    bound_mm: in no pose of all is the gap below this. relation, distance_mm, points, overlap_mm3
    and pull_apart: as they stand at the worst pose found; "undecided" where they are apart there
    but may touch. amounts: by name, how far each of its motions has gone there, in degrees and
    mm; what carries both is where it rests, or as near to that as its motions let it. motions:
    by name, those motions. settled: False where the search was ended by its limit: the bound
    holds all the same, and may be low; distance_mm is nan if no pose was found as near as that.
    """

    amounts: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    motions: Steps = field(default_factory=dict)
    settled: bool = True

    def _where(self) -> str:
        said = [
            f"{name} {' '.join(map(_amount, self.motions[name], amounts))}"
            for name, amounts in self.amounts.items()
        ]
        return ", ".join(said) if self.settled else ", ".join([*said, "not searched to the end"])


@dataclass(frozen=True, eq=False, repr=False)
class PairAlongPath(PairClearance):
    """How near two things come to each other in any of the poses of a path.

    bound_mm: in none of the poses is the gap below this; nothing is said of what lies between
    two of them. relation, distance_mm, points, overlap_mm3 and pull_apart: as they stand at the
    worst pose found. step: which pose that is, counted from 0.
    """

    step: int = 0

    def _where(self) -> str:
        return f"step {self.step}"


def _amount(step: Step, amount: float) -> str:
    # Adding 0 makes a 0 of a -0.
    return f"{round(amount, 2) + 0.0:g}{'°' if isinstance(step, Turn) else ' mm'}"


def clearances_while_moving(
    self: Any,
    moving: Mapping[str, Step | Iterable[Step]],
    cap_mm: float = 50.0,
    *,
    axes: str = "own",
    most_measured: int = 2_000,
) -> Clearances[PairWhileMoving]:
    """How near every two objects come to each other while nodes of the assembly move.

    Every combination of all amounts counts, not a list of some. The bound is within 0.2 mm of
    the smallest gap (large parts: a little more) wherever the search has `settled`.

    :param moving: by full name of an object or a group, its Turn or Shift, or several, done one
        after the other; what hangs on it moves with it
    :param cap_mm: pairs that are at least this far apart in every pose are counted, not listed
    :param axes: "own": points and directions of motions are in the frame of the node that moves,
        where it rests; "world": in the frame that the assembly stands in
    :param most_measured: how many poses of a pair are measured before its search is ended
    :return: a sequence of answers, worst first, for all pairs that move against each other
    :raises GeometryError: as `clearances` does; a name that is not there, something that is no
        motion, or axes that are neither
    """
    cap = checked_cap(cap_mm)
    nodes = nodes_of(self)
    steps = checked_steps(nodes, moving, axes)
    bodies = moving_bodies(nodes, steps)
    surfaces = {id(one.body): Parted(one.body) for one in bodies}
    rooms = np.array([room(one.body, one.pose, motions_of(one.line, steps)) for one in bodies])
    ask = partial(_smallest, steps=steps, surfaces=surfaces, cap_mm=cap, most=most_measured)
    near = [
        found
        for i, j in close_boxes(rooms, cap)
        if bodies[i].line != bodies[j].line and (found := ask(bodies[i], bodies[j])) is not None
    ]
    return _sorted(near, bodies, cap)


def clearances_along(
    self: Any, path: Mapping[str, Sequence[Any]], cap_mm: float = 50.0
) -> Clearances[PairAlongPath]:
    """How near every two objects come to each other in any pose of a path.

    Only the poses given count, nothing in between: for motions without gaps ask
    `clearancesWhileMoving`.

    :param path: by full name of an object or a group, its locations (`cq.Location`) one after
        the other, each in place of the node's own `loc`; equally many for each name
    :param cap_mm: pairs that are at least this far apart in every pose are counted, not listed
    :return: a sequence of answers, worst first, for all pairs that move against each other
    :raises GeometryError: as `clearances` does; a name that is not there, something that is no
        location, or lists that are not equally long
    """
    cap = checked_cap(cap_mm)
    nodes = nodes_of(self)
    ways = checked_ways(nodes, path)
    bodies = moving_bodies(nodes, ways)
    count = len(next(iter(ways.values())))
    places = [_places(one, ways, count) for one in bodies]
    moves = [i for i, one in enumerate(bodies) if one.line]
    near = []
    for j, other in enumerate(bodies):
        met = [i for i in moves if bodies[i].line != other.line and (i < j or not other.line)]
        if not met:
            continue
        # Seen from the other one, that one stands still.
        seen = np.stack([_undo(places[j]) @ places[i] for i in met], axis=1)
        found = sweep([bodies[i].body for i in met], seen, [other.body], [None], cap_mm=cap)
        for k, i in enumerate(met):
            step, bound = int(found.pose[k, 0]), float(found.bound_mm[k, 0])
            if step >= 0:
                first, second = sorted((i, j))
                both = Both(bodies[first], bodies[second], cap)
                near.append(_along(both, places[first], places[second], step, bound))
    return _sorted(near, bodies, cap)


def _sorted(near: Sequence[Any], bodies: Sequence[Moving], cap_mm: float) -> Clearances[Any]:
    every = math.comb(len(bodies), 2)
    still = sum(math.comb(same, 2) for same in Counter(one.line for one in bodies).values())
    names = tuple(one.name for one in bodies)
    worst_first = tuple(sorted(near, key=badness))
    return Clearances(worst_first, names, cap_mm, every - still - len(near), still)


# -- all of a motion set -------------------------------------------------------------------------


def _smallest(
    a: Moving,
    b: Moving,
    *,
    steps: Steps,
    surfaces: Mapping[int, Parted],
    cap_mm: float,
    most: int,
) -> PairWhileMoving | None:
    """The answer for two that move against each other; None if surely beyond the cap."""
    shared = len(
        list(takewhile(lambda both: both[0] == both[1], zip(a.line, b.line, strict=False)))
    )
    lines = a.line[shared:], b.line[shared:]
    motions_a, motions_b = (motions_of(line, steps) for line in lines)
    least = smallest(
        surfaces[id(a.body)],
        a.pose,
        motions_a,
        surfaces[id(b.body)],
        b.pose,
        motions_b,
        cap_mm=cap_mm,
        most_measured=most,
    )
    found, bound, marks = least.at_worst, least.bound_mm, least.amounts
    if bound >= cap_mm and (found is None or found.relation is Relation.APART):
        return None
    if found is None:
        found = Clearance(Relation.APART, math.nan, bound)
    elif found.relation in _MEETING:
        looks = _looks((motions_a, a.pose), (motions_b, b.pose))
        found, marks = Both(a, b, cap_mm).worst(found, marks, looks)
    # Apart in the pose that was found, and for all that is known touching in another.
    maybe = bound <= 0 and found.relation is Relation.APART
    relation = Relation.UNDECIDED if maybe else found.relation
    amounts = {**_by_name(lines[0], steps, marks[0]), **_by_name(lines[1], steps, marks[1])}
    shown = _carried(replace(found, relation=relation, bound_mm=bound), a.line[:shared], steps)
    return PairWhileMoving(
        **_fields(named(shown, a.name, b.name)),
        amounts=MappingProxyType(amounts),
        motions=MappingProxyType({name: steps[name] for name in amounts}),
        settled=least.settled,
    )


def _looks(*moving: tuple[Motions, Pose]) -> Iterator[tuple[Amounts, Pose, Pose]]:
    """Ends and middles of all intervals, with their places; only ends where that is too much."""
    (moves_a, rest_a), (moves_b, rest_b) = moving
    every = [step.interval for step in (*moves_a.steps, *moves_b.steps)]
    grid = [(low, (low + high) / 2, high) for low, high in every]
    if len(every) > round(math.log(_MOST_LOOKS, 3)):
        grid = [(low, high) for low, high in every]  # type: ignore[misc]
    if math.prod(map(len, grid)) > 2 * _MOST_LOOKS:
        return
    split = len(moves_a.steps)
    for amounts in product(*grid):
        of_a, of_b = np.array(amounts[:split]), np.array(amounts[split:])
        marks = moves_a.reported(of_a), moves_b.reported(of_b)
        yield marks, moves_a.pose(of_a, rest_a), moves_b.pose(of_b, rest_b)


def _by_name(
    line: Sequence[str], steps: Steps, amounts: Sequence[float]
) -> dict[str, tuple[float, ...]]:
    """Amounts of a line's motions, the nearest to the body first, by name in the line's order."""
    left, found = list(amounts), {}
    for name in line[::-1]:
        found[name] = tuple(left[: len(steps[name])])
        del left[: len(steps[name])]
    return {name: found[name] for name in line}


def _carried(found: Clearance, line: Sequence[str], steps: Steps) -> Clearance:
    """An answer where what carries both of the pair is as near to its rest as it may be."""
    motions = motions_of(line, steps)
    least = [min(max(0.0, low), high) for low, high in (one.interval for one in motions.steps)]
    carry = motions.pose(least, np.eye(4))
    points, free = found.points, found.pull_apart
    return replace(
        found,
        points=None if points is None else moved(points, carry),
        pull_apart=free and replace(free, direction=carry[:3, :3] @ free.direction),
    )


def _fields(one: PairClearance) -> dict[str, Any]:
    return {each.name: getattr(one, each.name) for each in fields(PairClearance)}


# -- a path --------------------------------------------------------------------------------------


def _places(body: Moving, ways: Mapping[str, Floats], count: int) -> Floats:
    """Where a body stands (n, 4, 4) in every pose of a path."""
    place = np.broadcast_to(np.eye(4), (count, 4, 4))
    for one in body.node.line:
        place = place @ ways.get(one.name, one.loc)
    # A shape may have a location of its own, besides its node's.
    own = _undo(body.node.place[None])[0] @ body.pose
    made: Floats = place @ own
    return made


def _undo(places: Floats) -> Floats:
    """The inverse of rigid places (n, 4, 4)."""
    back = np.zeros_like(places)
    back[:, :3, :3] = np.swapaxes(places[:, :3, :3], 1, 2)
    back[:, :3, 3] = -np.einsum("nji,nj->ni", places[:, :3, :3], places[:, :3, 3])
    back[:, 3, 3] = 1.0
    return back


def _along(both: Both, way_a: Floats, way_b: Floats, step: int, bound_mm: float) -> PairAlongPath:
    found = both.at(way_a[step], way_b[step])
    if found.relation in _MEETING:
        some = np.unique(np.linspace(0, len(way_a) - 1, min(len(way_a), _MOST_LOOKS)).round())
        looks = ((k, way_a[k], way_b[k]) for k in some.astype(int).tolist())
        found, step = both.worst(found, step, looks)
    sure = replace(found, bound_mm=min(bound_mm, found.bound_mm))
    return PairAlongPath(**_fields(named(sure, both.a.name, both.b.name)), step=step)
