"""A stack of condenser, radiator and fans, and the state that it stands in, as numbers or draws.

Every figure is a number or (n,) draws of it; SI. Nothing here knows a file or where a part sits:
faces are areas, gaps are openings.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from noseroom.physics.air import STANDARD_PRESSURE
from noseroom.physics.coolant import coolant
from noseroom.physics.fans import FanCurve
from noseroom.physics.fin_cores import Core, Number
from noseroom.physics.loops import Load, Loop
from noseroom.physics.ranges import Floats
from noseroom.physics.tube_side import nusselt_in_tubes

__all__ = [
    "Compression",
    "CondenserInStack",
    "CoolantSide",
    "Opening",
    "RadiatorInStack",
    "Stack",
    "StackFan",
    "StackState",
    "Zone",
]


@dataclass(frozen=True, eq=False)
class Opening:
    """Something that air can pass.

    area_m2: 0 for none. loss: on the velocity in it, as `openings.loss_of_opening`.
    """

    area_m2: Number
    loss: Number

    @property
    def closed(self) -> bool:
        """Whether no draw lets air through."""
        return bool(np.all(np.asarray(self.area_m2) <= 0.0))


@dataclass(frozen=True, eq=False, kw_only=True)
class Zone:
    """A share of the radiator's face whose air goes one way.

    covered: whether the condenser stands before it. drawn_by: the fan behind it, "" where its air
    goes freely into the engine bay. pushed_by: the fan before it, "" for none. beyond: for what of
    the condenser's face has no radiator behind it, and so is covered. blind: for a covered zone
    before which only a header stands, so that its air comes by the gap alone. rim: share of the
    gap's rim that is open to it; None for that of its area among the covered zones.
    """

    name: str
    area_m2: Number
    covered: bool = False
    drawn_by: str = ""
    pushed_by: str = ""
    beyond: bool = False
    blind: bool = False
    rim: Number | None = None

    @property
    def cooled(self) -> bool:
        """Whether the condenser's own core stands before it."""
        return self.covered and not self.blind


@dataclass(frozen=True, eq=False, kw_only=True)
class StackFan:
    """A fan with its curve, and what leaks round it.

    flow_scale, rise_scale: factors on the curve's flow and rise, for what is not known of it. leak:
    from the bay to where it draws, or from where it blows to the front. swept_m2, stopped_loss: of
    its blades' ring; bare: without a shroud, so that what leaks is from the space behind the core.
    A standing fan takes stopped_loss × ρ v²/2 on the velocity in it, and a
    turning one loses as much more beyond its curve's end.
    """

    name: str
    curve: FanCurve
    swept_m2: Number
    stopped_loss: Number
    flow_scale: Number = 1.0
    rise_scale: Number = 1.0
    leak: Opening | None = None
    bare: bool = False


@dataclass(frozen=True, eq=False, kw_only=True)
class CondenserInStack:
    """A condenser. heat_factor, drag_factor: on what its core's correlations say.

    inside: W/(K m² of face) from refrigerant to tubes, for gas, condensing, liquid.
    """

    core: Core
    inside: tuple[Number, Number, Number]
    heat_factor: Number = 1.0
    drag_factor: Number = 1.0


@dataclass(frozen=True, eq=False, kw_only=True)
class CoolantSide:
    """The coolant in a radiator's tubes.

    flow_m3_s: through the radiator. glycol: share of volume. diameter: hydraulic, of a tube's
    inside, m. passage_m2: of all tubes that it runs through side by side. wetted: m² of the tubes'
    inside per m² of face. factor: on its coefficient. laminar: Nusselt number of slow flow, as
    `nusselt_in_tubes`.
    """

    flow_m3_s: Number
    glycol: Number
    diameter: Number
    passage_m2: Number
    wetted: Number
    factor: Number = 1.0
    laminar: Number = 3.66

    @classmethod
    def in_flat_tubes(
        cls,
        core: Core,
        *,
        flow_m3_s: Number,
        glycol: Number,
        across_m: Number,
        rows: Number = 1,
        wall_m: Number,
        factor: Number = 1.0,
        laminar: Number = 5.0,
    ) -> CoolantSide:
        """In the flat tubes of a core. across_m: of its face, square to the tubes.

        rows: of tubes one behind the other. laminar: between a round tube's and parallel plates'.
        """
        pitch = core.fin_length + core.tube_thickness
        high = core.tube_thickness - 2.0 * wall_m
        deep = core.depth / rows - 2.0 * wall_m
        return cls(
            flow_m3_s=flow_m3_s,
            glycol=glycol,
            diameter=2.0 * high * deep / (high + deep),
            passage_m2=across_m / pitch * rows * high * deep,
            wetted=2.0 * rows * (high + deep) / pitch,
            factor=factor,
            laminar=laminar,
        )

    def at(self, kelvin: Floats) -> tuple[Floats, Floats]:
        """Heat capacity flow, W/K, and conductance, W/(K m² of face), at a mean temperature."""
        fluid = coolant()
        viscosity = fluid.viscosity(self.glycol, kelvin)
        specific = fluid.specific_heat(self.glycol, kelvin)
        conductivity = fluid.conductivity(self.glycol, kelvin)
        mass = self.flow_m3_s * fluid.density(self.glycol, kelvin)
        re = mass / self.passage_m2 * self.diameter / viscosity
        nusselt = nusselt_in_tubes(re, viscosity * specific / conductivity, self.laminar)
        h = nusselt * conductivity / self.diameter
        return np.asarray(mass * specific), np.asarray(self.factor * h * self.wetted)


