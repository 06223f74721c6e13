"""Cores of radiators and condensers on the air's side: surface, heat and pressure drop per face.

Everything is per m² of face, so that a face may be cut into zones. All sizes may be arrays, one for
each draw. SI throughout: m, kg/(m² s), K, Pa.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from noseroom.physics import air, louvers, plain_fins
from noseroom.physics.ranges import Floats, OutsideRange

__all__ = [
    "AirSide",
    "Core",
    "LouveredCore",
    "PlainCore",
    "air_side",
    "contraction_kays",
    "expansion_kays",
    "fin_efficiency",
    "heat_transfer_coefficient",
    "pressure_drop_kays_london",
]

Number = float | Floats


def fin_efficiency(
    coefficient: ArrayLike,
    *,
    conductivity: ArrayLike,
    thickness: ArrayLike,
    half_length: ArrayLike,
    depth: ArrayLike | None = None,
) -> Floats:
    """tanh(m l) / (m l) of a straight fin that is warm at both ends.

    coefficient: W/(m² K). conductivity: of the fin, W/(m K). thickness, half_length: m, from a tube
    to halfway. depth: m along the air, whose two edges are counted in where it is given.

    Y.-J. Chang, C.-C. Wang (1997), as `louvers.CHANG_WANG_1997`: m² = 2 h / (k t) (1 + t / d).
    """
    thin = np.asarray(thickness, dtype=float)
    edges = 1.0 if depth is None else 1.0 + thin / np.asarray(depth, dtype=float)
    m = np.sqrt(2.0 * np.asarray(coefficient) / (np.asarray(conductivity) * thin) * edges)
    ml = np.maximum(m * np.asarray(half_length, dtype=float), 1e-9)
    return np.asarray(np.tanh(ml) / ml)


def heat_transfer_coefficient(
    j: ArrayLike, re: ArrayLike, prandtl: ArrayLike, conductivity: ArrayLike, length: ArrayLike
) -> Floats:
    """W/(m² K) from Colburn's j: j Re Pr^(1/3) λ / L. length: the one that Re is on, m."""
    nusselt = np.asarray(j) * np.asarray(re) * np.asarray(prandtl, dtype=float) ** (1.0 / 3.0)
    return np.asarray(nusselt * np.asarray(conductivity) / np.asarray(length))


def contraction_kays(free_share: ArrayLike) -> Floats:
    """Loss coefficient of air that is squeezed into a core, on the velocity inside.

    (1 / c - 1)² with the jet's contraction c = 0.621 + 4.374e-4 exp(6.737 √σ), for flow that is
    even across a channel: W. M. Kays, Trans. ASME 72 (1950) 1067-1074; formulas from memory.
    """
    root = np.sqrt(np.asarray(free_share, dtype=float))
    return np.asarray((1.0 / (0.621 + 4.374e-4 * np.exp(6.737 * root)) - 1.0) ** 2)


def expansion_kays(free_share: ArrayLike) -> Floats:
    """Loss coefficient of air that leaves a core, on the velocity inside: (1 - σ)² (Borda, Carnot).

    For flow that is even across a channel, as `contraction_kays`.
    """
    return np.asarray((1.0 - np.asarray(free_share, dtype=float)) ** 2)


def pressure_drop_kays_london(
    core_flux: ArrayLike,
    friction: ArrayLike,
    *,
    free_share: ArrayLike,
    length_over_radius: ArrayLike,
    density_in: ArrayLike,
    density_out: ArrayLike,
) -> Floats:
    """Pa across a core: entrance, acceleration by heating, friction, exit.

    core_flux: kg/(m² s) in the least free area. friction: Fanning's f. free_share: σ. It is
    length_over_radius that surface over free area is, 4 L / D_h.

    W. M. Kays, A. L. London, Compact Heat Exchangers (3rd ed., 1984), eq. 2-26a; from memory.
    """
    flux, sigma = np.asarray(core_flux, dtype=float), np.asarray(free_share, dtype=float)
    ahead, behind = np.asarray(density_in, dtype=float), np.asarray(density_out, dtype=float)
    # 1/ρ of the mean, by the mean of specific volumes.
    middle = (ahead / behind + 1.0) / 2.0
    parts = contraction_kays(sigma) + 1.0 - sigma**2
    parts = parts + 2.0 * (ahead / behind - 1.0)
    parts = parts + np.asarray(friction) * np.asarray(length_over_radius) * middle
    parts = parts - (1.0 - sigma**2 - expansion_kays(sigma)) * ahead / behind
    return np.asarray(flux**2 / (2.0 * ahead) * parts)


