"""Free-form surfaces span by span: how far they may be from the triangles between their parameters.

Between two knots a spline is a polynomial, whose second derivatives have ranges that are known for
sure (`beziers`). So a bump of one span's width cannot hide between the samples of a large triangle:
these ranges bound how far the surface is from it, or samples are taken in every span.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.bends import Range, sides_bound
from noseroom.geometry.beziers import second_derivatives
from noseroom.geometry.chord_errors import SAMPLING_FACTOR
from noseroom.geometry.surfaces import Net, Places, net_places, span_ends, spline_net

Floats = NDArray[np.float64]
Numbers = NDArray[np.intp]

# Parameters within this share of a span's length of its end are not in the next span.
_HAIR = 1e-6
# Up to this degree a few samples in a triangle tell of a polynomial.
_TAME_DEGREE = 3
_ONE_SPAN = 2
_AT_ONCE = 200_000
# A triangle is cut so many times each way for samples, whatever it is wide.
_LEAST_STEPS, _MOST_STEPS = 4, 600
# A bound below this is taken as it is; a larger one unless it is so many times the samples.
_SMALL_MM = 0.01
_LOOSE = 2.0
# The ranges of the second derivatives are worked out in about so many cells each way.
_CELLS = 8


@dataclass(frozen=True, eq=False)
class Spans:
    """Where the spans of a free-form surface end, and how strongly it curves in each.

    u: (k + 1,) and v: (l + 1,) ends of the spans. kinks: parameters u and v across which the
    surface has a crease. degrees: in u and v. spline: the kernel's, None where it is none.
    """

    u: Floats
    v: Floats
    kinks: tuple[Floats, Floats]
    degrees: tuple[int, int]
    spline: Any

    @cached_property
    def net(self) -> Net:
        """Poles, knots, degrees and periods; only of a spline."""
        return spline_net(self.spline)

    @cached_property
    def places(self) -> Places:
        """What evaluates the surface; only of a spline."""
        return net_places(self.net)

    @cached_property
    def bounded(self) -> bool:
        """Whether it is a spline without weights, whose bounds are close."""
        return self.spline is not None and not np.ptp(self.net[0][..., 3])

    @cached_property
    def unit(self) -> Net:
        """The same as `net`, with parameters from 0 to 1 between the first end and the last."""
        net, knots, degrees, turns = self.net
        start, length = self._range
        ways = zip(knots, start, length, strict=True)
        lower, upper = ((each - begin) / wide for each, begin, wide in ways)
        return net, (lower, upper), degrees, (turns[0] / length[0], turns[1] / length[1])

    @cached_property
    def _range(self) -> tuple[Floats, Floats]:
        """The first parameters u and v, and how long their ranges are."""
        start = np.array([self.u[0], self.v[0]])
        return start, np.array([self.u[-1], self.v[-1]]) - start

    def to_unit(self, uv: Floats) -> Floats:
        """Return parameters (..., 2) as shares of their ranges."""
        start, length = self._range
        shares: Floats = (uv - start) / length
        return shares

    @cached_property
    def cells(self) -> tuple[Floats, Floats]:
        """Ends, as shares, of the cells that the ranges of the second derivatives are for."""
        found = []
        for way, degree in enumerate(self.degrees):
            each = (self.u, self.v)[way]
            ends = (each - each[0]) / (each[-1] - each[0])
            cuts = -(-_CELLS // (len(ends) - 1)) if degree > 1 or not self.bounded else 1
            inner = ends[:-1, None] + np.arange(cuts) / cuts * np.diff(ends)[:, None]
            found.append(np.r_[inner.ravel(), ends[-1]])
        return found[0], found[1]

    @cached_property
    def likeness(self) -> object:
        """The same for surfaces that only differ in their poles and the lengths of their ranges."""
        net, knots, degrees, turns = self.unit
        ends = tuple(each.tobytes() for each in (*knots, *self.cells))
        return net.shape, degrees, turns, ends

    @cached_property
    def kept(self) -> list[Range]:
        """The ranges that `bending` gives, once they are worked out."""
        return []

    @property
    def ranges(self) -> Range:
        """Ranges (9, k, l) of the second derivatives uu, uv, vv by x, y, z in each cell, mm."""
        if not self.kept:
            self.kept.append(bending(self.net[0][None], self))
        return self.kept[0]

    def widths(self, uv: Floats) -> Floats:
        """Return how many spans triangles (m, 3, 2) are wide in u and v: (m, 2)."""
        ends = self.u, self.v
        counted = [np.interp(uv[..., way], ends[way], np.arange(len(ends[way]))) for way in (0, 1)]
        found: Floats = np.ptp(np.stack(counted, axis=-1), axis=1)
        return found

    def plain(self, uv: Floats) -> NDArray[np.bool_]:
        """Whether the surface over triangles (m, 3, 2) has no room for more than a simple bend.

        A cubic's span does not turn about twice; of a higher degree, as much less of a span.
        """
        small = (self.widths(uv) * self.degrees <= _TAME_DEGREE).all(axis=1)
        return small & ~self.creased(uv)

    def creased(self, uv: Floats) -> NDArray[np.bool_]:
        """Whether a crease runs through triangles (m, 3, 2)."""
        found = np.zeros(len(uv), dtype=bool)
        for way, kinks in enumerate(self.kinks):
            if not len(kinks):
                continue
            low, high = uv[..., way].min(axis=1), uv[..., way].max(axis=1)
            hair = _HAIR * float(np.diff((self.u, self.v)[way]).min())
            found |= np.searchsorted(kinks, high - hair) > np.searchsorted(kinks, low + hair)
        return found

    def bounds(self, uv: Floats) -> Floats:
        """Return how far the surface is at most from triangles (m, 3, 2) with corners on it, mm.

        From the place with the same parameters, as `bends.sides_bound` says. Infinite where a
        crease runs through, or where nothing is known.
        """
        if self.spline is None:
            return np.full(len(uv), np.inf)
        shares = self.to_unit(uv)
        found = bounds_in(self.ranges, *crossed(self.cells, shares), shares)
        found[self.creased(uv)] = np.inf
        return found

    def sampled(
        self, places: Places, uv: Floats, corners: Floats, enough_mm: float = 0.0
    ) -> tuple[Floats, Floats]:
        """Largest distances (m,), mm, of samples in every span from the triangles (m, 3, 3).

        The first from the place with the same parameters, as in `bounds`, the second from the
        nearest of the triangle; up to enough_mm that need not be the nearest.
        """
        wanted = (self.widths(uv) * (np.array(self.degrees) + 2)).max(axis=1)
        steps = np.clip(_rounded_up(wanted), _LEAST_STEPS, _MOST_STEPS)
        same, near = np.zeros(len(uv)), np.zeros(len(uv))
        for count in np.unique(steps):
            shares = _lattice(int(count))
            here = np.flatnonzero(steps == count)
            each = max(1, _AT_ONCE // len(shares))
            for start in range(0, len(here), each):
                some = here[start : start + each]
                at = np.einsum("sk,mkd->msd", shares, uv[some])
                flat = np.einsum("sk,mkd->msd", shares, corners[some])
                on = places(at.reshape(-1, 2)).reshape(flat.shape)
                off = np.linalg.norm(on - flat, axis=2)
                same[some] = off.max(axis=1)
                near[some] = _nearest(on, off, corners[some], enough_mm)
        return same, near

    def errors(
        self,
        places: Places,
        uv: Floats,
        corners: Floats,
        enough_mm: float = 0.0,
        bounds: Floats | None = None,
    ) -> tuple[Floats, Floats]:
        """Return how far the surface may be from triangles (m, 3, 3) with parameters (m, 3, 2).

        Both (m,), mm, as in `sampled`: the bound where it is enough or not far above the samples,
        else the samples with a margin. Where weights differ the bound is seldom of use. How far
        the corners are from the surface comes on top. bounds: (m,) if they are known.
        """
        if bounds is None:
            bounds = self.bounds(uv) if self.bounded else np.full(len(uv), np.inf)
        same, near = bounds.copy(), bounds.copy()
        large = np.flatnonzero(bounds > max(enough_mm, _SMALL_MM))
        if len(large):
            few = enough_mm / SAMPLING_FACTOR
            sampled, nearest = self.sampled(places, uv[large], corners[large], few)
            loose = bounds[large] > _LOOSE * SAMPLING_FACTOR * sampled
            same[large[loose]] = SAMPLING_FACTOR * sampled[loose]
            near[large] = np.minimum(same[large], SAMPLING_FACTOR * nearest)
        return same, near


def spans_of(surface: Any) -> Spans | None:
    """Return the spans of a `BRepAdaptor_Surface`; None for planes, cylinders and their like."""
    from OCP.GeomAbs import GeomAbs_Shape
    from OCP.GeomAbs import GeomAbs_SurfaceType as Kind

    kind = surface.GetType()
    simple = (
        Kind.GeomAbs_Plane,
        Kind.GeomAbs_Cylinder,
        Kind.GeomAbs_Cone,
        Kind.GeomAbs_Sphere,
        Kind.GeomAbs_Torus,
    )
    if kind in simple:
        return None
    ends_u = span_ends(surface.NbUIntervals, surface.UIntervals, GeomAbs_Shape.GeomAbs_CN)
    ends_v = span_ends(surface.NbVIntervals, surface.VIntervals, GeomAbs_Shape.GeomAbs_CN)
    kinks_u = kinks_v = np.zeros(0)
    if len(ends_u) > _ONE_SPAN:
        kinks_u = span_ends(surface.NbUIntervals, surface.UIntervals, GeomAbs_Shape.GeomAbs_C1)
    if len(ends_v) > _ONE_SPAN:
        kinks_v = span_ends(surface.NbVIntervals, surface.VIntervals, GeomAbs_Shape.GeomAbs_C1)
    degrees, spline = (_TAME_DEGREE, _TAME_DEGREE), None
    if kind == Kind.GeomAbs_BSplineSurface:
        spline = surface.BSpline()
    elif kind == Kind.GeomAbs_BezierSurface:
        from OCP.GeomConvert import GeomConvert

        spline = GeomConvert.SurfaceToBSplineSurface_s(surface.Bezier())
    if spline is not None:
        degrees = spline.UDegree(), spline.VDegree()
    return Spans(ends_u, ends_v, (kinks_u[1:-1], kinks_v[1:-1]), degrees, spline)


def bending(nets: Floats, like: Spans) -> Range:
    """Return ranges (9, f * k, l) of the second derivatives uu, uv, vv by x, y, z in cells, mm.

    By shares of the ranges of parameters. nets: (f, rows, columns, 4) poles of surfaces of which
    all else is as of `like`; all rows of cells of one come before those of the next.
    """
    low, high = second_derivatives(nets, *like.unit[1:], like.cells)
    return low.reshape(9, *low.shape[2:]), high.reshape(9, *high.shape[2:])


def bounds_in(ranges: Range, first: Numbers, last: Numbers, uv: Floats) -> Floats:
    """Return bounds (m,) of triangles (m, 3, 2) of shares, in cells from first to last (m, 2)."""
    low, high = _over(ranges, first, last)
    shape = 3, 3, len(uv)
    return sides_bound(uv, low.reshape(shape), high.reshape(shape))


def crossed(ends: tuple[Floats, Floats], uv: Floats) -> tuple[Numbers, Numbers]:
    """Return first and last cell, each (m, 2) for u and v, that triangles (m, 3, 2) lie in."""
    low, high = uv.min(axis=1), uv.max(axis=1)
    first, last = np.empty(low.shape, np.intp), np.empty(low.shape, np.intp)
    for way, each in enumerate(ends):
        hair = _HAIR * float(np.diff(each).min())
        most = len(each) - 2
        first[:, way] = np.searchsorted(each, low[:, way] + hair, side="right") - 1
        last[:, way] = np.searchsorted(each, high[:, way] - hair, side="left") - 1
        np.clip(first[:, way], 0, most, out=first[:, way])
        np.clip(last[:, way], first[:, way], most, out=last[:, way])
    return first, last


def _over(ranges: Range, first: Numbers, last: Numbers) -> Range:
    """Ranges (d, m) over rectangles from first to last (m, 2) of ranges (d, k, l) of cells."""
    low, high = ranges
    rows, columns = low.shape[1:]
    # Most triangles are in a cell with many others.
    number = np.ravel_multi_index((*first.T, *last.T), (rows, columns, rows, columns))
    _, one, which = np.unique(number, return_index=True, return_inverse=True)
    highest = _largest(np.concatenate([-low, high]), first[one], last[one])
    return -highest[: len(low), which], highest[len(low) :, which]


def _largest(values: Floats, first: Numbers, last: Numbers) -> Floats:
    """Largest values (3, m) of a table (3, k, l) in rectangles from first to last (m, 2)."""
    tables: dict[tuple[int, int], Floats] = {(0, 0): values}

    def table(a: int, b: int) -> Floats:
        """Largest of 2**a rows and 2**b columns that begin at each place."""
        if (a, b) not in tables:
            way, before = (1, table(a - 1, b)) if a else (2, table(a, b - 1))
            step = 2 ** ((a if a else b) - 1)
            size = before.shape[way] - step
            here = np.take(before, range(size), axis=way)
            tables[a, b] = np.maximum(here, np.take(before, range(step, step + size), axis=way))
        return tables[a, b]

    size = np.log2(last - first + 1).astype(np.intp)
    found = np.empty((len(values), len(first)))
    for a, b in np.unique(size, axis=0):
        here = np.flatnonzero((size == (a, b)).all(axis=1))
        low, high = first[here], last[here] + 1 - 2 ** np.array([a, b])
        one = table(int(a), int(b))
        corners = [one[:, i, j] for i in (low[:, 0], high[:, 0]) for j in (low[:, 1], high[:, 1])]
        found[:, here] = np.max(corners, axis=0)
    return found


def _nearest(on: Floats, off: Floats, corners: Floats, enough_mm: float) -> Floats:
    """Largest distance (m,) of samples (m, s, 3) from their own triangles (m, 3, 3).

    off: (m, s) what they are away at most.
    """
    from trimesh.triangles import closest_point

    nearer = off.copy()
    of, which = np.nonzero(off > max(enough_mm, _SMALL_MM))
    if len(of):
        points = on[of, which]
        nearer[of, which] = np.linalg.norm(closest_point(corners[of], points) - points, axis=1)
    found: Floats = nearer.max(axis=1)
    return found


def _rounded_up(steps: Floats) -> Numbers:
    """Counts, rounded up so that few different ones are left."""
    powers = 2.0 ** (np.ceil(2 * np.log2(np.maximum(steps, 1.0))) / 2)
    counts: Numbers = np.ceil(powers).astype(np.intp)
    return counts


def _lattice(cut: int) -> Floats:
    """Shares (s, 3) of the corners at the crossings of a triangle cut `cut` times each way."""
    i, j = np.meshgrid(np.arange(cut + 1), np.arange(cut + 1), indexing="ij")
    inside = i + j <= cut
    first, second = i[inside] / cut, j[inside] / cut
    return np.stack([first, second, 1 - first - second], axis=1)
