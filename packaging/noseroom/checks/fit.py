"""Does it fit? Every pair that could meet, against the rule that it answers to."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from noseroom.checks import words
from noseroom.checks.bodies import Bodies
from noseroom.checks.joined import joint, too_deep
from noseroom.checks.margins import AMPLE_MM, AT_REST, Margins
from noseroom.checks.moves import Moves
from noseroom.checks.pairs import Pairs, SureGap, component_pairs
from noseroom.checks.rules import Rules
from noseroom.findings import Finding, Rule, Verdict, overall
from noseroom.geometry.clearance import Clearance, Relation
from noseroom.layout import Layout, PlacedPart
from noseroom.parts.hose import ON_PORT
from noseroom.tolerances import DEFAULT, Tolerances

REPORT_BELOW_MM = 50.0
"""Pairs further apart than this, whose rule is surely met, are counted but not listed."""

_OF_MESHES_MM = 0.5
"""More than the bound on a gap of meshes is ever below that of the solids."""
_BY_MESH = replace(DEFAULT, exact_below_mm=0.0)

Progress = Callable[[int, int, str], None]


@dataclass(frozen=True, eq=False)
class FitResult:
    """Findings, worst first, and how many further pairs surely keep their rules."""

    findings: tuple[Finding, ...]
    far_pairs: int


def check_fit(
    pairs: Pairs,
    bodies: Bodies,
    rules: Rules,
    progress: Progress,
    margins: Margins | None = None,
) -> FitResult:
    """Check all pairs of parts. Pairs that are meant to touch are left to the layout.

    margins: where the verdict on each pair is noted, with how much it may change and stand.
    """
    layout, moves = pairs.layout, Moves(pairs, rules)
    findings = [_place_unknown(layout, part) for part in layout.parts.values() if part.unplaced]
    todo = list(_pairs_at_rest(layout))
    noted = Margins() if margins is None else margins
    far = 0
    for done, (a, b) in enumerate(todo):
        progress(done, len(todo), f"{a.name} and {b.name}")
        judged = _judged(pairs, rules, bodies, a, b)
        _note_margin(noted, pairs, bodies, a, b, judged)
        finding = too_deep(pairs, bodies, a, b)
        if finding is None and judged.case is not None:
            finding = _finding(moves, a, b, judged.verdict, judged.case)
        if finding is None:
            far += 1
        else:
            findings.append(finding)
    findings.sort(key=lambda one: (one.verdict.rank, _margin(one), one.id))
    return FitResult(tuple(findings), far)


def check_part(pairs: Pairs, bodies: Bodies, rules: Rules, part: PlacedPart) -> tuple[Finding, ...]:
    """What is near one part, against every other: findings, worst first."""
    moves = Moves(pairs, rules)
    found = []
    for a, b in _pairs_at_rest(pairs.layout):
        if part in (a, b):
            judged = _judged(pairs, rules, bodies, a, b)
            if judged.case is not None:
                found.append(_finding(moves, a, b, judged.verdict, judged.case))
    return tuple(sorted(found, key=lambda one: (one.verdict.rank, _margin(one), one.id)))


def look_at_fit(ways: Sequence[Pairs], bodies: Bodies, rules: Rules, margins: Margins) -> None:
    """Note the verdicts on all pairs, without findings; what stands is not looked at.

    ways: see `Margins.look`.
    """
    for a, b in _pairs_at_rest(ways[-1].layout):

        def note(pairs: Pairs, found: Margins, a: PlacedPart = a, b: PlacedPart = b) -> None:
            judged = _judged(pairs, rules, bodies, a, b, figures=False)
            _note_margin(found, pairs, bodies, a, b, judged)

        margins.look(AT_REST, a, b, ways, note)


def _pairs_at_rest(layout: Layout) -> Iterator[tuple[PlacedPart, PlacedPart]]:
    placed = [one for one in layout.parts.values() if not one.unplaced and one.components]
    return combinations(placed, 2)


def _place_unknown(layout: Layout, part: PlacedPart) -> Finding:
    wanted = "its place is still to be found" if part.entry.place_wanted else "nobody has said"
    note = f"Where the {part.name} goes is not known: {wanted}."
    remedies = [f"give the {part.name} a place (line {part.entry.line})"]
    if part.kind == "hose":
        ends = [layout.parts[name] for name in dict.fromkeys(part.ties)]
        lost = [one for one in ends if not one.known]
        names = words.listed([one.name for one in lost])
        note = f"Where the {part.name} runs is not known: nothing fixes the place of {names}."
        remedies = [
            f"give the {one.name} a place (line {one.entry.line})"
            if one.unplaced
            else _fix_place(one)
            for one in lost
        ]
    return Finding(
        id=f"place: {part.name}",
        question="where does it stand",
        parts=(part.name,),
        verdict=Verdict.NOT_KNOWN,
        note=note,
        remedies=tuple(remedies),
    )


def _fix_place(part: PlacedPart) -> str:
    return (
        f"measure where the {part.name} stands (its place, line {part.entry.line}, leaves it free)"
    )


def _margin(finding: Finding) -> float:
    if finding.measured_mm is None or finding.rule is None:
        return 0.0
    return finding.measured_mm - finding.rule.value_mm


@dataclass(frozen=True, eq=False)
class _Case:
    """One pair of components. solids: as measured; `final` once no better measure is wanted.

    unseen: whether one of them is space of which nobody knows what is in it.
    """

    mine: str
    theirs: str
    rule: Rule
    gap: SureGap
    solids: Clearance | None
    final: bool = False
    unseen: bool = False

    @property
    def near(self) -> bool:
        """Whether the solids are worth measuring."""
        return not self.unseen and self.gap.nominal_mm < max(REPORT_BELOW_MM, self.rule.value_mm)

    @property
    def settled(self) -> bool:
        """Whether the pieces alone keep the rule for sure."""
        asked = self.rule.value_mm
        return self.gap.answers(asked) and self.gap.lower_mm >= asked

    @property
    def measured_mm(self) -> float:
        """Signed: negative is the distance that frees them."""
        if self.solids is None or np.isnan(self.solids.distance_mm):
            return self.gap.nominal_mm
        if self.solids.pull_apart is not None:
            return -self.solids.pull_apart.distance_mm
        return self.solids.distance_mm

    @property
    def bound_mm(self) -> float:
        if self.solids is None or np.isnan(self.solids.distance_mm):
            return self.gap.nominal_mm
        return self.measured_mm if self.solids.pull_apart else self.solids.bound_mm

    @property
    def sure_mm(self) -> float:
        return min(self.gap.lower_mm, self.bound_mm)


@dataclass(frozen=True, eq=False)
class _Judged:
    """The worst pair of components of two parts; case: None where all are far apart for sure.

    room_mm: by how much the gaps may change before another verdict is possible.
    """

    verdict: Verdict
    case: _Case | None
    room_mm: float


def _judged(
    pairs: Pairs,
    rules: Rules,
    bodies: Bodies,
    a: PlacedPart,
    b: PlacedPart,
    *,
    figures: bool = True,
) -> _Judged:
    """figures: whether the solids are measured where the pieces alone tell the verdict."""
    loose = pairs.sway_mm(a, b)
    cases: list[_Case] = []
    spare = np.inf
    for mine, theirs in component_pairs(pairs.layout, a, b):
        rule = rules.between(a, mine, b, theirs)
        boxes = pairs.box_gap_mm(a, mine, b, theirs)
        if boxes >= REPORT_BELOW_MM and boxes - loose >= rule.value_mm:
            spare = min(spare, boxes - loose - rule.value_mm)
            continue
        ample = min(AMPLE_MM, pairs.ample_mm(a, mine, b, theirs, rule.value_mm))
        gap = pairs.sure_gap(a, mine, b, theirs, enough_mm=rule.value_mm + ample)
        unseen = mine in a.part.unseen() or theirs in b.part.unseen()
        case = _Case(mine, theirs, rule, gap, None, unseen=unseen)
        if case.settled:
            spare = min(spare, gap.lower_mm - rule.value_mm)
        if case.near or not case.settled:
            cases.append(case)
    # Pieces contain solids: where they keep the rule, the solids do, and need not be measured.
    cases = [case for case in cases if not case.settled] or cases
    if not cases:
        return _Judged(Verdict.FITS, None, spare)
    told = None if figures else _by_pieces(cases, spare)
    if told is not None:
        return told
    verdict, case, looked_at = _worst(bodies, a, b, cases)
    return _Judged(verdict, case, _room_mm(verdict, case, looked_at, spare))


def _by_pieces(cases: list[_Case], spare_mm: float) -> _Judged | None:
    """The verdict that no measure of the solids could change; None where one might.

    Pieces contain solids, so that a gap of solids is no less than that of their pieces. What runs
    into one another is measured by what frees it, which pieces do not tell.
    """
    verdicts, room = [], spare_mm
    for case in cases:
        asked, gap = case.rule.value_mm, case.gap
        if case.settled and gap.lower_mm >= asked + _OF_MESHES_MM:
            verdicts.append(Verdict.FITS)
            room = min(room, gap.lower_mm - asked - _OF_MESHES_MM)
        elif not case.settled and (case.unseen or not gap.answers(asked)):
            verdicts.append(Verdict.NOT_KNOWN)
            room = min(room, asked - gap.lower_mm)
        elif (
            not case.settled
            and gap.nominal_mm > 0
            and gap.nominal_mm + gap.spread_mm >= asked + _OF_MESHES_MM
        ):
            verdicts.append(Verdict.TOO_CLOSE)
            to_foul = gap.nominal_mm + gap.spread_mm - asked - _OF_MESHES_MM
            room = min(room, asked - gap.lower_mm, to_foul)
        else:
            return None
    return _Judged(overall(verdicts), None, room)


def _room_mm(verdict: Verdict, case: _Case, cases: list[_Case], spare_mm: float) -> float:
    """How much the gaps of two parts may change before another verdict on them is possible.

    case: the worst of the cases. spare_mm: what settled pairs have beyond their rules.
    """
    asked = case.rule.value_mm
    if verdict is Verdict.FITS:
        return min(spare_mm, case.sure_mm - asked)
    if verdict is Verdict.FOULS:
        return asked - case.measured_mm - case.gap.spread_mm
    to_foul = (
        one.measured_mm + one.gap.spread_mm - one.rule.value_mm
        for one in cases
        if not one.unseen and one.gap.answers(one.rule.value_mm)
    )
    # A settled pair would have to lose more than it has to spare before it could foul.
    room = min([spare_mm, *to_foul])
    if verdict is Verdict.TOO_CLOSE:
        return float(min(room, asked - case.sure_mm))
    short = asked - case.gap.lower_mm
    return float(min(room, short if np.isfinite(short) else np.inf))


def _note_margin(
    margins: Margins, pairs: Pairs, bodies: Bodies, a: PlacedPart, b: PlacedPart, judged: _Judged
) -> None:
    bent = pairs.bent_mm(a, b)
    margins.note(AT_REST, a, b, judged.verdict, judged.room_mm, bent)
    if pairs.layout.joined(a, b):
        margins.note(AT_REST, a, b, *joint(pairs, bodies, a, b), bent)


def _shortfall_key(verdict: Verdict, case: _Case) -> float:
    """How bad a pair is among those of one verdict: what fouls goes by what would free it."""
    left = case.measured_mm if verdict is Verdict.FOULS else case.sure_mm
    return left - case.rule.value_mm


def _worst(
    bodies: Bodies, a: PlacedPart, b: PlacedPart, cases: list[_Case]
) -> tuple[Verdict, _Case, list[_Case]]:
    """The verdict on the worst of some pairs of components, that pair, and all as measured.

    All are measured on their meshes, whose chord errors the bound allows for; those that come out
    worst are measured again by the exact kernel, until the worst is one of these. Where the pieces
    keep the rule already, the meshes do.
    """

    def measured(case: _Case, tolerances: Tolerances) -> _Case:
        solids = bodies.clearance(a, case.mine, b, case.theirs, tolerances=tolerances)
        return replace(case, solids=solids)

    if len(cases) > 1:
        cases = [measured(case, _BY_MESH) if case.near else case for case in cases]
    while True:
        judged = [(_verdict(case), case) for case in cases]
        verdict, case = min(judged, key=lambda it: (it[0].rank, _shortfall_key(*it)))
        if case.final or not case.near:
            return verdict, case, cases
        exact = replace(measured(case, _BY_MESH if case.settled else DEFAULT), final=True)
        cases[cases.index(case)] = exact


def _verdict(case: _Case) -> Verdict:
    asked = case.rule.value_mm
    if not case.gap.answers(asked):
        return Verdict.NOT_KNOWN
    if case.unseen:
        return Verdict.FITS if case.settled else Verdict.NOT_KNOWN
    if case.measured_mm + case.gap.spread_mm < asked:
        return Verdict.FOULS
    undecided = case.solids is not None and case.solids.relation is Relation.UNDECIDED
    return Verdict.FITS if case.sure_mm >= asked and not undecided else Verdict.TOO_CLOSE


def _finding(moves: Moves, a: PlacedPart, b: PlacedPart, verdict: Verdict, case: _Case) -> Finding:
    layout = moves.pairs.layout
    worst, solids = case.gap.worst, case.solids
    rests_on = words.supports(worst.form, layout.survey.sources) if worst is not None else ()
    points: tuple[tuple[float, float, float], ...] = ()
    if solids is not None and solids.points is not None:
        points = tuple((float(x), float(y), float(z)) for x, y, z in solids.points)
    elif worst is not None:
        points = tuple((float(x), float(y), float(z)) for x, y, z in worst.points)
    pull = None if solids is None else solids.pull_apart
    finding = Finding(
        id=f"fit: {a.name} / {b.name}",
        question="do they keep clear",
        parts=(a.name, b.name),
        verdict=verdict,
        note="",
        relation="" if verdict is Verdict.NOT_KNOWN else _relation(case),
        measured_mm=None if verdict is Verdict.NOT_KNOWN else case.measured_mm,
        bound_mm=None if verdict is Verdict.NOT_KNOWN else case.bound_mm,
        spread_mm=None if verdict is Verdict.NOT_KNOWN else case.bound_mm - case.sure_mm,
        rule=case.rule,
        overlap_mm3=_volume(solids),
        pull_apart=None
        if pull is None
        else (
            (float(pull.direction[0]), float(pull.direction[1]), float(pull.direction[2])),
            float(pull.distance_mm),
        ),
        points=points,
        rests_on=rests_on,
        details={"components": f"{case.mine} / {case.theirs}"},
    )
    note = _note(layout, finding, a, b, case)
    return replace(finding, note=note, remedies=_remedies(moves, finding, a, b, case))


def _relation(case: _Case) -> str:
    if case.solids is not None:
        return case.solids.relation.value
    return Relation.APART.value if case.gap.nominal_mm > 0 else Relation.UNDECIDED.value


def _volume(solids: Clearance | None) -> float | None:
    if solids is None or solids.pull_apart is None or not np.isfinite(solids.overlap_mm3):
        return None
    return float(solids.overlap_mm3)


def _note(layout: Layout, finding: Finding, a: PlacedPart, b: PlacedPart, case: _Case) -> str:
    unit = layout.envelope.unit
    pair = f"{_named(a, case.mine)} and {_named(b, case.theirs)}"
    if case.unseen and case.gap.answers(case.rule.value_mm):
        scan, other = (a, b) if case.mine in a.part.unseen() else (b, a)
        reach = words.length(max(case.sure_mm, 0.0), unit)
        return (
            f"{other.name} and what the scan of the {scan.name} did not see: not known. Something "
            f"may stand {reach} from the {other.name} there."
        )
    if finding.verdict is Verdict.NOT_KNOWN:
        lost = [part.name for part in (a, b) if not part.known] or [a.name, b.name]
        return f"{pair}: not known, because nothing fixes the place of {' and '.join(lost)}."
    asked = (
        "no room beyond it" if case.rule.value_mm == 0 else words.at_least(case.rule.value_mm, unit)
    )
    if finding.pull_apart is not None:
        freed = words.at_least(finding.pull_apart[1], unit)
        return f"{pair} run into each other; {freed} would free them; {asked} is asked."
    said = words.length(case.measured_mm, unit)
    sure = words.length(max(case.sure_mm, 0.0), unit)
    return f"{pair}: {said} apart, {sure} of it sure; {asked} is asked."


def _named(part: PlacedPart, component: str) -> str:
    shown = "" if len(part.components) == 1 or component in part.name else f" ({component})"
    return f"{part.name}{shown}"


def _remedies(
    moves: Moves, finding: Finding, a: PlacedPart, b: PlacedPart, case: _Case
) -> tuple[str, ...]:
    unit = moves.pairs.layout.envelope.unit
    if finding.verdict is Verdict.FITS:
        return ()
    if case.unseen and case.gap.answers(case.rule.value_mm):
        scan = a if case.mine in a.part.unseen() else b
        said = [f"scan the {scan.name} again there, or measure by hand what stands there"]
        if scan.entry.choices.get("edge") == "unseen":
            said.append(
                f"if beyond the edge of the scan there is only air, say so: "
                f"edge: open (line {scan.entry.line})"
            )
        return tuple(said)
    if finding.verdict is Verdict.NOT_KNOWN:
        lost = [part for part in (a, b) if not part.known]
        return tuple(_fix_place(part) for part in lost)
    said = []
    direction = _push(case, finding)
    if direction is not None and finding.verdict is Verdict.FOULS:
        loss_mm = case.gap.nominal_mm - case.sure_mm
        move = moves.way_out(a, b, direction, loss_mm, (case.mine, case.theirs))
        if move is not None:
            said.append(move.said(unit))
        if move is None or move.why:
            said += _led_clear(a, b, case, unit)
    if finding.verdict is Verdict.TOO_CLOSE:
        said += words.retake(finding.rests_on)
        if not said and direction is not None:
            need = case.rule.value_mm - case.sure_mm
            said.append(f"make {words.at_least(need, unit)} more room")
    return tuple(said)


def _led_clear(a: PlacedPart, b: PlacedPart, case: _Case, unit: str) -> list[str]:
    """What a hose can do: it is drawn along a likely path, and may be led along another."""
    for hose, component, other in ((a, case.mine, b), (b, case.theirs, a)):
        if hose.kind == "hose" and component not in ON_PORT:
            clear = words.at_least(case.rule.value_mm, unit)
            return [f"lead the {hose.name} another way, {clear} clear of the {other.name}"]
    return []


def _push(
    case: _Case, finding: Finding
) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]] | None:
    """Which way b comes away from a, (3,)."""
    if finding.pull_apart is not None:
        return np.array(finding.pull_apart[0])
    return None if case.gap.worst is None else case.gap.worst.direction
