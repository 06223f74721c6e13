"""Sure gaps between what moves and what does not, or what moves otherwise.

A turn is linear in its amount only to the first order; what it does beyond that is bounded here and
taken off.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.movement import Motion as Motion
from noseroom.checks.movement import motions_of as motions_of
from noseroom.checks.pairs import Pairs, _Couple, _Moves
from noseroom.checks.sway import Outline, box_corners, box_of
from noseroom.geometry.separation import Bend, MovingPiece, Separation, Uncertainty, crossed
from noseroom.layout import Layout, PlacedPart
from noseroom.survey.poses import Pose
from noseroom.survey.solution import Placement

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class _Columns:
    """Where the amounts of one motion stand among the sources of a layout with motions."""

    motion: Motion
    first: int
    of: int

    def twist(self) -> tuple[Floats, Floats]:
        """Turn (3, m) rad and shift (3, m) mm at the pivot for each of the motions' sources."""
        turn, shift = np.zeros((3, self.of)), np.zeros((3, self.of))
        here = slice(self.first, self.first + len(self.motion.reaches))
        turn[:, here], shift[:, here] = self.motion.turns.T, self.motion.shifts.T
        return turn, shift


@dataclass(frozen=True, eq=False)
class _MovedPart(PlacedPart):
    """A part at the centre of its motion's range, with how the motions move it from there.

    rest: the part at rest. ways: for each placement the motion that it follows, if any, and the
    placement of the part that it moves about. amounts: how many sources all motions have.
    """

    rest: PlacedPart | None = None
    ways: tuple[tuple[_Columns, Placement] | None, ...] = ()
    amounts: int = 0

    @cached_property
    def moving(self) -> Mapping[str, tuple[tuple[MovingPiece, ...], ...]]:
        """Its pieces by component, one tuple for each placement: those at rest, carried along."""
        assert self.rest is not None
        return {
            component: tuple(
                tuple(self._carried(one, placement, way) for one in pieces)
                for pieces, placement, way in zip(each, self.placements, self.ways, strict=True)
            )
            for component, each in self.rest.moving.items()
        }

    @cached_property
    def components(self) -> tuple[str, ...]:
        """Those of the part at rest."""
        assert self.rest is not None
        return self.rest.components

    def _carried(
        self, one: MovingPiece, placement: Placement, way: tuple[_Columns, Placement] | None
    ) -> MovingPiece:
        swell = one.swell
        if swell is not None:
            swell = np.pad(swell, ((0, 0), (0, 0), (0, self.amounts)))
        at_rest = way is None or not way[0].motion.centre.any()
        if not at_rest:
            assert way is not None
            pose = way[0].motion.pose(way[0].motion.centre)
            if swell is not None:
                swell = np.einsum("ij,njs->nis", pose[:3, :3], swell)
            corners, axes = one.corners @ pose[:3, :3].T + pose[:3, 3], pose[:3, :3] @ one.axes
        else:
            corners, axes = one.corners, one.axes
        return MovingPiece(
            corners=corners,
            origin=placement.pose.shift,
            axes=axes,
            shift=placement.shift_gain,
            turn=placement.turn_gain,
            null_shift=placement.shift_null,
            null_turn=placement.turn_null,
            swell=swell,
            offset=one.offset if at_rest else np.zeros(3),
            hull=one.outline if at_rest else None,
        )


class _MadeWhenAsked(Mapping[str, PlacedPart]):
    """Parts by name, each made when it is first asked for."""

    def __init__(self, names: Mapping[str, object], make: Callable[[str], PlacedPart]) -> None:
        self._names, self._make = names, make
        self._made: dict[str, PlacedPart] = {}

    def __getitem__(self, name: str) -> PlacedPart:
        if name not in self._made:
            if name not in self._names:
                raise KeyError(name)
            self._made[name] = self._make(name)
        return self._made[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)


