"""A scan or a part's file: what no parameter describes, placed by points that a tape can touch."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.pieces import Piece
from noseroom.parts.base import About, Part, Triangles, choice, length, text
from noseroom.survey.features import Feature

if TYPE_CHECKING:
    import cadquery as cq

    from noseroom.geometry.scans import Scan

Floats = NDArray[np.float64]

SURFACE = "surface"
UNSEEN = "unseen"
STATED = "stated in the file"
"""Of the unit: some formats say their own."""

_HALF_PLATE_MM = 0.05
_WAYS: Mapping[str, tuple[float, float, float]] = {
    "aft": (1.0, 0.0, 0.0),
    "ahead": (-1.0, 0.0, 0.0),
    "right": (0.0, 1.0, 0.0),
    "left": (0.0, -1.0, 0.0),
    "up": (0.0, 0.0, 1.0),
    "down": (0.0, 0.0, -1.0),
}


@dataclass(frozen=True, eq=False)
class ScanShape:
    """A scan turned to the car's axes, with its middle at the origin.

    axes: (3, 3), from the scan's axes to the car's when it sits as its file says. points: its
    landmarks, mm, in the scan's own axes. open_edge: whether what lies beyond the edge of the scan
    is air.
    """

    scan: Scan
    axes: Floats
    points: Mapping[str, Floats]
    open_edge: bool

    @property
    def remarks(self) -> tuple[str, ...]:
        """What was wrong with it, and what is not known for it."""
        if not self.scan.border:
            return self.scan.remarks
        if self.open_edge:
            air = "its open side is taken for air, inside as well, because the file says edge: open"
            return (*self.scan.remarks, air)
        reach = math.ceil(max(one.edge_reach_mm for one in self.scan.border))
        within = f"taken to stay within {reach} mm of what spans it"
        if len(self.scan.border) > 1:
            within += ", and half the gap's width between separate pieces"
        beyond = f"what lies beyond its open edge is not known, {within}"
        return (*self.scan.remarks, f"{beyond}; edge: open says that it is air")

    @cached_property
    def middle(self) -> Floats:
        """The middle of its box, (3,) mm, in the scan's own axes."""
        seen = self.scan.vertices
        middle: Floats = (seen.min(axis=0) + seen.max(axis=0)) / 2
        return middle

    def local(self, points: Floats) -> Floats:
        """Points (n, 3) mm of the scan's axes in the part's frame."""
        turned: Floats = (np.asarray(points, dtype=float) - self.middle) @ self.axes.T
        return turned

    @cached_property
    def surface(self) -> Triangles:
        """What was seen."""
        scan = self.scan
        return Triangles(self.local(scan.vertices), scan.triangles, scan.deflection_mm)

    @cached_property
    def cells(self) -> tuple[Piece, ...]:
        """Convex cells that hold every triangle, and those that hold what was not seen."""
        from noseroom.geometry.scans import scan_cells, unseen_cells

        seen = scan_cells(self.scan.vertices, self.scan.triangles)
        hidden = unseen_cells(self.scan, border_open=self.open_edge)
        named = [(SURFACE, corners) for corners in seen] + [(UNSEEN, corners) for corners in hidden]
        return tuple(Piece(name, _solid(self.local(corners))) for name, corners in named)

    @cached_property
    def veil(self) -> Triangles | None:
        """The hulls of the unseen cells as one surface to look at; None without any."""
        from scipy.spatial import ConvexHull

        vertices: list[Floats] = []
        triangles: list[NDArray[np.int32]] = []
        count = 0
        for piece in self.cells:
            if piece.component != UNSEEN:
                continue
            hull = ConvexHull(piece.corners)
            # Qhull does not wind its triangles; their outward normals stand in the equations.
            corners = hull.points[hull.simplices]
            out = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
            inward = np.einsum("ij,ij->i", out, hull.equations[:, :3]) < 0
            wound = np.where(inward[:, None], hull.simplices[:, ::-1], hull.simplices)
            vertices.append(hull.points)
            triangles.append(wound.astype(np.int32) + count)
            count += len(hull.points)
        if not vertices:
            return None
        return Triangles(np.concatenate(vertices), np.concatenate(triangles).astype(np.int32))


