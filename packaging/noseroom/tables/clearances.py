"""How much room is enough: the rules as they ship. The envelope file can change each."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from noseroom.tables.rows import figures_of


@dataclass(frozen=True, slots=True)
class ClearanceRule:
    """One row: key, room asked for (mm), its source, and what it is about."""

    key: str
    value_mm: float
    source: str
    meaning: str


@cache
def clearance_rules() -> dict[str, ClearanceRule]:
    """All rules by key, in the table's order."""
    return figures_of("clearances.csv", "value_mm", ClearanceRule)
