"""The few solids that parts are made of, so that no part module repeats the kernel's calls.

Every function loads CadQuery when it is called, not before. Lengths in mm, local frame.
"""

from __future__ import annotations

from collections.abc import Sequence
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


def ring(
    start: Triple, direction: Triple, length: float, inner: float, outer: float
) -> cq.Shape:
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
