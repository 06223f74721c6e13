"""Brackets to print for a trial fit: thicker walls, gussets, the way up, and warnings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.bracket_bolts import Bolted, bolted
from noseroom.checks.bracket_records import BracketDesign
from noseroom.checks.spacer_bolts import Span
from noseroom.checks.words import listed
from noseroom.geometry.outlines import Circle
from noseroom.geometry.sheet import Blank, folded_places
from noseroom.geometry.sheet_flat import middle_of
from noseroom.geometry.split_solids import box_of, inverse, mesh_to_write, turned
from noseroom.geometry.split_thickened import (
    Thickened,
    Thickening,
    askew_deg,
    resting_ways,
    thickened,
)
from noseroom.geometry.split_to_bed import Bed
from noseroom.geometry.split_ways import Bore, Way, onto_bed, ways
from noseroom.tables.printing import figure, print_materials
from noseroom.workshop.bolt_words import grade_words, size_of
from noseroom.workshop.bracket_flat import hole_letters
from noseroom.workshop.bracket_place import hand_letter, host_noun
from noseroom.workshop.cut_list import CutRow
from noseroom.workshop.mock_up_outline import MockUpError
from noseroom.workshop.print_pieces import (
    USUAL_BED,
    PrintedPart,
    PrintedPiece,
    support_mm2,
    usable_bed,
)

Floats = NDArray[np.float64]

KIND = "bracket"
_CLEAR_RADII = 2.6
"""Kept free round a hole for washer and socket, in its radii: common practice."""
_ASKEW_DEG = 20.0
"""Layers that lie this far across a bend are said: from memory."""
_ROOFED = 1.5  # radii of a hole within which its roof ends
_SAME_MM, _PARALLEL = 0.2, 0.999

CAUTIONS = (
    "A printed bracket is a trial fit piece, not a part to drive with: it shows that tab, rail and "
    "tools have room. The bracket that stays is of metal.",
    "Engine off and cold while it is in the car, and take it out before the engine is run: beside "
    "a condenser, a radiator or an engine plastic softens and creeps, what is bolted by it sags, "
    "and its bolts come loose.",
    "Bolts finger tight with washers, no more: plastic creeps away from under a tight bolt.",
    "Battery off. Nothing under pressure, no filled condenser and no refrigerant line is ever hung "
    "on it.",
)


def printed_brackets(design: BracketDesign, bed: Bed = USUAL_BED) -> tuple[PrintedPart, ...]:
    """The printed variant of a designed bracket, one for each of its pieces.

    Raises MockUpError where a piece does not go onto the bed.
    """
    sides = bearings(design)
    many = len(design.blanks) > 1
    bolts = tuple(_bolt_notes(design))
    made = []
    for k, ((blank, home), side) in enumerate(zip(design.blanks, sides, strict=True)):
        name = f"{design.name} {k + 1}" if many else design.name
        made.append(
            replace(
                printed_bracket(name, blank, side, bed, bolts),
                turn=home[:3, :3],
                marks=tuple(_marks(blank, side)),
                letter=hand_letter(design.hand),
                seen_from=PrintedPart.seen_from,
            )
        )
    return tuple(made)


def _marks(blank: Blank, bearing: Sequence[int]) -> Iterator[tuple[str, Floats]]:
    """Each hole's letter, as on the drawing, and its middle on both sides of its printed wall."""
    t, wall = blank.thickness_mm, _wall_mm(blank.thickness_mm)
    letters = iter(hole_letters(sum(len(one.holes) for one in blank.flanges)))
    for flange, place, side in zip(blank.flanges, folded_places(blank), bearing, strict=True):
        low = {-1: 0.0, 1: t - wall, 0: (t - wall) / 2.0}[side]
        for hole in flange.holes:
            ends = np.array([[*middle_of(hole), z, 1.0] for z in (low, low + wall)])
            yield next(letters), (ends @ place.T)[:, :3]


def trial_bolts(design: BracketDesign) -> Iterator[tuple[Bolted, Bolted]]:
    """Each bolt of a bracket, and the one that its thicker printed walls take instead."""
    thick = design.blanks[0][0].thickness_mm
    more = _wall_mm(thick) - thick
    for one in design.bolts:
        walls = 2 if one.where == "between" else 1
        washer, count = one.fastener.washer, 2 if one.into == "nut" else 1
        clamped = Span(
            one.grip.least_mm - count * washer.least_mm + walls * more,
            one.grip.most_mm - count * washer.most_mm - one.packing_mm + walls * more,
        )
        blind = one.into != "nut"
        yield (
            one,
            bolted(one.where, one.fastener, (clamped,), one.packing_mm, blind=blind),
        )


