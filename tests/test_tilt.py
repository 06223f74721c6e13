"""Tilted noses: readings worked out from known poses must give the poses back, and honest spreads.

The truth and its readings come from `true_noses`, which shares no code with the survey; the file's
text goes through the reader, the adjustment and the layout like any builder's.
"""

from __future__ import annotations

import random
import re

import numpy as np
import pytest

from noseroom.envelope.reader import read_text
from noseroom.layout import Layout, arrange
from noseroom.parts.registry import KINDS
from true_noses import EVERYTHING, TrueNose, Vector

BATCHES, EACH = 20, 10
ARM_MM = 300.0
"""A turn is compared by what it does at this arm: a radiator's half size."""


def arranged(nose: TrueNose) -> Layout:
    return arrange(read_text(nose.text(), KINDS))


@pytest.mark.parametrize("batch", range(BATCHES))
def test_exact_readings_give_all_poses_back_to_a_millionth_of_a_millimetre(batch: int) -> None:
    for seed in range(batch * EACH, (batch + 1) * EACH):
        rng = random.Random(seed)
        extras = [one for one in EVERYTHING if rng.random() < 0.6]
        nose = TrueNose(rng, extras=extras)
        layout = arranged(nose)
        assert set(layout.parts) == set(nose.bodies)
        for name, body in nose.bodies.items():
            found = layout.parts[name]
            assert found.known, (seed, name)
            np.testing.assert_allclose(found.pose[:3, 3], body.datum, rtol=0, atol=1e-6)
            np.testing.assert_allclose(found.pose[:3, :3], body.turn, rtol=0, atol=1e-6 / ARM_MM)
        survey = layout.survey
        assert survey.cost < 1e-10
        assert not survey.disagreements
        assert not survey.broken_bounds


def test_the_random_noses_are_read_in_every_way_that_matters() -> None:
    texts = [TrueNose(random.Random(seed)).text() for seed in range(5)]
    for way in (
        "core.front at top .* string.face",  # through a mark
        "core.rear at top .* core support.face",  # a second face of the same core
        "core.front [0-9].* core support.face",  # one face twice
        "hub.face .* core support.face",  # a second chain to the hub
        "edge to .* edge",
        "blade.front at 12 o'clock",
        "at least|at most",
        "tilt: ",
        "as facing the grille",
    ):
        assert any(re.search(way, text) for text in texts), way


# -- with readings that are off --------------------------------------------------------------


def judged(nose: TrueNose, layout: Layout) -> list[tuple[float, float, float, float]]:
    """Truth, estimate, deviation and reach of a few coordinates and gaps, mm."""
    sizes, bodies = nose.sizes, nose.bodies
    core, cold = sizes["radiator"], sizes["condenser"]
    fan, nozzle = sizes["fan"], sizes["compressor"]
    t, h = core["core.thickness"], core["core.height"]
    tip = fan["diameter"] / 2
    radiator_top = bodies["radiator"].at(t, 0, h / 2)
    fan_top = bodies["fan"].at(-fan["ahead"], 0, tip)
    fan_left = bodies["fan"].at(-fan["ahead"], -tip, 0)
    places: dict[tuple[str, str, str], Vector] = {
        ("radiator", "core.rear", "top"): radiator_top,
        ("fan", "blade.front", "12 o'clock"): fan_top,
        ("fan", "blade.front", "3 o'clock"): fan_left,
        ("condenser", "core.rear", "top right"): bodies["condenser"].at(
            cold["core.thickness"], cold["core.width"] / 2, cold["core.height"] / 2
        ),
        ("radiator", "core.front", "top right"): bodies["radiator"].at(
            0, core["core.width"] / 2, h / 2
        ),
        ("radiator", "core.bottom", ""): bodies["radiator"].at(t / 2, 0, -h / 2),
        ("compressor", "nose.rear", ""): bodies["compressor"].at(nozzle["nose.length"]),
        ("alternator", "axis", ""): bodies["alternator"].datum,
        ("water pump", "hub.face", ""): bodies["water pump"].datum,
    }
    found = {
        (part, feature, spot): layout.parts[part].touch_point(feature, spot)
        for part, feature, spot in places
    }
    deviations, reaches = layout.survey.deviations, layout.survey.reaches

    def one(axis: int, a: tuple[str, str, str], b: tuple[str, str, str] | None = None):
        truth, guess, moves = places[a][axis], found[a][0][axis], found[a][2][axis]
        if b is not None:
            truth, guess = truth - places[b][axis], guess - found[b][0][axis]
            moves = moves - found[b][2][axis]
        return truth, guess, float(np.linalg.norm(moves * deviations)), abs(moves) @ reaches

    keys = list(places)
    return [
        one(0, keys[1], keys[0]),  # fan to radiator, at the top
        one(0, keys[2]),
        one(0, keys[4], keys[3]),  # radiator to condenser, at a corner
        one(2, keys[5]),
        one(1, keys[6], keys[7]),  # compressor to alternator, across
        one(1, keys[6]),
        one(2, keys[6]),
        one(0, keys[8]),
        one(0, keys[6], keys[1]),  # compressor's nose to fan
    ]


def test_the_truth_lies_within_two_deviations_as_often_as_it_should() -> None:
    inside: list[bool] = []
    for seed in range(48):
        nose = TrueNose(random.Random(1000 + seed), half_mm=0.3, half_deg=0.05, noisy=True)
        layout = arranged(nose)
        for truth, guess, deviation, reach in judged(nose, layout):
            assert reach < 0.05 * deviation  # readings alone say it
            inside.append(abs(truth - guess) <= 2.0 * deviation)
    # Sums of several rectangular errors are nearly normal (95.4 %); of one or two, a little
    # more often inside.
    assert 0.94 <= float(np.mean(inside)) <= 0.99


def test_with_assumptions_the_guaranteed_bounds_hold() -> None:
    """Two deviations of the readings plus the whole reach of every assumption."""
    held: list[bool] = []
    rested: list[float] = []
    for seed in range(30):
        nose = TrueNose(
            random.Random(2000 + seed),
            half_mm=1.5,
            half_deg=0.5,
            noisy=True,
            unread=frozenset({"turns", "centring"}),
        )
        layout = arranged(nose)
        for truth, guess, deviation, reach in judged(nose, layout):
            held += [
                guess - 2.0 * deviation - reach <= truth,
                truth <= guess + 2.0 * deviation + reach,
            ]
            rested.append(reach / deviation)
    assert float(np.mean(held)) >= 0.985
    assert float(np.median(rested)) > 0.2  # assumptions do carry part of it
