"""The few solids that parts are made of, so that no part module repeats the kernel's calls.

Every function loads CadQuery when it is called, not before. Lengths in mm, local frame.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import suppress
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
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

    way = _way_to_sweep(tuple(map(tuple, run)), radius)
    if way:
        return _swept(run[::way], radius)
    points = [cq.Vector(*point) for point in run]
    legs = [cq.Solid.makeCylinder(radius, (b - a).Length, a, b - a) for a, b in pairwise(points)]
    balls = [cq.Solid.makeSphere(radius, at, cq.Vector(0, 0, 1), -90, 90) for at in points[1:-1]]
    return compound([*legs, *balls])


def _swept(run: Sequence[Triple], radius: float) -> cq.Shape:
    import cadquery as cq

    path = [cq.Vector(*point) for point in run]
    start = cq.Wire.makeCircle(radius, path[0], path[1] - path[0])
    return cq.Solid.sweep(start, [], cq.Wire.makePolygon(path), transitionMode="round")


@lru_cache(maxsize=256)
def _way_to_sweep(run: tuple[Triple, ...], radius: float) -> int:
    """From which end a skin can be swept along a run: 1, -1 from the far one, 0 from neither.

    Of runs with a bend tighter than the bar is thick, one in six gives a skin that the kernel's
    checker likes here and dislikes once it has been through a STEP file: so it is sent through one.
    """
    for way in (1, -1):
        # The kernel's exceptions have no ancestor in common but Exception.
        with suppress(Exception):
            swept = _swept(run[::way], radius)
            if swept.isValid() and _comes_back(swept):
                return way
    return 0


def _comes_back(shape: cq.Shape) -> bool:
    """Whether a shape is still valid when it has been written as STEP and read again."""
    import cadquery as cq

    from noseroom.geometry.kernel import is_valid
    from noseroom.geometry.step_files import read_step_parts, write_step

    whole = cq.Assembly(name="tried")
    whole.add(shape, name="one")
    with TemporaryDirectory() as folder:
        path = Path(folder, "tried.step")
        write_step(whole, path)
        return all(is_valid(one) for one in read_step_parts(path).values())
