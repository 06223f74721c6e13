"""A table of hard cases: how two bodies stand to each other, and what they are apart.

Distances and volumes are worked by hand from the sizes in the table.
"""

from dataclasses import dataclass
from typing import Any

import cadquery as cq
import numpy as np
import pytest
import trimesh

from noseroom.geometry.clearance import Relation, clearance
from noseroom.geometry.mesh import Body, body_from_mesh, body_from_shape
from truth_makers import at

APART, TOUCHING, OVERLAPPING, INSIDE, UNDECIDED = (
    Relation.APART,
    Relation.TOUCHING,
    Relation.OVERLAPPING,
    Relation.INSIDE,
    Relation.UNDECIDED,
)


def box(x, y=None, z=None, place=(0, 0, 0)):
    return cq.Workplane().box(x, y or x, z or x).translate(place)


def tube(outer, inner, height):
    return cq.Workplane().circle(outer).circle(inner).extrude(height / 2, both=True)


def several(*parts):
    return cq.Compound.makeCompound([part.val() for part in parts])


def shell(size, wall):
    return box(size).cut(box(size - 2 * wall))


def sheet(size, height=0.0, cells=8, bump=0.0):
    """An open scan: a square of triangles at a height, with a bump in the middle."""
    line = np.linspace(-size / 2, size / 2, cells + 1)
    x, y = (one.ravel() for one in np.meshgrid(line, line, indexing="ij"))
    z = height + bump * np.exp(-(x**2 + y**2) / (size / 8) ** 2)
    k = (np.arange(cells)[:, None] * (cells + 1) + np.arange(cells)).ravel()
    n = cells + 1
    faces = np.concatenate([np.c_[k, k + n, k + 1], np.c_[k + 1, k + n, k + n + 1]])
    return body_from_mesh("scan", np.c_[x, y, z], faces, deflection_mm=0.0)


def body(shape: Any) -> Body:
    if isinstance(shape, Body):
        return shape
    return body_from_shape("body", shape.val() if isinstance(shape, cq.Workplane) else shape)


@dataclass(frozen=True)
class Case:
    name: str
    a: Any
    b: Any
    relation: Relation
    gap_mm: float = 0.0
    common_mm3: float | None = None
    place: tuple[float, float, float] = (0, 0, 0)


