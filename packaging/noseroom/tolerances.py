"""Every numerical tolerance in one frozen record, so that none hides in a comparison."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Tolerances:
    """Lengths in mm, angles in rad, volumes relative.

    contact_mm: two surfaces closer than this are touching; the band in which a kernel
        with a 1e-7 mm vertex tolerance cannot tell apart from overlapping.
    tessellation_mm, tessellation_rad: the absolute chord and angle asked of the mesher
        (what it *delivered* is stored with each mesh and is what every bound uses).
    exact_below_mm: gaps smaller than this are refined by the exact kernel.
    volume: relative agreement asked of a volume that was written and read back.
    """

    contact_mm: float = 1e-5
    tessellation_mm: float = 0.1
    tessellation_rad: float = 0.2
    exact_below_mm: float = 25.0
    volume: float = 1e-6


DEFAULT = Tolerances()
