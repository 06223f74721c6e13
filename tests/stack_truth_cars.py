"""Invented cars for judging bands: every figure of air and heat, as a maker and an age left them.

All ranges are the judge's own, from memory of what older cars and parts kits have, and none is read
from the program's tables. SI; angles in degrees.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

IN, MM = 0.0254, 1e-3

__all__ = ["IN", "MM", "Fins", "TrueCar", "TrueFan", "cars", "true_car", "without_ac"]


@dataclass(frozen=True, kw_only=True)
class Fins:
    """A core. louver_*: None for flat fins with dimples each `restart`; form: their added drag.

    bond: of the coefficient that joints and age leave; dirt: factor on friction.
    """

    kind: str
    fin_pitch: float
    fin_length: float
    fin_thickness: float
    depth: float
    tube: float
    conductivity: float
    louver_pitch: float | None = None
    louver_length: float | None = None
    louver_angle: float | None = None
    restart: float = 0.012
    form: float = 1.2
    bond: float = 1.0
    dirt: float = 1.0
    rows: int = 1
    wall: float = 0.13e-3


@dataclass(frozen=True, kw_only=True)
class TrueFan:
    """A fan. kind: "shrouded", "open" (both driven by the engine) or "puller" (electric).

    pitch, camber: of its blades; stall: pressure at no flow over half density and own speed
    squared; fall: the power with which pressure falls; spread: of flow along the radius.
    """

    kind: str
    diameter: float
    hub: float
    blades: int
    width: float
    standoff: float
    tip_gap: float
    immersed: float
    ratio: float
    clutch: bool
    slip: float
    pitch: float
    camber: float
    stall: float
    fall: float
    kept: float
    free_speed: float
    shut_pa: float
    voltage: float
    off_y: float
    off_z: float
    blocked: float

    @property
    def plate(self) -> float:
        """Half of a puller's plate."""
        return self.diameter / 2 + 0.024


@dataclass(frozen=True, kw_only=True)
class TrueCar:
    """One car, all of it; what its builder can know of it is another module's matter.

    indicated: what an idling engine makes of its fuel; extra_indicated: of what more load takes,
    the slope of a Willans line, a third or so.
    """

    seed: int
    width: float
    height: float
    radiator: Fins
    cross: bool
    condenser: Fins | None
    face_y: tuple[float, float]
    face_z: tuple[float, float]
    passes: tuple[float, ...]
    port: float
    port_share: float
    header: float
    gap: float
    sealed: bool
    rim: float
    grille_w: float
    grille_h: float
    grille_z: float
    grille_open: float
    grille_turn: float
    front_depth: float
    margin_y: float
    margin_z: float
    beside: float
    fan: TrueFan
    bay_out: float
    near_out: float
    near_bay: float
    bay_loss: float
    returned: float
    ram: float
    suction: float
    litres: float
    idle_rpm: float
    cruise_rpm: float
    friction_bar: float
    indicated: float
    extra_indicated: float
    to_coolant: float
    to_coolant_cruise: float
    to_bay: float
    mass: float
    rolling: float
    drag_area: float
    driveline: float
    water_turn: float
    glycol: float
    thermostat: float
    scale: float
    swept: float
    compressor_ratio: float
    filled: float
    filled_fall: float
    isentropic: float
    shell_loss: float
    drive: float
    superheat: float
    suction_warming: float
    subcooling: float
    blower: float
    bypass: float
    coil_resistance: float
    cabin: float
    warmest: float
    coldest: float


