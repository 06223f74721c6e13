"""A file's triangles to a scan: welded, turned, measured and thinned out, in that order."""

from __future__ import annotations

from typing import NoReturn

import numpy as np
from numpy.typing import NDArray

from noseroom.geometry.scan_edges import Numbers, compacted
from noseroom.geometry.scan_holes import holes_and_border
from noseroom.geometry.scan_lost import Lost, lost_cells, lost_of
from noseroom.geometry.scan_steps import Step, Tell, quiet
from noseroom.geometry.scan_strays import gathered
from noseroom.geometry.scan_thin import thinned
from noseroom.geometry.scan_turn import is_closed, turned
from noseroom.geometry.scan_types import Floats, Limits, Raw, Scan, UnreadableError
from noseroom.geometry.scan_weld import welded
from noseroom.geometry.scan_words import remarks_on

_FARTHEST_MM = 100_000.0


def mended(
    vertices: Floats,
    raw: Raw,
    unit_mm: float,
    most_triangles: int,
    limits: Limits,
    sha256: str,
    tell: Tell = quiet,
) -> Scan:
    """Mend triangles as far as that cannot make room, and say what was wrong with them.

    vertices: (n, 3) mm; raw: the file's triangles, and what its reader remarked. tell: called with
    each step as it begins.

    Raises:
        UnreadableError: nothing to be seen in it, or places that no car has.
    """
    triangles, lost = _finite(vertices, raw.triangles)
    tell(Step.WELD, 0.0)
    weld = welded(vertices, triangles)
    if not len(weld.triangles):
        raise UnreadableError("triangles without any area", "a surface", "scan or save it again")
    tell(Step.STRAYS, 0.0)
    strays = gathered(weld.vertices, weld.triangles, limits.pieces)
    tell(Step.TURN, 0.0)
    turn = turned(strays.vertices, strays.triangles)
    tell(Step.HOLES, 0.0)
    holes, border = holes_and_border(strays.vertices, turn.triangles)
    unknown = lost_cells(lost, strays.vertices[turn.triangles], holes)
    thin = thinned(strays.vertices, turn.triangles, most_triangles, tell)
    closed = is_closed(thin.triangles)
    longest = float(np.ptp(strays.vertices, axis=0).max())
    remarks = [
        *raw.remarks,
        *remarks_on(longest, lost.count, weld, strays, turn, holes, border),
        thin.remark,
    ]
    if turn.closed and not closed:
        remarks.append("it enclosed a volume, which it no longer does now that it is thinned out")
    return Scan(
        vertices=thin.vertices,
        triangles=thin.triangles.astype(np.int32),
        closed=closed,
        deflection_mm=raw.deflection_mm + weld.moved_mm + thin.deflection_mm,
        unit_mm=unit_mm,
        holes=holes,
        border=border,
        remarks=tuple(one for one in remarks if one),
        sha256=sha256,
        lost=unknown,
    )


def _finite(vertices: Floats, triangles: Numbers) -> tuple[Numbers, Lost]:
    """The triangles whose corners are numbers, and what is left of the others."""
    if not len(triangles):
        raise UnreadableError("no triangles", "a surface", "mesh it before it is saved")
    good: NDArray[np.bool_] = np.all(np.isfinite(vertices)[triangles], axis=(1, 2))
    if not good.any():
        raise UnreadableError("corners that are not numbers", "a surface", "save it again")
    kept = triangles[good]
    far = float(np.abs(vertices[compacted(kept)[0]]).max())
    if far > _FARTHEST_MM:
        _refuse_far(far)
    lost = lost_of(vertices, triangles, good)
    if len(lost.corners) and float(np.nanmax(np.abs(lost.corners))) > _FARTHEST_MM:
        _refuse_far(float(np.nanmax(np.abs(lost.corners))))
    return kept, lost


def _refuse_far(far_mm: float) -> NoReturn:
    raise UnreadableError(
        f"a corner {far_mm / 1000:.3g} m away",
        f"everything within {_FARTHEST_MM / 1000:g} m",
        "is its unit right? a scan's origin may have to be moved near the car",
    )
