"""Stand-ins to print: hollow, parted to the bed's size, with pegs, each piece the best way up."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.errors import GeometryError
from noseroom.geometry.hollow import HollowRules, hollow_mm3, hollows
from noseroom.geometry.mesh import Mesh
from noseroom.geometry.split_pegs import Joint, PegRules, joints, peg
from noseroom.geometry.split_solids import (
    Solid,
    box_of,
    flat_at,
    inverse,
    mesh_to_write,
    solid_of_shape,
    turned,
    union,
)
from noseroom.geometry.split_to_bed import Bed, Part, Rules, parted
from noseroom.geometry.split_ways import Bore, Way, excess_mm2, onto_bed, ways
from noseroom.layout import Layout
from noseroom.parts.shapes import joined
from noseroom.parts.spacer import Spacer
from noseroom.tables.printing import figure
from noseroom.workshop.mock_up_outline import MockUpError, StandIn, stand_ins
from noseroom.workshop.print_numbers import cut_number

Floats = NDArray[np.float64]
Progress = Callable[[int, int, str], None]

USUAL_BED: Bed = (220.0, 220.0, 250.0)
"""Width, depth and height of a common printer, mm: common practice."""
_SLENDER = 10.0
"""A piece stands on the bed up to this many times as high as it is thin: from memory."""
_HOLLOW = 0.97  # of its outside: sockets and a number alone leave more
_AS_GOOD = 0.9  # what saves nine tenths as much and is lower is better
_BED_SIDES = ("width", "depth", "height")
CAUTIONS = (
    "A stand-in is for trying the fit, with the engine off and the battery disconnected. It holds "
    "no load and no pressure, and nothing is connected to it.",
    "Take it out before the engine is started: plastic beside a hot condenser, radiator or engine "
    "softens and sags, and a loose piece ends in the fan.",
)
_DOWN = {
    (0, 1): "front face down",
    (0, -1): "rear face down",
    (1, 1): "left side down",
    (1, -1): "right side down",
    (2, 1): "upright",
    (2, -1): "upside down",
}


@dataclass(frozen=True, eq=False)
class PrintedPiece:
    """One piece as it lies on the bed, its lowest corner at the origin, mm.

    name: of its file. number: cut into it, 0 for a peg. place: (4, 4) from the bed to the part's
    own frame. way: in words, which side is down. size_mm: on the bed. support_mm2: underside that
    wants support, 0 for none. volume_mm3: plastic. number_mm: height of the number, 0 for none.
    count: how many of it.
    """

    name: str
    number: int
    mesh: Mesh
    place: Floats
    way: str
    size_mm: tuple[float, float, float]
    support_mm2: float
    volume_mm3: float
    number_mm: float = 0.0
    count: int = 1

    @property
    def needs_support(self) -> bool:
        """Whether it hangs over by more than is let off."""
        return self.support_mm2 > 0.0


@dataclass(frozen=True, eq=False)
class PrintedPart:
    """A stand-in as it is printed.

    pieces: numbered from 1; pegs: one of each size, with how many. joints: by the pieces' places in
    `pieces`. whole: its outside; outsides: of each piece, not hollowed; in the part's frame.
    notes, cautions: sentences. seen_from: what a picture is drawn from, besides from above.
    turn: (3, 3), from its frame to the car's, for a picture that says what is up; None: none does.
    marks: names of holes, each with both ends (2, 3) in its frame. letter: "L", "R" or "".
    """

    name: str
    kind: str
    pieces: tuple[PrintedPiece, ...]
    pegs: tuple[PrintedPiece, ...]
    joints: tuple[Joint, ...]
    whole: Solid
    outsides: tuple[Solid, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    seen_from: str = "ahead, the car's left"
    turn: Floats | None = None
    marks: tuple[tuple[str, Floats], ...] = ()
    letter: str = ""

    @property
    def plastic_mm3(self) -> float:
        """All that is printed, pegs too."""
        return sum(one.count * one.volume_mm3 for one in (*self.pieces, *self.pegs))


def printed_stand_ins(
    layout: Layout,
    names: Sequence[str] | None = None,
    bed: Bed = USUAL_BED,
    progress: Progress | None = None,
    spacers: Mapping[str, Spacer] | None = None,
) -> tuple[PrintedPart, ...]:
    """Stand-ins for parts of a nose, and for spacers by their names.

    names: parts; None for all that stand-ins are made of. bed: width, depth and height, mm.
    Raises MockUpError where one cannot be made: which rule, by how much, what would do.
    """
    usable_bed(bed)
    wanted = stand_ins(layout, names, spacers)
    made = []
    for done, one in enumerate(wanted):
        if progress is not None:
            progress(done, len(wanted), f"{one.name} to print")
        made.append(printed(one, bed))
    return tuple(made)


def usable_bed(bed: Bed) -> Bed:
    """What may be used of a bed. Raises MockUpError for one that is too small."""
    least, margin = figure("least bed"), figure("bed margin")
    short = [
        f"its {side} of {size:.0f} mm by {least - size:.0f} mm"
        for side, size in zip(_BED_SIDES, bed, strict=True)
        if not size >= least
    ]
    if short:
        raise MockUpError(
            f"the printer's bed is too small: {' and '.join(short)} short of the {least:.0f} mm "
            "that pieces and their pegs need each way; a larger printer would do, or card"
        )
    return bed[0] - 2 * margin, bed[1] - 2 * margin, bed[2]


def printed(stand_in: StandIn, bed: Bed = USUAL_BED) -> PrintedPart:
    """One stand-in. Raises MockUpError, or GeometryError where its mesh does not close."""
    usable = usable_bed(bed)
    shape = joined(list(stand_in.solids.values()))
    whole = solid_of_shape(stand_in.name, shape)
    rules = Rules(
        usable,
        figure("overhang"),
        figure("let off"),
        round(figure("most pieces")),
        tuple(_bores(stand_in)),
    )
    try:
        planes = flat_at(whole, _planes(stand_in.cells, box_of(whole)))
        parts = parted(whole, planes, rules)
    except GeometryError as error:
        raise MockUpError(f"{stand_in.name}: {error}") from error
    hollow = _hollow_rules()
    parts = [_lightest(one, stand_in.cells, rules, hollow) for one in parts]
    parts.sort(key=_order)
    pegs = _peg_rules()
    meeting, sockets = joints([one.solid for one in parts], [one.way.up for one in parts], pegs)
    pieces = []
    for number, (part, socketed) in enumerate(zip(parts, sockets, strict=True), 1):
        inside = union(hollows(part.solid, stand_in.cells, part.way.up, hollow))
        if socketed.bosses:
            inside -= union(socketed.bosses)
        body = part.solid - inside - union(socketed.sockets)
        pieces.append(_piece(f"{stand_in.name} {number}", number, part, body, rules))
    return PrintedPart(
        stand_in.name,
        stand_in.kind,
        tuple(pieces),
        tuple(_pegs(meeting, pegs)),
        tuple(meeting),
        whole,
        tuple(one.solid for one in parts),
        tuple(_notes(stand_in, parts, pieces, meeting)),
        CAUTIONS,
    )


def _bores(stand_in: StandIn) -> Iterator[Bore]:
    """Its bolt holes that are narrow enough to be printed lying."""
    for port in stand_in.holes.values():
        if port.bore_mm <= figure("lying hole"):
            yield Bore(port.point, port.direction, port.bore_mm / 2)


def _planes(cells: Sequence[Floats], box: Floats) -> list[tuple[int, float]]:
    """Where parts of the stand-in end, those first in which most of them do."""
    found: dict[tuple[int, float], int] = {}
    for corners in cells:
        for axis in range(3):
            for at in (corners[:, axis].min(), corners[:, axis].max()):
                at = round(float(at), 6)
                if box[0, axis] + 0.5 < at < box[1, axis] - 0.5:
                    found[axis, at] = found.get((axis, at), 0) + 1
    return sorted(found, key=lambda plane: (-found[plane], plane))


def _lightest(part: Part, cells: Sequence[Floats], rules: Rules, hollow: HollowRules) -> Part:
    """The piece the way up that leaves most of it hollow, among those that need no more support."""
    found = [
        one
        for one in ways(part.solid, rules.steepest_deg, rules.bores)
        if one.fits(rules.bed_mm)
        and excess_mm2(one, rules.let_off_mm2) <= excess_mm2(part.way, rules.let_off_mm2)
        and one.size_mm[2] <= _SLENDER * min(one.size_mm[:2])
    ]
    box = box_of(part.solid)
    spared = [hollow_mm3(box, cells, one.up, hollow) for one in found]
    if not found or max(spared) <= 0.0:
        return part
    good = [
        one for one, saved in zip(found, spared, strict=True) if saved >= _AS_GOOD * max(spared)
    ]
    return Part(part.solid, min(good, key=lambda one: one.size_mm[2]))


def _order(part: Part) -> tuple[float, ...]:
    """From top to bottom, front to rear, left to right."""
    low, high = box_of(part.solid)
    x, y, z = ((low + high) / 2).round(1)
    return -float(z), float(x), float(y)


def _hollow_rules() -> HollowRules:
    return HollowRules(figure("wall"), figure("rib"), figure("least cavity"), figure("widest bay"))


def _peg_rules() -> PegRules:
    return PegRules(
        (figure("peg"), figure("small peg")),
        figure("peg depth"),
        figure("peg clearance"),
        figure("socket floor"),
        figure("wall"),
    )


def _piece(name: str, number: int, part: Part, body: Solid, rules: Rules) -> PrintedPiece:
    place = onto_bed(part.solid, part.way.up, rules.bed_mm)
    lying = turned(body, place)
    upright = _as_printed(lying, [one.carried(place) for one in rules.bores])
    numbered, high = cut_number(lying, number, figure("number height"), figure("number depth"))
    mesh = mesh_to_write(name, numbered)
    size = box_of(lying)[1]
    return PrintedPiece(
        name=name,
        number=number,
        mesh=mesh,
        place=inverse(place),
        way=_DOWN[part.way.up],
        size_mm=(float(size[0]), float(size[1]), float(size[2])),
        support_mm2=support_mm2(upright),
        volume_mm3=float(numbered.volume()),
        number_mm=high,
    )


def _as_printed(lying: Solid, bores: Sequence[Bore] = ()) -> Way:
    return next(one for one in ways(lying, figure("overhang"), bores) if one.up == (2, 1))


def support_mm2(way: Way) -> float:
    """The underside that wants support; 0 where all of it is let off."""
    over = excess_mm2(way, figure("let off"))
    return way.overhang_mm2 if over > 0.0 else 0.0


def _pegs(meeting: Sequence[Joint], rules: PegRules) -> Iterator[PrintedPiece]:
    """One piece a size of peg, with how many are needed."""
    for side in rules.sides_mm:
        count = sum(own == side for joint in meeting for own, _ in joint.pegs)
        if count:
            solid = peg(side, rules)
            name = f"peg {side:.0f} mm"
            low, high = box_of(solid)
            size = high - low
            yield PrintedPiece(
                name=name,
                number=0,
                mesh=mesh_to_write(name, solid),
                place=np.eye(4),
                way="lying",
                size_mm=(float(size[0]), float(size[1]), float(size[2])),
                support_mm2=support_mm2(_as_printed(solid)),
                volume_mm3=float(solid.volume()),
                count=count,
            )


def _notes(
    stand_in: StandIn,
    parts: Sequence[Part],
    pieces: Sequence[PrintedPiece],
    meeting: Sequence[Joint],
) -> Iterator[str]:
    yield from stand_in.notes
    hanging = [str(one.number) for one in pieces if one.needs_support]
    plastic, outside = (
        sum(one.volume_mm3 for one in pieces),
        sum(float(one.solid.volume()) for one in parts),
    )
    walls = (
        f"Walls {figure('wall'):.1f} mm, ribs {figure('rib'):.1f} mm. Hollows close under roofs at "
        f"{figure('overhang'):.0f} degrees and reach no outside: for printers that lay down "
        "filament, not for powder or resin."
    )
    if plastic < _HOLLOW * outside:
        yield walls
    if hanging and len(pieces) == 1:
        yield "Print it with support."
    elif hanging:
        yield f"Print with support: piece {', '.join(hanging)}. The others need none."
    else:
        yield "No piece needs support." if len(pieces) > 1 else "It needs no support."
    bare = [
        f"{joint.pieces[0] + 1} and {joint.pieces[1] + 1}" for joint in meeting if not joint.pegs
    ]
    if bare:
        yield f"No peg finds room between {'; '.join(bare)}: glue them on a flat board."
    if len(pieces) > 1:
        yield (
            "Put pegs and pieces together dry, and glue them only once all faces meet. A socket is "
            f"{figure('peg clearance'):.1f} mm wider than its peg: sand a peg that binds."
        )
