"""Properties of refrigerants for a thousand draws at once, from tables of an equation of state.

CoolProp has the equations of state, for one number at a time and after two seconds of loading. Here
its answers stand in tables over pressure and over how far a state is from saturation, read by cubic
splines; `refrigerant_tables` makes them and keeps them. How far off they are is tested: within
0.01 K, 0.05 % of density and 0.04 kJ/kg over the range.

SI: Pa, K, J/kg, J/(kg K), kg/m³, Pa s, W/(m K). Enthalpies and entropies count from the fluid's own
reference state: compare differences only.

Work on a charged system, and any venting, is for certified people with recovery equipment; the
liquid freezes skin and the system is under pressure also when it stands.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from noseroom.physics.ranges import Correlation, Floats, Range
from noseroom.physics.refrigerant_tables import SATURATED, Tables, tables_of

__all__ = ["Pressure", "Refrigerant", "Saturation", "refrigerant"]


_AXIS = {
    "superheat": "excess_enthalpy",
    "log_density": "excess_enthalpy",
    "entropy": "excess_enthalpy",
    "by_entropy": "excess_entropy",
    "warmed": "warming",
    "subcooled": "subcooling",
}
"""By which distance from saturation each table goes."""


@dataclass(frozen=True, eq=False)
class Saturation:
    """Saturated states at pressures, for those that ask for several properties of them.

    pressure: Pa. temperature: K. liquid_enthalpy, vapour_enthalpy: J/kg. vapour_entropy: J/(kg K).
    All nan where the tables do not reach.
    """

    pressure: Floats
    log_pressure: Floats
    temperature: Floats
    liquid_enthalpy: Floats
    vapour_enthalpy: Floats
    vapour_entropy: Floats


Pressure = ArrayLike | Saturation
"""Pa, or what `Refrigerant.saturation` gave for them, which saves looking it up again."""


class Refrigerant:
    """One refrigerant. name: as CoolProp has it, such as R134a.

    Every function takes arrays. Pressures outside `range` give nan, and so do superheats beyond
    what the tables hold; `correlation.outside` says so in words.
    """

    def __init__(self, tables: Tables) -> None:
        from scipy.interpolate import CubicSpline, RectBivariateSpline

        self.name = tables.name
        self.critical_pressure = tables.numbers["critical_pressure"]
        self.critical_temperature = tables.numbers["critical_temperature"]
        self.molar_mass = tables.numbers["molar_mass"]
        logs, temperatures = tables.axes["log_pressure"], tables.saturated["temperature"]
        self._low, self._high = float(logs[0]), float(logs[-1])
        self._least_k, self._most_k = float(temperatures[0]), float(temperatures[-1])
        self.correlation = Correlation(
            name=f"the tables of {tables.name}",
            source=tables.source,
            ranges=(Range("pressure", float(np.exp(self._low)), float(np.exp(self._high)), "Pa"),),
            spread="within 0.01 K, 0.05 % of density, 0.04 kJ/kg of the equation of state",
            instead="there is no answer",
        )
        self._states = CubicSpline(
            logs, np.stack([tables.saturated[key] for key in SATURATED[:4]], axis=-1)
        )
        self._others = {key: CubicSpline(logs, tables.saturated[key]) for key in SATURATED[4:]}
        self._log_by_temperature = CubicSpline(temperatures, logs)
        self._most = {key: float(one[-1]) for key, one in tables.axes.items()}
        self._tables = {
            key: RectBivariateSpline(logs, tables.axes[_AXIS[key]], one)
            for key, one in tables.aside.items()
        }

    @property
    def range(self) -> tuple[float, float]:
        """Least and greatest pressure, Pa."""
        return float(np.exp(self._low)), float(np.exp(self._high))

    # -- saturation -------------------------------------------------------------------------------

    def _log(self, pressure: Pressure) -> Floats:
        if isinstance(pressure, Saturation):
            return pressure.log_pressure
        with np.errstate(all="ignore"):
            log = np.log(np.asarray(pressure, dtype=float))
        inside = (log >= self._low - 1e-12) & (log <= self._high + 1e-12)
        return np.where(inside, log, np.nan)

    def saturation(self, pressure: Pressure) -> Saturation:
        """The saturated states at pressures, Pa."""
        if isinstance(pressure, Saturation):
            return pressure
        log = self._log(pressure)
        found = self._states(log)
        parts = (found[..., k] for k in range(found.shape[-1]))
        return Saturation(np.asarray(pressure, dtype=float), log, *parts)

    def _other(self, key: str, pressure: Pressure) -> Floats:
        found = np.asarray(self._others[key](self._log(pressure)), dtype=float)
        return np.exp(found) if "_log_" in key else found

    def saturation_temperature(self, pressure: Pressure) -> Floats:
        """K at which it boils and condenses."""
        return self.saturation(pressure).temperature

    def saturation_pressure(self, temperature_k: ArrayLike) -> Floats:
        """Pa at which it boils and condenses."""
        t = np.asarray(temperature_k, dtype=float)
        inside = (t >= self._least_k - 1e-9) & (t <= self._most_k + 1e-9)
        return np.where(inside, np.exp(self._log_by_temperature(t)), np.nan)

    def liquid_enthalpy(self, pressure: Pressure) -> Floats:
        """J/kg of saturated liquid."""
        return self.saturation(pressure).liquid_enthalpy

    def vapour_enthalpy(self, pressure: Pressure) -> Floats:
        """J/kg of saturated vapour."""
        return self.saturation(pressure).vapour_enthalpy

    def latent_heat(self, pressure: Pressure) -> Floats:
        """J/kg from liquid to vapour."""
        at = self.saturation(pressure)
        return np.asarray(at.vapour_enthalpy - at.liquid_enthalpy)

    def vapour_entropy(self, pressure: Pressure) -> Floats:
        """J/(kg K) of saturated vapour."""
        return self.saturation(pressure).vapour_entropy

    def liquid_density(self, pressure: Pressure) -> Floats:
        """kg/m³ of saturated liquid."""
        return self._other("liquid_log_density", pressure)

    def vapour_density(self, pressure: Pressure) -> Floats:
        """kg/m³ of saturated vapour."""
        return self._other("vapour_log_density", pressure)

    def liquid_viscosity(self, pressure: Pressure) -> Floats:
        """Pa s of saturated liquid."""
        return self._other("liquid_log_viscosity", pressure)

    def vapour_viscosity(self, pressure: Pressure) -> Floats:
        """Pa s of saturated vapour."""
        return self._other("vapour_log_viscosity", pressure)

    def liquid_conductivity(self, pressure: Pressure) -> Floats:
        """W/(m K) of saturated liquid."""
        return self._other("liquid_conductivity", pressure)

    def vapour_conductivity(self, pressure: Pressure) -> Floats:
        """W/(m K) of saturated vapour."""
        return self._other("vapour_conductivity", pressure)

    def liquid_specific_heat(self, pressure: Pressure) -> Floats:
        """J/(kg K) of saturated liquid."""
        return self._other("liquid_log_specific_heat", pressure)

    def vapour_specific_heat(self, pressure: Pressure) -> Floats:
        """J/(kg K) of saturated vapour."""
        return self._other("vapour_log_specific_heat", pressure)

    # -- away from saturation ---------------------------------------------------------------------

    def _aside(self, key: str, pressure: Pressure, excess: Floats) -> Floats:
        log, excess = np.broadcast_arrays(self._log(pressure), excess)
        most = self._most[_AXIS[key]]
        slack = 1e-9 * most
        inside = (excess >= -slack) & (excess <= most + slack) & np.isfinite(log)
        found = self._tables[key].ev(np.where(inside, log, self._low), np.clip(excess, 0.0, most))
        return np.where(inside, found, np.nan)

    def subcooled_enthalpy(self, pressure: Pressure, temperature_k: ArrayLike) -> Floats:
        """J/kg of liquid at or below its boiling point; nan above, and more than 45 K below."""
        at = self.saturation(pressure)
        below = np.asarray(at.temperature - np.asarray(temperature_k, dtype=float))
        return np.asarray(at.liquid_enthalpy + self._aside("subcooled", at, below))

    def _above(self, at: Saturation, enthalpy: ArrayLike) -> Floats:
        return np.asarray(np.asarray(enthalpy, dtype=float) - at.vapour_enthalpy)

    def vapour_temperature(self, pressure: Pressure, enthalpy: ArrayLike) -> Floats:
        """K of superheated vapour; nan for wet vapour."""
        at = self.saturation(pressure)
        superheat = self._aside("superheat", at, self._above(at, enthalpy))
        return np.asarray(at.temperature + superheat)

    def superheated_density(self, pressure: Pressure, enthalpy: ArrayLike) -> Floats:
        """kg/m³ of superheated vapour; nan for wet vapour."""
        at = self.saturation(pressure)
        return np.exp(self._aside("log_density", at, self._above(at, enthalpy)))

    def superheated_entropy(self, pressure: Pressure, enthalpy: ArrayLike) -> Floats:
        """J/(kg K) of superheated vapour; nan for wet vapour."""
        at = self.saturation(pressure)
        more = self._aside("entropy", at, self._above(at, enthalpy))
        return np.asarray(at.vapour_entropy + more)

    def superheated_enthalpy(self, pressure: Pressure, temperature_k: ArrayLike) -> Floats:
        """J/kg of superheated vapour; nan below saturation and more than 90 K above."""
        at = self.saturation(pressure)
        above = np.asarray(np.asarray(temperature_k, dtype=float) - at.temperature)
        return np.asarray(at.vapour_enthalpy + self._aside("warmed", at, above))

    def isentropic_enthalpy(self, pressure: Pressure, entropy: ArrayLike) -> Floats:
        """J/kg of superheated vapour with an entropy; nan for wet vapour."""
        at = self.saturation(pressure)
        above = np.asarray(np.asarray(entropy, dtype=float) - at.vapour_entropy)
        return np.asarray(at.vapour_enthalpy + self._aside("by_entropy", at, above))


@cache
def refrigerant(name: str) -> Refrigerant:
    """A refrigerant by its number, R134a or R1234yf.

    Raises ValueError for any other: R-12's properties are not offered, because what R-12 was
    charged with is to be recovered and replaced by certified people, not topped up.
    """
    return Refrigerant(tables_of(name))
