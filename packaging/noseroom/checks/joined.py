"""Parts that are joined: contact is meant, one running through the other is not."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from noseroom.checks import words
from noseroom.checks.bodies import Bodies
from noseroom.checks.pairs import Pairs, SureGap
from noseroom.findings import Finding, Rule, Verdict
from noseroom.layout import PlacedPart

BEDDED_MM = 3.0
"""How far joined parts may lie in each other, common practice: sheet, flange, sealer."""

_RULE = Rule("joined", 0.0, "common practice: what is joined touches, and goes no deeper")
_CAP_MM = 1.0


def too_deep(pairs: Pairs, bodies: Bodies, a: PlacedPart, b: PlacedPart) -> Finding | None:
    """The finding on two joined parts that surely run into each other; None where they do not.

    What readings and assumptions hide counts for the parts: that they meet is what was said.
    """
    worst: Finding | None = None
    for mine, theirs in _joined_components(pairs, a, b):
        gap, depth = _depth(pairs, bodies, a, mine, b, theirs)
        if depth is None or depth - gap.spread_mm <= BEDDED_MM:
            continue
        solids = bodies.clearance(a, mine, b, theirs, cap_mm=_CAP_MM)
        if worst is None or worst.measured_mm is None or -depth < worst.measured_mm:
            assert solids.pull_apart is not None
            x, y, z = (float(one) for one in solids.pull_apart.direction)
            unit = pairs.layout.envelope.unit
            points = () if gap.worst is None else gap.worst.points
            worst = Finding(
                id=f"joined: {a.name} / {b.name}",
                question="do they go no deeper than they are joined",
                parts=(a.name, b.name),
                verdict=Verdict.FOULS,
                note=(
                    f"{a.name} ({mine}) and {b.name} ({theirs}) are joined, but run into each "
                    f"other; {words.at_least(depth, unit)} would free them."
                ),
                relation=solids.relation.value,
                measured_mm=-depth,
                bound_mm=-depth,
                spread_mm=gap.spread_mm,
                rule=_RULE,
                overlap_mm3=float(solids.overlap_mm3),
                pull_apart=((x, y, z), depth),
                points=tuple((float(p), float(q), float(r)) for p, q, r in points),
                remedies=(
                    f"read again where the {a.name} and the {b.name} stand, and their sizes",
                ),
                rests_on=()
                if gap.worst is None
                else words.supports(gap.worst.form, pairs.layout.survey.sources, unit),
                details={"components": f"{mine} / {theirs}"},
            )
    return worst


def joint(pairs: Pairs, bodies: Bodies, a: PlacedPart, b: PlacedPart) -> tuple[Verdict, float]:
    """The verdict on how deep two joined parts lie in each other, and what it may change by, mm."""
    verdict, room = Verdict.FITS, np.inf
    for mine, theirs in _joined_components(pairs, a, b):
        gap, depth = _depth(pairs, bodies, a, mine, b, theirs)
        if gap.adrift:
            continue
        over = (-gap.nominal_mm if depth is None else depth - gap.spread_mm) - BEDDED_MM
        if depth is not None and over > 0:
            room = max(room, over) if verdict is Verdict.FOULS else over
            verdict = Verdict.FOULS
        elif verdict is Verdict.FITS:
            room = min(room, -over)
    return verdict, float(room)


def _depth(
    pairs: Pairs, bodies: Bodies, a: PlacedPart, mine: str, b: PlacedPart, theirs: str
) -> tuple[SureGap, float | None]:
    """The gap of two joined components, and how deep they lie in each other, mm.

    None where they are drawn no deeper than what is joined may be.
    """
    gap = pairs.sure_gap(a, mine, b, theirs, enough_mm=-BEDDED_MM, look_mm=0.0)
    if gap.adrift or gap.nominal_mm > -BEDDED_MM:
        return gap, None
    solids = bodies.clearance(a, mine, b, theirs, cap_mm=_CAP_MM)
    return gap, 0.0 if solids.pull_apart is None else float(solids.pull_apart.distance_mm)


def _joined_components(pairs: Pairs, a: PlacedPart, b: PlacedPart) -> Iterator[tuple[str, str]]:
    if not pairs.layout.joined(a, b):
        return
    for mine in a.components:
        for theirs in b.components:
            if mine not in a.ghosts and theirs not in b.ghosts:
                yield mine, theirs
