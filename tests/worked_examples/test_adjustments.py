"""Published adjustments, recomputed by noseroom's engine. Each names where its numbers stand."""

from __future__ import annotations

import numpy as np
import pytest

from noseroom.survey.adjustment import Observations, adjust, adjust_linear
from noseroom.survey.blunders import disagreement


def _level_net(lines, fixed, unknown):
    """Design and reduced observations of height differences (from, to, rise)."""
    design = np.zeros((len(lines), len(unknown)))
    reduced = np.zeros(len(lines))
    for row, (start, end, rise) in enumerate(lines):
        reduced[row] = rise
        for point, sign in ((start, -1.0), (end, 1.0)):
            if point in fixed:
                reduced[row] -= sign * fixed[point]
            else:
                design[row, unknown.index(point)] = sign
    return design, reduced


class TestLevelLoopWithOneFixedHeight:
    """Source: GNU Gama's published one-dimensional output."""

    LINES = (
        ("1a", "4", -1.22500),
        ("4", "3", -0.84800),
        ("3", "2", 1.34200),
        ("2", "1a", 0.72000),
        ("1a", "2", -0.72400),
        ("2", "3", -1.33500),
        ("3", "4", 0.84200),
        ("4", "1a", 1.23100),
    )

    @pytest.fixture
    def adjusted(self):
        design, reduced = _level_net(self.LINES, {"1a": 1000.0}, ("4", "3", "2"))
        # m0 a priori is 5.00 mm, and equal redundancies mean equal weights.
        return adjust_linear(design, Observations(reduced, np.full(8, 0.005)))

    def test_heights_are_as_printed(self, adjusted):
        assert adjusted.estimate == pytest.approx([998.77513, 997.93325, 999.27487], abs=5.1e-6)

    def test_standard_deviations_are_as_printed(self, adjusted):
        spread_mm = 1e3 * adjusted.spread(np.eye(3))
        assert spread_mm == pytest.approx([3.1, 3.5, 3.1], abs=0.05)
        assert 1e3 * np.sqrt(np.diag(adjusted.covariance)) == pytest.approx(spread_mm, rel=1e-12)

    def test_sum_of_squares_and_sigma_zero_are_as_printed(self, adjusted):
        assert 25.0 * adjusted.cost == pytest.approx(146.625, abs=5e-4)
        assert adjusted.degrees_of_freedom == 5
        assert 5.0 * np.sqrt(adjusted.cost / 5) == pytest.approx(5.42, abs=0.005)

    def test_largest_normalised_residual_is_reading_6(self, adjusted):
        w = np.abs(adjusted.normalised_residuals())
        # Readings 3 and 6 level the same leg; 6 is the printed one.
        assert int(np.argmax(w)) == 5
        assert w[5] == pytest.approx(1.68, abs=0.005)
        assert disagreement(adjusted, threshold=1.96) == ()

    def test_every_redundancy_is_as_printed(self, adjusted):
        assert adjusted.redundancy == pytest.approx(np.full(8, 0.625), abs=1e-12)


def test_strang_and_borre_level_net():
    """Source: Strang & Borre's net, as worked by surveyors in public: 0.006 m per √km."""
    fixed = {"A": 10.021, "B": 10.321, "C": 11.002}
    lines = (
        ("A", "E", 0.732),
        ("A", "F", 1.978),
        ("B", "E", 0.420),
        ("C", "F", 0.988),
        ("E", "F", 1.258),
    )
    length_km = np.array([0.970, 1.002, 1.070, 1.110, 0.890])
    deviation = 0.006 * np.sqrt(length_km)
    assert deviation == pytest.approx([0.0059, 0.0060, 0.0062, 0.0063, 0.0057], abs=5e-5)
    design, reduced = _level_net(lines, fixed, ("E", "F"))
    adjusted = adjust_linear(design, Observations(reduced, deviation))
    assert adjusted.cost == pytest.approx(4.636, abs=5e-4)
    assert adjusted.degrees_of_freedom == 3
    assert np.sqrt(adjusted.cost / 3) == pytest.approx(1.243, abs=5e-4)


def test_ghilani_and_wolf_unweighted_level_net():
    """Source: Ghilani & Wolf, Adjustment Computations. Observations and results from memory."""
    fixed = {"X": 100.00, "Y": 107.50}
    lines = (
        ("X", "A", 5.10),
        ("A", "Y", 2.34),
        ("Y", "C", -1.25),
        ("C", "X", -6.13),
        ("A", "B", -0.68),
        ("Y", "B", -3.00),
        ("B", "C", 1.70),
    )
    design, reduced = _level_net(lines, fixed, ("A", "B", "C"))
    adjusted = adjust_linear(design, Observations(reduced, np.ones(7)))
    assert adjusted.estimate == pytest.approx([105.141, 104.483, 106.188], abs=5e-4)
    assert np.sqrt(adjusted.cost / adjusted.degrees_of_freedom) == pytest.approx(0.05, abs=0.005)


class TestMisra1a:
    """Source: NIST StRD, Misra1a (volume, pressure), from both of its starts."""

    DATA = (
        (10.07, 77.6),
        (14.73, 114.9),
        (17.94, 141.1),
        (23.93, 190.8),
        (29.61, 239.9),
        (35.18, 289.0),
        (40.02, 332.8),
        (44.82, 378.4),
        (50.76, 434.8),
        (55.05, 477.3),
        (61.01, 536.8),
        (66.40, 593.1),
        (75.47, 689.1),
        (81.78, 760.0),
    )

    @pytest.mark.parametrize("start", [(500.0, 1e-4), (250.0, 5e-4)])
    @pytest.mark.parametrize("scale", [None, (100.0, 1e-4)])
    def test_certified_values_are_met_to_the_last_printed_digit(self, start, scale):
        volume, pressure = np.array(self.DATA).T

        def model(states):
            return states[:, :1] * (1.0 - np.exp(-states[:, 1:] * pressure))

        adjusted = adjust(model, Observations(volume, np.ones(14)), start, scale=scale)
        b1, b2 = adjusted.estimate
        assert b1 == pytest.approx(238.94212918, abs=6e-9)
        assert b2 == pytest.approx(5.5015643e-4, abs=6e-12)
        assert adjusted.cost == pytest.approx(0.12455138894, abs=6e-12)
        # The certified deviations are scaled by the residual one; noseroom's are a priori.
        deviation = adjusted.spread(np.eye(2)) * np.sqrt(adjusted.cost / 12)
        assert deviation[0] == pytest.approx(2.7070075, abs=6e-8)
        assert deviation[1] == pytest.approx(7.2668688e-6, abs=6e-14)