class _Picker:
    """Seeded picks, each in its own order of asking."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng([2002, seed])

    def even(self, low: float, high: float) -> float:
        return float(self.rng.uniform(low, high))

    def log(self, low: float, high: float) -> float:
        return float(math.exp(self.rng.uniform(math.log(low), math.log(high))))

    def mid(self, low: float, high: float) -> float:
        """More often in the middle: the mean of two."""
        return float(low + (high - low) * self.rng.random(2).mean())

    def one(self, shares: dict[str, float]) -> str:
        return str(self.rng.choice(list(shares), p=list(shares.values())))


def true_car(seed: int) -> TrueCar:
    """A car by its number."""
    p = _Picker(seed)
    width, height = p.even(0.46, 0.66), p.even(0.36, 0.48)
    header = p.even(0.016, 0.026)
    face_w = min(width * p.even(0.75, 1.0), width - 2 * header)
    face_h = height * p.even(0.65, 1.0)
    low_y = -face_w / 2 + p.even(-0.5, 0.5) * (width - 2 * header - face_w)
    low_z = -height / 2 + p.even(0.0, 1.0) * (height - face_h)
    open_rim = p.even(0.25, 1.0)
    sealed = p.rng.random() < 0.25
    passes = {"1": (1.0,), "3": (0.5, 0.3, 0.2), "4": (0.4, 0.27, 0.19, 0.14)}
    return TrueCar(
        seed=seed,
        width=width,
        height=height,
        radiator=_radiator(p),
        cross=p.rng.random() < 0.25,
        condenser=_condenser(p),
        face_y=(low_y, low_y + face_w),
        face_z=(low_z, low_z + face_h),
        passes=passes[p.one({"1": 0.1, "3": 0.5, "4": 0.4})],
        port=p.even(0.9, 1.7) * MM,
        port_share=p.even(0.36, 0.5),
        header=header,
        gap=p.even(8, 40) * MM,
        sealed=sealed,
        rim=p.log(0.005, 0.1) if sealed else open_rim,
        grille_w=width * p.even(0.85, 1.4),
        grille_h=height * p.even(0.6, 1.15),
        grille_z=p.even(-0.06, 0.06),
        grille_open=p.mid(0.35, 0.85),
        grille_turn=p.log(0.3, 2.5),
        front_depth=p.even(0.1, 0.3),
        margin_y=p.even(0.02, 0.07),
        margin_z=p.even(0.07, 0.11),
        beside=p.even(0.1, 1.0),
        fan=_fan(p, width, height),
        # Plan of the bay between fenders, less engine, crossmember, steering and their like.
        bay_out=p.even(0.8, 1.1) * p.even(0.75, 1.05) * p.mid(0.15, 0.45),
        near_out=p.even(0.1, 0.4),
        near_bay=p.even(0.1, 0.35),
        bay_loss=p.even(1.6, 3.5),
        returned=p.log(0.005, 0.12),
        ram=p.mid(0.35, 0.95),
        suction=p.log(0.02, 0.3),
        litres=p.even(1.6, 5.8),
        idle_rpm=p.even(560, 850),
        cruise_rpm=p.even(1900, 3000),
        friction_bar=p.mid(1.5, 2.6),
        indicated=p.mid(0.18, 0.27),
        extra_indicated=p.even(0.29, 0.36),
        to_coolant=p.mid(0.27, 0.42),
        to_coolant_cruise=p.mid(0.2, 0.3),
        to_bay=p.mid(0.05, 0.15),
        mass=p.even(1100, 2100),
        rolling=p.even(0.011, 0.018),
        drag_area=p.even(0.8, 1.5),
        driveline=p.even(0.78, 0.91),
        water_turn=p.log(0.022, 0.055) * 1e-3,
        glycol=p.even(0.3, 0.6),
        thermostat=p.even(71, 92),
        scale=p.log(0.4e-4, 2.5e-4),
        swept=p.even(105, 200) * 1e-6,
        compressor_ratio=p.even(1.1, 1.7),
        filled=p.even(0.84, 0.97),
        filled_fall=p.even(0.02, 0.045),
        isentropic=p.mid(0.5, 0.75),
        shell_loss=p.even(0.03, 0.15),
        drive=p.even(0.86, 0.96),
        superheat=p.even(3, 8),
        suction_warming=p.even(2, 9),
        subcooling=p.even(2, 10),
        blower=p.even(0.06, 0.13),
        bypass=p.mid(0.1, 0.38),
        coil_resistance=p.log(3e-4, 1.5e-3),
        cabin=p.mid(-13, 3),
        warmest=273.15 + p.even(11, 19),
        coldest=273.15 + p.even(-9, 1),
    )


def _radiator(p: _Picker) -> Fins:
    kind = p.one({"copper": 0.45, "copper serpentine": 0.25, "aluminium": 0.3})
    bond, dirt = p.even(0.82, 1.0), p.even(1.0, 1.3)
    if kind == "copper":
        rows = int(p.rng.integers(2, 5))
        return Fins(
            kind=kind,
            fin_pitch=IN / p.even(9.5, 14),
            fin_length=p.even(9, 13) * MM,
            fin_thickness=p.even(0.05, 0.09) * MM,
            depth=rows * p.even(14.5, 17.5) * MM,
            tube=p.even(2.1, 2.8) * MM,
            conductivity=p.even(340, 390),
            restart=p.even(7, 18) * MM,
            form=p.even(1.1, 1.6),
            bond=bond,
            dirt=dirt,
            rows=rows,
        )
    metal = kind == "aluminium"
    rows = int(p.rng.integers(1, 3)) if metal else int(p.rng.integers(2, 4))
    length = p.even(7.5, 9.5) * MM if metal else p.even(8.5, 11) * MM
    return Fins(
        kind=kind,
        fin_pitch=IN / (p.even(14, 18) if metal else p.even(12, 15.5)),
        fin_length=length,
        fin_thickness=(p.even(0.07, 0.1) if metal else p.even(0.05, 0.07)) * MM,
        depth=rows * (p.even(25, 30) if metal else p.even(15, 19)) * MM,
        tube=p.even(1.8, 2.2) * MM if metal else p.even(2.1, 2.6) * MM,
        conductivity=p.even(180, 210) if metal else p.even(340, 390),
        louver_pitch=p.even(1.0, 1.5) * MM,
        louver_length=length * p.even(0.78, 0.9),
        louver_angle=p.even(22, 29),
        bond=bond,
        dirt=dirt,
        rows=rows,
        wall=(0.28 if metal else 0.13) * MM,
    )


def _condenser(p: _Picker) -> Fins:
    length = p.even(7.2, 9) * MM
    return Fins(
        kind="parallel flow",
        fin_pitch=IN / p.even(16, 20),
        fin_length=length,
        fin_thickness=p.even(0.09, 0.12) * MM,
        depth=p.even(16, 22) * MM,
        tube=p.even(1.8, 2.2) * MM,
        conductivity=p.even(180, 210),
        louver_pitch=p.even(1.1, 1.5) * MM,
        louver_length=length * p.even(0.8, 0.9),
        louver_angle=p.even(24, 29),
        bond=p.even(0.9, 1.0),
        dirt=p.even(1.0, 1.2),
        wall=0.35 * MM,
    )


def _fan(p: _Picker, width: float, height: float) -> TrueFan:
    kind = p.one({"shrouded": 0.4, "open": 0.3, "puller": 0.3})
    puller = kind == "puller"
    most = min(width, height) - (0.05 if puller else 0.01)
    diameter = min(p.even(12, 16) * IN if puller else p.even(14.5, 18.5) * IN, most)
    near = kind == "open"
    return TrueFan(
        kind=kind,
        diameter=diameter,
        hub=diameter * 0.3 if puller else p.even(0.12, 0.15),
        blades=int(p.rng.integers(4, 8)),
        width=p.even(45, 68) * MM,
        standoff=0.02 if puller else (p.even(25, 70) if near else p.even(45, 100)) * MM,
        tip_gap=4 * MM if puller else p.even(8, 28) * MM,
        immersed=p.even(0.15, 0.85),
        ratio=p.even(0.9, 1.32),
        clutch=not puller and p.rng.random() < 0.35,
        slip=p.even(0.6, 0.95),
        pitch=p.mid(22, 40),
        camber=p.even(12, 30),
        stall=p.mid(0.55, 1.15),
        fall=p.even(1.2, 2.0),
        kept=p.even(0.65, 0.95),
        free_speed=p.mid(5, 9.5),
        shut_pa=p.mid(90, 250),
        voltage=p.even(0.85, 1.0),
        off_y=p.even(-0.02, 0.02),
        off_z=p.even(-0.5, 0.5) * max(0.0, height - diameter - 0.06),
        blocked=p.even(0.5, 3.0),
    )


def without_ac(car: TrueCar) -> TrueCar:
    """The same car before anything is fitted."""
    return replace(car, condenser=None)


def cars(count: int, first: int = 0) -> list[TrueCar]:
    """Some of them."""
    return [true_car(first + k) for k in range(count)]
