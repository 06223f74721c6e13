"""Limits that are angles: how a belt has to lie on its pulleys."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from noseroom.tables.rows import figures_of


@dataclass(frozen=True, slots=True)
class Limit:
    """One row: key, limit (deg), its source, and what it is about."""

    key: str
    limit_deg: float
    source: str
    meaning: str


@cache
def limits() -> dict[str, Limit]:
    """All limits by key, in the table's order."""
    return figures_of("limits.csv", "limit_deg", Limit)
