"""Gauss-Newton with damping on top of a singular value decomposition; private to `adjustment`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from noseroom.errors import SurveyError

FloatArray: TypeAlias = NDArray[np.float64]
BoolArray: TypeAlias = NDArray[np.bool_]
ComplexArray: TypeAlias = NDArray[np.complex128]

Model: TypeAlias = Callable[[ComplexArray], ComplexArray]
"""States (k, n) to predicted observations (k, m), all k at once.

It must be complex-step safe: analytic in every unknown, so no `abs`, `norm`, `min`, `.real` or
comparison on the way.
"""

RANK_TOLERANCE = 1e-9
"""Singular values below this part of the largest count as zero.

Rounding leaves null directions near 1e-15; the weakest direction an assumption still holds in a
survey of this kind lies near 1e-4. Anything in between is far from both.
"""
# The imaginary step never mixes with the real part, so it can lie far below rounding.
_COMPLEX_STEP = 1e-30
# A step this short, in standard deviations of the estimate, ends the iteration.
CONVERGED = 1e-10
# Where chi² is flat, a direction that still promises more than this is not held at first order.
_HELD = 1e-3
# Relative changes of chi² below this say nothing.
_COSTS_TIE = 1e-12
# A step must remove this part of the chi² that it promises to remove.
_AGREEMENT = 0.35
# Added to the curvature, these halve a step that overshoots until it no longer does.
_DAMPINGS = np.concatenate([[0.0], 2.0 ** np.arange(-1, 31)])
# Steps longer than this part of the one before call for second derivatives …
_SLOW = 0.1
# … and if even these leave steps as long as this, it is a crawl.
_CRAWL = 0.5
# So many times what the linear model promises a step may at most remove.
_AT_MOST = 4.0
# In how many of the weakest directions second derivatives are worth their price.
_BENDING = 12


class HopelessError(SurveyError):
    """An adjustment that was given up because it cannot be the best."""


@dataclass(frozen=True, eq=False)
class Observations:
    """What was observed.

    value: (m,), in whatever unit the model predicts.
    deviation: (m,), standard deviations in the same units, all above zero.
    labels: m names for messages, or none.

    Raises SurveyError when the shapes differ or a number is not usable.
    """

    value: FloatArray
    deviation: FloatArray
    labels: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "value", np.array(self.value, dtype=np.float64))
        object.__setattr__(self, "deviation", np.array(self.deviation, dtype=np.float64))
        object.__setattr__(self, "labels", tuple(self.labels))
        if self.value.ndim != 1 or self.deviation.shape != self.value.shape:
            raise SurveyError(
                f"every observation needs one value and one deviation: found arrays of shape "
                f"{self.value.shape} and {self.deviation.shape}"
            )
        if self.labels and len(self.labels) != self.value.size:
            raise SurveyError(f"{self.value.size} observations but {len(self.labels)} labels")
        for bad, what in (
            (~np.isfinite(self.value), "has no finite value"),
            (~(np.isfinite(self.deviation) & (self.deviation > 0)), "needs a deviation above 0"),
        ):
            if bad.any():
                raise SurveyError(f"{self.label(int(np.argmax(bad)))} {what}")

    def label(self, index: int) -> str:
        """A name for a message: the label in quotes, or the number counted from 1."""
        return f"'{self.labels[index]}'" if self.labels else f"observation {index + 1}"

    def without(self, index: int) -> Observations:
        """All observations but one."""
        labels = self.labels[:index] + self.labels[index + 1 :]
        return Observations(np.delete(self.value, index), np.delete(self.deviation, index), labels)


@dataclass(frozen=True, eq=False)
class Factors:
    """The weighted, column-scaled Jacobian A = left · diag(singular) · rightᵀ, cut at its rank p.

    left (m, p), singular (p,), right (n, p), null (n, n - p).
    """

    left: FloatArray
    singular: FloatArray
    right: FloatArray
    null: FloatArray

    @classmethod
    def of(cls, matrix: FloatArray) -> Factors:
        rows, columns = matrix.shape
        # The rows of rightᵀ past the rank span the null space, so a wide matrix needs them all.
        left, singular, right = np.linalg.svd(matrix, full_matrices=rows < columns)
        largest = singular[0] if singular.size else 0.0
        rank = int(np.count_nonzero(singular > RANK_TOLERANCE * largest))
        return cls(left[:, :rank], singular[:rank], right[:rank].T, right[rank:].T)

    def outside(self, gradient: FloatArray) -> FloatArray:
        """The part, 0 to 1, of scaled gradients (..., n) that lies outside the row space."""
        length = np.linalg.norm(gradient, axis=-1)
        stray = np.linalg.norm(gradient @ self.null, axis=-1)
        part: FloatArray = np.divide(stray, length, out=np.zeros_like(length), where=length > 0)
        return part

    def spread(self, gradient: FloatArray, tolerance: float) -> FloatArray:
        """Standard deviations (...) for scaled gradients (..., n); inf outside the row space."""
        deviation = np.linalg.norm((gradient @ self.right) / self.singular, axis=-1)
        found: FloatArray = np.where(self.outside(gradient) <= tolerance, deviation, np.inf)
        return found

    def keep(self, which: BoolArray) -> Factors:
        """The same with only some of the singular values; the other directions become null."""
        null = np.concatenate([self.null, self.right[:, ~which]], axis=1)
        return Factors(self.left[:, which], self.singular[which], self.right[:, which], null)


@dataclass(frozen=True, eq=False)
class Point:
    """A state and the model linearised there. `projected` (p,) is leftᵀ · weighted residuals."""

    state: FloatArray
    predicted: FloatArray
    jacobian: FloatArray
    factors: Factors
    projected: FloatArray
    cost: float


class Problem:
    """One call of `adjust`: the model with its guards, and the steps of the iteration."""

    def __init__(
        self,
        model: Model,
        observations: Observations,
        start: ArrayLike,
        scale: ArrayLike | None,
    ) -> None:
        self.model = model
        self.observations = observations
        self.start = np.array(start, dtype=np.float64)
        if self.start.ndim != 1 or not np.isfinite(self.start).all():
            raise SurveyError("the starting values must be one list of finite numbers")
        whole = np.ones_like(self.start)
        self.scale = whole if scale is None else np.array(scale, dtype=np.float64)
        if self.scale.shape != self.start.shape:
            raise SurveyError(f"{self.start.size} unknowns but a scale of shape {self.scale.shape}")
        if not (np.isfinite(self.scale) & (self.scale > 0)).all():
            raise SurveyError("the scale of every unknown must be a number above zero")

    def solve(
        self, max_iterations: int, ceiling: float = np.inf, settled: float = CONVERGED
    ) -> tuple[Point, int]:
        """The minimum from `start` and the number of steps it took.

        settled: a step this short, in standard deviations of the estimate, ends the iteration.
        ceiling: a chi² above which nobody wants to know it; raises HopelessError once it is near
        and surely stays above. The factors of the point leave out directions that only second
        derivatives hold.
        """
        point = self.linearise(self.start)
        length = np.inf
        for iteration in range(max_iterations + 1):
            before, length = length, float(np.linalg.norm(point.projected))
            # A crawl is cut short where chi² can no longer tell one step from the next.
            if length <= settled + self.rounding(point) or (
                length > _CRAWL * before and length**2 <= self.hidden(point)
            ):
                return point, iteration
            if iteration == max_iterations:
                break
            # Within a standard deviation of a minimum the linear model promises what is to come.
            if length < 1.0 and point.cost - _AT_MOST * length**2 > ceiling:
                raise HopelessError("this is no better than what is known already")
            there = None if length > _SLOW * before else self.advance(point)
            if there is None:
                state = self.descend(point)
                if state is None:
                    # At a minimum of the linear model no direction has anything left to gain.
                    held = np.abs(point.projected) <= _HELD * (1.0 + np.sqrt(point.cost))
                    return replace(point, factors=point.factors.keep(held)), iteration
                there = self.linearise(state)
            point = there
        raise SurveyError(
            f"the readings did not settle within {max_iterations} steps (the next would be "
            f"{length:.2g} standard deviations); the one furthest off is {self.worst(point)}"
        )

    def predict(self, states: ComplexArray) -> ComplexArray:
        """Run the model on (k, n) states; the result may hold nan, but has the shape (k, m)."""
        # A trial step may leave the model's domain; that is answered by a shorter step, not a
        # warning.
        with np.errstate(all="ignore"):
            predicted = np.asarray(self.model(states))
        expected = (states.shape[0], self.observations.value.size)
        if predicted.shape != expected:
            raise SurveyError(
                f"the model must predict {expected} values; it gave {predicted.shape}"
            )
        if predicted.dtype != np.complex128:
            raise SurveyError("the model dropped the imaginary part: it is not complex-step safe")
        return predicted

    def linearise(self, state: FloatArray) -> Point:
        """Predict, differentiate (one batch of n + 1 states) and factorise at a state."""
        count = state.size
        states = np.tile(state.astype(np.complex128), (count + 1, 1))
        states[np.arange(count), np.arange(count)] += 1j * _COMPLEX_STEP * self.scale
        result = self.predict(states)
        predicted = _real(result[count])
        scaled = np.ascontiguousarray(result[:count].imag.T) / _COMPLEX_STEP
        matrix = scaled / self.observations.deviation[:, None]
        self._demand_finite(np.isfinite(predicted), "value")
        self._demand_finite(np.isfinite(matrix.sum(axis=1)), "derivative")
        factors = Factors.of(matrix)
        weighted = (self.observations.value - predicted) / self.observations.deviation
        return Point(
            state,
            predicted,
            scaled / self.scale,
            factors,
            factors.left.T @ weighted,
            float(weighted @ weighted),
        )

    def hidden(self, point: Point) -> float:
        """Changes of chi² below this drown in rounding."""
        noise = 4.0 * np.sqrt(point.cost) * self.rounding(point)
        return float(_COSTS_TIE * (1.0 + point.cost) + noise)

    def advance(self, point: Point) -> Point | None:
        """The point after the whole step, or None where that does not keep what it promised.

        It nearly always does, so that it is linearised there at once.
        """
        try:
            there = self.linearise(self._after(point, point.projected))
        except SurveyError:
            return None  # out of the model's domain
        promised = np.array([point.projected @ point.projected])
        kept = self._kept(point, np.array([there.cost]), promised)
        return there if kept[0] else None

    def descend(self, point: Point) -> FloatArray | None:
        """The state after a shorter step, or None where chi² is flat."""
        steps, promised = self._shorter_steps(point)
        if promised[0] <= self.hidden(point):
            return None
        states, good = self._try(point, steps, promised)
        if good.any():
            return np.asarray(states[int(np.argmax(good))])
        raise SurveyError(
            "the readings cannot be brought closer together from here, and yet this is no "
            f"minimum; the one furthest off is {self.worst(point)}"
        )

    def _shorter_steps(self, point: Point) -> tuple[FloatArray, FloatArray]:
        """Newton steps (k, p), ever shorter, and the chi² that each promises to remove (k,).

        A negative curvature is used by its size, so that every step goes downhill.
        """
        # In standard deviations the first derivatives make a unit matrix, however unlike the
        # unknowns are; what is left to see is how strongly the readings bend.
        singular = point.factors.singular
        bend = self._bend(point) / np.outer(singular, singular)
        curvature, axes = np.linalg.eigh(np.eye(singular.size) + bend)
        slope = axes.T @ point.projected
        along = slope / (np.maximum(np.abs(curvature), 1e-3) + _DAMPINGS[:, None])
        return along @ axes.T, 2.0 * along @ slope - along**2 @ curvature

    def _bend(self, point: Point) -> FloatArray:
        """What the second derivatives of the readings add to half the Hessian of chi², (p, p).

        In the weakest directions only: elsewhere the first derivatives outweigh them by far.
        Taken as central differences of complex-step derivatives.
        """
        singular = point.factors.singular
        weak = np.arange(singular.size)[-_BENDING:]
        directions = point.factors.right[:, weak].T * self.scale
        # A thousandth of a standard deviation, but not of one that is out of all proportion.
        nudge = 1e-3 * np.minimum(1.0 / singular[weak], 100.0 / singular[0])
        sideways = np.concatenate([nudge[:, None] * directions, -nudge[:, None] * directions])
        states = point.state + sideways[:, None, :] + 1j * _COMPLEX_STEP * directions
        pull = (self.observations.value - point.predicted) / self.observations.deviation**2
        slopes = self.predict(states.reshape(-1, point.state.size)).imag @ pull / _COMPLEX_STEP
        plus, minus = slopes.reshape(2, weak.size, weak.size)
        block = (minus - plus) / (2.0 * nudge[:, None])
        bend = np.zeros((singular.size, singular.size))
        if np.isfinite(block).all():
            bend[np.ix_(weak, weak)] = 0.5 * (block + block.T)
        return bend

    def _try(
        self, point: Point, steps: FloatArray, promised: FloatArray
    ) -> tuple[FloatArray, BoolArray]:
        """States (k, n) after steps (k, p) in standard deviations, and whether each is good (k,).

        Good is a step that removes at least _AGREEMENT of the chi² that it promised to remove, or
        one so small that rounding hides what it removes.
        """
        states = self._after(point, steps)
        predicted = _real(self.predict(states.astype(np.complex128)))
        weighted = (self.observations.value - predicted) / self.observations.deviation
        return states, self._kept(point, (weighted**2).sum(axis=1), promised)

    def _after(self, point: Point, steps: FloatArray) -> FloatArray:
        """States (..., n) after steps (..., p) in standard deviations."""
        moves = (steps / point.factors.singular) @ point.factors.right.T
        after: FloatArray = point.state + moves * self.scale
        return after

    def _kept(self, point: Point, costs: FloatArray, promised: FloatArray) -> BoolArray:
        """Which steps keep their promise, by the chi² that they reach."""
        removed = point.cost - costs
        # nan compares false, so a step out of the model's domain is never good.
        good = (removed >= _AGREEMENT * promised) | (promised <= self.hidden(point))
        kept: BoolArray = good & np.isfinite(removed)
        return kept

    def rounding(self, point: Point) -> float:
        """How far rounding of the predictions alone can move `projected`."""
        size = np.linalg.norm(
            (np.abs(self.observations.value) + np.abs(point.predicted))
            / self.observations.deviation
        )
        return float(16.0 * np.finfo(np.float64).eps * size)

    def worst(self, point: Point) -> str:
        """The name of the observation with the largest weighted residual."""
        off = np.abs(self.observations.value - point.predicted) / self.observations.deviation
        return self.observations.label(int(np.argmax(off)))

    def _demand_finite(self, finite: BoolArray, what: str) -> None:
        if not finite.all():
            name = self.observations.label(int(np.argmin(finite)))
            raise SurveyError(f"no finite {what} comes out for {name}")


def _real(predicted: ComplexArray) -> FloatArray:
    """Predictions at a real state; nan where a root or an arc left its domain.

    Complex arithmetic goes on without complaint past sqrt(-1); only the imaginary part tells.
    """
    off = np.abs(predicted.imag) > 1e-12 * (1.0 + np.abs(predicted.real))
    return np.where(off, np.nan, predicted.real)
