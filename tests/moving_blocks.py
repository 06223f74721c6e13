"""Two blocks, one of which moves: what the tests of the plugin in motion share."""

from __future__ import annotations

from typing import Any

import cadquery as cq
import numpy as np
import pytest

from noseroom.plugin import Clearances, PairWhileMoving, Shift, Turn, register

register()

WITHIN_MM = 0.2
TURN_Z = {"through": (0, 0, 0), "axis": (0, 0, 1)}


def block(*size: float) -> cq.Workplane:
    return cq.Workplane().box(*size)


def two(a: Any, b: Any, at: tuple[float, float, float]) -> cq.Assembly:
    """The mover "a" at home and "b" beside it."""
    return cq.Assembly(name="two").add(a, name="a").add(b, name="b", loc=cq.Location(*at))


def only(found: Clearances[Any]) -> Any:
    assert len(found) == 1
    return found[0]


def check(answer: PairWhileMoving, truth_mm: float) -> None:
    assert answer.settled
    assert answer.relation == "apart"
    assert answer.bound_mm <= truth_mm + 1e-9
    assert answer.bound_mm >= truth_mm - WITHIN_MM
    assert truth_mm - 1e-6 <= answer.distance_mm <= truth_mm + WITHIN_MM
    assert answer.points is not None
    gap = np.linalg.norm(answer.points[1] - answer.points[0])
    assert gap == pytest.approx(answer.distance_mm, abs=1e-6)


def shapes() -> list[cq.Shape]:
    return [
        block(14, 10, 6).val(),
        cq.Workplane().cylinder(18, 3).val(),
        cq.Workplane().sphere(5).val(),
        cq.Solid.makeCone(6, 2, 9),
        cq.Workplane().box(20, 12, 8).edges("|Z").fillet(3).val(),
        cq.Solid.makeTorus(9, 2),
        cq.Workplane("XY").polyline([(0, 0), (20, 0), (20, 4), (4, 4), (4, 16), (0, 16)]).close()
        .extrude(5).val(),
    ]  # fmt: skip


SHAPES = shapes()


def random_case(seed: int) -> tuple[cq.Assembly, dict[str, list[Turn | Shift]]]:
    """Two movers, one of them hanging on the other or beside it, and a thing that stands still."""
    rng = np.random.default_rng(seed)

    def place(spread: float) -> cq.Location:
        where, axis = rng.uniform(-spread, spread, 3), rng.normal(size=3)
        return cq.Location(cq.Vector(*where), cq.Vector(*axis), float(rng.uniform(0, 360)))

    def shape() -> cq.Shape:
        return SHAPES[int(rng.integers(len(SHAPES)))]

    def step() -> Turn | Shift:
        low, high = sorted(rng.uniform(-1, 1, 2))
        if rng.random() < 0.6:
            return Turn(rng.uniform(-15, 15, 3), rng.normal(size=3), low * 60, high * 60)
        return Shift(rng.normal(size=3), low * 12, high * 12)

    root = cq.Assembly(name="r", loc=place(10))
    upper = cq.Assembly(shape(), name="u", loc=place(18))
    lower = cq.Assembly(shape(), name="l", loc=place(18))
    nested = rng.random() < 0.6
    (upper if nested else root).add(lower)
    root.add(upper).add(shape(), name="still", loc=place(18))
    return root, {"r/u": [step()], "r/u/l" if nested else "r/l": [step()]}


def located(step: Turn | Shift, amount: float) -> cq.Location:
    """A motion by an amount in degrees or mm, in CadQuery's own terms."""
    if isinstance(step, Turn):
        centre = cq.Vector(*step.through)
        turn = cq.Location((0, 0, 0), tuple(step.axis), amount)
        return cq.Location(centre) * turn * cq.Location(-centre)
    way = np.asarray(step.direction) / np.linalg.norm(step.direction)
    return cq.Location(cq.Vector(*(amount * way)))
