"""The nose as a survey network: unknowns, equations, and one predicting model for them all.

A station is one part: a pose relative to what carries it, and sizes that its features follow.
Unknowns are the free movements of every station (mm; rotations as mm at a fixed radius) and those
sizes that some reading depends on. What can be eliminated is not an unknown: a fan slides along
its hub's axis and has no other freedom, and its spin has no meaning.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from noseroom.envelope.model import FeatureRef, Sentence, SizeReading
from noseroom.errors import SurveyError
from noseroom.survey.features import Feature
from noseroom.survey.poses import ROTATION_SCALE_MM, Pose, identity, rotation
from noseroom.survey.readings import Predict, Touched, equation, touch

FeatureMaker = Callable[[Mapping[str, Any]], Mapping[str, Feature]]
CENTRELINE = "centreline"

_DATUM_FEATURE = Feature("point", np.zeros(3), np.array([1.0, 0.0, 0.0]))
_CENTRE_PLANE = Feature("face", np.zeros(3), np.array([0.0, 1.0, 0.0]))
_STEP = 1e-30
_FACING_FORE = 0.7
"""A round thing has clock positions when its axis is within 45 degrees of fore-and-aft."""
_FREE: Mapping[str, tuple[int, ...]] = {
    "placed": (0, 1, 2, 3, 4, 5),
    "on axis": (0,),
    "fixed": (),
}


@dataclass(frozen=True)
class Station:
    """One part of the network.

    carrier: the station that it moves with ("" for the car). freedom: which movements relative to
    the carrier are unknown. start: (3,) mm, where it stands relative to the carrier to begin with.
    features: from sizes (by key) to named features, for batches too. line: of the part in the file.
    """

    name: str
    carrier: str
    freedom: Literal["placed", "on axis", "fixed"]
    start: NDArray[np.float64]
    sizes: Mapping[str, SizeReading]
    constants: Mapping[str, float]
    features: FeatureMaker
    line: int

    def movements(self) -> tuple[int, ...]:
        """Indices into (shift x, y, z, turn x, y, z) that are unknown."""
        return _FREE[self.freedom]


@dataclass(frozen=True)
class Row:
    """One equation: a sentence with its value, or a size as it was read."""

    sentence: Sentence | None
    station: str
    key: str
    value: float
    half_width: float
    line: int
    text: str
    assumed: bool


class Network:
    """Stations and place sentences, ready to predict every reading from a state.

    The state (k, n) holds, station by station, the free movements and then the involved sizes, as
    differences from the start. `rows` are the equations; bounds and side words are kept apart in
    `checks`, because an inequality must never make an unknown look known.

    An assumption that speaks of a part or a feature that is not there holds nothing and is left
    out. Raises SurveyError (with lines) where a reading does so.
    """

    def __init__(self, stations: Sequence[Station], sentences: Sequence[Sentence]) -> None:
        self.stations = {one.name: one for one in _carriers_first(stations)}
        self._plain: dict[str, Mapping[str, Feature]] = {}
        sentences = [one for one in sentences if self._holds(one)]
        self.sentences = [s for s in sentences if s.value is not None and s.bound is None]
        self.checks = [s for s in sentences if s.value is None or s.bound is not None]
        self._used = self._features_used()
        self.involved = {name: self._involved(name) for name in self.stations}
        self._columns: dict[str, tuple[int, ...]] = {}
        self._size_columns: dict[tuple[str, str], int] = {}
        count = 0
        for name, station in self.stations.items():
            free = station.movements()
            self._columns[name] = tuple(range(count, count + len(free)))
            count += len(free)
            for key in self.involved[name]:
                self._size_columns[name, key] = count
                count += 1
        self.count = count
        self._size_rows = list(self._size_columns)
        self.start = np.zeros(count)
        self._equations: list[tuple[Sentence, Predict]] | None = None

    def without(
        self, sentences: Collection[Sentence], sizes: Collection[tuple[str, str]]
    ) -> Network:
        """The same unknowns and start without some rows.

        sentences: compared by identity. sizes: (station, key) whose own row goes, because the
        readings say better than the assumption what they are.
        """
        gone = {id(one) for one in sentences}
        rest = copy.copy(self)
        rest.sentences = [one for one in self.sentences if id(one) not in gone]
        rest._size_rows = [pair for pair in self._size_rows if pair not in sizes]
        rest._equations = None
        return rest

    # ------------------------------------------------------------------ layout of the state

    @property
    def unknowns(
        self,
    ) -> tuple[tuple[tuple[str, tuple[int, ...]], ...], tuple[tuple[str, str], ...]]:
        """What each place in a state stands for: by stations, then the sizes."""
        return tuple(self._columns.items()), tuple(self._size_columns)

    def columns(self, name: str) -> tuple[int, ...]:
        """Columns of a station's free movements."""
        return self._columns[name]

    def size_column(self, name: str, key: str) -> int | None:
        """Column of a size, or None where no reading depends on it."""
        return self._size_columns.get((name, key))

    def begin(self, state: NDArray[np.float64]) -> None:
        """Start from a state (n,), at which the equations are settled anew."""
        self.start = np.array(state, dtype=np.float64)
        self._equations = None

    def shifted(
        self, state: NDArray[np.float64], name: str, shift: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """A state (n,) with one station moved by a shift (3,) mm in its carrier's frame."""
        moved = np.array(state, dtype=np.float64)
        for movement, column in zip(
            self.stations[name].movements(), self._columns[name], strict=True
        ):
            if movement < 3:
                moved[column] += shift[movement]
        return moved

    def carriers(self, name: str) -> tuple[str, ...]:
        """A station and what carries it, up to the car."""
        chain: list[str] = []
        while name in self.stations:
            chain.append(name)
            name = self.stations[name].carrier
        return tuple(chain)

    # ------------------------------------------------------------------ predicting

    def sizes(self, name: str, state: NDArray[Any]) -> dict[str, Any]:
        """All sizes of a station by key: scalars, or (...) for those the state carries."""
        station = self.stations[name]
        found: dict[str, Any] = dict(station.constants)
        for key, reading in station.sizes.items():
            column = self._size_columns.get((name, key))
            found[key] = reading.value if column is None else reading.value + state[..., column]
        return found

    def poses(self, state: NDArray[Any]) -> dict[str, Pose]:
        """Every station's pose in the vehicle frame, for a state (..., n)."""
        found: dict[str, Pose] = {"": identity()}
        free = [name for name, columns in self._columns.items() if columns]
        # All rotations in one batch: there are few numbers to each, and many calls.
        moves = {name: self._moves(name, state) for name in free}
        turns: NDArray[Any] = np.zeros((*state.shape[:-1], 0, 3, 3))
        if free:
            vectors = [moves[name][..., 3:] for name in free]
            turns = _rotations(np.stack(vectors, axis=-2) / ROTATION_SCALE_MM)
        for name, station in self.stations.items():
            if name in moves:
                turn = turns[..., free.index(name), :, :]
                shift = moves[name][..., :3] + station.start
            else:
                turn, shift = np.eye(3), station.start
            found[name] = found[station.carrier].then(turn, shift)
        return found

    def _moves(self, name: str, state: NDArray[Any]) -> NDArray[Any]:
        """The movements (..., 6) of a station in a state (..., n); 0 for those it has not."""
        columns, movements = list(self._columns[name]), self.stations[name].movements()
        if len(movements) == 6:
            return state[..., columns]
        moves: NDArray[Any] = np.zeros((*state.shape[:-1], 6), dtype=state.dtype)
        moves[..., list(movements)] = state[..., columns]
        return moves

    def touched(self, ref: FeatureRef, at: Mapping[str, Any], poses: Mapping[str, Pose]) -> Touched:
        """A feature reference placed by poses; `at` holds each station's features."""
        feature = at[ref.part][ref.feature]
        pose = poses[""] if ref.part == CENTRELINE else poses[ref.part]
        return touch(feature, ref.spot, pose)

    def features(self, state: NDArray[Any]) -> dict[str, Mapping[str, Feature]]:
        """The features of every station that a sentence speaks of, for a state (..., n)."""
        found: dict[str, Mapping[str, Feature]] = {CENTRELINE: {"": _CENTRE_PLANE}}
        for name in self._used:
            if name == CENTRELINE:
                continue
            found[name] = (
                self._made(name, self.sizes(name, state))
                if self.involved[name]
                else self._as_given(name)
            )
        return found

    def _made(self, name: str, sizes: Mapping[str, Any]) -> Mapping[str, Feature]:
        return {"": _DATUM_FEATURE, **self.stations[name].features(sizes)}

    def _as_given(self, name: str) -> Mapping[str, Feature]:
        """A station's features at its sizes as they were given."""
        if name not in self._plain:
            station = self.stations[name]
            plain = {key: size.value for key, size in station.sizes.items()}
            self._plain[name] = self._made(name, {**station.constants, **plain})
        return self._plain[name]

    def predict(self, state: NDArray[Any]) -> NDArray[Any]:
        """Values of all sentence rows, then of all size rows; (k, n) to (k, m), complex or real."""
        poses, features = self.poses(state), self.features(state)
        columns: list[NDArray[Any]] = []
        # Many readings go to the same few faces.
        touched: dict[FeatureRef | None, Touched | None] = {None: None}
        for sentence, formula in self.equations():
            for ref in (sentence.subject, sentence.object):
                if ref not in touched:
                    assert ref is not None
                    touched[ref] = self.touched(ref, features, poses)
            subject, other = touched[sentence.subject], touched[sentence.object]
            assert subject is not None
            columns.append(np.broadcast_to(formula(subject, other), state.shape[:-1]))
        for name, key in self._size_rows:
            column = self._size_columns[name, key]
            columns.append(self.stations[name].sizes[key].value + state[..., column])
        if not columns:
            return np.zeros((*state.shape[:-1], 0), dtype=state.dtype)
        return np.stack(columns, axis=-1).astype(state.dtype)

    def check_values(self, states: NDArray[Any], at: NDArray[np.float64]) -> NDArray[Any]:
        """What all `checks` would read, (k, c), at states (k, n); settled at a real state (n,)."""
        if not self.checks:
            return np.zeros((*states.shape[:-1], 0), dtype=states.dtype)
        formulas = self._settled(self.checks, at)
        poses, features = self.poses(states), self.features(states)
        columns = []
        for sentence, formula in formulas:
            there = sentence.object
            subject = self.touched(sentence.subject, features, poses)
            other = None if there is None else self.touched(there, features, poses)
            columns.append(np.broadcast_to(formula(subject, other), states.shape[:-1]))
        return np.stack(columns, axis=-1)

    def equations(self) -> list[tuple[Sentence, Predict]]:
        """Sentences with their formulas, settled at the start."""
        if self._equations is None:
            self._equations = self._settled(self.sentences, self.start)
        return self._equations

    def _settled(
        self, sentences: Sequence[Sentence], at: NDArray[np.float64]
    ) -> list[tuple[Sentence, Predict]]:
        poses, features = self.poses(at), self.features(at)
        made = []
        for sentence in sentences:
            there = sentence.object
            formula = equation(
                sentence,
                self._feature(sentence.subject, features),
                None if there is None else self._feature(there, features),
                self.touched(sentence.subject, features, poses),
                None if there is None else self.touched(there, features, poses),
            )
            made.append((sentence, formula))
        return made

    def rows(self) -> list[Row]:
        """All equations in the order of `predict`."""
        made = [
            Row(
                sentence,
                sentence.subject.part,
                "",
                float(sentence.value or 0.0),
                float(sentence.half_width or 0.0),
                sentence.line,
                sentence.text,
                sentence.knowledge == "assumed",
            )
            for sentence in self.sentences
        ]
        for name, key in self._size_rows:
            size = self.stations[name].sizes[key]
            made.append(size_row(name, size))
        return made

    # ------------------------------------------------------------------ what depends on what

    def _holds(self, sentence: Sentence) -> bool:
        """Whether what a sentence speaks of is there.

        Raises SurveyError for a reading of which that is not so: the builder has to know.
        """
        for ref in (sentence.subject, sentence.object):
            if ref is None or ref.part == CENTRELINE:
                continue
            if ref.part not in self.stations:
                wrong = f"{sentence.text!r} speaks of {ref.part!r}, which is not fitted"
            elif ref.feature not in (there := self._as_given(ref.part)):
                wrong = f"{ref.part} as described has no {ref.feature!r} to measure from"
            elif not _has_spot(there[ref.feature], ref.spot):
                wrong = (
                    f"{sentence.text!r}: clock positions are seen from the front of the car, and "
                    f"{ref.part}.{ref.feature} does not face that way"
                )
            else:
                continue
            if sentence.knowledge == "assumed":
                return False
            raise SurveyError(wrong, lines=(sentence.line,))
        return True

    def _features_used(self) -> dict[str, set[str]]:
        used: dict[str, set[str]] = {}
        for sentence in [*self.sentences, *self.checks]:
            for ref in (sentence.subject, sentence.object):
                if ref is not None:
                    used.setdefault(ref.part, set()).add(ref.feature)
        return used

    def _involved(self, name: str) -> tuple[str, ...]:
        """Sizes that at least one used feature follows, in the kind's order."""
        if not self._used.get(name, set()) - {""}:
            return ()
        station = self.stations[name]
        keys = [key for key, size in station.sizes.items() if size.half_width > 0]
        if not keys:
            return ()
        plain: dict[str, Any] = {key: size.value for key, size in station.sizes.items()}
        for k, key in enumerate(keys):
            plain[key] = plain[key] + 1j * _STEP * (np.arange(len(keys)) == k)
        moved = np.zeros(len(keys), dtype=bool)
        made = station.features({**station.constants, **plain})
        for feature in self._used[name] - {""}:
            one = made[feature]
            for value in (one.point, one.direction, *one.reach.values()):
                moved |= np.any(np.imag(np.broadcast_to(value, (len(keys), 3))) != 0, axis=-1)
            moved |= np.imag(np.broadcast_to(one.radius, (len(keys),))) != 0
        return tuple(key for key, yes in zip(keys, moved, strict=True) if yes)

    def _feature(self, ref: FeatureRef, at: Mapping[str, Mapping[str, Feature]]) -> Feature:
        return at[ref.part][ref.feature]


def _rotations(vectors: NDArray[Any]) -> NDArray[Any]:
    """Rotations (..., 3, 3) of rotation vectors (..., 3).

    In a batch for derivatives every state but a few turns a station as the last one does.
    """
    if vectors.ndim < 3:
        return rotation(vectors)
    other = (vectors != vectors[-1]).any(axis=-1)
    turns = np.array(np.broadcast_to(rotation(vectors[-1]), (*vectors.shape, 3)))
    turns[other] = rotation(vectors[other])
    return turns


def _has_spot(feature: Feature, spot: str) -> bool:
    """Whether a spot makes sense: a clock position does on what faces fore or aft only."""
    return not spot.endswith("o'clock") or bool(abs(feature.direction[..., 0].real) > _FACING_FORE)


def size_row(station: str, size: SizeReading) -> Row:
    """The equation of a size: it is what it was read to be."""
    return Row(
        None,
        station,
        size.key,
        size.value,
        size.half_width,
        size.line,
        f"{station} {size.key}: {size.text}",
        size.knowledge == "assumed",
    )


def _carriers_first(stations: Sequence[Station]) -> list[Station]:
    """Stations in an order in which every carrier comes before what it carries."""
    waiting = {one.name: one for one in stations}
    done: dict[str, Station] = {}
    while waiting:
        ready = [one for one in waiting.values() if not one.carrier or one.carrier in done]
        if not ready:
            names = ", ".join(sorted(waiting))
            raise SurveyError(
                f"{names}: each is carried by the next in a ring",
                lines=tuple(one.line for one in waiting.values()),
            )
        for one in ready:
            done[one.name] = waiting.pop(one.name)
    return list(done.values())
