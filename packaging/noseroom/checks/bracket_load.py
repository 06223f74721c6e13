"""What a bracket of the nose carries, from the file, and whether it is strong enough for that."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from noseroom.checks import strength_words
from noseroom.checks.bracket_job import Candidate
from noseroom.checks.bracket_sites import TabSite, tab_sites
from noseroom.checks.bracket_strength import Carried, Engine, Strength, strength_of
from noseroom.checks.strength_frame import Tab
from noseroom.errors import GeometryError
from noseroom.findings import Finding, Verdict
from noseroom.geometry.outlines import Circle, Path, Point
from noseroom.geometry.sheet import Blank, Flange, Hole
from noseroom.geometry.sheet_flat import middle_of
from noseroom.geometry.strip_lines import Spot
from noseroom.layout import Layout, PlacedPart
from noseroom.tables.sheet import SheetMaterial
from noseroom.tables.strength import usual_mass_kg

Floats = NDArray[np.float64]

QUESTION = "is it strong enough"
_AS_A_HOLE = " Summed up as if its open slot were a hole: tight bolts are taken for granted."
_OUTER = ("core", "headers", "body", "frame")


def engine_of(layout: Layout) -> Engine | None:
    """The engine's cylinders and idle, where the file has both."""
    for part in layout.parts.values():
        cylinders = round(float(getattr(part.part, "cylinders", 0.0)))
        idle = float(getattr(part.part, "idle_rpm", 0.0))
        if part.kind == "engine" and cylinders > 0 and idle > 0:
            return Engine(cylinders, idle)
    return None


def carried_by(layout: Layout, made: Candidate) -> Carried | None:
    """What hangs on a bracket; None: nobody has weighed it, and no table has its kind."""
    site = made.job.site
    points = sum(1 for one in tab_sites(layout) if one.host.name == site.host.name)
    mass, source = _mass(site.host)
    if mass <= 0:
        return None
    alone = points == 1
    return Carried(
        mass,
        points,
        source,
        _arm(made, points),
        tab=_tab(site) if points > 2 else None,
        gyration_mm=_gyration_mm(site.host) if alone else 0.0,
        rubber=made.job.rubber is not None,
    )


def _tab(site: TabSite) -> Tab | None:
    """The tab as a strip from its hole to where it grows out of its part."""
    if min(site.edge_mm, site.thickness_mm, site.room_mm) <= 0.0:
        return None
    return Tab(2.0 * site.edge_mm, site.thickness_mm, site.room_mm)


def _gyration_mm(part: PlacedPart) -> float:
    """Radius of gyration of a box of its size, about the worst of its own axes."""
    sides = sorted((box_of(part)[1] - box_of(part)[0]).tolist())
    return float(np.hypot(sides[1], sides[2]) / np.sqrt(12.0))


def _mass(part: PlacedPart) -> tuple[float, str]:
    given = float(getattr(part.part, "mass_kg", 0.0))
    if given > 0:
        return given, f"the file, line {part.entry.sizes['mass'].line}"
    box = box_of(part)
    usual = usual_mass_kg(part.kind, float(np.prod(box[1] - box[0])))
    if usual is None:
        return 0.0, ""
    return usual[1], "the most that is usual for its size, from memory: weigh it"


def box_of(part: PlacedPart) -> Floats:
    """The box round what of a part is heavy, in its own frame, (2, 3) mm."""
    corners = [
        np.asarray(piece.corners, dtype=float)
        for piece in part.part.pieces()
        if piece.component in _OUTER
    ]
    every = np.concatenate(corners)
    return np.array([every.min(axis=0), every.max(axis=0)])


def _arm(made: Candidate, points: int) -> tuple[float, float, float]:
    """From the hole that carries to where the load acts, in the folded bracket's own frame.

    What hangs on several brackets is held square by the others: its load acts in the tab.
    """
    job = made.job
    at = job.site.middle
    if points == 1:
        box, pose = box_of(job.site.host), job.site.host.pose
        at = pose[:3, :3] @ box.mean(axis=0) + pose[:3, 3]
    seat = job.tab_plane.point + job.sheet.thickness_mm / 2.0 * job.tab_plane.up
    x, y, z = (made.blanks[-1][1][:3, :3].T @ (at - seat)).tolist()
    return x, y, z


