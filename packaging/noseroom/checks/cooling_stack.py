"""A front with a car's figures, as the stack that the solver takes."""

from __future__ import annotations

import numpy as np

from noseroom.checks.cooling_car import Car
from noseroom.checks.cooling_changes import Change, Front
from noseroom.checks.cooling_fans import CarFan, car_fan
from noseroom.physics.openings import (
    loss_of_opening,
    loss_of_plate_idelchik,
    loss_of_screen_idelchik,
)
from noseroom.physics.stack_parts import (
    CondenserInStack,
    CoolantSide,
    Opening,
    RadiatorInStack,
    Stack,
    Zone,
)

__all__ = ["stack_of"]

_MM, _LITRE = 1e-3, 1e-3
_MIN = 60.0


def stack_of(
    car: Car, front: Front, change: Change, engine_rpm: np.ndarray, *, stands: bool
) -> tuple[Stack, tuple[CarFan, ...]]:
    """The stack of a front, and its fans.

    engine_rpm: (n,), which turns the water pump. stands: whether the car does, so that the
    condenser's air is slower than its correlations were tested in.
    """
    fans = tuple(car_fan(car, one, front.radiator_m2) for one in front.fans)
    stack = Stack(
        zones=tuple(
            Zone(
                name=one.name,
                area_m2=one.area_m2,
                covered=one.covered,
                drawn_by=one.drawn_by,
                pushed_by=one.pushed_by,
                blind=one.masked,
                rim=one.rim_mm / max(front.edge_mm, 1e-9) if one.covered else None,
            )
            for one in front.zones
        ),
        radiator=_radiator(car, engine_rpm),
        grille=_grille(car, front),
        outlet=Opening(front.radiator_m2 * car.prior("bay outlet"), _jet(car)),
        beside=_beside(car, front, change),
        rim=_rim(car, front, change),
        along=_along(car, front),
        behind=_behind(car, front),
        condenser=_condenser(car, change, stands) if front.cover is not None else None,
        fans=tuple(one.stack for one in fans),
    )
    return stack, fans


def _jet(car: Car) -> np.ndarray:
    return np.asarray(loss_of_opening(car.prior("outlet jet")))


def _grille(car: Car, front: Front) -> Opening:
    """Bars lie somewhere between round wire and a sheet with sharp edges."""
    open_ = np.minimum(car.figure("grille.open", "grille open"), 1.0)
    round_, sharp = loss_of_screen_idelchik(open_), loss_of_plate_idelchik(open_)
    bars = round_ + np.minimum(car.prior("grille edges"), 1.0) * (sharp - round_)
    return Opening(front.grille_m2, np.asarray(1.0 + bars + car.prior("grille turn")))


def _sealed(car: Car, change: Change, what: str) -> bool:
    """Whether foam, strips or baffles close what is open round a part."""
    return what in change.seals or car.entry.words.get(f"{what}.sides") == "sealed"


def _beside(car: Car, front: Front, change: Change) -> Opening:
    if front.beside_m2 > 0:
        sealed = _sealed(car, change, "radiator")
        area = front.beside_m2 * car.prior("rim sealed" if sealed else "beside")
    else:
        area = front.radiator_m2 * car.prior("beside unseen")
    return Opening(area, float(loss_of_opening()))


def _rim(car: Car, front: Front, change: Change) -> Opening | None:
    if front.cover is None:
        return None
    share = car.prior("rim sealed" if _sealed(car, change, "condenser") else "rim open")
    return Opening(front.edge_mm * front.gap_mm * _MM**2 * share, float(loss_of_opening()))


def _along(car: Car, front: Front) -> dict[tuple[str, str], Opening]:
    """Ways along the gap, from behind one zone of the condenser to behind another."""
    loss = car.prior("along gap") if front.cover is not None else 0.0
    return {
        pair: Opening(edge * front.gap_mm * _MM**2, loss) for pair, edge in front.shared_mm.items()
    }


def _behind(car: Car, front: Front) -> Opening | None:
    """What air meets behind the core where no fan draws on it."""
    area = sum(one.area_m2 for one in front.zones if not one.drawn_by)
    return Opening(area, car.prior("behind core")) if area > 0 else None


def _radiator(car: Car, engine_rpm: np.ndarray) -> RadiatorInStack:
    core, part = car.radiator_core(), car.radiator
    across = part.core_width_mm if part.flow == "down" else part.core_height_mm
    heat, drag = car.core_factors(car.radiator_row)
    wall = car.prior("tube wall") * _MM
    return RadiatorInStack(
        core=core,
        coolant=CoolantSide.in_flat_tubes(
            core,
            flow_m3_s=car.prior("water a turn") * _LITRE * engine_rpm / _MIN,
            glycol=np.minimum(car.figure("radiator.glycol", "glycol"), 0.7),
            across_m=across * _MM,
            rows=car.tube_rows,
            wall_m=np.minimum(wall, 0.2 * core.tube_thickness),
            factor=car.prior("tube coefficient"),
        ),
        heat_factor=heat,
        drag_factor=drag,
    )


def _condenser(car: Car, change: Change, stands: bool) -> CondenserInStack:
    layers = 2 if change.second else 1
    gas, condensing, liquid = (
        layers * car.prior(f"condenser {what}") for what in ("gas", "condensing", "liquid")
    )
    heat, drag = car.heat("louver heat"), car.heat("louver friction") * car.prior("installed drag")
    if stands:
        heat, drag = heat * car.prior("slow heat"), drag * car.prior("slow drag")
    return CondenserInStack(
        core=car.condenser_core(layers),
        inside=(gas, condensing, liquid),
        heat_factor=heat,
        drag_factor=drag,
    )
