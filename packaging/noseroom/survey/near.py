"""A nose that is nearly one that was adjusted before, adjusted from there: no last word."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from noseroom.envelope.model import Sentence
from noseroom.errors import SurveyError
from noseroom.survey.adjustment import Adjustment, deviation_without_assumptions
from noseroom.survey.network import Network, Row, Station
from noseroom.survey.solution import (
    ASSUMPTION_SHARE,
    Source,
    Survey,
    adjusted,
    deviation_of,
    survey_of,
    without,
)

_SURELY = 1.02
"""A refuted assumption has to be beyond its range by this: the first order is not exact."""
_SETTLED = 1e-7
"""In standard deviations: the last step is this short. A full check takes a few more."""
_NO_DEARER = 25.0
"""By how much chi² may rise when a figure changes a little: five standard deviations."""


def solve_near(
    stations: Sequence[Station], sentences: Sequence[Sentence], near: Survey
) -> Survey | None:
    """Adjust a nose that is nearly one that was adjusted before, from where that came out.

    The assumptions that were dropped there are left out from the beginning. None where the two are
    not alike, where another set of assumptions has to go, or where the readings agree much less:
    then `solve` has to tell. So it has in the end: of two mirror images this one finds the nearer.
    """
    whole = Network(stations, sentences)
    if whole.unknowns != near.network.unknowns:
        return None
    refuted = _named(whole, near.refuted)
    dropped = _named(whole, near.dropped)
    network = without(whole, [*dropped, *refuted])
    network.begin(_foreseen(network, near))
    try:
        adjustment = adjusted(network, near.cost + _NO_DEARER, _SETTLED)
        network.begin(adjustment.estimate)
        whole.begin(adjustment.estimate)
        if adjustment.cost > near.cost + _NO_DEARER or not _as_it_was(
            whole, adjustment, dropped, refuted
        ):
            return None
    except SurveyError:
        return None
    return survey_of(network, adjustment, list(near.dropped), list(near.refuted))


def _foreseen(network: Network, near: Survey) -> NDArray[np.float64]:
    """Where the readings take the nose from where it was, to first order: a state (n,)."""
    then, rows = near.adjustment, network.rows()
    if [(row.station, row.key) for row in rows] != [
        (row.station, row.key) for row in near.network.rows()
    ]:
        return then.estimate
    read = np.array([row.value if row.sentence else 0.0 for row in rows])
    was = np.array([row.value if row.sentence else 0.0 for row in near.network.rows()])
    return np.asarray(then.estimate + then.gain @ (read - was))


def _named(network: Network, sources: Sequence[Source]) -> list[Row]:
    """The rows of a network that say what some assumptions said."""
    said = {(one.station, one.key, one.text) for one in sources}
    rows = network.rows()
    return [row for row in rows if row.assumed and (row.station, row.key, row.text) in said]


def _as_it_was(
    whole: Network, adjustment: Adjustment, dropped: Sequence[Row], refuted: Sequence[Row]
) -> bool:
    """Whether the same assumptions would have to leave, and no others.

    whole: with all rows, begun where the nose came out. What readings refute is told with it back
    among them: to first order a row takes its share of its own residual off.
    """
    rows = whole.rows()
    here = adjusted(whole, settled=np.inf)
    assumed = np.array([row.assumed for row in rows], dtype=bool)
    reach = np.array([row.half_width for row in rows])
    alone = deviation_without_assumptions(here, assumed)
    fixed = np.nan_to_num(alone, nan=np.inf) < reach / ASSUMPTION_SHARE
    for k, row in enumerate(rows):
        off = abs(float(here.residuals[k]))
        if row in dropped:
            stays = bool(fixed[k])
        elif row in refuted:
            loose = float(adjustment.spread(here.jacobian[k])) / deviation_of(row)
            stays = not fixed[k] and off / (1.0 + loose**2) > _SURELY * row.half_width
        else:
            stays = not row.assumed or (not fixed[k] and off <= row.half_width)
        if not stays:
            return False
    return True
