"""Noses in which assumed things stand where the builder's file does not say they do.

Readings are as adjusted, assumed things at any value in their range, poses from a fresh adjustment,
parts built anew from the true sizes, belts and hoses run anew. Nothing of the checks is used.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from noseroom import layout as layouts
from noseroom.geometry.separation import Uncertainty
from noseroom.layout import Layout, PlacedPart
from noseroom.parts.registry import PARTS
from noseroom.survey.adjustment import Observations, adjust
from noseroom.survey.poses import Pose

Floats = NDArray[np.float64]

EXACT = 1e-4
"""mm or degrees: how finely a true nose has what is only assumed."""


def with_perfect_readings(nose: Layout) -> Layout:
    """The same nose with readings that have no deviation: assumptions alone are uncertain."""
    other = dataclasses.replace(nose)
    reaches = nose.survey.reaches
    other.__dict__["uncertainty"] = Uncertainty(np.zeros_like(reaches), reaches)
    return other


def true_nose(nose: Layout, change: Floats) -> tuple[Layout, float]:
    """The nose in which every assumed thing is off from what was adjusted by change (s,).

    Its readings say exactly what was adjusted too, or give way by as little as they can. The second
    value is chi² of the readings: what they say against this nose.
    """
    survey = nose.survey
    tied = len(survey.adjustment.observed)
    assumed = survey.reaches[:tied] > 0
    target = survey.adjustment.predicted + np.where(assumed, change[:tied], 0.0)
    deviations = np.where(assumed, EXACT, survey.adjustment.deviation)
    found = adjust(
        survey.network.predict, Observations(target, deviations), survey.adjustment.estimate
    )
    against = (found.residuals / found.deviation)[~assumed]
    poses = survey.network.poses(found.estimate)
    sizes = {
        (name, key): value
        for name in survey.placements
        for key, value in survey.network.sizes(name, found.estimate).items()
    }
    for index, source in enumerate(survey.sources):
        if index >= tied:
            sizes[source.station, source.key] = source.value + change[index]
    fitted = {name: part.entry for name, part in nose.parts.items()}
    placed: dict[str, PlacedPart] = {}
    for name, part in nose.parts.items():
        if part.kind not in ("belt", "hose"):
            placed[name] = _truly_placed(part, poses[name], sizes)
    for name, part in nose.parts.items():
        if part.kind in ("belt", "hose"):
            run = layouts.place_derived(part.entry, placed, fitted)  # the file's own route
            assert run is not None
            placed[name] = dataclasses.replace(run, slack_mm=0.0)
    ordered = {name: placed[name] for name in nose.parts}
    return dataclasses.replace(nose, parts=ordered), float(against @ against)


def _truly_placed(part: PlacedPart, pose: Pose, sizes: dict[tuple[str, str], float]) -> PlacedPart:
    values = {key: size.value for key, size in part.entry.sizes.items()}
    values |= {key: float(np.real(sizes[part.name, key])) for key in part.placements[0].sizes}
    whole = Pose(np.real(pose.turn), np.real(pose.shift))
    return dataclasses.replace(
        part,
        part=PARTS[part.kind].from_file(values, part.entry.choices),
        placements=(dataclasses.replace(part.placements[0], pose=whole),),
    )


def changes(nose: Layout, rng: np.random.Generator, count: int) -> Iterator[Floats]:
    """What assumptions may be off by: one at an end, all at ends, all anywhere, in turn."""
    reaches = nose.survey.reaches
    felt = np.flatnonzero(reaches)
    for index in range(count):
        if index % 3 == 0:
            one = np.zeros_like(reaches)
            picked = rng.choice(felt)
            one[picked] = rng.choice([-1.0, 1.0]) * reaches[picked]
            yield one
        elif index % 3 == 1:
            yield rng.choice([-1.0, 1.0], len(reaches)) * reaches
        else:
            yield rng.uniform(-1.0, 1.0, len(reaches)) * reaches


def as_readings_allow(nose: Layout, change: Floats) -> Floats:
    """Changes (s,), made smaller until readings deny them by no more than two deviations.

    Beyond that it is no nose of this file. By first order, with three per cent to spare.
    """
    adjustment = nose.survey.adjustment
    tied = len(adjustment.observed)
    assumed = nose.survey.reaches[:tied] > 0
    deviations = np.where(assumed, EXACT, adjustment.deviation)
    rows = adjustment.jacobian / deviations[:, None]
    state, *_ = np.linalg.lstsq(
        rows, np.where(assumed, change[:tied], 0.0) / deviations, rcond=1e-12
    )
    against = float(np.linalg.norm((rows @ state)[~assumed]))
    smaller = change.copy()
    smaller[:tied] *= min(1.0, 2.0 * 0.97 / max(against, 1e-9))
    return smaller


def as_far_as_readings_let(nose: Layout, change: Floats) -> Floats:
    """How far assumed things really are from the adjusted nose when they are off by change (s,).

    Readings that check an assumption pull it back by its share in what they say together.
    """
    adjustment = nose.survey.adjustment
    tied = len(adjustment.observed)
    pulled = change.copy()
    pulled[:tied] = adjustment.jacobian @ (adjustment.gain @ change[:tied])
    return pulled
