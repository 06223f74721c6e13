"""Features: what a tape can touch, as local geometry that follows a part's sizes.

A feature is computed from sizes that may be floats, complex numbers (for exact derivatives by
complex step) or arrays of either with any leading shape `(...)`: a whole batch of states in one
call. So nothing here may use `abs`, `min`, norms of complex vectors or comparisons.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from noseroom.envelope.kinds import FeatureShape
from noseroom.errors import SurveyError

Scalar = Any
"""A size: float, complex, or an array of either with leading shape (...)."""

Vectors = NDArray[Any]
"""Points or directions, (..., 3)."""

_EMPTY: Mapping[str, Vectors] = MappingProxyType({})
_OPPOSITE = {"bottom": "top", "left": "right", "front": "rear"}


def vector(x: Scalar, y: Scalar, z: Scalar) -> Vectors:
    """Stack three sizes into points, (..., 3), mm."""
    # By far the most called function of an adjustment, and mostly with plain numbers.
    shapes = {one.shape for one in (x, y, z) if isinstance(one, np.ndarray)}
    if not shapes:
        plain = np.array((x, y, z))
        return plain.astype(np.float64) if plain.dtype.kind in "iu" else plain
    shape = shapes.pop() if len(shapes) == 1 else np.broadcast_shapes(*shapes)
    made = np.empty((*shape, 3), dtype=np.result_type(x, y, z, np.float64))
    made[..., 0], made[..., 1], made[..., 2] = x, y, z
    return made


@dataclass(frozen=True, eq=False)
class Feature:
    """One touchable feature in its part's local frame.

    shape: what it is. point: (..., 3) mm, its reference point (the middle of a face, a point on an
    axis, the centre of a circle). direction: (..., 3) unit, outward normal of a face, or along an
    axis. radius: mm, of a circle or cylinder. reach: half-extents, (..., 3) mm each, from the
    reference point to the spots "top", "right" and "rear"; the opposite spots are mirrored.
    """

    shape: FeatureShape
    point: Vectors
    direction: Vectors
    radius: Scalar = 0.0
    reach: Mapping[str, Vectors] = field(default_factory=lambda: _EMPTY)

    def at(self, spot: str) -> Vectors:
        """The point of a spot, (..., 3) mm: "", "top left", "12 o'clock", ...

        Clock positions go round a circle that faces fore or aft, as seen from the front of the car
        looking aft, 12 up: 3 o'clock is on the car's left.
        """
        if not spot:
            return self.point
        if spot.endswith("o'clock"):
            angle = math.radians(30.0 * float(spot.split()[0]))
            way = np.array([0.0, -math.sin(angle), math.cos(angle)])
            return np.asarray(self.point + np.asarray(self.radius)[..., None] * way)
        point = self.point
        for word in spot.split():
            if word in self.reach:
                point = point + self.reach[word]
            elif _OPPOSITE.get(word) in self.reach:
                point = point - self.reach[_OPPOSITE[word]]
            else:
                raise SurveyError(f"there is no spot {word!r} on this feature")
        return point


def face(
    point: Vectors,
    direction: tuple[float, float, float] | Vectors,
    *,
    top: Vectors | None = None,
    right: Vectors | None = None,
    rear: Vectors | None = None,
) -> Feature:
    """A flat face by its middle, outward normal and half-extents; absent extents have no spots."""
    named = {"top": top, "right": right, "rear": rear}
    reach = {name: value for name, value in named.items() if value is not None}
    return Feature("face", point, np.asarray(direction), reach=reach)


def edge(point: Vectors, direction: tuple[float, float, float] | Vectors) -> Feature:
    """A straight edge through a point."""
    return Feature("edge", point, np.asarray(direction))


def axis(point: Vectors, direction: tuple[float, float, float] | Vectors) -> Feature:
    """A straight axis through a point, along a unit direction."""
    return Feature("axis", point, np.asarray(direction))


def circle(
    point: Vectors, radius: Scalar, direction: tuple[float, float, float] | Vectors = (1, 0, 0)
) -> Feature:
    """A circular edge: centre, radius, unit normal."""
    return Feature("circle", point, np.asarray(direction, dtype=float), radius=radius)


def cylinder(
    point: Vectors, radius: Scalar, direction: tuple[float, float, float] | Vectors = (1, 0, 0)
) -> Feature:
    """A round body whose flank is touched: a point on its axis, radius, unit axis direction."""
    return Feature("cylinder", point, np.asarray(direction, dtype=float), radius=radius)


def box_faces(
    low: tuple[Scalar, Scalar, Scalar], high: tuple[Scalar, Scalar, Scalar], prefix: str = ""
) -> dict[str, Feature]:
    """The six faces of a box and its middle, named front, rear, left, right, bottom, top, middle.

    With a prefix such as "core." the middle is also the feature "core" itself, the way a builder
    says it: "core centred in core support.opening".
    """
    ends = low, high
    named: dict[str, Feature] = {
        f"{prefix}{name}": _OfBox("face", ends, axis_number, end)
        for name, (axis_number, end) in _BOX_FACES.items()
    }
    return named | {prefix.rstrip(".") or "middle": _OfBox("point", ends, None, 0)}


_BOX_FACES = {
    "front": (0, 0),
    "rear": (0, 1),
    "left": (1, 0),
    "right": (1, 1),
    "bottom": (2, 0),
    "top": (2, 1),
}
_AXES = np.eye(3)
_SPOTS = ("rear", "right", "top")


class _OfBox(Feature):
    """A face of a box, or its middle, whose places are worked out when they are asked for.

    A nose has hundreds of them, a builder measures from a dozen, and an adjustment asks for all
    again and again.
    """

    def __init__(
        self,
        shape: FeatureShape,
        ends: tuple[tuple[Scalar, Scalar, Scalar], tuple[Scalar, Scalar, Scalar]],
        axis_number: int | None,
        end: int,
    ) -> None:
        vars(self).update(shape=shape, radius=0.0, _ends=ends, _axis=axis_number, _end=end)
        way = _AXES[0] if axis_number is None else (2 * end - 1) * _AXES[axis_number]
        vars(self)["direction"] = way

    def __getattr__(self, name: str) -> Any:
        if name == "point":
            made: Any = self._point()
        elif name == "reach":
            made = self._reach()
        else:
            raise AttributeError(name)
        vars(self)[name] = made
        return made

    def _point(self) -> Vectors:
        low, high = vars(self)["_ends"]
        middle = [(a + b) / 2 for a, b in zip(low, high, strict=True)]
        number = vars(self)["_axis"]
        if number is not None:
            middle[number] = (low, high)[vars(self)["_end"]][number]
        return vector(*middle)

    def _reach(self) -> Mapping[str, Vectors]:
        low, high = vars(self)["_ends"]
        found = {}
        for number in (2, 1, 0):
            if number != vars(self)["_axis"]:
                half: list[Scalar] = [0.0, 0.0, 0.0]
                half[number] = (high[number] - low[number]) / 2
                found[_SPOTS[number]] = vector(*half)
        return found
