"""The few solids that parts are made of, so that no part module repeats the kernel's calls.

Every function loads CadQuery when it is called, not before. Lengths in mm, local frame.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import suppress
from itertools import pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import cadquery as cq

Triple = tuple[float, float, float]


def box(low: Triple, high: Triple) -> cq.Shape:
    """A box by two opposite corners."""
    import cadquery as cq

    size = [b - a for a, b in zip(low, high, strict=True)]
    return cq.Solid.makeBox(*size, pnt=cq.Vector(*low))


def cylinder(start: Triple, direction: Triple, length: float, radius: float) -> cq.Shape:
    """A cylinder from the centre of its first end along a direction."""
    import cadquery as cq

    return cq.Solid.makeCylinder(radius, length, cq.Vector(*start), cq.Vector(*direction))


def ring(start: Triple, direction: Triple, length: float, inner: float, outer: float) -> cq.Shape:
    """A tube with flat ends."""
    return joined(
        [cylinder(start, direction, length, outer)],
        without=[cylinder(start, direction, length, inner)],
    )


def joined(shapes: Sequence[cq.Shape], without: Sequence[cq.Shape] = ()) -> cq.Shape:
    """One shape of several, less others; a lone solid comes back as a solid, not a compound."""
    first, *rest = shapes
    whole = first.fuse(*rest).clean() if rest else first
    if without:
        whole = whole.cut(*without)
    solids = whole.Solids()
    return solids[0] if len(solids) == 1 else whole


def compound(shapes: Sequence[cq.Shape]) -> cq.Shape:
    """Several solids as one shape, not fused."""
    import cadquery as cq

    return cq.Compound.makeCompound(list(shapes))


def ruled(first: Iterable[Sequence[float]], last: Iterable[Sequence[float]]) -> cq.Shape:
    """A solid ruled between two polygons, corner to corner: points (3,) in the same order."""
    import cadquery as cq

    wires = [
        cq.Wire.makePolygon([cq.Vector(*map(float, point)) for point in polygon], close=True)
        for polygon in (first, last)
    ]
    return cq.Solid.makeLoft(wires, True)


def turned(profile: Sequence[tuple[float, float]]) -> cq.Shape:
    """A profile of (x, radius) corners turned once round the x axis."""
    import cadquery as cq

    corners = [cq.Vector(x, radius, 0.0) for x, radius in profile]
    outline = cq.Wire.makePolygon(corners, close=True)
    return cq.Solid.revolve(outline, [], 360.0, cq.Vector(0, 0, 0), cq.Vector(1, 0, 0))


def band(
    outer: Sequence[Sequence[Sequence[float]]],
    inner: Sequence[Sequence[Sequence[float]]],
    low: float,
    high: float,
) -> cq.Shape:
    """What lies between two closed loops of arcs and straight spans, from x = low to x = high.

    Each loop: its arcs in order, each by its first, middle and last point (y, z). Straight spans
    join an arc's last point to the next one's first; a single arc stands for a whole circle, of
    which the middle point is opposite the first.
    """
    import cadquery as cq

    outside, inside = (_loop(arcs, low) for arcs in (outer, inner))
    return cq.Solid.extrudeLinear(outside, [inside], cq.Vector(high - low, 0, 0))


def _loop(arcs: Sequence[Sequence[Sequence[float]]], x: float) -> cq.Wire:
    import cadquery as cq

    placed = [[cq.Vector(x, float(y), float(z)) for y, z in arc] for arc in arcs]
    if len(placed) == 1:
        first, opposite, _ = placed[0]
        middle = (first + opposite) / 2
        radius = (first - opposite).Length / 2
        return cq.Wire.makeCircle(radius, middle, cq.Vector(1, 0, 0))
    edges = []
    for arc, following in zip(placed, [*placed[1:], placed[0]], strict=True):
        edges.append(cq.Edge.makeThreePointArc(*arc))
        edges.append(cq.Edge.makeLine(arc[2], following[0]))
    return cq.Wire.assembleEdges(edges)


def round_run(run: Sequence[Triple], radius: float) -> cq.Shape:
    """A round bar along straight legs between points, its bends filled by a ball.

    Where no skin can be swept (a leg too short for the bends at its ends), legs and balls stay
    solids of their own that overlap: the space is the same, but its volume is not their sum.
    """
    import cadquery as cq

    points = [cq.Vector(*point) for point in run]
    # About one run in two hundred makes the kernel fail from one end, and not from the other. Its
    # exceptions have no ancestor in common but Exception.
    for path in (points, points[::-1]):
        start = cq.Wire.makeCircle(radius, path[0], path[1] - path[0])
        with suppress(Exception):
            swept = cq.Solid.sweep(start, [], cq.Wire.makePolygon(path), transitionMode="round")
            if swept.isValid():
                return swept
    legs = [cq.Solid.makeCylinder(radius, (b - a).Length, a, b - a) for a, b in pairwise(points)]
    balls = [cq.Solid.makeSphere(radius, at, cq.Vector(0, 0, 1), -90, 90) for at in points[1:-1]]
    return compound([*legs, *balls])
