"""Threads, bolts, washers, nuts and their holes, and the spacers that they hold; all in mm.

Each row keeps the document that it comes from, and how it was read: what is "from memory" is marked
wherever it counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from noseroom.tables.rows import figures_of, rows_of
from noseroom.units import MM_PER_INCH, Thread, read_length

MEMORY = "from memory"
_SAME_MM = 2e-3


@dataclass(frozen=True, slots=True)
class Sourced:
    """Where a row comes from. how: "read", "common practice", "from memory", or what of each."""

    source: str
    how: str

    @property
    def remembered(self) -> bool:
        """Whether something of it nobody has seen in print here."""
        return MEMORY in self.how


@dataclass(frozen=True, slots=True)
class ThreadSize(Sourced):
    """A thread with its limits of size in mm; see `physics.screw_threads.ThreadLimits`.

    unit: "in" for unified threads, "mm" for metric ones. size: what head, washer and hole go by.
    """

    thread: str
    size: str
    unit: str
    major_mm: float
    pitch_mm: float
    least_major_mm: float
    least_pitch_diameter_mm: float
    most_minor_mm: float
    most_pitch_diameter_mm: float


@dataclass(frozen=True, slots=True)
class Grade(Sourced):
    """What bolts of a grade bear, MPa. unit: of the threads that come in it."""

    grade: str
    unit: str
    proof_mpa: float
    tensile_mpa: float


@dataclass(frozen=True, slots=True)
class BoltLength(Sourced):
    """A length that bolts come in, mm; shorter_mm, longer_mm: by how much one may be off."""

    label: str
    unit: str
    length_mm: float
    shorter_mm: float
    longer_mm: float


@dataclass(frozen=True, slots=True)
class Washer(Sourced):
    """A plain washer, mm. outside_mm: as it is named; most_outside_mm: at its largest."""

    size: str
    outside_mm: float
    most_outside_mm: float
    least_mm: float
    most_mm: float


@dataclass(frozen=True, slots=True)
class Nut(Sourced):
    """A hexagon nut at its highest, mm."""

    size: str
    height_mm: float


@dataclass(frozen=True, slots=True)
class ClearanceHole(Sourced):
    """Drills for one thread, mm, with their labels in the table's own unit."""

    size: str
    unit: str
    close_mm: float
    normal_mm: float
    loose_mm: float
    normal: str


@dataclass(frozen=True, slots=True)
class Grommet(Sourced):
    """A rubber grommet with a collar that a bolt goes through, mm.

    hole_mm: in the sheet that it sits in. outside_mm: of its flanges. flange_mm: how thick each is,
    and so how far off the sheet what it carries stands. least_sheet_mm, most_sheet_mm: of sheet
    that its groove takes.
    """

    size: str
    hole_mm: float
    outside_mm: float
    flange_mm: float
    least_sheet_mm: float
    most_sheet_mm: float

    @property
    def metal_mm(self) -> float:
        """From its hole's middle to the edge of the sheet: for the hole's rule and its flange."""
        return max(1.5 * self.hole_mm, self.outside_mm / 2.0 + 0.5)


@dataclass(frozen=True, slots=True)
class HubMaterial(Sourced):
    """A material that is tapped. diameters: of engagement by rule of thumb; its strength, MPa."""

    material: str
    diameters: float
    tensile_mpa: float


@dataclass(frozen=True, slots=True)
class Stock:
    """A thickness that spacers are sold in, mm, with its label in the table's own unit."""

    label: str
    unit: str
    thickness_mm: float
    source: str


@dataclass(frozen=True, slots=True)
class SpacerLimit:
    """One row: key, value, its source, and what it is about with its unit."""

    key: str
    value: float
    source: str
    meaning: str


@cache
def threads() -> tuple[ThreadSize, ...]:
    """All threads of the table, in its order."""
    return tuple(map(_thread, rows_of("threads.csv")))


