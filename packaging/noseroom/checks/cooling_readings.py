"""What a builder can read on the car today, and how much it narrows the bands.

Each draw is a car that could be this one. A reading makes those more likely that would have shown
it: their weight is the likelihood of the reading with its own ±. See `cooling_known` for what is
drawn by these weights.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from noseroom.checks.cooling_outcomes import Outcome, span_of
from noseroom.checks.cooling_records import ReadingView, Span
from noseroom.envelope.cooling_records import Figure
from noseroom.physics import air
from noseroom.physics.ranges import Floats

__all__ = [
    "HOW",
    "Predicted",
    "Shown",
    "predicted",
    "reading_views",
    "speaking",
    "taken_of",
    "weights_of",
]

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
_OFF = {"grille air": (_SWEEP_OFF, 0.03), "coolant": (_COOLANT_OFF_K, 0.5)}
"""The ± of a reading that gives none, and the least that is believed, common practice: of air a
share, of coolant K."""
_SPEAKS = 12.0
"""Fewer draws than this that still speak are no band."""
_TRIED = 24
_SHUFFLE, _SHUFFLES = 11, 4
"""Seed, and how many times."""


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

    def by(self, figure: Figure) -> Floats:
        """(n,) likelihood of what was read, with its own ± or the usual one."""
        scale = figure.value if self.key == "grille air" else 1.0
        usual, least = (scale * one for one in _OFF[self.key])
        half = usual if figure.half_width is None else max(figure.half_width, least)
        return self.likelihood(figure.value, half)


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


def taken_of(readings: Mapping[str, Figure]) -> dict[str, Figure]:
    """Of what the file says of a day, what was read on the car."""
    return {key: figure for key, figure in readings.items() if key in HOW}


def weights_of(
    each: Sequence[Predicted],
    readings: Mapping[str, Figure],
    start: Floats | None = None,
    wanted: int | None = None,
) -> tuple[Floats, dict[str, bool]]:
    """(n,) weights by all readings, and by each whether it agrees with what the draws would show.

    One that next to no draw would show is left out of the weights, and said so. start: (n,) weights
    by what else is known. wanted: how many draws are to be picked by them, all where not given.
    """
    weights = np.ones(len(each[0].values)) if start is None else start
    agrees: dict[str, bool] = {}
    for one in each:
        if one.key not in readings:
            continue
        tried = weights * one.by(readings[one.key])
        agrees[one.key] = bool(speaking(tried) >= min(_SPEAKS, 0.5 * (wanted or len(tried))))
        if agrees[one.key]:
            weights = tried
    return weights, agrees


def speaking(weights: Floats) -> float:
    """How many draws still speak: (Σw)² / Σw² (L. Kish, Survey Sampling, 1965)."""
    top = float((weights**2).sum())
    return float(weights.sum()) ** 2 / top if top > 0 else 0.0


@dataclass(frozen=True, eq=False)
class Shown:
    """What draws of a car would show. coolant, head: (n,) margins whose bands a reading narrows."""

    each: Sequence[Predicted]
    coolant: Floats
    head: Floats


def reading_views(
    now: Shown,
    before: Shown,
    readings: Mapping[str, Figure],
    agrees: Mapping[str, bool],
    draws: float,
) -> tuple[ReadingView, ...]:
    """Every reading, taken or not.

    now: draws that go with all that was read; before: with none of it. draws: how many of `now`
    are not like another.
    """
    views = []
    for one, first in zip(now.each, before.each, strict=True):
        taken = readings.get(one.key)
        if taken is None:
            view = _to_take(one, now)
        else:
            others = {key: readings[key] for key, so in agrees.items() if so and key != one.key}
            weights = np.ones(len(first.values))
            for other in before.each:
                if other.key in others:
                    weights = weights * other.by(others[other.key])
            view = _was_taken(first, taken, weights, before, now, draws)
            if not agrees[one.key]:
                view = replace(view, agrees=False, narrows_coolant=1.0, narrows_head=1.0)
        views.append(view)
    return tuple(views)


def _was_taken(
    one: Predicted, taken: Figure, weights: Floats, before: Shown, now: Shown, draws: float
) -> ReadingView:
    """weights: of the draws before, by the other readings."""
    ratios = [
        _ratio(_width(late), _width(early, weights))
        for early, late in ((before.coolant, now.coolant), (before.head, now.head))
    ]
    return ReadingView(
        key=one.key,
        taken=taken.text,
        expected=_expected(one, weights),
        value=taken.value,
        unit=UNITS[one.key],
        narrows_coolant=ratios[0],
        narrows_head=ratios[1],
        draws=draws,
        agrees=True,
        how=HOW[one.key],
    )


def _to_take(one: Predicted, now: Shown) -> ReadingView:
    after = _tried(one)
    return ReadingView(
        key=one.key,
        taken="",
        expected=_expected(one),
        value=float("nan"),
        unit=UNITS[one.key],
        narrows_coolant=_narrowing(now.coolant, after),
        narrows_head=_narrowing(now.head, after),
        draws=float(np.mean([speaking(w) for w in after])) if after else float("nan"),
        agrees=True,
        how=HOW[one.key],
    )


def _expected(one: Predicted, weights: Floats | None = None) -> Span:
    return span_of(np.where(np.isfinite(one.values), one.values, np.nan), weights)


def _tried(one: Predicted) -> list[Floats]:
    """Weights after a reading that has not been taken, with some of the draws as the true car."""
    known = np.flatnonzero(np.isfinite(one.values))
    order = known[np.argsort(one.values[known], kind="stable")]
    if not order.size:
        return []
    spread = order[np.linspace(0, len(order) - 1, min(_TRIED, len(order))).round().astype(int)]
    return [one.likelihood(float(one.values[k]), float(one.off[k])) for k in spread]


def _narrowing(values: Floats, after: Sequence[Floats]) -> float:
    """Width of a band with a reading over that without, mean over what it may be.

    The few draws that then speak show a narrow band whatever they are. So the width without is
    that of as few, with the same weights on draws that have nothing to do with the reading.
    """
    if not after:
        return float("nan")
    rng = np.random.default_rng(_SHUFFLE)
    others = [_width(rng.permutation(values), one) for one in after for _ in range(_SHUFFLES)]
    return _ratio(float(np.mean([_width(values, one) for one in after])), float(np.mean(others)))


def _ratio(after: float, before: float) -> float:
    return after / before if before > 0 else float("nan")


def _width(values: Floats, weights: Floats | None = None) -> float:
    span = span_of(values, weights)
    return span.high - span.low
