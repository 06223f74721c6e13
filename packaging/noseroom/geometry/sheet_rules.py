"""What a blank has to keep so that it can be cut, bent and bolted: each rule with its source.

A fault says which rule, by how much, and what would do. Distances that depend on arcs are never
over-stated: what the arcs' chords may add is taken off.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from typing import Any

from noseroom.errors import GeometryError
from noseroom.geometry.outlines import Circle, Path, Point
from noseroom.geometry.sheet import Bend, Blank, Hole
from noseroom.geometry.sheet_clashes import Clash, flat_clashes, folded_clashes
from noseroom.geometry.sheet_flat import (
    CHORD_MM,
    SAME_MM,
    flat_holes,
    flat_outline,
    middle_of,
    place_text,
    polygon_of,
)
from noseroom.geometry.sheet_reliefs import edges_of, metal_in_relief_mm, relief_size_mm
from noseroom.tables.sheet import (
    SheetMaterial,
    SheetShop,
    bend_radii,
    least_radius_mm,
    sheet_limits,
)

_SLACK_MM = 5e-3  # what rounding and the arcs' chords may do to a length that is just enough
_RAYS = 9
_FACING_COS = math.cos(math.radians(45.0))


@dataclass(frozen=True)
class SheetFault:
    """One rule that a blank breaks.

    rule: a word or two. text: what was found, where. found_mm, wanted_mm: NaN where it is no matter
    of lengths. short_mm: by how much; NaN: not known. remedy: what would do, with its figure.
    source: where the rule is from.
    """

    rule: str
    text: str
    found_mm: float
    wanted_mm: float
    short_mm: float
    remedy: str
    source: str

    def __str__(self) -> str:
        by = f", by {self.short_mm:.1f} mm" if math.isfinite(self.short_mm) else ""
        return f"{self.rule}: {self.text}{by}; {self.remedy} ({self.source})"


def sheet_faults(
    blank: Blank, material: SheetMaterial, shop: SheetShop | None = None
) -> tuple[SheetFault, ...]:
    """All rules that a blank breaks, worst things first: form, then radii, holes, legs, reliefs.

    shop: figures of its own stand above the table's. A blank whose outline cannot be followed at
    all is one fault, "outline", and nothing else is looked at.
    """
    shop = shop or SheetShop()
    try:
        flat_outline(blank)
        flat_holes(blank)
    except GeometryError as error:
        return (_form("outline", str(error), "draw it so that every part is one piece of sheet"),)
    return (
        *_runs_into_itself(blank),
        *_radii(blank, material, shop),
        *_holes(blank),
        *_legs(blank, shop),
        *_between_bends(blank),
        *_reliefs(blank),
    )


def _form(rule: str, text: str, remedy: str) -> SheetFault:
    return SheetFault(rule, text, math.nan, math.nan, math.nan, remedy, "geometry")


def _lengths(
    rule: str, text: str, found: float, wanted: float, remedy: str, source: str
) -> Iterator[SheetFault]:
    """A fault where there is less than is wanted. text, remedy: with "{short}" for the figure."""
    short = wanted - found
    if short > _SLACK_MM:
        # Rounded up: the figure has to be enough.
        figure = f"{math.ceil((short - _SLACK_MM) * 10.0) / 10.0:.1f} mm"
        yield SheetFault(
            rule,
            f"{text} is {found:.1f} mm, and {wanted:.1f} mm are wanted",
            found,
            wanted,
            short,
            remedy.format(short=figure),
            source,
        )


def _runs_into_itself(blank: Blank) -> Iterator[SheetFault]:
    limit = sheet_limits()["gap"]
    wanted = limit.value * blank.thickness_mm
    for clash in flat_clashes(blank, wanted):
        what = _named(blank, clash)
        if clash.overlaps:
            yield _overlap(clash, f"{what} lie over each other in the flat")
            continue
        text = f"the cut between {what} in the flat"
        remedy = "set them {short} further apart, or end the bends so much earlier"
        yield from _lengths("gap", text, clash.gap_mm, wanted, remedy, limit.source)
    for clash in folded_clashes(blank):
        what = "run into each other" if clash.overlaps else "touch each other"
        yield _overlap(clash, f"{_named(blank, clash)} {what} once folded")


def _overlap(clash: Clash, text: str) -> SheetFault:
    by = clash.shorten_mm
    remedy = "bend it less, or leave more flat between the bends"
    if math.isfinite(by):
        remedy = (
            f"cut the second more than {math.ceil(by * 10.0) / 10.0:.1f} mm shorter, or {remedy}"
        )
    return SheetFault("runs into itself", text, -by, 0.0, by, remedy, "geometry")


def _named(blank: Blank, clash: Clash) -> str:
    names = [
        f"flange {one}" if one < len(blank.flanges) else f"bend {one - len(blank.flanges)}"
        for one in (clash.first, clash.second)
    ]
    return " and ".join(names)


def _radii(blank: Blank, material: SheetMaterial, shop: SheetShop) -> Iterator[SheetFault]:
    t = blank.thickness_mm
    rows = bend_radii(material.name)
    least, source = shop.least_radius_mm, "the shop's own figure"
    if least is None:
        least, source = least_radius_mm(material.name, t), rows[0].source if rows else ""
    for number, bend in enumerate(blank.bends):
        if least is None:
            yield SheetFault(
                "inside radius",
                f"how sharply {material.name} of {t:.2f} mm can be bent is not known",
                bend.inside_mm,
                math.nan,
                math.nan,
                "bend a test piece and give the shop's least radius, or take a sheet of "
                f"{rows[-1].thickness_mm:.1f} mm or less"
                if rows
                else "bend a test piece and give the shop's least radius",
                "no table has it",
            )
            return
        text = f"the inside radius of bend {number} in {material.name} of {t:.2f} mm"
        remedy = f"make it {math.ceil(least * 10.0 - 1e-9) / 10.0:.1f} mm or more"
        thin = _thickest_for(material, shop, bend.inside_mm)
        if thin:
            remedy += f", or take a sheet of {math.floor(thin * 100.0) / 100.0:.2f} mm or less"
        yield from _lengths("inside radius", text, bend.inside_mm, least, remedy, source)


def _thickest_for(material: SheetMaterial, shop: SheetShop, inside_mm: float) -> float:
    """The thickest of the table's sheets that bends to a radius; 0: none, or no table asked."""
    if shop.least_radius_mm is not None:
        return 0.0
    rows = bend_radii(material.name)
    return max((one.thickness_mm for one in rows if one.radius_mm <= inside_mm), default=0.0)


