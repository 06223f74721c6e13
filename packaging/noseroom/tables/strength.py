"""What a bracket has to stand: loads, margins, vibration of a car's body, how heavy parts are."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from noseroom.tables.fasteners import Sourced
from noseroom.tables.rows import figures_of, rows_of


@dataclass(frozen=True, slots=True)
class StrengthLimit:
    """One row: key, value, its source, and what it is about with its unit."""

    key: str
    value: float
    source: str
    meaning: str


@dataclass(frozen=True, slots=True)
class Vibration(Sourced):
    """A random vibration's corners: (Hz, spectral density in (m/s²)²/Hz), frequencies rising."""

    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class PartMass(Sourced):
    """How heavy a kind of part is for its outer volume, kg a litre, least and most."""

    part: str
    least: float
    most: float


@cache
def strength_limits() -> dict[str, StrengthLimit]:
    """Loads and margins by key, in the table's order."""
    return figures_of("strength_limits.csv", "value", StrengthLimit)


@cache
def body_vibration() -> Vibration:
    """What shakes whatever is mounted on the body of a car."""
    rows = rows_of("body_vibration.csv")
    points = tuple((float(row["hz"]), float(row["density"])) for row in rows)
    return Vibration(rows[0]["source"], rows[0]["how"], points)


@cache
def part_masses() -> dict[str, PartMass]:
    """Kinds of parts by name."""
    return {
        row["part"]: PartMass(
            row["source"],
            row["how"],
            row["part"],
            float(row["least_kg_per_litre"]),
            float(row["most_kg_per_litre"]),
        )
        for row in rows_of("part_masses.csv")
    }


def usual_mass_kg(part: str, volume_mm3: float) -> tuple[float, float] | None:
    """Least and most that a part of this outer volume weighs, kg; None for kinds not in the table.

    A range to go on with until somebody weighs it.
    """
    row = part_masses().get(part)
    if row is None:
        return None
    litres = volume_mm3 / 1e6
    return row.least * litres, row.most * litres