@dataclass(frozen=True, eq=False, kw_only=True)
class _Sizes:
    """What all cores have, m and W/(m K).

    fin_pitch: from fin to fin. fin_length: of a fin from tube to tube. depth: along the air.
    tube_thickness: of a flat tube, across the air.
    """

    fin_pitch: Number
    fin_length: Number
    fin_thickness: Number
    depth: Number
    tube_thickness: Number
    fin_conductivity: Number

    @property
    def tube_pitch(self) -> Number:
        """From tube to tube, m."""
        return self.fin_length + self.tube_thickness

    @property
    def free_share(self) -> Floats:
        """Of the face, what air can pass: σ."""
        open_ = (self.fin_length - self.fin_thickness) * (self.fin_pitch - self.fin_thickness)
        return np.asarray(open_ / (self.tube_pitch * self.fin_pitch))

    @property
    def hydraulic_diameter(self) -> Floats:
        """m, of the channel between two fins and two tubes."""
        a, b = self.fin_length - self.fin_thickness, self.fin_pitch - self.fin_thickness
        return np.asarray(2.0 * a * b / (a + b))

    @property
    def surface(self) -> Floats:
        """m² of fins and tubes per m² of face."""
        return np.asarray(4.0 * self.free_share * self.depth / self.hydraulic_diameter)

    @property
    def fin_area_share(self) -> Floats:
        """Of the surface, what is fin."""
        a, b = self.fin_length - self.fin_thickness, self.fin_pitch - self.fin_thickness
        return np.asarray(a / (a + b))

    def _reynolds(self, core_flux: Floats, kelvin: Floats, length: ArrayLike) -> Floats:
        return np.asarray(core_flux * np.asarray(length, dtype=float) / air.viscosity(kelvin))


class Core(Protocol):
    """What `air_side` asks of a core."""

    @property
    def free_share(self) -> Floats:
        """Of the face, what air can pass."""
        ...

    @property
    def hydraulic_diameter(self) -> Floats:
        """Of a channel between fins and tubes, m."""
        ...

    @property
    def surface(self) -> Floats:
        """Fins and tubes, m² per m² of face."""
        ...

    @property
    def fin_area_share(self) -> Floats:
        """Of the surface, what is fin."""
        ...

    @property
    def tube_thickness(self) -> Number:
        """Of a flat tube across the air, m."""
        ...

    @property
    def fin_thickness(self) -> Number:
        """Of a fin, m."""
        ...

    @property
    def fin_length(self) -> Number:
        """Of a fin from tube to tube, m."""
        ...

    @property
    def fin_conductivity(self) -> Number:
        """Of a fin, W/(m K)."""
        ...

    @property
    def depth(self) -> Number:
        """Along the air, m."""
        ...

    def coefficients(
        self, core_flux: Floats, kelvin: Floats
    ) -> tuple[Floats, Floats, Floats, tuple[OutsideRange, ...]]:
        """W/(m² K), Fanning's f, Reynolds number, what is outside its range."""
        ...


