"""An assumption never makes a "fits": whatever an assumed thing truly is, the rule is still kept.

The gaps of true noses (see `assumed_noses`) are held against what the checks promised from the file
alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from assumed_noses import (
    as_far_as_readings_let,
    as_readings_allow,
    changes,
    true_nose,
    with_perfect_readings,
)
from noseroom.checks.pairs import Pairs, component_pairs
from noseroom.checks.rules import Rules
from noseroom.envelope.reader import read
from noseroom.geometry.separation import GAP_ERROR_MM
from noseroom.layout import Layout, PlacedPart, arrange
from noseroom.parts.registry import KINDS
from noseroom.tables.clearances import clearance_rules

Gap = tuple[str, str, str, str]

DEMOS = Path(__file__).parents[1] / "vehicle_envelopes"
NOSES = ("farm_pickup", "small_estate", "half_measured_coupe")
NEAR_MM = 80.0


@cache
def nose_of(name: str) -> Layout:
    return arrange(read(DEMOS / f"{name}.yaml", KINDS, rule_keys=clearance_rules()))


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
    assert len(kept) > 5
    rng = np.random.default_rng(2)
    for change in changes(nose, rng, 6):
        truth, against = true_nose(nose, as_readings_allow(nose, change))
        assert against < 4.2
        measured = Pairs(truth)
        for gap, rule in kept.items():
            assert true_gap(truth, measured, gap) >= rule - GAP_ERROR_MM, gap


@pytest.mark.parametrize("name", NOSES)
def test_with_perfect_readings_no_gap_is_smaller_than_what_was_sure(name: str) -> None:
    """Readings without any deviation leave the assumptions alone to carry the sure gap."""
    nose = nose_of(name)
    alone = with_perfect_readings(nose)
    pairs = Pairs(alone)
    sure: dict[Gap, float] = {}
    for a, mine, b, theirs, _ in gaps_to_keep(alone):
        found = pairs.sure_gap(a, mine, b, theirs, enough_mm=np.inf, look_mm=NEAR_MM)
        if found.nominal_mm < NEAR_MM and found.lower_mm > 0:
            sure[a.name, mine, b.name, theirs] = found.lower_mm
    assert len(sure) > 5
    rng = np.random.default_rng(3)
    for change in changes(nose, rng, 6):
        truth, _ = true_nose(nose, as_far_as_readings_let(nose, change))
        measured = Pairs(truth)
        for gap, lower in sure.items():
            assert true_gap(truth, measured, gap) >= lower - GAP_ERROR_MM, gap
