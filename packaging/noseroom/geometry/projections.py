"""Solids as seen from one side: the lines of an orthographic view, visible and hidden.

The kernel's own removal of hidden lines does the work; curves come as polylines.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.kernel import load_cadquery

if TYPE_CHECKING:
    import cadquery as cq

Floats = NDArray[np.float64]
_CHORD_MM = 0.02
_SAME_MM = 1e-6
_SMOOTH_RAD = 1e-4


@dataclass(frozen=True)
class Projection:
    """A view. Each line (n, 2), mm, right and up as the view has them.

    sharp: edges that are seen. smooth: seen edges where a face runs on into the next, such as a
    bend's. hidden: sharp edges behind the metal.
    """

    sharp: tuple[Floats, ...]
    smooth: tuple[Floats, ...]
    hidden: tuple[Floats, ...]

    def box(self) -> tuple[float, float, float, float]:
        """(x0, y0, x1, y1) round all of it."""
        points = np.concatenate([*self.sharp, *self.smooth, *self.hidden])
        (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
        return float(x0), float(y0), float(x1), float(y1)


def projected(shape: cq.Shape, towards: Floats, right: Floats) -> Projection:
    """A shape as somebody sees it who stands far off.

    towards: (3,) unit, from the shape to the viewer. right: (3,) unit, square to it, what is to the
    right in the view.
    """
    load_cadquery()
    from OCP.BRepLib import BRepLib
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt
    from OCP.HLRAlgo import HLRAlgo_Projector
    from OCP.HLRBRep import HLRBRep_Algo, HLRBRep_HLRToShape

    hidden_lines = HLRBRep_Algo()
    own = shape.copy().wrapped
    BRepLib.EncodeRegularity_s(own, _SMOOTH_RAD)
    hidden_lines.Add(own)
    axes = gp_Ax2(
        gp_Pnt(0.0, 0.0, 0.0),
        gp_Dir(*(float(one) for one in towards)),
        gp_Dir(*(float(one) for one in right)),
    )
    hidden_lines.Projector(HLRAlgo_Projector(axes))
    hidden_lines.Update()
    hidden_lines.Hide()
    found = HLRBRep_HLRToShape(hidden_lines)
    return Projection(
        _ordered(found.VCompound(), found.OutLineVCompound()),
        _ordered(found.Rg1LineVCompound()),
        _ordered(found.HCompound(), found.OutLineHCompound()),
    )


def _ordered(*compounds: Any) -> tuple[Floats, ...]:
    """Lines in an order that depends on where they are alone, each once."""
    kept: dict[tuple[float, ...], Floats] = {}
    for line in (one for compound in compounds for one in _lines(compound)):
        ends = sorted((tuple(line[0]), tuple(line[-1])))
        if tuple(line[0]) != ends[0]:
            line = line[::-1]
        middle = line[len(line) // 2] if len(line) > 2 else (line[0] + line[-1]) / 2.0
        key = tuple(
            round(float(one) / _SAME_MM) * _SAME_MM for one in (*line[0], *line[-1], *middle)
        )
        kept[key] = line
    return tuple(kept[key] for key in sorted(kept))


def _lines(compound: Any) -> Iterator[Floats]:
    """The edges of a compound that the kernel drew, which may be none at all."""
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.BRepLib import BRepLib
    from OCP.GCPnts import GCPnts_QuasiUniformDeflection
    from OCP.TopAbs import TopAbs_EDGE
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    if compound is None or compound.IsNull():
        return
    BRepLib.BuildCurves3d_s(compound)
    explorer = TopExp_Explorer(compound, TopAbs_EDGE)
    while explorer.More():
        curve = BRepAdaptor_Curve(TopoDS.Edge_s(explorer.Current()))
        points = GCPnts_QuasiUniformDeflection(curve, _CHORD_MM)
        found = [points.Value(k) for k in range(1, points.NbPoints() + 1)]
        line = np.array([(one.X(), one.Y()) for one in found])
        if len(line) > 1 and np.ptp(line, axis=0).max() > _SAME_MM:
            yield line
        explorer.Next()
