"""Slips of the tape: found when they matter, never blamed on a good reading."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from noseroom.errors import SurveyError
from noseroom.survey.adjustment import Observations, adjust, adjust_linear
from noseroom.survey.blunders import (
    DISAGREEMENT,
    SEPARATION,
    disagreement,
    nameable,
    separation,
    suspects,
)

INCH_MM = 25.4


def _distance_net(seed, *, free=4, pinned=3, spare=3):
    """A random 3-D distance net with `spare` closures: model, truth, exact readings, dice."""
    dice = np.random.default_rng(seed)
    while True:
        places = dice.uniform(-400.0, 400.0, (pinned + free, 3))
        gaps = np.linalg.norm(places[:, None] - places[None], axis=2)
        pairs = np.array(np.triu_indices(pinned + free, 1)).T
        pairs = pairs[pairs[:, 1] >= pinned]
        chosen = pairs[dice.permutation(len(pairs))[: 3 * free + spare]]
        fixed, truth = places[:pinned], places[pinned:].ravel()

        def model(states, fixed=fixed, chosen=chosen):
            held = np.broadcast_to(fixed, (len(states), *fixed.shape))
            every = np.concatenate([held, states.reshape(len(states), -1, 3)], axis=1)
            gap = every[:, chosen[:, 0]] - every[:, chosen[:, 1]]
            return np.sqrt((gap**2).sum(axis=2))

        exact = model(truth[None].astype(complex))[0].real
        net = adjust(model, Observations(exact, np.ones(exact.size)), truth)
        # Nets that are nearly without shape are no test of a slip: everything is badly known.
        if gaps[pairs[:, 0], pairs[:, 1]].min() > 80 and net.rank == 12 and net.condition < 50:
            return model, truth, exact, dice


@pytest.mark.parametrize("noise", ["normal", "rectangular"])
def test_the_guilty_reading_is_always_a_suspect_where_a_slip_is_detected(noise):
    """40 random nets, one reading off by an inch, the others good to 1.5 mm."""
    detected = missed = alone = 0
    for seed in range(40):
        model, truth, exact, dice = _distance_net(seed)
        deviation = np.full(exact.size, 1.5)
        value = exact + (
            dice.normal(0, 1.5, exact.size)
            if noise == "normal"
            else dice.uniform(-1.5 * 3**0.5, 1.5 * 3**0.5, exact.size)
        )
        guilty = int(dice.integers(exact.size))
        sign = dice.choice([-1.0, 1.0])
        value[guilty] += sign * INCH_MM
        seen = Observations(value, deviation)
        adjusted = adjust(model, seen, truth)
        if not disagreement(adjusted):
            continue
        detected += 1
        listed = {suspect.index: suspect for suspect in suspects(model, seen, truth, adjusted)}
        missed += guilty not in listed
        alone += list(listed) == [guilty]
        if guilty in listed:
            slip = listed[guilty]
            assert abs(slip.slip - sign * INCH_MM) < 5 * slip.slip_deviation
    assert detected >= 20
    assert missed == 0
    assert alone >= 5


@pytest.mark.parametrize("noise", ["normal", "rectangular"])
def test_clean_nets_rarely_raise_an_alarm(noise):
    """With 3 closures in 15 readings, at most 6 nets in 300 speak up at 3.29."""
    alarms = 0
    for seed in range(300):
        model, truth, exact, dice = _distance_net(1000 + seed)
        error = (
            dice.normal(0, 1.5, exact.size)
            if noise == "normal"
            else dice.uniform(-1.5 * 3**0.5, 1.5 * 3**0.5, exact.size)
        )
        seen = Observations(exact + error, np.full(exact.size, 1.5))
        alarms += bool(disagreement(adjust(model, seen, truth)))
    assert alarms <= 6


def test_thresholds_are_the_two_sided_one_in_a_thousand():
    assert stats.norm.isf(0.0005) == pytest.approx(DISAGREEMENT, abs=0.005)
    assert stats.chi2.isf(0.001, 1) == pytest.approx(SEPARATION, abs=0.005)


class TestLinearNets:
    """Where everything has a formula: one length read by several tapes."""

    def test_the_slip_is_how_far_the_reading_lies_off_the_others(self):
        seen = Observations([100.0, 101.0, 126.4, 99.0], np.ones(4), ("a", "b", "c", "d"))
        design = np.ones((4, 1))
        adjusted = adjust_linear(design, seen)
        assert disagreement(adjusted)[0] == 2
        (found,) = suspects(lambda x: x @ design.T, seen, [0.0], adjusted)
        assert (found.index, found.label) == (2, "c")
        assert found.slip == pytest.approx(26.4, rel=1e-9)
        assert found.slip_deviation == pytest.approx((1 + 1 / 3) ** 0.5, rel=1e-9)
        # For a linear model leaving out removes exactly w² of chi².
        w = adjusted.normalised_residuals()
        assert found.drop == pytest.approx(w[2] ** 2, rel=1e-9)

    def test_a_single_closure_names_nobody(self):
        """Two lengths and their sum: all three readings are equally good culprits."""
        design = np.array([[1.0, 0.0], [0.0, 1.0], [1.0, 1.0]])
        seen = Observations([100.0, 200.0, 325.4], np.ones(3))
        adjusted = adjust_linear(design, seen)
        listed = suspects(lambda x: x @ design.T, seen, [0.0, 0.0], adjusted)
        assert sorted(suspect.index for suspect in listed) == [0, 1, 2]
        assert not nameable(adjusted, 1000.0).any()
        assert separation(adjusted, 1000.0) == pytest.approx(np.zeros(3), abs=1e-4)

    def test_a_reading_that_nothing_checks_is_no_suspect_and_cannot_be_named(self):
        design = np.array([[1.0, 0.0], [1.0, 0.0], [1.0, 0.0], [1.0, 1.0]])
        seen = Observations([100.0, 100.0, 125.4, 300.0], np.ones(4))
        adjusted = adjust_linear(design, seen)
        listed = suspects(lambda x: x @ design.T, seen, [0.0, 0.0], adjusted)
        assert [suspect.index for suspect in listed] == [2]
        assert not nameable(adjusted, 1e6)[3]

    def test_without_redundancy_there_are_no_suspects(self):
        seen = Observations([100.0, 200.0], np.ones(2))
        adjusted = adjust_linear(np.eye(2), seen)
        assert disagreement(adjusted) == ()
        assert suspects(lambda x: x @ np.eye(2), seen, [0.0, 0.0], adjusted) == ()

    def test_separation_follows_its_formula(self):
        """K equal readings of one length: r = 1 - 1/k, and every ρ is -1/(k-1)."""
        k = 5
        adjusted = adjust_linear(np.ones((k, 1)), Observations(np.zeros(k), np.full(k, 2.0)))
        expected = (7.0 / 2.0) ** 2 * (1 - 1 / k) * (1 - 1 / (k - 1) ** 2)
        assert separation(adjusted, 7.0) == pytest.approx(np.full(k, expected), rel=1e-9)
        just = 7.0 * (SEPARATION / expected) ** 0.5
        assert not nameable(adjusted, 0.999 * just).any()
        assert nameable(adjusted, 1.001 * just).all()
        each = separation(adjusted, np.arange(k))
        assert each == pytest.approx(expected * (np.arange(k) / 7.0) ** 2)

    def test_a_clean_net_has_no_disagreement(self):
        adjusted = adjust_linear(np.ones((3, 1)), Observations([1.0, 1.1, 0.9], np.ones(3)))
        assert disagreement(adjusted) == ()

    def test_disagreement_is_worst_first(self):
        seen = Observations([0, 0, 0, 0, 0, 0, 12, -20], np.ones(8))
        assert disagreement(adjust_linear(np.ones((8, 1)), seen))[:2] == (7, 6)

    def test_an_assumption_is_a_suspect_like_any_other(self):
        """A weak assumption that is far off comes out alone, with its own deviation."""
        seen = Observations([100.0, 100.5, 99.5, 140.0], [1, 1, 1, 5], ("a", "b", "c", "assumed"))
        design = np.ones((4, 1))
        adjusted = adjust_linear(design, seen)
        (found,) = suspects(lambda x: x @ design.T, seen, [0.0], adjusted)
        assert found.label == "assumed"
        assert found.slip == pytest.approx(40.0, rel=1e-9)

    def test_an_adjustment_of_other_readings_is_refused(self):
        adjusted = adjust_linear(np.ones((3, 1)), Observations([1, 2, 3], np.ones(3)))
        with pytest.raises(SurveyError, match="4 observations"):
            suspects(lambda x: x, Observations([1, 2, 3, 4], np.ones(4)), [0.0], adjusted)


@pytest.mark.parametrize("spare", [2, 4])
def test_nameable_predicts_how_often_a_slip_is_named_alone(spare):
    """Predicted and found share of lone suspects agree within 15 points over 100 slips."""
    predicted, found = [], []
    for seed in range(25):
        model, truth, exact, dice = _distance_net(2000 + seed, spare=spare)
        for guilty in dice.permutation(exact.size)[:4]:
            value = exact + dice.normal(0, 1.5, exact.size)
            value[guilty] += INCH_MM
            seen = Observations(value, np.full(exact.size, 1.5))
            adjusted = adjust(model, seen, truth)
            listed = suspects(model, seen, truth, adjusted)
            predicted.append(nameable(adjusted, INCH_MM)[guilty])
            found.append([suspect.index for suspect in listed] == [guilty])
    assert np.mean(predicted) == pytest.approx(np.mean(found), abs=0.15)
    assert 0.02 < np.mean(found) < 0.98
