"""What a solved state means: coolant against boiling, head pressure against the cut-out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.cooling_batch import Solved
from noseroom.checks.cooling_loads import Loads
from noseroom.checks.cooling_records import Span
from noseroom.checks.cooling_states import Asked
from noseroom.physics import air
from noseroom.physics.ranges import Floats

__all__ = ["Outcome", "margin_of", "share_of", "span_of"]

_ENDS = (0.05, 0.5, 0.95)
_PASSED = -1.0
"""The margin of what boils over or runs away: passed by as much as there was."""

Truths = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Outcome:
    """A way of the nose in a state, over n draws. today: the same state without a condenser."""

    asked: Asked
    solved: Solved
    loads: Loads

    @property
    def running(self) -> bool:
        """Whether the A/C is on."""
        return self.solved.answer.head is not None

    @cached_property
    def settled(self) -> Truths:
        """Whether there is an answer of any kind: figures, or that it boils over or runs away."""
        answer = self.solved.answer
        away = answer.head.runs_away if answer.head is not None else False
        return np.asarray(answer.settled | answer.overheats | away)

    def _or_relieved(self, name: str) -> Floats:
        """A figure; where the head pressure ran away, that with the compressor off for a share."""
        found: Floats = getattr(self.solved.answer, name)
        relieved = self.solved.relieved
        if relieved is None:
            return found
        return np.where(np.isnan(found), getattr(relieved, name), found)

    @cached_property
    def air_kg_s(self) -> Floats:
        """Through the radiator, from front to back."""
        return self._or_relieved("radiator_kg_s")

    @cached_property
    def into_k(self) -> Floats:
        """Of the air that comes to the radiator; inf where the coolant boils over.

        Left out they would leave a band of the milder cars alone.
        """
        return np.where(np.isinf(self.coolant_k), np.inf, self._or_relieved("into_radiator_k"))

    @cached_property
    def recirculated(self) -> Floats:
        """Share of the front's air that was in the bay before."""
        return self._or_relieved("recirculated")

    @cached_property
    def coolant_k(self) -> Floats:
        """Top tank; inf where it boils over. The thermostat keeps it from being colder."""
        found = self._or_relieved("coolant_k")
        over = self.solved.answer.overheats
        if self.solved.relieved is not None:
            over = over | (np.isnan(found) & self.solved.relieved.overheats)
        found = np.where(over, np.inf, found)
        return np.where(np.isnan(found), np.nan, np.maximum(found, self.loads.thermostat_k))

    @cached_property
    def head_pa(self) -> Floats:
        """Absolute; inf where it runs away, or the coolant boils over. nan with the A/C off."""
        head = self.solved.answer.head
        if head is None:
            return np.full(len(self.settled), np.nan)
        return np.where(head.runs_away | self.solved.answer.overheats, np.inf, head.pressure)

    @cached_property
    def coolant_margin(self) -> Floats:
        """What is left to boiling, over the way there from the outside."""
        outside = self.asked.outside_c + air.ZERO_CELSIUS
        left = (self.loads.boils_k - self.coolant_k) / (self.loads.boils_k - outside)
        return np.maximum(left, _PASSED)

    @cached_property
    def head_margin(self) -> Floats:
        """What is left to the cut-out, over its pressure; nan with the A/C off."""
        left = (self.loads.cut_out_pa - self.head_pa) / self.loads.cut_out_pa
        return np.maximum(left, _PASSED)

    @cached_property
    def margin(self) -> Floats:
        """The lesser of the two."""
        if not self.running:
            return np.asarray(self.coolant_margin)
        return np.asarray(np.fmin(self.coolant_margin, self.head_margin))


def margin_of(outcomes: Sequence[Outcome]) -> Floats:
    """(n,) the least margin over states; nan where any state has none."""
    return np.asarray(np.min([one.margin for one in outcomes], axis=0))


def span_of(values: Floats, weights: Floats | None = None, less: float = 0.0) -> Span:
    """5, 50 and 95 % points of draws that are a number or inf; less: taken off them."""
    known = ~np.isnan(values)
    if not known.any():
        return Span(float("nan"), float("nan"), float("nan"))
    order = np.argsort(values[known], kind="stable")
    ordered = values[known][order]
    w = np.ones(len(ordered)) if weights is None else weights[known][order]
    if w.sum() <= 0:
        w = np.ones(len(ordered))
    at = (np.cumsum(w) - 0.5 * w) / w.sum()
    low, middle, high = (_point(at, ordered, share) for share in _ENDS)
    return Span(low - less, middle - less, high - less)


def _point(at: Floats, ordered: Floats, share: float) -> float:
    """Between two draws a straight line, but never halfway to inf."""
    k = int(np.clip(np.searchsorted(at, share), 1, len(at) - 1)) if len(at) > 1 else 0
    if k == 0:
        return float(ordered[0])
    a, b = ordered[k - 1], ordered[k]
    if not (np.isfinite(a) and np.isfinite(b)):
        return float(b if at[k] <= share or not np.isfinite(a) or share > at[k - 1] else a)
    part = float(np.clip((share - at[k - 1]) / max(at[k] - at[k - 1], 1e-300), 0.0, 1.0))
    return float(a + part * (b - a))


def share_of(true: Truths, known: Truths) -> float:
    """Share of the known draws in which something is so; nan for none known."""
    total = int(np.count_nonzero(known))
    return int(np.count_nonzero(true & np.asarray(known, bool))) / total if total else float("nan")
