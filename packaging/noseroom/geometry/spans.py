"""Free-form surfaces span by span: how far they may be from the triangles between their parameters.

Between two knots a spline is a polynomial, and its derivatives are splines of their own, whose
poles bound them (Piegl and Tiller, The NURBS Book, 2nd ed., 1997, sections 3.3 and 4.4). So a bump
of one span's width cannot hide between the samples of a large triangle: the second derivatives
bound how far the surface is from it, or samples are taken in every span.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from noseroom.geometry.chord_errors import SAMPLING_FACTOR
from noseroom.geometry.surfaces import Places, span_ends, spline_net

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
    def curving(self) -> Floats:
        """No second derivative uu, uv, vv in a span is larger, mm: (3, k, l).

        Infinite where nothing is known.
        """
        if self.spline is None:
            return np.full((3, len(self.u) - 1, len(self.v) - 1), np.inf)
        net, knots, degrees, turns = spline_net(self.spline)
        where = [
            _begins(ends, knots[way], degrees[way], turns[way])
            for way, ends in enumerate((self.u, self.v))
        ]
        return np.concatenate(list(_curving(net, knots, degrees, where)), axis=1)

    def crossed(self, uv: Floats) -> tuple[Numbers, Numbers]:
        """First and last span, each (m, 2) for u and v, that triangles (m, 3, 2) lie in."""
        low, high = uv.min(axis=1), uv.max(axis=1)
        first, last = np.empty(low.shape, np.intp), np.empty(low.shape, np.intp)
        for way, ends in enumerate((self.u, self.v)):
            hair = _HAIR * float(np.diff(ends).min())
            most = len(ends) - 2
            first[:, way] = np.searchsorted(ends, low[:, way] + hair, side="right") - 1
            last[:, way] = np.searchsorted(ends, high[:, way] - hair, side="left") - 1
            np.clip(first[:, way], 0, most, out=first[:, way])
            np.clip(last[:, way], first[:, way], most, out=last[:, way])
        return first, last

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
        return small & ~self._creased(uv)

    def _creased(self, uv: Floats) -> NDArray[np.bool_]:
        """Whether a crease runs through triangles (m, 3, 2)."""
        found = np.zeros(len(uv), dtype=bool)
        for way, kinks in enumerate(self.kinks):
            low, high = uv[..., way].min(axis=1), uv[..., way].max(axis=1)
            hair = _HAIR * float(np.diff((self.u, self.v)[way]).min())
            found |= np.searchsorted(kinks, high - hair) > np.searchsorted(kinks, low + hair)
        return found

    def bounds(self, uv: Floats) -> Floats:
        """Return how far the surface is at most from triangles (m, 3, 2) with corners on it, mm.

        Taylor's theorem about a point with shares of the corners: half the mean of the second
        differences, and no variance of a parameter is above a quarter of its range squared. So
        (w_u² |S_uu| + 2 w_u w_v |S_uv| + w_v² |S_vv|) / 8, from the place with the same
        parameters. Infinite where a crease runs through.
        """
        first, last = self.crossed(uv)
        wide_u, wide_v = np.ptp(uv, axis=1).T
        most = _largest(self.curving, first, last)
        found: Floats = (
            wide_u**2 * most[0] + 2 * wide_u * wide_v * most[1] + wide_v**2 * most[2]
        ) / 8
        found[self._creased(uv)] = np.inf
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
        self, places: Places, uv: Floats, corners: Floats, enough_mm: float = 0.0
    ) -> tuple[Floats, Floats]:
        """Return how far the surface may be from triangles (m, 3, 3) with parameters (m, 3, 2).

        Both (m,), mm, as in `sampled`: the bound where it is small or not far above the samples,
        else the samples with a margin. How far the corners are from the surface comes on top of
        the bound; the samples hold it.
        """
        bounds = self.bounds(uv)
        off = np.zeros(len(uv))
        same, near = bounds.copy(), bounds.copy()
        close = np.ones(len(uv), dtype=bool)
        large = np.flatnonzero(bounds > _SMALL_MM)
        if len(large):
            few = enough_mm / SAMPLING_FACTOR
            sampled, nearest = self.sampled(places, uv[large], corners[large], few)
            loose = bounds[large] > _LOOSE * SAMPLING_FACTOR * sampled
            close[large[loose]] = False
            same[large[loose]] = SAMPLING_FACTOR * sampled[loose]
            near[large] = np.minimum(same[large], SAMPLING_FACTOR * nearest)
        if close.any():
            on = places(uv[close].reshape(-1, 2)).reshape(-1, 3, 3)
            off[close] = np.linalg.norm(on - corners[close], axis=2).max(axis=1)
        return same + off, near + off


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


def _begins(ends: Floats, knots: Floats, degree: int, turn: float) -> Numbers:
    """Numbers of the knots that the spans between some ends begin at, repeats counted."""
    middles = (ends[:-1] + ends[1:]) / 2
    low, high = knots[degree], knots[-degree - 1]
    if turn:
        middles = low + np.mod(middles - low, turn)
    middles = np.clip(middles, low, np.nextafter(high, low))
    begins: Numbers = np.searchsorted(knots, middles, side="right") - 1
    return begins


def _curving(
    net: Floats, knots: tuple[Floats, Floats], degrees: tuple[int, int], where: list[Numbers]
) -> Iterator[Floats]:
    """Bounds (3, some, l) of the second derivatives in spans, some rows of spans at once."""
    p, q = degrees
    nets = {(0, 0): net}
    for i, j in ((1, 0), (2, 0), (0, 1), (0, 2)):
        before = nets[i - (i > 0), j - (j > 0)]
        nets[i, j] = _derived(before, knots[0 if i else 1], (p if i else q), i or j, 0 if i else 1)
    nets[1, 1] = _derived(nets[1, 0], knots[1], q, 1, 1)
    rows = max(1, _AT_ONCE // (len(where[1]) * (p + 1) * (q + 1)))
    for start in range(0, len(where[0]), rows):
        some = where[0][start : start + rows]
        yield _of_rows(nets, some, where[1], degrees)


def _of_rows(
    nets: dict[tuple[int, int], Floats], rows: Numbers, columns: Numbers, degrees: tuple[int, int]
) -> Floats:
    p, q = degrees

    def active(i: int, j: int) -> Floats:
        """The poles (rows, columns, poles, 4) of a derivative that count in each span."""
        shape = max(p - i, 0) + 1, max(q - j, 0) + 1
        windows = sliding_window_view(nets[i, j], shape, axis=(0, 1))
        found = windows[(rows - p)[:, None], (columns - q)[None, :]]
        return np.moveaxis(found, 2, -1).reshape(len(rows), len(columns), -1, 4)

    own = active(0, 0)
    weights = own[..., 3]
    points = own[..., :3] / weights[..., None]
    centre = points.mean(axis=2, keepdims=True)
    reach = np.linalg.norm(points - centre, axis=-1).max(axis=2)
    least = weights.min(axis=2)

    def sizes(i: int, j: int) -> tuple[Floats, Floats]:
        """Bounds of a derivative of the weighted places from the centre, and of the weight."""
        poles = active(i, j)
        places = poles[..., :3] - centre * poles[..., 3:]
        return np.linalg.norm(places, axis=-1).max(axis=2), np.abs(poles[..., 3]).max(axis=2)

    # The rule for quotients; of a spline without weights the weight's derivatives are 0.
    (a_u, w_u), (a_v, w_v) = sizes(1, 0), sizes(0, 1)
    (a_uu, w_uu), (a_uv, w_uv), (a_vv, w_vv) = sizes(2, 0), sizes(1, 1), sizes(0, 2)
    s_u, s_v = (a_u + w_u * reach) / least, (a_v + w_v * reach) / least
    s_uu = (a_uu + 2 * w_u * s_u + w_uu * reach) / least
    s_uv = (a_uv + w_u * s_v + w_v * s_u + w_uv * reach) / least
    s_vv = (a_vv + 2 * w_v * s_v + w_vv * reach) / least
    return np.stack([s_uu, s_uv, s_vv])


def _derived(net: Floats, knots: Floats, degree: int, order: int, way: int) -> Floats:
    """Poles of the derivative along one way of poles that are one order lower."""
    left = degree - order + 1
    if left <= 0:
        return np.zeros_like(net)
    steps = np.diff(net, axis=way)
    count = steps.shape[way]
    # Of the knots of the derivative before, `order - 1` are gone at each end.
    own = knots[order - 1 : len(knots) - order + 1]
    run = own[left + 1 : left + 1 + count] - own[1 : 1 + count]
    shares = np.divide(left, run, out=np.zeros(count), where=run > 0)
    shape = [1, 1, 1]
    shape[way] = count
    derived: Floats = steps * shares.reshape(shape)
    return derived


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
