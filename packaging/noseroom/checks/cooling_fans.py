"""Fans of a nose as the solver takes them: curve, what is not known of it, what leaks round it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from noseroom.checks.air_faces import DrawingFan
from noseroom.checks.cooling_car import Car
from noseroom.parts.fan import Fan
from noseroom.physics.fan_blades import BladeFigures, fan_from_geometry
from noseroom.physics.fans import STANDARD_DENSITY, FanCurve, curve_through_point
from noseroom.physics.openings import loss_of_opening
from noseroom.physics.ranges import Floats
from noseroom.physics.stack_parts import Opening, StackFan
from noseroom.tables.cooling import priors
from noseroom.tables.heat import bands

__all__ = ["CarFan", "car_fan"]

_MM = 1e-3
_NOMINAL_RPM = 1000.0
_POINTS = 17
_ELECTRIC_POWER = 1.6
"""How an electric fan's pressure falls: p0 (1 - (Q/Q0)^1.6), between a line and a parabola."""
_HALFWAY = 0.5
_RING = 1.0 / 3.0
"""Share of the blades' width in the ring that is enough, from memory."""
_UNKNOWN_GAP_MM = 30.0


@dataclass(frozen=True, eq=False)
class CarFan:
    """A fan of the stack. ratio: its turns to one of the crank; for an electric one over its sheet.

    known: where its curve comes from, in words.
    """

    stack: StackFan
    driven: bool
    ratio: Floats
    known: str

    def speed(self, engine_rpm: Floats) -> Floats:
        """Over its curve's."""
        if not self.driven:
            return self.ratio
        return np.asarray(engine_rpm * self.ratio / self.stack.curve.speed)


def car_fan(car: Car, fan: DrawingFan, radiator_m2: float) -> CarFan:
    """A fan of a nose, or of a change of it."""
    curve, flow, rise, known = _curve(car, fan)
    stopped = car.prior("fan stands")
    if fan.shrouded and fan.way == "behind" and fan.driven:
        short = np.maximum(0.0, 1.0 - fan.immersed / _RING)
        rise = rise * (1.0 - car.prior("immersion") * short)
    made = StackFan(
        name=fan.name,
        curve=curve,
        swept_m2=fan.swept_m2,
        stopped_loss=stopped,
        flow_scale=flow,
        rise_scale=rise,
        leak=Opening(_leak_m2(car, fan, radiator_m2), float(loss_of_opening())),
        bare=not fan.shrouded,
    )
    return CarFan(made, fan.driven, _ratio(car, fan), known)


def _leak_m2(car: Car, fan: DrawingFan, radiator_m2: float) -> Floats:
    """What is open for air to run back round a fan."""
    round_m = np.pi * fan.diameter_mm * _MM * fan.number
    if not fan.shrouded:
        return np.asarray(round_m * fan.standoff_mm * _MM * car.prior("open fan"))
    gap = fan.tip_gap_mm if np.isfinite(fan.tip_gap_mm) else _UNKNOWN_GAP_MM
    tips = round_m * gap * _MM * car.prior("tip leak")
    return np.asarray(tips + radiator_m2 * car.prior("shroud seam"))


def _ratio(car: Car, fan: DrawingFan) -> Floats:
    if not fan.driven:
        return car.prior("electric speed")
    part = car.layout.parts[fan.name]
    turns = car.turns(part, "fan ratio")
    assert isinstance(part.part, Fan)
    return turns * car.prior("fan slip") if part.part.drive == "clutch" else turns


def _curve(car: Car, fan: DrawingFan) -> tuple[FanCurve, Floats, Floats, str]:
    """A curve, factors on its flow and its rise, and where it comes from."""
    one = np.ones(car.n)
    entry = car.fan_entry(fan.name)
    if entry is not None and entry.points:
        speed = entry.figures["speed"].value if "speed" in entry.figures else _NOMINAL_RPM
        if len(entry.points) > 1:
            off = car.prior("electric fan range")
            return _through(entry.points, speed), off, one, "by the points of its curve"
        return (*_by_point(car, entry.points[0], speed), "by one point of its curve")
    if fan.driven:
        part = car.layout.parts[fan.name].part
        assert isinstance(part, Fan)
        return (*_by_shape(car, part), "by its shape alone, which is worth little")
    return (*_electric(car, fan), "by its diameter alone")


