"""Where belts and hoses run, from the placed parts that they are tied to.

A run is given in the frame of the first thing that it is tied to, mm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError
from noseroom.parts.base import Part, Port

Floats = NDArray[np.float64]

_BELT_FEATURES = ("belt", "middle")
_STEPS = 14


def belt_feature(part: Part) -> str:
    """The name of the circle that a belt lies on. Raises GeometryError where a part has none."""
    features = part.features()
    name = next((one for one in _BELT_FEATURES if one in features), "")
    if not name or float(np.real(features[name].radius)) <= 0:
        raise GeometryError(f"a {part.about.name} has no pulley for a belt to lie on")
    return name


def belt_circles(
    pulleys: Sequence[tuple[Part, Floats]], back: Sequence[bool] = (), proud_mm: float = 0.0
) -> tuple[tuple[float, float, float], ...]:
    """Circles (y, z, radius) of a belt's effective line, in the first pulley's belt plane.

    pulleys: parts with their poses (4, 4), in order round the belt. Each has a feature "belt" or
    "middle" with the radius that the belt lies on. back: on which of them it runs with its back,
    which stands out of that line by proud_mm. Raises GeometryError where a part has no pulley.
    """
    first = np.linalg.inv(pulleys[0][1])
    circles: list[tuple[float, float, float]] = []
    for k, (part, pose) in enumerate(pulleys):
        lies_on = part.features()[belt_feature(part)]
        centre = np.append(np.asarray(lies_on.point, dtype=float), 1.0)
        _, y, z, _ = first @ pose @ centre
        out = proud_mm if k < len(back) and back[k] else 0.0
        circles.append((float(y), float(z), float(np.real(lies_on.radius)) + out))
    return tuple(circles)


def belt_lead_mm(pulleys: Sequence[tuple[Part, Floats]]) -> float:
    """How far at most the belt on its pulleys leaves the plane that it is drawn in, mm.

    That plane is x = 0 of the first pulley; the belt circles of the others may stand before or
    behind it, or lean out of it. pulleys: as for `belt_circles`. A free span lies between its ends.
    """
    back = np.linalg.inv(pulleys[0][1])
    most = 0.0
    for part, pose in pulleys:
        lies_on = part.features()[belt_feature(part)]
        there = back @ pose
        centre = there @ np.append(np.asarray(lies_on.point, dtype=float), 1.0)
        lean = float(np.hypot(there[1, 0], there[2, 0]))
        radius = float(np.real(lies_on.radius))
        most = max(most, abs(float(centre[0])) + lean * radius)
    return most


def hose_run(
    ports: Sequence[Port], stub_mm: float, pose: Floats
) -> tuple[tuple[float, float, float], ...]:
    """Points of a hose's centre line in the frame of a pose (4, 4).

    ports: one or two, in the vehicle frame. With one the hose is a straight stub; with two it
    leaves each along its direction and bends between them (a cubic whose end tangents are as long
    as the gap). This is a likely path to keep room for, not a route that has been checked.
    """
    start = ports[0]
    if len(ports) == 1:
        line = np.array([start.point, start.point + stub_mm * start.direction])
    else:
        end = ports[1]
        reach = float(np.linalg.norm(end.point - start.point))
        t = np.linspace(0.0, 1.0, _STEPS)[:, None]
        line = (
            (2 * t**3 - 3 * t**2 + 1) * start.point
            + (t**3 - 2 * t**2 + t) * reach * start.direction
            + (-2 * t**3 + 3 * t**2) * end.point
            - (t**3 - t**2) * reach * end.direction
        )
    back = np.linalg.inv(pose)
    local = line @ back[:3, :3].T + back[:3, 3]
    if not math.isfinite(float(local.sum())):
        raise GeometryError("a hose's ends are not at finite places")
    return tuple((float(x), float(y), float(z)) for x, y, z in local)
