"""Pieces of the faces of a body, cut ever finer in the surface's own parameters.

A triangle of a face's mesh stands for the patch of surface between its parameters, which is no
further from it than its chord error. A quarter of the length leaves a sixteenth of the error.
Along the rim of a face the new corners are put on the edge's own curve.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.charts import Chart
from noseroom.geometry.chord_errors import SAMPLING_FACTOR, in_triangles
from noseroom.geometry.kernel import Pose, moved
from noseroom.geometry.span_groups import bounds_of, places_of
from noseroom.geometry.surfaces import Places

Floats = NDArray[np.float64]
Numbers = NDArray[np.intp]

_CUT = 4
# How far an edge's curve may miss the corners of the mesh: kernels allow edges some looseness.
_LOOSE_MM = 5e-5
# A shift of parameters by less than this share of the face is none.
_HAIR = 1e-12
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
    uv = np.einsum("pk,nkd->npd", _LATTICE, patches.uv)
    for chart, curve, of, side in _by_rims(body, patches.face, patches.rim):
        if not _follow(chart, curve, patches, of, side, uv):
            return None
    nodes = moved(_places(body, patches.face, uv), pose).reshape(*uv.shape[:2], 3)
    count = len(patches.face) * len(_CELLS)
    cut_uv, corners = uv[:, _CELLS].reshape(count, 3, 2), nodes[:, _CELLS].reshape(count, 3, 3)
    on = _CELL_SIDE >= 0
    rim = np.where(on, patches.rim[:, _CELL_SIDE], -1).reshape(count, 3)
    ends = patches.at[:, _CELL_SIDE]
    shares = ends[..., :1] + _CELL_SHARE * (ends[..., 1:] - ends[..., :1])
    at = shares.reshape(count, 3, 2)
    face = np.repeat(patches.face, len(_CELLS))
    cut = Patches(face, cut_uv, corners, np.zeros(count), rim, at)
    error = _errors(body, pose, cut, np.repeat(patches.error_mm, len(_CELLS)))
    return replace(cut, error_mm=error)


def _places(body: Any, face: Numbers, uv: Floats) -> Floats:
    """Places (k * n, 3) on the surfaces of faces (k,) of parameters (k, n, 2), in order."""
    found = np.empty((*uv.shape[:2], 3))
    splines, parts = [], []
    for one in np.unique(face):
        chart, here = body.charts[one], np.flatnonzero(face == one)
        if chart.spans is None or not chart.spans.bounded:
            found[here] = chart.places(uv[here].reshape(-1, 2)).reshape(len(here), -1, 3)
        else:
            splines.append(chart.spans)
            parts.append(here)
    placed = places_of(splines, [uv[here].reshape(-1, 2) for here in parts])
    for here, some in zip(parts, placed, strict=True):
        found[here] = some.reshape(len(here), -1, 3)
    return found.reshape(-1, 3)


def _errors(body: Any, pose: Pose, cut: Patches, before_mm: Floats) -> Floats:
    """How far the surfaces may be from some patches, with their rims, mm.

    before_mm: (k,) the errors of what they were cut from.
    """
    error, rims = np.zeros(len(cut.face)), np.zeros(len(cut.face))
    splines, parts = [], []
    for one in np.unique(cut.face):
        chart, here = body.charts[one], np.flatnonzero(cut.face == one)
        if chart.spans is not None and chart.spans.bounded:
            splines.append(chart.spans)
            parts.append(here)
        elif not chart.plane:
            bounds = chart.bounds(cut.uv[here])
            error[here] = np.inf if bounds is None else bounds
    for here, sure in zip(parts, bounds_of(splines, [cut.uv[each] for each in parts]), strict=True):
        error[here] = sure
    # A quarter of the length should leave less than a quarter of the error.
    loose = np.flatnonzero(error > before_mm / _CUT)
    for one in np.unique(cut.face[loose]):
        here = loose[cut.face[loose] == one]
        sampled = _sampled(body.charts[one], cut.uv[here], cut.corners[here], pose)
        error[here] = np.minimum(error[here], sampled)
    inner, patches, sides = [np.zeros((0, len(_ALONG_RIM), 2))], [], []
    for _, curve, of, side in _by_rims(body, cut.face, cut.rim):
        start, end = cut.at[of, side].T[..., None]
        along = curve((start + _ALONG_RIM * (end - start)).ravel())
        inner.append(along.reshape(-1, len(_ALONG_RIM), 2))
        patches.append(of)
        sides.append(side)
    if patches:
        of, side = np.concatenate(patches), np.concatenate(sides)
        points = moved(_places(body, cut.face[of], np.concatenate(inner)), pose)
        begin, run = cut.corners[of, side], cut.corners[of, (side + 1) % 3] - cut.corners[of, side]
        off = begin[:, None] + _ALONG_RIM[:, None] * run[:, None] - points.reshape(len(of), -1, 3)
        np.maximum.at(rims, of, np.linalg.norm(off, axis=2).max(axis=1))
    at_rim = (cut.rim >= 0).any(axis=1)
    error[at_rim] = SAMPLING_FACTOR * np.maximum(error, rims)[at_rim]
    return error


def _sampled(chart: Chart, uv: Floats, corners: Floats, pose: Pose) -> Floats:
    """How far a face is from triangles (k, 3, 3) with parameters (k, 3, 2), by samples, mm."""
    on_chord = in_triangles(corners)
    samples = chart.places(in_triangles(uv).reshape(-1, 2))
    off = moved(samples, pose).reshape(on_chord.shape) - on_chord
    sampled: Floats = SAMPLING_FACTOR * np.linalg.norm(off, axis=2).max(axis=0)
    if chart.spans is not None:
        hidden = np.flatnonzero(~chart.spans.plain(uv))
        if len(hidden):
            local = chart.places(uv[hidden].reshape(-1, 2)).reshape(-1, 3, 3)
            own = chart.spans.errors(chart.places, uv[hidden], local)[0]
            sampled[hidden] = np.maximum(sampled[hidden], own)
    return sampled


def _by_rims(
    body: Any, face: Numbers, rim: Numbers
) -> Iterator[tuple[Chart, Places, Numbers, Numbers]]:
    """Each rim's face, curve in parameters, and the patches and sides (k, 3) that lie on it."""
    of, side = np.nonzero(rim >= 0)
    if not len(of):
        return
    both = np.stack([face[of], rim[of, side]], axis=1)
    once, which = np.unique(both, axis=0, return_inverse=True)
    for number, (one, own) in enumerate(once):
        chart = body.charts[one]
        curve = chart.rim_curve(int(own))
        if curve is not None:
            here = which.reshape(-1) == number
            yield chart, curve, of[here], side[here]


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
        if np.abs(ends).max() > _HAIR * chart.extent:
            corners = some.uv[here][:, [a, b]]
            both = np.concatenate([(corners + ends).reshape(-1, 2), corners.reshape(-1, 2)])
            off = np.subtract(*np.split(chart.places(both), 2))
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
