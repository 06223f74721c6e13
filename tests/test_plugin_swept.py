"""`Assembly.sweptSpace`: nothing that passes through is ever outside; and it is not much larger."""

from __future__ import annotations

import math
from typing import Any

import cadquery as cq
import numpy as np
import pytest
from OCP.BRepClass3d import BRepClass3d_SolidClassifier
from OCP.gp import gp_Pnt
from OCP.TopAbs import TopAbs_State

from noseroom._plugin_round import turns_into_itself
from noseroom.errors import GeometryError
from noseroom.geometry.kernel import is_valid
from noseroom.geometry.mesh import body_from_shape
from noseroom.plugin import Shift, Turn, register

register()

ABOUT_Z = {"through": (0, 0, 0), "axis": (0, 0, 1)}


def alone(shape: Any, at: cq.Location | None = None) -> cq.Assembly:
    return cq.Assembly(name="r").add(shape, name="a", loc=at or cq.Location())


def holds(space: cq.Shape, points: np.ndarray) -> np.ndarray:
    """Which points the kernel says are in, or on, any solid."""
    found = np.zeros(len(points), dtype=bool)
    for solid in space.Solids():
        asked = BRepClass3d_SolidClassifier(solid.wrapped)
        for k, point in enumerate(points):
            asked.Perform(gp_Pnt(*map(float, point)), 1e-6)
            found[k] |= asked.State() in (TopAbs_State.TopAbs_IN, TopAbs_State.TopAbs_ON)
    return found


def ell() -> cq.Workplane:
    return (
        cq.Workplane().polyline([(0, 0), (30, 0), (30, 6), (6, 6), (6, 24), (0, 24)]).close()
        .extrude(8)
    )  # fmt: skip


SOLIDS = [
    cq.Workplane().box(30, 8, 6),
    ell(),
    cq.Workplane(obj=cq.Solid.makeTorus(12, 3)),
    cq.Workplane().box(20, 20, 20).cut(cq.Workplane().box(14, 14, 14)),
]


@pytest.mark.parametrize("seed", range(6))
def test_nothing_that_passes_through_is_outside(seed: int) -> None:
    """Independent: points of the surface, carried by CadQuery's locations, asked of the kernel."""
    rng = np.random.default_rng(seed)
    shape = SOLIDS[seed % len(SOLIDS)]
    at = cq.Location(cq.Vector(*rng.uniform(-20, 20, 3)), cq.Vector(*rng.normal(size=3)), 50.0)
    through, axis = rng.uniform(-15, 15, 3), rng.normal(size=3)
    way = rng.normal(size=3)
    moving = {"r/a": [Turn(through, axis, -35, 50), Shift(way, -4, 9)][: 1 + seed % 2]}
    space = alone(shape, at).sweptSpace("r/a", moving, within_mm=5)
    assert is_valid(space)
    vertices, _ = shape.val().tessellate(1.0)
    points = np.array([v.toTuple() for v in vertices])
    centre, there = cq.Vector(*through), []
    for _ in range(12):
        turn = cq.Location((0, 0, 0), tuple(axis), float(np.clip(rng.uniform(-60, 75), -35, 50)))
        move = cq.Location(centre) * turn * cq.Location(-centre)
        if seed % 2:
            unit = way / np.linalg.norm(way)
            move = cq.Location(cq.Vector(*(unit * float(rng.uniform(-4, 9))))) * move
        trsf = (at * move).wrapped.Transformation()
        some = points[rng.permutation(len(points))[:8]]
        there += [gp_Pnt(*map(float, p)).Transformed(trsf).Coord() for p in some]
    assert holds(space, np.array(there)).all()


def test_a_block_that_slides_sweeps_a_block() -> None:
    """By hand: 10 x 10 x 10, 30 along x; larger by at most 1 on every side."""
    made = alone(cq.Workplane().box(10, 10, 10), cq.Location(0, 0, 100))
    space = made.sweptSpace("r/a", {"r/a": Shift((1, 0, 0), 0, 30)}, within_mm=1)
    box = space.BoundingBox()
    low, high = (box.xmin, box.ymin, box.zmin), (box.xmax, box.ymax, box.zmax)
    for found, true in zip(low, (-5, -5, 95), strict=True):
        assert true - 1 <= found <= true
    for found, true in zip(high, (35, 5, 105), strict=True):
        assert true <= found <= true + 1
    assert 40 * 10 * 10 <= space.Volume() <= 42 * 12 * 12


