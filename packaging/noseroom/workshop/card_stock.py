"""Card mock-ups: the card, a panel cut from it, and a whole stand-in of panels."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from noseroom.errors import NoseroomError
from noseroom.tables.card import card_mm
from noseroom.workshop.figures import Figure

Floats = NDArray[np.float64]

_THICKNESS_MM = (1.0, 12.0)
_MOST_FIT_MM = 1.0


class CardError(NoseroomError, ValueError):
    """A stand-in that cannot be cut from this card; says why, by how much, and what would do."""


@dataclass(frozen=True)
class Card:
    """What the panels are cut from: card, foam board or plywood, mm.

    sheet_mm: width and height of a sheet. fit_mm: how much wider than the card a slot is. kerf_mm:
    how wide the cut is; 0 for a knife, which cuts to the line. material: as a shop knows it.

    Raises CardError for figures that no panel can be cut by.
    """

    thickness_mm: float = 3.0
    sheet_mm: tuple[float, float] = (1000.0, 700.0)
    fit_mm: float = card_mm("fit")
    kerf_mm: float = 0.0
    material: str = "card"

    def __post_init__(self) -> None:
        faults = tuple(self._faults())
        if faults:
            raise CardError("; ".join(faults))

    def _faults(self) -> Iterator[str]:
        t, (least, most) = self.thickness_mm, _THICKNESS_MM
        if not least <= t <= most:
            yield f"card of {t:g} mm is not cut and slotted: {least:g} to {most:g} mm will do"
        if not 0.0 <= self.fit_mm <= _MOST_FIT_MM:
            yield f"a slot {self.fit_mm:g} mm wider than the card: 0 to {_MOST_FIT_MM:g} mm will do"
        if not 0.0 <= self.kerf_mm <= t:
            yield f"a cut {self.kerf_mm:g} mm wide: 0 to the card's {t:g} mm will do"
        if not min(self.usable_mm) > 0.0:
            yield (
                f"a sheet of {self.sheet_mm[0]:g} x {self.sheet_mm[1]:g} mm has nothing left "
                f"inside its margins of {card_mm('margin'):g} mm"
            )

    @property
    def usable_mm(self) -> tuple[float, float]:
        """Width and height of a sheet inside its margins."""
        edges = 2.0 * card_mm("margin")
        return self.sheet_mm[0] - edges, self.sheet_mm[1] - edges


@dataclass(frozen=True, eq=False)
class Panel:
    """One panel where it stands in the part's own frame.

    name: within its stand-in. normal: the axis (0, 1, 2) that its faces are square to. low_mm:
    where its lower face is along that axis. region: its outline and holes in the plane of the two
    axes that follow (for the normal y: z and x), mm, without any room for a cut's width. slide:
    unit vector (3,), the way in which it moves into its place. order: when, from 1. letters: of
    the joints it takes part in, each with the point of its region that is beside it.
    figure: what is cut.
    """

    name: str
    normal: int
    low_mm: float
    thickness_mm: float
    region: Polygon
    slide: Floats
    order: int
    letters: tuple[tuple[str, tuple[float, float]], ...]
    figure: Figure

    @property
    def place(self) -> Floats:
        """(4, 4), from the figure (x, y, and z from 0 to the thickness) to the part's frame."""
        return place_of(self.normal, self.low_mm)


@dataclass(frozen=True, eq=False)
class CardModel:
    """One stand-in. name: of its part. panels: in the order in which they go together.

    box_mm: (2, 3), lowest and highest corner of what it stands for, in the part's own frame.
    notes: sentences: what it does not show, and what was added.
    """

    name: str
    panels: tuple[Panel, ...]
    box_mm: Floats
    notes: tuple[str, ...]


def place_of(normal: int, low_mm: float) -> Floats:
    """(4, 4), from a panel's plane and thickness to the part's frame."""
    made = np.zeros((4, 4))
    made[(normal + 1) % 3, 0] = made[(normal + 2) % 3, 1] = made[normal, 2] = 1.0
    made[normal, 3] = low_mm
    made[3, 3] = 1.0
    return made
