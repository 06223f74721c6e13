"""Scans of what no parameter describes: an inner panel, a tub, a lump on the engine.

`read_scan` reads a file of any origin in a process of its own, mends it as far as that cannot make
room, and says what was wrong. `scan_cells` covers its triangles with convex cells, `unseen_cells`
what it does not show.
"""

from __future__ import annotations

from noseroom.geometry.scan_cells import scan_cells
from noseroom.geometry.scan_process import read_scan
from noseroom.geometry.scan_types import (
    DEFAULT_LIMITS,
    ENDINGS,
    UNITLESS,
    UNITS_MM,
    Hole,
    Limits,
    Scan,
    ScanError,
)
from noseroom.geometry.scan_unseen import unseen_cells

__all__ = [
    "DEFAULT_LIMITS",
    "ENDINGS",
    "UNITLESS",
    "UNITS_MM",
    "Hole",
    "Limits",
    "Scan",
    "ScanError",
    "read_scan",
    "scan_cells",
    "unseen_cells",
]
