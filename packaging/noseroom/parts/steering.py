"""Steering between box and wheels: a link that slides, and the arm on the box that drives it."""

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

_SQUARE = ("plumb ± 5 deg", "level ± 2 deg", "square across ± 2 deg")
_LINES = {"across": (0.0, 1.0, 0.0), "along": (1.0, 0.0, 0.0)}
_ENDS = {"across": ("left", "right"), "along": ("front", "rear")}
_WAYS = {"across": ("to the car's left", "to the car's right"), "along": ("forward", "aft")}
_LOCK = "from memory: 70 to 80 mm from straight ahead to each lock; no printed figure was found"
_ARC = "an arm of 150 mm that turns 35 deg each way falls back by 150 (1 - cos 35 deg), 27 mm"
_AXLE = "from memory: an axle travels some 75 mm each way; no printed figure was found"
_ARM = "from memory: 35 to 45 deg from straight ahead to each lock; no printed figure was found"


@dataclass(frozen=True, kw_only=True)
class SteeringLink(Part):
    """A rod of the steering, wheels straight ahead: relay rod, drag link, tie rod.

    Datum: its middle. It slides along its own line from lock to lock, and its ends go round with
    the arms that hold it, so that it falls back square to that line too.
    """

    about: ClassVar[About] = About(
        name="steering link",
        help="rod of the steering, wheels straight; slides from lock to lock",
        group="body",
        carried_by=("car",),
        colour="#6f7f5f",
        also=("drag link", "tie rod", "relay rod", "centre link", "center link"),
        assumed=_SQUARE,
        start_mm=(250.0, 0.0, -60.0),
    )

    runs: str = choice("runs", "across", "along", help="which way of the car it lies")
    hangs: str = choice(
        "moves.with", "frame", "axle", help="what it goes with: an axle takes it up and down"
    )
    diameter_mm: float = length("diameter", "outside, over its joints", low=8, high=120, usual=30,
                                reach=12)  # fmt: skip
    length_mm: float = length("length", "end to end", low=80, high=1800)
    slide_mm: float = length(
        "moves.slide",
        "how far it slides from straight ahead to either lock",
        low=0,
        high=200,
        usual=80,
        source=_LOCK,
    )
    swing_mm: float = length(
        "moves.swing",
        "how far it moves level and square to its line, either way, as its arms go round",
        low=0,
        high=100,
        usual=27,
        source=_ARC,
    )
    up_mm: float = length(
        "moves.up",
        "how far the axle takes it up or down",
        low=0,
        high=200,
        usual=75,
        source=_AXLE,
        when=("moves.with", "axle"),
    )

    def _start(self) -> tuple[Any, Any, Any]:
        x, y, z = _LINES[self.runs]
        half = -self.length_mm / 2
        return half * x, half * y, half * z

    def features(self) -> dict[str, Feature]:
        """Its axis, flank and middle, and the rims of its ends ("left.rim" or "front.rim", ...)."""
        way, middle, radius = _LINES[self.runs], vector(0.0, 0.0, 0.0), self.diameter_mm / 2
        found = {
            "axis": axis(middle, way),
            "flank": cylinder(middle, radius, way),
            "middle": Feature("point", middle, vector(1.0, 0.0, 0.0)),
        }
        start = vector(*self._start())
        for sign, name in zip((-1.0, 1.0), _ENDS[self.runs], strict=True):
            outward = (sign * way[0], sign * way[1], sign * way[2])
            found[f"{name}.rim"] = circle(-sign * start, radius, outward)
        return found

    def pieces(self) -> tuple[Piece, ...]:
        """One prism."""
        way, start = _LINES[self.runs], vector(*self._start())
        return (pieces.cylinder("rod", start, way, self.length_mm, self.diameter_mm / 2),)

    def solids(self) -> dict[str, cq.Shape]:
        """One cylinder."""
        way = _LINES[self.runs]
        return {"rod": shapes.cylinder(self._start(), way, self.length_mm, self.diameter_mm / 2)}

    def moves(self) -> tuple[Freedom, ...]:
        """It slides along its line and square to it, and with an axle up and down."""
        middle = vector(0.0, 0.0, 0.0)
        other = "along" if self.runs == "across" else "across"
        made = [
            _slides(self.runs, "moves.slide", "slides"),
            _slides(other, "moves.swing", "swings"),
        ]
        if self.hangs == "axle":
            up = vector(0.0, 0.0, 1.0)
            said = ("drops {}", "lifts {}")
            either = "goes {forth} up or down"
            made.append(Freedom(False, middle, up, "moves.up", "moves.up", either, said))
        return tuple(made)


