"""From readings to placed stations: the adjustment with its assumptions, starts and checks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.envelope.model import Sentence
from noseroom.errors import SurveyError
from noseroom.fingerprints import fingerprint
from noseroom.survey.adjustment import (
    CONVERGED,
    REDUNDANCY_FLOOR,
    Adjustment,
    Observations,
    adjust,
    deviation_without_assumptions,
)
from noseroom.survey.network import Network, Row, Station, size_row
from noseroom.survey.poses import Pose
from noseroom.survey.starts import best_adjustment, misses

ASSUMPTION_SHARE = 12.0
"""An assumption is dropped once readings alone fix it with a deviation of reach / 12."""
LEAST_DEVIATION = 0.003
"""mm or degrees: no reading is better than this, whatever half-width it claims."""
NEARLY = 1e-4
"""Standard deviations: near enough to tell which assumptions the readings replace."""
_ROUND = ("edge to edge", "straight")
_STEP = 1e-30


@dataclass(frozen=True)
class Source:
    """Something that a result rests on: a reading, a size, or an assumption.

    deviation: its standard deviation (rectangular: half-width / √3). reach: for an assumption the
    half-width of its range, which is allowed for in full; 0 for readings. residual: what it says
    less what the whole network says. redundancy: how far the others check it, 0 to 1.
    """

    text: str
    line: int
    station: str
    key: str
    value: float
    half_width: float
    deviation: float
    reach: float
    assumed: bool
    residual: float = 0.0
    redundancy: float = 0.0


@dataclass(frozen=True, eq=False)
class Placement:
    """One station placed.

    pose: in the vehicle frame. shift_gain, turn_gain: (3, s), how its origin moves (mm) and how it
    turns (rad, vehicle axes) per unit of each source. sizes: adjusted, by key; size_gain: (s,) per
    key. shift_null, turn_null: (3, q), how it moves along what nothing fixes.
    """

    name: str
    pose: Pose
    shift_gain: NDArray[np.float64]
    turn_gain: NDArray[np.float64]
    shift_null: NDArray[np.float64]
    turn_null: NDArray[np.float64]
    sizes: Mapping[str, float]
    size_gain: Mapping[str, NDArray[np.float64]]

    @property
    def gains(self) -> tuple[NDArray[np.float64], ...]:
        """How it follows the sources: (n, s) each; shift, turn, then each size."""
        return (
            self.shift_gain,
            self.turn_gain,
            *(gain[None] for gain in self.size_gain.values()),
        )

    @property
    def nulls(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """How it follows what nothing fixes: (3, q) each."""
        return self.shift_null, self.turn_null

    def settled(self) -> Placement:
        """The same without the rounding of the adjustment in its last digits.

        An adjustment after a change elsewhere gives the same one to the bit then (nearly always),
        so that nothing that follows from it has to be computed again.
        """
        return replace(
            self,
            pose=Pose(_rounded(self.pose.turn, 12), _rounded(self.pose.shift, 8)),
            shift_gain=_rounded(self.shift_gain, 8),
            turn_gain=_rounded(self.turn_gain, 11),
            shift_null=_rounded(self.shift_null, 8),
            turn_null=_rounded(self.turn_null, 11),
            sizes={key: round(value, 8) for key, value in self.sizes.items()},
            size_gain={key: _rounded(gain, 8) for key, gain in self.size_gain.items()},
        )

    @property
    def known(self) -> bool:
        """Whether readings and assumptions fix its whole pose."""
        return (
            not (np.abs(self.shift_null) > 1e-6).any() and not (np.abs(self.turn_null) > 1e-8).any()
        )


def _rounded(values: NDArray[np.float64], decimals: int) -> NDArray[np.float64]:
    return np.asarray(np.round(values, decimals) + 0.0)  # + 0.0 turns -0.0 into 0.0


@dataclass(frozen=True, eq=False)
class Disagreement:
    """A reading that the others contradict: by how much (mm or deg), and how improbably (w)."""

    source: Source
    slip: float
    w: float


@dataclass(frozen=True, eq=False)
class Survey:
    """The adjusted nose.

    sources: (s) in the order of all gains. network: what was adjusted in the end.
    """

    sources: tuple[Source, ...]
    placements: Mapping[str, Placement]
    dropped: tuple[Source, ...]
    refuted: tuple[Source, ...]
    broken_bounds: tuple[tuple[Sentence, float], ...]
    disagreements: tuple[Disagreement, ...]
    degrees_of_freedom: int
    cost: float
    adjustment: Adjustment
    network: Network

    @cached_property
    def prints(self) -> NDArray[np.bytes_]:
        """(s,) the fingerprint of each source, whatever its line and how the others agree to it."""
        made = [
            fingerprint(
                *(one.text, one.station, one.key, one.value, one.half_width),
                *(one.deviation, one.reach, one.assumed),
            )
            for one in self.sources
        ]
        return np.array(made, dtype="S16")

    def felt(self, stations: Iterable[str]) -> NDArray[np.bool_]:
        """(s,) which sources any of some stations may follow at all, or their sizes.

        Those that move them as adjusted, and those of whatever they were measured from: what does
        not move them to the first order may do so to the second.
        """
        found = np.zeros(len(self.sources), dtype=bool)
        for name in stations:
            found |= self._felt_by(name)
        return found

    def _felt_by(self, station: str) -> NDArray[np.bool_]:
        if station not in self._felt:
            behind = self._behind[station]
            felt = np.array([one.station in behind for one in self.sources], dtype=bool)
            # A size on which no reading depends moves nothing but its own part.
            felt[len(self.adjustment.observed) :] = False
            for gain in self.placements[station].settled().gains:
                # Sources that were added later (movements) stand after those of the adjustment.
                felt[: gain.shape[1]] |= (gain != 0).any(axis=0)
            self._felt[station] = felt
        return self._felt[station]

    @cached_property
    def _felt(self) -> dict[str, NDArray[np.bool_]]:
        return {}

    @cached_property
    def _behind(self) -> dict[str, frozenset[str]]:
        """Each station with all that its place may rest on, up to the car.

        That is what carries it, what it was measured from, and what was measured from it round a
        corner, with readings to spare: only those can say anything of others, and round a corner
        they may do so to the second order alone.
        """
        near: dict[str, set[str]] = {
            name: set(self.network.carriers(name)) for name in self.network.stations
        }
        checked = {one.station for one in self.sources if one.redundancy > REDUNDANCY_FLOOR}
        for sentence in self.network.sentences:
            if sentence.object is None:
                continue
            subject, other = sentence.subject.part, sentence.object.part
            near[subject].add(other)
            if sentence.form in _ROUND and subject in checked and other in near:
                near[other].add(subject)
        found: dict[str, frozenset[str]] = {}
        for name in near:
            seen, waiting = {name}, [name]
            while waiting:
                more = near.get(waiting.pop(), set()) - seen
                seen |= more
                waiting += more
            found[name] = frozenset(seen)
        return found

    @property
    def deviations(self) -> NDArray[np.float64]:
        """(s,) standard deviations of readings and measured sizes; 0 for assumptions."""
        return np.array([0.0 if one.assumed else one.deviation for one in self.sources])

    @property
    def reaches(self) -> NDArray[np.float64]:
        """(s,) reaches of assumptions; 0 for readings."""
        return np.array([one.reach for one in self.sources])


def solve(stations: Sequence[Station], sentences: Sequence[Sentence]) -> Survey:
    """Adjust the whole nose.

    Assumptions that the readings fix twelve times better are dropped, and so is one that the
    readings refute by more than its own range; both are listed. Bounds and side words choose
    between mirror images at the start and are checked at the end.

    Raises SurveyError, with lines, when the readings have no solution or two different ones.
    """
    dropped: list[Source] = []
    refuted: list[Source] = []
    network = Network(stations, sentences)
    nearly = partial(adjusted, settled=NEARLY)
    adjustment, exact = best_adjustment(network, nearly), False
    while True:
        network.begin(adjustment.estimate)
        leaving, fixed = _to_leave(network, adjustment)
        if not leaving.size:
            if exact:
                return survey_of(network, adjustment, dropped, refuted)
            adjustment, exact = adjusted(network), True
            continue
        rows = network.rows()
        (dropped if fixed else refuted).extend(
            source_of(rows[int(index)], adjustment, int(index)) for index in leaving
        )
        network = without(network, [rows[index] for index in leaving])
        adjustment, exact = nearly(network), False


def without(network: Network, gone: Sequence[Row]) -> Network:
    """A network without some of its rows."""
    return network.without(
        [row.sentence for row in gone if row.sentence is not None],
        [(row.station, row.key) for row in gone if row.sentence is None],
    )


def _to_leave(network: Network, adjustment: Adjustment) -> tuple[NDArray[np.intp], bool]:
    """Rows of assumptions that have to go, and whether the readings fix them (or refute them)."""
    rows = network.rows()
    assumed = np.array([row.assumed for row in rows], dtype=bool)
    reach = np.array([row.half_width for row in rows])
    alone = deviation_without_assumptions(adjustment, assumed)
    fixed = assumed & (np.nan_to_num(alone, nan=np.inf) < reach / ASSUMPTION_SHARE)
    if fixed.any():
        return np.flatnonzero(fixed), True
    beyond = assumed & (np.abs(adjustment.residuals) > reach)
    if not beyond.any():
        return np.zeros(0, dtype=np.intp), False
    # One refuted at a time: without it the others may hold again.
    excess = np.abs(adjustment.residuals) / np.maximum(reach, 1e-9)
    return np.array([np.argmax(np.where(beyond, excess, 0.0))]), False


def deviation_of(row: Row) -> float:
    """The standard deviation with which a row counts, mm or degrees."""
    return max(row.half_width / float(np.sqrt(3.0)), LEAST_DEVIATION)


def adjusted(network: Network, ceiling: float = np.inf, settled: float = CONVERGED) -> Adjustment:
    """All rows of a network adjusted from its start. Raises SurveyError, with lines.

    ceiling: a chi² above which it is given up. settled: see `adjust`.
    """
    rows = network.rows()
    observations = Observations(
        np.array([row.value for row in rows]),
        np.array([deviation_of(row) for row in rows]),
        tuple(f"line {row.line}: {row.text}" for row in rows),
    )
    try:
        return adjust(
            network.predict, observations, network.start, ceiling=ceiling, settled=settled
        )
    except SurveyError as error:
        if error.lines:
            raise
        raise SurveyError(str(error), lines=_to_read_again(network, rows, str(error))) from error


def _to_read_again(network: Network, rows: Sequence[Row], text: str) -> tuple[int, ...]:
    """Lines of the readings that a message names.

    Where it names an assumption, those of its part and of what that carries.
    """
    named = [row for row in rows if f"line {row.line}: {row.text}" in text]
    lines = {row.line for row in named if not row.assumed}
    if not lines:
        parts = {
            name
            for name in network.stations
            if any(row.station in network.carriers(name) for row in named)
        }
        lines = {
            sentence.line
            for sentence in network.sentences
            if sentence.knowledge != "assumed"
            and (
                sentence.subject.part in parts
                or (sentence.object is not None and sentence.object.part in parts)
            )
        }
    return tuple(sorted(lines or {row.line for row in named}))


def source_of(row: Row, adjustment: Adjustment | None = None, index: int = 0) -> Source:
    """A row as something that a result rests on; without an adjustment, only what it says."""
    return Source(
        text=row.text,
        line=row.line,
        station=row.station,
        key=row.key,
        value=row.value,
        half_width=row.half_width,
        deviation=deviation_of(row),
        reach=row.half_width if row.assumed else 0.0,
        assumed=row.assumed,
        residual=float(adjustment.residuals[index]) if adjustment else 0.0,
        redundancy=float(adjustment.redundancy[index]) if adjustment else 0.0,
    )


def survey_of(
    network: Network, adjustment: Adjustment, dropped: list[Source], refuted: list[Source]
) -> Survey:
    """Collect poses, sizes and their dependence on every source, loose sizes included."""
    rows = network.rows()
    sources = [source_of(row, adjustment, index) for index, row in enumerate(rows)]
    loose: dict[tuple[str, str], int] = {}
    for name, station in network.stations.items():
        for key, size in station.sizes.items():
            if size.half_width > 0 and network.size_column(name, key) is None:
                # No reading depends on it: it stands on its own.
                loose[name, key] = len(sources)
                sources.append(source_of(size_row(name, size)))
    count, tied = len(sources), len(rows)

    # Derivatives of every pose by every unknown, in one batch of complex steps.
    state = np.tile(adjustment.estimate.astype(np.complex128), (network.count, 1))
    state += 1j * _STEP * np.eye(network.count)
    stepped = network.poses(state)
    null = adjustment.null_space * adjustment.scale[:, None]
    placements: dict[str, Placement] = {}
    for name, pose in network.poses(adjustment.estimate).items():
        if not name:
            continue
        shift, turn = _twist(stepped[name], pose, network.count)
        gain = np.zeros((6, count))
        gain[:3, :tied], gain[3:, :tied] = shift @ adjustment.gain, turn @ adjustment.gain
        sizes: dict[str, float] = {}
        size_gain: dict[str, NDArray[np.float64]] = {}
        for key, size in network.stations[name].sizes.items():
            column = network.size_column(name, key)
            row = np.zeros(count)
            if column is not None:
                row[:tied] = adjustment.gain[column]
                sizes[key] = size.value + float(adjustment.estimate[column])
            else:
                sizes[key] = size.value
                if (name, key) in loose:
                    row[loose[name, key]] = 1.0
            size_gain[key] = row
        placements[name] = Placement(
            name,
            Pose(np.real(pose.turn), np.real(pose.shift)),
            gain[:3],
            gain[3:],
            shift @ null,
            turn @ null,
            sizes,
            size_gain,
        )
    missed = zip(network.checks, misses(network, adjustment), strict=True)
    return Survey(
        sources=tuple(sources),
        placements=placements,
        dropped=tuple(dropped),
        refuted=tuple(refuted),
        broken_bounds=tuple((s, miss) for s, miss in missed if miss > 0),
        disagreements=_disagreements(adjustment, sources),
        degrees_of_freedom=adjustment.degrees_of_freedom,
        cost=adjustment.cost,
        adjustment=adjustment,
        network=network,
    )


def _twist(
    stepped: Pose, pose: Pose, count: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How an origin shifts and how its frame turns per unknown: (3, n) mm and (3, n) rad."""
    shift = np.imag(np.broadcast_to(stepped.shift, (count, 3))) / _STEP
    turned = np.imag(np.broadcast_to(stepped.turn, (count, 3, 3))) / _STEP
    skew: NDArray[Any] = turned @ np.real(pose.turn).T
    turn = np.stack([skew[:, 2, 1], skew[:, 0, 2], skew[:, 1, 0]], axis=0)
    return shift.T, turn


def _disagreements(adjustment: Adjustment, sources: Sequence[Source]) -> tuple[Disagreement, ...]:
    """Readings whose normalised residual is beyond 3.29 (1 in 1000), worst first."""
    w = np.nan_to_num(adjustment.normalised_residuals())
    found = []
    for index in np.argsort(-np.abs(w)):
        if abs(w[index]) <= 3.29:
            break
        share = float(adjustment.redundancy[index])
        slip = float(adjustment.residuals[index]) / share if share > 1e-6 else 0.0
        found.append(Disagreement(sources[index], slip, float(w[index])))
    return tuple(found)
