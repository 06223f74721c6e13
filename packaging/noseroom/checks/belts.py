"""Does the belt reach every pulley, and do its pulleys stand in line?

A belt is drawn round its pulleys, in the plane of one of them. Whether it can run like that is
asked here: a pulley inside the loop is missed however well everything keeps clear, and a belt that
leaves a pulley's plane by more than a little is thrown off. Length, speeds and slip have modules of
their own.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from noseroom.checks import words
from noseroom.checks.belt_length import check_length
from noseroom.checks.belt_route import Route, route_of
from noseroom.checks.belt_slip import check_slip
from noseroom.checks.belt_speed import Speeds, check_speeds, known, section
from noseroom.checks.drive import Drive, Lean, Wrap
from noseroom.checks.moves import Moves
from noseroom.checks.pairs import Pairs
from noseroom.checks.rules import Rules
from noseroom.findings import Finding, Verdict
from noseroom.layout import PlacedPart
from noseroom.tables.limits import Limit, limits

REACH, LINE = "does the belt reach every pulley", "do the pulleys stand in line"


def check_belts(pairs: Pairs, rules: Rules) -> tuple[Finding, ...]:
    """Findings on every belt: its reach and its line; its length and slip as far as is asked.

    Then one on each part that says how fast it may turn.
    """
    layout, moves = pairs.layout, Moves(pairs, rules)
    every = [one for one in layout.parts.values() if one.kind == "belt"]
    drives = [Drive(layout, pairs.bends, one) for one in every]
    drives = [one for one in drives if len(one.circles) > 1]
    speeds = Speeds(layout, drives)
    found: list[Finding] = []
    for drive in drives:
        found += [_reach(drive, moves), _line(drive, moves)]
        found += [*check_length(drive), *check_slip(drive, speeds)]
    return (*found, *check_speeds(speeds))


# -- does it reach ------------------------------------------------------------------------------


def _reach(drive: Drive, moves: Moves) -> Finding:
    belt, layout = drive.belt, drive.layout
    limit = limits()["belt wrap"]
    wraps = drive.wraps()
    if wraps is None:
        return _not_known(drive, f"reach: {belt.name}", REACH, "reaches all its pulleys")
    worst = min(wraps, key=lambda one: (one.most_deg > 0, one.least_deg, -one.passes_mm))
    route = route_of(drive, moves)
    if route.verdict is not Verdict.FITS:
        return _not_laid(drive, route)
    verdict = _reach_verdict(wraps, limit)
    low = [one for one in wraps if one.least_deg < limit.limit_deg]
    if verdict is Verdict.FOULS:
        low = [one for one in wraps if one.most_deg <= 0]
    rests_on = words.supports(worst.form, layout.survey.sources, layout.envelope.unit)
    remedies: tuple[str, ...] = ()
    if verdict is Verdict.FOULS:
        remedies = _to_reach(drive, moves, low, limit)
    elif verdict is Verdict.TOO_CLOSE:
        remedies = (*_to_reach(drive, moves, low, limit)[:1], *words.retake(rests_on))
    return Finding(
        id=f"reach: {belt.name}",
        question=REACH,
        parts=(belt.name, *(one.pulley for one in low)),
        verdict=verdict,
        note=f"{_reach_note(drive, low, limit)}{_small(drive)}",
        remedies=remedies,
        rests_on=rests_on if low else (),
        details={
            "least_wrap_deg": limit.limit_deg,
            "limit_source": limit.source,
            **{f"wrap_deg: {one.pulley}": round(one.nominal_deg, 2) for one in wraps},
            **{f"sure_wrap_deg: {one.pulley}": round(one.least_deg, 2) for one in wraps},
            **_spans(drive),
        },
    )


def _small(drive: Drive) -> str:
    """What is said of pulleys that bend the belt more than its standard recommends; no verdict."""
    one, unit = section(drive.belt), drive.layout.envelope.unit
    if one.belt == "v" and known(drive.belt, "width") is None:
        return ""  # nobody has said which section it is
    said = [
        f" The {each.part.name} is small for a {one.key} belt: at least "
        f"{words.at_least(one.least_diameter_mm, unit)} over the rim is recommended."
        for each in drive.circles
        if each.sense > 0
        and 2.0 * each.metal_mm + _half_width_mm(each.part) < one.least_diameter_mm
    ]
    return "".join(said)


def _half_width_mm(part: PlacedPart) -> float:
    """How far the diameter over its rim may be off, as read."""
    read = [one for key, one in part.entry.sizes.items() if key.endswith("diameter")]
    return max((one.half_width for one in read), default=0.0)


def _spans(drive: Drive) -> dict[str, float | str | list[list[float]]]:
    """The free spans, mm, and the length along the belt's effective line."""
    path, names = drive.path(), [one.part.name for one in drive.circles]
    found: dict[str, float | str | list[list[float]]] = {
        "effective_length_mm": round(path.length_mm, 2)
    }
    for span in path.spans:
        near, far = (names[k] for k in span.pulleys)
        found[f"span_mm: {near} to {far}"] = round(span.length_mm, 2)
    return found