@dataclass(frozen=True, eq=False, kw_only=True)
class RadiatorInStack:
    """A radiator. heat_factor, drag_factor: on what its core's correlations say."""

    core: Core
    coolant: CoolantSide
    heat_factor: Number = 1.0
    drag_factor: Number = 1.0


@dataclass(frozen=True, eq=False, kw_only=True)
class Stack:
    """All that air meets on its way from the grille to below the car.

    zones: of the radiator's face, and of the condenser's beyond it. rim: from the front into the
    gap behind the condenser, all round; covered zones have it by their shares of area, and a gap
    each. along: between the gaps of two covered zones, by their names. behind: from the space
    behind what no fan draws on, to the engine bay; None where that air is in the bay at once.
    beside: between the front and the engine bay, past the radiator. outlet: of the bay. condenser:
    None for none.

    Raises ValueError for zones and fans that do not fit each other.
    """

    zones: tuple[Zone, ...]
    radiator: RadiatorInStack
    grille: Opening
    outlet: Opening
    beside: Opening | None = None
    rim: Opening | None = None
    behind: Opening | None = None
    along: Mapping[tuple[str, str], Opening] = field(default_factory=dict)
    condenser: CondenserInStack | None = None
    fans: tuple[StackFan, ...] = ()

    def __post_init__(self) -> None:
        names = [one.name for one in self.zones]
        fans = [one.name for one in self.fans]
        for what, found in (("zone", names), ("fan", fans)):
            twice = sorted({name for name in found if found.count(name) > 1})
            if twice:
                raise ValueError(f"found two {what}s of the name {twice[0]!r}; expected one")
        if all(one.beyond for one in self.zones):
            raise ValueError("found no zone of the radiator's face; expected one or more")
        for one in self.zones:
            if one.beyond and not one.covered:
                raise ValueError(f"found zone {one.name!r} beyond the radiator; expected covered")
        for one in self.zones:
            if one.blind and (one.beyond or one.pushed_by or not one.covered):
                raise ValueError(f"found blind zone {one.name!r}; expected it covered, and no more")
        gaps = {one.name for one in self.zones if one.covered and not one.beyond}
        for pair in self.along:
            if len(gaps.intersection(pair)) < len(pair):
                raise ValueError(f"found a way along the gap of {pair}; expected two of {gaps}")
        used = {one.drawn_by for one in self.zones} | {one.pushed_by for one in self.zones}
        for name in sorted((used - {""}) - set(fans)):
            raise ValueError(f"found a zone with a fan {name!r}; expected one of {fans}")
        for name in sorted(set(fans) - used):
            raise ValueError(f"found fan {name!r} on no zone; expected one that it draws on")
        if (self.condenser is None) == any(one.cooled for one in self.zones):
            alone = "a covered zone" if self.condenser is None else "a condenser"
            raise ValueError(f"found {alone} without the other; expected a condenser and its zone")
        if self.grille.closed or self.outlet.closed:
            raise ValueError("found a closed grille or outlet; expected an area above 0")


@dataclass(frozen=True, eq=False, kw_only=True)
class Compression:
    """The A/C at work.

    loop: compressor, superheat, subcooling and fluid. load: W that the coil takes up by its
    temperature, K, never rising, such as `evaporators.coil_load`; or one figure for all. The coil
    stands where compressor and load agree, between evaporating_k, at which a switch keeps it from
    freezing, and warmest_k, above which an expansion valve for cars throttles (its greatest
    operating pressure; from memory). Where the compressor takes more than the load even with the
    coldest coil, the clutch takes it off for a share of the time: head pressure is then that of the
    time when it runs, and the condenser's heat into the air its mean over time. On a day that is
    colder than the warmest coil there may be no answer.
    """

    loop: Loop
    load: Load | Number
    evaporating_k: Number = 275.15
    warmest_k: Number = 288.15

    def load_at(self, coil_k: Floats) -> Floats:
        """W that the coil takes up."""
        return np.asarray(self.load(coil_k) if callable(self.load) else self.load)


@dataclass(frozen=True, eq=False, kw_only=True)
class StackState:
    """A state to ask for.

    outside_k, outside_pa, humidity: the air; 0 to 1 relative. ram_pa: ahead of the grille over the
    outside. base_pa: where the bay's air leaves, likewise. speeds: of each fan by name, over its
    curve's; 0 for one that stands. coolant_w: heat that the coolant brings. bay_w: the engine's own
    heat into the bay's air. returned: of the grille's air, the share that has been in the bay
    and comes back from below the car. compression: None with the A/C off.
    """

    outside_k: Number
    coolant_w: Number
    outside_pa: Number = STANDARD_PRESSURE
    humidity: Number = 0.0
    ram_pa: Number = 0.0
    base_pa: Number = 0.0
    speeds: Mapping[str, Number] = field(default_factory=dict)
    bay_w: Number = 0.0
    returned: Number = 0.0
    compression: Compression | None = None
