"""Turning triangles so that neighbours agree, and outward where they enclose a volume."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.scan_edges import Edges, Numbers, edges_of, neighbours
from noseroom.geometry.scan_types import Floats


@dataclass(eq=False)
class Turned:
    """Triangles that agree with their neighbours where that can be had.

    turned: how many were against most of their neighbours. inside_out: closed pieces that were
    inward as a whole. one_sided: pieces in which no two sides can be told apart. crowded: edges
    with more than two triangles. closed: every edge is run through once each way.
    """

    triangles: Numbers
    turned: int
    inside_out: int
    one_sided: int
    crowded: int
    closed: bool


def turned(vertices: Floats, triangles: Numbers) -> Turned:
    """Turn triangles (m, 3) to agree; the fewer are turned in each piece."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    edges = edges_of(triangles)
    pairs, shared = neighbours(edges)
    count = len(triangles)
    against = _same_way(edges, pairs, shared)
    # Each triangle twice, as it is and turned; a link joins the two states that agree.
    a, b = pairs[:, 0], pairs[:, 1]
    rows = np.concatenate([a, a + count])
    columns = np.concatenate([np.where(against, b + count, b), np.where(against, b, b + count)])
    links = coo_array((np.ones(len(rows), np.int8), (rows, columns)), shape=(2 * count, 2 * count))
    _, label = connected_components(links, directed=False)
    as_is, flipped = label[:count], label[count:]
    piece = np.unique(np.minimum(as_is, flipped), return_inverse=True)[1]
    pieces = int(piece.max()) + 1
    lost = np.zeros(pieces, bool)
    lost[piece[as_is == flipped]] = True
    flip = as_is > flipped
    size, against_most = np.bincount(piece, minlength=pieces), np.bincount(piece, flip, pieces)
    flip ^= (against_most > size / 2)[piece]
    flip &= ~lost[piece]
    made = np.where(flip[:, None], triangles[:, ::-1], triangles)
    whole = _whole(edges, piece, pieces) & ~lost
    corners = vertices[made] - vertices[made].mean(axis=(0, 1))
    volume = np.bincount(piece, np.linalg.det(corners), pieces)
    inward = whole & (volume < 0)
    made = np.where(inward[piece][:, None], made[:, ::-1], made)
    return Turned(
        made,
        int((flip & ~inward[piece]).sum() + (flip & inward[piece]).sum()),
        int(inward.sum()),
        int(lost.sum()),
        int((edges.uses > 2).sum()),
        is_closed(made),
    )


def is_closed(triangles: Numbers) -> bool:
    """Whether every edge is run through once each way, which a closed surface does."""
    edges = edges_of(triangles)
    if not (edges.uses == 2).all():
        return False
    forward = np.bincount(edges.of_side.ravel(), edges.forward.ravel(), len(edges.uses))
    return bool((forward == 1).all())


def _same_way(edges: Edges, pairs: Numbers, shared: Numbers) -> NDArray[np.bool_]:
    """Whether two neighbours run through their edge the same way, which they should not."""
    forward = np.bincount(edges.of_side.ravel(), edges.forward.ravel(), len(edges.uses))
    same: NDArray[np.bool_] = forward[shared] != 1
    return same


def _whole(edges: Edges, piece: Numbers, pieces: int) -> NDArray[np.bool_]:
    """Which pieces have two triangles at every edge."""
    open_side = (edges.uses[edges.of_side] != 2).any(axis=1)
    whole = np.ones(pieces, bool)
    whole[piece[open_side]] = False
    return whole
