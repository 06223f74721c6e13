"""Pieces of the faces of a body, cut ever finer in the surface's own parameters.

A triangle of a face's mesh stands for the patch of surface between its parameters, which is no
further from it than its chord error. A quarter of the length leaves a sixteenth of the error.
Along the rim of a face the new corners are put on the edge's own curve.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.charts import Chart
from noseroom.geometry.chord_errors import SAMPLING_FACTOR, in_triangles
from noseroom.geometry.kernel import Pose, moved
from noseroom.geometry.surfaces import Places

Floats = NDArray[np.float64]
Numbers = NDArray[np.intp]

_CUT = 4
# How far an edge's curve may miss the corners of the mesh: kernels allow edges some looseness.
_LOOSE_MM = 5e-5
_ALONG_RIM = np.array([0.25, 0.5, 0.75])


@dataclass(frozen=True, eq=False)
class Patches:
    """Pieces (k) of a body's faces, as triangles.

    face: (k,). uv: (k, 3, 2). corners: (k, 3, 3) mm, in the world. error_mm: (k,).
    rim: (k, 3) which rim of the face the side from each corner to the next lies on, -1 for none;
    at: (k, 3, 2) parameters of its ends on that rim.
    """

    face: Numbers
    uv: Floats
    corners: Floats
    error_mm: Floats
    rim: Numbers
    at: Floats

    def chosen(self, some: Numbers) -> Patches:
        """Return some of them."""
        return Patches(
            self.face[some],
            self.uv[some],
            self.corners[some],
            self.error_mm[some],
            self.rim[some],
            self.at[some],
        )

    @cached_property
    def middle(self) -> Floats:
        """Middles (k, 3) of the triangles."""
        middle: Floats = self.corners.mean(axis=1)
        return middle

    @cached_property
    def radius(self) -> Floats:
        """Radii (k,) of balls round the middles that hold the triangles."""
        reach: Floats = np.linalg.norm(self.corners - self.middle[:, None], axis=2).max(axis=1)
        return reach


def first_patches(body: Any, pose: Pose, triangles: Numbers) -> Patches:
    """Return some triangles (k,) of a body (`mesh.Body`) with B-rep faces as patches, in order."""
    faces = body.mesh.face_of[triangles].astype(np.intp)
    own = body.chart_triangle[triangles]
    parts, places = [], []
    for face in np.unique(faces):
        chart = body.charts[face]
        here = np.flatnonzero(faces == face)
        numbers = chart.triangles[own[here]]
        rim, at = chart.on_rims(numbers)
        error = chart.errors_mm(own[here])
        corners = moved(chart.nodes[numbers].reshape(-1, 3), pose).reshape(-1, 3, 3)
        which = np.full(len(here), face)
        parts.append(Patches(which, chart.uv[numbers], corners, error, rim, at))
        places.append(here)
    return _joined(parts).chosen(np.argsort(np.concatenate(places), kind="stable"))


def errors_of(body: Any, triangles: Numbers) -> Floats:
    """Return how far some triangles (k,) of a body may be from what they stand for, mm."""
    once, which = np.unique(triangles, return_inverse=True)
    faces, own, errors = body.mesh.face_of[once], body.chart_triangle[once], np.zeros(len(once))
    for face in np.unique(faces):
        here = faces == face
        errors[here] = body.charts[face].errors_mm(own[here])
    found: Floats = errors[which]
    return found


def cells_of(parents: Numbers) -> Numbers:
    """The numbers (n, cells) of what the patches (n,) were cut into."""
    return parents[:, None] * len(_CELLS) + np.arange(len(_CELLS))


def _joined(parts: list[Patches]) -> Patches:
    return Patches(
        np.concatenate([part.face for part in parts]),
        np.concatenate([part.uv for part in parts]),
        np.concatenate([part.corners for part in parts]),
        np.concatenate([part.error_mm for part in parts]),
        np.concatenate([part.rim for part in parts]),
        np.concatenate([part.at for part in parts]),
    )


def finer(body: Any, pose: Pose, patches: Patches) -> Patches | None:
    """Cut every patch into cells, in order; None where a rim cannot be followed."""
    parts, places = [], []
    for face in np.unique(patches.face):
        here = np.flatnonzero(patches.face == face)
        cut = _cut(body.charts[face], pose, patches.chosen(here))
        if cut is None:
            return None
        parts.append(cut)
        places.append(cells_of(here).ravel())
    return _joined(parts).chosen(np.argsort(np.concatenate(places), kind="stable"))


def _cut(chart: Chart, pose: Pose, some: Patches) -> Patches | None:
    """Cut patches of one face into cells."""
    uv = np.einsum("pk,nkd->npd", _LATTICE, some.uv)
    for curve, of, side in _by_rims(chart, some.rim):
        if not _follow(chart, curve, some, of, side, uv):
            return None
    at_home = chart.places(uv.reshape(-1, 2))
    nodes = moved(at_home, pose).reshape(*uv.shape[:2], 3)
    count = len(some.face) * len(_CELLS)
    cut_uv, corners = uv[:, _CELLS].reshape(count, 3, 2), nodes[:, _CELLS].reshape(count, 3, 3)
    on = _CELL_SIDE >= 0
    rim = np.where(on, some.rim[:, _CELL_SIDE], -1).reshape(count, 3)
    ends = some.at[:, _CELL_SIDE]
    shares = ends[..., :1] + _CELL_SHARE * (ends[..., 1:] - ends[..., :1])
    at = shares.reshape(count, 3, 2)
    error = np.zeros(count)
    if not chart.plane:
        on_chord = in_triangles(corners)
        samples = chart.places(in_triangles(cut_uv).reshape(-1, 2))
        on_surface = moved(samples, pose).reshape(on_chord.shape)
        error = np.linalg.norm(on_surface - on_chord, axis=2).max(axis=0)
        if chart.spans is not None:
            hidden = np.flatnonzero(~chart.spans.plain(cut_uv))
            if len(hidden):
                local = at_home.reshape(*uv.shape[:2], 3)[:, _CELLS].reshape(count, 3, 3)[hidden]
                own = chart.spans.errors(chart.places, cut_uv[hidden], local)[0]
                error[hidden] = np.maximum(error[hidden], own / SAMPLING_FACTOR)
    for curve, of, side in _by_rims(chart, rim):
        start, end = at[of, side].T[..., None]
        inner = curve((start + _ALONG_RIM * (end - start)).ravel())
        points = moved(chart.places(inner), pose).reshape(-1, len(_ALONG_RIM), 3)
        begin, run = corners[of, side], corners[of, (side + 1) % 3] - corners[of, side]
        on_side = begin[:, None] + _ALONG_RIM[:, None] * run[:, None]
        np.maximum.at(error, of, np.linalg.norm(points - on_side, axis=2).max(axis=1))
    which = np.full(count, some.face[0])
    return Patches(which, cut_uv, corners, SAMPLING_FACTOR * error, rim, at)


def _by_rims(chart: Chart, rim: Numbers) -> Iterator[tuple[Places, Numbers, Numbers]]:
    """Each rim's curve in parameters with the patches and sides (k, 3) that lie on it."""
    for number in np.unique(rim[rim >= 0]):
        curve = chart.rim_curve(int(number))
        if curve is not None:
            of, side = np.nonzero(rim == number)
            yield curve, of, side