def cases():
    ball = cq.Workplane().sphere(10)
    cup = box(60, 60, 60).cut(box(50, 50, 60, (0, 0, 5)))
    return [
        # compounds
        Case(
            "two solids, both within a block",
            box(100),
            several(box(10), box(10, place=(30, 0, 0))),
            INSIDE,
            common_mm3=2000,
        ),
        Case(
            "two solids, one within a block",
            box(100),
            several(box(10), box(10, place=(90, 0, 0))),
            OVERLAPPING,
            common_mm3=1000,
        ),
        Case(
            "two solids either side of a plate",
            box(4, 90, 90),
            several(box(10, place=(20, 0, 0)), box(10, place=(-12, 0, 0))),
            APART,
            5.0,
        ),
        Case(
            "a compound of compounds",
            several(box(10), box(10, place=(30, 0, 0))),
            cq.Compound.makeCompound([several(box(6, place=(15, 0, 0)))]),
            APART,
            7.0,
        ),
        Case(
            "solids of one body that touch",
            several(box(10), box(10, place=(10, 0, 0))),
            box(4, place=(5, 0, 9)),
            APART,
            2.0,
        ),
        Case(
            "solids of one body that overlap, round a block",
            several(box(20), box(20, place=(10, 0, 0))),
            box(4, place=(5, 0, 0)),
            INSIDE,
            common_mm3=64,
        ),
        Case(
            "solids of one body that overlap, beside a block",
            several(box(20), box(20, place=(10, 0, 0))),
            box(4, place=(5, 0, 15)),
            APART,
            3.0,
        ),
        # cavities and shells
        Case("in the room of a closed hollow", shell(100, 20), box(20), APART, 20.0),
        Case("a ball in a closed hollow", shell(60, 10), ball, APART, 10.0),
        Case("a hollow in a hollow", shell(100, 10), shell(60, 10), APART, 10.0),
        Case(
            "through the wall of a hollow",
            shell(100, 20),
            box(20),
            OVERLAPPING,
            0.0,
            4000.0,
            (30, 0, 0),
        ),
        Case(
            "within the wall of a hollow", shell(100, 20), box(10), INSIDE, 0.0, 1000.0, (40, 0, 0)
        ),
        Case(
            "one solid in a hollow, one in its wall",
            shell(100, 20),
            several(box(10), box(8, place=(40, 0, 0))),
            OVERLAPPING,
            common_mm3=512,
        ),
        Case("on the floor of a cup", cup, box(20), TOUCHING, place=(0, 0, -15)),
        Case("hanging in a cup", cup, box(20), APART, 3.0, place=(0, 0, -12)),
        Case(
            "a shell without solids round a box",
            cq.Shell.makeShell(box(50).val().Faces()),
            box(10),
            APART,
            20.0,
        ),
        Case(
            "a bare face before a box",
            box(50).faces(">X").val(),
            box(10),
            APART,
            10.0,
            place=(40, 0, 0),
        ),
        # nested
        Case("deep inside", box(100), box(20), INSIDE, common_mm3=8000),
        Case("off centre inside", box(100), box(20), INSIDE, common_mm3=8000, place=(33, -30, 11)),
        Case(
            "inside, flush with a side",
            box(100),
            box(20),
            INSIDE,
            common_mm3=8000,
            place=(40, 0, 0),
        ),
        Case("the same body twice", box(30), box(30), INSIDE, common_mm3=27000),
        Case("the same ball twice", ball, ball, INSIDE, common_mm3=4 / 3 * np.pi * 1000),
        # coincident faces
        Case("side to side", box(10), box(10), TOUCHING, place=(10, 0, 0)),
        Case("part of a side on part of a side", box(10), box(10), TOUCHING, place=(10, 7, 8)),
        Case("edge on edge", box(10), box(10), TOUCHING, place=(10, 10, 0)),
        Case("corner on corner", box(10), box(10), TOUCHING, place=(10, 10, 10)),
        Case("a ball on a plate", box(50, 50, 10), ball, TOUCHING, place=(0, 0, 15)),
        Case(
            "discs face to face",
            cq.Workplane().cylinder(10, 20),
            cq.Workplane().cylinder(10, 12),
            TOUCHING,
            place=(3, 0, 10),
        ),
        # in a tube
        Case("a rod in a tube", tube(20, 15, 80), cq.Workplane().cylinder(120, 12), APART, 3.0),
        Case(
            "a rod in a tube, off centre",
            tube(20, 15, 80),
            cq.Workplane().cylinder(120, 12),
            APART,
            1.0,
            place=(2, 0, 0),
        ),
        Case(
            "a rod that fits a tube", tube(20, 15, 80), cq.Workplane().cylinder(120, 15), TOUCHING
        ),
        Case(
            "a rod on one side of a tube",
            tube(20, 15, 80),
            cq.Workplane().cylinder(120, 12),
            TOUCHING,
            place=(3, 0, 0),
        ),
        Case(
            "a rod too thick for a tube",
            tube(20, 15, 80),
            cq.Workplane().cylinder(120, 16),
            OVERLAPPING,
            common_mm3=np.pi * (16**2 - 15**2) * 80,
        ),
        Case("a ball in a tube", tube(20, 15, 80), ball, APART, 5.0),
        Case("a ball in the hole of a ring", cq.Solid.makeTorus(40, 10), ball, APART, 20.0),
        # open scans
        Case("a scan through a solid", box(40), sheet(200), OVERLAPPING),
        Case(
            "a coarse scan through a solid, no corner in it",
            box(10, 10, 10),
            sheet(300, 1.3, cells=1),
            OVERLAPPING,
        ),
        Case("a scan over a solid", box(40), sheet(200, 25.0), APART, 5.0),
        Case(
            "a bump of a scan that comes near a solid",
            box(40),
            sheet(200, 30.0, bump=-7.0),
            APART,
            3.0,
        ),
        Case("a scan wholly within a solid", box(90), sheet(30), INSIDE),
        Case("an open box of a scan holds nothing", opened(100), box(20), APART, 40.0),
        Case("a closed scan round a block", closed(100), box(20), INSIDE, common_mm3=8000),
        Case("a scan in a closed hollow", shell(100, 20), sheet(30), APART, 15.0),
        # what has no inside cannot be told from touching, nor touching from a hair's depth
        Case("a scan 1e-7 mm over a solid", box(40), sheet(200, 20 + 1e-7), UNDECIDED),
        Case("a scan 1e-7 mm deep in a solid", box(40), sheet(200, 20 - 1e-7), UNDECIDED),
        Case("a scan 1e-3 mm over a solid", box(40), sheet(200, 20 + 1e-3), APART, 1e-3),
        # slivers
        Case(
            "a sliver before a block", box(10), box(0.01, 50, 50), APART, 3.0, place=(8.005, 0, 0)
        ),
        Case("a sliver within a block", box(100), box(0.01, 50, 50), INSIDE, common_mm3=25.0),
        Case(
            "a sliver of overlap",
            box(10),
            box(10),
            OVERLAPPING,
            common_mm3=0.05,
            place=(9.9995, 0, 0),
        ),
        Case(
            "a needle through a hole",
            tube(20, 1, 30),
            cq.Workplane().cylinder(100, 0.95),
            APART,
            0.05,
        ),
        # a hair
        Case("1e-7 mm apart", box(10), box(10), TOUCHING, place=(10 + 1e-7, 0, 0)),
        Case("1e-7 mm deep", box(10), box(10), TOUCHING, place=(10 - 1e-7, 0, 0)),
        Case(
            "a rod with 1e-7 mm to spare in a tube",
            tube(20, 15 + 1e-7, 80),
            cq.Workplane().cylinder(120, 15),
            TOUCHING,
        ),
        Case(
            "a rod 1e-7 mm too thick for a tube",
            tube(20, 15 - 1e-7, 80),
            cq.Workplane().cylinder(120, 15),
            TOUCHING,
        ),
        Case(
            "a rod on the floor of a blind hole, 1e-3 mm to spare all round",
            cq.Workplane().cylinder(40, 20).cut(cq.Workplane().circle(10.001).extrude(30)),
            cq.Workplane().circle(10).extrude(30),
            TOUCHING,
        ),
        Case("1e-3 mm apart", box(10), box(10), APART, 1e-3, place=(10 + 1e-3, 0, 0)),
        Case(
            "1e-3 mm deep", box(10), box(10), OVERLAPPING, common_mm3=0.1, place=(10 - 1e-3, 0, 0)
        ),
        Case("balls 1e-7 mm apart", ball, ball, TOUCHING, place=(20 + 1e-7, 0, 0)),
        Case("balls 1e-7 mm deep", ball, ball, TOUCHING, place=(20 - 1e-7, 0, 0)),
        Case("balls 1e-3 mm apart", ball, ball, APART, 1e-3, place=(20 + 1e-3, 0, 0)),
        Case("balls 1e-2 mm deep", ball, ball, OVERLAPPING, place=(20 - 1e-2, 0, 0)),
    ]


