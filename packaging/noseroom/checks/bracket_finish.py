"""A bracket that was chosen, put back into the nose, with all that is said of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from noseroom.checks.bodies import Bodies
from noseroom.checks.bracket_access import check_bolting
from noseroom.checks.bracket_bolts import Bolted, bolted
from noseroom.checks.bracket_glance import Glanced, Nose
from noseroom.checks.bracket_job import FORMS, ON_RUBBER, ROOM, U_FOOT, Candidate, Fell
from noseroom.checks.bracket_load import strength_finding
from noseroom.checks.bracket_placed import PlacedBracket
from noseroom.checks.bracket_records import BracketDesign, RailHole, SlotCut
from noseroom.checks.bracket_search import ADJUSTMENT, Search
from noseroom.checks.bracket_words import cautions, notes, way_words
from noseroom.checks.fit import check_part
from noseroom.checks.spacer_bolts import Span
from noseroom.checks.stand_ins import StandIns
from noseroom.findings import Finding, Verdict, overall
from noseroom.geometry.sheet_flat import blank_area_mm2, folded_volume_mm3
from noseroom.memo import Memo

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Found:
    """A bracket that was put back into the nose. fit: clear of everything, and can be bolted."""

    glanced: Glanced
    bolts: tuple[Bolted, ...]
    fit: tuple[Finding, ...]

    @property
    def clear(self) -> bool:
        """Whether it stands clear and can be bolted up."""
        return overall([one.verdict for one in self.fit]) is Verdict.FITS

    @property
    def badness(self) -> tuple[int, int]:
        """The worst verdict, then how many are not good."""
        fit = overall([one.verdict for one in self.fit])
        return -fit.rank, sum(one.verdict is not Verdict.FITS for one in self.fit)


def put_back(nose: Nose, one: Glanced) -> Found:
    """A bracket in the nose, checked against everything there."""
    bolts = tuple(_bolts(one.made))
    name = one.placed.name
    bolting = check_bolting(nose.pairs, nose.rules, name, one.made, bolts, one.moves)
    return Found(one, bolts, (*_findings(nose, one.placed), bolting))


def finished(nose: Nose, search: Search, found: Found) -> BracketDesign:
    """All that is said of a bracket."""
    made, placed, material = found.glanced.made, found.glanced.placed, nose.bench.material
    site = made.job.site
    strength, sums = strength_finding(
        nose.layout,
        placed.name,
        made,
        material,
        with_remedies=True,
        thicknesses_mm=[one.thickness_mm for one in nose.bench.stocks],
    )
    volume = sum(folded_volume_mm3(blank) for blank, _ in made.blanks)
    slots = tuple(_slots(made))
    holes = _rail_holes(made)
    return BracketDesign(
        name=placed.name,
        title=f"Bracket for the {site.title}",
        hand=site.hand,
        form=made.form + (U_FOOT if made.job.fork else "") + (ON_RUBBER if made.job.rubber else ""),
        site=site,
        made=made,
        blanks=made.blanks,
        tab_flat=made.tab_flat,
        material=material,
        stock=found.glanced.strip.stock.label,
        bolts=found.bolts,
        rail_holes=holes,
        slots=slots,
        packing_mm=made.job.take.packing_mm,
        mass_kg=volume * 1e-9 * material.density_kg_m3,
        strength=sums,
        notes=tuple(notes(made, found.bolts)),
        cautions=cautions(made),
        findings=(*found.fit, strength),
        fell=tuple(_fell(search, found)),
        placed=placed,
        rubber=made.job.rubber,
    )


def _fell(search: Search, found: Found) -> Iterator[Fell]:
    """Why each other form was not taken: a rule that it breaks, or that it takes more."""
    mine = found.glanced.made
    for form in FORMS:
        if form == mine.form:
            continue
        known = search.tried.fell.get(form)
        job = mine.job
        other = next(search.candidates(job.bolt, found.glanced.strip, form), None)
        if known is not None and known.got == ROOM:
            yield known
        elif other is not None:
            more = _metal_mm2(other) / _metal_mm2(mine) - 1.0
            yield Fell(
                form,
                "more work",
                f"{_counted(other.bend_count)} against {mine.bend_count}, and {100 * more:+.0f} % "
                "of sheet; whether it stands clear was not looked at",
            )
        elif known is not None:
            yield known
        else:
            yield Fell(form, "place", "tab and core support do not stand so that it could be bent")
    if ADJUSTMENT in search.tried.fell:
        yield search.tried.fell[ADJUSTMENT]


def _counted(bends: int) -> str:
    return {0: "no bend", 1: "1 bend"}.get(bends, f"{bends} bends")


def _metal_mm2(made: Candidate) -> float:
    return sum(blank_area_mm2(blank) for blank, _ in made.blanks)


def _findings(nose: Nose, placed: PlacedBracket) -> tuple[Finding, ...]:
    there = StandIns(nose.pairs, {placed.name: placed})
    memo = nose.pairs.memo
    bodies = Bodies(there.layout, Memo() if memo is None else memo)
    found = check_part(there, bodies, nose.rules, placed)
    if found:
        return found
    return (
        Finding(
            id=f"fit: {placed.name}",
            question="do they keep clear",
            parts=(placed.name,),
            verdict=Verdict.FITS,
            note=f"Nothing stands near the {placed.name}.",
        ),
    )


def _bolts(made: Candidate) -> Iterator[Bolted]:
    job = made.job
    t = job.sheet.thickness_mm
    face, site = job.face, job.site
    plate = Span.about(t, 0.1 * t)
    core = face.host.entry.sizes["thickness"]
    packing = job.take.packing_mm
    if face.sheet_mm > 0:
        rail = (plate, Span.about(face.sheet_mm, core.half_width))
        joint = bolted("rail", job.rail_bolt, rail, packing)
    else:
        joint = bolted("rail", job.rail_bolt, (plate,), packing, blind=True)
    for _ in made.rail_at:
        yield joint
    if made.more:
        yield bolted("between", job.bolt, (plate, plate))
    key = next(one for one in site.must_read if one.endswith("thickness") and "core" not in one)
    off = site.host.entry.sizes[key].half_width
    held = plate
    if job.rubber is not None:
        # The bolt clamps the collar, which goes through sheet and both flanges.
        held = Span.about(t + 2.0 * job.rubber.flange_mm, 0.1 * t)
    yield bolted("tab", job.bolt, (held, Span.about(site.thickness_mm, off)), packing)


def _rail_holes(made: Candidate) -> tuple[RailHole, ...]:
    job, face = made.job, made.job.face
    found = []
    for at in made.rail_at:
        spot = face.spot(at)
        edges = [face.nearest_edge(at, axis) for axis in (0, 1)]
        clear = job.rail_bolt.hole
        found.append(
            RailHole(
                face=face.name,
                point=at,
                diameter_mm=clear.normal_mm if made.hole is None else made.hole.diameter_mm,
                drill=clear.normal,
                existing="" if made.hole is None else made.hole.part.name,
                from_edges=tuple(
                    (one.words, abs(float(spot[one.axis]) - one.at_mm)) for one in edges
                ),
                marked_last=job.take.marked_last,
            )
        )
    return tuple(found)


def _slots(made: Candidate) -> Iterator[SlotCut]:
    job = made.job
    for one in job.take.takes:
        if one.kind in _CUT and one.travel_mm > 0 and not (job.fork and one.kind == "rail slot"):
            bolt = job.rail_bolt if one.kind == "rail slot" else job.bolt
            yield SlotCut(
                _CUT[one.kind],
                one.travel_mm,
                bolt.hole.normal_mm,
                way_words(one.along),
                one.spread_mm,
            )


_CUT = {"rail slot": "rail", "tab slot": "tab", "leg slot": "between"}