def _not_laid(drive: Drive, route: Route) -> Finding:
    return Finding(
        id=f"reach: {drive.belt.name}",
        question=REACH,
        parts=(drive.belt.name, *route.parts),
        verdict=route.verdict,
        note=" ".join(route.said),
        remedies=route.remedies,
    )


def _reach_verdict(wraps: Sequence[Wrap], limit: Limit) -> Verdict:
    if any(one.most_deg <= 0 for one in wraps):
        return Verdict.FOULS
    fits = all(one.least_deg >= limit.limit_deg for one in wraps)
    return Verdict.FITS if fits else Verdict.TOO_CLOSE


def _reach_note(drive: Drive, low: Sequence[Wrap], limit: Limit) -> str:
    belt, unit = drive.belt.name, drive.layout.envelope.unit
    if not low:
        return f"The {belt} runs over all its pulleys."
    said = []
    behind = drive.belt.entry.references.get("back on", ())
    for one in low:
        if one.most_deg <= 0:
            passed = words.length(max(one.passes_mm, 0.0), unit)
            where = "clear of its back" if one.pulley in behind else "inside its loop"
            said.append(f"misses the {one.pulley}, which stands {passed} {where}")
        elif one.least_deg <= 0:
            said.append(f"may miss the {one.pulley}")
        else:
            said.append(
                f"lies on only {one.nominal_deg:.0f}° of the {one.pulley} "
                f"({one.least_deg:.0f}° sure; {limit.limit_deg:g}° is asked)"
            )
    return f"The {belt} {words.listed(said)}."


def _to_reach(drive: Drive, moves: Moves, low: Sequence[Wrap], limit: Limit) -> tuple[str, ...]:
    """The shortest move up, down or sideways of one accessory that brings the belt onto all."""
    unit = drive.layout.envelope.unit
    hampered = ""
    for part, way, by in _reaching_moves(drive, limit, low):
        said = f"move the {part.name} {words.at_least(by, unit)} {words.way(way)}"
        why = moves.hampered(part, by * way, belts=False)
        if not why:
            return (said,)
        hampered = hampered or f"{said}, but {why}"
    names = words.listed([one.pulley for one in low])
    other = (
        f"drive the {names} in another way: no one move brings the {drive.belt.name} onto it"
        if not hampered
        else ""
    )
    return tuple(one for one in (hampered, other) if one)


_FURTHEST_MM = 300.0
_COARSE_MM, _FINE_MM = 10.0, 0.5
_WAYS = tuple(np.array(way) for way in ((0, 0, 1.0), (0, 0, -1.0), (0, 1.0, 0), (0, -1.0, 0)))


