"""Finding the reading that slipped: a misread inch, a tape hooked on the wrong edge.

Three questions, answered apart because the answers differ:

- `disagreement`: is anything wrong at all?
- `suspects`: which readings could be the wrong one?
- `nameable`: would a slip of a given size in a given reading end up alone on that list?

An assumption is an observation like any other here, and so can be a suspect.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from noseroom.errors import SurveyError
from noseroom.survey.adjustment import (
    REDUNDANCY_FLOOR,
    Adjustment,
    BoolArray,
    ComplexArray,
    FloatArray,
    Model,
    Observations,
    adjust,
)

DISAGREEMENT = 3.29
"""|w| that one sound normal reading in a thousand exceeds (two-sided)."""
SEPARATION = 10.83
"""Chi² with one degree of freedom at 0.1 %: the square of DISAGREEMENT."""


@dataclass(frozen=True, slots=True)
class Suspect:
    """A reading whose removal reconciles the others.

    index: its place among the observations. label: its name, or "".
    drop: how much of chi² goes when it is left out.
    slip: reading minus what the others say, in its own unit.
    slip_deviation: standard deviation of `slip`, the reading's own included.
    """

    index: int
    label: str
    drop: float
    slip: float
    slip_deviation: float


def disagreement(adjustment: Adjustment, threshold: float = DISAGREEMENT) -> tuple[int, ...]:
    """Indices of observations with |w| above the threshold, the worst first.

    Says that something is wrong, not what: with few closures a slip raises the w of good readings
    as much as its own. For what, ask `suspects`.
    """
    size = np.nan_to_num(np.abs(adjustment.normalised_residuals()))
    order = np.argsort(-size, kind="stable")
    return tuple(int(index) for index in order if size[index] > threshold)


def suspects(
    model: Model,
    observations: Observations,
    start: ArrayLike,
    adjustment: Adjustment,
    *,
    within: float = SEPARATION,
) -> tuple[Suspect, ...]:
    """Every reading that explains the disagreement nearly as well as the best one, best first.

    Each reading that the others check is left out in turn and the rest is adjusted again, from
    the full estimate and, should that fail, from `start`. A reading is on the list when leaving
    it out lowers chi² to within `within` of what the best one achieves. Readings are left out for
    real because a slip of an inch is beyond what the linear w statistic ranks reliably.

    Raises SurveyError when the arguments do not belong together. A reading without which the
    others no longer settle is passed over: its removal explains nothing.
    """
    if adjustment.observed.size != observations.value.size:
        raise SurveyError(
            f"{observations.value.size} observations but an adjustment of "
            f"{adjustment.observed.size}"
        )
    checked = np.flatnonzero(adjustment.redundancy > REDUNDANCY_FLOOR)
    found: list[Suspect] = []
    for index in (int(i) for i in checked):
        rest = _without(model, observations, index, adjustment, start)
        if rest is not None:
            found.append(_compare(model, observations, index, adjustment, rest))
    best = max((suspect.drop for suspect in found), default=0.0)
    near = [suspect for suspect in found if suspect.drop >= best - within]
    return tuple(sorted(near, key=lambda suspect: (-suspect.drop, suspect.index)))


def separation(adjustment: Adjustment, slip: ArrayLike) -> FloatArray:
    """Expected lead in chi², (m,), of a slipped reading over the next best suspect.

    slip: size of the slip in each reading's unit, scalar or (m,). The lead is
    (slip/deviation)² · r · (1 - ρ²), with r the reading's redundancy and ρ the largest
    correlation of its w with another's: a slip in i shifts w_i by (slip/deviation)·√r and w_j by ρ
    times that. With a single closure every ρ is 1 and the lead is zero. It is zero, too, for a
    reading that nothing checks.
    """
    correlation = np.nan_to_num(adjustment.residual_correlation())
    np.fill_diagonal(correlation, 0.0)
    closest = np.max(np.abs(correlation), axis=1, initial=0.0)
    checked = adjustment.redundancy > REDUNDANCY_FLOOR
    size = np.asarray(slip, dtype=np.float64) / adjustment.deviation
    lead: FloatArray = size**2 * adjustment.redundancy * (1.0 - closest**2)
    return np.where(checked, lead, 0.0)


def nameable(adjustment: Adjustment, slip: ArrayLike, threshold: float = SEPARATION) -> BoolArray:
    """Whether a slip in each reading, (m,), would on average leave it the only suspect.

    slip: scalar or (m,), in each reading's unit.
    """
    return np.asarray(separation(adjustment, slip) > threshold)


def _without(
    model: Model,
    observations: Observations,
    index: int,
    adjustment: Adjustment,
    start: ArrayLike,
) -> Adjustment | None:
    """Adjust everything but one observation; None when that does not settle."""

    def others(states: ComplexArray) -> ComplexArray:
        return np.delete(model(states), index, axis=1)

    rest = observations.without(index)
    for first in (adjustment.estimate, start):
        try:
            return adjust(others, rest, first, scale=adjustment.scale)
        except SurveyError:
            continue
    return None


def _compare(
    model: Model,
    observations: Observations,
    index: int,
    full: Adjustment,
    rest: Adjustment,
) -> Suspect:
    state = rest.estimate.astype(np.complex128)[None, :]
    predicted = float(model(state)[0, index].real)
    own = float(observations.deviation[index])
    # The gradient of the full adjustment is good enough for a deviation, and is at hand.
    others = float(rest.spread(full.jacobian[index]))
    return Suspect(
        index=index,
        label=observations.labels[index] if observations.labels else "",
        drop=full.cost - rest.cost,
        slip=float(observations.value[index]) - predicted,
        slip_deviation=float(np.hypot(own, others)),
    )
