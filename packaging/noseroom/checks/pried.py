"""What was pried narrows what is assumed of a movement, and widens it where it was more.

A point that came 10 mm forward and no further says that surge, pitch and all the rest together
never take it further than that. What each of them does alone it does not say: each may be what made
the travel. So the ranges of the amounts stay as they are assumed, and what was read is laid over
them as one limit on all together. Where the point came further than the ranges allow, each amount
that makes a fair part of such travel may have made all that is beyond them, or up to four times its
share of that. What hardly moves the point that way is not made wider: it would have to go many
times as far as anything on mounts does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.movement import Limit, Motion
from noseroom.checks.words import listed
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
_LEAST_SHARE = 0.1
_FELT_MM = 1e-6
_SAME = 1e-6


@dataclass(frozen=True, eq=False)
class _Reading:
    """One point that was pried. form: (k,) mm per amount. read_least_mm, read_mm: how far it came.

    The least is nothing where only a bound was read. bent_mm: what turns do beyond the first order.
    point, way: (3,) mm and (3,), vehicle frame; moves: (3, s), what readings do to the point.
    """

    form: Floats
    read_least_mm: float
    read_mm: float
    bent_mm: float
    point: Floats
    way: Floats
    moves: Floats
    said: Sentence

    @property
    def least_mm(self) -> float:
        """How far it came at least, to the first order."""
        return self.read_least_mm - self.bent_mm

    @property
    def most_mm(self) -> float:
        """How far it came at most, to the first order."""
        return self.read_mm + self.bent_mm


def with_views(layout: Layout, motion: Motion) -> Motion:
    """The motion, narrowed and widened by what the file says was pried."""
    said = layout.parts[motion.root].entry.pried
    if not said:
        return motion
    found = [_reading(layout, motion, one) for one in said]
    readings = [one for one in found if not isinstance(one, str)]
    unused = tuple(one for one in found if isinstance(one, str))
    before = [float(np.abs(one.form) @ motion.reaches) for one in readings]
    motion = replace(_widened(layout, motion, readings), unused=unused)
    # What turns do beyond the first order is more where they have become wider.
    readings = [_bent(layout, motion, one) for one in readings]
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
    far = said.value or 0.0
    width = 0.0 if said.bound is not None else said.half_width or 0.0
    least = 0.0 if said.bound is not None else far - width
    return _bent(layout, motion, _Reading(form, least, far + width, 0.0, point, way, moves, said))


def _bent(layout: Layout, motion: Motion, one: _Reading) -> _Reading:
    """A reading, with what turns do to its point beyond the first order, at most.

    The reading is of where the point really came; the form leaves out the second order, and is for
    the point as adjusted.
    """
    turn = motion.turn
    stray = layout.uncertainty.spread(one.moves)
    out = np.abs(one.point - motion.point) + stray
    bent = crossed(turn, crossed(turn, out)) / 2 + crossed(turn, stray)
    size = float(np.linalg.norm(turn))
    bent = bent + (np.expm1(size) - size - size**2 / 2) * float(np.linalg.norm(out))
    return replace(one, bent_mm=float(np.abs(one.way) @ bent))


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


def _widened(layout: Layout, motion: Motion, readings: Sequence[_Reading]) -> Motion:
    """Ranges that hold all that was pried, and say so."""
    reaches = motion.reaches.copy()
    held: list[set[int]] = [set() for _ in reaches]
    wider: list[set[int]] = [set() for _ in reaches]
    beyond: list[str] = []
    for one in readings:
        gone = np.abs(one.form) * motion.reaches
        total = float(gone.sum())
        named = (gone > _FELT_MM) & (gone >= _LEAST_SHARE * total)
        assumed = named & np.array([each.assumed for each in motion.sources])
        free = assumed if assumed.any() else named
        for k in np.flatnonzero(assumed):
            held[k].add(one.said.line)
        if one.least_mm > total:
            beyond.append(_beyond(layout, motion, one, total))
        over = one.most_mm - total
        if over <= 0:
            continue
        for k in np.flatnonzero(free):
            per = abs(float(one.form[k]))
            more = over * max(1.0, _MOST_SHARES * float(gone[k]) / float(gone[free].sum())) / per
            reaches[k] = max(reaches[k], min(motion.reaches[k] + more, one.most_mm / per))
            wider[k].add(one.said.line)
    times = [
        float(reach / was) if was else 1.0
        for reach, was in zip(reaches, motion.reaches, strict=True)
    ]
    reaches = _carried_along(motion, reaches)
    sources = tuple(
        _told(*each)
        for each in zip(motion.sources, reaches, times, map(sorted, wider), strict=True)
    )
    grounds = {
        source.key: f"{motion.grounds[source.key]}; held by {_lines(sorted(of))}"
        for source, of in zip(motion.sources, held, strict=True)
        if of
    }
    return replace(
        motion,
        reaches=reaches,
        sources=sources,
        grounds={**motion.grounds, **grounds},
        beyond=tuple(beyond),
    )


def _beyond(layout: Layout, motion: Motion, one: _Reading, total: float) -> str:
    """That a point came further than the movements that are stated or assumed can take it."""
    mounts = getattr(layout.parts[motion.root].part, "mounts", "")
    on = f"on {mounts} mounts" if mounts and not motion.measured else "by its moves:"
    times = f"{one.least_mm / total:.2g} times as far as" if total > _FELT_MM else "further than"
    return f"line {one.said.line} says {times} the {motion.root} is taken to go {on}"


def _carried_along(motion: Motion, reaches: Floats) -> Floats:
    """Ranges that also hold what a wider turn adds to a shift, about a point not quite known."""
    keys = [one.forth for one in motion.freedoms]
    found = reaches.copy()
    for k, one in enumerate(motion.freedoms):
        for key, scale in one.more:
            if key in keys:
                turn = keys.index(key)
                found[k] += scale * (reaches[turn] - motion.reaches[turn])
    return found


def _told(source: Source, reach: float, times: float, lines: Sequence[int]) -> Source:
    if reach <= source.reach:
        return source
    text = source.text
    if lines and times > 1.0:
        text += f", or {max(times, 1.1):.2g} times as far to allow for {_lines(lines)}"
    return replace(source, text=text, half_width=reach, reach=reach)


def _lines(lines: Sequence[int]) -> str:
    return f"line{'s' if len(lines) > 1 else ''} {listed([str(one) for one in lines])}"


def _limits(readings: Sequence[_Reading], before: Sequence[float]) -> tuple[Limit, ...]:
    """One limit for each point and line along which it was pried, one way or both.

    What was pried one way alone may have gone as far the other way, or as far as is assumed.
    """
    lines: list[tuple[_Reading, float, list[_Reading], list[_Reading]]] = []
    for one, assumed in zip(readings, before, strict=True):
        size = float(np.linalg.norm(one.form))
        if size <= _FELT_MM:
            continue
        for first, _, forth, back in lines:
            for sign, ends in ((1.0, forth), (-1.0, back)):
                if np.linalg.norm(one.form - sign * first.form) < _SAME * size:
                    ends.append(one)
                    break
            else:
                continue
            break
        else:
            lines.append((one, assumed, [one], []))
    return tuple(
        Limit(
            first.form,
            -_most(back or forth, 0.0 if back else assumed),
            _most(forth),
            (-_most(back or forth, 0.0 if back else assumed, read=True), _most(forth, read=True)),
            first.point,
            first.way,
            bool(back),
            tuple(dict.fromkeys(one.said.line for one in (*forth, *back))),
            first.said.text,
        )
        for first, assumed, forth, back in lines
    )


def _most(readings: Sequence[_Reading], least: float = 0.0, *, read: bool = False) -> float:
    """The furthest of several readings, mm; read: of where the point really came."""
    return max([one.read_mm if read else one.most_mm for one in readings] + [least])


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
