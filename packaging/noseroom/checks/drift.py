"""How far parts have come against each other from one layout to another of nearly the same nose.

Bounded from poses, sizes and what moves them alone, without a solid or a pair of pieces: what every
point of a part moved by, and what the readings' effect on it changed by. A nose in which more has
changed than figures (a part, a rule, how well something was read) is not compared.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.at_speed import at_speed
from noseroom.checks.margins import AT_REST, AT_SPEED, FAN_GAP, Margins
from noseroom.checks.movement import Motion, motions_of
from noseroom.checks.pairs import Pairs
from noseroom.checks.sway import Outline
from noseroom.envelope.model import Envelope, PartEntry
from noseroom.fingerprints import fingerprint
from noseroom.geometry.pieces import Piece
from noseroom.layout import Layout, PlacedPart
from noseroom.survey.solution import Placement

Floats = NDArray[np.float64]

_MOST_MM = 20.0
"""Beyond this the first order is no longer all that counts, and nothing is taken over."""
_LOOSE = 1e-12

Plan = tuple[object, ...]


@dataclass(frozen=True, eq=False)
class Checked:
    """A layout on which all was checked: its pairs, and the margins that were found."""

    pairs: Pairs
    margins: Margins

    @cached_property
    def plan(self) -> Plan:
        """What has to be the same in a layout that is compared with it."""
        return _plan(self.pairs.layout)

    @cached_property
    def motions(self) -> tuple[Motion, ...]:
        """How it moves."""
        return motions_of(self.pairs.layout)


class Drift:
    """The largest changes of the gaps of one layout since another.

    before: the layout that was checked. now: the layout of today.
    """

    def __init__(self, before: Checked, now: Layout) -> None:
        self._was, self._before, self._now = before, before.pairs, now
        self._alone: dict[str, float] = {}
        self._own: dict[str, float] = {}
        self._sized: dict[str, bool] = {}
        self._flung: dict[str, float] = {}
        self._moved: dict[str, float] = {}

    @cached_property
    def comparable(self) -> bool:
        """Whether nothing but figures has changed, and those only that are followed here."""
        return self._was.plan == _plan(self._now) and [_asked(one) for one in self._motions[0]] == [
            _asked(one) for one in self._motions[1]
        ]

    def mm(self, state: str, a: str, b: str, enough_mm: float) -> float:
        """By how much the gap of two parts may be another in a state, or its spread, mm.

        Where less than `enough_mm` can be told quickly, no pains are taken to tell how much less.
        """
        own = self._own_mm(a) + self._own_mm(b)
        if state == AT_SPEED:
            own += self._at_speed_mm(a) + self._at_speed_mm(b)
        total = own + self._alone_mm(a) + self._alone_mm(b)
        at_rest = state in (AT_REST, FAN_GAP)
        if not at_rest:
            total += self._moved_mm(a) + self._moved_mm(b)
        if total >= enough_mm:
            # What carries both drops out.
            between = own + self._between_mm(a, b)
            total = between if at_rest else min(total, between + self._moved_against_mm(a, b))
        return total if total < _MOST_MM else np.inf

    # -- one part ----------------------------------------------------------------------------

    def _parts(self, name: str) -> tuple[PlacedPart, PlacedPart]:
        return self._before.layout.parts[name], self._now.parts[name]

    def same(self, name: str) -> bool:
        """Whether it has the sizes that it had."""
        if name not in self._sized:
            then, now = self._parts(name)
            self._sized[name] = fingerprint(then.part) == fingerprint(now.part)
        return self._sized[name]

    def _at_speed_mm(self, name: str) -> float:
        """What its sizes do to what it may reach at speed."""
        if self.same(name):
            return 0.0
        if name not in self._flung:
            then, now = (at_speed(one) for one in self._parts(name))
            self._flung[name] = 0.0
            if then is not None:
                self._flung[name] = (
                    np.inf if now is None else _reshaped_mm(then.pieces(), now.pieces())
                )
        return self._flung[name]

    def _own_mm(self, name: str) -> float:
        """What its own sizes do to its surface, and to how sure that is."""
        if name not in self._own:
            then, now = self._parts(name)
            self._own[name] = (
                (0.0 if self.same(name) else _reshaped_mm(then.pieces, now.pieces))
                + abs(now.slack_mm - then.slack_mm)
                + self._resized_mm(then, now)
            )
        return self._own[name]

    def _resized_mm(self, then: PlacedPart, now: PlacedPart) -> float:
        """What the spread of its surface by its own sizes changed by."""
        total = 0.0
        bounds: dict[str, float] | None = None
        for one, other in zip(then.placements, now.placements, strict=True):
            for name, size in then.part.sizes().items():
                gains = one.size_gain.get(size.key), other.size_gain.get(size.key)
                if gains[0] is None or gains[1] is None:
                    continue
                change = float(self._spread(gains[1] - gains[0]))
                if change > _LOOSE:
                    bounds = bounds or now.part.movement_bounds()
                    total += change * bounds.get(name, 0.0)
        return total

    def _alone_mm(self, name: str) -> float:
        """How far it has come in the car, with what the readings do to that."""
        if name not in self._alone:
            then, now = self._parts(name)
            corners = self._outline(then).corners
            self._alone[name] = max(
                self._come_mm(corners, one, other, None, None)
                for one, other in zip(then.placements, now.placements, strict=True)
            )
        return self._alone[name]

    def _between_mm(self, a: str, b: str) -> float:
        """How far one has come as seen from the other."""
        (mine, mine_now), (its, its_now) = self._parts(a), self._parts(b)
        corners = self._outline(mine).corners
        return max(
            self._come_mm(corners, one, one_now, other, other_now)
            for one, one_now in zip(mine.placements, mine_now.placements, strict=True)
            for other, other_now in zip(its.placements, its_now.placements, strict=True)
        )

    def _come_mm(
        self,
        corners: Floats,
        one: Placement,
        one_now: Placement,
        other: Placement | None,
        other_now: Placement | None,
    ) -> float:
        """How far corners (k, 3) have come, and what their spread changed by, seen from another.

        A rigid movement is linear in the point that it moves: the most is at a corner.
        """
        if _loose(one) or _loose(one_now) or (other and _loose(other)):
            return np.inf  # what nothing fixes turns with the nose
        at, forms = _seen(corners, one, other)
        moved = (corners - one.pose.shift) @ one.pose.turn @ one_now.pose.turn.T
        at_now, forms_now = _seen(moved + one_now.pose.shift, one_now, other_now)
        far = np.linalg.norm(at_now - at, axis=-1)
        spread = np.linalg.norm(self._spread(forms_now - forms), axis=-1)
        return float((far + spread).max())

    def _spread(self, forms: Floats) -> Floats:
        return self._before.layout.uncertainty.spread(forms)

    def _outline(self, part: PlacedPart) -> Outline:
        return self._before._outline(part)

    # -- what moves --------------------------------------------------------------------------

    @cached_property
    def _motions(self) -> tuple[tuple[Motion, ...], tuple[Motion, ...]]:
        return self._was.motions, motions_of(self._now)

    def _moved_mm(self, name: str) -> float:
        """What its movement does otherwise than before, over all of its range."""
        if name not in self._moved:
            self._moved[name] = self._in_motion_mm(name, np.eye(3), np.zeros(3))
        return self._moved[name]

    def _moved_against_mm(self, a: str, b: str) -> float:
        """The same of two parts of which one does not move, as seen from that one."""
        for mover, other in ((a, b), (b, a)):
            if not any(other in motion.moved for motion in self._motions[0]):
                one, now = (part.placements[0] for part in self._parts(other))
                turn = one.pose.turn @ now.pose.turn.T
                shift = one.pose.shift - turn @ now.pose.shift
                return self._in_motion_mm(mover, turn, shift, (one, now))
        return np.inf

    def _in_motion_mm(
        self,
        name: str,
        turn: Floats,
        shift: Floats,
        seen_from: tuple[Placement, Placement] | None = None,
    ) -> float:
        """What a part's movement does otherwise, that of today turned and shifted."""
        most = 0.0
        for then, now in zip(*self._motions, strict=True):
            if name in then.moved:
                corners = self._outline(self._parts(name)[0]).corners
                pairs = zip((then, *then.views), (now, *now.views), strict=True)
                most = max(_range_mm(corners, *both, turn, shift) for both in pairs)
                most += self._root_mm(corners, then)
                if seen_from is not None:
                    most += self._carried_mm(corners, then, *seen_from)
        return most

    def _root_mm(self, corners: Floats, motion: Motion) -> float:
        """What the spread of the line that it turns about changed by, at the ends of the turn."""
        one, now = (part.placements[0] for part in self._parts(motion.root))
        arm = float(np.linalg.norm(corners - motion.point, axis=1).max())
        here = (motion.point - one.pose.shift) @ one.pose.turn @ now.pose.turn.T + now.pose.shift
        forms = _seen(here[None], now, None)[1] - _seen(motion.point[None], one, None)[1]
        pivot = float(np.linalg.norm(self._spread(forms)))
        turn = float(np.linalg.norm(self._spread(now.turn_gain - one.turn_gain)))
        return _turn(motion) * (pivot + 2 * arm * turn)

    def _carried_mm(self, corners: Floats, motion: Motion, one: Placement, now: Placement) -> float:
        """What the spread of a frame's own turn changed by does to what the turn carries off."""
        arm = float(np.linalg.norm(corners - motion.point, axis=1).max())
        turn = float(np.linalg.norm(self._spread(now.turn_gain - one.turn_gain)))
        return (_turn(motion) * arm + float(np.linalg.norm(motion.shift))) * turn


