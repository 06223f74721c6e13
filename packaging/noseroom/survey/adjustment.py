"""Least-squares adjustment of redundant readings. It knows nothing of cars.

Unknowns x (n,), observations (m,) with standard deviations, and a model that predicts every
observation from x. The estimate minimises

    chi² = Σ ((observed - predicted(x)) / deviation)²

by Gauss-Newton steps, shortened where they overshoot. Everything else (covariance, redundancy,
what is not known at all) is read off one singular value decomposition of the weighted Jacobian.
The normal equations are never formed: that would square the condition number, and the difference
between "badly known" and "not known" would drown in rounding.

Standard deviations are a priori (sigma-zero is 1). At the redundancy of a tape-measure survey, a
sigma-zero estimated from the residuals says nothing worth multiplying by.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from noseroom.errors import SurveyError
from noseroom.survey._solver import (
    CONVERGED,
    BoolArray,
    ComplexArray,
    Factors,
    FloatArray,
    Model,
    Observations,
    Problem,
)

__all__ = [
    "CONVERGED",
    "Adjustment",
    "BoolArray",
    "ComplexArray",
    "FloatArray",
    "Model",
    "Observations",
    "adjust",
    "adjust_linear",
    "deviation_without_assumptions",
]

REDUNDANCY_FLOOR = 1e-9
"""Below this redundancy nothing checks an observation: its residual is rounding, not evidence."""


@dataclass(frozen=True, eq=False)
class Adjustment:
    """The outcome: the best estimate, and how far each part of it can be trusted.

    observed, predicted, deviation: (m,). residuals: (m,), observed - predicted.
    estimate: (n,). scale: (n,), the size of each unknown that makes them comparable.
    jacobian: (m, n), d predicted / d unknown at the estimate.
    covariance: (n, n) with sigma-zero 1, on the row space only: a direction that nothing fixes
        contributes nothing, so ask `known` (or `spread`, which answers inf) before believing it.
    null_space: (n, q), orthonormal in unknowns divided by `scale`; what nothing fixes.
    gain: (n, m), d estimate / d observed.
    redundancy: (m,), 0 (nothing checks this observation) to 1 (the others say it all).
    cofactor: (m, m), covariance of the residuals divided by both their deviations.
    cost: chi². iterations: steps taken. condition: largest over smallest kept singular value.
    """

    observed: FloatArray
    deviation: FloatArray
    labels: tuple[str, ...]
    estimate: FloatArray
    predicted: FloatArray
    residuals: FloatArray
    jacobian: FloatArray
    scale: FloatArray
    covariance: FloatArray
    null_space: FloatArray
    gain: FloatArray
    redundancy: FloatArray
    cofactor: FloatArray
    cost: float
    iterations: int
    condition: float
    _factors: Factors = field(repr=False)

    @property
    def rank(self) -> int:
        """How many independent directions the observations fix."""
        return self._factors.singular.size

    @property
    def degrees_of_freedom(self) -> int:
        """Observations beyond those that the unknowns use up; the sum of the redundancies."""
        return self.observed.size - self.rank

    def spread(self, gradient: ArrayLike, tolerance: float = 1e-6) -> FloatArray:
        """Standard deviations (...) of quantities with gradients (..., n); inf where not known."""
        return self._factors.spread(self._scaled(gradient), tolerance)

    def sensitivity(self, gradient: ArrayLike) -> FloatArray:
        """Derivatives d quantity / d observed, (..., m), for quantities with gradients (..., n).

        Where a quantity is not `known` this covers only the part of it that is fixed.
        """
        return np.asarray(gradient, dtype=np.float64) @ self.gain

    def known(self, gradient: ArrayLike, tolerance: float = 1e-6) -> BoolArray:
        """Whether the observations fix quantities with gradients (..., n); shape (...).

        A quantity is known when no more than `tolerance` of its gradient (in scaled unknowns)
        lies outside the row space of the Jacobian. A quantity that is known badly is still known.
        """
        return np.asarray(self._factors.outside(self._scaled(gradient)) <= tolerance)

    def normalised_residuals(self) -> FloatArray:
        """Residuals over their own standard deviations, (m,); nan where nothing checks a reading.

        Baarda's w = residual / (deviation · √redundancy), standard normal if all is sound. The
        bare residual is no measure: the adjustment hides most of a slip in a reading of low
        redundancy.
        """
        checked = self.redundancy > REDUNDANCY_FLOOR
        own = self.deviation * np.sqrt(np.where(checked, self.redundancy, np.nan))
        return self.residuals / own

    def residual_correlation(self) -> FloatArray:
        """Correlations (m, m) between the normalised residuals; nan where nothing checks one."""
        checked = self.redundancy > REDUNDANCY_FLOOR
        root = np.sqrt(np.where(checked, self.redundancy, np.nan))
        return np.asarray(np.clip(self.cofactor / np.outer(root, root), -1.0, 1.0))

    def _scaled(self, gradient: ArrayLike) -> FloatArray:
        return np.asarray(gradient, dtype=np.float64) * self.scale


def adjust(
    model: Model,
    observations: Observations,
    start: ArrayLike,
    *,
    scale: ArrayLike | None = None,
    max_iterations: int = 50,
    ceiling: float = np.inf,
    settled: float = CONVERGED,
) -> Adjustment:
    """Adjust by Gauss-Newton with damping, from `start` (n,).

    scale: (n,), typical sizes of the unknowns, all above zero. It decides what counts as a small
        singular value and which minimum-norm step is taken where the observations fix nothing;
        what is known comes out the same for any scale.

    Every step is the shortest one (in scaled unknowns) that does the job, so a direction that no
    observation fixes stays where it started. Where a step fails to remove what the linear model
    promises, or gains little on the one before, the readings' second derivatives in the weakest
    directions are added and the step is damped until it keeps its promise. Iteration ends when
    the step, measured in standard deviations of the estimate, is below 1e-10 (the same number is
    the gradient of chi² over the singular values, so one test covers both).

    It also ends where chi² is flat although the linear model still promises something: readings
    that cannot quite be met push a point into the very plane where they stop to see it move. Such
    a direction is held at second order only. It is left out of the covariance and counts as not
    known, because a first-order deviation would be meaningless there.

    ceiling: a chi² above which the answer is of no use: HopelessError is raised for it early.
    settled: another end of the iteration than 1e-10.

    Raises SurveyError with a text for a person when it does not converge or when the model gives
    something that is not a finite number; the text names the observation.
    """
    problem = Problem(model, observations, start, scale)
    point, iterations = problem.solve(max_iterations, ceiling, settled)
    factors, deviation, singular = point.factors, observations.deviation, point.factors.singular
    half = (problem.scale[:, None] * factors.right) / singular
    cofactor = np.eye(deviation.size) - factors.left @ factors.left.T
    return Adjustment(
        observed=observations.value,
        deviation=deviation,
        labels=observations.labels,
        estimate=point.state,
        predicted=point.predicted,
        residuals=observations.value - point.predicted,
        jacobian=point.jacobian,
        scale=problem.scale,
        covariance=half @ half.T,
        null_space=factors.null,
        gain=half @ (factors.left / deviation[:, None]).T,
        redundancy=np.clip(np.diagonal(cofactor), 0.0, 1.0),
        cofactor=cofactor,
        cost=point.cost,
        iterations=iterations,
        condition=float(singular[0] / singular[-1]) if singular.size else 1.0,
        _factors=factors,
    )


def adjust_linear(design: ArrayLike, observations: Observations) -> Adjustment:
    """Adjust observations that are linear in the unknowns: predicted = design (m, n) · x.

    Where nothing fixes a direction the shortest x is returned. Raises SurveyError as `adjust`.
    """
    matrix = np.asarray(design, dtype=np.float64)
    if matrix.ndim != 2:
        raise SurveyError(f"the design must be a matrix; found an array of shape {matrix.shape}")
    return adjust(lambda states: states @ matrix.T, observations, np.zeros(matrix.shape[1]))


def deviation_without_assumptions(
    adjustment: Adjustment, is_assumption: ArrayLike, tolerance: float = 1e-6
) -> FloatArray:
    """How well the readings alone fix what each assumption says, (m,).

    is_assumption: (m,) bool. For an assumption, the standard deviation with which the other,
    non-assumed observations predict it, and inf where they do not fix it; nan for the readings
    themselves. An assumption can be dropped once this is small against its range.
    """
    assumed = np.asarray(is_assumption, dtype=np.bool_)
    if assumed.shape != adjustment.observed.shape:
        raise SurveyError(
            f"{adjustment.observed.size} observations but a mask of shape {assumed.shape}"
        )
    rows = adjustment.jacobian * adjustment.scale
    readings = Factors.of(rows[~assumed] / adjustment.deviation[~assumed, None])
    answer = np.full(assumed.shape, np.nan)
    answer[assumed] = readings.spread(rows[assumed], tolerance)
    return answer
