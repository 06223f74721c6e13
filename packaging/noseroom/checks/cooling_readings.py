"""What a builder can read on the car today, and how much it narrows the bands.

Each draw is a car that could be this one. A reading makes those more likely that would have shown
it: their weight is the likelihood of the reading with its own ±.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from noseroom.checks.cooling_outcomes import Outcome, span_of
from noseroom.checks.cooling_records import ReadingView
from noseroom.envelope.cooling_records import Figure
from noseroom.physics import air
from noseroom.physics.ranges import Floats

__all__ = ["HOW", "Predicted", "agreement", "predicted", "reading_views", "weights_of"]

HOW: Mapping[str, str] = {
    "grille air": (
        "Engine hot and idling in gear with the brake on and a helper at the wheel, hood shut, "
        "wind still. Hold a vane anemometer on a long handle right before the grille, ahead of it "
        "and never through it, and sweep it slowly over the whole face for a minute. Keep hands, "
        "hair, sleeves and leads clear of the fan: an electric one may start by itself."
    ),
    "coolant": (
        "Let the engine idle until the gauge stands still, hood shut, in the open air: exhaust "
        "gas kills in a garage. Read the gauge, or point an infrared thermometer at a spot of dull "
        "tape on the top tank from an arm's length. Never open a hot cap: the coolant is under "
        "pressure and scalds."
    ),
}
UNITS = {"grille air": "m/s", "coolant": "°C"}
_SWEEP_OFF = 0.1
_COOLANT_OFF_K = 2.0
"""The ± that is taken for a reading that has not been taken, common practice."""
_SPEAKS = 12.0
"""Fewer draws than this that still speak are no band."""
_TRIED = 24


@dataclass(frozen=True, eq=False)
class Predicted:
    """What each draw would show. values: (n,) in the reading's unit, nan or inf for none."""

    key: str
    values: Floats
    off: Floats

    def likelihood(self, value: float, half: float) -> Floats:
        """(n,) of a reading: normal, with the deviation of one that is even over its ±."""
        with np.errstate(all="ignore"):
            z = (value - self.values) / (half / np.sqrt(3.0))
            found = np.exp(-0.5 * z**2)
        return np.where(np.isfinite(z), found, 0.0)


def predicted(outcome: Outcome, grille_m2: float, sweep: Floats, tank: Floats) -> list[Predicted]:
    """What the draws of a car would show. sweep, tank: how readings are off from the truth."""
    answer = outcome.solved.answer
    outside = outcome.asked.outside_c + air.ZERO_CELSIUS
    density = air.density(outside, outcome.asked.pressure_pa)
    speed = answer.flows["grille"] / density / grille_m2 * sweep
    coolant = outcome.coolant_k - air.ZERO_CELSIUS + tank
    return [
        Predicted("grille air", speed, np.maximum(_SWEEP_OFF * np.abs(speed), 0.05)),
        Predicted("coolant", coolant, np.full(len(coolant), _COOLANT_OFF_K)),
    ]


def half_of(key: str, figure: Figure) -> float:
    """The ± of a reading, its own or the usual one."""
    if figure.half_width is not None:
        return figure.half_width
    return _SWEEP_OFF * figure.value if key == "grille air" else _COOLANT_OFF_K


def weights_of(
    each: Sequence[Predicted], readings: Mapping[str, Figure]
) -> tuple[Floats, dict[str, bool]]:
    """(n,) weights by all readings, and by each whether it agrees with what the draws would show.

    One that next to no draw would show is left out of the weights, and said so.
    """
    weights = np.ones(len(each[0].values))
    agrees: dict[str, bool] = {}
    for one in each:
        if one.key not in readings:
            continue
        figure = readings[one.key]
        tried = weights * one.likelihood(figure.value, half_of(one.key, figure))
        agrees[one.key] = bool(speaking(tried) >= min(_SPEAKS, 0.5 * len(tried)))
        if agrees[one.key]:
            weights = tried
    return weights, agrees


def speaking(weights: Floats) -> float:
    """How many draws still speak: (Σw)² / Σw² (L. Kish, Survey Sampling, 1965)."""
    top = float((weights**2).sum())
    return float(weights.sum()) ** 2 / top if top > 0 else 0.0


def reading_views(
    each: Sequence[Predicted],
    readings: Mapping[str, Figure],
    weights: Floats,
    agrees: Mapping[str, bool],
    coolant: Floats,
    head: Floats,
) -> tuple[ReadingView, ...]:
    """Every reading, taken or not. coolant, head: (n,) margins whose bands it narrows."""
    even = np.ones(len(weights))
    views = []
    for one in each:
        taken = readings.get(one.key)
        if taken is not None:
            before = even
            for other in each:
                if other.key != one.key and agrees.get(other.key):
                    figure = readings[other.key]
                    before = before * other.likelihood(figure.value, half_of(other.key, figure))
            after = [(1.0, weights if agrees[one.key] else before)]
        else:
            before, after = weights, list(_tried(one, weights))
        views.append(
            ReadingView(
                key=one.key,
                taken=taken.text if taken else "",
                expected=span_of(np.where(np.isfinite(one.values), one.values, np.nan), before),
                unit=UNITS[one.key],
                narrows_coolant=_narrowing(coolant, before, after),
                narrows_head=_narrowing(head, before, after),
                draws=float(np.mean([speaking(w) for _, w in after])) if after else float("nan"),
                agrees=agrees.get(one.key, True),
                how=HOW[one.key],
            )
        )
    return tuple(views)


def _tried(one: Predicted, weights: Floats) -> list[tuple[float, Floats]]:
    """Weights after a reading that has not been taken, with some of the draws as the true car."""
    known = np.flatnonzero(np.isfinite(one.values) & (weights > 0))
    order = known[np.argsort(one.values[known], kind="stable")]
    if not order.size:
        return []
    spread = order[np.linspace(0, len(order) - 1, min(_TRIED, len(order))).round().astype(int)]
    return [
        (float(weights[k]), weights * one.likelihood(float(one.values[k]), float(one.off[k])))
        for k in spread
    ]


def _narrowing(values: Floats, before: Floats, after: Sequence[tuple[float, Floats]]) -> float:
    """Width of a band with a reading over that without, mean over what it may be."""
    width = _width(values, before)
    if not after or not width > 0:
        return float("nan")
    shares = np.array([share for share, _ in after])
    widths = np.array([_width(values, one) for _, one in after])
    return float((shares * widths).sum() / shares.sum() / width)


def _width(values: Floats, weights: Floats) -> float:
    span = span_of(values, weights)
    return span.high - span.low


def agreement(views: Sequence[ReadingView]) -> tuple[str, ...]:
    """Of readings that no draw would show, in words."""
    return tuple(
        f"the {one.key} that was read, {one.taken}, is not what this nose would show "
        f"({one.expected.low:.3g} to {one.expected.high:.3g} {one.unit}): read it again; it was "
        f"left out"
        for one in views
        if one.taken and not one.agrees
    )
