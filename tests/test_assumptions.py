"""An assumption never makes a "fits": whatever an assumed thing truly is, the rule is still kept.

True noses are made here: readings as adjusted, assumed things at any value in their range, poses
from a fresh adjustment, parts built anew from the true sizes, belts and hoses run anew. Their gaps
are held against what the checks promised from the file alone.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from noseroom import layout as layouts
from noseroom.checks.pairs import Pairs, component_pairs
from noseroom.checks.rules import Rules
from noseroom.envelope.reader import read
from noseroom.geometry.separation import GAP_ERROR_MM, Uncertainty
from noseroom.layout import Layout, PlacedPart, arrange
from noseroom.parts.registry import KINDS, PARTS
from noseroom.survey.adjustment import Observations, adjust
from noseroom.survey.poses import Pose
from noseroom.tables.clearances import clearance_rules

Floats = NDArray[np.float64]
Gap = tuple[str, str, str, str]

DEMOS = Path(__file__).parents[1] / "vehicle_envelopes"
NOSES = ("farm_pickup", "small_estate", "half_measured_coupe")
EXACT = 1e-4
"""mm or degrees: how finely a true nose has what is only assumed."""
NEAR_MM = 120.0


@cache
def nose_of(name: str) -> Layout:
    return arrange(read(DEMOS / f"{name}.yaml", KINDS, rule_keys=clearance_rules()))


def with_uncertainty(nose: Layout, uncertainty: Uncertainty) -> Layout:
    """The same nose with other beliefs about its readings."""
    other = dataclasses.replace(nose)
    other.__dict__["uncertainty"] = uncertainty
    return other


# -- true noses -----------------------------------------------------------------------------------


def true_nose(nose: Layout, change: Floats, *, exact: bool) -> tuple[Layout, float] | None:
    """The nose in which every source is off from what the file says by change (s,).

    exact: the assumed things are exactly there, and the readings give way by as little as they can;
    otherwise they keep the weight that they have in the file. The second value is chi² of the
    readings: what they say against this nose. None where no such nose is found.
    """
    survey = nose.survey
    tied = len(survey.adjustment.observed)
    assumed = survey.reaches[:tied] > 0
    deviations = survey.adjustment.deviation.copy()
    if exact:
        deviations[assumed] = EXACT
    target = survey.adjustment.predicted + change[:tied]
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
            run = layouts._place_derived(part.entry, placed, fitted)  # the file's own route
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


def gaps_to_keep(nose: Layout) -> Iterator[tuple[PlacedPart, str, PlacedPart, str, float]]:
    """Pairs of components that have a rule, with the rule."""
    rules = Rules(nose.envelope)
    parts = [part for part in nose.parts.values() if part.components]
    for index, a in enumerate(parts):
        for b in parts[index + 1 :]:
            for mine, theirs in component_pairs(nose, a, b):
                yield a, mine, b, theirs, rules.between(a, mine, b, theirs).value_mm


def true_gap(truth: Layout, pairs: Pairs, gap: Gap) -> float:
    a, mine, b, theirs = gap
    return pairs.nominal_gap(truth.parts[a], mine, truth.parts[b], theirs, np.zeros(3))


# -- the properties -------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NOSES)
def test_what_fits_keeps_its_rule_whatever_the_assumed_things_are(name: str) -> None:
    nose = nose_of(name)
    pairs = Pairs(nose)
    kept: dict[Gap, float] = {}
    for a, mine, b, theirs, rule in gaps_to_keep(nose):
        sure = pairs.sure_gap(a, mine, b, theirs, enough_mm=rule)
        if sure.answers(rule) and sure.lower_mm >= rule and sure.nominal_mm < NEAR_MM + rule:
            kept[a.name, mine, b.name, theirs] = rule
    rng = np.random.default_rng(2)
    tried = 0
    for change in changes(nose, rng, 12):
        truth, against = true_nose(nose, change, exact=True)
        while against > 4.0:
            # Values that the readings deny by more than two deviations are no nose of this file.
            change = change * min(0.9, np.sqrt(4.0 / against))
            truth, against = true_nose(nose, change, exact=True)
        measured = Pairs(truth)
        for gap, rule in kept.items():
            assert true_gap(truth, measured, gap) >= rule - GAP_ERROR_MM, gap
            tried += 1
    assert tried > 50


@pytest.mark.parametrize("name", NOSES)
def test_with_perfect_readings_no_gap_is_smaller_than_what_was_sure(name: str) -> None:
    """Readings without any deviation leave the assumptions alone to carry the sure gap."""
    nose = nose_of(name)
    reaches = nose.survey.reaches
    alone = with_uncertainty(nose, Uncertainty(np.zeros_like(reaches), reaches))
    pairs = Pairs(alone)
    sure: dict[Gap, float] = {}
    for a, mine, b, theirs, _ in gaps_to_keep(alone):
        found = pairs.sure_gap(a, mine, b, theirs, enough_mm=np.inf, look_mm=NEAR_MM)
        if found.nominal_mm < NEAR_MM and found.lower_mm > 0:
            sure[a.name, mine, b.name, theirs] = found.lower_mm
    assert len(sure) > 5
    rng = np.random.default_rng(3)
    for change in changes(nose, rng, 12):
        truth, _ = true_nose(nose, change, exact=False)
        measured = Pairs(truth)
        for gap, lower in sure.items():
            assert true_gap(truth, measured, gap) >= lower - GAP_ERROR_MM, gap
