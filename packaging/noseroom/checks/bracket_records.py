"""What is designed: a bracket with all that drawings, templates, lists and the page say of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.bracket_bolts import Bolted
from noseroom.checks.bracket_job import Candidate, Fell
from noseroom.checks.bracket_placed import PlacedBracket
from noseroom.checks.bracket_sites import TabSite
from noseroom.checks.bracket_strength import Strength
from noseroom.findings import Finding, Verdict, overall
from noseroom.geometry.sheet import Blank
from noseroom.tables.fasteners import Grommet
from noseroom.tables.sheet import SheetMaterial

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class RailHole:
    """A hole in the core support that a bracket is bolted to.

    face: such as "rear of the left side flange". point: (3,) mm, vehicle frame, on that face.
    existing: the name of the hole that is there, or "" where it is drilled. diameter_mm, drill: as
    it is drilled, with the table's label. from_edges: what it is measured from, with mm; both along
    the face. marked_last: whether it is marked through the bracket once that hangs on the tab.
    """

    face: str
    point: Floats
    diameter_mm: float
    drill: str
    existing: str
    from_edges: tuple[tuple[str, float], ...]
    marked_last: bool


@dataclass(frozen=True)
class SlotCut:
    """A slot in a bracket. where: "tab", "rail" or "between" two pieces.

    way: such as "up and down". travel_mm: between the middles of its ends. because_mm: how far hole
    may be from hole that way, either side.
    """

    where: str
    travel_mm: float
    width_mm: float
    way: str
    because_mm: float


@dataclass(frozen=True, eq=False)
class BracketDesign:
    """One bracket that can be made, and stands clear.

    name: unlike all others of the nose, without sides or directions of a drawing: "condenser upper
    left tab bracket". hand: "left", "right" or "", the car's. form: such as "L bracket". blanks:
    each piece in the flat with the (4, 4) that carries its first flat to the vehicle frame;
    `geometry.sheet.folded_places` says where the others stand. The underside (z = 0) of the first
    flat lies on the core support (on the tab, for a hat). tab_flat: the number of the flat on the
    tab, in the last blank. stock: the sheet's label. bolts: at the rail first, then the tab, then
    between two pieces. packing_mm: washers to have ready, 0 to this, under either foot.
    findings: clear of everything, room for wrenches, a way in for the bolts. fell: other forms, and
    why not. mass_kg: of the bracket. strength: its sums, None where none could be made. placed: the
    same as a part of the nose. rubber: the grommet in its hole on the tab, if it hangs on rubber.
    """

    name: str
    title: str
    hand: str
    form: str
    site: TabSite
    made: Candidate
    blanks: tuple[tuple[Blank, Floats], ...]
    tab_flat: int
    material: SheetMaterial
    stock: str
    bolts: tuple[Bolted, ...]
    rail_holes: tuple[RailHole, ...]
    slots: tuple[SlotCut, ...]
    packing_mm: float
    mass_kg: float
    strength: Strength | None
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    findings: tuple[Finding, ...]
    fell: tuple[Fell, ...]
    placed: PlacedBracket
    rubber: Grommet | None = None

    @property
    def verdict(self) -> Verdict:
        """The worst of its findings."""
        return overall([one.verdict for one in self.findings])


@dataclass(frozen=True, eq=False)
class NoBracket:
    """A tab that no bracket is made for. why: in a sentence; would_do: what would change that."""

    site: TabSite
    why: str
    would_do: tuple[str, ...]
    fell: tuple[Fell, ...] = ()

    @property
    def name(self) -> str:
        """As the bracket's would be."""
        return f"{self.site.title} bracket"


@dataclass(frozen=True, eq=False)
class Brackets:
    """All brackets of a nose, in the file's order. why_none: where there is nothing to hold."""

    made: tuple[BracketDesign, ...]
    not_made: tuple[NoBracket, ...]
    why_none: str = ""
