"""The check of a bracket by finite elements: asked for by hand, never on the way to a verdict."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.bracket_strength import Strength
from noseroom.checks.strength_frame import NO_CHANGE
from noseroom.errors import GeometryError
from noseroom.geometry.sheet import folded_places
from noseroom.geometry.strip_lines import Spot, way_between
from noseroom.geometry.strip_mesh import StripMesh, strip_mesh
from noseroom.physics.frames import lowest_hz, peak_stress
from noseroom.physics.solids import Held, SolidBlock

Bools = NDArray[np.bool_]
_BRICKS_ACROSS = 6
_LEAST_BRICK_MM = 1.5
_AWAY = 0.5
"""So many widths from a washer's rim nothing is left of how the bolt holds (Saint-Venant)."""


@dataclass(frozen=True)
class ElementsCheck:
    """What finite elements say of a bracket, beside the formula.

    hz, formula_hz: first natural frequency. nominal_mpa: highest stress for the same load, in the
    worst direction, away from bolts and bends; None where nothing of the bracket is. bend_mpa: in
    bends. bolt_mpa: near bolts; it depends on how fine the bricks are. formula_mpa: the formula's
    highest. bricks: how many.
    """

    hz: float
    formula_hz: float
    nominal_mpa: float | None
    bend_mpa: float | None
    bolt_mpa: float
    formula_mpa: float
    bricks: int

    @property
    def formula_is_safe(self) -> bool:
        """Whether the formula has the lower frequency, and the more stress clear of bolts."""
        stresses = [one for one in (self.nominal_mpa, self.bend_mpa) if one is not None]
        return self.formula_hz <= self.hz and self.formula_mpa >= max(stresses, default=0.0)

    def sentence(self) -> str:
        """Both results in words."""
        parts = []
        if self.nominal_mpa is not None:
            parts.append(f"{self.nominal_mpa:.0f} MPa away from bolts and bends")
        if self.bend_mpa is not None:
            parts.append(f"{self.bend_mpa:.0f} MPa in bends")
        parts.append(f"about {self.bolt_mpa:.0f} MPa at a washer's rim")
        side = (
            "The formula is on the safe side"
            if self.formula_is_safe
            else "The formula is not on the safe side here: go by the finite elements"
        )
        return (
            f"Finite elements ({self.bricks} bricks) under the same load: {', '.join(parts)}, "
            f"where the formula has {self.formula_mpa:.0f} MPa at most; first natural frequency "
            f"{self.hz:.1f} Hz, by formula {self.formula_hz:.1f} Hz. {side}."
        )


def elements_check(
    strength: Strength,
    *,
    brick_mm: float | None = None,
    layers: int = 1,
    progress: Callable[[str], None] | None = None,
) -> ElementsCheck:
    """Compute a bracket by bricks of 27 nodes, loaded with the shock that it was summed up for.

    brick_mm: about how long and wide; None: six across the strip. layers: of bricks through the
    thickness. Washers are stiff, holes below them filled, and all bolts count that the formula
    counts; what hangs on it is a point. Takes some tenths of a second to some seconds.
    Raises MissingLibraryError without scikit-fem, GeometryError where the bolts are not along one
    strip.
    """
    tell = progress if progress is not None else _nothing
    strip = strength.strip
    spots = _in_line(strength)
    narrow = min(leg.wide_mm for leg in strip.lines.legs)
    size = brick_mm if brick_mm is not None else max(narrow / _BRICKS_ACROSS, _LEAST_BRICK_MM)
    tell("bricks")
    mesh = strip_mesh(strip.blank, spots, size, layers)
    metal = strip.metal
    block = SolidBlock(mesh.nodes, metal.e_mpa, metal.poisson, metal.density_kg_m3)
    standing = block.stand(_held(strength, mesh, spots), strip.spring())
    tell("stress")
    moved, _ = standing.unit_loads()
    _, frame = strip.changed(NO_CHANGE)
    node, arm, mass = strip.lines.carried, strength.carried.arm_mm, strength.carried.share_kg
    shock = strength.sum.shock
    force = shock.stress_mpa / peak_stress(frame, node, 1.0, arm).mpa
    mpa = force * block.surface(moved).mpa
    tell("natural frequency")
    hz = standing.lowest_hz(mass)
    near, bend = _near_bolts(mesh, spots), (mesh.flanges[1::2] < 0)[:, None]
    away = ~near & ~bend
    return ElementsCheck(
        hz=hz,
        formula_hz=lowest_hz(frame, node, mass, arm),
        nominal_mpa=_highest(mpa, away),
        bend_mpa=_highest(mpa, ~near & bend),
        bolt_mpa=_highest(mpa, near) or 0.0,
        formula_mpa=shock.stress_mpa,
        bricks=int(np.prod(block.bricks)),
    )


def _nothing(_: str) -> None:
    """Tell nobody."""


def _in_line(strength: Strength) -> list[Spot]:
    """The bolts that count, in the order in which one meets them along the strip."""
    strip = strength.strip
    fixed = strip.lines.counted
    if len(fixed) == 1:
        return [fixed[0], strip.carried]
    if len(fixed) == 2:
        first, last = fixed
        way = way_between(strip.blank, first.flange, last.flange)
        passed = {first.flange, last.flange}
        passed |= {number for bend, _ in way for number in (bend.parent, bend.child)}
        if strip.carried.flange in passed:
            return [first, strip.carried, last]
    raise GeometryError("the bolts of this bracket are not along one strip")


def _held(strength: Strength, mesh: StripMesh, spots: Sequence[Spot]) -> Held:
    strip = strength.strip
    deep = mesh.nodes.shape[2]

    def through(flat: Bools) -> Bools:
        return np.repeat(flat[:, :, None], deep, axis=2)

    clamped = np.zeros(mesh.flat.shape[:2], dtype=bool)
    for spot in spots:
        if spot is not strip.carried:
            clamped |= mesh.below(spot)
    place = folded_places(strip.blank)[strip.carried.flange]
    middle = (place @ [*strip.carried.at, strip.blank.thickness_mm / 2.0, 1.0])[:3]
    at = middle + np.array(strength.carried.arm_mm)
    return Held(through(clamped), through(mesh.below(strip.carried)), at)


def _near_bolts(mesh: StripMesh, spots: Sequence[Spot]) -> Bools:
    """Bricks whose middles are near a bolt."""
    middles, flanges = mesh.flat[1::2, 1::2], mesh.flanges[1::2]
    wide = np.linalg.norm(mesh.flat[1::2, -1] - mesh.flat[1::2, 0], axis=1)
    near = np.zeros(middles.shape[:2], dtype=bool)
    for spot in spots:
        off = np.linalg.norm(middles - np.array(spot.at), axis=2)
        reach = spot.washer_mm / 2.0 + _AWAY * wide
        near |= (off <= reach[:, None]) & (flanges == spot.flange)[:, None]
    return near


def _highest(mpa: NDArray[np.float64], where: Bools) -> float | None:
    found = mpa[np.broadcast_to(where, mpa.shape[:2])]
    return float(found.max()) if found.size else None
