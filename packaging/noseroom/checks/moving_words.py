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
_TELLS_MM = 0.5


def doing(motions: Sequence[Motion], amounts: Mapping[str, Floats], unit: str) -> str:
    """What several things do at once, by name; amounts by the root of each."""
    told = [f"the {one.root} {said(one, amounts[one.root], unit)}" for one in motions]
    return words.listed(told)


def said(motion: Motion, amounts: Floats, unit: str) -> str:
    """What one thing does: "rocks 3 deg its right side up and surges 6 mm forward"."""
    told = [
        _one(freedom, float(amount), motion.own_reach(number), unit)
        for number, (freedom, amount) in enumerate(zip(motion.freedoms, amounts, strict=True))
        if abs(amount) > _SMALL
    ]
    return words.listed(told) if told else "is where it was measured"


def _one(freedom: Freedom, amount: float, own: float, unit: str) -> str:
    """own: how far it goes by itself; the rest comes with a turn about a point not quite known."""
    scale = freedom.forth_scale if amount > 0 else freedom.back_scale
    far = abs(amount) / scale
    if freedom.turns and scale == 1.0:
        return freedom.said[int(amount > 0)].format(f"{round(far, 1):g} deg")
    if not freedom.more or far <= own + _SMALL:
        return freedom.said[int(amount > 0)].format(_length(far, unit))
    more = _length(far - own, unit)
    if own < _SMALL:
        said = freedom.said[int(amount > 0)].format(more)
        return f"{said}, as the point that it pitches about is not known"
    said = freedom.said[int(amount > 0)].format(_length(own, unit))
    return f"{said} (and {more} more, as the point that it pitches about is not known)"


def _length(mm: float, unit: str) -> str:
    """Rounded as an assumption's own figures are, so that both read alike."""
    return words.in_unit(f"{round(mm, 1):g} mm", unit)


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
    if motion.beyond:
        taken += f" ({'; '.join(motion.beyond)})"
    if motion.unused:
        taken += f" (not used: {'; '.join(motion.unused)})"
    return f"{words.listed(ranges) if ranges else 'stands still'}, {taken}"


def to_measure(motion: Motion) -> tuple[str, ...]:
    """What is still to be measured of how far something moves; nothing where all of it is said."""
    line = motion.sources[0].line
    checked = [f"check the reading and the mounts: {one}" for one in motion.beyond]
    if motion.measured:
        return tuple(checked)
    if motion.kind != "engine":
        return (f"measure how far the {motion.root} moves, and write it as moves: (line {line})",)
    cold = "cold and with the battery off"
    if not motion.limits:
        return (
            *checked,
            f"measure how far the {motion.root} moves, {cold}: pry it each way, and write it as "
            f"moves: or pried: (line {line})",
        )
    missing = unpried(motion)
    if missing:
        ways = words.listed(missing)
        checked.append(f"pry the {motion.root} {ways} too, {cold}, and add to pried: (line {line})")
    return tuple(checked)


def unpried(motion: Motion) -> list[str]:
    """The ways along the car's axes that no point has been pried, in words."""
    read = [one.way for one in motion.limits]
    read += [-one.way for one in motion.limits if one.both]
    done = {words.way(one) for one in read}
    every = [words.way(sign * axis) for axis in np.eye(3) for sign in (-1, 1)]
    return [one for one in every if one not in done]


def hinge_to_measure(motion: Motion, amounts: Floats) -> tuple[str, ...]:
    """The sizes to measure that leave open about which line it turns, where that tells."""
    slope = motion.pivot_slope(amounts)
    told = [one for one in motion.pivot_sources if one.assumed and slope * one.reach > _TELLS_MM]
    if not told:
        return ()
    keys = words.listed([one.key for one in told])
    return (f"measure the {keys} of the {motion.root} (line {told[0].line})",)
