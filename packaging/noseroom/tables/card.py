"""What card mock-ups are cut by: gaps, fingers, distances of ribs and rings."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from noseroom.tables.rows import figures_of


@dataclass(frozen=True, slots=True)
class CardFigure:
    """One row: key, figure (mm), its source, and what it is."""

    key: str
    figure_mm: float
    source: str
    meaning: str


@cache
def card_figures() -> dict[str, CardFigure]:
    """All figures by key, in the table's order."""
    return figures_of("card.csv", "figure", CardFigure)


def card_mm(key: str) -> float:
    """A figure by its key, mm."""
    return card_figures()[key].figure_mm
