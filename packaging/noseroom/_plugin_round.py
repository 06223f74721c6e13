"""Whether a body turns into itself: a pin in its hole, a wheel on its axle.

A turn that changes nothing needs no search, and a search among things so near to each other is
the longest there is.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.kernel import Pose, sub_shapes
from noseroom.geometry.mesh import Body
from noseroom.geometry.motions import Motions, Step, Turn

Floats = NDArray[np.float64]

ROUND_MM = 1e-6
"""What a body that turns into itself may stray, mm: less is no more than rounding."""
_LINE_MM = 1e-7
_LINE_RAD = 1e-10


def without_idle_turns(
    a: Body, rest_a: Pose, moves_a: Motions, b: Body, rest_b: Pose, moves_b: Motions
) -> tuple[Motions, Motions]:
    """Two motion sets in which turns that bring no new pose of the pair stand still.

    The first turns of a body about an axis that it turns into itself about; the last ones about
    an axis of the other one, where that one stands still.
    """
    first_a, first_b = _first_idle(a, rest_a, moves_a), _first_idle(b, rest_b, moves_b)
    last_a = _last_idle(first_a, b, rest_b, first_b)
    return last_a, _last_idle(first_b, a, rest_a, last_a)


def _first_idle(body: Body, rest: Pose, moves: Motions) -> Motions:
    steps = list(moves.steps)
    for k, step in enumerate(steps):
        if not turns_into_itself(body, rest, step):
            break
        steps[k] = _still(step)
    return Motions(tuple(steps))


def _last_idle(moves: Motions, other: Body, rest: Pose, others: Motions) -> Motions:
    if any(low < high for low, high in (step.interval for step in others.steps)):
        return moves
    # Where it stands still away from its rest, its axis is not where it was.
    place = others.pose(others.box()[0], rest)
    steps = list(moves.steps)
    for k in range(len(steps) - 1, -1, -1):
        if not turns_into_itself(other, place, steps[k]):
            break
        steps[k] = _still(steps[k])
    return Motions(tuple(steps))


def _still(step: Step) -> Step:
    if isinstance(step, Turn):
        angle = min(max(0.0, step.low_deg), step.high_deg)
        return Turn(step.through, step.axis, angle, angle)
    return step


def turns_into_itself(body: Body, place: Pose, step: Step) -> bool:
    """Whether a step is a turn that leaves a body, at its place, as it is: by its exact faces.

    "No" is no proof of the contrary: a free-form face may be round.
    """
    if not isinstance(step, Turn) or not body.faces:
        return False
    turn = place[:3, :3].T
    through = turn @ (np.asarray(step.through, dtype=np.float64) - place[:3, 3])
    way = turn @ np.asarray(step.axis, dtype=np.float64)
    return all(_face_is_round(face, through, way / np.linalg.norm(way)) for face in body.faces)


def _face_is_round(face: Any, through: Floats, way: Floats) -> bool:
    """Whether a face is one of revolution, all round, and so is every edge of it."""
    from OCP.BRep import BRep_Tool
    from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
    from OCP.GeomAbs import GeomAbs_CurveType, GeomAbs_SurfaceType

    surface = BRepAdaptor_Surface(face)
    kind = surface.GetType().name.removeprefix("GeomAbs_")
    if surface.GetType() == GeomAbs_SurfaceType.GeomAbs_Plane:
        normal = np.array(surface.Plane().Axis().Direction().Coord())
        if np.linalg.norm(np.cross(normal, way)) > _LINE_RAD:
            return False
    elif kind in ("Cylinder", "Cone", "Torus"):
        if not _same_line(getattr(surface, kind)().Axis(), through, way):
            return False
    elif kind == "Sphere":
        centre = np.array(surface.Sphere().Location().Coord())
        if np.linalg.norm(np.cross(centre - through, way)) > _LINE_MM:
            return False
    else:
        return False
    for edge in sub_shapes(face, "EDGE"):
        if BRep_Tool.Degenerated_s(edge) or BRep_Tool.IsClosed_s(edge, face):
            continue
        curve = BRepAdaptor_Curve(edge)
        all_round = curve.LastParameter() - curve.FirstParameter() > 2 * np.pi - _LINE_RAD
        if curve.GetType() != GeomAbs_CurveType.GeomAbs_Circle or not all_round:
            return False
        if not _same_line(curve.Circle().Axis(), through, way):
            return False
    return True


def _same_line(axis: Any, through: Floats, way: Floats) -> bool:
    point, along = np.array(axis.Location().Coord()), np.array(axis.Direction().Coord())
    off = np.linalg.norm(np.cross(point - through, way))
    return bool(off <= _LINE_MM and np.linalg.norm(np.cross(along, way)) <= _LINE_RAD)