def opened(size):
    return closed(size, without=1)


def closed(size, without=0):
    cube = trimesh.creation.box((size, size, size))
    faces = cube.faces[: len(cube.faces) - without]
    return body_from_mesh("scan", cube.vertices, faces, deflection_mm=0)


CASES = cases()
TURN = np.array([[0.36, 0.48, -0.8], [-0.8, 0.6, 0.0], [0.48, 0.64, 0.6]])


@pytest.mark.parametrize("swap", [False, True], ids=["", "swapped"])
@pytest.mark.parametrize("turned", [False, True], ids=["", "turned"])
@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_the_relation_is_right(case, turned, swap):
    """Also with both turned alike, far from home, and asked the other way round."""
    frame = np.eye(4)
    if turned:
        frame[:3, :3], frame[:3, 3] = TURN, (900, -300, 500)
    pair = [(body(case.a), frame), (body(case.b), frame @ at(*case.place))]
    (a, pose_a), (b, pose_b) = pair[::-1] if swap else pair
    answer = clearance(a, b, pose_a, pose_b)
    assert answer.relation is case.relation
    if case.relation is APART:
        assert answer.distance_mm == pytest.approx(case.gap_mm, abs=1e-6)
        assert case.gap_mm - 0.2 <= answer.bound_mm <= case.gap_mm + 1e-12
    else:
        assert answer.bound_mm == 0
        assert answer.distance_mm == pytest.approx(0, abs=2e-7 if case.relation is UNDECIDED else 0)
    if case.common_mm3 is not None:
        assert answer.overlap_mm3 == pytest.approx(case.common_mm3, rel=0.02)
    if case.relation in (OVERLAPPING, INSIDE):
        assert answer.pull_apart is not None
        there = pose_b.copy()
        there[:3, 3] += answer.pull_apart.direction * answer.pull_apart.distance_mm
        freed = clearance(a, b, pose_a, there).relation
        assert freed in (APART, TOUCHING)
