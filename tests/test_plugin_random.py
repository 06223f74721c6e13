"""`Assembly.clearances` on random assemblies against the kernel, asked the slow way for all pairs.

The oracle shares nothing with the answer but the kernel: it takes places from CadQuery's own
iteration, distances from BRepExtrema on whole solids, overlap and containment from the volume of
the boolean common.
"""

from __future__ import annotations

import itertools
from collections import Counter
from functools import cache

import cadquery as cq
import numpy as np
import pytest
from OCP.BRepExtrema import BRepExtrema_DistShapeShape

import noseroom.plugin
from noseroom.plugin import Clearances, PairClearance, Relation

ASSEMBLIES = 100
SETS = 10
CAP_MM = 30.0
BOUND_WITHIN_MM = 0.002
CONTACT_MM = 1e-5
SHARED_MM3 = 1e-9


def pantry() -> list[cq.Shape]:
    """Small solids, with a blind pocket, a closed cavity and a through hole among them."""
    block = cq.Workplane().box(14, 10, 6)
    shell = cq.Workplane().box(26, 26, 26).cut(cq.Workplane().box(20, 20, 20))
    return [
        block.val(),
        cq.Workplane().cylinder(18, 3).val(),
        cq.Workplane().sphere(4).val(),
        cq.Workplane().box(3, 2, 4).val(),
        cq.Solid.makeCone(6, 2, 9),
        shell.val(),
        cq.Workplane().box(24, 24, 8).faces(">Z").workplane().hole(14, 6).val(),
        cq.Workplane().box(20, 20, 20).edges("|Z").fillet(4).val(),
        cq.Compound.makeCompound(
            [cq.Solid.makeBox(5, 5, 5), cq.Solid.makeBox(4, 4, 4, pnt=cq.Vector(12, 0, 0))]
        ),
    ]


PANTRY = pantry()


def place(rng: np.random.Generator, spread_mm: float) -> cq.Location:
    if rng.random() < 0.2:
        return cq.Location(*(float(x) for x in rng.integers(-2, 3, 3) * 5))
    shift = cq.Vector(*rng.uniform(-spread_mm, spread_mm, 3))
    return cq.Location(shift, cq.Vector(*rng.normal(size=3)), float(rng.uniform(0, 360)))


def grow(rng: np.random.Generator, depth: int, count: Counter[str]) -> cq.Assembly:
    """A group with a few things in it, some of them groups, some without a name, one twice."""
    count["group"] += 1
    name = f"group {count['group']}" if rng.random() < 0.7 else None
    node = cq.Assembly(name=name, loc=place(rng, 12))
    if rng.random() < 0.3:
        node.obj = PANTRY[int(rng.integers(len(PANTRY)))]
    for _ in range(int(rng.integers(1, 4))):
        if depth and rng.random() < 0.4:
            node.add(grow(rng, depth - 1, count))
            continue
        shape = PANTRY[int(rng.integers(len(PANTRY)))]
        count["part"] += 1
        label = f"part {count['part']}" if rng.random() < 0.7 else None
        node.add(shape, loc=place(rng, 16), name=label)
    return node


@cache
def assemblies() -> list[cq.Assembly]:
    rng = np.random.default_rng(1608)
    made: list[cq.Assembly] = []
    while len(made) < ASSEMBLIES:
        root = grow(rng, 3, Counter())
        size = sum(1 for _ in root)
        if 3 <= size <= 6:
            # The same shape a second time, and once more inside a block that swallows it.
            root.add(PANTRY[3], name="again", loc=place(rng, 12))
            if rng.random() < 0.5:
                root.add(cq.Workplane().box(9, 9, 9), name="swallows", loc=root.children[-1].loc)
            made.append(root)
    return made


def truth(a: cq.Shape, b: cq.Shape) -> tuple[str, float, float]:
    """Relation, distance and common volume by the kernel alone."""
    shared = sum(one.intersect(other).Volume() for one in a.Solids() for other in b.Solids())
    if shared > SHARED_MM3:
        least = min(sum(s.Volume() for s in one.Solids()) for one in (a, b))
        return ("inside" if shared > least * (1 - 1e-6) else "overlapping"), 0.0, shared
    gap = min(
        BRepExtrema_DistShapeShape(one.wrapped, other.wrapped).Value()
        for one in a.Solids()
        for other in b.Solids()
    )
    return ("apart" if gap > CONTACT_MM else "touching"), gap, 0.0


def check_pair(answer: PairClearance, a: cq.Shape, b: cq.Shape) -> str:
    relation, gap, shared = truth(a, b)
    assert answer.relation == relation, (answer, gap, shared)
    assert answer.bound_mm <= gap + 1e-9
    if relation == "apart":
        # Local finer meshes show the gap to a thousandth, and from below.
        assert answer.distance_mm == pytest.approx(gap, abs=0.001)
        assert gap - BOUND_WITHIN_MM <= answer.bound_mm
        assert answer.points is not None
        assert answer.points.shape == (2, 3)
        assert np.linalg.norm(answer.points[1] - answer.points[0]) == pytest.approx(gap, abs=0.001)
        for point, shape in zip(answer.points, (a, b), strict=True):
            assert shape.distance(cq.Vertex.makeVertex(*point)) < 1e-6
    else:
        assert answer.distance_mm == 0.0
        assert answer.bound_mm == 0.0
    if shared:
        assert answer.overlap_mm3 == pytest.approx(shared, rel=0.08, abs=0.5)
        assert answer.pull_apart is not None
        move = cq.Vector(*(answer.pull_apart.direction * answer.pull_apart.distance_mm))
        freed = b.translate(move)
        assert truth(a, freed)[0] in ("apart", "touching")
    return relation


@pytest.mark.parametrize("number", range(SETS))
def test_agrees_with_the_kernel_on_random_assemblies(number: int) -> None:
    seen: Counter[str] = Counter()
    for assembly in assemblies()[number::SETS]:
        found = assembly.clearances(CAP_MM)
        assert isinstance(found, Clearances)
        placed = [shape.moved(where) for shape, _, where, _ in assembly]
        assert len(found.names) == len(set(found.names)) == len(placed)
        listed = 0
        for (i, a), (j, b) in itertools.combinations(enumerate(placed), 2):
            answer = found.between(found.names[i], found.names[j])
            if answer is None:
                assert truth(a, b)[1] >= CAP_MM
                continue
            listed += 1
            assert (answer.a, answer.b) == (found.names[i], found.names[j])
            seen[check_pair(answer, a, b)] += 1
        assert listed == len(found)
        assert listed + found.beyond == len(placed) * (len(placed) - 1) // 2
    assert seen["apart"] > 5
    assert seen["overlapping"] > 5


def test_the_random_assemblies_hold_every_case_that_matters() -> None:
    """Nested, turned, duplicated, unnamed, swallowed; otherwise the test above says too little."""
    made = assemblies()
    assert len(made) == ASSEMBLIES
    assert sum(any(one.children for one in root.children) for root in made) > 40
    assert sum("swallows" in root.objects for root in made) > 20
    turned = [
        root for root in made if any(child.loc.toTuple()[1] != (0, 0, 0) for child in root.children)
    ]
    assert len(turned) > 80
    relations = Counter(one.relation for root in made[:20] for one in root.clearances(CAP_MM))
    assert {Relation.APART, Relation.OVERLAPPING, Relation.INSIDE} <= relations.keys()


def test_the_plugin_is_attached() -> None:
    assert noseroom.plugin.register() == ()
