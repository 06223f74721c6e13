"""Where else a nose may stand that agrees with what was read: candidates, before any adjusting.

All readings but distances from edge to edge and straight across are linear but for small turns.
They are kept as they are at the adjusted nose, and only the distances are taken in full. What is
left is a small problem: the ends of those distances and how freely the straight readings let them
move. It is solved from many beginnings at once, so that parts that hang on one another turn over
together, and a part takes along whatever was measured from it.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from noseroom.envelope.model import Sentence
from noseroom.survey.adjustment import Adjustment
from noseroom.survey.network import CENTRELINE, Network
from noseroom.survey.readings import Predict, Touched

Floats = NDArray[np.float64]

ROUND_FORMS = ("edge to edge", "straight")
SAME_PLACE_MM = 3.0
_STEP = 1e-30
_LOOSE_MM = 2000.0
"""How freely a thing moves that no straight reading holds: a standard deviation, mm."""
_STIFF_MM = 0.5
"""What moves less than this on its own adds nothing to a search for other places."""
_TOGETHER_MM = 20.0
"""Ends that share this much of their freedom are searched together."""
_FAR_OFF = 1000.0
"""Chi² above that of the adjusted nose by which the small problem rules a place out.

It is about 30 standard deviations: far more than what turns and tilts add that it leaves out.
"""
_BY_FAR_MM = 20.0
_SLIDES = 1e-6
_SLIDE_MM = 50.0
_BENDS_MM = 0.2
"""Off a straight line by this after 50 mm: round a bend of less than 6 m."""
_SLID = 1e-3
"""Moved by less than this part of the way along what nothing fixes counts as not slid."""
_BEGINNINGS = 48
_MOST_BEGINNINGS = 288
_MOST_STEPS = 40
_NO_GAIN = 0.01
"""A step that takes less than this off chi² ends a search …"""
_STUCK = 1e3
"""… and so does damping above this."""
_MOST_RIVALS = 16
_SEED = 20


@dataclass(frozen=True)
class _Distance:
    """One distance: its formula, its ends at the adjusted nose, and how both move.

    moves: (2, 3, n), how the ends move per unknown. plain: (n,), what the rest (radii, tilts) adds
    per unknown. names: the parts at its ends that are free to move.
    """

    formula: Predict
    ends: tuple[Touched, Touched]
    moves: Floats
    plain: Floats
    observed: float
    deviation: float
    names: frozenset[str]

    @property
    def apart(self) -> Floats:
        """(3, n), how the first end moves against the second per unknown."""
        return np.asarray(self.moves[0] - self.moves[1])

    @property
    def between(self) -> Floats:
        """(3,) mm, from the second end to the first at the adjusted nose."""
        return np.asarray(self.ends[0].point - self.ends[1].point)

    def values(self, moved: Floats) -> tuple[Floats, Floats]:
        """Values (b,) and gradients (b, 3) with the first end moved by (b, 3) mm, turns kept."""
        steps = np.concatenate([np.zeros((1, 3)), 1j * _STEP * np.eye(3)])
        first = replace(self.ends[0], point=self.ends[0].point + moved + steps[:, None])
        with np.errstate(all="ignore"):
            found = self.formula(first, self.ends[1])
        return np.real(found[0]), np.imag(found[1:]).T / _STEP


def other_places(network: Network, best: Adjustment) -> Iterator[Floats]:
    """States (n,) near which another nose may stand that agrees with all that was read.

    network: begun at the adjusted nose. At most 16 states; the best of each group of parts come
    first. Side words rule out only what they rule out by far. Nothing is promised of a state: it
    has to be adjusted.
    """
    straight, distances, free, back = _small_problem(network, best)
    if not distances:
        return
    groups = [
        _Group([distances[k] for k in members], free, back, straight)
        for members in _groups(network, distances, free)
    ]
    found = [_not_denied(network, best, group.places(best)) for group in groups if group.size]
    turns = itertools.zip_longest(*found)
    states = [one[1] for turn in turns for one in turn if one is not None]
    yield from states[:_MOST_RIVALS]


def _small_problem(
    network: Network, best: Adjustment
) -> tuple[Floats, list[_Distance], Floats, Floats]:
    """What straight readings leave free.

    Returns (n,) the adjusted nose as seen from the optimum of the straight readings, in standard
    deviations; the distances; (n, n) unknowns per such deviation, and back.
    """
    state = best.estimate
    round_rows = [k for k, s in enumerate(network.sentences) if s.form in ROUND_FORMS]
    plain = np.ones(best.observed.size, dtype=bool)
    plain[round_rows] = False
    # Each unknown is held loosely where it is: what nothing holds does not run away.
    matrix = np.vstack(
        [
            best.jacobian[plain] / best.deviation[plain, None],
            np.eye(network.count) / _LOOSE_MM,
        ]
    )
    _, singular, right = np.linalg.svd(matrix, full_matrices=False)
    free, back = right.T / singular, right * singular[:, None]
    pull = (best.residuals[plain] / best.deviation[plain]) @ matrix[: plain.sum()]
    return -(free.T @ pull), _distances(network, best, state, round_rows, free), free, back


def _distances(
    network: Network, best: Adjustment, state: Floats, rows: Sequence[int], free: Floats
) -> list[_Distance]:
    """The rows that are distances between two parts, with their ends."""
    states = np.vstack([state, 1j * _STEP * np.eye(network.count) + state])
    poses, features = network.poses(states), network.features(states)
    equations = network.equations() if rows else []
    made: list[_Distance] = []
    for k in rows:
        sentence, formula = equations[k]
        if sentence.object is None or CENTRELINE in (sentence.subject.part, sentence.object.part):
            continue
        refs = (sentence.subject, sentence.object)
        touched = [network.touched(ref, features, poses) for ref in refs]
        shape = (network.count + 1, 3)
        moves = [np.imag(np.broadcast_to(end.point, shape)[1:]).T / _STEP for end in touched]
        names = frozenset(
            ref.part
            for ref, move in zip(refs, moves, strict=True)
            if np.linalg.norm(move @ free, axis=1).max() > _TOGETHER_MM
        )
        one = _Distance(
            formula,
            (_at_rest(touched[0]), _at_rest(touched[1])),
            np.stack(moves),
            np.zeros(network.count),
            float(best.observed[k]),
            float(best.deviation[k]),
            names,
        )
        _, gradient = one.values(np.zeros((1, 3)))
        made.append(replace(one, plain=best.jacobian[k] - gradient[0] @ one.apart))
    return made


def _at_rest(touched: Touched) -> Touched:
    """One end at the adjusted nose, without its derivatives."""

    def first(values: NDArray[np.complex128], rank: int) -> Floats:
        values = np.asarray(values)
        return np.asarray(np.real(values[0] if values.ndim > rank else values))

    return Touched(
        first(touched.point, 1),
        first(touched.direction, 1),
        first(touched.radius, 0),
        first(touched.turn, 2),
    )


def _groups(network: Network, distances: Sequence[_Distance], free: Floats) -> list[list[int]]:
    """Distances whose ends move together, or whose parts a side word compares, by number."""
    loose = [one.apart @ free for one in distances]
    said = [
        (check.subject.part, check.object.part)
        for check in network.checks
        if check.object is not None
    ]
    groups: list[list[int]] = []
    for k, one in enumerate(distances):
        joined = [k]
        apart = []
        for group in groups:
            if any(
                np.abs(loose[k] @ loose[j].T).max() > _TOGETHER_MM**2
                or _compared(said, one.names, distances[j].names)
                for j in group
            ):
                joined += group
            else:
                apart.append(group)
        groups = [*apart, sorted(joined)]
    return sorted(groups)


def _compared(said: Sequence[tuple[str, str]], one: frozenset[str], other: frozenset[str]) -> bool:
    return any((a in one and b in other) or (a in other and b in one) for a, b in said)


class _Group:
    """Distances that are searched together, in the few directions that they can see.

    A place is (q,) standard deviations of what the straight readings leave free, so that chi² of
    those is its square; `here` is the adjusted nose.
    """

    def __init__(
        self, distances: Sequence[_Distance], free: Floats, back: Floats, straight: Floats
    ) -> None:
        self.distances = distances
        seen = np.vstack([np.vstack([one.apart, one.plain]) for one in distances]) @ free
        _, sizes, axes = np.linalg.svd(seen, full_matrices=False)
        kept = sizes > _STIFF_MM
        self.sizes, axes = sizes[kept], axes[kept]
        self.size = int(kept.sum())
        self.axes, self.back = axes, back
        self.unknowns = free @ axes.T
        self.here = axes @ straight
        self.apart = np.stack([one.apart @ self.unknowns for one in distances])
        self.plain = np.stack([one.plain @ self.unknowns for one in distances])
        self.observed = np.array([one.observed for one in distances])
        self.deviation = np.array([one.deviation for one in distances])

    def places(self, best: Adjustment) -> list[tuple[float, Floats]]:
        """(chi² above that of the adjusted nose, state) of all places found, cheapest first.

        Only those to which a part has moved in directions that the readings fix: what can slide
        is not known anyhow, and stands in no two places.
        """
        places, costs = self._settled(self._beginnings())
        costs = costs - self._cost(self.here[None])[0]
        moved = self._moved_where_fixed(best, places)
        taken = [np.zeros(moved.shape[1:])]
        found = []
        for k in np.argsort(costs, kind="stable"):
            new = all(np.abs(moved[k] - one).max() >= SAME_PLACE_MM for one in taken)
            if new and costs[k] < _FAR_OFF:
                taken.append(moved[k])
                state = best.estimate + self.unknowns @ (places[k] - self.here)
                found.append((float(costs[k]), state))
        return found

    def _moved_where_fixed(self, best: Adjustment, places: Floats) -> Floats:
        """(b, ends, 3) mm, how far each end has moved; 0 where it slid along what nothing fixes.

        An end that slides round a bend comes to all places there: to it none of them is another.
        """
        moves = np.concatenate([one.moves for one in self.distances])
        slides, sizes, _ = np.linalg.svd(moves @ best.null_space, full_matrices=False)
        slides = slides * (sizes > _SLIDES)[:, None]
        along = (self.axes @ (self.back @ best.null_space)).T
        lengths = np.linalg.norm(moves @ (self.unknowns @ along.T), axis=1).max(axis=0)
        along = along[lengths > _SLIDES] * (_SLIDE_MM / lengths[lengths > _SLIDES])[:, None]
        slid, _ = self._settled(self.here + along)
        ends = moves @ self.unknowns

        def off(there: Floats) -> tuple[Floats, Floats]:
            away = np.einsum("eiq,bq->bei", ends, there - self.here)
            inside = np.einsum("eij,bej->bei", slides, np.einsum("eij,bei->bej", slides, away))
            return away, inside

        away, inside = off(slid)
        bends = np.linalg.norm(away - inside, axis=2).max(axis=0, initial=0.0) > _BENDS_MM
        away, inside = off(places)
        moved = np.linalg.norm(inside, axis=2) < _SLID * np.linalg.norm(away, axis=2)
        return np.where((moved & ~bends)[..., None], away, 0.0)

    def _beginnings(self) -> Floats:
        """(b, q) places: each distance turned over, and all round as far as the distances are long.

        Where one is turned over, all else goes along as the straight readings like it best.
        """
        count = min(_BEGINNINGS * self.size, _MOST_BEGINNINGS)
        far = max(float(np.linalg.norm(one.between)) for one in self.distances)
        chance = np.random.default_rng(_SEED).standard_normal((count, self.size))
        beginnings = [chance * np.minimum(far / self.sizes, 3.0)]
        for one, apart in zip(self.distances, self.apart, strict=True):
            normals = np.vstack([np.eye(3), one.values(np.zeros((1, 3)))[1]])
            over = -2.0 * (normals @ one.between)[:, None] * normals
            beginnings.append(np.linalg.solve(apart @ apart.T + np.eye(3), over.T).T @ apart)
        return np.asarray(self.here + np.vstack(beginnings))

    def _cost(self, places: Floats) -> Floats:
        return np.asarray((places**2).sum(axis=1) + (self._off(places)[0] ** 2).sum(axis=1))

    def _off(self, places: Floats) -> tuple[Floats, Floats]:
        """Residuals (b, m) of the distances over their deviations, and slopes (b, m, q)."""
        step = places - self.here
        off, slopes = [], []
        for k, one in enumerate(self.distances):
            values, gradients = one.values(step @ self.apart[k].T)
            off.append((self.observed[k] - values - step @ self.plain[k]) / self.deviation[k])
            slopes.append((gradients @ self.apart[k] + self.plain[k]) / self.deviation[k])
        return np.stack(off, axis=1), np.stack(slopes, axis=1)

    def _settled(self, places: Floats) -> tuple[Floats, Floats]:
        """Gauss-Newton with Marquardt's damping from all places at once; places and chi²."""
        off, slopes = self._off(places)
        costs = (places**2).sum(axis=1) + (off**2).sum(axis=1)
        damping = np.full(len(places), 1e-3)
        for _ in range(_MOST_STEPS):
            normal = np.eye(self.size) + np.einsum("bmq,bmr->bqr", slopes, slopes)
            pull = np.einsum("bmq,bm->bq", slopes, off) - places
            diagonal = np.einsum("bqq->bq", normal)
            diagonal *= 1.0 + damping[:, None]
            there = places + np.linalg.solve(normal, pull[..., None])[..., 0]
            off_there, slopes_there = self._off(there)
            costs_there = (there**2).sum(axis=1) + (off_there**2).sum(axis=1)
            better = costs_there < costs
            gain = np.where(better, costs - costs_there, 0.0)
            places = np.where(better[:, None], there, places)
            off = np.where(better[:, None], off_there, off)
            slopes = np.where(better[:, None, None], slopes_there, slopes)
            costs = np.where(better, costs_there, costs)
            damping = np.where(better, damping / 10.0, np.minimum(damping * 8.0, 1e12))
            if not ((gain > _NO_GAIN) | (~better & (damping < _STUCK))).any():
                break
        return places, costs


def _not_denied(
    network: Network, best: Adjustment, places: list[tuple[float, Floats]]
) -> list[tuple[float, Floats]]:
    """Places without those that a bound or a side word rules out by far.

    By far, because only an adjustment tells how well a place is known there.
    """
    if not places or not network.checks:
        return places
    count, state = network.count, best.estimate
    states = np.vstack([state + 1j * _STEP * np.eye(count), state, *(one for _, one in places)])
    values = network.check_values(states, state)
    room = 4.0 * best.spread(np.imag(values[:count]).T / _STEP) + _BY_FAR_MM
    said = np.array(
        [
            [missed(s, v) for s, v in zip(network.checks, row, strict=True)]
            for row in np.real(values[count:])
        ]
    )
    wrong = (said[1:] > np.maximum(said[0], 0.0) + room).any(axis=1)
    return [one for one, no in zip(places, wrong, strict=True) if not no]


def missed(sentence: Sentence, value: float) -> float:
    """By how much a value is on the wrong side of a bound or side word; below 0 where it holds."""
    limit = sentence.value or 0.0
    miss = value - limit if sentence.bound == "at most" else limit - value
    return miss - (sentence.half_width or 0.0)