class MovingPairs(Pairs):
    """Sure gaps over everything uncertain and every movement of some motions at once.

    like: the same over the motions' whole ranges, where some of these here are narrower: what they
    have in common is taken from there.
    """

    def __init__(
        self,
        at_rest: Pairs,
        motions: Motion | Sequence[Motion],
        like: MovingPairs | None = None,
    ) -> None:
        self.at_rest = at_rest
        self.motions = (motions,) if isinstance(motions, Motion) else tuple(motions)
        total = sum(len(one.reaches) for one in self.motions)
        self._ways: dict[str, _Columns] = {}
        first = 0
        for one in self.motions:
            columns = _Columns(one, first, total)
            self._ways |= dict.fromkeys(one.moved, columns)
            first += len(one.reaches)
        self._like = like
        super().__init__(self._moved_layout(at_rest.layout, total), bends=at_rest.bends)
        self._swings: dict[tuple[str, str], Floats] = {}
        self._strays: dict[tuple[str, str], Floats] = {}

    @property
    def motion(self) -> Motion:
        """The only motion, where there is one."""
        (only,) = self.motions
        return only

    def motion_of(self, part: PlacedPart) -> Motion | None:
        """The motion that a part follows."""
        way = self._ways.get(part.name)
        return None if way is None else way.motion

    def parts_move(self, a: PlacedPart, b: PlacedPart) -> bool:
        """Whether the motions move two parts against each other."""
        return self.motion_of(a) is not self.motion_of(b)

    def bend(self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str) -> Bend:
        """What to take off for the second order of two components, the motions' included."""
        still = self._still_bend(a, mine, b, theirs)
        if not self.parts_move(a, b):
            return still
        return Bend(still.seen_from_a + self._seen(a, b), still.seen_from_b + self._seen(b, a))

    def _still_bend(self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str) -> Bend:
        if self._shifted(a) or self._shifted(b):
            return super().bend(a, mine, b, theirs)
        return self.at_rest.bend(self._rest(a), mine, self._rest(b), theirs)

    def readings_mm(self, worst: Separation, a: PlacedPart, b: PlacedPart) -> float:
        """How much of a gap's bound readings and assumptions take off, and no movement, mm."""
        still = worst.form.copy()
        still[len(self.at_rest.layout.survey.sources) :] = 0.0
        return float(self.layout.uncertainty.spread(still)) + a.slack_mm + b.slack_mm

    # -- the layout ------------------------------------------------------------------------

    def _moved_layout(self, layout: Layout, total: int) -> Layout:
        more = [source for motion in self.motions for source in motion.sources]
        survey = replace(layout.survey, sources=(*layout.survey.sources, *more))

        def make(name: str) -> PlacedPart:
            if self._like is not None and self._alike(name):
                return self._like.layout.parts[name]
            return self._moved(layout, layout.parts[name], total)

        return replace(layout, survey=survey, parts=_MadeWhenAsked(layout.parts, make))

    def _alike(self, name: str) -> bool:
        """Whether a part follows the same motions as in the pairs that these here are like."""
        assert self._like is not None
        mine, its = self._ways.get(name), self._like._ways.get(name)
        return (mine and mine.motion) is (its and its.motion)

    def _moved(self, layout: Layout, part: PlacedPart, total: int) -> PlacedPart:
        movers = part.ties if part.kind in ("belt", "hose") else (part.name,)
        ways = []
        for name in movers:
            columns = self._ways.get(name)
            root = None if columns is None else layout.parts[columns.motion.root].placements[0]
            ways.append(None if columns is None or root is None else (columns, root))
        placements = tuple(
            _carried(one, way, total) for one, way in zip(part.placements, ways, strict=True)
        )
        known = {one: getattr(part, one) for one in PlacedPart.__dataclass_fields__}
        known["placements"] = placements
        return _MovedPart(**known, rest=part, ways=tuple(ways), amounts=total)

    def _rest(self, part: PlacedPart) -> PlacedPart:
        return self.at_rest.layout.parts[part.name]

    def _shifted(self, part: PlacedPart) -> bool:
        """Whether it is drawn elsewhere than at rest: at the centre of a range off rest."""
        motion = self.motion_of(part)
        return motion is not None and bool(motion.centre.any())

    # -- how far it comes ------------------------------------------------------------------

    def _outline(self, part: PlacedPart) -> Outline:
        if part.name not in self._outlines and self._like is not None and self._alike(part.name):
            self._outlines[part.name] = self._like._outline(part)
        if part.name not in self._outlines:
            rest = self.at_rest._outline(self._rest(part))
            felt = np.zeros(len(self.layout.survey.sources), dtype=bool)
            felt[: len(rest.felt)] = rest.felt
            motion = self.motion_of(part)
            way = self._ways.get(part.name)
            if way is not None:
                first = len(rest.felt) + way.first
                felt[first : first + len(way.motion.reaches)] = True
            for other in part.ties:
                if (tied := self._ways.get(other)) is not None and part.kind in ("belt", "hose"):
                    first = len(rest.felt) + tied.first
                    felt[first : first + len(tied.motion.reaches)] = True
            swell, corners = rest.swell, rest.corners
            if motion is not None and self._shifted(part):
                swell = np.abs(motion.turned()) @ swell
                corners = box_corners(self._whole_box(part) + np.array([-swell, swell]))
            self._outlines[part.name] = Outline(swell, corners, felt, rest.warp)
        return self._outlines[part.name]

    def _coupled(self, a: PlacedPart, b: PlacedPart) -> _Couple:
        if self._shifted(a) or self._shifted(b):
            couple = super()._coupled(a, b)
            return replace(couple, sway_mm=couple.sway_mm + self._second_order_mm(a, b))
        mine, theirs = self._outline(a), self._outline(b)
        columns = np.flatnonzero(mine.felt | theirs.felt)
        return _Couple(
            columns,
            self.layout.uncertainty.only(columns),
            self.loose_mm(a, b),
            self.at_rest._couple(self._rest(a), self._rest(b)).adrift,
            a.slack_mm + b.slack_mm,
            _Moves(a, columns),
            _Moves(b, columns),
        )

    def loose_mm(self, a: PlacedPart, b: PlacedPart) -> float:
        """How far two parts stray at most from where they are at rest: quick, and never less.

        Only for motions about rest. What the motions do to either in the car is added to what
        readings do to the two.
        """
        travel = sum(self.travel_mm(part) for part in (a, b))
        rest = self.at_rest.sway_mm(self._rest(a), self._rest(b))
        return rest + travel + self._second_order_mm(a, b)

    def travel_mm(self, part: PlacedPart) -> float:
        """How far a motion takes any point of a part, to the first order, mm."""
        motion = self.motion_of(part)
        if motion is None:
            return 0.0
        arms = self._outline(part).corners - motion.pivot()
        moves = np.cross(motion.turns[None], arms[:, None]) + motion.shifts[None]
        most = np.abs(moves).transpose(0, 2, 1) @ motion.reaches
        return float(np.linalg.norm(most, axis=1).max())

    def _second_order_mm(self, a: PlacedPart, b: PlacedPart) -> float:
        if not self.parts_move(a, b):
            return 0.0
        return max(float(np.linalg.norm(self._seen(*one))) for one in ((a, b), (b, a)))

    def _seen(self, holder: PlacedPart, part: PlacedPart) -> Floats:
        """How far corners are from their linear forms, seen from a holder: (3,) mm.

        What the holder's motion does to the part, backwards, after what the part's own does.
        """
        mine, its = self.motion_of(holder), self.motion_of(part)
        total = np.zeros(3)
        if its is not None:
            total = total + self._swing(part, its)
        if mine is not None:
            total = total + self._swing(part, mine)
            if its is not None:
                arm = np.abs(self._whole_box(part) - its.pivot()).max(axis=0)
                went = crossed(its.turn, arm + self._stray(part, its)) + its.shift + total
                total = total + crossed(mine.turn, went) + _beyond(mine.turn, 1) * _size(went)
        return total

    def _swing(self, part: PlacedPart, motion: Motion) -> Floats:
        """How far corners of a part are from their linear forms because of a motion, (3,) mm.

        Whichever of two holds the frame. A turn by a rotation vector t takes a corner at an arm
        r from its centre by t×r and, beyond that, by less than ½ t×(t×r) and the rest of the
        exponential series. What readings displace (corner and centre) is carried round by the turn,
        and so is the shift where the moving part holds the frame. The axes of the turn and the ways
        of the shift are the part's own: what readings leave open of them (w) turns both, by
        w×(t×r) seen from what is fixed and t×(w×r) seen from the mover. Where the range lies off
        rest, a pivot that is elsewhere on its part has gone along with the turn to its centre too.
        """
        key = part.name, motion.root
        if key not in self._swings:
            turn = motion.turn
            reach = np.abs(self._whole_box(part) - motion.pivot()).max(axis=0)
            axis = self._axis_turn(motion)
            stray = self._stray(part, motion)
            arm = reach + stray
            gone = float(np.linalg.norm(motion.turned() - np.eye(3), ord=2)) * motion.pivot_mm
            self._swings[key] = (
                swing_mm(motion, arm)
                + crossed(turn, stray)
                + crossed(turn, motion.shift)
                + crossed(axis, motion.shift)
                + np.maximum(crossed(axis, crossed(turn, arm)), crossed(turn, crossed(axis, arm)))
                + gone
            )
        return self._swings[key]

    def _whole_box(self, part: PlacedPart) -> Floats:
        pairs, shown = (self, part) if self._shifted(part) else (self.at_rest, self._rest(part))
        boxes = np.concatenate([pairs._piece_boxes(shown, one) for one in part.components])
        return np.array([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)])

    def _axis_turn(self, motion: Motion) -> Floats:
        """How far readings leave open which way a mover's own axes point, (3,) rad."""
        root = self.at_rest.layout.parts[motion.root]
        return self.at_rest.layout.uncertainty.spread(root.placements[0].turn_gain)

    def _stray(self, part: PlacedPart, motion: Motion) -> Floats:
        """How far readings may displace a part and the point that the motion turns about, mm: (3,).

        At the centre of the motion's range; seen from the car.
        """
        key = part.name, motion.root
        if key not in self._strays:
            sure = self.layout.uncertainty
            still = np.arange(len(self.at_rest.layout.survey.sources))
            sure = sure.only(still)
            root = self.at_rest.layout.parts[motion.root].placements[0]
            pivot = np.tile(motion.point, (2, 1))
            total = np.full(3, part.slack_mm + motion.pivot_mm) + _strayed(root, pivot, sure)
            box = self._whole_box(part)
            total += np.max([_strayed(one, box, sure) for one in part.placements], axis=0)
            self._strays[key] = total
        return self._strays[key]

    def _seen_from(
        self, frame: str, components: tuple[tuple[PlacedPart, str], ...], holder: PlacedPart
    ) -> Floats:
        total = super()._seen_from(frame, components, holder)
        for part, component in components:
            motion = self.motion_of(part)
            if motion is None or part.name == motion.root or not self._shifted(part):
                continue
            # What a mover carries has gone round with it: so has what bends in the mover's place.
            corners = box_corners(box_of(part.moving[component][0]))
            total = total + 2 * self.bends.most_mm(frame, motion.root, corners)
            total = total + _size(np.asarray(total)) * np.ones(3)
        return total


