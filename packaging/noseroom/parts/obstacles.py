"""What is simply in the way (a box, a cylinder), and marks that the builder measures from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.base import About, Part, choice, length
from noseroom.survey.features import Feature, axis, box_faces, circle, cylinder, face, vector

if TYPE_CHECKING:
    import cadquery as cq

_SQUARE = ("plumb ± 3 deg", "level ± 2 deg", "square across ± 2 deg")
_AXES = {"along": (1.0, 0.0, 0.0), "across": (0.0, 1.0, 0.0), "up": (0.0, 0.0, 1.0)}
_ENDS = {"along": ("front", "rear"), "across": ("left", "right"), "up": ("bottom", "top")}
Corner = tuple[Any, Any, Any]


@dataclass(frozen=True, kw_only=True)
class Box(Part):
    """Anything in the way that a box contains. Datum: its middle."""

    about: ClassVar[About] = About(
        name="box",
        help="anything in the way, as a box: battery tray, horn, steering box",
        group="body",
        carried_by=("car",),
        colour="#9c755f",
        assumed=_SQUARE,
    )

    depth_mm: float = length("depth", "fore and aft", low=1, high=2000)
    width_mm: float = length("width", "left to right", low=1, high=2000)
    height_mm: float = length("height", "bottom to top", low=1, high=2000)

    def _box(self) -> tuple[Corner, Corner]:
        d, w, h = self.depth_mm / 2, self.width_mm / 2, self.height_mm / 2
        return (-d, -w, -h), (d, w, h)

    def features(self) -> dict[str, Feature]:
        """Its six faces and its middle."""
        return box_faces(*self._box())

    def pieces(self) -> tuple[Piece, ...]:
        """One box."""
        return (pieces.box("body", *self._box()),)

    def solids(self) -> dict[str, cq.Shape]:
        """One box."""
        return {"body": shapes.box(*self._box())}


@dataclass(frozen=True, kw_only=True)
class Cylinder(Part):
    """Anything in the way that a cylinder contains. Datum: its middle."""

    about: ClassVar[About] = About(
        name="cylinder",
        help="anything in the way, as a cylinder: pipe, starter, strut",
        group="body",
        carried_by=("car",),
        colour="#9c755f",
        assumed=_SQUARE,
    )

    lies: str = choice("axis", "along", "across", "up", help="which way of the car its axis runs")
    diameter_mm: float = length("diameter", "outside", low=1, high=1000)
    length_mm: float = length("length", "end to end", low=1, high=3000)

    def _start(self) -> Corner:
        x, y, z = _AXES[self.lies]
        half = -self.length_mm / 2
        return half * x, half * y, half * z

    def features(self) -> dict[str, Feature]:
        """Flank, axis, both end faces and their rims ("front.rim", "top.rim", ...)."""
        way, radius = _AXES[self.lies], self.diameter_mm / 2
        middle = vector(0.0, 0.0, 0.0)
        start = vector(*self._start())
        found = {"flank": cylinder(middle, radius, way), "axis": axis(middle, way)}
        for sign, name in zip((-1.0, 1.0), _ENDS[self.lies], strict=True):
            end = -sign * start
            outward = (sign * way[0], sign * way[1], sign * way[2])
            found[name] = face(end, outward)
            found[f"{name}.rim"] = circle(end, radius, outward)
        return found

    def pieces(self) -> tuple[Piece, ...]:
        """One prism."""
        start, way = vector(*self._start()), _AXES[self.lies]
        return (pieces.cylinder("body", start, way, self.length_mm, self.diameter_mm / 2),)

    def solids(self) -> dict[str, cq.Shape]:
        """One cylinder."""
        way = _AXES[self.lies]
        return {"body": shapes.cylinder(self._start(), way, self.length_mm, self.diameter_mm / 2)}


@dataclass(frozen=True, kw_only=True)
class Mark(Part):
    """A helper that is measured from: a straightedge, a chalk line. Without a body.

    Datum: where it was marked. `line` runs across the car through the datum; `face` is the plane
    through the datum that faces forward, such as the front of a board held upright.
    """

    about: ClassVar[About] = About(
        name="mark",
        help="a straightedge, string or chalk line to measure from",
        group="body",
        carried_by=("car",),
        colour="#ff00aa",
        assumed=_SQUARE,
    )

    def features(self) -> dict[str, Feature]:
        """The line and the face through its datum."""
        datum = vector(0.0, 0.0, 0.0)
        return {"line": axis(datum, (0, 1, 0)), "face": face(datum, (-1, 0, 0))}

    def pieces(self) -> tuple[Piece, ...]:
        """None: nothing can foul a mark."""
        return ()

    def solids(self) -> dict[str, cq.Shape]:
        """None."""
        return {}