def _reaching_moves(
    drive: Drive, limit: Limit, low: Sequence[Wrap]
) -> list[tuple[PlacedPart, np.ndarray[tuple[int, ...], np.dtype[np.float64]], float]]:
    """Moves of what can be moved, shortest first: the part, the way and how far, mm.

    Enough for the least angle with what the readings may take off it.
    """
    unsure = max((one.nominal_deg - one.least_deg for one in low if one.least_deg > 0), default=0.0)
    asked = limit.limit_deg + max(unsure, 5.0)

    def enough(part: PlacedPart, way: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> float:
        def reached(by: float) -> bool:
            return min(drive.wraps_deg({part.name: by * way})) >= asked

        far = next(
            (by for by in np.arange(_COARSE_MM, _FURTHEST_MM, _COARSE_MM) if reached(float(by))),
            np.inf,
        )
        if not np.isfinite(far):
            return float("inf")
        near = float(far) - _COARSE_MM
        while far - near > _FINE_MM:
            middle = (near + far) / 2
            near, far = (near, middle) if reached(middle) else (middle, far)
        return float(far)

    found = [
        (one.part, way, enough(one.part, way))
        for one in drive.circles
        if one.part.kind in _HUNG
        for way in _WAYS
    ]
    return sorted((one for one in found if np.isfinite(one[2])), key=lambda one: one[2])


# -- do they stand in line ----------------------------------------------------------------------


def _line(drive: Drive, moves: Moves) -> Finding:
    belt, layout = drive.belt, drive.layout
    ribbed = belt.entry.choices.get("section", "v") == "ribbed"
    limit = limits()["belt line ribbed" if ribbed else "belt line v"]
    leans = drive.leans()
    if not all(one.known for one in leans):
        return _not_known(drive, f"line: {belt.name}", LINE, "runs straight")
    worst = max(leans, key=lambda one: _line_key(one, limit), default=None)
    if worst is None:
        return _not_known(drive, f"line: {belt.name}", LINE, "runs straight")
    verdict = _line_verdict(worst, limit)
    rests_on = words.supports(worst.form, layout.survey.sources, layout.envelope.unit)
    remedies: tuple[str, ...] = ()
    if verdict is Verdict.FOULS:
        remedies = _to_line_up(drive, moves, leans, limit)
    elif verdict is Verdict.TOO_CLOSE:
        remedies = (
            f"lay a straightedge across the pulleys of the {belt.name}, and write how well they "
            f"line up",
            *words.retake(rests_on),
        )
    return Finding(
        id=f"line: {belt.name}",
        question=LINE,
        parts=(belt.name,) if verdict is Verdict.FITS else (belt.name, worst.pulley, worst.other),
        verdict=verdict,
        note=_line_note(drive, worst, verdict, limit),
        remedies=remedies,
        rests_on=rests_on,
        details={
            "limit_deg": limit.limit_deg,
            "limit_source": limit.source,
            "angle_deg": round(worst.angle_deg, 3),
            "angle_spread_deg": round(worst.spread_deg, 3),
            **{f"offset_mm: {one.pulley} to {one.other}": round(one.offset_mm, 2) for one in leans},
        },
    )


def _line_key(one: Lean, limit: Limit) -> tuple[bool, float]:
    surely = abs(one.angle_deg) - one.spread_deg > limit.limit_deg
    return surely, abs(one.angle_deg) + (0.0 if surely else one.spread_deg)


def _line_verdict(one: Lean, limit: Limit) -> Verdict:
    if abs(one.angle_deg) - one.spread_deg > limit.limit_deg:
        return Verdict.FOULS
    fits = abs(one.angle_deg) + one.spread_deg <= limit.limit_deg
    return Verdict.FITS if fits else Verdict.TOO_CLOSE


def _line_note(drive: Drive, worst: Lean, verdict: Verdict, limit: Limit) -> str:
    belt, unit = drive.belt.name, drive.layout.envelope.unit
    ends = f"from the {worst.pulley} to the {worst.other}"
    asked = f"{limit.limit_deg:g}° is the most that it bears"
    if verdict is Verdict.FITS:
        return f"The pulleys of the {belt} stand in line."
    if verdict is Verdict.FOULS:
        off = words.at_least(abs(worst.offset_mm), unit)
        span = words.length(worst.span_mm, unit)
        return (
            f"The {belt} runs out of line {ends}: by {off} over {span}, "
            f"{abs(worst.angle_deg):.1f}°; {asked}."
        )
    most = abs(worst.angle_deg) + worst.spread_deg
    return f"The {belt} may run up to {most:.1f}° out of line {ends}; {asked}."


def _to_line_up(drive: Drive, moves: Moves, leans: Sequence[Lean], limit: Limit) -> tuple[str, ...]:
    """The one pulley that stands out of line with the others, and how far it has to go."""
    unit = drive.layout.envelope.unit

    def left(name: str) -> tuple[float, float]:
        """What stays out of line at worst when that pulley is moved along, deg, and how far."""
        seen = [one.offset_mm for one in leans if one.other == name]
        by = -(min(seen) + max(seen)) / 2 if seen else 0.0
        rest = [abs(one.angle_deg) for one in leans if name not in (one.pulley, one.other)]
        rest += [
            abs(float(np.degrees(one.offset_mm + by * (1 if one.other == name else -1))))
            / one.span_mm
            for one in leans
            if name in (one.pulley, one.other)
        ]
        return max(rest, default=0.0), by

    parts = [one.part for one in drive.circles if any(x.other == one.part.name for x in leans)]
    ranked = sorted(
        parts, key=lambda one: (round(left(one.name)[0], 2), one.kind not in _HUNG, one.name)
    )
    best = ranked[0]
    stays, by = left(best.name)
    if stays > limit.limit_deg or not by:
        worst = max(leans, key=lambda one: _line_key(one, limit))
        names = sorted((worst.pulley, worst.other), key=lambda one: one not in _hung(drive))
        return (f"set the {names[0]} so that its pulley stands square and in line",)
    along = np.array([1.0, 0.0, 0.0]) * np.sign(by)
    figure = f"{words.at_least(abs(by), unit)} {words.way(along)}"
    if best.kind not in _HUNG:
        return (f"have the {best.name} sit {figure} on its shaft: a spacer, or another pulley",)
    why = moves.hampered(best, along * abs(by), belts=False)
    said = f"move the {best.name} {figure}"
    return (f"{said}, but {why}",) if why else (said,)


_HUNG = ("alternator", "compressor", "idler pulley")
"""What hangs in a bracket of its own, which can be shimmed."""


def _hung(drive: Drive) -> set[str]:
    return {one.part.name for one in drive.circles if one.part.kind in _HUNG}


def _not_known(drive: Drive, key: str, question: str, what: str) -> Finding:
    belt = drive.belt
    lost = [one.part for one in drive.circles if not one.part.known]
    lost = lost or [one.part for one in drive.circles]
    names = words.listed([one.name for one in lost])
    return Finding(
        id=key,
        question=question,
        parts=(belt.name, *(one.name for one in lost)),
        verdict=Verdict.NOT_KNOWN,
        note=f"Whether the {belt.name} {what} is not known: nothing fixes the place of {names}.",
        remedies=tuple(
            f"measure where the {one.name} stands (its place, line {one.entry.line}, leaves it "
            f"free)"
            for one in lost
        ),
    )