def swing_mm(motion: Motion, arm: Floats) -> Floats:
    """What turns do beyond the first order to points within an arm (3,) of the pivot, (3,) mm."""
    turn = motion.turn
    return np.asarray(crossed(turn, crossed(turn, arm)) / 2 + _beyond(turn, 2) * _size(arm))


def _strayed(placement: Placement, box: Floats, sure: Uncertainty) -> Floats:
    """How far readings may displace points of a box (2, 3) on a placement, (3,) mm."""
    count = len(sure.deviations)
    arm = np.abs(box - placement.pose.shift).max(axis=0)
    shift, turn = placement.shift_gain[:, :count], placement.turn_gain[:, :count]
    return np.asarray(sure.spread(shift) + crossed(sure.spread(turn), arm))


def _size(vector: Floats) -> float:
    return float(np.sqrt(vector @ vector))


def _beyond(turn: Floats, order: int) -> float:
    """What the exponential series of a turn has beyond an order, rad."""
    size = _size(turn)
    if order == 1:
        return max(float(np.expm1(size)) - size, size**2 / 2)
    return max(float(np.expm1(size)) - size - size**2 / 2, size**3 / 6)


def _carried(placement: Placement, way: tuple[_Columns, Placement] | None, total: int) -> Placement:
    """A placement at the centre of a motion's range, with columns for all motions' amounts.

    What carries it takes it along as a rigid body: what readings do to it against the mover goes
    round with the turn, what they do to both does not.
    """
    turn, shift = np.zeros((3, total)), np.zeros((3, total))
    pose = placement.pose
    gains = [
        (placement.shift_gain, placement.turn_gain),
        (placement.shift_null, placement.turn_null),
    ]
    if way is not None:
        columns, root = way
        motion = columns.motion
        if motion.centre.any():
            there = motion.pose(motion.centre)
            spin = there[:3, :3]
            new = spin @ pose.shift + there[:3, 3]
            held = [(root.shift_gain, root.turn_gain), (root.shift_null, root.turn_null)]
            gains = [
                _gone_round(spin, pose.shift, new, mine, its, root.pose.shift)
                for mine, its in zip(gains, held, strict=True)
            ]
            pose = Pose(spin @ pose.turn, new)
        turn, shift = columns.twist()
        shift = shift + np.cross(turn, (pose.shift - motion.pivot())[:, None], axis=0)
    (shift_gain, turn_gain), (shift_null, turn_null) = gains
    return replace(
        placement,
        pose=pose,
        shift_gain=np.concatenate([shift_gain, shift], axis=1),
        turn_gain=np.concatenate([turn_gain, turn], axis=1),
        shift_null=shift_null,
        turn_null=turn_null,
        size_gain={
            key: np.concatenate([gain, np.zeros(total)])
            for key, gain in placement.size_gain.items()
        },
    )


def _gone_round(
    spin: Floats,
    old: Floats,
    new: Floats,
    mine: tuple[Floats, Floats],
    its: tuple[Floats, Floats],
    at: Floats,
) -> tuple[Floats, Floats]:
    """Shift and turn gains of a part that was at `old` and has gone to `new` with its mover.

    mine, its: of the part and of its mover, whose origin is at `at`.
    """

    def of_mover(point: Floats) -> Floats:
        return np.asarray(its[0] + np.cross(its[1], (point - at)[:, None], axis=0))

    shift = of_mover(new) + spin @ (mine[0] - of_mover(old))
    return shift, its[1] + spin @ (mine[1] - its[1])
