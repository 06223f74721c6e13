"""Triangles of a face split where its surface is too far from them, the face's edges left alone.

The mesher looks at few points of a triangle and a regular grid at none, so that both can pass over
a bump. New nodes come into the middles of sides inside the face only: neighbours still fit.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.face_meshes import Reading
from noseroom.geometry.grid_errors import grid_errors
from noseroom.geometry.span_groups import bounds_of, places_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

_ROUNDS = 60
_MOST_TRIANGLES = 40_000
# Of a triangle's sides, those are halved that are at least this share of its longest.
_LONG = 0.7
# Sides shorter than this share of what may be missing are left alone.
_SHORT = 0.25


def split_all(
    meshes: list[Reading], most_mm: float, give_up_mm: float = np.inf
) -> list[Reading] | None:
    """Return what `split` does of the meshes of many faces; None if one is too far off to split.

    give_up_mm: a mesh is if it surely misses its surface by more somewhere.
    """
    some = [(n, mesh, mesh.spans) for n, mesh in enumerate(meshes) if mesh.spans is not None]
    some = [(n, mesh, spans) for n, mesh, spans in some if spans.bounded]
    spans = [one for *_, one in some]
    bounds = bounds_of(spans, [mesh.uv[mesh.triangles] for _, mesh, _ in some])
    if any(each.max() > give_up_mm for each in bounds):
        return None
    places = places_of(spans, [mesh.uv for _, mesh, _ in some])
    known: list[Floats | None] = [None] * len(meshes)
    meshes = list(meshes)
    for (n, mesh, _), sure, on in zip(some, bounds, places, strict=True):
        off = float(np.linalg.norm(on - mesh.nodes, axis=1).max())
        meshes[n], known[n] = replace(mesh, off_mm=off), sure
    return [split(mesh, most_mm, sure) for mesh, sure in zip(meshes, known, strict=True)]


def split(mesh: Reading, most_mm: float, bounds: Floats | None = None) -> Reading:
    """Return a face's mesh with triangles halved until none misses its surface by more.

    bounds: of its triangles (m,), if they are known. The same mesh where none does. Where long
    chords of an edge keep triangles from getting better, or there would be too many of them, they
    stay, and their errors with them.
    """
    if mesh.spans is None:
        return mesh
    found = _with_errors(mesh, most_mm, bounds)
    known = found.errors or found.hidden
    if known is None or known[-1].max() <= most_mm:
        return found
    places = mesh.places
    nodes, uv, triangles = mesh.nodes, mesh.uv, mesh.triangles
    fresh, errors = np.ones(len(triangles), dtype=bool), np.zeros(len(triangles))
    for number in range(_ROUNDS):
        if len(triangles) > _MOST_TRIANGLES:
            break
        some = triangles[fresh]
        if number or found.errors is None:
            errors[fresh] = mesh.spans.errors(places, uv[some], nodes[some], most_mm)[1]
        else:
            errors = found.errors[1]
        sides, ends, inner = _sides(triangles)
        long = np.linalg.norm(nodes[ends[:, 0]] - nodes[ends[:, 1]], axis=1)
        long[~inner | (long < _SHORT * most_mm)] = 0.0
        own = long[sides]
        least = np.maximum(_LONG * own.max(axis=1, keepdims=True), np.finfo(float).tiny)
        chosen = (errors > most_mm)[:, None] & (own >= least)
        halved = np.zeros(len(ends), dtype=bool)
        halved[sides[chosen]] = True
        if not halved.any():
            break
        number_of = np.where(halved, len(nodes) + np.cumsum(halved) - 1, -1)
        middles = uv[ends[halved]].mean(axis=1)
        uv = np.concatenate([uv, middles])
        nodes = np.concatenate([nodes, places(middles)])
        triangles, parents = _halved(triangles, number_of[sides])
        fresh = np.bincount(parents)[parents] > 1
        errors = errors[parents]
    cut = replace(mesh, nodes=nodes, uv=uv, triangles=triangles, claimed_mm=0.0, grid=None)
    return _with_errors(cut, most_mm)


def _with_errors(mesh: Reading, most_mm: float, bounds: Floats | None = None) -> Reading:
    """The mesh of a free-form face with the errors of its triangles.

    Of all where the surface has bounds that are close, else of those whose own samples may not
    show them.
    """
    spans = mesh.spans
    assert spans is not None
    corners = mesh.uv[mesh.triangles]
    if spans.bounded:
        at = mesh.nodes[mesh.triangles]
        errors = spans.errors(mesh.places, corners, at, most_mm, bounds)
        return replace(mesh, errors=errors, hidden=None)
    if mesh.grid is not None and spans.spline is not None:
        shape = (*(len(each) for each in mesh.grid.lines), 3)
        grid = mesh.grid
        errors = grid_errors(spans, grid.lines, mesh.nodes.reshape(shape), grid.other, most_mm)
        if errors[1].max() <= most_mm:
            return replace(mesh, errors=errors, hidden=None)
    hidden = np.flatnonzero(~spans.plain(corners))
    if not len(hidden):
        return replace(mesh, hidden=None, errors=None)
    nodes = mesh.nodes[mesh.triangles[hidden]]
    found = spans.errors(mesh.places, corners[hidden], nodes, most_mm)
    return replace(mesh, hidden=(hidden, *found), errors=None)


def _sides(triangles: Ints) -> tuple[NDArray[np.intp], NDArray[np.int64], NDArray[np.bool_]]:
    """Number of each triangle's sides (m, 3), their ends (s, 2), and which are inside the face.

    A side runs from a corner to the next.
    """
    after = np.roll(triangles, -1, axis=1)
    many = int(triangles.max()) + 1
    pairs = np.minimum(triangles, after).astype(np.int64) * many + np.maximum(triangles, after)
    each, number, count = np.unique(pairs.ravel(), return_inverse=True, return_counts=True)
    return number.reshape(-1, 3), np.stack([each // many, each % many], axis=1), count == 2


def _halved(triangles: Ints, middle: NDArray[np.intp]) -> tuple[Ints, NDArray[np.intp]]:
    """Triangles (m, 3) cut at nodes (m, 3) in the middle of their sides, -1 for none.

    In order, with the number of the one that each was cut from.
    """
    count = (middle >= 0).sum(axis=1)
    # Turned so that a single cut, or a single whole side, is the first.
    odd = np.where((count == 1)[:, None], middle >= 0, middle < 0).argmax(axis=1)
    turn = (odd[:, None] + np.arange(3)) % 3
    a, b, c = np.take_along_axis(triangles.astype(np.intp), turn, axis=1).T
    ab, bc, ca = np.take_along_axis(middle, turn, axis=1).T
    cuts = {
        0: [(a, b, c)],
        1: [(a, ab, c), (ab, b, c)],
        2: [(a, b, bc), (a, bc, ca), (ca, bc, c)],
        3: [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)],
    }
    made, parents = [], []
    for many, pieces in cuts.items():
        here = np.flatnonzero(count == many)
        for piece in pieces:
            made.append(np.stack(piece, axis=1)[here])
            parents.append(here)
    parent = np.concatenate(parents)
    order = np.argsort(parent, kind="stable")
    return np.concatenate(made)[order].astype(np.int32), parent[order]
