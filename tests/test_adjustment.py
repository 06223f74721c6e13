"""The adjustment engine: against formulas, against itself turned round, and against chance."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from noseroom.errors import SurveyError
from noseroom.survey.adjustment import (
    Observations,
    adjust,
    adjust_linear,
    deviation_without_assumptions,
)


class PlaneNet:
    """Distances (mm) between points in a plane; `pinned` points do not move.

    Unknowns are the coordinates of the others. No car in it, and nothing linear either.
    """

    def __init__(self, seed: int, *, points: int = 5, pinned: int = 3, distances: int = 24) -> None:
        self.random = np.random.default_rng(seed)
        # A jittered ring keeps neighbours apart: random points would give some nets no shape.
        turn = np.arange(points + pinned) / (points + pinned)
        angle = 2 * np.pi * (turn + self.random.uniform(-0.03, 0.03, points + pinned))
        radius = self.random.uniform(250.0, 500.0, points + pinned)
        places = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)
        places = places[self.random.permutation(points + pinned)]
        self.fixed = places[:pinned]
        self.truth = places[pinned:].ravel()
        pairs = np.array(np.triu_indices(points + pinned, 1)).T
        pairs = pairs[pairs[:, 1] >= pinned]
        self.pairs = pairs[self.random.permutation(len(pairs))[:distances]]

    def __call__(self, states):
        free = states.reshape(len(states), -1, 2)
        fixed = np.broadcast_to(self.fixed, (len(states), *self.fixed.shape))
        places = np.concatenate([fixed, free], axis=1)
        gap = places[:, self.pairs[:, 0]] - places[:, self.pairs[:, 1]]
        return np.sqrt((gap**2).sum(axis=2))

    def exact(self):
        return self(self.truth[None, :].astype(complex))[0].real

    def start(self):
        return self.truth + self.random.normal(0.0, 10.0, self.truth.size)


def _linear(matrix):
    matrix = np.asarray(matrix, dtype=float)
    return lambda states: states @ matrix.T


class TestAgainstFormulas:
    def test_weighted_mean(self):
        """Two readings of one length: weights 1/σ², variance 1/Σ(1/σ²)."""
        adjusted = adjust_linear([[1.0], [1.0]], Observations([10.0, 13.0], [1.0, 2.0]))
        assert adjusted.estimate == pytest.approx([10.6], rel=1e-12)
        assert adjusted.covariance == pytest.approx(np.array([[0.8]]), rel=1e-12)
        assert adjusted.redundancy == pytest.approx([0.2, 0.8], rel=1e-12)
        assert adjusted.cost == pytest.approx(9.0 / 5.0, rel=1e-12)

    def test_two_lengths_and_their_sum(self):
        """One closure of 3 shared equally; the covariance is inv([[2, 1], [1, 2]])."""
        design = [[1.0, 0.0], [0.0, 1.0], [1.0, 1.0]]
        adjusted = adjust_linear(design, Observations([10.0, 20.0, 33.0], [1.0, 1.0, 1.0]))
        assert adjusted.estimate == pytest.approx([11.0, 21.0], rel=1e-12)
        assert adjusted.residuals == pytest.approx([-1.0, -1.0, 1.0], rel=1e-12)
        assert adjusted.covariance == pytest.approx(np.array([[2, -1], [-1, 2]]) / 3, rel=1e-12)
        assert adjusted.redundancy == pytest.approx(np.full(3, 1 / 3), rel=1e-12)
        # A single closure gives every reading the same |w|: closure / (σ√3).
        assert np.abs(adjusted.normalised_residuals()) == pytest.approx(np.full(3, 3**0.5))
        assert adjusted.spread([1.0, 1.0]) == pytest.approx((2 / 3) ** 0.5, rel=1e-12)
        assert adjusted.sensitivity([1.0, 1.0]) == pytest.approx([1 / 3, 1 / 3, 2 / 3], rel=1e-12)

    def test_range_and_bearing_to_coordinates(self):
        """Error ellipse of a polar reading: σ_r along the ray, r·σ_θ across it."""
        distance, bearing, along, across = 500.0, 0.6, 2.0, 0.01

        def model(states):
            x, y = states[:, 0], states[:, 1]
            return np.stack([np.sqrt(x**2 + y**2), np.arctan(y / x)], axis=1)

        seen = Observations([distance, bearing], [along, across])
        adjusted = adjust(model, seen, [300.0, 100.0])
        ray = np.array([np.cos(bearing), np.sin(bearing)])
        side = np.array([-ray[1], ray[0]])
        assert adjusted.estimate == pytest.approx(distance * ray, rel=1e-9)
        assert adjusted.spread([ray, side]) == pytest.approx([along, distance * across], rel=1e-9)
        assert adjusted.cost == pytest.approx(0.0, abs=1e-12)
        assert np.isnan(adjusted.normalised_residuals()).all()

    @pytest.mark.parametrize("seed", range(5))
    def test_agrees_with_the_normal_equations(self, seed):
        net = PlaneNet(seed)
        seen = Observations(net.exact() + net.random.normal(0, 2, 24), np.full(24, 2.0))
        adjusted = adjust(net, seen, net.start())
        weighted = adjusted.jacobian / 2.0
        covariance = np.linalg.inv(weighted.T @ weighted)
        assert adjusted.covariance == pytest.approx(covariance, rel=1e-8, abs=1e-8)
        assert adjusted.redundancy.sum() == pytest.approx(24 - 10, rel=1e-12)
        assert adjusted.degrees_of_freedom == 14
        # At a minimum the gradient of chi² vanishes.
        assert weighted.T @ (adjusted.residuals / 2.0) == pytest.approx(np.zeros(10), abs=1e-7)

    def test_gain_is_what_a_changed_reading_does(self):
        """The gain predicts a refit with one reading moved by 0.01 mm."""
        net = PlaneNet(7)
        value = net.exact()
        deviation = np.full(24, 2.0)
        before = adjust(net, Observations(value, deviation), net.start())
        for reading in (0, 11, 23):
            moved = value.copy()
            moved[reading] += 0.01
            after = adjust(net, Observations(moved, deviation), net.start())
            change = (after.estimate - before.estimate) / 0.01
            assert change == pytest.approx(before.gain[:, reading], abs=1e-3)


class TestJacobian:
    @pytest.mark.parametrize("seed", range(3))
    def test_complex_step_agrees_with_central_differences(self, seed):
        net = PlaneNet(seed)
        adjusted = adjust(net, Observations(net.exact(), np.ones(24)), net.start())
        for column in range(10):
            nudge = np.zeros(10)
            nudge[column] = 1e-3
            both = np.stack([adjusted.estimate + nudge, adjusted.estimate - nudge])
            plus, minus = net(both.astype(complex)).real
            assert adjusted.jacobian[:, column] == pytest.approx((plus - minus) / 2e-3, abs=1e-8)

    def test_a_model_that_drops_the_imaginary_part_is_refused(self):
        with pytest.raises(SurveyError, match="complex-step"):
            adjust(lambda states: states.real * 2, Observations([1.0], [1.0]), [0.0])

    def test_a_model_of_the_wrong_shape_is_refused(self):
        with pytest.raises(SurveyError, match=r"must predict \(2, 1\)"):
            adjust(lambda states: states[0], Observations([1.0], [1.0]), [0.0])


class TestInvariance:
    @pytest.fixture
    def case(self):
        net = PlaneNet(11)
        deviation = net.random.uniform(0.5, 4.0, 24)
        return net, Observations(net.exact() + net.random.normal(0, deviation), deviation)

    def test_column_scaling_changes_nothing_that_is_known(self, case):
        net, seen = case
        plain = adjust(net, seen, net.start())
        scale = 10.0 ** net.random.uniform(-3, 3, 10)
        scaled = adjust(net, seen, net.start(), scale=scale)
        assert scaled.estimate == pytest.approx(plain.estimate, abs=1e-6)
        assert scaled.covariance == pytest.approx(plain.covariance, rel=1e-6, abs=1e-8)
        assert scaled.jacobian == pytest.approx(plain.jacobian, abs=1e-8)
        assert scaled.redundancy == pytest.approx(plain.redundancy, abs=1e-8)
        assert scaled.gain == pytest.approx(plain.gain, abs=1e-7)

    def test_a_change_of_unit_is_a_change_of_scale(self, case):
        """Coordinates in metres with scale 1e-3 take the very steps of millimetres with 1."""
        net, seen = case
        start = net.start()
        mm = adjust(net, seen, start)
        metres = adjust(lambda x: net(x * 1e3), seen, start / 1e3, scale=np.full(10, 1e-3))
        assert metres.iterations == mm.iterations
        assert metres.condition == pytest.approx(mm.condition, rel=1e-8)
        assert metres.estimate * 1e3 == pytest.approx(mm.estimate, abs=1e-7)

    def test_order_of_the_observations_does_not_matter(self, case):
        net, seen = case
        plain = adjust(net, seen, net.truth)
        order = net.random.permutation(24)
        net.pairs = net.pairs[order]
        shuffled = Observations(seen.value[order], seen.deviation[order])
        turned = adjust(net, shuffled, net.truth)
        assert turned.estimate == pytest.approx(plain.estimate, abs=1e-7)
        assert turned.covariance == pytest.approx(plain.covariance, abs=1e-8)
        assert turned.redundancy == pytest.approx(plain.redundancy[order], abs=1e-10)
        assert turned.normalised_residuals() == pytest.approx(
            plain.normalised_residuals()[order], abs=1e-8
        )

    def test_the_start_does_not_matter_within_one_shape(self, case):
        net, seen = case
        found = [adjust(net, seen, net.start()).estimate for _ in range(5)]
        assert np.ptp(found, axis=0) == pytest.approx(np.zeros(10), abs=1e-6)


class TestNotKnown:
    def test_a_free_level_net_keeps_its_mean_and_knows_only_differences(self):
        design = [[-1.0, 1.0, 0.0], [0.0, -1.0, 1.0], [-1.0, 0.0, 1.0]]
        seen = Observations([1.0, 2.0, 3.3], np.ones(3))
        adjusted = adjust(_linear(design), seen, [50.0, 70.0, 90.0])
        assert adjusted.estimate.mean() == pytest.approx(70.0, rel=1e-12)
        assert adjusted.rank == 2
        assert np.abs(adjusted.null_space[:, 0]) == pytest.approx(np.full(3, 3**-0.5), rel=1e-9)
        assert adjusted.known([[-1, 1, 0], [1, 0, 0], [1, 1, 1], [0, 0, 0]]).tolist() == [
            True,
            False,
            False,
            True,
        ]
        assert adjusted.spread([-1, 1, 0]) == pytest.approx((2 / 3) ** 0.5, rel=1e-12)
        assert adjusted.spread([1, 0, 0]) == np.inf

    @pytest.mark.parametrize("seed", range(4))
    def test_a_free_plane_net_does_not_drift_or_turn_away(self, seed):
        """Without pins 2 shifts and 1 turn are free; shape is found, the centroid stays."""
        net = PlaneNet(seed, points=6, pinned=0, distances=15)
        start = net.start()
        adjusted = adjust(net, Observations(net.exact() + 0.3, np.ones(15)), start)
        assert adjusted.null_space.shape == (12, 3)
        assert adjusted.null_space.T @ adjusted.null_space == pytest.approx(np.eye(3), abs=1e-12)
        centroid = adjusted.estimate.reshape(-1, 2).mean(axis=0)
        assert centroid == pytest.approx(start.reshape(-1, 2).mean(axis=0), abs=1e-9)
        assert np.abs(adjusted.estimate - start).max() < 60.0
        assert not adjusted.known(np.eye(12)).any()
        assert adjusted.known(adjusted.jacobian).all()
        # What nothing fixes changes no prediction.
        assert adjusted.jacobian @ adjusted.null_space == pytest.approx(0, abs=1e-9)

    def test_an_unknown_that_nothing_mentions_stays_put(self):
        adjusted = adjust(_linear([[1.0, 0.0]]), Observations([4.0], [2.0]), [1.0, -37.25])
        assert adjusted.estimate.tolist() == [4.0, -37.25]
        assert adjusted.known(np.eye(2)).tolist() == [True, False]
        assert adjusted.covariance.tolist() == [[4.0, 0.0], [0.0, 0.0]]

    def test_no_observations_at_all_is_an_answer(self):
        adjusted = adjust(_linear(np.zeros((0, 2))), Observations([], []), [1.0, 2.0])
        assert adjusted.estimate.tolist() == [1.0, 2.0]
        assert adjusted.rank == 0
        assert not adjusted.known(np.eye(2)).any()

    def test_no_unknowns_still_gives_residuals(self):
        adjusted = adjust_linear(np.zeros((2, 0)), Observations([1.0, 6.0], [1.0, 2.0]))
        assert adjusted.normalised_residuals() == pytest.approx([1.0, 3.0])
        assert adjusted.redundancy.tolist() == [1.0, 1.0]

    def test_what_only_second_derivatives_hold_is_not_known(self):
        """Two distances too short to meet: the point lands on the line between the pins.

        There a move across the line changes neither distance at first order, so that no
        deviation can honestly be given for it. Along the line the two readings check each other.
        """

        def model(states):
            x, y = states[:, 0], states[:, 1]
            return np.stack([np.sqrt(x**2 + y**2), np.sqrt((x - 400) ** 2 + y**2)], axis=1)

        adjusted = adjust(model, Observations([150.0, 240.0], [1.0, 1.0]), [200.0, 50.0])
        assert adjusted.estimate == pytest.approx([155.0, 0.0], abs=1e-3)
        assert adjusted.known(np.eye(2)).tolist() == [True, False]
        assert adjusted.spread([0, 1]) == np.inf
        assert adjusted.spread([1, 0]) == pytest.approx(0.5**0.5, rel=1e-6)
        assert adjusted.redundancy == pytest.approx([0.5, 0.5], abs=1e-6)
        assert adjusted.cost == pytest.approx(50.0, rel=1e-6)

    def test_badly_known_is_not_unknown(self):
        """An assumption 30 000 times weaker than a reading still fixes its direction."""
        adjusted = adjust_linear(np.eye(2), Observations([1.0, 2.0], [0.1, 3000.0]))
        assert adjusted.known(np.eye(2)).all()
        assert adjusted.spread(np.eye(2)) == pytest.approx([0.1, 3000.0], rel=1e-9)


class TestAssumptions:
    def test_readings_alone_decide(self):
        """X is read; y only through x + y; z is assumed twice and read never."""
        design = [[1, 0, 0], [1, 1, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1], [0, 0, 1]]
        deviation = np.array([0.5, 1.2, 10.0, 10.0, 5.0, 5.0])
        adjusted = adjust_linear(design, Observations(np.zeros(6), deviation))
        assumed = [False, False, True, True, True, True]
        alone = deviation_without_assumptions(adjusted, assumed)
        assert np.isnan(alone[:2]).all()
        assert alone[2:4] == pytest.approx([0.5, 1.3], rel=1e-12)
        assert np.isinf(alone[4:]).all()

    def test_only_assumptions_fix_nothing(self):
        adjusted = adjust_linear(np.eye(2), Observations([0, 0], [1, 1]))
        assert np.isinf(deviation_without_assumptions(adjusted, [True, True])).all()

    def test_a_mask_of_another_length_is_refused(self):
        adjusted = adjust_linear(np.eye(2), Observations([0, 0], [1, 1]))
        with pytest.raises(SurveyError, match="2 observations"):
            deviation_without_assumptions(adjusted, [True])


@pytest.mark.parametrize("noise", ["normal", "rectangular"])
def test_two_deviations_cover_the_truth_as_often_as_they_should(noise):
    """400 random networks with their truth known: k = 2 covers 94.5 to 98.5 %.

    Normal errors ask for 95.45 %; sums of few rectangular ones for a little more.
    """
    inside = []
    costs = []
    for seed in range(400):
        net = PlaneNet(seed, distances=14)
        deviation = net.random.uniform(0.5, 3.0, 14)
        half_width = deviation * 3**0.5
        error = (
            net.random.normal(0, deviation)
            if noise == "normal"
            else net.random.uniform(-half_width, half_width)
        )
        adjusted = adjust(net, Observations(net.exact() + error, deviation), net.truth)
        direction = net.random.normal(size=(6, 10))
        known = adjusted.known(direction)
        off = np.abs(direction @ (adjusted.estimate - net.truth))
        inside.append((off <= 2 * adjusted.spread(direction))[known])
        costs.append(stats.chi2.sf(adjusted.cost, adjusted.degrees_of_freedom))
    covered = np.concatenate(inside)
    assert covered.size > 2000
    assert 0.945 <= covered.mean() <= 0.985
    if noise == "normal":
        # The cost of sound readings is distributed as chi² with the redundancy's freedom.
        assert stats.kstest(costs, "uniform").pvalue > 0.01


class TestErrors:
    @pytest.mark.parametrize(
        ("value", "deviation", "labels", "text"),
        [
            ([1.0, 2.0], [1.0], (), "one value and one deviation"),
            ([[1.0]], [[1.0]], (), "one value and one deviation"),
            ([1.0, np.nan], [1.0, 1.0], ("a", "b"), "'b' has no finite value"),
            ([1.0, 2.0], [0.0, 1.0], (), "observation 1 needs a deviation above 0"),
            ([1.0, 2.0], [1.0, np.inf], ("a", "b"), "'b' needs a deviation"),
            ([1.0, 2.0], [1.0, 1.0], ("a",), "2 observations but 1 labels"),
        ],
    )
    def test_unusable_observations_are_refused(self, value, deviation, labels, text):
        with pytest.raises(SurveyError, match=text):
            Observations(value, deviation, labels)

    def test_a_value_that_is_not_finite_names_its_observation(self):
        def model(states):
            return np.concatenate([states, 1.0 / states], axis=1)

        seen = Observations([1.0, 2.0], [1.0, 1.0], ("pulley gap", "bracket height"))
        with pytest.raises(SurveyError, match="'bracket height'"):
            adjust(model, seen, [0.0])

    def test_a_root_of_a_negative_number_names_its_observation(self):
        """Complex arithmetic would go on past it without a word."""
        seen = Observations([1.0], [1.0], ("belt run",))
        with pytest.raises(SurveyError, match="'belt run'"):
            adjust(np.sqrt, seen, [-4.0])

    def test_a_step_out_of_the_domain_is_shortened(self):
        """The first full step from 100 for ln x = 0 lands at x = -360."""
        adjusted = adjust(np.log, Observations([0.0], [1.0]), [100.0])
        assert adjusted.estimate == pytest.approx([1.0], rel=1e-9)

    def test_too_few_iterations_say_what_is_furthest_off(self):
        net = PlaneNet(0)
        value = net.exact()
        value[5] += 80.0
        labels = tuple(f"distance {number}" for number in range(24))
        seen = Observations(value, np.ones(24), labels)
        with pytest.raises(SurveyError, match=r"within 1 steps .* 'distance 5'"):
            adjust(net, seen, net.start(), max_iterations=1)

    def test_a_model_with_a_wrong_derivative_is_reported(self):
        with pytest.raises(SurveyError, match=r"no minimum; .* observation 1"):
            adjust(np.conj, Observations([5.0], [1.0]), [0.0])

    @pytest.mark.parametrize("start", [[np.nan], [[0.0]]])
    def test_an_unusable_start_is_refused(self, start):
        with pytest.raises(SurveyError, match="starting values"):
            adjust(_linear([[1.0]]), Observations([5.0], [1.0]), start)

    @pytest.mark.parametrize("scale", [[0.0], [-1.0], [np.nan], [1.0, 1.0]])
    def test_an_unusable_scale_is_refused(self, scale):
        with pytest.raises(SurveyError, match="scale"):
            adjust(_linear([[1.0]]), Observations([5.0], [1.0]), [0.0], scale=scale)

    def test_a_design_that_is_no_matrix_is_refused(self):
        with pytest.raises(SurveyError, match="matrix"):
            adjust_linear([1.0, 2.0], Observations([5.0, 1.0], [1.0, 1.0]))
