"""Brackets for every tab that waits for one: designed, put back into the nose, and checked there.

Asked apart from the verdict on the nose: it is about what to make, not about what is there.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from noseroom.checks import words
from noseroom.checks.bodies import Bodies
from noseroom.checks.bracket_access import check_bolting
from noseroom.checks.bracket_bolts import Bolted, Fastener, bolted, fastener_for
from noseroom.checks.bracket_job import FORMS, U_FOOT, Candidate, Fell
from noseroom.checks.bracket_free import Around, Block
from noseroom.checks.bracket_load import strength_finding
from noseroom.checks.bracket_placed import PlacedBracket, placed_bracket
from noseroom.checks.bracket_records import (
    BracketDesign,
    Brackets,
    NoBracket,
    RailHole,
    SlotCut,
)
from noseroom.checks.bracket_search import ADJUSTMENT, Search
from noseroom.checks.bracket_shape import Sheet
from noseroom.checks.bracket_sites import (
    FreeHole,
    RailFace,
    TabSite,
    free_holes,
    rail_faces,
    tab_sites,
    taken_holes,
)
from noseroom.checks.bracket_strength import Strength
from noseroom.checks.bracket_words import cautions, notes, way_words
from noseroom.checks.fit import check_part
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.checks.spacer_bolts import Span
from noseroom.checks.stand_ins import StandIns
from noseroom.findings import Finding, Verdict, overall
from noseroom.geometry.sheet_flat import blank_area_mm2, folded_volume_mm3
from noseroom.geometry.sheet_rules import sheet_faults
from noseroom.layout import Layout, PlacedPart
from noseroom.memo import Memo
from noseroom.parts.base import Port
from noseroom.physics.bending import din_k
from noseroom.tables.sheet import SheetMaterial, SheetStock, least_radius_mm, sheet_materials
from noseroom.tables.sheet import sheet_stock as stock_of

Floats = NDArray[np.float64]
Progress = Callable[[int, int, str], None]

USUAL_MATERIAL = "mild steel"
_THINNEST_MM, _THICKEST_MM = 1.85, 4.1
"""What small brackets are bent from, common practice: 14 gauge or 2 mm, and up to what a bench
brake takes."""
_WIDER_MM = (0.0, 8.0, 16.0, 24.0, 32.0)
_LOOKED_AT = 4
_STRIPS, _BENT = 3, 90
"""So many strips are tried where none is free, and so many brackets of each are worked out."""


@dataclass(frozen=True, eq=False)
class _Nose:
    """All that every bracket of a nose is designed against."""

    pairs: Pairs
    rules: Rules
    around: Around
    faces: tuple[RailFace, ...]
    holes: tuple[FreeHole, ...]
    taken: tuple[Port, ...]
    unread: tuple[str, ...]

    @property
    def layout(self) -> Layout:
        return self.pairs.layout


def design_brackets(
    pairs: Pairs, rules: Rules, progress: Progress, only: Collection[str] = ()
) -> Brackets:
    """A bracket for each tab and lug that the core support could carry, or why there is none.

    only: titles of the tabs that are asked for, such as "drier lug"; empty: all.
    """
    layout = pairs.layout
    sites = [one for one in tab_sites(layout) if not only or one.title in only]
    if not sites:
        return Brackets((), (), "there is no tab or lug of known place to make a bracket for")
    every = tuple(rail_faces(layout))
    if not every:
        return Brackets((), (), "there is no core support to bolt a bracket to")
    read = tuple(face for face in every if not unread(face.host, face.must_read))
    lacking = tuple(dict.fromkeys(key for one in every for key in unread(one.host, one.must_read)))
    nose = _Nose(
        pairs,
        rules,
        Around(layout, rules),
        read,
        tuple(free_holes(layout, list(read))),
        tuple(taken_holes(layout)),
        lacking,
    )
    made: list[BracketDesign] = []
    missing: list[NoBracket] = []
    for done, site in enumerate(sites):
        progress(done, len(sites), f"bracket for the {site.title}")
        found = _design(nose, site)
        if isinstance(found, NoBracket):
            missing.append(found)
        else:
            made.append(found)
    return Brackets(tuple(made), tuple(missing))


def unread(part: PlacedPart, keys: Sequence[str]) -> list[str]:
    """Those of some sizes that nobody has read."""
    sizes = part.entry.sizes
    return [key for key in keys if key in sizes and sizes[key].knowledge == "assumed"]


def _design(nose: _Nose, site: TabSite) -> BracketDesign | NoBracket:
    guessed = unread(site.host, site.must_read)
    if guessed:
        return _not_to_guesses(site, site.host, guessed)
    support = next(iter(nose.faces), None)
    if support is None:
        core = next(one for one in nose.layout.parts.values() if one.kind == "core support")
        return _not_to_guesses(site, core, nose.unread)
    unit = nose.layout.envelope.unit
    bolt = fastener_for(site.hole_mm, unit)
    if bolt is None:
        return NoBracket(
            site,
            f"no bolt of the table passes a hole of {words.length(site.hole_mm, unit)}",
            ("drill the hole out, or hang it by another",),
        )
    search = Search(
        site,
        nose.faces,
        nose.holes,
        nose.taken,
        nose.layout.uncertainty,
        unit,
        nose.layout.survey.sources,
    )
    material = sheet_materials()[USUAL_MATERIAL]
    strips: list[tuple[tuple[int, float], _Glanced, Iterator[_Glanced]]] = []
    for number, (stock, wider) in enumerate(_strips(material, unit, bolt)):
        if number >= _STRIPS and not strips:
            break  # what stands in the way of thin strips stands in that of thick ones
        some = _glanced(nose, search, bolt, (material, stock, wider))
        first = next(some, None)
        if first is not None:
            strips.append((_weakness(first.sums), first, some))
            if strips[-1][0][0] == 0:
                break
    best: _Found | None = None
    for _, first, others in sorted(strips, key=lambda one: one[0]):
        for one in (first, *others):
            found = _Found(one, *_checked(nose, one))
            if best is None or found.badness < best.badness:
                best = found
            if found.clear:
                return _finished(nose, search, found)
    return _none(search) if best is None else _finished(nose, search, best)


def _not_to_guesses(site: TabSite, part: PlacedPart, keys: Sequence[str]) -> NoBracket:
    listed = words.listed(list(keys))
    return NoBracket(
        site,
        f"a bracket cannot be made to guesses: {listed} of the {part.name} "
        f"{'is' if len(keys) == 1 else 'are'} only assumed",
        (f"read {listed} of the {part.name} and write it into the file",),
    )


def _none(search: Search) -> NoBracket:
    fell = tuple(search.tried.fell.values())
    nearest = [f"{one.form}: {one.text}" for one in fell]
    why = "no form of bracket reaches a face of the core support that is free"
    cures = tuple(one.would_do for one in fell if one.would_do)
    return NoBracket(search.site, why, cures or tuple(nearest), fell)


def _strips(
    material: SheetMaterial, unit: str, bolt: Fastener
) -> Iterator[tuple[SheetStock, float]]:
    """Sheets, and how much wider than its bolts ask a strip of them is; least metal first."""
    system = "in" if unit in ("in", "ft") else "mm"
    some = [
        (stock, wider)
        for stock in stock_of(material.metal)
        if stock.unit == system and _THINNEST_MM <= stock.thickness_mm <= _THICKEST_MM
        for wider in _WIDER_MM
    ]
    some.sort(key=lambda one: one[0].thickness_mm * (2.0 * bolt.metal_mm + one[1]))
    yield from some


def sheet_for(material: SheetMaterial, stock: SheetStock) -> Sheet:
    """A sheet with the inside radius that its material asks for, and K by DIN 6935."""
    t = stock.thickness_mm
    radius = max(least_radius_mm(material.name, t) or 2.0 * t, t)
    return Sheet(t, radius, din_k(radius, t))


@dataclass(frozen=True, eq=False)
class _Glanced:
    """A bracket that keeps every rule of the bench, and stands free at a glance."""

    made: Candidate
    placed: PlacedBracket
    material: SheetMaterial
    stock: SheetStock
    moves: Floats
    sums: Strength | None


@dataclass(frozen=True, eq=False)
class _Found:
    """A bracket that was put back into the nose."""

    glanced: _Glanced
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


def _weakness(sums: Strength | None) -> tuple[int, float]:
    """How weak it is, and by what to choose among those that are.

    0: strong enough, or nobody can say; 1: it stands shocks and idle; 2: shocks; 3: not even that.
    """
    if sums is None or sums.sum.enough:
        return 0, 0.0
    if not sums.sum.shock.holds:
        return 3, sums.sum.shock.stress_mpa
    return (1, 0.0) if sums.sum.idle != "near" else (2, -(sums.sum.hz or 0.0))


def _glanced(
    nose: _Nose, search: Search, bolt: Fastener, strip: tuple[SheetMaterial, SheetStock, float]
) -> Iterator[_Glanced]:
    """Brackets of one strip, cheapest first, as many as are worth a closer look."""
    material, stock, wider = strip
    looked = 0
    for made in islice(search.candidates(bolt, sheet_for(material, stock), wider), _BENT):
        fault = _fault(made, material)
        if fault is not None:
            search.tried.add(fault)
            continue
        moves = _rail_moves(made)
        placed = placed_bracket(f"{search.site.title} bracket", made, moves)
        block = nose.around.block(placed, _bolted_to(made))
        if block is not None:
            search.tried.add(_blocked(made, block))
            continue
        _, sums = strength_finding(nose.layout, placed.name, made, material, with_remedies=False)
        yield _Glanced(made, placed, material, stock, moves, sums)
        looked += 1
        if looked == _LOOKED_AT:
            return


def _checked(nose: _Nose, one: _Glanced) -> tuple[tuple[Bolted, ...], tuple[Finding, ...]]:
    bolts = tuple(_bolts(one.made))
    name = one.placed.name
    bolting = check_bolting(nose.pairs, nose.rules, name, one.made, bolts, one.moves)
    return bolts, (*_findings(nose, one.placed), bolting)


def _fault(made: Candidate, material: SheetMaterial) -> Fell | None:
    """The first rule of the bench that a bracket breaks."""
    for blank, _ in made.blanks:
        for one in sheet_faults(blank, material):
            short = one.short_mm if np.isfinite(one.short_mm) else np.inf
            return Fell(made.form, one.rule, one.text, short, one.remedy)
    return None


def _blocked(made: Candidate, block: Block) -> Fell:
    what = block.part if block.component in block.part else f"{block.part}'s {block.component}"
    return Fell(
        made.form,
        "room",
        f"the {what} stands {block.short_mm:.1f} mm too near",
        block.short_mm,
        f"move the {block.part} {block.short_mm:.1f} mm away, or the tab with its part",
    )


def _rail_moves(made: Candidate) -> Floats:
    return made.job.face.moves(made.rail_at[0]) if made.hole is None else made.hole.moves()


def _bolted_to(made: Candidate) -> frozenset[tuple[str, str]]:
    """What it lies on: it may touch these."""
    face, site = made.job.face, made.job.site
    rail = {(face.host.name, name) for name in face.host.components}
    return frozenset({*rail, (site.host.name, site.component)})


def _finished(nose: _Nose, search: Search, found: _Found) -> BracketDesign:
    made, placed, material = found.glanced.made, found.glanced.placed, found.glanced.material
    site = made.job.site
    strength, sums = strength_finding(nose.layout, placed.name, made, material, with_remedies=True)
    volume = sum(folded_volume_mm3(blank) for blank, _ in made.blanks)
    slots = tuple(_slots(made))
    holes = _rail_holes(made)
    return BracketDesign(
        name=placed.name,
        title=f"Bracket for the {site.title}",
        hand=site.hand,
        form=made.form + (U_FOOT if made.job.fork else ""),
        site=site,
        made=made,
        blanks=made.blanks,
        tab_flat=made.tab_flat,
        material=material,
        stock=found.glanced.stock.label,
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
    )


def _fell(search: Search, found: _Found) -> Iterator[Fell]:
    """Why each other form was not taken: a rule that it breaks, or that it takes more."""
    mine = found.glanced.made
    for form in FORMS:
        if form == mine.form:
            continue
        known = search.tried.fell.get(form)
        job = mine.job
        other = next(search.candidates(job.bolt, job.sheet, job.wider_mm, form), None)
        if other is not None:
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


def _findings(nose: _Nose, placed: PlacedBracket) -> tuple[Finding, ...]:
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
    yield bolted("tab", job.bolt, (plate, Span.about(site.thickness_mm, off)), packing)


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


def overall_of(made: Brackets) -> Verdict:
    """The worst of all findings on brackets."""
    return overall([one.verdict for one in made.made])