def _follow(
    chart: Chart, curve: Places, some: Patches, of: Numbers, sides: Numbers, uv: Floats
) -> bool:
    """Move the lattices (n, points, 2) of some patches so that a side lies on a rim's curve.

    All of the way on the side, not at all on the other two, and in proportion in between. False
    where the curve does not end in the corners.
    """
    for side in np.unique(sides):
        here = of[sides == side]
        a, b = side, (side + 1) % 3
        weight = _LATTICE[:, a] + _LATTICE[:, b]
        share = np.where(weight > 0, _LATTICE[:, b] / np.where(weight > 0, weight, 1.0), 0.0)
        unique, number = np.unique(share, return_inverse=True)
        start, end = some.at[here, side].T[..., None]
        along = curve((start + unique * (end - start)).ravel()).reshape(len(here), -1, 2)
        straight = unique[:, None] * (some.uv[here, b] - some.uv[here, a])[:, None]
        shift = along - some.uv[here, a][:, None] - straight
        ends = shift[:, [0, -1]]
        corners = some.uv[here][:, [a, b]]
        off = chart.places((corners + ends).reshape(-1, 2)) - chart.places(corners.reshape(-1, 2))
        if np.linalg.norm(off, axis=1).max() > _LOOSE_MM:
            return False
        # The corners stay where they are: the neighbours have them there, too.
        shift -= (1 - unique)[:, None] * ends[:, :1] + unique[:, None] * ends[:, 1:]
        uv[here] += weight[:, None] * shift[:, number.reshape(-1)]
    return True


def _lattice(cut: int) -> tuple[Floats, Numbers, Numbers, Floats]:
    """Points (p, 3) that part a triangle in `cut`² cells, and the cells' corners (c, 3) among them.

    Also which side of the triangle each side of a cell lies on (c, 3), -1 for none, and the
    shares (c, 3, 2) of that side where it starts and ends.
    """
    grid = [(i, j, cut - i - j) for i in range(cut + 1) for j in range(cut + 1 - i)]
    number = {one[:2]: n for n, one in enumerate(grid)}
    cells = []
    for i, j, k in grid:
        if k > 0:
            cells.append([number[i, j], number[i + 1, j], number[i, j + 1]])
        if k > 1:
            cells.append([number[i + 1, j], number[i + 1, j + 1], number[i, j + 1]])
    points, corners = np.array(grid) / cut, np.array(cells)
    on = np.full(corners.shape, -1)
    shares = np.zeros((*corners.shape, 2))
    for cell, side in np.ndindex(*corners.shape):
        ends = points[[corners[cell, side], corners[cell, (side + 1) % 3]]]
        for whole in range(3):
            if (ends[:, (whole + 2) % 3] == 0).all():
                on[cell, side] = whole
                shares[cell, side] = ends[:, (whole + 1) % 3]
    return points, corners, on, shares


_LATTICE, _CELLS, _CELL_SIDE, _CELL_SHARE = _lattice(_CUT)
