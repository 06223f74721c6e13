"""The faces of a sheet-metal solid as the kernel has them: flats, rolled faces, their outlines."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.kernel import sub_shapes

if TYPE_CHECKING:
    import cadquery as cq

Floats = NDArray[np.float64]

_SAME_MM = 1e-6
_SAME_SHARE = 1e-6
_PARALLEL = 1e-9


@dataclass(frozen=True, eq=False)
class Flat:
    """A plane face. normal: unit, out of the metal. middle: of its area. area_mm2: with holes off.

    number: of the face.
    """

    number: int
    face: Any
    normal: Floats
    middle: Floats
    area_mm2: float


@dataclass(frozen=True, eq=False)
class Rolled:
    """A cylinder's face. axis: unit, through the point foot. angle: that it spans, rad."""

    number: int
    face: Any
    foot: Floats
    axis: Floats
    radius_mm: float
    angle: float


@dataclass(frozen=True, eq=False)
class Side:
    """An edge as one meets it on the way round a face. middle: halfway, on an arc.

    number: of the edge. straight: no arc. closed: a whole circle; then its centre and radius are
    of use, and start and end are the same.
    """

    number: int
    start: Floats
    middle: Floats
    end: Floats
    straight: bool
    centre: Floats | None = None
    radius_mm: float = 0.0

    @property
    def closed(self) -> bool:
        """Whether it ends where it began."""
        return bool(np.linalg.norm(self.end - self.start) < _SAME_MM)

    def back(self) -> Side:
        """The same, the other way."""
        return Side(
            self.number,
            self.end,
            self.middle,
            self.start,
            self.straight,
            self.centre,
            self.radius_mm,
        )


class Faces:
    """All faces of a solid, with who meets whom.

    Raises GeometryError on a face or an edge that no sheet cut upright and bent along straight
    lines can have.
    """

    def __init__(self, solid: cq.Shape) -> None:
        from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE
        from OCP.TopExp import TopExp
        from OCP.TopTools import TopTools_IndexedDataMapOfShapeListOfShape

        self._edges = TopTools_IndexedDataMapOfShapeListOfShape()
        TopExp.MapShapesAndAncestors_s(solid.wrapped, TopAbs_EDGE, TopAbs_FACE, self._edges)
        self._shapes = sub_shapes(solid.wrapped, "FACE")
        self.all = [_read(face, number) for number, face in enumerate(self._shapes)]

    @cached_property
    def flats(self) -> list[Flat]:
        """Its plane faces."""
        return [one for one in self.all if isinstance(one, Flat)]

    def across(self, side: Side, face: Flat | Rolled) -> Flat | Rolled:
        """The face on the other side of an edge of a face."""
        for other in self._edges.FindFromIndex(side.number):
            for number, shape in enumerate(self._shapes):
                if number != face.number and shape.IsSame(other):
                    return self.all[number]
        raise GeometryError("the solid is open: a face has an edge that no other face meets")

    def rounds(self, face: Flat | Rolled) -> list[list[Side]]:
        """The sides of a face, way round by way round, the outer one first."""
        from OCP.BRepTools import BRepTools

        outer = BRepTools.OuterWire_s(face.face)
        wires = [outer] + [one for one in sub_shapes(face.face, "WIRE") if not one.IsSame(outer)]
        return [list(self._sides(wire, face.face)) for wire in wires]

    def _sides(self, wire: Any, face: Any) -> Iterator[Side]:
        from OCP.BRep import BRep_Tool
        from OCP.BRepTools import BRepTools_WireExplorer

        explorer = BRepTools_WireExplorer(wire, face)
        met: list[tuple[Any, Floats]] = []
        while explorer.More():
            met.append((explorer.Current(), _xyz(BRep_Tool.Pnt_s(explorer.CurrentVertex()))))
            explorer.Next()
        for k, (edge, start) in enumerate(met):
            yield self._side(edge, start, met[(k + 1) % len(met)][1])

    def _side(self, edge: Any, start: Floats, end: Floats) -> Side:
        from OCP.BRepAdaptor import BRepAdaptor_Curve
        from OCP.GeomAbs import GeomAbs_CurveType

        curve, number = BRepAdaptor_Curve(edge), self._edges.FindIndex(edge)
        middle = _xyz(curve.Value((curve.FirstParameter() + curve.LastParameter()) / 2.0))
        if curve.GetType() == GeomAbs_CurveType.GeomAbs_Line:
            return Side(number, start, middle, end, straight=True)
        if curve.GetType() == GeomAbs_CurveType.GeomAbs_Circle:
            circle = curve.Circle()
            centre = _xyz(circle.Location())
            return Side(number, start, middle, end, False, centre, circle.Radius())
        raise GeometryError(
            "an edge of the solid is neither straight nor an arc: no sheet that is bent along "
            "straight lines has such"
        )


def thickness_of(faces: Faces) -> tuple[float, list[Flat]]:
    """The sheet's thickness, mm, and the flats that it lies between.

    Both sides of a flat have the same form, one thickness of metal apart.

    Raises GeometryError: no two plane faces are so.
    """
    behind = {one.number: _behind_mm(one, faces.flats) for one in faces.flats}
    thickness = min(behind.values(), default=math.inf)
    if not math.isfinite(thickness):
        raise GeometryError("the solid is no sheet: none of its faces has its like behind it")
    skins = [one for one in faces.flats if abs(behind[one.number] - thickness) < _SAME_MM]
    return thickness, skins


def _behind_mm(one: Flat, flats: list[Flat]) -> float:
    """How much metal there is to the nearest plane face behind a face that is its like."""
    found = math.inf
    for other in flats:
        if one.normal @ other.normal > _PARALLEL - 1.0:
            continue
        off = one.middle - other.middle
        deep = float(off @ one.normal)
        beside = float(np.linalg.norm(off - deep * one.normal))
        alike = abs(one.area_mm2 - other.area_mm2) < _SAME_SHARE * one.area_mm2
        if deep > _SAME_MM and beside < _SAME_MM and alike:
            found = min(found, deep)
    return found


def _read(face: Any, number: int) -> Flat | Rolled:
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.BRepGProp import BRepGProp
    from OCP.BRepTools import BRepTools
    from OCP.GeomAbs import GeomAbs_SurfaceType
    from OCP.GProp import GProp_GProps
    from OCP.TopAbs import TopAbs_REVERSED

    surface = BRepAdaptor_Surface(face)
    if surface.GetType() == GeomAbs_SurfaceType.GeomAbs_Plane:
        plane = surface.Plane()
        normal = _xyz(plane.Axis().Direction())
        if (face.Orientation() == TopAbs_REVERSED) == plane.Direct():
            normal = -normal
        properties = GProp_GProps()
        BRepGProp.SurfaceProperties_s(face, properties)
        return Flat(number, face, normal, _xyz(properties.CentreOfMass()), properties.Mass())
    if surface.GetType() == GeomAbs_SurfaceType.GeomAbs_Cylinder:
        cylinder = surface.Cylinder()
        first, last, _, _ = BRepTools.UVBounds_s(face)
        foot, axis = _xyz(cylinder.Axis().Location()), _xyz(cylinder.Axis().Direction())
        return Rolled(number, face, foot, axis, cylinder.Radius(), last - first)
    raise GeometryError(
        "a face of the solid is neither plane nor rolled to a radius: it is no sheet that is cut "
        "upright and bent along straight lines"
    )


def _xyz(point: Any) -> Floats:
    return np.array([point.X(), point.Y(), point.Z()])
