"""Bricks that fill a bracket, laid out in the flat and folded with it, for finite elements.

Rows of bricks run from bolt to bolt. Every node is carried by the fold itself, so that bends are
round to the last node, and inside and outside radius each their own. Holes are left filled: the
washers that cover them are as stiff.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.outlines import Point
from noseroom.geometry.sheet import Bend, Blank, fold_of, folded_places
from noseroom.geometry.strip_lines import Spot, Step, way_between

Floats = NDArray[np.float64]
Line = tuple[Floats, Floats]
"""A line across the strip in the flat: its right end and its left one, as one goes."""

_CHORD_MM = 0.02
_ARC_DEG = 25.0
"""A brick goes round no more of a bend than this."""
_ROUND_END = 0.5
"""Bricks end where a rounded end has left so much of the width."""


@dataclass(frozen=True, eq=False)
class StripMesh:
    """Nodes of bricks with middle nodes: (2 n + 1, 2 m + 1, 2 k + 1, 3) mm, folded.

    Along the strip, from right to left across it, and from the underside up. flat: (2 n + 1,
    2 m + 1, 2), the same in the flat. flanges: (2 n + 1,), the flange that a row lies in, -1 inside
    a bend. edges: rows at which a bend begins or ends.
    """

    nodes: Floats
    flat: Floats
    flanges: NDArray[np.int64]
    edges: tuple[int, ...]

    def below(self, spot: Spot) -> NDArray[np.bool_]:
        """Nodes (2 n + 1, 2 m + 1) below a bolt's washer."""
        off = np.linalg.norm(self.flat - np.array(spot.at), axis=2)
        return np.asarray(
            (off <= spot.washer_mm / 2.0 + 1e-6) & (self.flanges == spot.flange)[:, None]
        )


@dataclass(frozen=True, eq=False)
class _Rows:
    """Lines across a stretch of strip, each with where the fold carries it."""

    lines: list[Line]
    carry: list[Floats]
    flange: int


def strip_mesh(blank: Blank, spots: Sequence[Spot], size_mm: float, layers: int = 1) -> StripMesh:
    """Bricks along a strip through its bolts, in the order in which they are met.

    size_mm: about how long and wide a brick is. layers: through the thickness.
    Raises GeometryError where the bolts are not along one strip.
    """
    if len(spots) < 2:
        raise GeometryError("bricks are laid from bolt to bolt; found fewer than two bolts")
    way: list[Step] = []
    visited = [spots[0].flange]
    for first, last in pairwise(spots):
        for bend, down in way_between(blank, first.flange, last.flange):
            way.append((bend, down))
            visited.append(bend.child if down else bend.parent)
    if len(set(visited)) != len(visited):
        raise GeometryError("the bolts of this bracket are not along one strip")
    stretches = []
    places = folded_places(blank)
    for number, flange in enumerate(visited):
        before = _edge(blank, *way[number - 1], leaving=True) if number else None
        after = _edge(blank, *way[number], leaving=False) if number < len(way) else None
        here = [spot for spot in spots if spot.flange == flange]
        stretches.append(_flange_rows(blank, flange, before, after, here, places, size_mm))
        if number < len(way):
            stretches.append(_zone_rows(blank, *way[number], places, size_mm))
    return _mesh(blank, stretches, size_mm, layers)


def _edge(blank: Blank, bend: Bend, down: bool, *, leaving: bool) -> Line:
    """A zone's edge, where one comes to it or leaves it."""
    child = down == leaving
    start, end = bend.far_edge(blank.thickness_mm) if child else (bend.start, bend.end)
    return (np.array(start), np.array(end)) if down else (np.array(end), np.array(start))


def _zone_rows(
    blank: Blank, bend: Bend, down: bool, places: Sequence[Floats], size: float
) -> _Rows:
    wide = bend.allowance_mm(blank.thickness_mm)
    count = max(1, math.ceil(abs(bend.angle_deg) / _ARC_DEG), round(wide / size))
    lines, carry = [], []
    for step in range(2 * count + 1):
        share = step / (2 * count)
        share = share if down else 1.0 - share
        start, end = (np.array(one) for one in bend.far_edge(blank.thickness_mm, share))
        lines.append((start, end) if down else (end, start))
        carry.append(places[bend.parent] @ fold_of(bend, blank.thickness_mm, share))
    return _Rows(lines, carry, -1)


