"""Unfolding a solid of sheet metal, from its faces alone.

Nothing of how a blank folds is used here: flats and bends are found as the solid shows them, and
each flat is laid beside the one before it, the length of the bend's neutral line away.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.kernel import volume_mm3
from noseroom.geometry.outlines import Circle, Path, Point, tidied
from noseroom.geometry.sheet import Bend, Blank, Flange, Hole
from noseroom.geometry.sheet_faces import Faces, Flat, Rolled, Side, thickness_of
from noseroom.geometry.sheet_flat import folded_volume_mm3

if TYPE_CHECKING:
    import cadquery as cq

Floats = NDArray[np.float64]
NeutralLine = float | Callable[[float, float], float]
"""K, or what gives it for an inside radius and a thickness, mm."""

_SAME_MM = 1e-6
_SAME_VOLUME = 1e-7
_PARALLEL = 1e-9


def unfold(
    solid: cq.Shape, k: NeutralLine, root: tuple[float, float, float] | None = None
) -> Blank:
    """The blank that a folded solid is bent from; folding it gives the solid again.

    root: a point (x, y, z), mm, on the flat that becomes the first flange; that side of it is the
    upper one. None: on the largest. A flat with its upper side towards +z keeps its x and y.

    Raises GeometryError where the solid is no sheet of one thickness, cut upright and bent along
    straight lines, each bend as long as its zone is and without holes in it, or is closed on
    itself.
    """
    faces = Faces(solid)
    thickness, skins = thickness_of(faces)
    first = _first(faces, skins, root)
    flanges: list[Flange] = []
    bends: list[Bend] = []
    waiting = [(first, _laid_first(faces, first))]
    met = {first.number}
    while waiting:
        flat, laid = waiting.pop(0)
        number = len(flanges)
        outer, *inner = faces.rounds(flat)
        sides = _anticlockwise(outer, laid)
        flanges.append(Flange(_path(sides, laid), tuple(_hole(one, laid) for one in inner)))
        for side in sides:
            rolled = _bend_at(faces, flat, side)
            if rolled is None or rolled.number in met:
                continue
            met.add(rolled.number)
            bend, beyond, place = _beyond(faces, flat, laid, side, rolled, thickness, k)
            if beyond.number in met:
                raise GeometryError("the solid is closed on itself: it cannot be laid flat")
            met.add(beyond.number)
            child = number + 1 + len(waiting)
            bends.append(_numbered(bend, number, child))
            waiting.append((beyond, place))
    blank = Blank(thickness, tuple(flanges), tuple(bends))
    wanted, found = volume_mm3(solid), folded_volume_mm3(blank)
    if abs(wanted - found) > _SAME_VOLUME * wanted:
        raise GeometryError(
            f"the solid is no sheet of one thickness: it has {wanted:.3f} mm³, and what unfolds "
            f"from it {found:.3f} mm³ at {thickness:.3f} mm"
        )
    return blank


@dataclass(frozen=True)
class _Laid:
    """Where a flat lies in the blank: its plane's x and y from origin, shifted by corner."""

    origin: Floats
    x: Floats
    y: Floats
    corner: Floats

    def flat(self, point: Floats) -> Point:
        off = point - self.origin
        return float(self.corner[0] + off @ self.x), float(self.corner[1] + off @ self.y)


def _first(faces: Faces, skins: list[Flat], root: tuple[float, float, float] | None) -> Flat:
    if root is None:
        # Both sides of it are as large: the one that looks up, or ahead, is the same each time.
        return max(skins, key=lambda one: (round(one.area_mm2, 3), *one.normal[::-1].round(6)))
    found = [one for one in skins if _has(one, root)]
    if not found:
        raise GeometryError(f"no flat of the solid has the point {root} on its surface")
    return found[0]


def _has(flat: Flat, point: tuple[float, float, float]) -> bool:
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape
    from OCP.gp import gp_Pnt

    vertex = BRepBuilderAPI_MakeVertex(gp_Pnt(*point)).Vertex()
    return bool(BRepExtrema_DistShapeShape(vertex, flat.face).Value() < _SAME_MM)


def _laid_first(faces: Faces, flat: Flat) -> _Laid:
    """Its x and y as in space where it looks up; else x along its first straight side."""
    if flat.normal[2] > 1.0 - _PARALLEL:
        return _Laid(np.zeros(3), np.eye(3)[0], np.eye(3)[1], np.zeros(2))
    sides = faces.rounds(flat)[0]
    start, along = next(
        ((one.start, one.end - one.start) for one in sides if one.straight),
        (flat.middle, np.cross(flat.normal, np.roll(flat.normal, 1))),
    )
    x = along / np.linalg.norm(along)
    return _Laid(start, x, np.cross(flat.normal, x), np.zeros(2))


