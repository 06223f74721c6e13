"""What moves in an assembly: names to nodes, motions to the world's axes, locations to places."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray

from noseroom._plugin_bodies import Node, Placed, matrix, node_bodies
from noseroom._plugin_clearances import badness, exact_up_to, named
from noseroom.envelope.suggest import did_you_mean
from noseroom.errors import GeometryError
from noseroom.geometry.clearance import Clearance, clearance
from noseroom.geometry.kernel import Pose, load_cadquery, moved
from noseroom.geometry.motions import Motions, Shift, Step, Turn

Floats = NDArray[np.float64]
Steps: TypeAlias = Mapping[str, tuple[Step, ...]]
Mark = TypeVar("Mark")
Meaning = TypeVar("Meaning")

_AXES = ("own", "world")


@dataclass(frozen=True, eq=False)
class Moving(Placed):
    """A body that may move. node: it holds it. line: what moves it, the root's side first."""

    node: Node
    line: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Both:
    """Two bodies that are asked about, with the kernel's help up to a cap."""

    a: Moving
    b: Moving
    cap_mm: float

    def at(self, place_a: Pose, place_b: Pose) -> Clearance:
        """How the two stand to each other there."""
        tolerances = exact_up_to(self.cap_mm)
        return clearance(self.a.body, self.b.body, place_a, place_b, tolerances=tolerances)

    def worst(
        self, found: Clearance, mark: Mark, looks: Iterable[tuple[Mark, Pose, Pose]]
    ) -> tuple[Clearance, Mark]:
        """The worst of an answer and of those at other places, with the mark that it has there.

        Searches end where surfaces first meet: only a look elsewhere tells if they go deeper.
        """
        for where, place_a, place_b in looks:
            other = self.at(place_a, place_b)
            if badness(named(other, "", "")) < badness(named(found, "", "")):
                found, mark = other, where
        return found, mark


def moving_bodies(
    nodes: Sequence[Node], movers: Mapping[str, Any], *, fine: bool = True
) -> list[Moving]:
    """Everything that nodes hold, with what moves it. Raises GeometryError."""
    held = [node for node in nodes if node.thing is not None]
    lines = [tuple(one.name for one in node.line if one.name in movers) for node in held]
    placed = node_bodies(held, fine=fine)
    return [
        Moving(one.name, one.body, one.pose, node, line)
        for one, node, line in zip(placed, held, lines, strict=True)
    ]


def motions_of(line: Sequence[str], steps: Steps) -> Motions:
    """What a line of movers does to a body: what is nearest to the body first.

    What is further out carries the axes of what is further in along: in this order all of them
    are taken where they rest.
    """
    return Motions(tuple(step for name in reversed(line) for step in steps[name]))


def checked_steps(nodes: Sequence[Node], moving: Any, axes: str) -> Steps:
    """Motions by full name, about the axes of the world. Raises GeometryError."""
    if axes not in _AXES:
        raise GeometryError(f"axes is {axes!r}; expected {' or '.join(map(repr, _AXES))}")
    given = _by_node(nodes, moving, "moving", _steps)
    if axes == "world":
        return MappingProxyType({node.name: steps for node, steps in given})
    turned = {node.name: tuple(_placed(one, node.place) for one in some) for node, some in given}
    return MappingProxyType(turned)


def checked_ways(nodes: Sequence[Node], path: Any) -> Mapping[str, Floats]:
    """Places (n, 4, 4) on what it hangs on by full name, one for each step of a path.

    Raises GeometryError.
    """
    ways = {node.name: way for node, way in _by_node(nodes, path, "path", _way)}
    counts = {name: len(way) for name, way in ways.items()}
    if len(set(counts.values())) > 1:
        said = ", ".join(f"{name!r} has {count}" for name, count in counts.items())
        raise GeometryError(f"path: {said} locations; expected equally many for each name")
    return MappingProxyType(ways)


def _by_node(
    nodes: Sequence[Node], given: Any, what: str, meaning: Callable[[str, Any], Meaning]
) -> list[tuple[Node, Meaning]]:
    """What is given for each node, checked, in the assembly's order. Raises GeometryError."""
    there = {node.name: node for node in nodes if node.above is not None}
    if not isinstance(given, Mapping) or not given:
        raise GeometryError(f"{what} is {given!r}; expected a mapping from names, one or more")
    for name in given:
        if name in there:
            continue
        hint = did_you_mean(str(name), there)
        if name == nodes[0].name:
            raise GeometryError(
                f"{what}: {name!r} is the root; what moves everything moves nothing against "
                f"anything. There are {', '.join(there) or 'no others'}"
            )
        raise GeometryError(
            f"{what}: no {name!r} here" + (f" ({hint})" if hint else "") + "; there "
            f"{'are ' + ', '.join(there) if there else 'is only the root'}"
        )
    return [
        (node, meaning(f"{what}[{name!r}]", given[name]))
        for name, node in there.items()
        if name in given
    ]


def _steps(where: str, given: Any) -> tuple[Step, ...]:
    some = (given,) if isinstance(given, Turn | Shift) else given
    if not isinstance(some, Iterable) or isinstance(some, str):
        raise GeometryError(f"{where} is {given!r}; expected a Turn, a Shift or a list of them")
    steps = tuple(some)
    for one in steps:
        if not isinstance(one, Turn | Shift):
            raise GeometryError(f"{where} holds {one!r}; expected a Turn or a Shift")
    if not steps:
        raise GeometryError(f"{where} is empty; expected a Turn, a Shift or a list of them")
    return steps


def _placed(step: Step, frame: Pose) -> Step:
    """A motion given in a frame, in the world."""
    if isinstance(step, Shift):
        way = frame[:3, :3] @ np.asarray(step.direction, dtype=np.float64)
        return Shift(way, step.low_mm, step.high_mm)
    through = moved(np.asarray(step.through, dtype=np.float64)[None], frame)[0]
    axis = frame[:3, :3] @ np.asarray(step.axis, dtype=np.float64)
    return Turn(through, axis, step.low_deg, step.high_deg)


def _way(where: str, given: Any) -> Floats:
    cq = load_cadquery()
    try:
        places = list(given)
    except TypeError:
        places = []
    if not places:
        raise GeometryError(f"{where} is {given!r}; expected cadquery Locations, one or more")
    for k, one in enumerate(places):
        if not isinstance(one, cq.Location):
            found = type(one).__name__
            raise GeometryError(f"{where}[{k}] is a {found}; expected a cadquery Location")
    return np.array([matrix(f"{where}[{k}]", one) for k, one in enumerate(places)])
