"""A judge of the bands on a car's air and heat: finer than the program, with other correlations.

`truth` says what one invented car does in one state. Nothing here is imported from the program.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from stack_truth_air import CarAir
from stack_truth_cars import TrueCar, without_ac
from stack_truth_gas import CondenserMarch, Running, running, saturated
from stack_truth_laws import CP
from stack_truth_water import Water, march_water

Floats = NDArray[np.float64]

__all__ = ["CRUISE", "HOT_IDLE", "Day", "Truth", "truth"]

_PASCAL = 101325.0
_BARS = 1e5
_LEAST_PA, _MOST_PA = 7e5, 3.8e6
_CUT_OUT_PA = 2.9e6
_WITHIN_K, _BURNT_K = 0.01, 500.0
_CUT_OUTS = 4


@dataclass(frozen=True)
class Day:
    """A state. speed: m/s; 0 stands."""

    outside_k: float
    humidity: float
    speed: float


HOT_IDLE = Day(311.15, 0.4, 0.0)
CRUISE = Day(311.15, 0.4, 25.0)


@dataclass(frozen=True)
class Truth:
    """What one car does.

    radiator: kg/s from front to back; into_k: of that air ahead of it; coolant_k: at the top;
    head_pa: nan without A/C; grille: m/s, mean over it. away: no head pressure below the
    refrigerant's critical one gives the heat off, and a cut-out acts. balance: share of all heat
    that gets lost. settled: whether the rounds ended.
    """

    radiator: float
    into_k: float
    coolant_k: float
    head_pa: float
    grille: float
    recirculated: float
    duty: float
    boiling_k: float
    condenser_w: float
    away: bool
    balance: float
    settled: bool
    rounds: int


def truth(car: TrueCar, day: Day, *, ac: bool, size: float = 0.045, rounds: int = 60) -> Truth:
    """One car in a state. ac: fitted and on; without it the car is as it was before.

    size: of a cell, m. Rounds of air, refrigerant, water and mixing, until nothing moves.
    """
    return _Rounds(car if ac else without_ac(car), day, size).run(rounds)


class _Rounds:
    def __init__(self, car: TrueCar, day: Day, size: float) -> None:
        self.car, self.day = car, day
        stands = day.speed == 0.0
        self.rpm = car.idle_rpm if stands else max(car.cruise_rpm * day.speed / 25.0, car.idle_rpm)
        push = _PASCAL / (287.05 * day.outside_k) * day.speed**2 / 2
        blades = self.rpm * car.fan.ratio
        if car.fan.clutch:
            # A viscous clutch slips more the faster it is turned.
            blades = min(blades * car.fan.slip, 1900.0)
        self.air = CarAir(car, size, car.ram * push, -car.suction * push, blades, _PASCAL)
        self.kelvin = np.full(len(self.air.net.pressure), day.outside_k + 15.0)
        self.kelvin[-2:] = day.outside_k
        self.top = self.film = 370.0
        self.heat: dict[str, Floats] = {}
        self.head = 1.6e6
        self.pumped: Running | None = None
        self.away, self.cut_outs = False, 0
        self.march: CondenserMarch | None = None
        if car.condenser is not None:
            self.march = CondenserMarch(car, self.air.grid, self.air.core)

    def run(self, most: int) -> Truth:
        """To the end."""
        count, moved = 0, 1.0
        while count < most:
            count += 1
            before = (self.kelvin.copy(), self.top, self.head)
            self.air.laws(self.kelvin)
            self.air.net.solve()
            if self.march is not None:
                self._refrigerant()
            self._water()
            self._mix()
            moved = max(
                float(np.abs(self.kelvin - before[0]).max()),
                abs(self.top - before[1]),
                abs(self.head - before[2]) / 1e5,
            )
            if moved < _WITHIN_K or self.top > _BURNT_K:
                break
        return self._found(moved < _WITHIN_K and self.top <= _BURNT_K, count)

    # -- refrigerant ------------------------------------------------------------------------

    def _refrigerant(self) -> None:
        """The head pressure at which liquid leaves as cold as the charge makes it."""
        air, core = self.air, self.air.core
        assert self.march is not None
        assert air.condenser is not None
        way = air.net.groups["condenser"]
        area = air.grid.area[core]
        outside = air.condenser.heat(way.flow / area) * area
        came = self.kelvin[np.where(way.flow >= 0, way.start, way.end)]
        march = self.march

        def ahead(head: float) -> float:
            self.pumped = self._pump(head)
            self.found = march.run(self.pumped.flow, self.pumped.hot, head, outside, way.flow, came)
            _, left, lost = self.found
            liquid = saturated(round(max(head - lost, 3e5), 0))
            return (left - liquid.hl) / liquid.cpl + self.car.subcooling

        low, high = max(self.head * 0.97, _LEAST_PA), min(self.head * 1.03, _MOST_PA)
        while ahead(low) < 0 and low > _LEAST_PA:
            high, low = low, max(low * 0.85, _LEAST_PA)
        over = ahead(high)
        while over > 0 and high < _MOST_PA:
            low, high = high, min(high * 1.15, _MOST_PA)
            over = ahead(high)
        self.cut_outs += over > 0
        # Cooler for having been cut out it would run again, and be cut out again.
        self.away = over > 0 or self.cut_outs >= _CUT_OUTS
        if self.away:
            self.head = _CUT_OUT_PA
        else:
            self.head = float(brentq(ahead, low, high, xtol=20.0)) if ahead(low) > 0 else low
        left = ahead(self.head)
        assert self.pumped is not None
        heat = np.abs(self.found[0])
        if self.away and left > 0:
            # The switch lets it run for as long as the condenser can give the heat off.
            needed = heat.sum() + self.pumped.flow * left * saturated(round(self.head, 0)).cpl
            self.pumped = replace(self.pumped, duty=self.pumped.duty * heat.sum() / needed)
            heat = heat * needed / heat.sum()
        self.heat["condenser"] = heat * self.pumped.duty

    def _pump(self, head: float) -> Running:
        liquid = saturated(round(head, 0))
        left = liquid.hl - liquid.cpl * self.car.subcooling
        rpm = self.rpm * self.car.compressor_ratio
        return running(self.car, rpm, head, self.day.outside_k, self.day.humidity, left)

    # -- coolant ----------------------------------------------------------------------------

    def _to_coolant(self) -> tuple[float, float]:
        """W into the coolant and into the bay.

        At idle the fuel that friction and pumping take (a mean pressure of theirs over what an
        engine makes of fuel), on the road that for drag and rolling beside it.
        """
        car, day = self.car, self.day
        turning = car.friction_bar * _BARS * car.litres * 1e-3 * self.rpm / 120.0
        work = self.pumped.work * self.pumped.duty if self.pumped else 0.0
        if day.speed == 0.0:
            fuel = turning / car.indicated
            return (
                car.to_coolant * (fuel + work / car.extra_indicated),
                car.to_bay * fuel,
            )
        force = car.mass * 9.81 * car.rolling
        force += _PASCAL / (287.05 * day.outside_k) / 2 * car.drag_area * day.speed**2
        fuel = (force * day.speed / car.driveline + 0.6 * turning) / 0.34
        return car.to_coolant_cruise * (fuel + work / 0.34), 0.6 * car.to_bay * fuel

    def _water(self) -> None:
        air, car = self.air, self.car
        assert air.radiator is not None
        way = air.net.groups["radiator"]
        flow = np.zeros(len(air.grid.y))
        flow[way.cells] = way.flow
        came = np.zeros(len(flow))
        came[way.cells] = self.kelvin[np.where(way.flow >= 0, way.start, way.end)]
        outside = air.radiator.heat(flow / air.grid.area) * air.grid.area
        # Half way from round to round: between slow and turbulent flow it would swing for ever.
        self.film += (self.top - self.film) / 2.0
        water = Water(car, car.water_turn * self.rpm / 60.0, self.film - 5.0)
        wanted, _ = self._to_coolant()
        base = march_water(car, air.grid, water, outside, flow, came, 0.0).sum()
        slope = march_water(car, air.grid, water, outside, flow, came, 1.0).sum() - base
        self.top = float((wanted - base) / slope)
        self.heat["radiator"] = march_water(car, air.grid, water, outside, flow, came, self.top)[
            way.cells
        ]

    # -- air --------------------------------------------------------------------------------

    def _mix(self) -> None:
        air, car = self.air, self.car
        _, bay = self._to_coolant()
        put = np.zeros(len(self.kelvin))
        put[air.bay] = bay
        stands = self.day.speed == 0.0
        share = car.returned if stands else 0.0
        known = np.full(2, self.day.outside_k)
        heat = dict(self.heat)
        way = air.net.groups["grille"]
        forth = np.maximum(way.flow, 0.0)
        # What comes back from below the car comes in low.
        low = air.grid.z[way.cells] - air.grid.z.min()
        weight = np.exp(-low / 0.15)
        back = share * weight * forth.sum() / max(float(weight @ forth), 1e-9)
        heat["grille"] = forth * CP * np.minimum(back, 1.0) * (self.kelvin[air.bay] - known[0])
        new = air.net.mixed(CP, put, known, heat)
        self.kelvin = new

    def _found(self, settled: bool, count: int) -> Truth:
        net = self.air.net
        way = net.groups["radiator"]
        forth = np.maximum(way.flow, 0.0)
        into = float(forth @ self.kelvin[way.start] / max(forth.sum(), 1e-9))
        wanted, bay = self._to_coolant()
        got = self._left()
        returned = 0.0
        for name, one in net.groups.items():
            if name.startswith("beside"):
                returned += float(np.maximum(-one.flow, 0.0).sum())
        grille = float(net.groups["grille"].flow.sum())
        put = wanted + bay + float(self.heat.get("condenser", np.zeros(1)).sum())
        pumped = self.pumped
        rho = _PASCAL / (287.05 * self.day.outside_k)
        return Truth(
            radiator=float(forth.sum()),
            into_k=into,
            coolant_k=self.top,
            head_pa=self.head if self.march is not None and not self.away else float("nan"),
            grille=grille / rho / (self.car.grille_w * self.car.grille_h),
            recirculated=returned / max(returned + grille, 1e-9),
            duty=pumped.duty if pumped else 0.0,
            boiling_k=pumped.boiling_k if pumped else float("nan"),
            condenser_w=float(self.heat.get("condenser", np.zeros(1)).sum()),
            away=self.away,
            balance=(put - got) / put,
            settled=settled,
            rounds=count,
        )

    def _left(self) -> float:
        """W that the air takes away from the car, less what came back with it."""
        air, net = self.air, self.air.net
        taken = 0.0
        for one in net.groups.values():
            for mine, other, sign in ((one.start, one.end, -1.0), (one.end, one.start, 1.0)):
                out = (mine >= net.nodes) & (sign * one.flow > 0)
                warm = self.kelvin[other[out]] - self.day.outside_k
                taken += float(np.abs(one.flow[out]) @ warm) * CP
        way, share = net.groups["grille"], self.car.returned if self.day.speed == 0.0 else 0.0
        forth = float(np.maximum(way.flow, 0.0).sum())
        back = forth * CP * share * (self.kelvin[air.bay] - self.day.outside_k)
        return taken - back
