"""The tables that `refrigerant` reads, asked of CoolProp."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from noseroom.physics.property_tables import kept_tables
from noseroom.physics.ranges import Floats

__all__ = ["KNOWN", "SATURATED", "Tables", "tables_of"]

KNOWN = {
    "R134a": "R. Tillner-Roth, H. D. Baehr, J. Phys. Chem. Ref. Data 23 (1994) 657-729, "
    "doi:10.1063/1.555958",
    "R1234yf": "M. Richter, M. O. McLinden, E. W. Lemmon, J. Chem. Eng. Data 56 (2011) 3254-3264, "
    "doi:10.1021/je200369m",
}
"""Refrigerants that there are tables for, with the equation of state that CoolProp has of each."""

SATURATED = (
    "temperature", "liquid_enthalpy", "vapour_enthalpy", "vapour_entropy",
    "liquid_log_density", "vapour_log_density", "liquid_log_viscosity", "vapour_log_viscosity",
    "liquid_conductivity", "vapour_conductivity",
    "liquid_log_specific_heat", "vapour_log_specific_heat",
)  # fmt: skip
"""What is known of the saturated fluid, by pressure."""

_ASIDE = ("superheat", "log_density", "entropy", "by_entropy", "warmed", "subcooled")
_AXES = ("log_pressure", "excess_enthalpy", "excess_entropy", "warming", "subcooling")
_NUMBERS = ("critical_pressure", "critical_temperature", "molar_mass")
_NAMES = (*SATURATED, *_ASIDE, *_AXES, *_NUMBERS)

_LEAST_PA = 60e3
_MOST_SHARE = 0.93
"""Of the critical pressure, how far the tables go."""
_PRESSURES = 90


@dataclass(frozen=True, eq=False)
class Tables:
    """One refrigerant's tables.

    numbers: critical_pressure (Pa), critical_temperature (K), molar_mass (kg/mol). axes: (m,) each;
    log_pressure of Pa, and how far from saturation: excess_enthalpy (J/kg) and excess_entropy
    (J/(kg K)) above saturated vapour, warming (K above saturation), subcooling (K below it).
    saturated: by pressure, by the names in `SATURATED`. aside: by pressure and one other axis, each
    above its saturated value: by excess_enthalpy superheat (K), log_density (as it is) and entropy;
    by excess_entropy by_entropy (J/kg); by warming warmed (J/kg); by subcooling subcooled (J/kg).
    """

    name: str
    numbers: Mapping[str, float]
    axes: Mapping[str, Floats]
    saturated: Mapping[str, Floats]
    aside: Mapping[str, Floats]

    @property
    def source(self) -> str:
        """Which equation of state they are made from."""
        return f"CoolProp, by the equation of state of {KNOWN[self.name]}"


def tables_of(name: str) -> Tables:
    """Tables of a refrigerant, from the user's cache or made anew. Raises ValueError."""
    if name not in KNOWN:
        raise ValueError(f"found refrigerant {name!r}; expected one of {', '.join(KNOWN)}")
    all_ = kept_tables(f"refrigerant 2 {name}", _NAMES, lambda: _made(name))
    return Tables(
        name,
        {key: float(all_[key]) for key in _NUMBERS},
        {key: all_[key] for key in _AXES},
        {key: all_[key] for key in SATURATED},
        {key: all_[key] for key in _ASIDE},
    )


def _made(name: str) -> dict[str, Floats]:
    """Ask CoolProp: some fifteen thousand states, half a second once it is loaded."""
    from CoolProp import CoolProp

    fluid = CoolProp.AbstractState("HEOS", name)
    most = _MOST_SHARE * fluid.p_critical()
    axes = {
        "log_pressure": np.linspace(np.log(_LEAST_PA), np.log(most), _PRESSURES),
        "excess_enthalpy": np.linspace(0.0, 150e3, 61),
        "excess_entropy": np.linspace(0.0, 320.0, 45),
        # Near the critical point enthalpy bends most just off saturation.
        "warming": np.linspace(0.0, 1.0, 45) ** 2 * 90.0,
        "subcooling": np.linspace(0.0, 1.0, 20) ** 2 * 45.0,
    }
    saturated = {key: np.empty(_PRESSURES) for key in SATURATED}
    rows: dict[str, list[Floats]] = {key: [] for key in _ASIDE}
    for i, log in enumerate(axes["log_pressure"]):
        pressure = float(np.exp(log))
        _saturation(fluid, CoolProp, pressure, saturated, i)
        boiling, h_liquid, h, s = (saturated[key][i] for key in SATURATED[:4])
        # The first of each row is saturation itself, which these pairs of inputs cannot name.
        fluid.update(CoolProp.PQ_INPUTS, pressure, 1.0)
        gas = [(0.0, np.log(fluid.rhomass()), 0.0)]
        for more in axes["excess_enthalpy"][1:]:
            fluid.update(CoolProp.HmassP_INPUTS, h + more, pressure)
            gas.append((fluid.T() - boiling, np.log(fluid.rhomass()), fluid.smass() - s))
        for key, column in zip(_ASIDE[:3], np.transpose(gas), strict=True):
            rows[key].append(column)
        for key, base, pair, values in (
            ("by_entropy", h, CoolProp.PSmass_INPUTS, s + axes["excess_entropy"]),
            ("warmed", h, CoolProp.PT_INPUTS, boiling + axes["warming"]),
            ("subcooled", h_liquid, CoolProp.PT_INPUTS, boiling - axes["subcooling"]),
        ):
            row = [0.0]
            for value in values[1:]:
                fluid.update(pair, pressure, value)
                row.append(fluid.hmass() - base)
            rows[key].append(np.asarray(row))
    numbers = (fluid.p_critical(), fluid.T_critical(), fluid.molar_mass())
    whole = {key: np.asarray(one) for key, one in zip(_NUMBERS, numbers, strict=True)}
    return {**axes, **saturated, **{key: np.asarray(one) for key, one in rows.items()}, **whole}


def _saturation(
    fluid: Any, library: Any, pressure: float, saturated: dict[str, Floats], i: int
) -> None:
    for phase, quality in (("liquid", 0.0), ("vapour", 1.0)):
        fluid.update(library.PQ_INPUTS, pressure, quality)
        saturated["temperature"][i] = fluid.T()
        saturated[f"{phase}_enthalpy"][i] = fluid.hmass()
        saturated["vapour_entropy"][i] = fluid.smass()
        saturated[f"{phase}_log_density"][i] = np.log(fluid.rhomass())
        saturated[f"{phase}_log_viscosity"][i] = np.log(fluid.viscosity())
        saturated[f"{phase}_conductivity"][i] = fluid.conductivity()
        saturated[f"{phase}_log_specific_heat"][i] = np.log(fluid.cpmass())