def _range_mm(corners: Floats, then: Motion, now: Motion, turn: Floats, shift: Floats) -> float:
    """How far any corner may be from where the same amounts took it before.

    Two turns differ by no more than their rotation vectors do.
    """
    arm = float(np.linalg.norm(corners - then.point, axis=1).max())
    turned = shifted = 0.0
    for before, after in zip(_ends(then), _ends(now), strict=True):
        turned += float(np.linalg.norm(turn @ after[0] - before[0]))
        shifted += float(np.linalg.norm(turn @ after[1] - before[1]))
    point = float(np.linalg.norm(turn @ now.point + shift - then.point))
    return turned * arm + shifted + _turn(then) * point


def _ends(motion: Motion) -> Iterator[tuple[Floats, Floats]]:
    """For the centre and the reach of each amount: its rotation vector and its shift."""
    for turn, shift, centre, reach in zip(
        motion.turns, motion.shifts, motion.centre, motion.reaches, strict=True
    ):
        yield turn * centre, shift * centre
        yield turn * reach, shift * reach


def _turn(motion: Motion) -> float:
    """How far at most a turn takes a point, as a share of its arm: no more than twice it."""
    most = (np.abs(motion.centre) + motion.reaches) @ np.linalg.norm(motion.turns, axis=1)
    return float(min(most, 2.0))