def _flange_rows(
    blank: Blank,
    flange: int,
    before: Line | None,
    after: Line | None,
    spots: Sequence[Spot],
    places: Sequence[Floats],
    size: float,
) -> _Rows:
    from shapely.geometry import Polygon

    outline: Any = Polygon(blank.flanges[flange].outline.sampled(_CHORD_MM)).buffer(1e-6)
    first, last = before, after
    if before is None or after is None:
        first, last = _with_free_ends(outline, before, after, spots)
    assert first is not None
    assert last is not None
    long = float(np.linalg.norm(_middle(last) - _middle(first)))
    count = max(2, math.ceil(long / size))
    lines = []
    for step in range(2 * count + 1):
        share = step / (2 * count)
        line = (1 - share) * first[0] + share * last[0], (1 - share) * first[1] + share * last[1]
        # The metal may be wider than the bend, but a row at its edge is the edge.
        keep = (step == 0 and before is not None) or (step == 2 * count and after is not None)
        lines.append(line if keep else _cut(outline, line))
    return _Rows(lines, [places[flange]] * len(lines), flange)


def _with_free_ends(
    outline: Any, before: Line | None, after: Line | None, spots: Sequence[Spot]
) -> tuple[Line, Line]:
    """The two lines between which a flange is laid out, where one of its ends is free at least."""
    if before is None and after is None:
        along = np.subtract(spots[-1].at, spots[0].at)
        along = along / np.linalg.norm(along)
        across = np.array([-along[1], along[0]])
    else:
        right, left = before if before is not None else after  # type: ignore[misc]
        across = (left - right) / np.linalg.norm(left - right)
        along = np.array([across[1], -across[0]])
    first = before if before is not None else _free(outline, spots[0].at, across, -along)
    last = after if after is not None else _free(outline, spots[-1].at, across, along)
    return first, last


def _free(outline: Any, at: Point, across: Floats, out: Floats) -> Line:
    """The last line across a free end, beyond its bolt."""
    around = np.array(outline.exterior.coords)
    far = float(((around - np.array(at)) @ out).max())
    here = _cut(outline, (np.array(at) - across, np.array(at) + across))
    least = _ROUND_END * float(np.linalg.norm(here[1] - here[0]))
    for share in np.linspace(1.0 - 1e-6, 0.1, 37):
        point = np.array(at) + share * far * out
        try:
            line = _cut(outline, (point - across, point + across))
        except GeometryError:
            continue
        if float(np.linalg.norm(line[1] - line[0])) >= least:
            return line
    raise GeometryError("a bracket has no metal beyond its bolt")


def _cut(outline: Any, line: Line) -> Line:
    """The line, drawn out or cut to where its flange's edge is."""
    import shapely
    from shapely.geometry import LineString

    right, left = line
    middle, way = (right + left) / 2.0, (left - right) / np.linalg.norm(left - right)
    x0, y0, x1, y1 = outline.bounds
    far = math.hypot(x1 - x0, y1 - y0) + float(np.linalg.norm(middle - np.array([x0, y0])))
    ray = LineString([middle - far * way, middle + far * way])
    for piece in shapely.get_parts(ray.intersection(outline)):
        along = [(np.array(one) - middle) @ way for one in piece.coords]
        if not along or max(along) - min(along) < 1e-3:
            continue
        if min(along) <= 1e-6 and max(along) >= -1e-6:
            return middle + min(along) * way, middle + max(along) * way
    raise GeometryError("there is no metal along the line between two bolts of a bracket")


def _middle(line: Line) -> Floats:
    return np.asarray((line[0] + line[1]) / 2.0)


def _mesh(blank: Blank, stretches: Sequence[_Rows], size: float, layers: int) -> StripMesh:
    widest = max(
        float(np.linalg.norm(left - right)) for rows in stretches for right, left in rows.lines
    )
    across = np.linspace(0.0, 1.0, 2 * max(2, math.ceil(widest / size)) + 1)
    up = np.linspace(0.0, blank.thickness_mm, 2 * layers + 1)
    flat: list[Floats] = []
    nodes: list[Floats] = []
    flanges: list[int] = []
    edges: list[int] = []
    for number, rows in enumerate(stretches):
        for step, ((right, left), carry) in enumerate(zip(rows.lines, rows.carry, strict=True)):
            row = right + across[:, None] * (left - right)
            if number and step == 0:
                # Shared with the stretch before; it is the flange's, not the bend's.
                edges.append(len(flat) - 1)
                if rows.flange >= 0:
                    flanges[-1] = rows.flange
                continue
            flat.append(row)
            flanges.append(rows.flange)
            points = np.empty((len(across), len(up), 3))
            points[..., :2], points[..., 2] = row[:, None, :], up[None, :]
            nodes.append(points @ carry[:3, :3].T + carry[:3, 3])
    return StripMesh(np.array(nodes), np.array(flat), np.array(flanges), tuple(edges))