def _solid(corners: Floats) -> Floats:
    """Corners (n, 3) whose hull has a volume: a flat cell is made a plate of 0.1 mm.

    Hulls and their distances are only defined for bodies.
    """
    centred = corners - corners.mean(axis=0)
    _, ways = np.linalg.eigh(centred.T @ centred)
    for way in ways.T:
        reach = centred @ way
        if reach.max() - reach.min() < 2 * _HALF_PLATE_MM:
            aside = _HALF_PLATE_MM * way
            corners = np.concatenate([corners - aside, corners + aside])
    return corners


@dataclass(frozen=True, kw_only=True)
class ScannedPart(Part):
    """A surface of triangles from a file. Datum: the middle of its box.

    How far the metal may be from the surface (its accuracy, and the thickness of a sheet of which
    only one face was scanned) displaces the whole of it; see `slack_mm`.
    """

    about: ClassVar[About] = About(
        name="scan",
        help="a scan or a part's file (STL, PLY, OBJ, 3MF, GLB, STEP) that is in the way",
        group="body",
        carried_by=("car",),
        colour="#8a8f98",
        assumed=("plumb ± 5 deg", "level ± 5 deg", "square across ± 5 deg"),
        also=("scanned part",),
        points="landmarks",
        touches=(("*", "*"),),
    )

    file: str = text("file", "name of the file, beside this one or below", required=True)
    unit: str = choice(
        "unit", STATED, "mm", "cm", "m", "in", "ft", help="what one of the scan's figures is"
    )
    x_runs: str = choice("x runs", *_WAYS, help="which way of the car the scan's x axis runs")
    y_runs: str = choice(
        "y runs",
        "right",
        *(way for way in _WAYS if way != "right"),
        help="which way of the car the scan's y axis runs",
    )
    edge: str = choice(
        "edge",
        "unseen",
        "open",
        help="open: what lies beyond where the scan stops is air; unseen: nobody knows",
    )
    accuracy_mm: float = length(
        "accuracy", "how far the scan may be off the metal", low=0, high=50, usual=1.0, reach=0.5
    )
    thickness_mm: float = length(
        "thickness",
        "of a sheet of which one face was scanned; no matter for a closed scan",
        low=0,
        high=50,
        usual=1.5,
        reach=1.0,
    )
    shape: ScanShape | None = field(default=None, compare=False)

    @staticmethod
    def axes_of(x_runs: str, y_runs: str) -> Floats | None:
        """(3, 3) from a scan's axes to the car's; None where both run the same way."""
        x, y = np.array(_WAYS[x_runs]), np.array(_WAYS[y_runs])
        return None if abs(x @ y) > 0.5 else np.column_stack([x, y, np.cross(x, y)])

    @property
    def slack_mm(self) -> float:
        """How far the metal may be from the triangles, mm."""
        if self.shape is None:
            return 0.0
        sheet = 0.0 if self.shape.scan.closed else float(np.real(self.thickness_mm))
        return float(self.shape.scan.deflection_mm + np.real(self.accuracy_mm) + sheet)

    def features(self) -> dict[str, Feature]:
        """Its landmarks."""
        if self.shape is None:
            return {}
        ahead = np.array([1.0, 0.0, 0.0])
        return {
            name: Feature("point", self.shape.local(point[None])[0], ahead)
            for name, point in self.shape.points.items()
        }

    def pieces(self) -> tuple[Piece, ...]:
        """Convex cells that hold its triangles, and cells for what was not seen."""
        return () if self.shape is None else self.shape.cells

    def solids(self) -> dict[str, cq.Shape]:
        """None: triangles are no solid."""
        return {}

    def meshes(self) -> dict[str, Triangles]:
        """What was seen, and a veil over what was not."""
        if self.shape is None:
            return {}
        reach = self.shape.scan.deflection_mm + float(np.real(self.accuracy_mm))
        found = {SURFACE: dataclasses.replace(self.shape.surface, deflection_mm=reach)}
        if self.shape.veil is not None:
            found[UNSEEN] = self.shape.veil
        return found

    def unseen(self) -> tuple[str, ...]:
        """The holes, and what an unseen edge may hide."""
        return (UNSEEN,)
