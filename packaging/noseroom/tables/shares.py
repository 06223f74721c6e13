"""Shares of one movement in another: what is known of how fans and belts swing at speed."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from noseroom.tables.rows import figures_of


@dataclass(frozen=True, slots=True)
class Share:
    """One row: key, the share, its source, and what it is about."""

    key: str
    share: float
    source: str
    meaning: str


@cache
def shares() -> dict[str, Share]:
    """All shares by key, in the table's order."""
    return figures_of("shares.csv", "share", Share)
