"""A belt drive as the adjustment leaves it: circles that the belt lies on, and how they move.

Everything is linear in the sources, exactly as the gaps of the other checks are: how far one pulley
stands out beyond the others in some direction, and how far a free span runs out of a pulley's
plane. What the linear forms leave is added from the bends. Of a belt that also runs on pulleys with
its back, the wraps are linear themselves (`drive_forms`).
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.bends import Bends
from noseroom.errors import GeometryError
from noseroom.layout import Layout, PlacedPart
from noseroom.parts.belt_path import BeltPath, belt_path
from noseroom.parts.runs import belt_feature
from noseroom.survey.solution import Placement

Floats = NDArray[np.float64]

_STEP = 1e-30
_STEPS_ROUND = 3600
_NULL_MM = 1e-6


@dataclass(frozen=True, eq=False)
class Circle:
    """One pulley's belt circle in the vehicle frame.

    centre: (3,) mm. axis: (3,) unit, pointing aft. radius_mm: of the belt's effective line on it.
    centre_moves: (3, s) mm, radius_moves: (s,) mm and turn: (3, s) rad per unit of each source.
    sense: -1 where the belt runs on it with its back, which stands out_mm beyond that line.
    """

    part: PlacedPart
    centre: Floats
    axis: Floats
    radius_mm: float
    centre_moves: Floats
    radius_moves: Floats
    sense: float = 1.0
    out_mm: float = 0.0

    @property
    def metal_mm(self) -> float:
        """Its outside radius."""
        return self.radius_mm - (self.out_mm if self.sense < 0 else 0.0)

    @property
    def placement(self) -> Placement:
        """Its pulley's own."""
        return self.part.placements[0]

    @property
    def turn(self) -> Floats:
        """(3, s) rad."""
        return self.placement.turn_gain

    def rigid(self, point: Floats, *, null: bool = False) -> Floats:
        """How a point (3,) that its part carries moves: (3, s) mm, or (3, q) along the unfixed."""
        one = self.placement
        shift, turn = (one.shift_null, one.turn_null) if null else (one.shift_gain, one.turn_gain)
        arm = (point - one.pose.shift)[:, None]
        return np.asarray(shift + np.cross(turn, arm, axis=0))


@dataclass(frozen=True, eq=False)
class Wrap:
    """The angle of a pulley that the belt lies on, deg: as adjusted, and the least and most.

    least: what is surely wrapped; most: 0 where the belt surely misses it. passes_mm: as adjusted,
    how far the belt passes a pulley that it misses; below zero: how far the pulley stands out
    beyond the belt of the others. form: (s,) mm of that per unit of each source.
    """

    pulley: str
    nominal_deg: float
    least_deg: float
    most_deg: float
    passes_mm: float
    form: Floats


@dataclass(frozen=True, eq=False)
class Lean:
    """How far a free span runs out of one pulley's plane: deg, its spread, and the offset in mm.

    offset_mm: of the far pulley's belt from the plane of `pulley`, aft being positive. span_mm:
    the span's length. form: (s,) deg per unit of each source. points: the span's ends, (2, 3) mm.
    """

    pulley: str
    other: str
    angle_deg: float
    spread_deg: float
    offset_mm: float
    span_mm: float
    known: bool
    form: Floats
    points: Floats


