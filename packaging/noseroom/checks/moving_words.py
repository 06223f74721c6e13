"""What moves, in words: "the engine rocks 3 deg its right side up and surges 6 mm forward"."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from noseroom.checks import words
from noseroom.checks.movement import Motion
from noseroom.parts.base import Freedom

Floats = NDArray[np.float64]

_SMALL = 1e-6


def doing(motions: Sequence[Motion], amounts: Mapping[str, Floats], unit: str) -> str:
    """What several things do at once, by name; amounts by the root of each."""
    told = [f"the {one.root} {said(one, amounts[one.root], unit)}" for one in motions]
    return words.listed(told)


def said(motion: Motion, amounts: Floats, unit: str) -> str:
    """What one thing does: "rocks 3 deg its right side up and surges 6 mm forward"."""
    told = [
        _one(freedom, float(amount), unit)
        for freedom, amount in zip(motion.freedoms, amounts, strict=True)
        if abs(amount) > _SMALL
    ]
    return words.listed(told) if told else "is where it was measured"


def _one(freedom: Freedom, amount: float, unit: str) -> str:
    scale = freedom.forth_scale if amount > 0 else freedom.back_scale
    far = abs(amount) / scale
    in_degrees = freedom.turns and scale == 1.0
    how = f"{round(far, 1):g} deg" if in_degrees else words.at_least(far, unit)
    return freedom.said[int(amount > 0)].format(how)


def may_do(motion: Motion, unit: str) -> str:
    """The whole range of a motion, and who says so: "rocks 3 deg either way, as the file says"."""
    ranges = [words.in_unit(one.text, unit) for one in motion.sources if one.reach > 0]
    if motion.measured:
        taken = "as the file says"
    elif any(not one.assumed for one in motion.sources):
        taken = "as the file says and, for the rest, as is assumed"
    else:
        taken = "as is assumed while nobody has measured it"
    lines = sorted({line for one in motion.limits for line in one.lines})
    if lines:
        named = f"line{'s' if len(lines) > 1 else ''} {words.listed([str(one) for one in lines])}"
        taken += f", though no further than {named} allow{'' if len(lines) > 1 else 's'}"
    if motion.unused:
        taken += f" (not used: {'; '.join(motion.unused)})"
    return f"{words.listed(ranges) if ranges else 'stands still'}, {taken}"
