"""Where the adjustment begins, and whether the readings have another nose to offer.

Most readings are linear but for small turns, and one start serves. Distances from edge to edge or
straight across a corner are not: a compressor so far from a pulley and so high above it may stand
on either side. Side words choose. Where nobody said a side, both places are looked for, and two
places that agree with everything that was read are refused: neither is known.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import SurveyError
from noseroom.survey.adjustment import Adjustment
from noseroom.survey.mirrors import ROUND_FORMS, SAME_PLACE_MM, missed, other_places
from noseroom.survey.network import CENTRELINE, Network
from noseroom.survey.readings import WAY

Floats = NDArray[np.float64]
Adjust = Callable[..., Adjustment]

_STEP = 1e-30
_MOST_STARTS = 16
_MOST_FAILURES = 3
_OFTEN_ENOUGH = 3
"""Readings that contradict one another end badly from everywhere; that is not worth a minute."""
_HOPELESS = 1e5
"""Chi² of readings that are going to be refused, so that a mirror image of them is no matter."""
_HINT_MM = 150.0
"""How far to the side that was said a part begins: about half its distance from the shaft."""
_CORNERS = tuple(np.array([0.0, y, z]) for y in (-250.0, 250.0) for z in (-200.0, 200.0))
_MOST_TURNS = 3
_AS_GOOD = 4.0
"""Two places this close in chi² (two standard deviations) agree with the readings alike."""
_BROKEN_CHECK = 1e6


def best_adjustment(network: Network, adjusted: Adjust) -> Adjustment:
    """Adjust from the side that the words say, else from all round; refuse mirror images.

    network: begins where the result is. adjusted: adjusts a network from its start.
    Raises SurveyError, with lines, when nothing can be adjusted or two places are equally right.
    """
    found: list[tuple[float, Adjustment]] = []
    failure: SurveyError | None = None
    failures = 0
    for state in itertools.islice(_starts(network, network.start.copy()), _MOST_STARTS):
        network.begin(state)
        try:
            one = adjusted(network)
        except SurveyError as error:
            failure = failure or error
            failures += 1
            if failures == _MOST_FAILURES:
                break
            continue
        found.append((_price(network, one), one))
        lowest = min(price for price, _ in found)
        again = sum(1 for price, _ in found if price < lowest + _AS_GOOD)
        if lowest <= _believable(one) or (again == _OFTEN_ENOUGH and lowest < _BROKEN_CHECK):
            break
    if not found:
        raise failure or SurveyError("the readings could not be adjusted")
    best, rivals = _with_rivals(network, adjusted, min(found, key=lambda item: item[0]))
    network.begin(best.estimate)
    _refuse_mirror_images(network, best, rivals)
    return best


def _with_rivals(
    network: Network, adjusted: Adjust, first: tuple[float, Adjustment]
) -> tuple[Adjustment, list[Adjustment]]:
    """The best nose, and the others that are as good.

    first: a nose with its price. Where another turns out to be better, its images are looked for.
    """
    cost, best = first
    for _ in range(_MOST_TURNS):
        network.begin(best.estimate)
        rivals: list[tuple[float, Adjustment]] = []
        for state in list(other_places(network, best)) if best.cost < _HOPELESS else []:
            network.begin(state)
            try:
                # It matters only where it is as good as the best, or as good as that and more.
                one = adjusted(network, cost + _AS_GOOD)
            except SurveyError:
                continue
            rivals.append((_price(network, one), one))
        lower, better = min(rivals, key=lambda item: item[0], default=(cost, best))
        if lower > cost - _AS_GOOD:
            break
        cost, best = lower, better
    return best, [one for price, one in rivals if price < cost + _AS_GOOD]


def misses(network: Network, adjustment: Adjustment) -> list[float]:
    """By how much (mm or deg) the adjusted nose misses each of the network's checks; 0 if it holds.

    A check fails only beyond its own half-width and two standard deviations of what the readings
    say there; where they say nothing it cannot fail.
    """
    if not network.checks:
        return []
    count = network.count
    states = np.tile(adjustment.estimate.astype(np.complex128), (count + 1, 1))
    states[:count] += 1j * _STEP * np.eye(count)
    values = network.check_values(states, adjustment.estimate)
    gradients = np.imag(values[:count]).T / _STEP
    slack = 2.0 * adjustment.spread(gradients)
    return [
        miss if miss > room + 1e-6 else 0.0
        for miss, room in zip(
            (missed(s, float(np.real(v))) for s, v in zip(network.checks, values[-1], strict=True)),
            slack,
            strict=True,
        )
    ]


def _price(network: Network, adjustment: Adjustment) -> float:
    """chi², and far more for every bound or side word that does not hold."""
    broken = sum(1 for miss in misses(network, adjustment) if miss > 0)
    return adjustment.cost + _BROKEN_CHECK * broken


def _believable(adjustment: Adjustment) -> float:
    """chi² that nobody has to explain: five standard deviations above what is expected."""
    free = max(adjustment.degrees_of_freedom, 1)
    return free + 5.0 * float(np.sqrt(2.0 * free)) + 4.0


def _starts(network: Network, plain: Floats) -> Iterator[Floats]:
    """The usual places (n,) moved to the sides that were said, then all round if read round."""
    hinted = plain
    for sentence in network.checks:
        name = sentence.subject.part
        if sentence.direction is not None and name in network.stations:
            hinted = network.shifted(hinted, name, _HINT_MM * WAY[sentence.direction])
    yield hinted
    round_read = sorted(
        {
            sentence.subject.part
            for sentence in network.sentences
            if sentence.form in ROUND_FORMS
            and sentence.subject.part in network.stations
            and len(network.columns(sentence.subject.part)) > 1
        }
    )
    for name in round_read:
        for corner in _CORNERS:
            yield network.shifted(hinted, name, corner)
    for picked in itertools.product(_CORNERS, repeat=len(round_read)):
        if len(round_read) > 1:
            state = hinted
            for name, corner in zip(round_read, picked, strict=True):
                state = network.shifted(state, name, corner)
            yield state


# -- mirror images ---------------------------------------------------------------------------


def _refuse_mirror_images(network: Network, best: Adjustment, others: list[Adjustment]) -> None:
    """Raise SurveyError where another adjustment puts a part that is known somewhere else.

    Somewhere else is beyond two standard deviations: near a tangent the two places run together,
    and the spread covers both.
    """
    poses = network.poses(best.estimate)
    states = np.tile(best.estimate.astype(np.complex128), (network.count, 1))
    stepped = network.poses(states + 1j * _STEP * np.eye(network.count))
    for other in others:
        for name, pose in network.poses(other.estimate).items():
            away = np.real(pose.shift - poses[name].shift)
            distance = float(np.linalg.norm(away))
            if not name or distance < SAME_PLACE_MM:
                continue
            moves = np.imag(np.broadcast_to(stepped[name].shift, (network.count, 3))) / _STEP
            spread = float(best.spread(moves @ (away / distance)))
            if distance < 2.0 * spread:
                continue  # nor is it where the readings do not fix it: the spread is inf
            raise SurveyError(
                f"{name} can stand in two places that agree with every reading, {distance:.0f} mm "
                f"apart; add on which side it is, such as '{_side(away)} {_nearby(network, name)}'",
                lines=_lines(network, name),
            )


def _side(away: Floats) -> str:
    axis = int(np.argmax(np.abs(away)))
    return ("ahead of (or aft of)", "left of (or right of)", "above (or below)")[axis]


def _nearby(network: Network, name: str) -> str:
    """A part from which it was read round."""
    for sentence in network.sentences:
        if sentence.form in ROUND_FORMS and sentence.object is not None:
            ends = (sentence.subject.part, sentence.object.part)
            if name in ends:
                return ends[1] if ends[0] == name else ends[0]
    return network.stations[name].carrier or CENTRELINE


def _lines(network: Network, name: str) -> tuple[int, ...]:
    """The lines of what was read of a part, or its own."""
    lines = {
        sentence.line
        for sentence in network.sentences
        if sentence.knowledge != "assumed"
        and name in (sentence.subject.part, sentence.object.part if sentence.object else "")
    }
    return tuple(sorted(lines)) or (network.stations[name].line,)
