"""What was pried narrows what is assumed of a movement, and widens it where it was more.

A point that came 10 mm forward and no further says that surge, pitch and all the rest together
never take it further than that. What each of them does alone it does not say: each may be what made
the travel. So the ranges of the amounts stay as they are assumed, and what was read is laid over
them as one limit on all together. Where the point came further than the ranges allow, each amount
may have made all of it, up to four times its share.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.movement import Limit, Motion
from noseroom.envelope.model import Sentence
from noseroom.geometry.separation import crossed
from noseroom.layout import Layout, PlacedPart
from noseroom.survey.solution import Source

Floats = NDArray[np.float64]

_WAYS = {
    "ahead": (-1.0, 0.0, 0.0),
    "aft": (1.0, 0.0, 0.0),
    "left": (0.0, -1.0, 0.0),
    "right": (0.0, 1.0, 0.0),
    "above": (0.0, 0.0, 1.0),
    "below": (0.0, 0.0, -1.0),
}
_MOST_SHARES = 4.0
_FELT_MM = 1e-6
_SAME = 1e-6


@dataclass(frozen=True, eq=False)
class _Reading:
    """One point that was pried. form: (k,) mm per amount. most_mm: how far it may have come."""

    form: Floats
    most_mm: float
    said: Sentence


def with_views(layout: Layout, motion: Motion) -> Motion:
    """The motion, narrowed and widened by what the file says was pried."""
    said = layout.parts[motion.root].entry.pried
    if not said:
        return motion
    readings: list[_Reading] = []
    unused: list[str] = []
    for one in said:
        found = _reading(layout, motion, one)
        if isinstance(found, str):
            unused.append(found)
        else:
            readings.append(found)
    before = [float(np.abs(one.form) @ motion.reaches) for one in readings]
    motion = replace(_widened(motion, readings), unused=tuple(unused))
    limits = _limits(readings, before)
    views = [_view(motion, limits, [one]) for one in range(len(limits))]
    several = _apart(motion, limits)
    if len(several) > 1:
        views.append(_view(motion, limits, several))
    return replace(motion, limits=limits, views=tuple(views))


def _reading(layout: Layout, motion: Motion, said: Sentence) -> _Reading | str:
    """What one sentence says, or why nothing can be made of it."""
    part = layout.parts.get(said.subject.part)
    target = None if said.object is None else layout.parts.get(said.object.part)
    lost = [
        ref.part
        for ref, placed in ((said.subject, part), (said.object, target))
        if ref is not None and (placed is None or not placed.known)
    ]
    if lost or part is None:
        return f"line {said.line}, as the place of the {' and the '.join(lost)} is not known"
    feature = said.subject.feature or next(iter(part.part.features()))
    point, _, moves = part.touch_point(feature, said.subject.spot)
    way = np.array(_WAYS[said.direction]) if said.direction else _toward(point, said, target)
    arm = point - motion.point
    form = (np.cross(motion.turns, arm) + motion.shifts) @ way
    most = said.value or 0.0
    if said.bound is None:
        most += said.half_width or 0.0
    # The reading is of where the point really came; the form leaves out the second order, and is
    # for the point as adjusted.
    turn = motion.turn
    stray = layout.uncertainty.spread(moves)
    out = np.abs(arm) + stray
    bent = crossed(turn, crossed(turn, out)) / 2 + crossed(turn, stray)
    size = float(np.linalg.norm(turn))
    bent = bent + (np.expm1(size) - size - size**2 / 2) * float(np.linalg.norm(out))
    return _Reading(form, most + float(np.abs(way) @ bent), said)


def _toward(point: Floats, said: Sentence, target: PlacedPart | None) -> Floats:
    """The direction (3,) from a point toward what a sentence names."""
    assert target is not None
    assert said.object is not None
    feature = target.part.features().get(said.object.feature)
    if feature is not None:
        there, normal, _ = target.touch_point(said.object.feature, said.object.spot)
        if feature.shape in ("face", "circle"):
            return np.asarray(normal if normal @ (there - point) >= 0 else -normal, dtype=float)
        return _main(there - point)
    corners = np.concatenate(
        [piece.corners for each in target.moving.values() for piece in each[0]]
        or [target.pose[None, :3, 3]]
    )
    low, high = corners.min(axis=0) - point, corners.max(axis=0) - point
    apart = np.where(low > 0, low, np.where(high < 0, high, 0.0))
    return _main(apart if apart.any() else (low + high) / 2)


def _main(direction: Floats) -> Floats:
    """The way along one vehicle axis that a direction goes most."""
    axis = int(np.argmax(np.abs(direction)))
    return np.asarray(np.eye(3)[axis] * (1.0 if direction[axis] >= 0 else -1.0))


def _widened(motion: Motion, readings: Sequence[_Reading]) -> Motion:
    """Ranges that hold all that was pried, and say so."""
    reaches = motion.reaches.copy()
    lines: list[set[int]] = [set() for _ in reaches]
    for one in readings:
        gone = np.abs(one.form) * motion.reaches
        felt = gone > _FELT_MM
        assumed = felt & np.array([each.assumed for each in motion.sources])
        free = assumed if assumed.any() else felt
        for k in np.flatnonzero(assumed):
            lines[k].add(one.said.line)
        left = one.most_mm - float(gone[~free].sum())
        share = float(gone[free].sum())
        if not free.any() or left <= share:
            continue
        scale = left / share
        for k in np.flatnonzero(free):
            alone = left / abs(float(one.form[k]))
            reaches[k] = max(reaches[k], min(alone, _MOST_SHARES * scale * motion.reaches[k]))
            lines[k].add(one.said.line)
    sources = tuple(
        _told(source, float(reach), float(was), sorted(of))
        for source, reach, was, of in zip(
            motion.sources, reaches, motion.reaches, lines, strict=True
        )
    )
    held = {
        source.key: f"{motion.grounds[source.key]}; held by {_lines(sorted(of))}"
        for source, of in zip(motion.sources, lines, strict=True)
        if of
    }
    return replace(motion, reaches=reaches, sources=sources, grounds={**motion.grounds, **held})


def _told(source: Source, reach: float, was: float, lines: Sequence[int]) -> Source:
    if reach <= was:
        return source
    text = f"{source.text}, or {reach / was:.2g} times as far to make what {_lines(lines)} says"
    return replace(source, text=text, half_width=reach, reach=reach)


def _lines(lines: Sequence[int]) -> str:
    return f"line{'s' if len(lines) > 1 else ''} {' and '.join(str(one) for one in lines)}"


def _limits(readings: Sequence[_Reading], before: Sequence[float]) -> tuple[Limit, ...]:
    """One limit for each point and line along which it was pried, one way or both.

    What was pried one way alone may have gone as far the other way, or as far as is assumed.
    """
    lines: list[tuple[_Reading, list[float], list[float], float, list[Sentence]]] = []
    for one, assumed in zip(readings, before, strict=True):
        size = float(np.linalg.norm(one.form))
        if size <= _FELT_MM:
            continue
        for first, forth, back, _, also in lines:
            for sign, ends in ((1.0, forth), (-1.0, back)):
                if np.linalg.norm(one.form - sign * first.form) < _SAME * size:
                    ends.append(one.most_mm)
                    also.append(one.said)
                    break
            else:
                continue
            break
        else:
            lines.append((one, [one.most_mm], [], assumed, []))
    return tuple(
        Limit(
            first.form,
            -max(back or [*forth, assumed]),
            max(forth),
            tuple(one.line for one in (first.said, *also)),
            first.said.text,
        )
        for first, forth, back, assumed, also in lines
    )


def _apart(motion: Motion, limits: Sequence[Limit]) -> list[int]:
    """Limits that can hold together in one view: each along another shift."""
    found: dict[int, int] = {}
    for number, one in enumerate(limits):
        found.setdefault(_slack(motion, one), number)
    return list(found.values())


def _slack(motion: Motion, limit: Limit) -> int:
    """The shift that gives way to a limit: the one that goes most along it."""
    shifts = motion.shifts.any(axis=1)
    return int(np.argmax(np.where(shifts, np.abs(limit.form), -1.0)))


def _view(motion: Motion, limits: Sequence[Limit], chosen: Sequence[int]) -> Motion:
    """The same movements by amounts of which some are what was pried.

    In place of a shift stands how far the point came: any movement within the ranges and the
    limits is one of these too, though some of these are beyond the shift's own range.
    """
    mix = np.eye(len(motion.reaches))
    centre, reaches = motion.centre.copy(), motion.reaches.copy()
    sources = list(motion.sources)
    for number in chosen:
        limit = limits[number]
        k = _slack(motion, limit)
        mix[k] = limit.form
        centre[k], reaches[k] = (limit.low + limit.high) / 2, (limit.high - limit.low) / 2
        sources[k] = replace(
            sources[k],
            text=limit.text,
            line=limit.lines[0],
            value=limit.high,
            half_width=float(reaches[k]),
            reach=float(reaches[k]),
            assumed=False,
        )
    back = np.linalg.inv(mix)
    return replace(
        motion,
        turns=back.T @ motion.turns,
        shifts=back.T @ motion.shifts,
        centre=centre,
        reaches=reaches,
        sources=tuple(sources),
        mix=mix,
        views=(),
    )
