"""What a nose does beyond the first order: how far poses stray from their linear forms.

Readings are met by turns and along circles, so that a part whose assumed pitch is out by five
degrees does not move along the straight line that its derivatives show. Here the nose is adjusted
again with its assumptions at the ends of their ranges, one by one and two by two; what is left
after the linear forms is the second order, as it really is, whatever carries what. Readings, which
count by two deviations and not for certain, are drawn.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from noseroom.fingerprints import fingerprint
from noseroom.memo import NUMBERS, Memo
from noseroom.survey.poses import Pose
from noseroom.survey.solution import Survey

Floats = NDArray[np.float64]

_DRAWS = 64
_SEED = 20
_MOST_ROUNDS = 40
_SETTLED = 1e-6
"""mm and 1/300 rad: what a state may still be off, far below what a bend is rounded to."""
_FELT = 1e-9


def readjusted(survey: Survey, changes: Floats) -> Floats:
    """States (k, n) of the network when its rows read otherwise by changes (k, m).

    Everything else reads exactly what the adjusted nose says. nan where it does not settle.
    """
    adjustment = survey.adjustment
    states = np.asarray(adjustment.estimate + changes @ adjustment.gain.T)
    target = adjustment.predicted + changes
    open_ = np.arange(len(states))
    with np.errstate(all="ignore"):
        for _ in range(_MOST_ROUNDS):
            there = survey.network.predict(states[open_])
            step = (target[open_] - there) @ adjustment.gain.T
            states[open_] += step
            # nan compares false: what has left the model's domain stays open.
            open_ = open_[~(np.abs(step).max(axis=1) <= _SETTLED)]
            if not len(open_):
                break
    states[open_] = np.nan
    return states


@dataclass(frozen=True, eq=False)
class _Stray:
    """Relative movement less its linear form, for every draw: stretch (k, 3, 3), shift (k, 3)."""

    stretch: Floats
    shift: Floats

    def at(self, arms: Floats) -> Floats:
        """How far points at arms (n, 3) from the origin stray: (k, n, 3) mm."""
        return np.asarray(np.einsum("kij,nj->kni", self.stretch, arms) + self.shift[:, None])


class Bends:
    """The second order of every station of a survey, seen from every other.

    memo: where answers are kept that hold in other surveys too: what moves neither of two stations
    bends nothing between them.
    """

    def __init__(self, survey: Survey, memo: Memo | None = None) -> None:
        self.survey = survey
        self._memo = memo
        self._keys: dict[str, bytes] = {}
        self._strays: dict[tuple[str, str], _Stray] = {}

    def most_mm(self, holder: str, station: str, points: Floats) -> Floats:
        """How far at most points (n, 3), mm, on one station stray, seen from another: (3,) mm.

        points: in the vehicle frame as adjusted. Along the vehicle axes as adjusted, which turn
        with the holder. inf where the nose does not hold together over the assumptions' ranges.
        """
        if holder == station:
            return np.zeros(3)
        if self._memo is None:
            return self._most_mm(holder, station, points)
        key = "bend", self._key(holder), self._key(station), points.tobytes()
        return self._memo.get(key, lambda: self._most_mm(holder, station, points), NUMBERS)

    def _key(self, station: str) -> bytes:
        """What a station's own movement depends on."""
        if station not in self._keys:
            one = self.survey.placements[station].settled()
            felt = self.survey.felt((station,))
            self._keys[station] = fingerprint(
                station,
                one.pose,
                one.nulls,
                [gain[:, felt] for gain in one.gains],
                self.survey.prints[felt].tobytes(),
            )
        return self._keys[station]

    def _most_mm(self, holder: str, station: str, points: Floats) -> Floats:
        return self.most_at(holder, station, points - self.survey.placements[station].pose.shift)

    def most_at(self, holder: str, station: str, arms: Floats) -> Floats:
        """As `most_mm`, of points at arms (n, 3) mm from the origin of their station."""
        strays = self._stray(holder, station).at(arms)
        chosen, pairs_chosen = self._concerned(holder, station)
        count, both = len(chosen), len(pairs_chosen)
        plus, minus = strays[:count], strays[count : 2 * count]
        pairs = strays[2 * count : 2 * count + both]
        # Places among those that are chosen.
        first, second = np.searchsorted(chosen, self._pairs[pairs_chosen].T)
        mixed = pairs - plus[first] - plus[second]
        drawn = strays[2 * count + both :]
        with_readings, without = drawn[:_DRAWS], drawn[_DRAWS:]
        bound = (
            np.maximum(np.abs(plus), np.abs(minus)).sum(axis=0)
            + np.abs(mixed).sum(axis=0)
            + np.abs(with_readings - without).max(axis=0)
        ).max(axis=0)
        return np.asarray(np.where(np.isfinite(bound), bound, np.inf))

    @cached_property
    def _assumed(self) -> NDArray[np.intp]:
        """Rows of assumptions on which any unknown depends."""
        tied = len(self.survey.adjustment.observed)
        felt = np.abs(self.survey.adjustment.gain).max(axis=0) * self.survey.reaches[:tied]
        return np.flatnonzero(felt > _FELT)

    def _concerned(self, holder: str, station: str) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """The assumptions that either station may follow, and pairs of them, by their places."""
        felt = self.survey.felt((holder, station))[self._assumed]
        return np.flatnonzero(felt), np.flatnonzero(felt[self._pairs].all(axis=1))

    @cached_property
    def _pairs(self) -> NDArray[np.intp]:
        """(p, 2), places in `_assumed`."""
        return np.stack(np.triu_indices(len(self._assumed), k=1), axis=-1)

    @cached_property
    def _changes(self) -> Floats:
        """(k, m): each assumption up, then down, then every two up, then draws."""
        tied = len(self.survey.adjustment.observed)
        each = np.zeros((len(self._assumed), tied))
        each[np.arange(len(self._assumed)), self._assumed] = self.survey.reaches[self._assumed]
        # Each source draws for itself, so that one more or less changes nothing for the others.
        draws = [np.random.default_rng(_seed(one)) for one in self.survey.prints[:tied]]
        ends = np.array([rng.choice([-1.0, 1.0], _DRAWS) for rng in draws]).T
        read = np.array([rng.standard_normal(_DRAWS) for rng in draws]).T
        ends, read = ends * self.survey.reaches[:tied], read * self.survey.deviations[:tied]
        return np.concatenate(
            [each, -each, each[self._pairs[:, 0]] + each[self._pairs[:, 1]], ends + read, ends]
        )

    @cached_property
    def _poses(self) -> dict[str, Pose]:
        states = readjusted(self.survey, self._changes)
        return self.survey.network.poses(states)

    def _stray(self, holder: str, station: str) -> _Stray:
        key = holder, station
        if key not in self._strays:
            self._strays[key] = self._measured(holder, station)
        return self._strays[key]

    def _measured(self, holder: str, station: str) -> _Stray:
        chosen, pairs = self._concerned(holder, station)
        assumed, both = len(self._assumed), len(self._pairs)
        drawn = np.arange(2 * assumed + both, len(self._changes))
        rows = np.concatenate([chosen, assumed + chosen, 2 * assumed + pairs, drawn])
        changes = self._changes[rows]
        tied = changes.shape[1]
        h, p = self.survey.placements[holder], self.survey.placements[station]
        there, here = (self._at(one, rows) for one in (holder, station))
        back = h.pose.turn @ np.swapaxes(there.turn, -1, -2)
        base = p.pose.shift - h.pose.shift
        moved = np.einsum("kij,kj->ki", back, here.shift - there.shift)
        held = changes @ h.turn_gain[:, :tied].T
        turn = changes @ p.turn_gain[:, :tied].T - held
        shift = changes @ (p.shift_gain - h.shift_gain)[:, :tied].T - np.cross(held, base)
        return _Stray(
            back @ (here.turn @ p.pose.turn.T) - np.eye(3) - _skew(turn), moved - base - shift
        )

    def _at(self, station: str, rows: NDArray[np.intp]) -> Pose:
        """A station's poses after some of the changes; of one that never moves, the same ones."""
        pose, count = self._poses[station], len(self._changes)
        turn, shift = (
            np.broadcast_to(pose.turn, (count, 3, 3)),
            np.broadcast_to(pose.shift, (count, 3)),
        )
        return Pose(turn[rows], shift[rows])


class BendsOfAnother(Bends):
    """The second order as it was in a nose that is nearly the same.

    What counts there are products of two effects of the first order, so that a small change of the
    nose alters it by a small share. share: how much of it is taken.
    """

    def __init__(self, survey: Survey, before: Bends, share: float = 1.0) -> None:
        super().__init__(survey)
        self._before, self._share = before, share

    def most_at(self, holder: str, station: str, arms: Floats) -> Floats:
        """As the other nose has it."""
        return self._share * self._before.most_at(holder, station, arms)


def _seed(print_: bytes) -> int:
    return int.from_bytes(print_, "little") + _SEED


def _skew(turns: Floats) -> Floats:
    """Matrices (k, 3, 3) that take the cross product with turns (k, 3)."""
    x, y, z = turns.T
    nought = np.zeros_like(x)
    return np.array([[nought, -z, y], [z, nought, -x], [-y, x, nought]]).transpose(2, 0, 1)