def _slides(runs: str, key: str, verb: str) -> Freedom:
    """A shift either way along one of the car's level axes."""
    back, forth = _WAYS[runs]
    other = forth.split()[-1]
    return Freedom(
        turns=False,
        through=vector(0.0, 0.0, 0.0),
        along=vector(*_LINES[runs]),
        back=key,
        forth=key,
        either=f"{verb} {{forth}} {back} or {other}",
        said=(f"{verb} {{}} {back}", f"{verb} {{}} {forth}"),
    )


@dataclass(frozen=True, kw_only=True)
class PitmanArm(Part):
    """The arm on the steering box, wheels straight ahead. Datum: its shaft's axis, at mid-height.

    The arm is a bar from the shaft to the ball joint, with a round boss about each.
    """

    about: ClassVar[About] = About(
        name="pitman arm",
        help="arm on the steering box; turns about its shaft from lock to lock",
        group="body",
        carried_by=("car",),
        colour="#6f7f5f",
        also=("drop arm", "idler arm"),
        assumed=_SQUARE,
        start_mm=(200.0, -250.0, -40.0),
    )

    points_to: str = choice("points", "aft", "ahead", help="which way it points, wheels straight")
    length_mm: float = length("length", "shaft to ball joint, centres", low=50, high=400)
    boss_mm: float = length("boss", "diameter about shaft and joint", low=15, high=120, usual=50,
                            reach=15)  # fmt: skip
    height_mm: float = length("height", "bottom to top, joint and all", low=8, high=200, usual=60,
                              reach=30)  # fmt: skip
    turn_deg: float = angle(
        "moves.turn",
        "how far it turns from straight ahead to either lock",
        low=0,
        high=70,
        usual=45,
        source=_ARM,
    )

    def _way(self) -> float:
        return 1.0 if self.points_to == "aft" else -1.0

    def features(self) -> dict[str, Feature]:
        """Its shaft's axis, and the axis and flank of its joint's boss."""
        up = (0.0, 0.0, 1.0)
        end = vector(self._way() * self.length_mm, 0.0, 0.0)
        return {
            "shaft": axis(vector(0.0, 0.0, 0.0), up),
            "joint": axis(end, up),
            "end": cylinder(end, self.boss_mm / 2, up),
        }

    def pieces(self) -> tuple[Piece, ...]:
        """One hull of two prisms."""
        foot, up = -self.height_mm / 2, (0.0, 0.0, 1.0)
        ends = [
            pieces.cylinder("arm", vector(x, 0.0, foot), up, self.height_mm, self.boss_mm / 2)
            for x in (0.0, self._way() * self.length_mm)
        ]
        corners = [one.corners[..., k, :] for one in ends for k in range(one.corners.shape[-2])]
        return (pieces.hull("arm", corners),)

    def solids(self) -> dict[str, cq.Shape]:
        """A bar with round ends."""
        foot, radius, far = -self.height_mm / 2, self.boss_mm / 2, self._way() * self.length_mm
        up = (0.0, 0.0, 1.0)
        bar = shapes.box(
            (min(0.0, far), -radius, foot), (max(0.0, far), radius, foot + self.height_mm)
        )
        bosses = [shapes.cylinder((x, 0.0, foot), up, self.height_mm, radius) for x in (0.0, far)]
        return {"arm": shapes.joined([bar, *bosses])}

    def moves(self) -> tuple[Freedom, ...]:
        """It turns about its shaft."""
        return (
            Freedom(
                turns=True,
                through=vector(0.0, 0.0, 0.0),
                # The right-hand rule about up takes an arm that points aft to the right.
                along=vector(0.0, 0.0, self._way()),
                back="moves.turn",
                forth="moves.turn",
                either="turns {forth} either way",
                said=("turns {} to the car's left", "turns {} to the car's right"),
            ),
        )
