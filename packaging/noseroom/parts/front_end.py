"""What closes the nose in front: grille, bumper bar, hood latch."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.base import About, Part, length
from noseroom.survey.features import Feature, axis, box_faces, circle, cylinder, vector

if TYPE_CHECKING:
    import cadquery as cq

_UP = (0.0, 0.0, 1.0)
_SQUARE = ("plumb ± 5 deg", "level ± 1 deg", "square across ± 1 deg")
_CENTRED = "middle 0 mm ± 15 mm right of centreline"
Corner = tuple[Any, Any, Any]


class _Bar(Part):
    """A box whose datum is the middle of its rear face; subclasses name its three sizes."""

    width_mm: float
    height_mm: float
    depth_mm: float

    def _box(self) -> tuple[Corner, Corner]:
        w, h = self.width_mm / 2, self.height_mm / 2
        return (-self.depth_mm, -w, -h), (0.0, w, h)

    def features(self) -> dict[str, Feature]:
        """Its six faces and its middle."""
        return box_faces(*self._box())

    def pieces(self) -> tuple[Piece, ...]:
        """One box."""
        return (pieces.box("body", *self._box()),)

    def solids(self) -> dict[str, cq.Shape]:
        """One box."""
        return {"body": shapes.box(*self._box())}


@dataclass(frozen=True, kw_only=True)
class Grille(_Bar):
    """The grille as the box that it fills. Datum: the middle of its rear face."""

    about: ClassVar[About] = About(
        name="grille",
        help="grille, as the box that it fills",
        group="body",
        carried_by=("core support", "car"),
        colour="#c0c0c8",
        assumed=(*_SQUARE, _CENTRED),
        start_mm=(-180.0, 0.0, 230.0),
    )

    width_mm: float = length("width", "left to right", low=100, high=2000)
    height_mm: float = length("height", "bottom to top", low=50, high=900)
    depth_mm: float = length("depth", "fore and aft", low=2, high=250, usual=30, reach=15)


@dataclass(frozen=True, kw_only=True)
class BumperBar(_Bar):
    """The bumper bar as the box that it fills. Datum: the middle of its rear face."""

    about: ClassVar[About] = About(
        name="bumper bar",
        help="bumper bar, as the box that it fills",
        group="body",
        carried_by=("core support", "car"),
        colour="#d0d0d0",
        also=("bumper",),
        assumed=(*_SQUARE, _CENTRED),
        start_mm=(-260.0, 0.0, 0.0),
    )

    width_mm: float = length("width", "left to right", low=200, high=2300, usual=1600, reach=300)
    height_mm: float = length("height", "bottom to top", low=20, high=400, usual=150, reach=50)
    depth_mm: float = length("depth", "fore and aft", low=10, high=300, usual=80, reach=40)


@dataclass(frozen=True, kw_only=True)
class HoodLatch(Part):
    """The hood latch: a box, and the striker that hangs from the closed hood into it.

    Datum: the middle of the latch's bottom. The striker stands on the latch's top, upright.
    """

    about: ClassVar[About] = About(
        name="hood latch",
        help="hood latch and the striker above it, hood closed",
        group="body",
        carried_by=("core support", "car"),
        colour="#6b6b7b",
        also=("latch",),
        assumed=_SQUARE,
        start_mm=(-40.0, 0.0, 480.0),
        touches=(("latch", "*"),),
    )

    width_mm: float = length("width", "left to right", low=20, high=300, usual=100, reach=40)
    height_mm: float = length("height", "bottom to top", low=10, high=250, usual=60, reach=25)
    depth_mm: float = length("depth", "fore and aft", low=10, high=250, usual=60, reach=25)
    striker_diameter_mm: float = length(
        "striker.diameter", "with its spring", low=5, high=80, usual=25, reach=15
    )
    striker_length_mm: float = length(
        "striker.length", "above the latch", low=5, high=200, usual=60, reach=25
    )

    def _box(self) -> tuple[Corner, Corner]:
        w, d = self.width_mm / 2, self.depth_mm / 2
        return (-d, -w, 0.0), (d, w, self.height_mm)

    def features(self) -> dict[str, Feature]:
        """The latch's faces, the striker's axis, flank and upper end."""
        radius, top = self.striker_diameter_mm / 2, self.height_mm + self.striker_length_mm
        return box_faces(*self._box()) | {
            "striker.axis": axis(vector(0.0, 0.0, self.height_mm), _UP),
            "striker": cylinder(
                vector(0.0, 0.0, self.height_mm + self.striker_length_mm / 2), radius, _UP
            ),
            "striker.top": circle(vector(0.0, 0.0, top), radius, _UP),
        }

    def pieces(self) -> tuple[Piece, ...]:
        """A box and a prism."""
        foot = vector(0.0, 0.0, self.height_mm)
        return (
            pieces.box("latch", *self._box()),
            pieces.cylinder(
                "striker", foot, _UP, self.striker_length_mm, self.striker_diameter_mm / 2
            ),
        )

    def solids(self) -> dict[str, cq.Shape]:
        """Latch and striker."""
        foot = (0.0, 0.0, self.height_mm)
        return {
            "latch": shapes.box(*self._box()),
            "striker": shapes.cylinder(
                foot, _UP, self.striker_length_mm, self.striker_diameter_mm / 2
            ),
        }
