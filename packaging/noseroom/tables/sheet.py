"""Sheet metal: materials, thicknesses that are sold, least bend radii, limits of the workshop.

Each row keeps the document that it comes from, and how it was read, as in `tables.fasteners`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import pairwise

from noseroom.tables.fasteners import Sourced
from noseroom.tables.rows import figures_of, rows_of
from noseroom.units import MM_PER_INCH

_ANY = "any"
_SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class SheetMaterial:
    """A sheet's material. yield_mpa, tensile_mpa: design minimum, not typical.

    fatigue_mpa: endurance, typical and smooth; holes and bends take from it. e_mpa: Young's
    modulus. poisson: its ratio.
    """

    name: str
    yield_mpa: float
    tensile_mpa: float
    fatigue_mpa: float
    e_mpa: float
    density_kg_m3: float
    poisson: float
    source: str
    how: str

    @property
    def metal(self) -> str:
        """The word that gauges go by: "aluminium" or "mild steel"."""
        return "aluminium" if self.name.endswith("aluminium") else self.name


@dataclass(frozen=True, slots=True)
class SheetStock(Sourced):
    """A thickness that sheet is sold in, mm, with its label. metal: "any" for metric sheet."""

    metal: str
    label: str
    unit: str
    thickness_mm: float


@dataclass(frozen=True, slots=True)
class BendRadius(Sourced):
    """The least inside radius of a cold bend by 90° in a sheet of this thickness, mm."""

    material: str
    thickness_mm: float
    radius_mm: float


@dataclass(frozen=True, slots=True)
class SheetLimit:
    """One row: key, value, its source, and what it is about with its unit."""

    key: str
    value: float
    source: str
    meaning: str


@dataclass(frozen=True, slots=True)
class SheetShop:
    """Where the sheet is cut and bent, as far as the shop has figures of its own; None: unknown.

    k: by the shop's own test piece, instead of DIN 6935. least_radius_mm: of its tools or by its
    own trials, instead of the table. least_leg_mm: the shortest leg that its brake holds, measured
    outside to the mould line, instead of common practice.
    """

    k: float | None = None
    least_radius_mm: float | None = None
    least_leg_mm: float | None = None


@cache
def sheet_materials() -> dict[str, SheetMaterial]:
    """Materials by name, in the table's order."""
    return {
        row["material"]: SheetMaterial(
            row["material"],
            float(row["yield_mpa"]),
            float(row["tensile_mpa"]),
            float(row["fatigue_mpa"]),
            float(row["e_mpa"]),
            float(row["density_kg_m3"]),
            float(row["poisson"]),
            row["source"],
            row["how"],
        )
        for row in rows_of("sheet_materials.csv")
    }


@cache
def sheet_stock(metal: str = "") -> tuple[SheetStock, ...]:
    """Thicknesses, thinnest first. metal: as `SheetMaterial.metal` has it; "": all of the table."""
    rows = [
        SheetStock(
            row["source"],
            row["how"],
            row["material"],
            row["label"],
            row["unit"],
            float(row["thickness"]) * (MM_PER_INCH if row["unit"] == "in" else 1.0),
        )
        for row in rows_of("sheet_stock.csv")
        if metal in ("", row["material"]) or row["material"] == _ANY
    ]
    return tuple(sorted(rows, key=lambda one: one.thickness_mm))


@cache
def bend_radii(material: str) -> tuple[BendRadius, ...]:
    """The table's rows for a material, thinnest first; none: a material that it lacks."""
    return tuple(
        BendRadius(
            row["source"],
            row["how"],
            row["material"],
            float(row["thickness_in"]) * MM_PER_INCH,
            float(row["radius_in"]) * MM_PER_INCH,
        )
        for row in rows_of("bend_radii.csv")
        if row["material"] == material
    )


def least_radius_mm(material: str, thickness_mm: float) -> float | None:
    """The least inside radius for a thickness, mm, straight between the table's rows.

    Below the thinnest row: that row's. None beyond the thickest, and for a material not in the
    table: not known.
    """
    rows = bend_radii(material)
    if not rows or thickness_mm > rows[-1].thickness_mm + _SLACK:
        return None
    for low, high in pairwise(rows):
        if low.thickness_mm < thickness_mm <= high.thickness_mm + _SLACK:
            share = (thickness_mm - low.thickness_mm) / (high.thickness_mm - low.thickness_mm)
            return low.radius_mm + share * (high.radius_mm - low.radius_mm)
    return rows[0].radius_mm


@cache
def sheet_limits() -> dict[str, SheetLimit]:
    """Limits of the workshop by key, in the table's order."""
    return figures_of("sheet_limits.csv", "value", SheetLimit)
