"""How far a surface is at most from triangles with corners on it, by its second derivatives.

Taylor's theorem about a point with shares of the corners of a triangle of parameters. Where a
second derivative does not change, what a triangle misses is half the sum over its sides of the
product of the shares at their ends and the second derivative along the side; what it changes by
counts with half the mean of the squared differences of the parameters, and no variance of a
parameter is above a quarter of its range squared (Popoviciu's inequality).
"""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Range: TypeAlias = tuple[Floats, Floats]
"""Lowest and highest values, of the same form."""


def times(one: Range, other: Range) -> Range:
    """Return the range of a product."""
    ends = np.stack([a * b for a in one for b in other])
    return ends.min(axis=0), ends.max(axis=0)


def sides_bound(uv: Floats, low: Floats, high: Floats) -> Floats:
    """Return how far a surface is at most from triangles with parameters uv (m, 3, 2), mm: (m,).

    From the place with the same parameters. low, high: (3, 3, m) ranges of the second derivatives
    uu, uv and vv, by x, y and z, over each triangle.
    """
    middle, half = (low + high) / 2, (high - low) / 2
    spread = np.sqrt(np.einsum("dxm,dxm->dm", half, half))
    wide_u, wide_v = np.ptp(uv, axis=1).T
    rest = wide_u**2 * spread[0] + 2 * wide_u * wide_v * spread[1] + wide_v**2 * spread[2]
    u, v = (uv - np.roll(uv, 1, axis=1)).transpose(2, 1, 0)
    along = u * u * middle[0][:, None] + 2 * u * v * middle[1][:, None]
    along += v * v * middle[2][:, None]
    found: Floats = _most_of_sides(np.sqrt(np.einsum("xsm,xsm->sm", along, along))) / 2 + rest / 8
    return found


def _most_of_sides(sides: Floats) -> Floats:
    """The most (m,) that the sum over the sides (3, m) of shares at both ends times side can be.

    In the middle of the longest side, or inside where no side is longer than both others together.
    """
    c, b, a = np.sort(sides, axis=0)
    inside = 4 * b * c - (b + c - a) ** 2
    found: Floats = a / 4
    use = (b + c > a) & (inside > 0)
    found[use] = (a * b * c)[use] / inside[use]
    return found


def simple_bounds(surface: Any, uv: Floats) -> tuple[Floats, Floats] | None:
    """Return how far a cylinder, cone, sphere or torus is from triangles (m, 3, 2) at most, mm.

    surface: a `BRepAdaptor_Surface`. First from the place with the same parameters, then from the
    nearest of all triangles; both (m,). None for other kinds.
    """
    from OCP.GeomAbs import GeomAbs_SurfaceType as Kind

    kind = surface.GetType()
    if kind == Kind.GeomAbs_Cylinder:
        # Of its second derivatives only the one along the angle is not 0, and it is the radius.
        same = surface.Cylinder().Radius() * np.ptp(uv[..., 0], axis=1) ** 2 / 8
        return same, same
    if kind == Kind.GeomAbs_Cone:
        cone = surface.Cone()
        return _of_cone(uv, cone.RefRadius(), float(np.sin(cone.SemiAngle())))
    if kind == Kind.GeomAbs_Sphere:
        same = _of_ring(uv, 0.0, surface.Sphere().Radius())
    elif kind == Kind.GeomAbs_Torus:
        ring = surface.Torus()
        same = _of_ring(uv, ring.MajorRadius(), ring.MinorRadius())
    else:
        return None
    return same, same


def _of_cone(uv: Floats, radius: float, slope: float) -> tuple[Floats, Floats]:
    """From the place with the same parameters, and from the nearest triangle.

    With places given by their distance from the tip and the angle, a triangle holds the places at
    the mean of its angles by the shares times the distances; so only the angle counts. That is
    not for a triangle with a corner in the tip, whose angle there says nothing.
    """
    out = radius + uv[..., 1] * slope
    low, high = out.min(axis=1), out.max(axis=1)
    wide_u, wide_v = np.ptp(uv, axis=1).T
    u, v = (uv - np.roll(uv, 1, axis=1)).transpose(2, 1, 0)
    # By u twice it bends inwards, by u and v round about: square to each other, and turned by no
    # more than half the angle from where they are in the middle.
    sides = np.hypot((low + high) / 2 * u * u, 2 * slope * u * v)
    most = np.maximum(np.abs(low), np.abs(high))
    turned = most * wide_u / 2 + (high - low) / 2
    rest = wide_u * wide_u * turned + abs(slope) * wide_u * wide_v * wide_u
    same: Floats = _most_of_sides(sides) / 2 + rest / 8
    along = most * wide_u * wide_u / 8
    one_side = (out > 0).all(axis=1) | (out < 0).all(axis=1)
    return same, np.where(one_side, np.minimum(along, same), same)


def _of_ring(uv: Floats, large: float, small: float) -> Floats:
    """Of a torus, or of a sphere for no large radius, from the place with the same parameters."""
    low, high = uv[..., 1].min(axis=1), uv[..., 1].max(axis=1)
    cosine = _cosines(low, high)
    sine = _cosines(low - np.pi / 2, high - np.pi / 2)
    out = large + small * cosine[0], large + small * cosine[1]
    back, down = (-small * cosine[1], -small * cosine[0]), (-small * sine[1], -small * sine[0])
    return _of_turned(uv, out, down, back, down)


def _of_turned(uv: Floats, out: Range, slope: Range, bend: Range, sag: Range) -> Floats:
    """Of what a curve sweeps that is turned about an axis by u, mm.

    Ranges (m,) over each triangle: how far out the curve is, that by v once and twice, and how
    high it is by v twice. In axes out, round about and up in the middle of each triangle.
    """
    half = np.minimum(np.ptp(uv[..., 0], axis=1) / 2, np.pi)
    ahead = np.cos(half), np.ones(len(uv))
    aside = np.sin(np.minimum(half, np.pi / 2))
    beside = -aside, aside
    still = np.zeros(len(uv)), np.zeros(len(uv))
    inward = -out[1], -out[0]
    rows = [
        [times(inward, ahead), times(inward, beside), still],
        [times(slope, beside), times(slope, ahead), still],
        [times(bend, ahead), times(bend, beside), sag],
    ]
    low, high = (np.stack([np.stack([one[k] for one in row]) for row in rows]) for k in (0, 1))
    return sides_bound(uv, low, high)


def _cosines(low: Floats, high: Floats) -> Range:
    """Ranges (m,) of the cosine of an angle between two."""
    turn = 2 * np.pi
    ends = np.cos(low), np.cos(high)
    crest = np.ceil(low / turn) * turn <= high
    trough = (np.ceil((low - np.pi) / turn) * turn + np.pi) <= high
    return np.where(trough, -1.0, np.minimum(*ends)), np.where(crest, 1.0, np.maximum(*ends))