def _closed(made: Candidate) -> Blank:
    """A bracket whose open slot is a hole: what is left beside the bolt is the same."""
    first, *others = made.blank.flanges
    around = first.outline
    whole = Path(around.points[:-4], around.bulges[:-4])
    hole = Circle((0.0, 0.0), made.job.rail_hole.diameter_mm)
    return replace(made.blank, flanges=(Flange(whole, (hole,)), *others))


def spots_of(made: Candidate) -> tuple[Spot, tuple[Spot, ...]]:
    """Where the tab's bolt goes through the flat, and those into the core support.

    Of a slot, the end that is further from the others.
    """
    job = made.job
    rail = _Held(job.rail_hole.diameter_mm, job.rail_bolt.washer.outside_mm)
    washer = _Held(job.tab_hole.diameter_mm, job.bolt.washer.outside_mm)
    if job.rubber is not None:
        washer = _Held(job.rubber.hole_mm, job.rubber.outside_mm)
    flanges = made.blank.flanges
    if job.fork:
        (hole,) = flanges[made.tab_flat].holes
        under = (0.0, 0.0)  # the first flat's frame begins where the bolt is
        return _spot(made.tab_flat, hole, washer, [under]), (Spot(0, under, *rail),)
    if len(flanges) == 1:
        first, last = flanges[0].holes
        ends = [(0, first, rail), (0, last, washer)]
    else:
        ends = [
            (number, hole, washer if number == made.tab_flat else rail)
            for number, flange in enumerate(flanges)
            for hole in flange.holes
        ]
    middles = [middle_of(hole) for _, hole, _ in ends]
    spots = []
    for index, (number, hole, one) in enumerate(ends):
        others = [middle for k, middle in enumerate(middles) if k != index]
        spots.append(_spot(number, hole, one, others))
    tab = next(
        k
        for k, (number, _, _) in enumerate(ends)
        if number == made.tab_flat and (k or len(flanges) > 1)
    )
    return spots[tab], tuple(one for k, one in enumerate(spots) if k != tab)


class _Held(NamedTuple):
    """A hole's diameter and that of what holds it, mm."""

    hole_mm: float
    washer_mm: float


def _spot(flange: int, hole: Hole, one: _Held, others: Sequence[Point]) -> Spot:
    ends = [middle_of(hole)]
    if not isinstance(hole, Circle):
        (a, b, c, d) = hole.points
        ends = [((a[0] + d[0]) / 2, (a[1] + d[1]) / 2), ((b[0] + c[0]) / 2, (b[1] + c[1]) / 2)]
    other = np.mean(others, axis=0)
    at = max(ends, key=lambda end: float(np.hypot(*(np.array(end) - other))))
    return Spot(flange, at, *one)


def strength_finding(
    layout: Layout,
    name: str,
    made: Candidate,
    metal: SheetMaterial,
    *,
    with_remedies: bool,
    thicknesses_mm: Sequence[float] | None = None,
) -> tuple[Finding, Strength | None]:
    """Whether a bracket is strong enough, as a finding; with the sum where one can be made.

    thicknesses_mm: what sheet can be had; None: what the metal is sold in.
    """
    carried = carried_by(layout, made)
    if carried is None:
        host = made.job.site.host.name
        why = f"how heavy the {host} is nobody has said"
        return _not_known(name, why, f"weigh the {host} and write its mass into the file"), None
    if made.more:
        cure = "put a second bolt through both once they are set, so that neither can turn"
        return _not_known(name, "no sum is made of two pieces clamped to each other", cure), None
    tab, fixed = spots_of(made)
    blank, more = (_closed(made), _AS_A_HOLE) if made.job.fork else (made.blank, "")
    try:
        strength = strength_of(
            blank,
            tab,
            fixed,
            carried,
            metal,
            engine_of(layout),
            thicknesses_mm=thicknesses_mm,
            with_remedies=with_remedies,
        )
    except GeometryError as error:
        return _not_known(name, str(error)), None
    found = _finding(
        name,
        strength.verdict,
        strength_words.note(strength) + more,
        (),
        strength_words.lines(strength),
    )
    return found, strength


def _not_known(name: str, why: str, *cures: str) -> Finding:
    return _finding(name, Verdict.NOT_KNOWN, f"Not known: {why}.", cures, ())


def _finding(
    name: str, verdict: Verdict, note: str, remedies: tuple[str, ...], lines: tuple[str, ...]
) -> Finding:
    return Finding(
        id=f"strength: {name}",
        question=QUESTION,
        parts=(name,),
        verdict=verdict,
        note=note,
        remedies=remedies,
        details={"sums": "\n".join(lines)} if lines else {},
    )
