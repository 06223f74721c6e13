"""The body's parts worked by hand: volume and bounding box of each component.

Boxes, cylinders and what they have in common, by school geometry (common knowledge): the area of
a strip inside a circle, of two circles that overlap. The CAD kernel has no part in any number.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from noseroom.parts.base import Part
from noseroom.parts.bracket import Bracket
from noseroom.parts.condenser import Condenser
from noseroom.parts.core_support import CoreSupport
from noseroom.parts.drier import Drier
from noseroom.parts.electric_fan import ElectricFan
from noseroom.parts.front_end import BumperBar, Grille, HoodLatch
from noseroom.parts.obstacles import Box, Cylinder
from noseroom.parts.radiator import Radiator
from noseroom.parts.shroud import Shroud
from part_checks import Expected, around, boxes_volume, of_boxes, of_cylinder

# -- areas by hand -------------------------------------------------------------------------------


def strip_in_circle(width: float, radius: float) -> float:
    """Half of what a straight strip through the middle of a circle covers of it, mm²."""
    half = width / 2
    return half * math.sqrt(radius**2 - half**2) + radius**2 * math.asin(half / radius)


def two_circles(radius: float, apart: float) -> float:
    """What two circles of one radius cover together, mm²."""
    whole = 2 * math.pi * radius**2
    if apart >= 2 * radius:
        return whole
    lens = 2 * radius**2 * math.acos(apart / (2 * radius))
    return whole - lens + apart / 2 * math.sqrt(4 * radius**2 - apart**2)


def two_cylinders(
    ends: list[list[float]], along: int, length: float, radius: float, apart: float
) -> Expected:
    """Two cylinders side by side; `ends` are the lower ends of their axes."""
    low = np.min(ends, axis=0) - radius
    high = np.max(ends, axis=0) + radius
    low[along], high[along] = ends[0][along], ends[0][along] + length
    return Expected(two_circles(radius, apart) * length, list(low), list(high))


# -- one hand formula a part ---------------------------------------------------------------------


def of_core_support(p: CoreSupport) -> dict[str, Expected]:
    out = p.opening_width_mm / 2 + p.side_width_mm
    w, h = p.opening_width_mm / 2, p.opening_height_mm
    top = h + p.upper_height_mm
    rails = [
        ((-p.upper_depth_mm - p.bow_mm, -out, h), (p.bow_mm, out, top)),
        ((-p.lower_depth_mm, -out, -p.lower_height_mm), (0, out, 0)),
    ]
    t = p.thickness_mm
    found = {
        "rails": of_boxes(rails),
        "sides": Expected(2 * t * h * p.side_width_mm, (-t, -out, 0), (0, out, h)),
    }
    assert w < out
    if p.brace == "vertical":
        rear, half = -p.brace_ahead_mm, p.brace_width_mm / 2
        found["brace"] = of_boxes(
            [((rear - p.brace_depth_mm, -half, -p.lower_height_mm), (rear, half, top))]
        )
    return found


def of_condenser(p: Condenser) -> dict[str, Expected]:
    w, h, t = p.core_width_mm / 2, p.core_height_mm / 2, p.core_thickness_mm
    round_ = p.headers == "round"
    wide = p.header_diameter_mm if round_ else p.header_width_mm
    deep = p.header_diameter_mm if round_ else p.header_depth_mm
    section = math.pi / 4 * wide**2 if round_ else wide * deep
    sign = 1 if p.side == "right" else -1
    y, upper = sign * (w + wide / 2), h - p.port_from_top_mm
    lower = upper - p.port_spacing_mm
    x = t / 2
    # Ports run from the header's axis; the elbows' room runs on from their ends.
    if p.way == "out":
        along, reach, forwards = 1, wide / 2 + p.port_length_mm, sign > 0
    else:
        along, reach, forwards = 0, deep / 2 + p.port_length_mm, p.way == "aft"
    starts = [[x, y, upper], [x, y, lower]]
    elbows = [[*one] for one in starts]
    for one in elbows:
        one[along] += reach if forwards else -reach - p.elbow_length_mm
    if not forwards:
        for one in starts:
            one[along] -= reach
    tip = w + wide + p.tab_width_mm
    near, far = h - p.tab_from_end_mm, h - p.tab_from_end_mm - p.tab_height_mm
    tabs = [
        ((x - p.tab_thickness_mm / 2, a, c), (x + p.tab_thickness_mm / 2, b, d))
        for a, b in ((-tip, -w - wide / 2), (w + wide / 2, tip))
        for c, d in ((far, near), (-near, -far))
    ]
    return {
        "core": of_boxes([((0, -w, -h), (t, w, h))]),
        "headers": Expected(
            2 * section * 2 * h, (x - deep / 2, -w - wide, -h), (x + deep / 2, w + wide, h)
        ),
        "ports": two_cylinders(starts, along, reach, p.port_diameter_mm / 2, p.port_spacing_mm),
        "elbow room": two_cylinders(
            elbows, along, p.elbow_length_mm, p.elbow_diameter_mm / 2, p.port_spacing_mm
        ),
        "tabs": of_boxes(tabs, less_mm3=math.pi * p.tab_hole_mm**2 * p.tab_thickness_mm),
    }


def of_drier(p: Drier) -> dict[str, Expected]:
    r, half, top = p.diameter_mm / 2, p.port_spacing_mm / 2, p.height_mm
    feet = [[0.0, -half, top], [0.0, half, top]]
    ends = [[x, y, z + p.port_length_mm] for x, y, z in feet]
    found = {
        "body": of_cylinder((0, 0, 0), 2, top, r),
        "ports": two_cylinders(feet, 2, p.port_length_mm, p.port_diameter_mm / 2, 2 * half),
        "elbow room": two_cylinders(ends, 2, p.elbow_length_mm, p.elbow_diameter_mm / 2, 2 * half),
    }
    if p.clamp == "yes":
        outer, thick = r + p.clamp_thickness_mm, p.lug_thickness_mm
        band = math.pi * (outer**2 - r**2)
        # The lug's strip from the middle to its tip, less what of it lies within the band.
        lug = thick * (outer + p.lug_length_mm) - strip_in_circle(thick, outer)
        hole = math.pi / 4 * p.lug_hole_mm**2 * thick
        low, high = np.array([-outer, -outer]), np.array([outer, outer])
        axis, up = {"aft": (0, 1), "ahead": (0, 0), "right": (1, 1), "left": (1, 0)}[p.lug]
        if up:
            high[axis] += p.lug_length_mm
        else:
            low[axis] -= p.lug_length_mm
        found["clamp"] = Expected(
            (band + lug) * p.clamp_height_mm - hole,
            (*low, p.clamp_up_mm),
            (*high, p.clamp_up_mm + p.clamp_height_mm),
        )
    return found


def of_shroud(p: Shroud) -> dict[str, Expected]:
    r, t = p.diameter_mm / 2, p.wall_mm
    x = p.depth_mm if p.form == "box" else 0.0
    w = (p.diameter_mm + p.left_mm + p.right_mm) / 2
    h = (p.diameter_mm + p.top_mm + p.bottom_mm) / 2
    y = -w + p.left_mm + r if p.form == "box" else 0.0
    z = -h + p.bottom_mm + r if p.form == "box" else 0.0
    outer = r + t
    found = {
        "ring": Expected(
            math.pi * (outer**2 - r**2) * p.ring_depth_mm,
            (x, y - outer, z - outer),
            (x + p.ring_depth_mm, y + outer, z + outer),
        )
    }
    if p.form == "box":
        shell = boxes_volume(
            [((0, -w, -h), (x, w, h))], without=[((0, t - w, t - h), (x - t, w - t, h - t))]
        )
        found["box"] = Expected(shell - math.pi * r**2 * t, (0, -w, -h), (x, w, h))
    return found


def of_electric_fan(p: ElectricFan) -> dict[str, Expected]:
    inner = p.diameter_mm / 2 + p.tip_gap_mm
    outer, motor, tip = inner + p.ring_mm, p.motor_diameter_mm / 2, p.diameter_mm / 2
    twin = p.number == "twin"
    off = outer + p.between_mm / 2 if twin else 0.0
    count = 2 if twin else 1
    h = outer + p.beyond_mm
    w, deep, set_back = off + h, p.depth_mm, p.set_back_mm
    # Plate less openings and corner holes, rings beyond it, bars as far as they are not in a ring.
    plate = (4 * w * h - count * math.pi * inner**2 - math.pi * p.hole_mm**2) * p.plate_mm
    rings = count * math.pi * (outer**2 - inner**2) * (deep - p.plate_mm)
    bar = p.motor_diameter_mm / 6
    bars = count * (4 * strip_in_circle(bar, inner) - bar**2) * set_back
    long = deep + p.motor_depth_mm - set_back
    start = set_back if p.mounting == "behind" else -p.motor_depth_mm
    sweep = deep - 2 * set_back
    return {
        "frame": Expected(plate + rings + bars, (0, -w, -h), (deep, w, h)),
        "motor": Expected(
            count * math.pi * motor**2 * long,
            (start, -off - motor, -motor),
            (start + long, off + motor, motor),
        ),
        "sweep": Expected(
            count * math.pi * (tip**2 - motor**2) * sweep,
            (set_back, -off - tip, -tip),
            (deep - set_back, off + tip, tip),
        ),
    }


def of_bar(p: Any) -> dict[str, Expected]:
    return {
        "body": of_boxes(
            [
                (
                    (-p.depth_mm, -p.width_mm / 2, -p.height_mm / 2),
                    (0, p.width_mm / 2, p.height_mm / 2),
                )
            ]
        )
    }


def of_latch(p: HoodLatch) -> dict[str, Expected]:
    d, w, h = p.depth_mm / 2, p.width_mm / 2, p.height_mm
    return {
        "latch": of_boxes([((-d, -w, 0), (d, w, h))]),
        "striker": of_cylinder((0, 0, h), 2, p.striker_length_mm, p.striker_diameter_mm / 2),
    }


def of_bracket(p: Bracket) -> dict[str, Expected]:
    w, t, e = p.width_mm / 2, p.thickness_mm, p.edge_mm
    if p.form == "flat":
        legs = [((0, -w, -e), (t, w, p.apart_mm + e))]
    else:
        end = p.second_mm + e
        a, b = (0, end) if p.way == "aft" else (t - end, t)
        legs = [((0, -w, -e), (t, w, p.first_mm)), ((a, -w, p.first_mm - t), (b, w, p.first_mm))]
    return {"plate": of_boxes(legs, less_mm3=math.pi / 2 * p.hole_mm**2 * t)}


def of_box(p: Box) -> dict[str, Expected]:
    d, w, h = p.depth_mm / 2, p.width_mm / 2, p.height_mm / 2
    return {"body": of_boxes([((-d, -w, -h), (d, w, h))])}


def of_round(p: Cylinder) -> dict[str, Expected]:
    along = {"along": 0, "across": 1, "up": 2}[p.lies]
    start = [0.0, 0.0, 0.0]
    start[along] = -p.length_mm / 2
    return {"body": of_cylinder(start, along, p.length_mm, p.diameter_mm / 2)}


def of_radiator(p: Radiator) -> dict[str, Expected]:
    w, h, t = p.core_width_mm / 2, p.core_height_mm / 2, p.core_thickness_mm
    mid, r = t / 2, p.neck_diameter_mm / 2

    def tank(deep: float, low: tuple[float, float], high: tuple[float, float]) -> Any:
        return ((mid - deep / 2, *low), (mid + deep / 2, *high))

    if p.flow == "down":
        first = tank(p.top_depth_mm, (-w, h), (w, h + p.top_height_mm))
        second = tank(p.bottom_depth_mm, (-w, -h - p.bottom_height_mm), (w, -h))
        sides = (w, w)
        cap = (0.0, h + p.top_height_mm)
    else:
        first = tank(p.left_depth_mm, (-w - p.left_width_mm, -h), (-w, h))
        second = tank(p.right_depth_mm, (w, -h), (w + p.right_width_mm, h))
        sides = (w + p.left_width_mm, w + p.right_width_mm)
        cap = (w + p.right_width_mm / 2, h)
    spots = []
    for rise, side, inset in (
        (1, p.upper_side, p.upper_from_end_mm),
        (-1, p.lower_side, p.lower_from_end_mm),
    ):
        sign = 1 if side == "right" else -1
        if p.flow == "down":
            own = first if rise > 0 else second
            spots.append((own[1][0], sign * (w - inset), (own[0][2] + own[1][2]) / 2))
        else:
            own = second if sign > 0 else first
            spots.append((own[1][0], (own[0][1] + own[1][1]) / 2, rise * (h - inset)))
    ends = [of_cylinder(spot, 0, p.neck_length_mm, r) for spot in spots]
    found = {
        "core": of_boxes([((0, -w, -h), (t, w, h))]),
        "tanks": of_boxes([first, second]),
        "necks": Expected(
            _necks_volume(spots, p.neck_length_mm, r),
            *around([(one.low, one.high) for one in ends]),
        ),
    }
    if p.filler == "yes":
        found["cap"] = of_cylinder((mid, *cap), 2, p.cap_height_mm, p.cap_diameter_mm / 2)
    if p.brackets == "plates":
        left, right = sides
        out, thick = p.bracket_width_mm, p.bracket_thickness_mm
        found["brackets"] = of_boxes(
            [((0, -left - out, -h), (thick, -left, h)), ((0, right, -h), (thick, right + out, h))]
        )
    return found


def _necks_volume(spots: list[tuple[float, float, float]], length: float, radius: float) -> float:
    """Two necks of one length; what they have in common counts once."""
    (x0, *a), (x1, *b) = spots
    lens = 2 * math.pi * radius**2 - two_circles(radius, math.dist(a, b))
    return 2 * math.pi * radius**2 * length - lens * max(0.0, length - abs(x0 - x1))


BY_HAND: Mapping[type[Part], Callable[[Any], dict[str, Expected]]] = {
    Radiator: of_radiator,
    CoreSupport: of_core_support,
    Condenser: of_condenser,
    Drier: of_drier,
    Shroud: of_shroud,
    ElectricFan: of_electric_fan,
    Grille: of_bar,
    BumperBar: of_bar,
    HoodLatch: of_latch,
    Bracket: of_bracket,
    Box: of_box,
    Cylinder: of_round,
}