class Drive:
    """One belt's pulleys, each once, in the order of the run."""

    def __init__(self, layout: Layout, bends: Bends, belt: PlacedPart) -> None:
        self.layout, self.bends, self.belt = layout, bends, belt
        names = dict.fromkeys(belt.ties)
        behind = belt.entry.references.get("back on", ())
        self.back = tuple(name in behind for name in names)
        self.proud_mm = belt.entry.sizes["proud"].value
        self.circles = tuple(
            circle_of(layout.parts[name], self.proud_mm if back else None)
            for name, back in zip(names, self.back, strict=True)
        )

    @property
    def frame(self) -> Floats:
        """(3, 3): the first pulley's axes; x along the crank, y and z in the belt's plane."""
        return self.circles[0].part.pose[:3, :3]

    def run(self, moved: Mapping[str, Floats] | None = None) -> Floats:
        """(n, 3) mm: (y, z, r) of each pulley in the belt's plane.

        moved: shifts (3,) mm in the vehicle frame to try, by pulley.
        """
        shifts = moved or {}
        rows = []
        for one in self.circles:
            at = one.centre - self.circles[0].part.pose[:3, 3] + shifts.get(one.part.name, 0.0)
            _, y, z = self.frame.T @ at
            rows.append((y, z, one.radius_mm))
        return np.array(rows)

    def path(self, moved: Mapping[str, Floats] | None = None) -> BeltPath:
        """The belt over its pulleys; see `run`."""
        return belt_path(self.run(moved), self.back if any(self.back) else ())

    def wraps_deg(self, moved: Mapping[str, Floats] | None = None) -> list[float]:
        """The angle that the belt lies on each pulley, as adjusted, deg."""
        found = [0.0] * len(self.circles)
        for arc in self.path(moved).arcs:
            found[arc.pulley] += math.degrees(arc.wrap)
        return found

    def wraps(self) -> tuple[Wrap, ...] | None:
        """The wrap of every pulley; None where nothing fixes how the pulleys stand.

        In some direction square to the shafts a pulley touches the belt when it reaches further
        than every other one does. Each such difference is linear in the sources, so that directions
        in which it surely does, and those in which it may, are told one by one.
        """
        found = self.centre_forms
        if found is None:
            return None
        if any(self.back):
            from noseroom.checks.drive_forms import wraps_in_turn

            return wraps_in_turn(self)
        return self._wraps(*found)

    @cached_property
    def centre_forms(self) -> tuple[Floats, Floats] | None:
        """How the centres move in the belt's plane; None where nothing fixes them there.

        (n, 2, s) mm per unit of each source, as seen from the first pulley, and (n,) mm how far
        each strays beyond that.
        """
        first = self.circles[0]
        forms, strays = [], []
        for one in self.circles:
            loose = self.frame.T @ (
                one.rigid(one.centre, null=True) - first.rigid(one.centre, null=True)
            )
            if loose.size and float(np.abs(loose[1:]).max()) > _NULL_MM:
                return None
            forms.append(self.frame.T @ (one.centre_moves - first.rigid(one.centre)))
            bend = self.bends.most_mm(first.part.name, one.part.name, one.centre[None])
            strays.append(float(np.sqrt(bend @ bend)))
        return np.array(forms)[:, 1:], np.array(strays)

    def _wraps(self, forms: Floats, strays: Floats) -> tuple[Wrap, ...]:
        sure, run, count = self.layout.uncertainty, self.run(), len(self.circles)
        step = math.tau / _STEPS_ROUND
        angles = (np.arange(_STEPS_ROUND) + 0.5) * step
        ways = np.stack([np.cos(angles), np.sin(angles)], axis=-1)
        ahead = np.full((count, count, _STEPS_ROUND), np.inf)
        loose = np.zeros((count, count, _STEPS_ROUND))
        radii = np.array([one.radius_moves for one in self.circles])
        moving = np.abs(forms).max(axis=(0, 1)) + np.abs(radii).max(axis=0)
        felt = np.flatnonzero(moving)
        some, forms, radii = sure.only(felt), forms[..., felt], radii[:, felt]
        for k in range(count):
            for j in range(k):
                ahead[k, j] = ways @ (run[k, :2] - run[j, :2]) + run[k, 2] - run[j, 2]
                ahead[j, k] = -ahead[k, j]
                spread = some.spread(ways @ (forms[k] - forms[j]) + radii[k] - radii[j])
                # Between two directions that are looked at it changes by no more than this.
                between = math.dist(run[k, :2], run[j, :2]) * step / 2
                loose[k, j] = loose[j, k] = spread + strays[k] + strays[j] + between
        degrees, nominal = 360.0 / _STEPS_ROUND, self.wraps_deg()
        found = []
        for k, one in enumerate(self.circles):
            at = int(ahead[k].min(axis=0).argmax())
            j = int(ahead[k, :, at].argmin())
            form = np.zeros(len(self.layout.survey.sources))
            form[felt] = -(ways[at] @ (forms[k] - forms[j]) + radii[k] - radii[j])
            found.append(
                Wrap(
                    one.part.name,
                    nominal[k],
                    float(((ahead[k] - loose[k]).min(axis=0) > 0).sum()) * degrees,
                    float(((ahead[k] + loose[k]).min(axis=0) > 0).sum()) * degrees,
                    -float(ahead[k, j, at]),
                    form,
                )
            )
        return tuple(found)

    def leans(self) -> tuple[Lean, ...]:
        """How far each free span runs out of the plane of the pulley at either end."""
        found = []
        for span in self.path().spans:
            near, far = (self.circles[k] for k in span.pulleys)
            out = self.frame @ [0.0, math.cos(span.outward), math.sin(span.outward)]
            found += [self._lean(near, far, out), self._lean(far, near, out)]
        return tuple(found)

    def _lean(self, one: Circle, other: Circle, out: Floats) -> Lean:
        """The span between two pulleys against the plane of the first."""
        here, there = _rim(one, out), _rim(other, out)
        line = there - here
        span = float(np.sqrt(line @ line))
        offset = float(line @ one.axis)
        moves = _rim_moves(other, there) - _rim_moves(one, here)
        turned = np.cross(one.turn, one.axis[:, None], axis=0)
        form = (one.axis @ moves + line @ turned) / span
        loose = one.axis @ (other.rigid(there, null=True) - one.rigid(there, null=True))
        bend = self.bends.most_mm(one.part.name, other.part.name, there[None])
        spread = float(self.layout.uncertainty.spread(form)) + float(np.sqrt(bend @ bend)) / span
        return Lean(
            one.part.name,
            other.part.name,
            math.degrees(math.asin(max(-1.0, min(1.0, offset / span)))),
            math.degrees(spread),
            offset,
            span,
            not loose.size or float(np.abs(loose).max()) <= _NULL_MM,
            np.degrees(form),
            np.array([here, there]),
        )


