"""How far a free-form face is from a regular grid of triangles, by samples on lines of parameters.

On lines that all samples share a spline is worked out for all crossings at once. A cell is cut in
as many steps as it holds spans of the surface, for each of its degree and two more, and in three
at least: then no place of a quadratic is more than an eighth further off than some sample.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.chord_errors import SAMPLING_FACTOR, to_triangles
from noseroom.geometry.surfaces import places_at_crossings

if TYPE_CHECKING:
    from noseroom.geometry.spans import Spans

Floats = NDArray[np.float64]

_LEAST_STEPS, _MOST_STEPS = 3, 96


def grid_errors(
    spans: Spans,
    lines: tuple[Floats, Floats],
    nodes: Floats,
    other: NDArray[np.bool_],
    enough_mm: float,
) -> tuple[Floats, Floats]:
    """Return how far a spline is from the triangles of a grid, mm, by samples with a margin.

    Both (2 * cells,), two triangles of a cell after one another: from the place of the triangle
    with the same parameters, and from the nearest of it; up to enough_mm that need not be the
    nearest.
    lines: parameters (rows,) and (columns,) of the grid's lines. nodes: (rows, columns, 3) mm.
    other: (rows - 1, columns - 1) whether a cell is parted from its second row to its second
    column.
    """
    steps = [_steps(each, spans, way) for way, each in enumerate(lines)]
    few = enough_mm / SAMPLING_FACTOR
    same = np.zeros((*other.shape, 2))
    near = np.zeros((*other.shape, 2))
    for by_u in np.unique(steps[0]):
        for by_v in np.unique(steps[1]):
            rows, columns = np.flatnonzero(steps[0] == by_u), np.flatnonzero(steps[1] == by_v)
            here = np.ix_(rows, columns)
            found = _in_cells(
                spans, lines, nodes, (rows, columns), (int(by_u), int(by_v)), other[here], few
            )
            same[here], near[here] = found
    return SAMPLING_FACTOR * same.ravel(), SAMPLING_FACTOR * near.ravel()


def _steps(ends: Floats, spans: Spans, way: int) -> NDArray[np.intp]:
    """In how many steps each cell between some ends is cut."""
    knots = (spans.u, spans.v)[way]
    wide = np.diff(np.interp(ends, knots, np.arange(len(knots))))
    wanted = np.maximum(wide * (spans.degrees[way] + 2) / _LEAST_STEPS, 1.0)
    # Doubled until they do, so that few different ones are left.
    doubled = _LEAST_STEPS * 2.0 ** np.ceil(np.log2(wanted))
    found: NDArray[np.intp] = np.minimum(doubled, _MOST_STEPS).astype(np.intp)
    return found


def _in_cells(
    spans: Spans,
    lines: tuple[Floats, Floats],
    nodes: Floats,
    cells: tuple[NDArray[np.intp], NDArray[np.intp]],
    steps: tuple[int, int],
    other: NDArray[np.bool_],
    few_mm: float,
) -> tuple[Floats, Floats]:
    """The same, without the margin, for the cells of some rows and columns cut alike: (r, c, 2)."""
    rows, columns = cells
    s, t = (np.arange(count + 1) / count for count in steps)
    at = [
        (each[own, None] + share * np.diff(each)[own, None]).ravel()
        for each, own, share in zip(lines, cells, (s, t), strict=True)
    ]
    on = places_at_crossings(spans.net, *at)
    on = on.reshape(len(rows), len(s), len(columns), len(t), 3).transpose(0, 2, 1, 3, 4)
    low, right = nodes[np.ix_(rows, columns)], nodes[np.ix_(rows + 1, columns)]
    up, far = nodes[np.ix_(rows, columns + 1)], nodes[np.ix_(rows + 1, columns + 1)]
    parted = other[..., None]
    first = np.stack([low, right, np.where(parted, up, far)], axis=2)
    second = np.stack([np.where(parted, right, low), far, up], axis=2)
    x, y = s[:, None], t[None, :]
    same, near = np.zeros((*other.shape, 2)), np.zeros((*other.shape, 2))
    # Shares of the three corners, and which samples are in the triangle: parted this way or that.
    shares = {
        (0, True): (1 - x - y, x + 0 * y, y + 0 * x, x + y <= 1),
        (0, False): (1 - x + 0 * y, x - y, y + 0 * x, x >= y),
        (1, True): (1 - y + 0 * x, x + y - 1, 1 - x + 0 * y, x + y >= 1),
        (1, False): (1 - y + 0 * x, x + 0 * y, y - x, x <= y),
    }
    for (number, way), (*weights, within) in shares.items():
        here = np.nonzero(other == way)
        corners = (first, second)[number][here]
        i, j = np.nonzero(within)
        weight = np.stack([each[i, j] for each in weights], axis=1)
        samples = on[here][:, i, j]
        flat = np.einsum("sk,ckx->csx", weight, corners)
        off = np.linalg.norm(samples - flat, axis=2)
        same[..., number][here] = off.max(axis=1, initial=0.0)
        cell, sample = np.nonzero(off > few_mm)
        off[cell, sample] = to_triangles(samples[cell, sample], corners[cell])
        near[..., number][here] = off.max(axis=1, initial=0.0)
    return same, near
