"""What the engine does on its mounts: a layout in which it may rock, pitch, surge and shift.

Each movement is one more source beside the readings, with its whole reach: the bounds that hold
over every reading and assumption then hold over every combination of movements too, without a pose
being left out. What a turn does beyond the first order is bounded here and taken off.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.pairs import Pairs, _Couple
from noseroom.geometry.separation import Bend, crossed
from noseroom.layout import Layout, PlacedPart
from noseroom.survey.solution import Placement, Source

Floats = NDArray[np.float64]

PIVOT_BEHIND_MM = 400.0
"""How far behind the block's front an engine may pitch about, at most: assumed, for want of a
printed figure; mounts stand beside the block and under the gearbox."""
_TURNS = ("moves.roll", "moves.pitch")
_SHIFTS = ("moves.forward", "moves.sideways", "moves.up")
_SAID = {
    "moves.roll": "rocks {} either way",
    "moves.pitch": "pitches {} either way",
    "moves.forward": "surges {} forward or aft",
    "moves.sideways": "shifts {} either way",
    "moves.up": "bounces {} up or down",
}


@dataclass(frozen=True, eq=False)
class Motion:
    """How one engine may move: turns about a point by a rotation vector, then a shift.

    engine: its part's name. point: (3,) mm, vehicle frame, on its crank's axis. axes: (5, 3), of
    roll and pitch (rotation vectors) and of the shifts. reaches: (5,), degrees and mm: each amount
    lies anywhere between its reach and the opposite of it. moved: names of what moves with it.
    """

    engine: str
    point: Floats
    axes: Floats
    reaches: Floats
    moved: frozenset[str]
    sources: tuple[Source, ...]

    @property
    def turn(self) -> Floats:
        """The largest rotation vector, (3,) rad, by its sizes along the vehicle axes."""
        return np.asarray(np.abs(self.axes[:2].T) @ np.radians(self.reaches[:2]))

    @property
    def shift(self) -> Floats:
        """The largest shift, (3,) mm, by its sizes along the vehicle axes."""
        return np.asarray(np.abs(self.axes[2:].T) @ self.reaches[2:])

    @property
    def measured(self) -> bool:
        """Whether the file says every movement that counts."""
        return not any(one.assumed and one.reach > 0 for one in self.sources)

    def pose(self, amounts: Floats) -> Floats:
        """(4, 4): where the amounts (5,), degrees and mm, take what moves."""
        from scipy.spatial.transform import Rotation

        matrix = np.eye(4)
        matrix[:3, :3] = Rotation.from_rotvec(np.radians(amounts[:2]) @ self.axes[:2]).as_matrix()
        matrix[:3, 3] = self.point - matrix[:3, :3] @ self.point + amounts[2:] @ self.axes[2:]
        return matrix


def motions_of(layout: Layout) -> tuple[Motion, ...]:
    """The movement of every engine whose place is known, with all that moves with it."""
    moved: dict[str, set[str]] = {}
    for part in layout.parts.values():
        root = _root(layout, part)
        if root is not None:
            moved.setdefault(root, set()).add(part.name)
    return tuple(_motion(layout.parts[engine], names) for engine, names in moved.items())


def _root(layout: Layout, part: PlacedPart) -> str | None:
    """The engine that carries a part, through whatever stands between; None for none."""
    seen: set[str] = set()
    here: PlacedPart | None = part
    while here is not None and here.name not in seen:
        seen.add(here.name)
        if here.kind == "engine":
            return here.name if here.known else None
        here = layout.parts.get(here.carrier)
    return None


def _motion(engine: PlacedPart, moved: set[str]) -> Motion:
    pose = engine.pose
    ahead, across, up = pose[:3, 0], pose[:3, 1], pose[:3, 2]
    sizes = engine.entry.sizes
    keys = (*_TURNS, *_SHIFTS)
    reaches = [sizes[key].value + sizes[key].half_width for key in keys]
    texts = [
        _SAID[key].format(f"{reach:g} {'deg' if key in _TURNS else 'mm'}")
        for key, reach in zip(keys, reaches, strict=True)
    ]
    # It pitches about a point that nobody knows, somewhere behind its front: that far behind, a
    # pitch lifts or drops the front by so much more.
    reaches[-1] += float(np.radians(reaches[1])) * PIVOT_BEHIND_MM
    sources = tuple(
        Source(
            text=text,
            line=sizes[key].line,
            station=engine.name,
            key=key,
            value=sizes[key].value,
            half_width=reach,
            deviation=0.0,
            reach=reach,
            assumed=sizes[key].knowledge == "assumed",
        )
        for key, reach, text in zip(keys, reaches, texts, strict=True)
    )
    return Motion(
        engine.name,
        pose[:3, 3].copy(),
        np.array([ahead, across, ahead, across, up]),
        np.array(reaches),
        frozenset(moved),
        sources,
    )


def moving_layout(layout: Layout, motion: Motion) -> Layout:
    """The same nose with the motion's sources after all others."""
    survey = layout.survey
    survey = replace(survey, sources=(*survey.sources, *motion.sources))
    parts = {
        name: replace(
            part,
            placements=tuple(
                _moving(one, motion if mover in motion.moved else None)
                for one, mover in zip(part.placements, _movers(part), strict=True)
            ),
        )
        for name, part in layout.parts.items()
    }
    return replace(layout, survey=survey, parts=parts)