def circle_of(part: PlacedPart, back_mm: float | None = None) -> Circle:
    """The belt circle of a placed pulley. Raises GeometryError where it has none.

    back_mm: how far the belt's back stands out of its effective line, where it runs on that.
    """
    name = belt_feature(part.part)
    centre, axis, moves = part.touch_point(name)
    placement = part.placements[0]
    radius_moves = np.zeros(moves.shape[1])
    for attribute, size in part.part.sizes().items():
        if size.key not in placement.size_gain:
            continue
        value = getattr(part.part, attribute) + 1j * _STEP
        moved = dataclasses.replace(part.part, **{attribute: value}).features()[name]
        radius_moves += float(np.imag(moved.radius)) / _STEP * placement.size_gain[size.key]
    radius = float(np.real(part.part.features()[name].radius))
    if not np.isfinite(centre).all():
        raise GeometryError(f"the {part.name} is not at a finite place")
    aft = axis if axis[0] >= 0 else -axis
    if back_mm is None:
        return Circle(part, centre, aft, radius, moves, radius_moves)
    return Circle(part, centre, aft, radius + back_mm, moves, radius_moves, -1.0, back_mm)


def _rim(one: Circle, out: Floats) -> Floats:
    """Where a span that has the outside in a direction touches a pulley's belt circle, (3,) mm."""
    within = out - (out @ one.axis) * one.axis
    reach = one.sense * one.radius_mm / float(np.sqrt(within @ within))
    return np.asarray(one.centre + reach * within)


def _rim_moves(one: Circle, point: Floats) -> Floats:
    """How that point moves, (3, s) mm; along the axis the radius does not count."""
    return np.asarray(one.centre_moves + np.cross(one.turn, (point - one.centre)[:, None], axis=0))
