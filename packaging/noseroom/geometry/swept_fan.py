"""The space that a body sweeps as it turns about an axis: a profile in (r, z), revolved.

Every triangle is projected by itself, with the least and the largest radius it has at each height:
a flat triangle comes nearer to the axis in its middle than at its corners, and the sides of a
cylinder project to no area at all. What the surfaces leave blank is material if one point of it is,
so that a hub stays full and a bore stays open.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.kernel import Pose, load_cadquery, moved, rigid, transformed
from noseroom.geometry.mesh import Body, body_from_mesh
from noseroom.geometry.overlap import inside

if TYPE_CHECKING:
    import cadquery as cq

Floats = NDArray[np.float64]

_PAD_MM = 1e-4
"""Every piece is grown by this, so that none is lost for having no area."""
_MOST_SLICES = 64
_FLAT_MM = 1e-9
_ARC_STEPS = 8


@dataclass(frozen=True, eq=False)
class SweptProfile:
    """A body of revolution that holds all that a body passes through in a full turn.

    frame: (4, 4), the world's place of the profile's frame, whose z axis is the axis of the turn.
    region: a shapely (multi)polygon in (r, z), mm, with r >= 0; rings inside it are open space.
    beyond_mm: no point of the region's outline is further than this, to first order, from what
        the true body reaches.
    """

    frame: Pose
    region: Any
    beyond_mm: float

    def holds(self, points: Floats) -> NDArray[np.bool_]:
        """Return which world points (n, 3) lie in the swept space."""
        import shapely

        local = (points - self.frame[:3, 3]) @ self.frame[:3, :3]
        flat = shapely.points(np.hypot(local[:, 0], local[:, 1]), local[:, 2])
        shapely.prepare(self.region)
        found: NDArray[np.bool_] = shapely.covers(self.region, flat)
        return found

    @cached_property
    def rings(self) -> tuple[Floats, ...]:
        """The outlines (k, 2) of the region and of what is open in it, each without its repeat."""
        import shapely

        parts = shapely.get_parts(self.region)
        lines = [line for part in parts for line in (part.exterior, *part.interiors)]
        return tuple(np.asarray(line.coords, dtype=np.float64)[:-1] for line in lines)

    @property
    def volume_mm3(self) -> float:
        """Volume of the swept space, by Pappus: area by the way of its middle."""
        import shapely

        parts = shapely.get_parts(self.region)
        return float(sum(2 * np.pi * part.centroid.x * part.area for part in parts))

    def body(self, name: str, chord_mm: float = 0.1) -> Body:
        """Return the swept space as a body for clearances, by a mesh good to `chord_mm`.

        Raises:
            GeometryError: the chord is no length above 0 mm.
        """
        if not chord_mm > 0:
            raise GeometryError("a chord is a length above 0 mm")
        reach = max(float(ring[:, 0].max()) for ring in self.rings)
        step = np.arccos(max(-1.0, 1 - min(chord_mm, reach) / reach))
        count = max(12, int(np.ceil(np.pi / step)))
        vertices, triangles, start = [], [], 0
        for ring in self.rings:
            corners, faces = _revolved(ring, count)
            vertices.append(moved(corners, self.frame))
            triangles.append(faces + start)
            start += len(corners)
        chord = reach * (1 - np.cos(np.pi / count))
        return body_from_mesh(
            name, np.concatenate(vertices), np.concatenate(triangles), deflection_mm=float(chord)
        )

    def solid(self) -> cq.Shape:
        """Return the swept space as a solid (several: a compound), to look at and to export."""
        import shapely

        cq = load_cadquery()
        solids = []
        for part in shapely.get_parts(self.region):
            plane = cq.Workplane(cq.Plane((0, 0, 0), (1, 0, 0), (0, -1, 0)))
            for line in (part.exterior, *part.interiors):
                plane = plane.polyline([tuple(p) for p in line.coords[:-1]]).close()
            solids += plane.revolve(360, (0, 0), (0, 1)).solids().vals()
        shape = solids[0] if len(solids) == 1 else cq.Compound.makeCompound(solids)
        return transformed(shape, self.frame)


def swept_profile(
    body: Body,
    through: ArrayLike,
    axis: ArrayLike,
    pose: Pose | None = None,
    *,
    within_mm: float = 0.05,
) -> SweptProfile:
    """Return what a body sweeps in a full turn about an axis of the world.

    through: (3,) mm, a point of the axis; axis: (3,), its direction. within_mm: how much the
    outline may be let out for the sake of few corners; the mesh's chord error, which comes on
    top, is taken off nothing.

    Raises:
        GeometryError: no direction, a pose that is not rigid, or no length above 0 mm.
    """
    import shapely

    if not within_mm > 0:
        raise GeometryError("the profile is let out by a length above 0 mm")
    frame = _frame(through, axis)
    place = np.linalg.inv(frame) @ rigid(pose)
    corners = moved(body.mesh.vertices, place)[body.mesh.triangles]
    quads = np.unique(np.round(_projected(corners, within_mm / 4), 7), axis=0)
    surface = shapely.union_all(shapely.polygons(quads))
    grown = _filled(surface, body, place)
    # A buffer's arcs are chords inside the true arc: the radius makes up for it.
    out = (body.mesh.bound_mm + within_mm / 2) / np.cos(np.pi / (4 * _ARC_STEPS))
    wide = grown.buffer(out, quad_segs=_ARC_STEPS)
    few = wide.simplify(within_mm / 2)
    least = grown.buffer(body.mesh.bound_mm / np.cos(np.pi / (4 * _ARC_STEPS)))
    region = few if few.is_valid and few.covers(least) else wide
    region = region.intersection(shapely.box(0.0, *_reach(region)))
    return SweptProfile(frame, region, 2 * body.mesh.bound_mm + 1.5 * within_mm)


def _frame(through: ArrayLike, axis: ArrayLike) -> Pose:
    point, way = np.asarray(through, dtype=np.float64), np.asarray(axis, dtype=np.float64)
    finite = point.shape == way.shape == (3,) and np.isfinite([point, way]).all()
    if not finite or not way.any():
        raise GeometryError("an axis is a point and a direction of three finite numbers each")
    z = way / np.linalg.norm(way)
    x = np.cross(np.eye(3)[int(np.abs(z).argmin())], z)
    x /= np.linalg.norm(x)
    frame = np.eye(4)
    frame[:3, :3], frame[:3, 3] = np.stack([x, np.cross(z, x), z], axis=1), point
    return frame


def _reach(region: Any) -> tuple[float, float, float]:
    """Lowest z, largest r and highest z of a box round a region, with room."""
    _, low, wide, high = region.bounds
    return low - 1.0, wide + 1.0, high + 1.0


def _projected(corners: Floats, sag_mm: float) -> Floats:
    """Quadrilaterals (q, 4, 2) in (r, z) that together hold what triangles (m, 3, 3) sweep.

    Between two heights of corners a triangle's slice is a segment whose ends run along straight
    lines. Its largest radius is a convex function of the height, so a chord lies above it; its
    least radius is convex too (the nearest point of a convex set), so a tangent lies below it.
    """
    order = corners[:, :, 2].argsort(axis=1)
    low, mid, high = (
        np.take_along_axis(corners, order[:, k, None, None], 1)[:, 0] for k in range(3)
    )
    tall = np.maximum(high[:, 2] - low[:, 2], 1e-300)
    share = ((mid[:, 2] - low[:, 2]) / tall)[:, None]
    across = low + share * (high - low)  # where the long edge is as high as the middle corner
    flat = high[:, 2] - low[:, 2] <= _FLAT_MM
    slabs = [
        _slab(low[~flat], low[~flat], across[~flat], mid[~flat], sag_mm),
        _slab(across[~flat], mid[~flat], high[~flat], high[~flat], sag_mm),
        _flat(corners[flat]),
    ]
    quads = np.concatenate(slabs)
    quads += np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * _PAD_MM
    return quads


def _slab(p0: Floats, q0: Floats, p1: Floats, q1: Floats, sag_mm: float) -> Floats:
    """Quadrilaterals of slices whose ends run from p0 to p1 and from q0 to q1: (m, 3) each."""
    some = p1[:, 2] - p0[:, 2] > 0
    p0, q0, p1, q1 = (end[some] for end in (p0, q0, p1, q1))
    if not len(p0):
        return np.zeros((0, 4, 2))
    run = np.maximum(
        np.linalg.norm((p1 - p0)[:, :2], axis=1), np.linalg.norm((q1 - q0)[:, :2], axis=1)
    )
    near = np.maximum(_nearest(p0, p1, q0, q1), sag_mm)
    slices = np.ceil(np.sqrt(run**2 / (8 * near * sag_mm))).clip(1, _MOST_SLICES).astype(int)
    own = np.repeat(np.arange(len(slices)), slices)
    first = np.arange(len(own)) - np.repeat(np.cumsum(slices) - slices, slices)
    start, end = (first / slices[own])[:, None], ((first + 1) / slices[own])[:, None]
    middle, half = (start + end) / 2, (end - start)[:, 0] / 2
    p0, p1, q0, q1 = p0[own], p1[own], q0[own], q1[own]

    def reach(at: Floats) -> tuple[Floats, Floats]:
        p, q = p0 + at * (p1 - p0), q0 + at * (q1 - q0)
        wide = np.maximum(np.hypot(p[:, 0], p[:, 1]), np.hypot(q[:, 0], q[:, 1]))
        return wide, p[:, 2]

    p, q = (p0 + middle * (p1 - p0))[:, :2], (q0 + middle * (q1 - q0))[:, :2]
    side = q - p
    length2 = np.maximum(np.einsum("ij,ij->i", side, side), 1e-300)
    share = np.clip(-np.einsum("ij,ij->i", p, side) / length2, 0.0, 1.0)[:, None]
    nearest = p + share * side
    least = np.hypot(nearest[:, 0], nearest[:, 1])
    rate = (p1 - p0)[:, :2] + share * ((q1 - q0) - (p1 - p0))[:, :2]
    slope = np.einsum("ij,ij->i", nearest, rate) / np.maximum(least, 1e-300)
    slope = np.where(least > _FLAT_MM, slope, 0.0) * half
    (wide0, z0), (wide1, z1) = reach(start), reach(end)
    # Below r = 0 is cut off at the end; a tangent that is bent up there would not lie below.
    low0, low1 = np.minimum(least - slope, wide0), np.minimum(least + slope, wide1)
    return np.stack([np.c_[low0, z0], np.c_[wide0, z0], np.c_[wide1, z1], np.c_[low1, z1]], axis=1)


def _nearest(p0: Floats, p1: Floats, q0: Floats, q1: Floats) -> Floats:
    """Least radius (m,) of the two lines of ends, for choosing the number of slices."""
    found = np.full(len(p0), np.inf)
    for a, b in ((p0, p1), (q0, q1)):
        found = np.minimum(found, _to_axis(a[:, :2], b[:, :2]))
    return found


def _to_axis(a: Floats, b: Floats) -> Floats:
    """Distance (m,) of the origin from segments between (m, 2) points."""
    side = b - a
    length2 = np.maximum(np.einsum("ij,ij->i", side, side), 1e-300)
    share = np.clip(-np.einsum("ij,ij->i", a, side) / length2, 0.0, 1.0)[:, None]
    distance: Floats = np.linalg.norm(a + share * side, axis=1)
    return distance


def _flat(corners: Floats) -> Floats:
    """Quadrilaterals of triangles (m, 3, 3) that lie square to the axis: lines in (r, z)."""
    flat = corners[:, :, :2]
    wide = np.linalg.norm(flat, axis=2).max(axis=1)
    pairs = [(flat[:, k], flat[:, (k + 1) % 3]) for k in range(3)]
    least = np.min([_to_axis(a, b) for a, b in pairs], axis=0)
    turns = np.array([a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0] for a, b in pairs])
    least = np.where((turns >= 0).all(axis=0) | (turns <= 0).all(axis=0), 0.0, least)
    low, high = corners[:, :, 2].min(axis=1), corners[:, :, 2].max(axis=1)
    ends = [np.c_[least, low], np.c_[wide, low], np.c_[wide, high], np.c_[least, high]]
    return np.stack(ends, axis=1)


def _filled(surface: Any, body: Body, place: Pose) -> Any:
    """The projected surfaces and whatever blank between them is material."""
    import shapely

    if not body.watertight:
        return surface
    around = shapely.box(0.0, *_reach(surface))
    blanks = shapely.get_parts(around.difference(surface))
    probes = shapely.get_coordinates(shapely.point_on_surface(blanks))
    # No surface crosses a blank on its way round: one point of the circle speaks for all of it.
    world = np.c_[probes[:, 0], np.zeros(len(probes)), probes[:, 1]]
    full = inside(world, body, place)
    return shapely.union_all([surface, *shapely.buffer(blanks[full], _PAD_MM)])


def _revolved(ring: Floats, count: int) -> tuple[Floats, NDArray[np.int32]]:
    """Vertices and triangles of a closed line (k, 2) in (r, z) revolved in `count` steps."""
    angles = 2 * np.pi * np.arange(count) / count
    on_axis = ring[:, 0] <= _FLAT_MM
    vertices: list[Floats] = []
    numbers = np.empty((len(ring), count), dtype=np.int64)
    total = 0
    for k, (r, z) in enumerate(ring):
        turned = angles[:1] if on_axis[k] else angles
        vertices.append(np.c_[r * np.cos(turned), r * np.sin(turned), np.full(len(turned), z)])
        numbers[k] = total + (np.zeros(count, dtype=np.int64) if on_axis[k] else np.arange(count))
        total += len(turned)
    following = np.roll(numbers, -1, axis=0)
    a, b = numbers, np.roll(numbers, -1, axis=1)
    c, d = following, np.roll(following, -1, axis=1)
    halves = np.concatenate(
        [np.stack([a, b, d], axis=-1).reshape(-1, 3), np.stack([a, d, c], axis=-1).reshape(-1, 3)]
    )
    real = (halves != np.roll(halves, 1, axis=1)).all(axis=1)
    return np.concatenate(vertices), halves[real].astype(np.int32)
