"""Holes and borders: the lines along which a scan ends, and surfaces that span them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.scan_edges import Numbers, edges_of, loops_of, pieces_of
from noseroom.geometry.scan_types import Floats, Hole, Ints

_BORDER_SHARE = 0.5


@dataclass(frozen=True, eq=False)
class End:
    """A closed line along which a surface ends.

    corners: (k,) vertex numbers in order. piece: the separate piece it belongs to, numbered as by
    `pieces_of`. outer: it is that piece's border, not a hole in it.
    """

    corners: Numbers
    piece: int
    outer: bool


def ends_of(vertices: Floats, triangles: NDArray[np.integer]) -> list[End]:
    """Return every line along which a surface ends.

    A piece's border is its longest line that reaches over at least half of it, both taken as the
    diagonal of the box; every other line is a hole.
    """
    loops = loops_of(triangles)
    if not loops:
        return []
    sizes, label = _piece_sizes(vertices, triangles)
    spans = np.array([float(np.linalg.norm(np.ptp(vertices[loop], axis=0))) for loop in loops])
    owners = [int(label[loop[0]]) for loop in loops]
    longest: dict[int, int] = {}
    for number in np.argsort(spans, kind="stable").tolist():
        if spans[number] >= _BORDER_SHARE * sizes[owners[number]]:
            longest[owners[number]] = number
    border = set(longest.values())
    return [
        End(loop, owner, number in border)
        for number, (loop, owner) in enumerate(zip(loops, owners, strict=True))
    ]


def holes_and_border(
    vertices: Floats, triangles: NDArray[np.integer]
) -> tuple[tuple[Hole, ...], tuple[Hole, ...]]:
    """Return a surface's holes and the borders of its separate pieces, the widest first."""
    made = [(end.outer, hole_of(vertices[end.corners])) for end in ends_of(vertices, triangles)]
    made.sort(key=lambda one: -one[1].width_mm)
    return (
        tuple(hole for outer, hole in made if not outer),
        tuple(hole for outer, hole in made if outer),
    )


def _piece_sizes(vertices: Floats, triangles: NDArray[np.integer]) -> tuple[Floats, Numbers]:
    """Diagonal of each piece's box, mm, and the piece of each vertex (-1 for none)."""
    count, piece = pieces_of(triangles)
    label = np.full(len(vertices), -1, np.int64)
    label[triangles[:, 0]] = piece
    label[triangles[:, 1]] = piece
    label[triangles[:, 2]] = piece
    low = np.full((count, 3), np.inf)
    high = np.full((count, 3), -np.inf)
    used = np.flatnonzero(label >= 0)
    np.minimum.at(low, label[used], vertices[used])
    np.maximum.at(high, label[used], vertices[used])
    size: Floats = np.linalg.norm(high - low, axis=1)
    return size, label


def hole_of(loop: Floats) -> Hole:
    """Measure a closed line, (k, 3) mm, and span it."""
    ways = principal_ways(loop)
    extents = np.ptp(loop @ ways.T, axis=0)
    length, width, _ = sorted(extents.tolist(), reverse=True)
    return Hole(loop, width, length, cap_of(loop))


def principal_ways(points: Floats) -> Floats:
    """Unit vectors (3, 3), a row each, from the widest spread of points (k, 3) to the least."""
    _, ways = np.linalg.eigh(np.cov((points - points.mean(axis=0)).T))
    rows: Floats = ways.T[::-1]
    return rows


def cap_of(loop: Floats) -> tuple[Floats, Ints]:
    """A surface with the line as its only edge: its corners and triangles.

    It uses the line's own corners where the line can be laid flat, else a fan from the middle.
    """
    count = len(loop)
    if count == 3:
        return loop, np.array([[0, 1, 2]], np.int32)
    flat = _laid_flat(loop)
    if flat is not None:
        return loop, flat
    near = np.arange(count)
    fan = np.stack([near, np.roll(near, -1), np.full(count, count)], axis=1).astype(np.int32)
    return np.concatenate([loop, loop.mean(axis=0)[None]]), fan


def _laid_flat(loop: Floats) -> Ints | None:
    """Triangles of the line seen square to its plane; None where its edges are not its own."""
    from manifold3d import triangulate

    ways = principal_ways(loop)
    normal = np.cross(loop - loop.mean(axis=0), np.roll(loop, -1, axis=0) - loop.mean(axis=0)).sum(
        axis=0
    )
    if np.linalg.norm(normal) > 0:
        normal = normal / np.linalg.norm(normal)
        first = np.cross(normal, ways[0] if abs(normal @ ways[0]) < 0.9 else ways[1])
        first /= np.linalg.norm(first)
        ways = np.stack([first, np.cross(normal, first), normal])
    plane = np.ascontiguousarray((loop - loop.mean(axis=0)) @ ways[:2].T)
    made = np.asarray(triangulate([plane], 1e-9), dtype=np.int32).reshape(-1, 3)
    if len(made) != len(loop) - 2 or made.min() < 0 or made.max() >= len(loop):
        return None
    edges = edges_of(made)
    rim = edges.ends[edges.uses == 1]
    near = np.arange(len(loop))
    own = np.sort(np.stack([near, np.roll(near, -1)], axis=1), axis=1)
    if not np.array_equal(rim, own[np.lexsort(own.T[::-1])]) or (edges.uses > 2).any():
        return None
    return made
