"""The anti-roll bar: a bar across the car with an arm at each end, which swings with the wheels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import shapes
from noseroom.parts.base import About, Freedom, Part, angle, choice, length
from noseroom.survey.features import Feature, axis, circle, cylinder, vector

if TYPE_CHECKING:
    import cadquery as cq

_ACROSS = (0.0, 1.0, 0.0)
_TRAVEL = (
    "from memory: wheels travel 75 mm each way, on arms of 250 mm: asin(75 / 250) is 17 deg; no "
    "printed figure was found"
)
_SIDES = (("left", -1.0), ("right", 1.0))


@dataclass(frozen=True, kw_only=True)
class AntiRollBar(Part):
    """The bar across the car, and its arms to the links, at ride height.

    Datum: the middle of the bar, on its axis. Each arm is a round rod square to the bar, from its
    axis to the link's eye; a slanted one is contained by taking the larger diameter. Both arms
    swing: each with its own wheel.
    """

    about: ClassVar[About] = About(
        name="anti-roll bar",
        help="anti-roll bar with its arms, which swing with the wheels",
        group="body",
        carried_by=("car",),
        colour="#7d6b4f",
        also=("sway bar", "stabiliser bar", "stabilizer bar"),
        assumed=(
            "plumb ± 5 deg",
            "level ± 1 deg",
            "square across ± 1 deg",
            "middle 0 mm ± 15 mm right of centreline",
        ),
        start_mm=(-50.0, 0.0, -60.0),
    )

    arms: str = choice("arms.point", "aft", "ahead", help="which way its arms point")
    width_mm: float = length("width", "over its ends, left to right", low=200, high=1800)
    diameter_mm: float = length(
        "diameter", "of the bar", low=8, high=60, usual=22, reach=8, source="common practice"
    )
    arm_length_mm: float = length(
        "arms.length", "bar's axis to the link's eye", low=40, high=600, usual=250, reach=80
    )
    arm_diameter_mm: float = length(
        "arms.diameter", "of an arm, or of the round that holds it", low=8, high=120, usual=30,
        reach=12,
    )  # fmt: skip
    turn_deg: float = angle(
        "moves.turn",
        "how far its arms swing, up or down, over the whole travel of the wheels",
        low=0,
        high=60,
        usual=18,
        source=_TRAVEL,
    )

    def _way(self) -> float:
        return 1.0 if self.arms == "aft" else -1.0

    def _arm_y(self) -> Any:
        return (self.width_mm - self.arm_diameter_mm) / 2

    def features(self) -> dict[str, Feature]:
        """The bar's axis, flank and middle; the middle of each arm's end ("left arm.end")."""
        middle = vector(0.0, 0.0, 0.0)
        found = {
            "axis": axis(middle, _ACROSS),
            "bar": cylinder(middle, self.diameter_mm / 2, _ACROSS),
            "middle": Feature("point", middle, vector(1.0, 0.0, 0.0)),
        }
        way = (self._way(), 0.0, 0.0)
        for name, side in _SIDES:
            end = vector(self._way() * self.arm_length_mm, side * self._arm_y(), 0.0)
            found[f"{name} arm.end"] = circle(end, self.arm_diameter_mm / 2, way)
        return found

    def pieces(self) -> tuple[Piece, ...]:
        """A prism for the bar and one for each arm."""
        radius, arm = self.diameter_mm / 2, self.arm_diameter_mm / 2
        bar = pieces.cylinder(
            "bar", vector(0.0, -self.width_mm / 2, 0.0), _ACROSS, self.width_mm, radius
        )
        return (
            bar,
            *(
                pieces.cylinder(
                    f"{name} arm",
                    vector(0.0, side * self._arm_y(), 0.0),
                    (self._way(), 0.0, 0.0),
                    self.arm_length_mm,
                    arm,
                )
                for name, side in _SIDES
            ),
        )

    def solids(self) -> dict[str, cq.Shape]:
        """Bar and arms."""
        half, y = self.width_mm / 2, self._arm_y()
        radius, way = self.arm_diameter_mm / 2, (self._way(), 0.0, 0.0)
        made = {
            "bar": shapes.cylinder((0.0, -half, 0.0), _ACROSS, self.width_mm, self.diameter_mm / 2)
        }
        for name, side in _SIDES:
            start = (0.0, side * y, 0.0)
            made[f"{name} arm"] = shapes.cylinder(start, way, self.arm_length_mm, radius)
        return made

    def moves(self) -> tuple[Freedom, ...]:
        """It turns about its own axis.

        A wheel that lifts alone turns one arm and twists the bar between: no point of it is then
        where a turn of the whole, of some amount within the range, would not take it too.
        """
        return (
            Freedom(
                turns=True,
                through=vector(0.0, 0.0, 0.0),
                # The right-hand rule takes an arm that points aft down.
                along=vector(0.0, -self._way(), 0.0),
                back="moves.turn",
                forth="moves.turn",
                either="swings its arms {forth} up or down",
                said=("swings an arm {} down", "swings an arm {} up"),
            ),
        )