@dataclass(frozen=True, eq=False, kw_only=True)
class LouveredCore(_Sizes):
    """Flat tubes with louvered fins between them. louver_angle_deg: against the air."""

    louver_pitch: Number
    louver_length: Number
    louver_angle_deg: Number

    def coefficients(
        self, core_flux: Floats, kelvin: Floats
    ) -> tuple[Floats, Floats, Floats, tuple[OutsideRange, ...]]:
        """By Chang and Wang (1997) and Chang and others (2000), see `louvers.f_chang_straight`."""
        re = self._reynolds(core_flux, kelvin, self.louver_pitch)
        heat = {
            "angle_deg": self.louver_angle_deg,
            "fin_pitch": self.fin_pitch,
            "louver_pitch": self.louver_pitch,
            "fin_length": self.fin_length,
            "depth": self.depth,
            "louver_length": self.louver_length,
            "tube_pitch": self.tube_pitch,
            "fin_thickness": self.fin_thickness,
        }
        j = louvers.j_chang_wang_1997(re, **heat)
        f = louvers.f_chang_straight(
            re,
            **heat,
            tube_thickness=self.tube_thickness,
            hydraulic_diameter=self.hydraulic_diameter,
        )
        h = heat_transfer_coefficient(
            j, re, air.prandtl(kelvin), air.conductivity(kelvin), self.louver_pitch
        )
        asked = {"Reynolds_number": re, "louver_angle": heat.pop("angle_deg"), **heat}
        remarks = louvers.CHANG_WANG_1997.outside(**asked) + louvers.CHANG_2006.outside(**asked)
        return h, f, re, remarks


@dataclass(frozen=True, eq=False, kw_only=True)
class PlainCore(_Sizes):
    """Flat tubes with plain fins, as older radiators have them.

    heat_factor, friction_factor: how much more heat and drag dimples, waves or ripples give than
    smooth fins; 1 for smooth ones.
    """

    heat_factor: Number = 1.0
    friction_factor: Number = 1.0

    def coefficients(
        self, core_flux: Floats, kelvin: Floats
    ) -> tuple[Floats, Floats, Floats, tuple[OutsideRange, ...]]:
        """By theory of developing laminar flow in rectangular channels."""
        across = self.hydraulic_diameter
        re = np.maximum(self._reynolds(core_flux, kelvin, across), 1e-6)
        width = self.fin_pitch - self.fin_thickness
        height = self.fin_length - self.fin_thickness
        nusselt = plain_fins.nusselt_muzychka_yovanovich(
            re, air.prandtl(kelvin), width_m=width, height_m=height, length_m=self.depth
        )
        f = plain_fins.apparent_friction_muzychka_yovanovich(
            re, width_m=width, height_m=height, length_m=self.depth
        )
        h = np.asarray(self.heat_factor * nusselt * air.conductivity(kelvin) / across)
        remarks = plain_fins.MUZYCHKA_YOVANOVICH_2004.outside(Reynolds_number=re)
        return h, np.asarray(self.friction_factor * f), re, remarks


@dataclass(frozen=True, eq=False)
class AirSide:
    """What a core does to the air that passes it, per m² of face.

    coefficient: W/(m² K) of surface. conductance: W/(m² K) of face, fin efficiency counted in.
    drop_pa: Pa. reynolds: as the core's correlation has it. remarks: what is outside its range.
    """

    coefficient: Floats
    conductance: Floats
    drop_pa: Floats
    reynolds: Floats
    remarks: tuple[OutsideRange, ...]


def air_side(
    core: Core,
    face_flux: ArrayLike,
    inlet_k: ArrayLike,
    outlet_k: ArrayLike | None = None,
    pressure_pa: ArrayLike = air.STANDARD_PRESSURE,
) -> AirSide:
    """Heat and pressure drop of air through a core.

    face_flux: kg/(m² s) on the face, 0 or more. inlet_k, outlet_k: the air's, K; None for air that
    is not heated. Properties are the mean air's.
    """
    flux = np.asarray(face_flux, dtype=float) / core.free_share
    cold = np.asarray(inlet_k, dtype=float)
    hot = cold if outlet_k is None else np.asarray(outlet_k, dtype=float)
    h, f, re, remarks = core.coefficients(np.asarray(flux), np.asarray((cold + hot) / 2.0))
    fin = fin_efficiency(
        h,
        conductivity=core.fin_conductivity,
        thickness=core.fin_thickness,
        half_length=np.asarray(core.fin_length) / 2.0,
        depth=core.depth,
    )
    whole = 1.0 - core.fin_area_share * (1.0 - fin)
    drop = pressure_drop_kays_london(
        flux,
        f,
        free_share=core.free_share,
        length_over_radius=core.surface / core.free_share,
        density_in=air.density(cold, pressure_pa),
        density_out=air.density(hot, pressure_pa),
    )
    return AirSide(h, np.asarray(h * whole * core.surface), drop, re, remarks)
