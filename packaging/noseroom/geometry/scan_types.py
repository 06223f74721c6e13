"""What a scan is once it has been read: its triangles, what they may hide, and what was wrong."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError
from noseroom.units import MM_PER_INCH

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

UNITS_MM: dict[str, float] = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": MM_PER_INCH,
    "ft": 12 * MM_PER_INCH,
}
"""Units that a scan may be in, each in mm."""

MM_PER_UNIT_3MF: dict[str, float] = {
    "micron": 0.001,
    "millimeter": 1.0,
    "centimeter": 10.0,
    "inch": MM_PER_INCH,
    "foot": 12 * MM_PER_INCH,
    "meter": 1000.0,
}
"""Units that a 3MF file can state, by the names of its core specification (from memory)."""

ENDINGS: tuple[str, ...] = ("stl", "ply", "obj", "3mf", "glb", "gltf", "step", "stp")
"""File name endings that can be read."""

UNITLESS: frozenset[str] = frozenset({"stl", "ply", "obj"})
"""Endings of files that do not say their unit."""


_SLOT_REACH_MM = _EDGE_REACH_MM = 25.0


class ScanError(GeometryError):
    """A scan that cannot be used, in one line: what was found, what was expected, what to do.

    name: the file's name without its folder. found, expected, advice: plain phrases.
    """

    def __init__(self, name: str, found: str, expected: str, advice: str = "") -> None:
        self.name = printable(name)
        self.found = printable(found)
        self.expected = printable(expected)
        self.advice = printable(advice)
        text = f"{self.name}: found {self.found}; expected {self.expected}"
        super().__init__(f"{text} ({self.advice})" if advice else text)


def printable(text: str, longest: int = 300) -> str:
    """The text on one line, without control characters, cut where it is very long."""
    clean = "".join(letter if letter.isprintable() else " " for letter in text)
    return clean if len(clean) <= longest else clean[: longest - 1] + "…"


@dataclass(frozen=True, slots=True)
class Limits:
    """How much a file may ask for before it is refused.

    file_bytes: size of the file. unpacked_bytes: all that a packed file (3MF) unpacks to.
    triangles: as they stand in the file, every instance counted. memory_bytes, processor_s: of
    the process that reads it, where the system can hold it to them. wall_s: until that process
    is ended. pieces: separate surfaces too large to be put together in boxes.
    """

    file_bytes: int = 400_000_000
    unpacked_bytes: int = 800_000_000
    triangles: int = 4_000_000
    memory_bytes: int = 6_000_000_000
    processor_s: int = 180
    wall_s: float = 480.0
    pieces: int = 1_000


DEFAULT_LIMITS = Limits()


@dataclass(frozen=True, eq=False)
class Hole:
    """A closed line along which the seen surface ends.

    loop: (k, 3) float64 mm, in order, the first point not repeated. width_mm: how wide, the
    second of its extents along its principal axes. length_mm: how long, the first of them.
    cap: vertices (n, 3) mm and triangles (m, 3) of a surface that spans it.
    """

    loop: Floats
    width_mm: float
    length_mm: float
    cap: tuple[Floats, Ints]

    @property
    def reach_mm(self) -> float:
        """How far from its cap what spans the hole is taken to stay, to either side, mm.

        Half its width: so far comes a surface no steeper than 45 degrees. What stands in a slot may
        run along it, so it is not less than 25 mm or half the length, whichever is less.
        """
        return max(self.width_mm / 2, min(_SLOT_REACH_MM, self.length_mm / 2))

    @property
    def edge_reach_mm(self) -> float:
        """The same for a border, mm: half its width, and 25 mm at the most.

        The border of a whole car side must not make all unknown that stands beside the car.
        """
        return min(self.width_mm / 2, _EDGE_REACH_MM)


@dataclass(frozen=True, eq=False)
class Scan:
    """A surface as it was seen, mended as far as that cannot make room.

    vertices: (n, 3) float64 mm, in the file's own axes. triangles: (m, 3) int32.
    closed: it encloses a volume, normals outward. deflection_mm: no point of the surface as it
    stood in the file is further than this from the triangles (welding, decimation, the chords of
    a STEP file); nor, as far as samples tell, the other way round. Boxes round stray bits are
    outside that: the bits are in them, not near them. unit_mm: one unit of the file, in mm.
    holes: where the surface ends inside itself. border: where it ends altogether, the outer edge
    of each separate open piece; both as they were before decimation.
    remarks: what was wrong and what was done, in a builder's words, with counts.
    sha256: of the file. lost: convex cells, corners (k, 3) mm each, in which triangles are taken to
    have been that the file holds without all their corners.
    """

    vertices: Floats
    triangles: Ints
    closed: bool
    deflection_mm: float
    unit_mm: float
    holes: tuple[Hole, ...]
    border: tuple[Hole, ...]
    remarks: tuple[str, ...]
    sha256: str
    lost: tuple[Floats, ...] = ()

    @property
    def box_mm(self) -> Floats:
        """Lowest and highest corner, (2, 3), mm."""
        return np.stack([self.vertices.min(axis=0), self.vertices.max(axis=0)])


class UnreadableError(Exception):
    """What a reader found wrong; `ScanError` without the file's name."""

    def __init__(self, found: str, expected: str, advice: str = "") -> None:
        super().__init__(found)
        self.found, self.expected, self.advice = found, expected, advice


@dataclass(eq=False)
class Raw:
    """Triangles as they stand in a file, every instance placed.

    vertices: (n, 3) float64 in the file's unit, or in mm where `in_mm`. triangles: (m, 3) int64.
    unit_mm: what the file says its unit is, None where it says nothing. deflection_mm: chord error
    of surfaces that the file holds as formulas. remarks: what was passed over.
    """

    vertices: Floats
    triangles: NDArray[np.int64]
    unit_mm: float | None = None
    in_mm: bool = False
    deflection_mm: float = 0.0
    remarks: tuple[str, ...] = ()
