"""From readings to placed stations: the adjustment with its assumptions, starts and checks."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.envelope.model import Sentence
from noseroom.errors import SurveyError
from noseroom.survey.adjustment import (
    Adjustment,
    Observations,
    adjust,
    deviation_without_assumptions,
)
from noseroom.survey.network import Network, Row, Station, size_row
from noseroom.survey.poses import Pose

ASSUMPTION_SHARE = 12.0
"""An assumption is dropped once readings alone fix it with a deviation of reach / 12."""
LEAST_DEVIATION = 0.003
"""mm or degrees: no reading is better than this, whatever half-width it claims."""
_STEP = 1e-30
_SAME_PLACE_MM = 3.0
_MAX_STARTS = 64


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
    def known(self) -> bool:
        """Whether readings and assumptions fix its whole pose."""
        return (
            not (np.abs(self.shift_null) > 1e-6).any() and not (np.abs(self.turn_null) > 1e-8).any()
        )


@dataclass(frozen=True, eq=False)
class Disagreement:
    """A reading that the others contradict: by how much (mm or deg), and how improbably (w)."""

    source: Source
    slip: float
    w: float


@dataclass(frozen=True, eq=False)
class Survey:
    """The adjusted nose. sources: (s) in the order of all gains."""

    sources: tuple[Source, ...]
    placements: Mapping[str, Placement]
    dropped: tuple[Source, ...]
    refuted: tuple[Source, ...]
    broken_bounds: tuple[tuple[Sentence, float], ...]
    disagreements: tuple[Disagreement, ...]
    degrees_of_freedom: int
    cost: float
    adjustment: Adjustment

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
    kept = list(sentences)
    free: set[tuple[str, str]] = set()
    start: NDArray[np.float64] | None = None
    while True:
        network = Network(stations, kept, free)
        if start is not None:
            network.start = start
        adjustment = _best(network) if start is None else _adjusted(network)
        start = adjustment.estimate
        rows = network.rows()
        assumed = np.array([row.assumed for row in rows], dtype=bool)
        reach = np.array([row.half_width for row in rows])
        alone = deviation_without_assumptions(adjustment, assumed)
        beyond = assumed & (np.abs(adjustment.residuals) > reach)
        fixed = assumed & (np.nan_to_num(alone, nan=np.inf) < reach / ASSUMPTION_SHARE)
        if not (beyond | fixed).any():
            break
        # One refuted at a time: without it the others may hold again.
        worst = int(np.argmax(np.abs(adjustment.residuals) / np.maximum(reach, 1e-9) * beyond))
        leaving = {worst} if not fixed.any() else {int(one) for one in np.flatnonzero(fixed)}
        for index in sorted(leaving):
            source = _source(rows[index], adjustment, index)
            (dropped if fixed[index] else refuted).append(source)
        gone = {id(rows[index].sentence) for index in leaving}
        kept = [one for one in kept if id(one) not in gone]
        free |= {(rows[i].station, rows[i].key) for i in leaving if rows[i].sentence is None}
    return _survey(network, adjustment, dropped, refuted)


def _deviation(row: Row) -> float:
    return max(row.half_width / float(np.sqrt(3.0)), LEAST_DEVIATION)


def _adjusted(network: Network) -> Adjustment:
    rows = network.rows()
    observations = Observations(
        np.array([row.value for row in rows]),
        np.array([_deviation(row) for row in rows]),
        tuple(f"line {row.line}: {row.text}" for row in rows),
    )
    return adjust(network.predict, observations, network.start)


def _best(network: Network) -> Adjustment:
    """Adjust from the usual places and, where readings have mirror images, from those too.

    Raises SurveyError when two different places agree with everything that was read and said.
    """
    plain = network.start.copy()
    found: list[tuple[float, Adjustment]] = []
    failure: SurveyError | None = None
    for shifts in itertools.islice(_starts(network), _MAX_STARTS):
        network.start = plain.copy()
        for name, shift in shifts.items():
            network.nudge(name, shift)
        try:
            one = _adjusted(network)
        except SurveyError as error:
            failure = failure or error
            continue
        broken = sum(1 for s in network.checks if _broken(network, s, one) is not None)
        found.append((one.cost + 1e6 * broken, one))
    if not found:
        raise failure or SurveyError("the readings could not be adjusted")
    network.start = plain
    found.sort(key=lambda item: item[0])
    cost, best = found[0]
    _refuse_mirror_images(network, best, [one for other, one in found if other < cost + 4.0])
    return best


def _starts(network: Network) -> Iterator[dict[str, NDArray[np.float64]]]:
    """Where to begin: the usual places, then either side of them for parts read edge to edge."""
    hints: dict[str, NDArray[np.float64]] = {}
    for sentence in network.checks:
        way = network.side_of(sentence)
        if way is not None and sentence.subject.part in network.stations:
            hints[sentence.subject.part] = hints.get(sentence.subject.part, 0.0) + 150.0 * way
    yield dict(hints)
    round_read = sorted(
        {
            s.subject.part
            for s in network.sentences
            if s.form in ("edge to edge", "straight")
            and s.subject.part in network.stations
            and len(network.columns(s.subject.part)) > 1
        }
    )
    corners = [np.array([0.0, y, z]) for y in (-250.0, 250.0) for z in (-200.0, 200.0)]
    for name in round_read:
        for corner in corners:
            yield {**hints, name: corner}
    for picked in itertools.product(corners, repeat=len(round_read)):
        if len(round_read) > 1:
            yield {**hints, **dict(zip(round_read, picked, strict=True))}


def _refuse_mirror_images(network: Network, best: Adjustment, others: list[Adjustment]) -> None:
    poses = network.poses(best.estimate)
    for other in others:
        for name, pose in network.poses(other.estimate).items():
            away = np.real(pose.shift - poses[name].shift)
            if not name or float(np.linalg.norm(away)) < _SAME_PLACE_MM:
                continue
            columns = list(network.columns(name))
            if not best.known(np.eye(network.count)[columns]).all():
                continue  # not fixed anyway: it will be shown as not known
            side = "left of or right of" if abs(away[1]) > abs(away[2]) else "above or below"
            lines = tuple(
                sorted(
                    {
                        s.line
                        for s in network.sentences
                        if s.subject.part == name and s.knowledge != "assumed"
                    }
                )
            )
            raise SurveyError(
                f"{name} can stand in two places that agree with every reading, "
                f"{float(np.linalg.norm(away)):.0f} mm apart; add which side it is on, such as "
                f"'{name} is {side} ...'",
                lines=lines or (network.stations[name].line,),
            )


def _broken(network: Network, sentence: Sentence, adjustment: Adjustment) -> float | None:
    """By how much (mm or deg) the adjusted nose misses a bound or side word, or None."""
    value = network.value(sentence, adjustment.estimate)
    limit = sentence.value or 0.0
    slack = (sentence.half_width or 0.0) + 1e-6
    miss = value - limit if sentence.bound == "at most" else limit - value
    return miss if miss > slack else None


def _source(row: Row, adjustment: Adjustment | None, index: int) -> Source:
    return Source(
        text=row.text,
        line=row.line,
        station=row.station,
        key=row.key,
        value=row.value,
        half_width=row.half_width,
        deviation=_deviation(row),
        reach=row.half_width if row.assumed else 0.0,
        assumed=row.assumed,
        residual=float(adjustment.residuals[index]) if adjustment else 0.0,
        redundancy=float(adjustment.redundancy[index]) if adjustment else 0.0,
    )


def _survey(
    network: Network, adjustment: Adjustment, dropped: list[Source], refuted: list[Source]
) -> Survey:
    """Collect poses, sizes and their dependence on every source, loose sizes included."""
    rows = network.rows()
    sources = [_source(row, adjustment, index) for index, row in enumerate(rows)]
    loose: dict[tuple[str, str], int] = {}
    for name, station in network.stations.items():
        for key, size in station.sizes.items():
            if size.half_width > 0 and network.size_column(name, key) is None:
                # No reading depends on it: it stands on its own.
                loose[name, key] = len(sources)
                sources.append(_source(size_row(name, size), None, 0))
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
    missed = [(s, _broken(network, s, adjustment)) for s in network.checks]
    return Survey(
        sources=tuple(sources),
        placements=placements,
        dropped=tuple(dropped),
        refuted=tuple(refuted),
        broken_bounds=tuple((s, miss) for s, miss in missed if miss is not None),
        disagreements=_disagreements(adjustment, sources),
        degrees_of_freedom=adjustment.degrees_of_freedom,
        cost=adjustment.cost,
        adjustment=adjustment,
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
