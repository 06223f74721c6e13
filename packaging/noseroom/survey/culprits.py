"""Which readings to blame when the nose cannot stand as read: the worst first, one at a time.

A slip of an inch spoils the residuals of all the readings round it. So only the worst is taken out
(data snooping, as surveyors do it), the rest is adjusted again, and what is then sound is cleared.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from noseroom.errors import SurveyError
from noseroom.survey.adjustment import Adjustment
from noseroom.survey.blunders import SEPARATION
from noseroom.survey.network import Network, Row
from noseroom.survey.solution import Source, Survey, adjusted, source_of

_MOST_CULPRITS = 6
_MOST_TRIED = 8
"""Of the readings with the largest residuals; the slip is hardly ever beyond the first three."""


_FAR_FETCHED = 10.0
"""Nobody misreads by so many times more of the half-width than what explains it too."""


@dataclass(frozen=True, eq=False)
class Culprit:
    """A reading without which the others agree better than without any other.

    slip: reading less what the others say, mm or degrees. instead: readings that may as well be
    the wrong one, because leaving them out helps as much.
    """

    source: Source
    slip: float
    is_turn: bool
    instead: tuple[Source, ...]


def culprits(survey: Survey, beyond: float) -> tuple[Culprit, ...]:
    """The readings that keep a nose from standing, the worst first.

    beyond: |w| from which a reading counts as wrong beyond doubt. Empty where none is.
    """
    found: list[Culprit] = []
    network, adjustment = survey.network, survey.adjustment
    while len(found) < _MOST_CULPRITS:
        rows = network.rows()
        w = np.nan_to_num(np.abs(adjustment.normalised_residuals()))
        order = [int(index) for index in np.argsort(-w, kind="stable") if w[index] > beyond]
        suspected = [index for index in order if not rows[index].assumed] or order
        if not suspected:
            break
        tried = _tried(network, rows, suspected[:_MOST_TRIED])
        if not tried:
            index = suspected[0]
            slip = float(adjustment.residuals[index])
            found.append(_culprit(rows[index], slip, ()))
            break
        best = min(one.adjustment.cost for one in tried)
        equal = [one for one in tried if one.adjustment.cost <= best + SEPARATION]
        # A gap in the car is misread sooner than a part on the bench, and by little sooner than by
        # much: without some readings a part may fly far off and still agree with the others.
        equal.sort(key=lambda one: (rows[one.index].sentence is None, round(abs(one.slip), 3)))
        chosen = equal[0]
        others = [one for one in equal[1:] if one.times <= _FAR_FETCHED * chosen.times]
        found.append(_culprit(rows[chosen.index], chosen.slip, [rows[one.index] for one in others]))
        network, adjustment = chosen.network, chosen.adjustment
    return tuple(found)


@dataclass(frozen=True, eq=False)
class _Trial:
    """The network without one of its rows.

    slip: how far that row is off what the rest says, mm or degrees; times: in its own half-widths.
    """

    index: int
    network: Network
    adjustment: Adjustment
    slip: float
    times: float


def _tried(network: Network, rows: list[Row], suspected: list[int]) -> list[_Trial]:
    trials = []
    for index in suspected:
        row = rows[index]
        rest = network.without(
            [] if row.sentence is None else [row.sentence],
            [] if row.sentence is not None else [(row.station, row.key)],
        )
        try:
            found = adjusted(rest)
        except SurveyError:
            continue  # without it the others do not settle: it explains nothing
        predicted = network.predict(found.estimate.astype(np.complex128)[None, :])
        slip = row.value - float(predicted[0, index].real)
        trials.append(_Trial(index, rest, found, slip, abs(slip) / max(row.half_width, 1e-3)))
    return trials


def _culprit(row: Row, slip: float, instead: list[Row] | tuple[Row, ...]) -> Culprit:
    is_turn = row.sentence is not None and row.sentence.form == "turn"
    return Culprit(source_of(row), slip, is_turn, tuple(source_of(one) for one in instead))