@lru_cache(maxsize=64)
def _through(points: tuple[tuple[float, float], ...], speed: float) -> FanCurve:
    return FanCurve.through(points, speed, source="points in the file")


@lru_cache(maxsize=64)
def _point_curve(flow: float, rise: float, speed: float) -> FanCurve:
    return curve_through_point(flow, rise, speed, bands()["fan steepness"].usual)


def _by_point(
    car: Car, point: tuple[float, float], speed: float
) -> tuple[FanCurve, Floats, Floats]:
    """Every steepness goes through the point, and is the usual one's parabola, stretched."""
    s, usual = car.heat("fan steepness"), bands()["fan steepness"].usual
    rise = (1.0 + s) / (1.0 + usual)
    flow = np.sqrt((1.0 + 1.0 / s) / (1.0 + 1.0 / usual))
    return _point_curve(*point, speed), np.asarray(flow), np.asarray(rise)


@lru_cache(maxsize=64)
def _electric_curve(free: float, shut: float) -> FanCurve:
    flows = np.linspace(0.0, free, _POINTS)
    rises = shut * (1.0 - (flows / free) ** _ELECTRIC_POWER)
    return FanCurve(flows, rises, _NOMINAL_RPM, source=priors()["electric shut-off"].source)


def _electric(car: Car, fan: DrawingFan) -> tuple[FanCurve, Floats, Floats]:
    usual_free = priors()["electric free flow"].usual
    usual_shut = priors()["electric shut-off"].usual
    free, shut = car.prior("electric free flow"), car.prior("electric shut-off")
    curve = _electric_curve(round(usual_free * fan.swept_m2, 9), usual_shut)
    return curve, free / usual_free, shut / usual_shut


@dataclass(frozen=True)
class _Shape:
    """A driven fan's sizes, mm."""

    diameter_mm: float
    hub_mm: float
    blades: int
    width_mm: float


def _curves(shape: _Shape, figures: BladeFigures) -> tuple[Floats, Floats]:
    pitch = np.radians(priors()["blade pitch"].usual)
    width = shape.width_mm * _MM
    found = fan_from_geometry(
        diameter=shape.diameter_mm * _MM,
        hub_diameter=shape.hub_mm * _MM,
        blades=shape.blades,
        chord=float(width / np.sin(pitch)),
        projected_width=width,
        speed_rpm=_NOMINAL_RPM,
        density=STANDARD_DENSITY,
        figures=figures,
    )
    return found.flows, found.pressures


@lru_cache(maxsize=64)
def _shape_curve(shape: _Shape, usual: tuple[float, ...]) -> FanCurve:
    flows, rises = _curves(shape, BladeFigures(*usual))
    even = np.linspace(0.0, float(flows[-1]), len(flows))
    return FanCurve(even, rises, _NOMINAL_RPM, source="the fan's shape")


def _by_shape(car: Car, part: Fan) -> tuple[FanCurve, Floats, Floats]:
    """The usual figures' curve; the draws' own by where they cross no pressure, and at half of it.

    Another pitch than the usual one is another angle of the blade, and another chord with it.
    """
    names = ("fan lift slope", "fan lift", "fan drag", "fan camber", "fan tip loss", "fan flow")
    usual = [bands()[name].usual for name in names]
    drawn = [car.heat(name) for name in names]
    pitch, middle = np.radians(car.prior("blade pitch")), np.radians(priors()["blade pitch"].usual)
    usual[3], drawn[3] = np.radians(usual[3]), np.radians(drawn[3]) + pitch - middle
    drawn[4] = drawn[4] * np.sin(middle) / np.sin(pitch)
    shape = _Shape(part.diameter_mm, part.spider_diameter_mm, part.blades, part.width_mm)
    curve = _shape_curve(shape, tuple(usual))
    free, half = _ends(curve.flows[None], curve.pressures[None])
    each = _curves(shape, BladeFigures(*drawn))
    all_free, all_half = _ends(*each)
    return curve, all_free / free, np.maximum(all_half / half, 0.05)


def _ends(flows: Floats, rises: Floats) -> tuple[Floats, Floats]:
    """(n,) flow at no pressure, and pressure at half of that."""
    free = np.array([np.interp(0.0, -p, q) for q, p in zip(flows, rises, strict=True)])
    half = [np.interp(_HALFWAY * end, q, p) for end, q, p in zip(free, flows, rises, strict=True)]
    return free, np.array(half)
