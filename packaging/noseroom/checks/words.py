"""Plain words for figures, directions and sources, in the file's own unit."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from noseroom.findings import Support
from noseroom.geometry.separation import READING_DEVIATIONS
from noseroom.survey.solution import Source
from noseroom.units import format_length

_LEAST_SHARE = 0.005
_MOST_SUPPORTS = 10


def length(mm: float, unit: str) -> str:
    """A length for a person; a clearance is rounded down, never up."""
    return format_length(mm, unit, rounding="down")


def at_least(mm: float, unit: str) -> str:
    """A length that has to be made up: rounded up."""
    return (
        format_length(-mm, unit, rounding="down").removeprefix("-") if mm > 0 else length(mm, unit)
    )


def way(direction: NDArray[np.float64]) -> str:
    """The main vehicle axis of a direction (3,), as a builder says it."""
    axis = int(np.argmax(np.abs(direction)))
    names = (("forward", "aft"), ("to the car's left", "to the car's right"), ("down", "up"))
    return names[axis][int(direction[axis] > 0)]


def supports(form: NDArray[np.float64], sources: Sequence[Source]) -> tuple[Support, ...]:
    """What a value with derivatives `form` (s,) rests on, the largest part of its spread first."""
    weights = np.array(
        [
            abs(slope) * (one.reach if one.assumed else READING_DEVIATIONS * one.deviation)
            for slope, one in zip(form, sources, strict=True)
        ]
    )
    total = float((weights**2).sum())
    if total <= 0:
        return ()
    share = weights**2 / total
    order = [int(i) for i in np.argsort(-share, kind="stable") if share[i] >= _LEAST_SHARE]
    return tuple(
        Support(
            sources[i].text,
            sources[i].line,
            round(float(form[i]), 6),
            round(float(share[i]), 4),
            sources[i].assumed,
        )
        for i in order[:_MOST_SUPPORTS]
    )


def retake(rests_on: Sequence[Support]) -> tuple[str, ...]:
    """What to measure, again or for the first time, to settle a finding."""
    said = []
    for one in rests_on[:2]:
        part = f"{100 * one.share:.0f} % of the spread"
        if one.assumed:
            said.append(f"measure what is only assumed: {one.reading} ({part})")
        else:
            said.append(f"read line {one.line} again with a finer tool: {one.reading} ({part})")
    return tuple(said)
