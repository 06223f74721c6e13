"""From CadQuery's workplanes, shapes and assemblies to bodies, each with its full name and place.

Only solids are let in: what has no volume has no inside, and what is left out silently would make
a clearance too good.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from noseroom.errors import GeometryError
from noseroom.geometry.kernel import Pose, load_cadquery, rigid
from noseroom.geometry.mesh import Body, body_from_shape
from noseroom.tolerances import DEFAULT, Tolerances

# CadQuery calls what has no name of its own by a UUID, which is another one in the next run.
_MADE_UP = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_BACK = "go back to the solid, with end() or solids()"
_UNNAMED = "unnamed"
# Of the diagonal of a part's box: what its finer mesh may be out by, within these two.
_FINE_SHARE, _FINEST_MM, _COARSEST_MM = 1e-4, 0.01, 0.03
_BARE = ("SHELL", "FACE", "WIRE", "EDGE", "VERTEX")


@dataclass(frozen=True, eq=False)
class Placed:
    """A body and where it stands. name: full and, in an assembly, unique."""

    name: str
    body: Body
    pose: Pose


@dataclass(frozen=True, eq=False)
class Node:
    """A node of an assembly.

    name: full and unique; "" for a root without one. loc: its own location, (4, 4). place: where
    its frame stands in the end, (4, 4). above: what it hangs on; None for the root. thing: its
    own object, None without. thing_name: the object's name, the node's unless that is "".
    """

    name: str
    loc: Pose
    place: Pose
    above: Node | None
    thing: Any
    thing_name: str

    @property
    def line(self) -> tuple[Node, ...]:
        """From the root down to this one."""
        return (*(self.above.line if self.above else ()), self)


class Bodies:
    """Makes bodies, each shape's only once, however often and wherever it stands.

    fine: with meshes that need no help from the kernel to be within a tenth of a millimetre.
    """

    def __init__(self, *, fine: bool = False) -> None:
        self._known: dict[int, list[tuple[Any, Body]]] = {}
        self._fine = fine

    def placed(self, name: str, shape: Any, place: Pose | None = None) -> Placed:
        """A shape (`cq.Shape`) at a place. Raises GeometryError where it is not made of solids."""
        cq = load_cadquery()
        from OCP.TopLoc import TopLoc_Location

        if shape.wrapped is None or shape.wrapped.IsNull():
            raise GeometryError(f"{name}: an empty shape")
        own = matrix(name, cq.Location(shape.wrapped.Location()))
        bare = shape.wrapped.Located(TopLoc_Location())
        bucket = self._known.setdefault(hash(bare), [])
        body = next((one for known, one in bucket if known.IsSame(bare)), None)
        if body is None:
            shape = cq.Shape.cast(bare)
            body = _solid_body(name, shape, _fine_for(shape) if self._fine else DEFAULT)
            bucket.append((bare, body))
        return Placed(name, body, own if place is None else rigid(place @ own))


def matrix(name: str, place: Any) -> Pose:
    """A `cq.Location` as (4, 4). Raises GeometryError for one that mirrors or scales."""
    trsf = place.wrapped.Transformation()
    rows = [[trsf.Value(i, j) for j in range(1, 5)] for i in range(1, 4)]
    try:
        return rigid(np.array([*rows, [0.0, 0.0, 0.0, 1.0]]))
    except GeometryError as error:
        raise GeometryError(
            f"{name}: its location mirrors or scales it; do that to the shape itself, "
            "with Shape.mirror or Shape.scale"
        ) from error


def shape_of(name: str, thing: Any) -> Any:
    """All that a workplane's stack or a shape holds, as one `cq.Shape`.

    Raises GeometryError for anything else, and for a stack that is empty or holds something that
    is no shape.
    """
    cq = load_cadquery()
    if isinstance(thing, cq.Shape):
        return thing
    if not isinstance(thing, cq.Workplane):
        raise GeometryError(
            f"{name}: found {type(thing).__name__}; expected a Workplane, a Shape or an Assembly"
        )
    held = thing.vals() if thing.objects else []
    if not held:
        raise GeometryError(f"{name}: there is nothing on its stack; {_BACK}")
    strangers = sorted({type(one).__name__ for one in held if not isinstance(one, cq.Shape)})
    if strangers:
        raise GeometryError(
            f"{name}: its stack holds {' and '.join(strangers)}, without a volume; {_BACK}"
        )
    return held[0] if len(held) == 1 else cq.Compound.makeCompound(held)


def assembly_bodies(assembly: Any) -> list[Placed]:
    """Everything in an assembly, in the order and under the names of its nodes.

    Raises GeometryError for an assembly without any object, and for an object that is not made
    of solids or whose location mirrors or scales.
    """
    return node_bodies([node for node in nodes_of(assembly) if node.thing is not None])


def node_bodies(nodes: Sequence[Node], *, fine: bool = False) -> list[Placed]:
    """The bodies of nodes that have an object, one each. Raises GeometryError, as above."""
    bodies = Bodies(fine=fine)
    stacks: dict[int, Any] = {}
    made: list[Placed] = []
    for node in nodes:
        # A workplane with several solids makes a new compound each time that it is asked.
        shape = stacks.setdefault(id(node.thing), shape_of(node.thing_name, node.thing))
        made.append(bodies.placed(node.thing_name, shape, node.place))
    if not made:
        raise GeometryError("an assembly without any object: there is nothing to measure")
    return made


def nodes_of(assembly: Any) -> list[Node]:
    """Every node of an assembly, depth first as CadQuery goes.

    Names are paths from the root, such as "pump/drive/shaft". A root without a name of its own
    adds nothing to them (and its object is "unnamed" if it holds one itself); any other node
    without one is called "unnamed". A node whose path another one has already gets " (2)", " (3)"
    and so on, before its children are named.

    Raises GeometryError for a location that mirrors or scales.
    """
    return list(_below(assembly, None, set()))


def _below(node: Any, above: Node | None, taken: set[str]) -> Iterator[Node]:
    said = "" if _MADE_UP.fullmatch(str(node.name)) else str(node.name or "")
    path = filter(None, (above.name if above else "", said or _UNNAMED))
    own = "" if above is None and not said else _unused("/".join(path), taken)
    loc = matrix(own or "the assembly", node.loc)
    place = above.place @ loc if above else loc
    named = own or ("" if node.obj is None else _unused(_UNNAMED, taken))
    made = Node(own, loc, place, above, node.obj, named)
    yield made
    for child in node.children:
        yield from _below(child, made, taken)


def _unused(name: str, taken: set[str]) -> str:
    found, number = name, 1
    while found in taken:
        number += 1
        found = f"{name} ({number})"
    taken.add(found)
    return found


def _fine_for(shape: Any) -> Tolerances:
    """Chords that large parts can afford and small ones do not notice."""
    chord = _FINE_SHARE * float(shape.BoundingBox().DiagonalLength)
    return replace(DEFAULT, tessellation_mm=min(max(chord, _FINEST_MM), _COARSEST_MM))


def _solid_body(name: str, shape: Any, tolerances: Tolerances) -> Body:
    """A body that has an inside. Raises GeometryError."""
    bare = _without_volume(shape.wrapped)
    if bare:
        only = "" if shape.Solids() else ", and no solid"
        raise GeometryError(
            f"{name}: it holds a bare {bare.lower()}{only}; only solids have a clearance "
            "(give it thickness, or take it out)"
        )
    if not shape.Solids():
        raise GeometryError(f"{name}: it holds no solid; only solids have a clearance")
    body = body_from_shape(name, shape, tolerances)
    if not body.watertight:
        raise GeometryError(f"{name}: its surface is not closed, so that it has no inside")
    return body


def _without_volume(shape: Any) -> str:
    """What kind of thing in a shape belongs to no solid; "" for nothing."""
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopExp import TopExp_Explorer

    solid = TopAbs_ShapeEnum.TopAbs_SOLID
    for kind in _BARE:
        if TopExp_Explorer(shape, getattr(TopAbs_ShapeEnum, f"TopAbs_{kind}"), solid).More():
            return kind
    return ""
