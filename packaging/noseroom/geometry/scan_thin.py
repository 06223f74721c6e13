"""Thinning a mesh out, with a guaranteed bound on how far that moved it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from noseroom.errors import MissingLibraryError
from noseroom.geometry.scan_bound import one_sided_bound, sampled_distance
from noseroom.geometry.scan_edges import Numbers, compacted, pieces_of
from noseroom.geometry.scan_steps import Step, Tell, quiet
from noseroom.geometry.scan_turn import is_closed
from noseroom.geometry.scan_types import Floats

_A_FEW_MORE = 1.02
_SAMPLING_FACTOR = 1.25
_GENTLE, _BRISK = 5.0, 7.0
_FIRST = 5
_SMALL = 200
_GRID_GROWTH = 1.3


@dataclass(eq=False)
class Thinned:
    """A mesh of fewer triangles.

    deflection_mm: no point of the old surface is further from the new one; nor, as far as samples
    tell, the other way round. remark: what was done, empty for nothing.
    """

    vertices: Floats
    triangles: Numbers
    deflection_mm: float
    remark: str


def thinned(vertices: Floats, triangles: Numbers, most: int, tell: Tell = quiet) -> Thinned:
    """Thin triangles (m, 3) out to `most`, or a few more; fewer are left as they are.

    Triangles are taken out where the surface is flattest. How far the old surface reaches past
    the new one is then measured, and that figure is a bound: no clearance rests on a sample. How
    far the new one stands out where nothing was costs room, never gives it, and is sampled.
    """
    if len(triangles) <= most:
        return Thinned(vertices, triangles, 0.0, "")
    tell(Step.THIN, 0.0)
    points, tri = _large_pieces_simplified(vertices, triangles, most)
    bound = max(
        one_sided_bound(vertices, triangles, points, tri, tell),
        _SAMPLING_FACTOR * sampled_distance(points, tri, vertices, triangles),
    )
    return Thinned(
        points,
        tri,
        bound,
        f"{len(triangles):,} triangles thinned out to {len(tri):,}, which moves the surface by "
        f"{np.ceil(bound * 100) / 100:.2f} mm at most; allowed for",
    )


def _large_pieces_simplified(
    vertices: Floats, triangles: Numbers, most: int
) -> tuple[Floats, Numbers]:
    """Leave small pieces as they are where that is possible: they might vanish altogether."""
    count, piece = pieces_of(triangles)
    small = (np.bincount(piece, minlength=count) <= _SMALL)[piece]
    if not small.any() or int(small.sum()) > most // 2:
        return _simplified(vertices, triangles, most)
    large, numbers = compacted(triangles[~small])
    points, tri = _simplified(vertices[large], numbers, most - int(small.sum()))
    rest, numbers = compacted(triangles[small])
    return np.concatenate([points, vertices[rest]]), np.concatenate([tri, numbers + len(points)])


def _simplified(vertices: Floats, triangles: Numbers, most: int) -> tuple[Floats, Numbers]:
    """A mesh of at most a few more triangles than `most`; closed where it was, if that can be."""
    try:
        from fast_simplification import simplify  # type: ignore[import-untyped]
    except ImportError as error:
        raise MissingLibraryError(
            f"thinning out a scan needs fast-simplification ({error}): "
            "pip install fast-simplification"
        ) from error
    closed = is_closed(triangles)
    for keep_border in (True, False):
        points, tri = vertices, triangles.astype(np.int32)
        # One go ends after so many rounds, however many triangles are left: from there again.
        for target, pace in ((_FIRST * most, _GENTLE), (most, _GENTLE), (most, _BRISK)):
            if len(tri) > _A_FEW_MORE * target:
                points, tri = simplify(
                    points, tri, target_count=target, agg=pace, preserve_border=keep_border
                )
        enough = 0 < len(tri) <= _A_FEW_MORE * most and bool(np.isfinite(points).all())
        numbers = np.asarray(tri, dtype=np.int64)
        if enough and (not closed or is_closed(numbers)):
            return np.asarray(points, dtype=np.float64), numbers
    return _on_a_grid(vertices, triangles, most)


def _on_a_grid(vertices: Floats, triangles: Numbers, most: int) -> tuple[Floats, Numbers]:
    """Corners in one cell of a grid become one: crude, but it thins out anything."""
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    cell = max(float(np.sqrt(area.sum() / most)), 1e-6)
    while True:
        keys = np.floor(vertices / cell).astype(np.int64)
        _, owner = np.unique(keys, axis=0, return_inverse=True)
        owner = owner.reshape(-1)
        tri = owner[triangles]
        tri = tri[(tri != np.roll(tri, 1, axis=1)).all(axis=1)]
        _, first = np.unique(np.sort(tri, axis=1), axis=0, return_index=True)
        tri = tri[np.sort(first)]
        if 0 < len(tri) <= most:
            count = np.bincount(owner)[:, None]
            middle = np.stack([np.bincount(owner, vertices[:, k]) for k in range(3)], axis=1)
            return middle / count, tri
        if not len(tri):
            return vertices, triangles
        cell *= _GRID_GROWTH