def _holes(blank: Blank) -> Iterator[SheetFault]:
    limits, t = sheet_limits(), blank.thickness_mm
    to_bend, to_edge = limits["hole to bend"], limits["hole to edge"]
    for number, flange in enumerate(blank.flanges):
        edges = [edge for one in blank.bends if (edge := edges_of(one, number, t))]
        rim = _rim(flange.outline, edges)
        for hole in flange.holes:
            cut = polygon_of(hole)
            chord = 0.0 if _is_straight(hole) else CHORD_MM
            where = f"the hole at {place_text(middle_of(hole))}"
            near = min((cut.distance(_line(*edge)) for edge in edges), default=math.inf) - chord
            yield from _lengths(
                "hole to bend",
                f"from the edge of {where} to where the bend begins",
                near,
                to_bend.value * t,
                "move it {short} away from the bend",
                to_bend.source,
            )
            wide = _across_mm(hole)
            middle = cut.distance(rim) - chord + wide / 2.0
            yield from _lengths(
                "hole to edge",
                f"from the middle of {where} to the nearest edge",
                middle,
                to_edge.value * wide,
                "move it {short} inwards, or leave the flange so much wider",
                to_edge.source,
            )


def _is_straight(hole: Hole) -> bool:
    return isinstance(hole, Path) and not any(hole.bulges)


def _across_mm(hole: Hole) -> float:
    """A hole's diameter; a slot's width."""
    if isinstance(hole, Circle):
        return hole.diameter_mm
    box = list(polygon_of(hole).minimum_rotated_rectangle.exterior.coords)
    return min(math.dist(box[0], box[1]), math.dist(box[1], box[2]))


def _rim(outline: Path, edges: list[tuple[Point, Point]]) -> Any:
    """A flange's edge as it is cut: its outline without what bends."""
    rim = polygon_of(outline).exterior
    for edge in edges:
        rim = rim.difference(_line(*edge).buffer(SAME_MM, cap_style="flat"))
    return rim


def _line(start: Point, end: Point) -> Any:
    from shapely.geometry import LineString

    return LineString([start, end])