def _anticlockwise(sides: list[Side], laid: _Laid) -> list[Side]:
    if len(sides) == 1:
        return sides
    if _raw(sides, laid).area_mm2 > 0:
        return sides
    return [one.back() for one in reversed(sides)]


def _raw(sides: list[Side], laid: _Laid) -> Path:
    points = tuple(laid.flat(one.start) for one in sides)
    return Path(points, tuple(_bulge(one, laid) for one in sides))


def _bulge(side: Side, laid: _Laid) -> float:
    """How far the arc's middle is to the right of the chord, by half the chord."""
    if side.straight:
        return 0.0
    (x0, y0), (x, y), (x1, y1) = (laid.flat(one) for one in (side.start, side.middle, side.end))
    ux, uy = x1 - x0, y1 - y0
    right = (x - (x0 + x1) / 2.0) * uy - (y - (y0 + y1) / 2.0) * ux
    return 2.0 * right / (ux * ux + uy * uy)


def _circle(sides: list[Side], laid: _Laid) -> Circle | None:
    """A whole circle, in however many arcs; None: something else."""
    centre = sides[0].centre
    for one in sides:
        if centre is None or one.centre is None or np.linalg.norm(one.centre - centre) > _SAME_MM:
            return None
    if centre is None:
        return None
    return Circle(laid.flat(centre), 2.0 * sides[0].radius_mm)


def _path(sides: list[Side], laid: _Laid) -> Path:
    circle = _circle(sides, laid)
    return tidied(_raw(sides, laid), _SAME_MM) if circle is None else circle.as_path()


def _hole(sides: list[Side], laid: _Laid) -> Hole:
    return _circle(sides, laid) or _path(_anticlockwise(sides, laid), laid)


def _bend_at(faces: Faces, flat: Flat, side: Side) -> Rolled | None:
    """The bend that begins at a side of a flat, tangent to it; None: an edge of the sheet."""
    other = faces.across(side, flat)
    if not side.straight or isinstance(other, Flat):
        return None
    height = float((other.foot - side.start) @ flat.normal)
    along = (side.end - side.start) / np.linalg.norm(side.end - side.start)
    lies = abs(abs(float(along @ other.axis)) - 1.0) < _PARALLEL
    return other if lies and abs(abs(height) - other.radius_mm) < _SAME_MM else None


def _beyond(
    faces: Faces,
    flat: Flat,
    laid: _Laid,
    side: Side,
    rolled: Rolled,
    thickness: float,
    k: NeutralLine,
) -> tuple[Bend, Flat, _Laid]:
    """A bend, the flat beyond it on the same side of the sheet, and where that is laid."""
    outer, *holes = faces.rounds(rolled)
    lines = [one for one in outer if one.straight]
    if holes or len(lines) != 2:
        raise GeometryError("a bend has a hole or a notch in it: it cannot be laid flat")
    far = next(one for one in lines if one.number != side.number)
    beyond = faces.across(far, rolled)
    if not isinstance(beyond, Flat):
        raise GeometryError("a bend goes over into another: a flat has to lie between them")
    along = (side.end - side.start) / np.linalg.norm(side.end - side.start)
    if (far.end - far.start) @ along < 0:
        far = far.back()
    lifts = float((rolled.foot - side.start) @ flat.normal) > 0
    inside = rolled.radius_mm - (0.0 if lifts else thickness)
    if max(abs((far.start - side.start) @ along), abs((far.end - side.end) @ along)) > _SAME_MM:
        raise GeometryError("the ends of a bend are not square to it")
    if inside < _SAME_MM:
        raise GeometryError("a bend has no inside radius")
    turned = float(flat.normal @ beyond.normal)
    if abs(math.cos(rolled.angle) - turned) > _SAME_MM:
        raise GeometryError("a bend is not tangent to the flats on both of its sides")
    share = k if isinstance(k, float | int) else k(inside, thickness)
    angle = math.degrees(rolled.angle) * (1.0 if lifts else -1.0)
    start, end = laid.flat(side.start), laid.flat(side.end)
    bend = Bend(0, 1, start, end, angle, inside, share)
    # In the blank, along is where start leads to end, and out is to the right of it.
    ahead = np.subtract(end, start) / math.dist(start, end)
    out = np.array([ahead[1], -ahead[0]])
    corner = np.array(start) + out * rolled.angle * (inside + share * thickness)
    # In space the flat beyond has the same along, and out in its own plane; in the blank both are
    # turned as the flat before it is.
    away = np.cross(along, beyond.normal)
    x = along * ahead[0] + away * out[0]
    y = along * ahead[1] + away * out[1]
    return bend, beyond, _Laid(far.start, x, y, corner)


def _numbered(bend: Bend, parent: int, child: int) -> Bend:
    return Bend(parent, child, bend.start, bend.end, bend.angle_deg, bend.inside_mm, bend.k)
