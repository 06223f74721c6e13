"""Triangulated faces of the kernel's, with their parameters and their chord errors.

A chart is what a bound needs to know of a face: where its triangles' corners are on it, which of
their sides lie on its edges, and how far it may be from them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.bends import simple_bounds
from noseroom.geometry.spans import Spans
from noseroom.geometry.surfaces import (
    Places,
    flat_curve_places,
    surface_places,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class Rim:
    """An edge of a face: the chart's nodes (k,) along it and their parameters (k,) on its curve."""

    edge: Any
    nodes: NDArray[np.intp]
    at: Floats


@dataclass(frozen=True, eq=False)
class Chart:
    """One meshed face: nodes (n, 3) mm, their parameters (n, 2), triangles (m, 3).

    rims: its edges, but for straight ones and those that are lines of parameters. error_mm: no
    point of the surface between the parameters of a triangle is further than this from that
    triangle. deflection_mm: none is further than this from the nearest of them. own_mm: (m,) what
    each triangle alone leaves. spans: of a free-form face.
    """

    face: Any
    nodes: Floats
    uv: Floats
    triangles: Ints
    rims: tuple[Rim, ...]
    error_mm: float
    deflection_mm: float
    own_mm: Floats
    spans: Spans | None = None

    @cached_property
    def _surface(self) -> Any:
        from OCP.BRepAdaptor import BRepAdaptor_Surface

        return BRepAdaptor_Surface(self.face)

    @cached_property
    def plane(self) -> bool:
        """Whether the face is flat."""
        return is_plane(self._surface)

    @cached_property
    def simple(self) -> bool:
        """Whether the face is of a kind that the kernel is quick to measure to its like."""
        from OCP.GeomAbs import GeomAbs_SurfaceType as Kind

        quick = Kind.GeomAbs_Cylinder, Kind.GeomAbs_Cone, Kind.GeomAbs_Sphere
        return self.plane or self._surface.GetType() in quick

    @cached_property
    def places(self) -> Places:
        """What evaluates the face's surface."""
        return evaluator(self._surface, self.spans)

    @cached_property
    def extent(self) -> float:
        """The shorter range of the parameters of its nodes."""
        return float(np.ptp(self.uv, axis=0).min())

    def bounds(self, uv: Floats) -> Floats | None:
        """How far the surface surely is from triangles (k, 3, 2) with corners on it at most.

        From the place with the same parameters; None where nothing is known.
        """
        if self.spans is not None:
            return self.spans.bounds(uv) if self.spans.spline is not None else None
        bounds = simple_bounds(self._surface, uv)
        return None if bounds is None else bounds[0]

    @cached_property
    def _segments(self) -> tuple[Floats, NDArray[np.intp], Floats]:
        """Numbers (s,) of the chords of the rims, in order, their rim, and parameters (s, 2)."""
        parts = [(np.zeros(0), np.zeros(0, dtype=np.intp), np.zeros((0, 2)))]
        for number, rim in enumerate(self.rims):
            if flat_curve(self.face, rim.edge) is None:
                continue
            ends = np.stack([rim.nodes[:-1], rim.nodes[1:]], axis=1)
            at = np.stack([rim.at[:-1], rim.at[1:]], axis=1)
            back = ends[:, 0] > ends[:, 1]
            at[back] = at[back, ::-1]
            parts.append((self._side_number(ends), np.full(len(at), number), at))
        sides, numbers, at = (np.concatenate(part) for part in zip(*parts, strict=True))
        order = np.argsort(sides, kind="stable")
        return sides[order], numbers[order], at[order]

    def _side_number(self, ends: NDArray[np.integer[Any]]) -> Floats:
        """One number for the two nodes (..., 2) of a side, whichever comes first."""
        number: Floats = ends.min(axis=-1) * float(len(self.nodes)) + ends.max(axis=-1)
        return number

    def on_rims(self, triangles: Ints) -> tuple[NDArray[np.intp], Floats]:
        """Return on which rim the sides (k, 3) of triangles (k, 3) lie, and their parameters.

        -1 for none, and for rims that are lines of parameters; (k, 3, 2) from each corner to the
        next.
        """
        sides, numbers, at = self._segments
        rim, ends = np.full(triangles.shape, -1), np.zeros((*triangles.shape, 2))
        if not len(sides):
            return rim, ends
        pairs = np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=-1)
        wanted = self._side_number(pairs)
        place = np.minimum(np.searchsorted(sides, wanted), len(sides) - 1)
        found = sides[place] == wanted
        rim[found] = numbers[place[found]]
        back = pairs[..., 0] > pairs[..., 1]
        ends = np.where(back[..., None], at[place][..., ::-1], at[place])
        return rim, ends

    def errors_mm(self, some: NDArray[np.integer[Any]]) -> Floats:
        """How far some triangles (k,) may be from the patch of surface they stand for."""
        errors: Floats = self.own_mm[some]
        return errors

    @cached_property
    def _rim_curves(self) -> dict[int, Places | None]:
        return {}

    def rim_curve(self, number: int) -> Places | None:
        """Return what gives a rim's surface parameters (n, 2) by its own (n,).

        None where the kernel has no such curve.
        """
        if number not in self._rim_curves:
            curve = flat_curve(self.face, self.rims[number].edge)
            self._rim_curves[number] = None if curve is None else flat_curve_places(curve)
        return self._rim_curves[number]


def evaluator(surface: Any, spans: Spans | None) -> Places:
    """Return what evaluates a face's surface; spans: of a free-form one."""
    return surface_places(surface) if spans is None or spans.spline is None else spans.places


def flat_curve(face: Any, edge: Any) -> Any | None:
    """Return an edge's curve in the parameters of a face; None where the kernel has none."""
    from OCP.BRep import BRep_Tool

    return BRep_Tool.CurveOnSurface_s(edge, face, *BRep_Tool.Range_s(edge))


def is_plane(surface: Any) -> bool:
    """Whether a `BRepAdaptor_Surface` is flat."""
    from OCP.GeomAbs import GeomAbs_SurfaceType

    return bool(surface.GetType() == GeomAbs_SurfaceType.GeomAbs_Plane)