def _movers(part: PlacedPart) -> tuple[str, ...]:
    """Whose movement each placement of a part follows."""
    return part.ties if part.kind in ("belt", "hose") else (part.name,)


def _moving(placement: Placement, motion: Motion | None) -> Placement:
    """A placement with columns for the motion; of zeros where it does not move."""
    shift, turn = np.zeros((3, 5)), np.zeros((3, 5))
    if motion is not None:
        arm = placement.pose.shift - motion.point
        turn[:, :2] = np.radians(motion.axes[:2]).T
        shift[:, :2] = np.cross(turn[:, :2], arm[:, None], axis=0)
        shift[:, 2:] = motion.axes[2:].T
    return replace(
        placement,
        shift_gain=np.concatenate([placement.shift_gain, shift], axis=1),
        turn_gain=np.concatenate([placement.turn_gain, turn], axis=1),
        size_gain={
            key: np.concatenate([gain, np.zeros(5)]) for key, gain in placement.size_gain.items()
        },
    )


class MovingPairs(Pairs):
    """Sure gaps over everything uncertain and every movement of one engine."""

    def __init__(self, at_rest: Pairs, motion: Motion) -> None:
        super().__init__(moving_layout(at_rest.layout, motion), bends=at_rest.bends)
        self.at_rest = at_rest
        self.motion = motion
        self._swings: dict[str, Floats] = {}

    def bend(self, a: PlacedPart, mine: str, b: PlacedPart, theirs: str) -> Bend:
        """What to take off for the second order of two components, the motion's included."""
        still = super().bend(a, mine, b, theirs)
        if not self.parts_move(a, b):
            return still
        return Bend(still.seen_from_a + self._swing(b), still.seen_from_b + self._swing(a))

    def parts_move(self, a: PlacedPart, b: PlacedPart) -> bool:
        """Whether the motion moves two parts against each other."""
        return (a.name in self.motion.moved) != (b.name in self.motion.moved)

    def _coupled(self, a: PlacedPart, b: PlacedPart) -> _Couple:
        couple = super()._coupled(a, b)
        if not self.parts_move(a, b):
            return couple
        swing = max(float(np.sqrt(one @ one)) for one in (self._swing(a), self._swing(b)))
        return replace(couple, sway_mm=couple.sway_mm + swing)

    def _swing(self, part: PlacedPart) -> Floats:
        """How far corners of a part are from their linear forms because of the motion, (3,) mm.

        Whichever of the two holds the frame. A turn by a rotation vector t takes a corner at an arm
        r from its centre by t×r and, beyond that, by less than ½ t×(t×r) and the rest of the
        exponential series. What readings displace (corner and centre) is carried round by the turn,
        and so is the shift where the moving part holds the frame. The axes of the turn and the ways
        of the shift are the engine's own: what readings leave open of them (w) turns both, by
        w×(t×r) seen from what is fixed and t×(w×r) seen from the engine.
        """
        if part.name not in self._swings:
            turn = self.motion.turn
            size = float(np.sqrt(turn @ turn))
            reach = np.abs(self._whole_box(part) - self.motion.point).max(axis=0)
            axis = self._axis_turn()
            stray = self._stray(part)
            arm = reach + stray
            beyond = max(float(np.expm1(size)) - size - size**2 / 2, size**3 / 6)
            self._swings[part.name] = (
                crossed(turn, crossed(turn, arm)) / 2
                + beyond * np.sqrt(arm @ arm)
                + crossed(turn, stray)
                + crossed(turn, self.motion.shift)
                + crossed(axis, self.motion.shift)
                + np.maximum(crossed(axis, crossed(turn, arm)), crossed(turn, crossed(axis, arm)))
            )
        return self._swings[part.name]

    def _whole_box(self, part: PlacedPart) -> Floats:
        boxes = np.concatenate([self._piece_boxes(part, one) for one in part.components])
        return np.array([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)])

    def _axis_turn(self) -> Floats:
        """How far readings leave open which way the engine's own axes point, (3,) rad."""
        engine = self.at_rest.layout.parts[self.motion.engine]
        return self.at_rest.layout.uncertainty.spread(engine.placements[0].turn_gain)

    def _stray(self, part: PlacedPart) -> Floats:
        """How far readings may displace a part and the crank's axis, (3,) mm."""
        sure = self.at_rest.layout.uncertainty
        engine = self.at_rest.layout.parts[self.motion.engine]
        total = np.full(3, part.slack_mm)
        for one, box in (
            (part, self._whole_box(part)),
            (engine, np.tile(self.motion.point, (2, 1))),
        ):
            still = self.at_rest.layout.parts[one.name]
            total += np.max(
                [
                    sure.spread(placement.shift_gain)
                    + crossed(
                        sure.spread(placement.turn_gain),
                        np.abs(box - placement.pose.shift).max(axis=0),
                    )
                    for placement in still.placements
                ],
                axis=0,
            )
        return total
