"""Heat from refrigerant to a condenser's tubes, zone by zone. SI, arrays in and out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from noseroom.physics.ranges import Floats, OutsideRange
from noseroom.physics.refrigerant import Pressure, Refrigerant
from noseroom.physics.tube_side import (
    GNIELINSKI_1976,
    SHAH_1979,
    condensing_coefficient_shah,
    nusselt_dittus_boelter,
    nusselt_in_tubes,
)

__all__ = ["RefrigerantSide", "refrigerant_side"]


@dataclass(frozen=True, eq=False)
class RefrigerantSide:
    """W/(K m² of face) from refrigerant to tubes, for gas, condensing and liquid.

    remarks: what is outside its range. Flat tubes with many small ports are outside Shah's.
    """

    gas: Floats
    condensing: Floats
    liquid: Floats
    remarks: tuple[OutsideRange, ...]


def refrigerant_side(
    fluid: Refrigerant,
    pressure: Pressure,
    flow: ArrayLike,
    *,
    diameter: ArrayLike,
    passage_m2: ArrayLike,
    wetted: ArrayLike,
) -> RefrigerantSide:
    """What a condenser's tubes pass on their inside, with properties of the saturated fluid.

    flow: kg/s in all. diameter: hydraulic, m, of a tube or a port. passage_m2: of all tubes that
    the refrigerant runs through side by side. wetted: m² of inside per m² of face.

    Gas and liquid by Gnielinski, condensing by Shah: `tube_side.GNIELINSKI_1976`, `SHAH_1979`.
    """
    at = fluid.saturation(pressure)
    across, area = np.asarray(diameter, dtype=float), np.asarray(wetted, dtype=float)
    flux = np.asarray(flow, dtype=float) / np.asarray(passage_m2, dtype=float)
    found: list[Floats] = []
    remarks: list[OutsideRange] = []
    for viscosity, conductivity, heat in (
        (fluid.vapour_viscosity(at), fluid.vapour_conductivity(at), fluid.vapour_specific_heat(at)),
        (fluid.liquid_viscosity(at), fluid.liquid_conductivity(at), fluid.liquid_specific_heat(at)),
    ):
        re, prandtl = np.asarray(flux * across / viscosity), viscosity * heat / conductivity
        remarks += GNIELINSKI_1976.outside(Reynolds_number=re, Prandtl_number=prandtl)
        found.append(area * nusselt_in_tubes(re, prandtl) * conductivity / across)
    # Of the liquid, which came last: Shah's form rests on all of it running as liquid.
    alone = nusselt_dittus_boelter(re, prandtl) * conductivity / across
    reduced = at.pressure / fluid.critical_pressure
    condensing = area * condensing_coefficient_shah(alone, reduced)
    remarks += SHAH_1979.outside(reduced_pressure=reduced, mass_flux=flux, diameter=across)
    return RefrigerantSide(found[0], np.asarray(condensing), found[1], tuple(remarks))