def _seen(points: Floats, one: Placement, other: Placement | None) -> tuple[Floats, Floats]:
    """Points (k, 3) on one placement and their forms (k, 3, s), in another's frame or the car's."""
    forms = _forms(points, one)
    if other is None:
        return points, forms
    turn = other.pose.turn
    forms = forms - _forms(points, other)
    return (points - other.pose.shift) @ turn, np.einsum("ji,kjs->kis", turn, forms)


def _forms(points: Floats, one: Placement) -> Floats:
    """(k, 3, s): how points (k, 3) move with a placement, by source."""
    x, y, z = (points - one.pose.shift).T
    nought = np.zeros_like(x)
    # A turn times an arm, as a matrix for each arm.
    across = np.array([[nought, z, -y], [-z, nought, x], [y, -x, nought]]).transpose(2, 0, 1)
    return np.asarray(one.shift_gain[None] + across @ one.turn_gain)


def _loose(one: Placement) -> bool:
    return any(null.size > 0 and bool(np.abs(null).max() > _LOOSE) for null in one.nulls)


def _reshaped_mm(before: Sequence[Piece], after: Sequence[Piece]) -> float:
    """How far at most any point of a part's pieces is from where it was on the part, mm."""
    if [(one.component, one.corners.shape) for one in before] != [
        (one.component, one.corners.shape) for one in after
    ]:
        return np.inf
    return max(
        (
            float(np.linalg.norm(one.corners - other.corners, axis=-1).max())
            for one, other in zip(before, after, strict=True)
        ),
        default=np.inf,  # it is something scanned, and another scan now
    )


def _plan(layout: Layout) -> Plan:
    """All of a layout but the figures that `Drift` follows."""
    survey = layout.survey
    return (
        _without_figures(layout),
        [(one.station, one.key, one.assumed, one.deviation, one.reach) for one in survey.sources],
        [
            (one.name, one.kind, one.group, one.carrier, one.ties, one.known, one.unplaced)
            for one in layout.parts.values()
        ],
        layout.left_out,
    )


def _without_figures(layout: Layout) -> Envelope:
    envelope = layout.envelope
    return replace(
        envelope,
        title="",
        notes=(),
        digest="",
        cooling=None,  # no verdict rests on air and heat
        rules=tuple(replace(one, line=0) for one in envelope.rules),
        parts={name: _entry(one, layout.parts.get(name)) for name, one in envelope.parts.items()},
    )


def _entry(entry: PartEntry, part: PlacedPart | None) -> PartEntry:
    """An entry without lines, and without the figures of its place and of what it is built by."""
    built = set() if part is None else {one.key for one in part.part.sizes().values()}
    return replace(
        entry,
        line=0,
        text_lines={},
        sizes={
            key: replace(size, value=0.0 if key in built else size.value, line=0, text="")
            for key, size in entry.sizes.items()
        },
        place=tuple(replace(one, line=0, text="", value=0.0) for one in entry.place),
        assumed=tuple(replace(one, line=0, text="") for one in entry.assumed),
        pried=tuple(replace(one, line=0, text="") for one in entry.pried),
    )


def _asked(motion: Motion) -> tuple[object, ...]:
    """What has to be the same of two movements, so that their figures can be compared."""
    return (
        motion.root,
        motion.moved,
        motion.measured,
        len(motion.reaches),
        motion.pivot_mm,
        [
            (len(view.reaches), None if view.mix is None else view.mix.shape)
            for view in motion.views
        ],
    )