def trial_bolt_rows(design: BracketDesign) -> Iterator[CutRow]:
    """For the cut list: bolts that the trial takes and the bracket that stays does not."""
    for final, trial in trial_bolts(design):
        if trial.bolt != final.bolt:
            yield CutRow(
                f"bracket to try the fit with: {design.name}",
                "bolt",
                1,
                design.hand,
                size_of(trial),
                grade_words(trial.fastener.thread),
                note=f"{_at(design, trial)}; printed walls are thicker",
            )


def _at(design: BracketDesign, one: Bolted) -> str:
    noun = {"rail": "core support", "between": "other piece"}.get(one.where, host_noun(design))
    return f"at the {noun}"


def _bolt_notes(design: BracketDesign) -> Iterator[str]:
    said = [f"{size_of(trial)} {_at(design, trial)}" for _, trial in trial_bolts(design)]
    yield f"Bolts for the trial, with its thicker walls: {listed(list(dict.fromkeys(said)))}."


def _wall_mm(sheet_mm: float) -> float:
    """How thick a printed wall is for a sheet."""
    return max(figure("bracket wall") * sheet_mm, figure("least bracket wall"))


def bearings(design: BracketDesign) -> list[list[int]]:
    """For each flat of each piece: -1 where its underside lies on something, 1 the upper side."""
    found = [[0] * len(blank.flanges) for blank, _ in design.blanks]
    found[0][0] = -1
    found[-1][design.tab_flat] = -design.made.job.upside
    for k in range(len(found) - 1):
        for mine, theirs, side, other in _meeting(design.blanks[k], design.blanks[k + 1]):
            found[k][mine] = found[k][mine] or side
            found[k + 1][theirs] = found[k + 1][theirs] or other
    return found


def _meeting(
    one: tuple[Blank, Floats], other: tuple[Blank, Floats]
) -> Iterator[tuple[int, int, int, int]]:
    """Flats of two blanks that lie on each other, with the side of each that does."""
    for i, mine in enumerate(_sides(*one)):
        for j, theirs in enumerate(_sides(*other)):
            for side, (point, normal) in mine.items():
                for facing, (place, way) in theirs.items():
                    apart = abs(float((place - point) @ normal))
                    if normal @ way < -_PARALLEL and apart < _SAME_MM:
                        yield i, j, side, facing


def _sides(blank: Blank, home: Floats) -> list[dict[int, tuple[Floats, Floats]]]:
    """A point and the outward normal of each flat's underside (-1) and upper side (1)."""
    found = []
    for flange, place in zip(blank.flanges, folded_places(blank), strict=True):
        pose = home @ place
        corner = flange.outline.points[0]
        found.append(
            {
                side: ((pose @ np.array([*corner, height, 1.0]))[:3], side * pose[:3, 2])
                for side, height in ((-1, 0.0), (1, blank.thickness_mm))
            }
        )
    return found


def printed_bracket(
    name: str,
    blank: Blank,
    bearing: Sequence[int],
    bed: Bed = USUAL_BED,
    bolts: tuple[str, ...] = (),
) -> PrintedPart:
    """The printed variant of one blank, folded.

    bearing: one a flange: -1 where its underside lies on something, 1 where its upper side does, 0
    for neither; walls grow away from there. bolts: sentences on those that it takes; none says by
    how much they have to be longer. Raises MockUpError where it does not go onto the bed.
    """
    usable = usable_bed(bed)
    wall = _wall_mm(blank.thickness_mm)
    rules = Thickening(wall, figure("gusset"), _CLEAR_RADII, wall / 2)
    made = thickened(blank, bearing, rules)
    upright, way = _best_rest(blank, made, usable)
    if not way.fits(usable):
        raise MockUpError(_too_large(name, way.size_mm, usable))
    place = onto_bed(turned(made.solid, upright), (2, 1), usable) @ upright
    lying = turned(made.solid, place)
    size = box_of(lying)[1]
    piece = PrintedPiece(
        name=name,
        number=1,
        mesh=mesh_to_write(name, lying),
        place=inverse(place),
        way="on its side" if blank.bends else "flat",
        size_mm=(float(size[0]), float(size[1]), float(size[2])),
        support_mm2=support_mm2(way),
        volume_mm3=float(lying.volume()),
    )
    notes = tuple(_notes(blank, made, wall, piece, bolts))
    return PrintedPart(
        name, KIND, (piece,), (), (), made.solid, (made.solid,), notes, CAUTIONS, "one side"
    )


