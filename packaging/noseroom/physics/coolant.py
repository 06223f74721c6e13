"""Water with ethylene glycol: when it boils under a cap, and what it carries.

Hot coolant scalds: a cap is opened only when the engine is cold, and a mixture is tested by its
freezing point. Glycol is poisonous and sweet; what is drained is kept from pets and handed in.

Temperatures K, pressures Pa; glycol is a share of volume, as one mixes it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from noseroom.physics.air import ZERO_CELSIUS
from noseroom.physics.moist_air import saturation_temperature
from noseroom.physics.property_tables import kept_tables
from noseroom.physics.ranges import Correlation, Floats, Range

__all__ = ["BOILING", "BOILING_TOO_HIGH_K", "COOLANT", "Coolant", "boiling_point", "coolant"]

BOILING = Correlation(
    name="boiling of glycol and water by Raoult's law",
    source="Raoult's law with water's saturation pressure (ASHRAE Handbook Fundamentals 2017, "
    "ch. 1, eq. 6); molar masses 18.015 and 62.07, densities at 20 °C 998.2 and 1113 kg/m³",
    ranges=(Range("glycol", 0.0, 0.7), Range("pressure", 60e3, 350e3, "Pa")),
    spread="printed figures of the trade lie 0 to 4.3 K lower: 223 to 226 °F open and 265 °F under "
    "15 psi at one half glycol, 276 °F under 15 psi at seven tenths",
)
BOILING_TOO_HIGH_K = 4.5
"""By how much `boiling_point` may be too high, by what the trade prints."""

COOLANT = Correlation(
    name="properties of aqueous ethylene glycol",
    source="CoolProp's fluid AEG, a fit of the tables of ASHRAE Handbook Fundamentals, and its "
    "water",
    ranges=(Range("glycol", 0.0, 0.6), Range("temperature", 283.15, 373.15, "K")),
    spread="density within 0.3 % of the printed table",
    instead="the tables were carried on along their slope",
)

_WATER_MOLS = 998.2 / 18.015
_GLYCOL_MOLS = 1113.0 / 62.07


def boiling_point(glycol: ArrayLike, pressure_pa: ArrayLike) -> Floats:
    """K at which coolant boils under a pressure: that of the air and of the cap together.

    glycol: share of volume, 0 to 1. Near hot metal it boils before the whole does, and what a cap
    holds wears: the figure is for a cap as marked. Source and how far off: `BOILING`.
    """
    share = np.asarray(glycol, dtype=float)
    water = (1.0 - share) * _WATER_MOLS
    fraction = water / (water + share * _GLYCOL_MOLS)
    return saturation_temperature(np.asarray(pressure_pa, dtype=float) / fraction)


_SHARES = np.linspace(0.0, 0.6, 7)
_CELSIUS = np.linspace(10.0, 100.0, 10)
_ASKED = {"density": "D", "specific_heat": "C", "conductivity": "L", "log_viscosity": "V"}
_PRESSURE = 4e5
_LAST_K = 100.0 + ZERO_CELSIUS


def _made() -> dict[str, Floats]:
    from CoolProp.CoolProp import PropsSI

    def fluid(share: float) -> str:
        return f"INCOMP::AEG[{share:.3f}]" if share > 0 else "Water"

    tables = {
        name: np.asarray(
            [
                [
                    PropsSI(key, "T", c - 1e-6 + ZERO_CELSIUS, "P", _PRESSURE, fluid(float(share)))
                    for c in _CELSIUS
                ]
                for share in _SHARES
            ]
        )
        for name, key in _ASKED.items()
    }
    tables["log_viscosity"] = np.log(tables["log_viscosity"])
    return tables


@dataclass(frozen=True)
class Coolant:
    """Properties of coolant by its share of glycol and its temperature. Source: `COOLANT`."""

    splines: dict[str, Any]

    def _at(self, name: str, glycol: ArrayLike, temperature_k: ArrayLike) -> Floats:
        share, t = np.broadcast_arrays(
            np.asarray(glycol, dtype=float), np.asarray(temperature_k, dtype=float)
        )
        within = np.minimum(t, _LAST_K)
        spline = self.splines[name]
        beyond = spline.ev(share, within, dy=1) * (t - within)
        return np.asarray(spline.ev(share, within) + beyond, dtype=float)

    def density(self, glycol: ArrayLike, temperature_k: ArrayLike) -> Floats:
        """kg/m³."""
        return self._at("density", glycol, temperature_k)

    def specific_heat(self, glycol: ArrayLike, temperature_k: ArrayLike) -> Floats:
        """J/(kg K)."""
        return self._at("specific_heat", glycol, temperature_k)

    def conductivity(self, glycol: ArrayLike, temperature_k: ArrayLike) -> Floats:
        """W/(m K)."""
        return self._at("conductivity", glycol, temperature_k)

    def viscosity(self, glycol: ArrayLike, temperature_k: ArrayLike) -> Floats:
        """Pa s."""
        return np.exp(self._at("log_viscosity", glycol, temperature_k))

    def prandtl(self, glycol: ArrayLike, temperature_k: ArrayLike) -> Floats:
        """η c_p / λ."""
        top = self.viscosity(glycol, temperature_k) * self.specific_heat(glycol, temperature_k)
        return np.asarray(top / self.conductivity(glycol, temperature_k))


@cache
def coolant() -> Coolant:
    """Properties of coolant, from tables that CoolProp makes once."""
    from scipy.interpolate import RectBivariateSpline

    tables = kept_tables("coolant 2", _ASKED, _made)
    kelvin = _CELSIUS + ZERO_CELSIUS
    return Coolant(
        {name: RectBivariateSpline(_SHARES, kelvin, one) for name, one in tables.items()}
    )
