"""Triangles of a face split where its surface is too far from them, the face's edges left alone.

The mesher looks at few points of a triangle and a regular grid at none, so that both can pass over
a bump. New nodes come into the middles of sides inside the face only: neighbours still fit.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.charts import Reading
from noseroom.geometry.surfaces import surface_places

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

_ROUNDS = 60
_MOST_TRIANGLES = 40_000
# Of a triangle's sides, those are halved that are at least this share of its longest.
_LONG = 0.7
# Sides shorter than this share of what may be missing are left alone.
_SHORT = 0.25


def split(mesh: Reading, most_mm: float) -> Reading:
    """Return a face's mesh with triangles halved until none misses its surface by more.

    The same mesh where it misses nothing that its own samples would not show. Where long chords
    of an edge keep triangles from getting better, or there would be too many of them, they stay,
    and their errors with them.
    """
    if mesh.spans is None:
        return mesh
    found = _with_hidden(mesh, most_mm)
    if found.hidden is None or found.hidden[2].max() <= most_mm:
        return found
    places = surface_places(mesh.surface)
    nodes, uv, triangles = mesh.nodes, mesh.uv, mesh.triangles
    fresh, errors = np.ones(len(triangles), dtype=bool), np.zeros(len(triangles))
    for _ in range(_ROUNDS):
        if len(triangles) > _MOST_TRIANGLES:
            break
        some = triangles[fresh]
        errors[fresh] = mesh.spans.errors(places, uv[some], nodes[some], most_mm)[1]
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
        number = np.where(halved, len(nodes) + np.cumsum(halved) - 1, -1)
        middles = uv[ends[halved]].mean(axis=1)
        uv = np.concatenate([uv, middles])
        nodes = np.concatenate([nodes, places(middles)])
        triangles, parents = _halved(triangles, number[sides])
        fresh = np.bincount(parents)[parents] > 1
        errors = errors[parents]
    finer = replace(mesh, nodes=nodes, uv=uv, triangles=triangles, claimed_mm=0.0)
    return _with_hidden(finer, most_mm)


def _with_hidden(mesh: Reading, most_mm: float) -> Reading:
    """The mesh of a free-form face with the errors that its triangles' own samples may not show."""
    assert mesh.spans is not None
    corners = mesh.uv[mesh.triangles]
    hidden = np.flatnonzero(~mesh.spans.plain(corners))
    if not len(hidden):
        return replace(mesh, hidden=None)
    nodes = mesh.nodes[mesh.triangles[hidden]]
    errors = mesh.spans.errors(surface_places(mesh.surface), corners[hidden], nodes, most_mm)
    return replace(mesh, hidden=(hidden, *errors))


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