def _best_rest(
    blank: Blank, made: Thickened, bed: tuple[float, float, float]
) -> tuple[Floats, Way]:
    """The side that it lies on: near the bends' ends, where it fits, with least overhang."""
    rests = resting_ways(made.solid, made.up, _ASKEW_DEG) if blank.bends else [made.up]
    found: list[tuple[tuple[bool, int, int], Floats, Way]] = []
    for up in rests:
        upright = np.eye(4)
        upright[:3, :3] = _turn_up(up)
        bores = [one.carried(upright) for one in _bores(blank)]
        standing = turned(made.solid, upright)
        every = ways(standing, figure("overhang"), bores)
        way = next(one for one in every if one.up == (2, 1))
        # Sides that are equal but for rounding: the first, which is the largest.
        rank = not way.fits(bed), round(way.overhang_mm2), len(found)
        found.append((rank, upright, way))
    _, upright, way = min(found, key=lambda one: one[0])
    return upright, way


def _turn_up(up: Floats) -> Floats:
    """A turn (3, 3) that carries a direction to z."""
    helper = np.eye(3)[int(np.argmin(np.abs(up)))]
    first = np.cross(helper, up)
    first = first / np.linalg.norm(first)
    return np.stack([first, np.cross(up, first), up])


def _bores(blank: Blank) -> Iterator[Bore]:
    """Its round holes, in the folded part's frame; they have roofs of their own."""
    for flange, place in zip(blank.flanges, folded_places(blank), strict=True):
        for hole in flange.holes:
            corners = [hole.centre] if isinstance(hole, Circle) else hole.points
            points = np.asarray(corners, dtype=float)
            middle = points.mean(axis=0)
            radius = float(np.linalg.norm(points - middle, axis=1).max())
            if isinstance(hole, Circle):
                radius = _ROOFED * hole.diameter_mm / 2
            through = place @ np.array([*middle, 0.0, 1.0])
            yield Bore(through[:3], place[:3, 2], radius)


def _too_large(name: str, size: tuple[float, float, float], bed: tuple[float, float, float]) -> str:
    over = [
        f"{side} by {have - takes:.0f} mm"
        for side, have, takes in zip(
            ("its shorter side", "its longer side", "its height"),
            (*sorted(size[:2]), size[2]),
            (*sorted(bed[:2]), bed[2]),
            strict=True,
        )
        if have > takes
    ]
    return (
        f"{name}: printed so that no layer splits across a bend it is too large for the bed: "
        f"{' and '.join(over)}; a larger printer would do, or a trial piece of card"
    )


def _notes(
    blank: Blank, made: Thickened, wall: float, piece: PrintedPiece, bolts: tuple[str, ...]
) -> Iterator[str]:
    yield (
        f"Walls {wall:.1f} mm for {blank.thickness_mm:.1f} mm of sheet. The faces that it is "
        "bolted by are where the sheet's are; whether the thicker walls have room elsewhere is not "
        "checked."
    )
    longer = (
        f"Each bolt has to be {wall - blank.thickness_mm:.1f} mm longer for every wall that it "
        "goes through."
    )
    yield from bolts or (longer,)
    if made.gussets:
        yield (
            f"Gussets: {len(made.gussets)}, {figure('gusset'):.0f} mm thick, clear of washers and "
            "sockets."
        )
    elif blank.bends:
        yield "No gusset finds room beside the holes: it gives way more in the bend."
    if blank.bends:
        yield "Print it on its side, as the file has it: layers then run round the bend."
    askew = askew_deg(piece.place[:3, 2], made.along)
    if askew > _ASKEW_DEG:
        yield (
            f"Its bends are not parallel: layers lie up to {askew:.0f} degrees across one "
            "of them, and may split there."
        )
    yield "It wants support under it." if piece.needs_support else "It needs no support."
    never = [one for one in print_materials().values() if one.beside_heat == "no"]
    short = [one.material for one in print_materials().values() if one.beside_heat == "short"]
    soft = [
        f"{one.material} (softens near {one.softens_c:.0f} °C)"
        for one in never
        if one.softens_c is not None
    ]
    yield (
        f"Beside a condenser or radiator it may not be of {listed(soft)}: coolant and hot gas are "
        f"hotter. For the trial, engine cold: {listed(short)}, which do not sag at once where one "
        "is left in by mistake. None of them for good."
    )
