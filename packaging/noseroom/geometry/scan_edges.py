"""Edges, neighbours and separate pieces of a triangle mesh, all triangles at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Edges:
    """The edges of triangles (m, 3).

    ends: (e, 2) vertex numbers, the lower first. of_side: (m, 3), the edge of each triangle's
    side; side k runs from corner k to corner k + 1. uses: (e,) how many triangles have it.
    forward: (m, 3) whether the side runs from the lower number to the higher.
    """

    ends: Numbers
    of_side: Numbers
    uses: Numbers
    forward: NDArray[np.bool_]


def compacted(triangles: NDArray[np.integer]) -> tuple[Numbers, Numbers]:
    """The vertex numbers that triangles (m, 3) use, rising, and the triangles by place in them."""
    used = np.flatnonzero(np.bincount(triangles.ravel()))
    place = np.zeros(int(used[-1]) + 1 if len(used) else 0, np.int64)
    place[used] = np.arange(len(used))
    return used, place[triangles]


def edges_of(triangles: NDArray[np.integer]) -> Edges:
    """Return the edges of triangles (m, 3)."""
    tri = triangles.astype(np.int64)
    start, end = tri, np.roll(tri, -1, axis=1)
    low, high = np.minimum(start, end), np.maximum(start, end)
    count = int(tri.max()) + 1 if len(tri) else 1
    keys, of_side, uses = np.unique(
        (low * count + high).ravel(), return_inverse=True, return_counts=True
    )
    ends = np.stack([keys // count, keys % count], axis=1)
    return Edges(ends, of_side.reshape(-1, 3), uses, start < end)


def neighbours(edges: Edges) -> tuple[Numbers, Numbers]:
    """Pairs of triangles that share an edge with nobody else, and that edge: (k, 2) and (k,)."""
    order = np.argsort(edges.of_side.ravel(), kind="stable")
    starts = np.concatenate([[0], np.cumsum(edges.uses)])[:-1]
    shared = np.flatnonzero(edges.uses == 2)
    first = starts[shared]
    return np.stack([order[first] // 3, order[first + 1] // 3], axis=1), shared


def pieces_of(triangles: NDArray[np.integer]) -> tuple[int, Numbers]:
    """How many separate pieces there are, and the one each triangle (m, 3) belongs to.

    Triangles that share a corner are one piece.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    used, tri = compacted(triangles)
    ends = (tri[:, [0, 1]].ravel(), tri[:, [1, 2]].ravel())
    links = coo_array((np.ones(len(ends[0]), np.int8), ends), shape=(len(used), len(used)))
    count, label = connected_components(links, directed=False)
    return int(count), label[tri[:, 0]].astype(np.int64)


def loops_of(triangles: NDArray[np.integer]) -> list[Numbers]:
    """The closed lines along which a surface ends, as vertex numbers in order.

    An edge belongs to one where an odd number of triangles has it; such edges always make closed
    lines. Where a line meets itself in a corner it is split there, so that no corner comes twice.
    """
    edges = edges_of(triangles)
    ends = edges.ends[edges.uses % 2 == 1]
    around: dict[int, list[int]] = {}
    for number, (a, b) in enumerate(ends.tolist()):
        around.setdefault(a, []).append(number)
        around.setdefault(b, []).append(number)
    pairs = ends.tolist()
    used = [False] * len(pairs)
    loops: list[Numbers] = []
    for first, (start, _) in enumerate(pairs):
        if used[first]:
            continue
        path: list[int] = [start]
        place = {start: 0}
        while path:
            here = path[-1]
            waiting = around[here]
            while waiting and used[waiting[-1]]:
                waiting.pop()
            if not waiting:
                break
            edge = waiting.pop()
            used[edge] = True
            a, b = pairs[edge]
            there = b if a == here else a
            if there not in place:
                place[there] = len(path)
                path.append(there)
                continue
            loop = path[place[there] :]
            loops.append(np.array(loop, dtype=np.int64))
            del path[place[there] + 1 :]
            for left in loop[1:]:
                del place[left]
    return loops