def test_a_bar_that_turns_all_round_sweeps_a_disc() -> None:
    """By hand: radius hypot(30, 4) and 6 high; the octahedral growth adds up to 2 all round."""
    made = alone(cq.Workplane(origin=(15, 0, 0)).box(30, 8, 6))
    turn = Turn(**ABOUT_Z, low_deg=0, high_deg=360)
    space = made.sweptSpace("r/a", {"r/a": turn}, within_mm=2)
    radius = math.hypot(30, 4)
    assert math.pi * radius**2 * 6 <= space.Volume() <= math.pi * (radius + 2) ** 2 * 10
    box = space.BoundingBox()
    assert radius <= box.xmax <= radius + 2 + 0.1


def test_room_that_nothing_passes_through_stays_open() -> None:
    """By hand: a ring of 20 to 30 that rises by 5 leaves its bore, and a box its closed hollow."""
    ring = cq.Workplane().circle(30).circle(20).extrude(10)
    space = alone(ring).sweptSpace("r/a", {"r/a": Shift((0, 0, 1), 0, 5)}, within_mm=1)
    assert not holds(space, np.array([[0, 0, 5.0], [15, 0, 5]])).any()
    assert holds(space, np.array([[25.0, 0, 12], [0, 21, 1]])).all()
    hollow = cq.Workplane().box(60, 60, 60).cut(cq.Workplane().box(50, 50, 50))
    space = alone(hollow).sweptSpace("r/a", {"r/a": Shift((0, 0, 1), 0, 5)}, within_mm=1)
    assert not holds(space, np.array([[0, 0, 2.5]])).any()
    assert is_valid(space)


def test_a_group_goes_with_what_carries_it_and_the_same_input_gives_the_same_solid() -> None:
    arm = cq.Assembly(name="arm").add(cq.Workplane(origin=(20, 0, 0)).box(40, 4, 4), name="bar")
    arm.add(cq.Workplane(origin=(50, 0, 0)).box(6, 6, 6), name="tool")
    made = cq.Assembly(name="r").add(arm)
    moving = {"r/arm": Turn(**ABOUT_Z, low_deg=0, high_deg=90)}
    tool, again = (made.sweptSpace("r/arm/tool", moving) for _ in range(2))
    assert tool.Volume() == again.Volume()
    assert holds(tool, np.array([[50.0, 0, 0], [0, 50, 0], [35.3, 35.3, 0]])).all()
    whole = made.sweptSpace("r/arm", moving)
    assert holds(whole, np.array([[0, 50.0, 0], [0, 20, 0]])).all()


@pytest.mark.parametrize(
    ("name", "more", "told"),
    [
        ("r/b", {}, "'r/b' is not here; there are r, r/a"),
        ("r/a", {"within_mm": 0}, "within_mm is 0; expected a length above 0 mm"),
        ("r/a", {"within_mm": 1e-6}, "that needs more than 2000 steps"),
        ("r/a", {"axes": "x"}, "axes is 'x'"),
    ],
)
def test_what_cannot_be_swept_is_said(name: str, more: dict[str, Any], told: str) -> None:
    moving = {"r/a": Turn(**ABOUT_Z, low_deg=0, high_deg=90)}
    with pytest.raises(GeometryError) as raised:
        alone(cq.Workplane().box(30, 8, 6)).sweptSpace(name, moving, **more)
    assert told in str(raised.value)


ROUND = [
    cq.Workplane().cylinder(12, 4),
    cq.Workplane().sphere(5),
    cq.Workplane(obj=cq.Solid.makeCone(6, 2, 9)),
    cq.Workplane(obj=cq.Solid.makeTorus(12, 3)),
    cq.Workplane().circle(30).circle(20).extrude(10),
    cq.Workplane().cylinder(12, 4).faces(">Z").edges().fillet(1),
]
NOT_ROUND = [
    cq.Workplane().box(4, 4, 4),
    cq.Workplane().cylinder(12, 4).cut(cq.Workplane(origin=(6, 0, 0)).box(5, 20, 20)),
    cq.Workplane().cylinder(12, 4).faces(">Z").workplane().pushPoints([(1, 0)]).hole(1),
    cq.Workplane().cylinder(12, 4).translate((1e-3, 0, 0)),
    cq.Workplane().cylinder(12, 4).rotate((0, 0, 0), (1, 0, 0), 0.01),
    cq.Workplane().cylinder(12, 4).cut(cq.Workplane("XZ").cylinder(20, 1)),
]


@pytest.mark.parametrize("k", range(6))
def test_only_what_is_round_all_about_turns_into_itself(k: int) -> None:
    turn, place = Turn(**ABOUT_Z, low_deg=0, high_deg=90), np.eye(4)
    assert turns_into_itself(body_from_shape("b", ROUND[k].val()), place, turn)
    assert not turns_into_itself(body_from_shape("b", NOT_ROUND[k].val()), place, turn)
    assert not turns_into_itself(
        body_from_shape("b", ROUND[k].val()), place, Turn((0, 0.01, 0), (0, 0, 1), 0, 90)
    )