def _legs(blank: Blank, shop: SheetShop) -> Iterator[SheetFault]:
    """Each leg from its mould line to its end, at its shortest over the bend's middle part."""
    limit, t = sheet_limits()["leg"], blank.thickness_mm
    for number, bend in enumerate(blank.bends):
        wanted, source = limit.value * t + bend.inside_mm, limit.source
        if shop.least_leg_mm is not None:
            wanted, source = shop.least_leg_mm, "the shop's own figure"
        turn = math.radians(min(abs(bend.angle_deg), 90.0))
        set_back = (bend.inside_mm + t) * math.tan(turn / 2.0)
        for flange in (bend.parent, bend.child):
            yield from _lengths(
                "leg",
                f"the leg on flange {flange} at bend {number}, measured outside,",
                _reach_mm(blank, bend, flange) + set_back,
                wanted,
                "make it {short} longer",
                source,
            )


def _reach_mm(blank: Blank, bend: Bend, flange: int) -> float:
    """How far a flange goes on from a bend, at its shortest; where another bend is, no matter."""
    t = blank.thickness_mm
    edge = edges_of(bend, flange, t)
    assert edge is not None
    (x0, y0), (x1, y1) = edge
    ux, uy = (x1 - x0) / bend.length_mm, (y1 - y0) / bend.length_mm
    whole = polygon_of(blank.flanges[flange].outline)
    low_x, low_y, high_x, high_y = whole.bounds
    far = math.hypot(high_x - low_x, high_y - low_y)
    others = [
        _line(*other)
        for one in blank.bends
        if one is not bend and (other := edges_of(one, flange, t))
    ]
    found = math.inf
    for k in range(_RAYS):
        by = bend.length_mm * (0.1 + 0.8 * k / (_RAYS - 1))
        foot = x0 + by * ux - SAME_MM * uy, y0 + by * uy + SAME_MM * ux
        ray = _line(foot, (foot[0] - far * uy, foot[1] + far * ux)).intersection(whole)
        parts = [one for one in getattr(ray, "geoms", [ray]) if one.length > 0.0]
        first = min(parts, key=lambda one: math.dist(one.coords[0], foot), default=None)
        if first is None:
            return 0.0
        if all(first.distance(one) > SAME_MM for one in others):
            found = min(found, first.length)
    return found


def _between_bends(blank: Blank) -> Iterator[SheetFault]:
    """Bends that face each other over a flange."""
    limit, t = sheet_limits()["between bends"], blank.thickness_mm
    for (n, one), (m, other) in combinations(enumerate(blank.bends), 2):
        for flange in {one.parent, one.child} & {other.parent, other.child}:
            edge, opposite = edges_of(one, flange, t), edges_of(other, flange, t)
            if edge is None or opposite is None or not _facing(edge, opposite):
                continue
            yield from _lengths(
                "between bends",
                f"what is left flat on flange {flange} between bends {n} and {m}",
                _line(*edge).distance(_line(*opposite)),
                limit.value * t,
                "set them {short} further apart",
                limit.source,
            )


def _facing(edge: tuple[Point, Point], other: tuple[Point, Point]) -> bool:
    (ax, ay), (bx, by) = ((end[0] - start[0], end[1] - start[1]) for start, end in (edge, other))
    return ax * bx + ay * by < -_FACING_COS * math.hypot(ax, ay) * math.hypot(bx, by)


def _reliefs(blank: Blank) -> Iterator[SheetFault]:
    limits = sheet_limits()
    source = f"{limits['relief width'].source}; {limits['relief past'].source}"
    for number, bend in enumerate(blank.bends):
        wide, deep = relief_size_mm(bend, blank.thickness_mm)
        for flange in (bend.parent, bend.child):
            edge = edges_of(bend, flange, blank.thickness_mm)
            assert edge is not None
            whole = polygon_of(blank.flanges[flange].outline)
            for end, other in (edge[::-1], edge):
                sign = 1.0 if end == edge[1] else -1.0
                short = metal_in_relief_mm(whole, end, other, sign, wide, deep)
                if short > _SLACK_MM:
                    yield SheetFault(
                        "relief",
                        f"flange {flange} goes on beside the end of bend {number} at "
                        f"{place_text(end)} without room to tear free",
                        wide - short,
                        wide,
                        short,
                        f"cut a slot there, {wide:.1f} mm wide or more, and at least {deep:.1f} mm "
                        "into the flange past where the bend begins; or end the flange there",
                        source,
                    )
