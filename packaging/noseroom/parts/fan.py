"""The engine-driven fan: spider, blades, the space they sweep, and a clutch if there is one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from noseroom.envelope.kinds import NOT_KNOWN
from noseroom.geometry import pieces
from noseroom.geometry.pieces import Piece
from noseroom.parts import fan_blades, shapes
from noseroom.parts.base import About, Part, choice, count, length, share
from noseroom.survey.features import Feature, axis, circle, cylinder, face, vector

if TYPE_CHECKING:
    import cadquery as cq

_CLUTCH = ("drive", "clutch")
_AFT = (1.0, 0.0, 0.0)
_FLEX = (
    "from memory: stiff steel blades hardly give, thin ones that flatten lean forward by far more; "
    "no printed figure was found"
)


@dataclass(frozen=True, kw_only=True)
class Fan(Part):
    """A fan on the water pump's hub.

    Datum: the middle of the mounting (rear) face, which lies on hub, pulley or spacer; x forward is
    negative. With a clutch the datum is on the face that its flange is bolted by. Flange and shaft
    are one cylinder behind the body; the fan sits on the body; what comes through the fan (the
    body's front, the spring on it) is the clutch's nose. The blades' projected width is the same
    from root to tip, so that what they sweep is exactly the space between two planes and two
    cylinders ("sweep"): clearances are taken to that, and to spider and clutch; the blades are for
    looking at and for export.
    """

    about: ClassVar[About] = About(
        name="fan",
        help="fan driven by the engine: spider, blades, clutch",
        group="fan",
        carried_by=("water pump", "engine", "car"),
        colour="#f2cf5b",
        freedom="on axis",
        assumed=("mount 3 mm ± 3 mm ahead of {carrier}.hub.face",),
        start_mm=(-3.0, 0.0, 0.0),
        touches=(("spider", "hub"), ("spider", "pilot"), ("spider", "web"), ("clutch", "*")),
    )

    drive: str = choice(
        "drive", "rigid", "flexible", "clutch", help="what it is, between hub and blades"
    )
    rotation: str = choice(
        "rotation", "clockwise", "anticlockwise", help="seen from the front of the car"
    )
    diameter_mm: float = length("diameter", "over the blade tips", low=250, high=700)
    blades: int = count("blades", "how many", low=2, high=12, usual=6)
    width_mm: float = length(
        "width",
        "projected: leading edge to trailing edge, along the axis",
        low=10,
        high=150,
        usual=55,
        reach=15,
    )
    ahead_mm: float = length(
        "ahead",
        "leading edge ahead of the fan's mounting face",
        low=-60,
        high=150,
        usual=30,
        reach=15,
    )
    thickness_mm: float = length("thickness", "blade sheet", low=0.8, high=3, usual=1.6, reach=0.6)
    flex_mm: float = length(
        "flex",
        "how far the blade tips may come forward at speed",
        low=0,
        high=60,
        usual=3,
        usual_for=(("drive", "flexible", 12), ("drive", "clutch", 6)),
        source=_FLEX,
    )
    spider_diameter_mm: float = length(
        "spider.diameter", "where the blades begin", low=50, high=180, usual=150, reach=25
    )
    spider_thickness_mm: float = length(
        "spider.thickness", "hub plates and rivets", low=2, high=50, usual=8, reach=4
    )
    clutch_diameter_mm: float = length(
        "clutch.diameter",
        "body, over its fins",
        low=60,
        high=300,
        usual=180,
        reach=30,
        when=_CLUTCH,
    )
    clutch_depth_mm: float = length(
        "clutch.depth",
        "body, rear face to the fan's mounting face",
        low=5,
        high=150,
        usual=35,
        reach=20,
        when=_CLUTCH,
    )
    shaft_diameter_mm: float = length(
        "clutch.shaft.diameter",
        "over its flange or nut",
        low=20,
        high=150,
        usual=75,
        reach=25,
        when=_CLUTCH,
    )
    shaft_length_mm: float = length(
        "clutch.shaft.length",
        "flange's rear face to the body",
        low=5,
        high=120,
        usual=30,
        reach=20,
        when=_CLUTCH,
    )
    nose_diameter_mm: float = length(
        "clutch.nose.diameter",
        "what comes through the fan",
        low=20,
        high=300,
        usual=110,
        reach=60,
        when=_CLUTCH,
    )
    nose_length_mm: float = length(
        "clutch.nose.length",
        "ahead of the spider, spring and all",
        low=2,
        high=100,
        usual=25,
        reach=20,
        when=_CLUTCH,
    )

    flange_mm: float = length(
        "clutch.flange",
        "thickness of what its bolts go through, behind the body",
        low=0,
        high=40,
        usual=0,
        tolerance=0.8,
        source=NOT_KNOWN,
        when=_CLUTCH,
    )
    mass_kg: float = share(
        "mass", "kg, as it hangs on the hub", low=0, high=15, usual=0, source=NOT_KNOWN
    )
    balance_mm: float = length(
        "balance",
        "where it balances on a rod, ahead of the face that it is bolted by",
        low=-60,
        high=200,
        usual=0,
        tolerance=3,
        source=NOT_KNOWN,
    )
    most_rpm: float = share(
        "highest speed", "rpm, as its maker says", low=0, high=15000, usual=0, source=NOT_KNOWN
    )

    def _shift(self) -> Any:
        """How far the fan's own mounting face stands ahead of the datum."""
        return self.shaft_length_mm + self.clutch_depth_mm if self.drive == "clutch" else 0.0

    def masses_mm(self) -> tuple[Any, Any]:
        """How far ahead of the datum the middles of hub plates and of blades stand.

        A fan balances between the two; with a clutch, between its shaft and its blades.
        """
        blades = self._shift() + self.ahead_mm - self.width_mm / 2
        hub = self.spider_thickness_mm / 2
        return (self.shaft_length_mm / 2 if self.drive == "clutch" else hub), blades

    def _clutch(self) -> tuple[tuple[Any, Any, Any], ...]:
        """Flange with shaft, body and nose: where each begins (x), its length and its radius."""
        body, nose = -self._shift(), -(self._shift() + self.spider_thickness_mm)
        return (
            (-self.shaft_length_mm, self.shaft_length_mm, self.shaft_diameter_mm / 2),
            (body, self.clutch_depth_mm, self.clutch_diameter_mm / 2),
            (nose - self.nose_length_mm, self.nose_length_mm, self.nose_diameter_mm / 2),
        )

    def _front(self) -> Any:
        """Where the leading edges lie, x."""
        return -(self._shift() + self.ahead_mm)

    def _corners(self) -> Any:
        """Corners of every blade; see `fan_blades.corners`."""
        return fan_blades.corners(
            self.blades,
            self.spider_diameter_mm / 2,
            self.diameter_mm / 2,
            self._front(),
            self.width_mm,
            self.thickness_mm,
            clockwise=self.rotation == "clockwise",
        )

    def features(self) -> dict[str, Feature]:
        """The blades' edges and tips, the spider, the clutch and its front, the mounting face."""
        tip, hub, width = self.diameter_mm / 2, self.spider_diameter_mm / 2, self.width_mm
        front, origin = self._front(), vector(0.0, 0.0, 0.0)
        nose = vector(-(self._shift() + self.spider_thickness_mm), 0.0, 0.0)
        up, across = vector(0.0, 0.0, hub), vector(0.0, hub, 0.0)
        found = {
            "axis": axis(origin, _AFT),
            "mount": face(origin, _AFT),
            "blade.front": circle(vector(front, 0.0, 0.0), tip),
            "blade.rear": circle(vector(front + width, 0.0, 0.0), tip),
            "blade.tip": cylinder(vector(front + width / 2, 0.0, 0.0), tip),
            "spider.front": face(nose, (-1, 0, 0), top=up, right=across),
            "spider.edge": circle(nose, hub),
        }
        if self.drive == "clutch":
            (_, _, _), (start, depth, radius), (tip, _, small) = self._clutch()
            found["clutch"] = cylinder(vector(start + depth / 2, 0.0, 0.0), radius)
            found["clutch.front"] = face(
                vector(tip, 0.0, 0.0),
                (-1, 0, 0),
                top=vector(0.0, 0.0, small),
                right=vector(0.0, small, 0.0),
            )
        return found

    def pieces(self) -> tuple[Piece, ...]:
        """Prisms round spider and clutch, wedges round the sweep, the hull of each blade."""
        hub, shift = self.spider_diameter_mm / 2, self._shift()
        nose = vector(-(shift + self.spider_thickness_mm), 0.0, 0.0)
        made = [pieces.cylinder("spider", nose, _AFT, self.spider_thickness_mm, hub)]
        if self.drive == "clutch":
            made += [
                pieces.cylinder("clutch", vector(x, 0.0, 0.0), _AFT, long, radius)
                for x, long, radius in self._clutch()
            ]
        front = vector(self._front(), 0.0, 0.0)
        made += pieces.ring("sweep", front, _AFT, self.width_mm, hub, self.diameter_mm / 2)
        made += [
            pieces.hull("blades", tuple(blade.reshape(8, *blade.shape[2:])))
            for blade in self._corners()
        ]
        return tuple(made)

    def solids(self) -> dict[str, cq.Shape]:
        """Spider, clutch, blades (one compound) and the space they sweep."""
        hub, shift = self.spider_diameter_mm / 2, self._shift()
        made = {
            "spider": shapes.cylinder(
                (-(shift + self.spider_thickness_mm), 0.0, 0.0),
                _AFT,
                self.spider_thickness_mm,
                hub,
            ),
            "blades": shapes.compound([shapes.ruled(*blade) for blade in self._corners()]),
            "sweep": shapes.ring(
                (self._front(), 0.0, 0.0), _AFT, self.width_mm, hub, self.diameter_mm / 2
            ),
        }
        if self.drive == "clutch":
            shaft, body, tip = (
                shapes.cylinder((x, 0.0, 0.0), _AFT, long, radius)
                for x, long, radius in self._clutch()
            )
            made["clutch"] = shapes.compound([shapes.joined([shaft, body]), tip])
        return made

    def sweeps(self) -> tuple[str, ...]:
        """What the blades pass through when they turn."""
        return ("sweep",)
