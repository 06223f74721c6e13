"""Blanks as solids: flat as they are cut, and folded as they are bolted in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from noseroom.errors import GeometryError
from noseroom.geometry.kernel import is_valid, load_cadquery, solids_of, transformed, volume_mm3
from noseroom.geometry.outlines import Circle, Path
from noseroom.geometry.sheet import Bend, Blank, Flange, Hole, folded_places
from noseroom.geometry.sheet_flat import (
    blank_area_mm2,
    flat_holes,
    flat_outline,
    folded_volume_mm3,
)

if TYPE_CHECKING:
    import cadquery as cq

_SAME = 1e-7


def flat_solid(blank: Blank) -> cq.Shape:
    """The blank as it is cut, from z = 0 to its thickness: one valid solid.

    Raises GeometryError: a hole or a bend is not where it may be; the outline meets itself.
    """
    made = plate(flat_outline(blank), flat_holes(blank), blank.thickness_mm)
    wanted = blank_area_mm2(blank) * blank.thickness_mm
    return _one_solid([made], wanted, "the blank's outline runs over itself in the flat")


def folded_solid(blank: Blank) -> cq.Shape:
    """The part once folded, where `folded_places` puts its flanges: one valid solid.

    Raises GeometryError: a hole or a bend is not where it may be; the part runs into itself.
    """
    flat_outline(blank)  # every bend lies on its flanges
    flat_holes(blank)
    pieces = folded_pieces(blank)
    fused = pieces[0].fuse(*pieces[1:]).clean() if len(pieces) > 1 else pieces[0]
    wanted = folded_volume_mm3(blank)
    return _one_solid(solids_of(fused), wanted, "the folded part runs into itself")


def folded_pieces(blank: Blank) -> list[cq.Shape]:
    """Solids of its flanges, then of its bends, each on its own, where they stand once folded."""
    places = folded_places(blank)
    made = [
        transformed(_flange_solid(flange, blank.thickness_mm), place)
        for flange, place in zip(blank.flanges, places, strict=True)
    ]
    return made + [
        transformed(_zone_solid(bend, blank.thickness_mm), places[bend.parent])
        for bend in blank.bends
    ]


def _one_solid(solids: list[cq.Shape], wanted_mm3: float, otherwise: str) -> cq.Shape:
    whole = len(solids) == 1 and is_valid(solids[0])
    found = sum(map(volume_mm3, solids))
    if not whole or abs(found - wanted_mm3) > _SAME * wanted_mm3:
        raise GeometryError(
            f"{otherwise}: {found:.3f} mm³ of {wanted_mm3:.3f} mm³ are left of it"
            if abs(found - wanted_mm3) > _SAME * wanted_mm3
            else f"{otherwise}, or touches itself"
        )
    return solids[0]


def _flange_solid(flange: Flange, thickness_mm: float) -> Any:
    return plate(flange.outline, flange.holes, thickness_mm)


def plate(outline: Path, holes: tuple[Hole, ...], thickness_mm: float) -> Any:
    """A flat plate with upright walls, from z = 0 up; mm."""
    cq = load_cadquery()
    face = cq.Face.makeFromWires(wire_of(outline), [wire_of(hole) for hole in holes])
    return cq.Solid.extrudeLinear(face, cq.Vector(0.0, 0.0, thickness_mm))


def wire_of(outline: Hole) -> Any:
    """A closed outline as the kernel's wire in z = 0."""
    cq = load_cadquery()
    if isinstance(outline, Circle):
        centre = cq.Vector(*outline.centre, 0.0)
        return cq.Wire.makeCircle(outline.diameter_mm / 2.0, centre, cq.Vector(0, 0, 1))
    edges = []
    for start, end, bulge in outline.sides():
        first, last = cq.Vector(*start, 0.0), cq.Vector(*end, 0.0)
        if not bulge:
            edges.append(cq.Edge.makeLine(first, last))
            continue
        # The arc's middle is off the chord's middle by half the chord times the bulge, to the
        # right of the way from start to end.
        x = (start[0] + end[0] + bulge * (end[1] - start[1])) / 2.0
        y = (start[1] + end[1] - bulge * (end[0] - start[0])) / 2.0
        edges.append(cq.Edge.makeThreePointArc(first, cq.Vector(x, y, 0.0), last))
    return cq.Wire.assembleEdges(edges)


def _zone_solid(bend: Bend, thickness_mm: float) -> Any:
    """The bent metal, in the parent's flat coordinates."""
    cq = load_cadquery()
    t, up = thickness_mm, bend.angle_deg > 0
    corners = [(*bend.start, 0.0), (*bend.end, 0.0), (*bend.end, t), (*bend.start, t)]
    face = cq.Face.makeFromWires(cq.Wire.makePolygon([cq.Vector(*c) for c in corners], close=True))
    height = t + bend.inside_mm if up else -bend.inside_mm
    axis = cq.Vector(*bend.end, height), cq.Vector(*bend.start, height)
    return cq.Solid.revolve(face, bend.angle_deg, *axis)
