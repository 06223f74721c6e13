"""Figures for printing in plastic, and what the plastics stand."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from noseroom.tables.rows import rows_of


@dataclass(frozen=True, slots=True)
class PrintFigure:
    """One row: key, value in its unit ("mm", "deg", "mm2", "times", "" for a count), source."""

    key: str
    value: float
    unit: str
    source: str
    meaning: str


@dataclass(frozen=True, slots=True)
class PrintMaterial:
    """A plastic for filament printers.

    softens_c: glass transition, °C, None where it has none that matters. beside_heat: "no", or
    "short" for a trial fit beside a warm condenser or radiator; none is for good.
    """

    material: str
    softens_c: float | None
    beside_heat: str
    density_g_cm3: float
    source: str
    meaning: str


@cache
def print_figures() -> dict[str, PrintFigure]:
    """All figures by key, in the table's order."""
    return {
        row["key"]: PrintFigure(
            row["key"], float(row["value"]), row["unit"], row["source"], row["meaning"]
        )
        for row in rows_of("printing.csv")
    }


def figure(key: str) -> float:
    """The value of one figure."""
    return print_figures()[key].value


@cache
def print_materials() -> dict[str, PrintMaterial]:
    """The plastics by name, in the table's order."""
    return {
        row["material"]: PrintMaterial(
            row["material"],
            float(row["softens_c"]) if row["softens_c"] else None,
            row["beside_heat"],
            float(row["density_g_cm3"]),
            row["source"],
            row["meaning"],
        )
        for row in rows_of("print_materials.csv")
    }
