"""Free-form faces that only differ in their poles, such as a fan's blades, worked out together.

Each question asked of numpy costs the same for one blade as for all of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.bends import Range
from noseroom.geometry.spans import Spans, bending, bounds_in, crossed
from noseroom.geometry.surfaces import places_on

Floats = NDArray[np.float64]


def bounds_of(spans: Sequence[Spans], uv: Sequence[Floats]) -> list[Floats]:
    """Return what `Spans.bounds` does of some splines' triangles, (m, 3, 2) of each."""
    found = [np.zeros(0)] * len(spans)
    for numbers, like in _alike(spans):
        same = [spans[n] for n in numbers]
        together, which, ends = _joined(spans[n].to_unit(uv[n]) for n in numbers)
        first, last = crossed(like.cells, together)
        rows = which * (len(like.cells[0]) - 1)
        first[:, 0] += rows
        last[:, 0] += rows
        bounds = bounds_in(_ranges(same), first, last, together)
        for n, some in zip(numbers, np.split(bounds, ends), strict=True):
            some[spans[n].creased(uv[n])] = np.inf
            found[n] = some
    return found


def places_of(spans: Sequence[Spans], uv: Sequence[Floats]) -> list[Floats]:
    """Return the places (n, 3) of parameters (n, 2) on each of some splines."""
    found = [np.zeros((0, 3))] * len(spans)
    for numbers, like in _alike(spans):
        nets = np.stack([spans[n].net[0] for n in numbers])
        together, which, ends = _joined(spans[n].to_unit(uv[n]) for n in numbers)
        places = places_on(nets, like.unit, together, which)
        for n, some in zip(numbers, np.split(places, ends), strict=True):
            found[n] = some
    return found


def _joined(
    parts: Iterable[Floats],
) -> tuple[Floats, NDArray[np.intp], NDArray[np.intp]]:
    """All of them, which one each is from, and where to part them again."""
    each = list(parts)
    counts = np.array([len(part) for part in each])
    which = np.repeat(np.arange(len(each)), counts)
    return np.concatenate(each), which, np.cumsum(counts)[:-1]


def _alike(spans: Sequence[Spans]) -> Iterator[tuple[list[int], Spans]]:
    """Numbers of the splines that only differ in their poles and ranges, with one of them."""
    groups: dict[object, list[int]] = {}
    for number, one in enumerate(spans):
        groups.setdefault(one.likeness, []).append(number)
    for numbers in groups.values():
        yield numbers, spans[numbers[0]]


def _ranges(same: list[Spans]) -> Range:
    """What `bending` gives of all, with what is known of each kept."""
    new = [one for one in same if not one.kept]
    if new:
        found = bending(np.stack([one.net[0] for one in new]), new[0])
        parts = (np.split(each, len(new), axis=1) for each in found)
        for one, low, high in zip(new, *parts, strict=True):
            one.kept.append((low, high))
    low, high = zip(*(one.ranges for one in same), strict=True)
    return np.concatenate(low, axis=1), np.concatenate(high, axis=1)