def _thread(row: dict[str, str]) -> ThreadSize:
    scale = _scale(row["unit"])
    inches = row["unit"] == "in"
    pitch = 1.0 / float(row["pitch_or_count"]) if inches else float(row["pitch_or_count"])
    keys = ("least_major", "least_pitch_diameter", "most_minor", "most_pitch_diameter")
    return ThreadSize(
        row["source"],
        row["how"],
        row["thread"],
        row["thread"].split("-" if inches else "x")[0],
        row["unit"],
        scale * float(row["major"]),
        scale * pitch,
        *(scale * float(row[key]) for key in keys),
    )


def thread_like(thread: Thread) -> ThreadSize | None:
    """The row of a thread as it was read off a bolt; None: not in the table."""
    for one in threads():
        if (
            abs(one.major_mm - thread.major_mm) < _SAME_MM
            and abs(one.pitch_mm - thread.pitch_mm) < _SAME_MM
        ):
            return one
    return None


@cache
def grades() -> dict[str, Grade]:
    """Grades of bolts by their names, in the table's order."""
    return {
        row["grade"]: Grade(
            row["source"],
            row["how"],
            row["grade"],
            row["unit"],
            float(row["proof_mpa"]),
            float(row["tensile_mpa"]),
        )
        for row in rows_of("bolt_grades.csv")
    }


@cache
def bolt_lengths(unit: str) -> tuple[BoltLength, ...]:
    """Lengths that bolts with threads in this unit come in, shortest first."""
    return tuple(
        BoltLength(
            row["source"],
            row["how"],
            row["length"],
            row["unit"],
            _length(row["length"], row["unit"]),
            _scale(row["unit"]) * float(row["shorter"]),
            _scale(row["unit"]) * float(row["longer"]),
        )
        for row in rows_of("bolt_lengths.csv")
        if row["unit"] == unit
    )


@cache
def washers() -> dict[str, Washer]:
    """Plain washers by thread size."""
    return {
        row["size"]: Washer(
            row["source"],
            row["how"],
            row["size"],
            *(
                _scale(row["unit"]) * float(row[key])
                for key in ("outside", "most_outside", "least_thickness", "most_thickness")
            ),
        )
        for row in rows_of("washers.csv")
    }


@cache
def nuts() -> dict[str, Nut]:
    """Hexagon nuts by thread size."""
    return {
        row["size"]: Nut(
            row["source"], row["how"], row["size"], _scale(row["unit"]) * float(row["most_height"])
        )
        for row in rows_of("nuts.csv")
    }


@cache
def clearance_holes() -> dict[str, ClearanceHole]:
    """Clearance holes by thread size."""
    return {
        row["size"]: ClearanceHole(
            row["source"],
            row["how"],
            row["size"],
            row["unit"],
            _length(row["close"], row["unit"]),
            _length(row["normal"], row["unit"]),
            _length(row["loose"], row["unit"]),
            row["normal"],
        )
        for row in rows_of("clearance_holes.csv")
    }


@cache
def grommets() -> dict[str, Grommet]:
    """Grommets by the thread size of their bolts."""
    keys = ("hole", "outside", "flange", "least_sheet", "most_sheet")
    return {
        row["size"]: Grommet(
            row["source"],
            row["how"],
            row["size"],
            *(_length(row[key], row["unit"]) for key in keys),
        )
        for row in rows_of("grommets.csv")
    }


@cache
def hub_materials() -> dict[str, HubMaterial]:
    """Materials of hubs by name."""
    return {
        row["material"]: HubMaterial(
            row["source"],
            row["how"],
            row["material"],
            float(row["diameters"]),
            float(row["tensile_mpa"]),
        )
        for row in rows_of("hub_materials.csv")
    }


@cache
def stock_spacers() -> tuple[Stock, ...]:
    """Thicknesses that spacers are sold in, thinnest first."""
    return tuple(
        Stock(row["thickness"], row["unit"], _length(row["thickness"], row["unit"]), row["source"])
        for row in rows_of("spacers.csv")
    )


@cache
def spacer_limits() -> dict[str, SpacerLimit]:
    """Figures of the choice of a spacer by key, in the table's order."""
    return figures_of("spacer_limits.csv", "value", SpacerLimit)


def _scale(unit: str) -> float:
    return MM_PER_INCH if unit == "in" else 1.0


def _length(text: str, unit: str) -> float:
    return read_length(text, unit).value
