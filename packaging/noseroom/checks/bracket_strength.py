"""Is a bracket strong enough: stress under load, first natural frequency against the engine's idle.

By formula, as a frame along the bracket's middle line, with every doubt on the safe side: the bolt
holds it at its middle only, corners are as far out as their tangents meet, a hole's width is off,
its own weight counts by Dunkerley's formula. Finite elements (`strength_elements`) have never shown
more stress between bolts, nor a lower frequency. What it is bolted to is taken as stiff.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from noseroom.checks.strength_frame import NO_CHANGE, Change, Strip, Tab, place_of, point_of
from noseroom.findings import Verdict
from noseroom.geometry.sheet import Blank
from noseroom.geometry.strip_lines import Spot
from noseroom.physics.bolts import STANDARD_GRAVITY
from noseroom.physics.frames import Frame, lowest_hz, peak_stress
from noseroom.physics.vibration import Profile, firing_hz, first_order_hz
from noseroom.tables.sheet import SheetMaterial, sheet_stock
from noseroom.tables.strength import body_vibration, strength_limits

Way = Literal["thicker", "wider", "shorter", "edges turned up", "larger washers"]
IdleAnswer = Literal["above", "below", "near", "not known"]
_THICKER = 1.05
"""What is less is the same sheet by another gauge."""
_WIDER_MM = (5.0, 10.0, 15.0, 20.0, 25.0, 30.0)
_SHORTER = tuple(round(1.0 - 0.05 * k, 2) for k in range(1, 13))
_RIMS_MM = (8.0, 10.0, 12.0, 15.0, 20.0, 25.0)
_WASHERS = (1.25, 1.5, 2.0)
_ANY_HZ = (1.0, 2000.0)


@dataclass(frozen=True)
class Carried:
    """What hangs on it. mass_kg: of the whole part, the most that it may be.

    points: on how many it hangs, this bracket among them. source: who says how heavy it is.
    arm_mm: (3,), from the middle of the hole that carries to where the load acts, in the folded
    bracket's own coordinates. rubber: a grommet lies between part and bracket. tab: the part's own,
    that is kept from turning by two other points at least and so holds the bracket's end; None:
    nothing does. gyration_mm: largest radius of gyration of what hangs on this bracket alone.
    """

    mass_kg: float
    points: int
    source: str
    arm_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    rubber: bool = False
    tab: Tab | None = None
    gyration_mm: float = 0.0

    @property
    def share_kg(self) -> float:
        """What this bracket may get of it."""
        return self.mass_kg * min(1.0, _limit("uneven") / self.points)


@dataclass(frozen=True)
class Engine:
    """A four-stroke engine that fires evenly, at idle."""

    cylinders: int
    idle_rpm: float

    @property
    def firing_hz(self) -> float:
        """How often it fires a second."""
        return firing_hz(self.cylinders, self.idle_rpm)

    @property
    def turning_hz(self) -> float:
        """How often its crankshaft turns a second: what is out of balance shakes as often."""
        return first_order_hz(self.idle_rpm)


@dataclass(frozen=True)
class Load:
    """One load, in whichever direction is worst. g: times the weight. wanted: least safety.

    stress_mpa: von Mises, the highest anywhere. place, point_mm: where; the point in the folded
    bracket's own coordinates.
    """

    name: Literal["shock", "vibration"]
    g: float
    stress_mpa: float
    safety: float
    wanted: float
    source: str
    place: str
    point_mm: tuple[float, float, float]

    @property
    def holds(self) -> bool:
        """Whether it has the safety that is wanted."""
        return self.safety >= self.wanted


@dataclass(frozen=True)
class Sum:
    """The figures of one bracket, as it is or changed.

    hz: first natural frequency, from below; None with rubber between: not known. most_hz: with its
    end held fully square. sway_mm: how far vibration moves its end, at three deviations. rms_mpa:
    stress of one deviation of vibration.
    """

    hz: float | None
    most_hz: float | None
    shock: Load
    vibration: Load
    idle: IdleAnswer
    own_kg: float
    sway_mm: float | None
    rms_mpa: float

    @property
    def enough(self) -> bool:
        """Strong enough for shocks, and clear of the engine's idle as far as that is known.

        The vibration is a shaker's, hours of which stand for a car's life: it is told, not asked.
        """
        return self.shock.holds and self.idle != "near"


@dataclass(frozen=True)
class Remedy:
    """A change that would do on its own. value: mm, or of "shorter" the share of the way left."""

    way: Way
    value: float
    change: Change
    sum: Sum


@dataclass(frozen=True)
class Strength:
    """Whether a bracket is strong enough: see `strength_words` for it in sentences.

    remedies: what would do where it is not, each on its own; none: nothing that was tried.
    """

    strip: Strip
    carried: Carried
    engine: Engine | None
    sum: Sum
    remedies: tuple[Remedy, ...]

    @property
    def verdict(self) -> Verdict:
        """Fits for strong enough; never fouls: sums on the safe side cannot say that it breaks."""
        if not self.sum.enough:
            return Verdict.TOO_CLOSE
        return Verdict.NOT_KNOWN if self.sum.idle == "not known" else Verdict.FITS


def strength_of(
    blank: Blank,
    carried_hole: Spot,
    fixed: Sequence[Spot],
    carried: Carried,
    metal: SheetMaterial,
    engine: Engine | None = None,
    *,
    thicknesses_mm: Sequence[float] | None = None,
    with_remedies: bool = True,
) -> Strength:
    """Sum up a bracket on the body of a car.

    carried_hole, fixed: places in the flat; of a slot the end that is worse. thicknesses_mm: what
    sheet can be had; None: what the metal is sold in. with_remedies: leave them out where many are
    compared. Engines shake harder than bodies do: not for brackets on one.
    Raises GeometryError where the holes are on no strip of metal.
    """
    tab = None if carried.rubber else carried.tab
    strip = Strip(blank, carried_hole, tuple(fixed), metal, tab)
    now = summed(strip, carried, engine)
    sold = thicknesses_mm
    if sold is None:
        sold = [one.thickness_mm for one in sheet_stock(metal.metal)]
    done = now.enough or not with_remedies
    found = () if done else _remedies(strip, carried, engine, sorted(sold))
    return Strength(strip, carried, engine, now, found)


def summed(
    strip: Strip, carried: Carried, engine: Engine | None, change: Change = NO_CHANGE
) -> Sum:
    """The figures of a bracket with a change made to it."""
    lines, frame = strip.changed(change)
    node, arm, mass = lines.carried, carried.arm_mm, carried.share_kg
    hz = lowest_hz(frame, node, mass, arm, carried.gyration_mm)
    most = lowest_hz(strip.changed(change, square=True)[1], node, mass, arm)
    # Stress grows with the force: one peak serves every load.
    weight = (mass + frame.mass_kg) * STANDARD_GRAVITY
    peak = peak_stress(frame, node, weight, arm)
    rms = _vibration(_ANY_HZ if carried.rubber else (hz, most))

    def load(name: Literal["shock", "vibration"], g: float, wanted: float, source: str) -> Load:
        stress = g * peak.mpa
        safety = strip.metal.yield_mpa / stress
        where = place_of(lines, peak), point_of(lines, peak)
        return Load(name, g, stress, safety, wanted, source, *where)

    shock = strength_limits()["shock"]
    many = _limit("deviations")
    sway = many * rms * STANDARD_GRAVITY * mass * _softest(frame, node, arm)
    return Sum(
        hz=None if carried.rubber else hz,
        most_hz=None if carried.rubber else most,
        shock=load("shock", shock.value, _limit("shock safety"), shock.source),
        vibration=load(
            "vibration", 1.0 + many * rms, _limit("vibration safety"), body_vibration().source
        ),
        idle="not known" if carried.rubber else _idle(hz, most, engine),
        own_kg=frame.mass_kg,
        sway_mm=None if carried.rubber else sway,
        rms_mpa=rms * peak.mpa,
    )


def _vibration(between_hz: tuple[float, float]) -> float:
    """R.m.s. acceleration of what is carried, times gravity: the worst of all frequencies between.

    The lower one is from below, and how square the bracket's end is held nobody knows.
    """
    profile = Profile(body_vibration().points)
    return profile.worst_response(*between_hz, _limit("quality")) / STANDARD_GRAVITY


def _softest(frame: Frame, node: int, arm: tuple[float, float, float]) -> float:
    """How far a newton moves it in the softest direction, mm."""
    return float(np.linalg.eigvalsh(frame.compliance(node, arm)[:3, :3])[-1])


def _idle(hz: float, most_hz: float, engine: Engine | None) -> IdleAnswer:
    if engine is None:
        return "not known"
    if hz >= _limit("idle above") * engine.firing_hz:
        return "above"
    clear_of_turning = hz >= _limit("idle above") * engine.turning_hz
    if clear_of_turning and most_hz <= _limit("idle below") * engine.firing_hz:
        return "below"
    return "near"


def _remedies(
    strip: Strip, carried: Carried, engine: Engine | None, sold: Sequence[float]
) -> tuple[Remedy, ...]:
    """The least change of each way that does on its own."""
    now = strip.blank.thickness_mm
    tried: dict[Way, list[tuple[float, Change]]] = {
        "thicker": [(t, Change(thickness_mm=t)) for t in sold if t > _THICKER * now],
        "wider": [(more, Change(wider_mm=more)) for more in _WIDER_MM],
        "shorter": [(share, Change(shorter=share)) for share in _SHORTER],
        "edges turned up": [(high, Change(rim_mm=high)) for high in _RIMS_MM],
        "larger washers": [
            (times * max(one.washer_mm for one in (strip.carried, *strip.fixed)),
             Change(washers=times))
            for times in _WASHERS
        ],
    }  # fmt: skip
    found = []
    for way, changes in tried.items():
        for value, change in changes:
            with_it = summed(strip, carried, engine, change)
            if with_it.enough:
                found.append(Remedy(way, value, change, with_it))
                break
    return tuple(found)


def _limit(key: str) -> float:
    return strength_limits()[key].value
